"""A plan held against the tables that its models are fitted on, before anything is worked out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from functools import cache
from types import MappingProxyType

from analyses.models.model_plan import Plan, PlannedModel
from analyses.models.technique_frame import technique_frames
from analyses.population.unit_frames import units_of
from registry.schema import TABLES


@cache
def plan_columns() -> Mapping[str, tuple[str, ...]]:
    """Unit of a model → the columns that it may name: they do not depend on the data."""
    frames = technique_frames(units_of({name: table.empty() for name, table in TABLES.items()}))
    return MappingProxyType({unit: tuple(map(str, frame.columns))
                             for unit, frame in frames.items()})


def plan_problems(plan: Plan) -> list[str]:
    """A sentence for every unit and column that a plan names and no table has."""
    return [said for place, model in enumerate(plan.models, start=1)
            for said in _problems(place, model)]


def _problems(place: int, model: PlannedModel) -> Iterator[str]:
    where = f"model {place} ({model.name})"
    columns = plan_columns().get(model.unit)
    if columns is None:
        yield (f"{where}: unit {model.unit!r} is not known; wanted one of "
               f"{', '.join(plan_columns())}")
        return
    named = {"outcome": [model.outcome], "exposure": list(model.exposure.columns),
             "adjust": [column for term in model.adjust for column in term.columns],
             "cluster": [model.cluster], "subgroups": list(model.subgroups)}
    for key, names in named.items():
        for name in names:
            if name not in columns:
                yield (f"{where}: {key} {name!r} is no column of a {model.unit}; "
                       f"{_wanted(name, columns)}")


def _wanted(name: str, columns: tuple[str, ...]) -> str:
    near = get_close_matches(name, columns, n=3, cutoff=0.5)
    if near:
        return f"the nearest: {', '.join(near)}"
    return f"wanted one of {', '.join(columns)}"
