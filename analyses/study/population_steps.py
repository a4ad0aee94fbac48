"""What was done to a freeze to make a study of it: units left out, columns added, and its hash."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analyses.measures.group_words import GROUP_LABELS
from analyses.population.counted_events import LESION, unit_key
from analyses.population.exclusions import AddedColumn, Exclusion
from analyses.population.unit_frames import Units
from analyses.study.frame_columns import ADDED, UNIT_NAMES, Column
from analyses.study.study_errors import StudyError
from analyses.study.study_frames import StudyFrame
from registry.schema import Patients
from registry.schema.canonical import canonical_json, sha256


@dataclass(frozen=True)
class LeftOut:
    """An exclusion, and its condition as written (which may name a code)."""

    exclusion: Exclusion
    condition: str

    def record(self) -> dict[str, Any]:
        """What of it enters the hash of the study."""
        return {"left_out": self.exclusion.unit, "kept": self.condition,
                "why": self.exclusion.why}


@dataclass(frozen=True)
class Added:
    """A column added to the frame of a unit, and to those under it.

    values: indexed by the unit's keys; a session's by the keys of its rows, one a lesion, so that
    they are found again where a lesion is left out.
    """

    about: AddedColumn
    column: Column
    values: pd.Series

    def record(self) -> dict[str, Any]:
        """What of it enters the hash of the study."""
        rows = [[key, None if pd.isna(value) else str(value)]
                for key, value in sorted(self.values.items())]
        return {"added": self.about.name, "unit": self.about.unit, "label": self.about.label,
                "values": sha256(canonical_json(rows))}

    def by_unit(self, units: Units) -> pd.Series:
        """The values by the keys that the unit has now."""
        if self.about.unit != "session":
            return self.values
        rows = units.sessions[["key", "rows"]].explode("rows")
        found = self.values.reindex(rows["rows"]).set_axis(rows["key"])
        return found[~found.index.duplicated()]


Step = LeftOut | Added
Values = pd.Series | list[Any] | tuple[Any, ...] | np.ndarray
"""A Series by the unit's keys, or as many plain values as there are units, in their order."""


def study_hash(freeze_hash: str, steps: Sequence[Step]) -> str:
    """SHA-256 of the freeze's hash and every step, in order; the freeze's own where none."""
    if not steps:
        return freeze_hash
    return sha256(canonical_json(
        {"freeze": freeze_hash, "steps": [step.record() for step in steps]}))


def added_step(
    frame: StudyFrame, units: Units, name: str, values: Values, label: str,
) -> Added:
    """A column for the frame of a unit, its values checked against the unit's keys.

    Raises StudyError where they do not fit.
    """
    if not name.isidentifier():
        raise StudyError(f"“{name}” cannot be the name of a column; use letters, digits and _, "
                         "such as big_cast.")
    found = _by_key(frame, values)
    if frame.unit == "session":
        rows = units.sessions[["key", "rows"]].explode("rows")
        found = found.reindex(rows["key"]).set_axis(rows["rows"])
    column = Column(name, _type_of(found), label, label, values=_levels(found), source=ADDED)
    typed = found if column.type in ("choice", "grade") else column.typed(found)
    return Added(AddedColumn(name, frame.unit, label), column, typed.rename(name))


def with_added(
    frames: Mapping[str, StudyFrame], added: Sequence[Added], units: Units,
) -> dict[str, StudyFrame]:
    """The frames with the added columns, in the frames under their unit too."""
    found = dict(frames)
    for one in added:
        values = one.by_unit(units)
        for unit in UNIT_NAMES:
            keys = _keys_of(found[unit], one.about.unit, units)
            if keys is not None:
                own = values.reindex(keys).set_axis(found[unit].frame.index)
                found[unit] = found[unit].with_column(own, one.column)
    return found


def reached_by(unit: str) -> tuple[str, ...]:
    """The units whose frames have a column that is added to this unit."""
    return (unit, *UNDER[unit])


UNDER: dict[str, tuple[str, ...]] = {
    "patient": ("lesion", "session", "injection", "catheter", "resection"),
    "lesion": ("session", "injection", "resection"), "session": ("injection", "catheter"),
    "injection": (), "catheter": (), "resection": (),
}
"""The units that hang under each unit."""


def label_of_group(column: str, columns: Mapping[str, Column]) -> str:
    """What a grouping is called."""
    if column in GROUP_LABELS:
        return GROUP_LABELS[column]
    return columns[column].label if column in columns else column


def _by_key(frame: StudyFrame, values: Values) -> pd.Series:
    own = frame.frame.index
    if isinstance(values, list | tuple | np.ndarray) and len(values) == len(own):
        values = pd.Series(values, index=own)
    if not isinstance(values, pd.Series):
        raise StudyError(
            f"The values must be a Series indexed by the keys of the {frame.unit}s, as "
            f"study.{frame.unit}s[…] gives them, or {len(own)} values in their order.")
    given = values.set_axis(values.index.astype("string"))
    if given.index.duplicated().any():
        twice = given.index[given.index.duplicated()][0]
        raise StudyError(f"The key {twice} stands twice in the values.")
    strange = [str(key) for key in given.index if key not in own]
    if strange:
        raise StudyError(
            f"{len(strange)} of the {len(given)} values have keys that no {frame.unit} has "
            f"(the first: {strange[0]}); {len(own)} keys such as {own[0]} are wanted."
            if len(own) else f"The study has no {frame.unit}.")
    if len(given) < len(own):
        raise StudyError(
            f"There are {len(given)} values for {len(own)} {frame.unit}s; give one each, blank "
            "(pd.NA) where it is not known.")
    return given.reindex(own)


def _type_of(values: pd.Series) -> str:
    if isinstance(values.dtype, pd.CategoricalDtype):
        return "grade" if values.cat.ordered else "choice"
    if pd.api.types.is_datetime64_any_dtype(values.dtype):
        return "date"
    known = values.dropna()
    if pd.api.types.is_bool_dtype(values.dtype) or (
            len(known) and known.map(lambda one: isinstance(one, bool)).all()):
        return "yes/no"
    if pd.api.types.is_integer_dtype(values.dtype):
        return "int"
    return "number" if pd.api.types.is_numeric_dtype(values.dtype) else "text"


def _levels(values: pd.Series) -> tuple[Any, ...]:
    if isinstance(values.dtype, pd.CategoricalDtype):
        return tuple(values.cat.categories)
    return ()


def _keys_of(frame: StudyFrame, parent: str, units: Units) -> pd.Series | pd.Index | None:
    """The key of each row's parent; blank where it has several, None where it hangs elsewhere."""
    rows = frame.frame
    if frame.unit == parent:
        return rows.index
    if frame.unit not in UNDER[parent]:
        return None
    if parent == "patient":
        return rows[Patients.patient_id]
    if parent == "lesion":
        keys = unit_key(rows, LESION)
        return keys.mask(rows["lesions"].gt(1)) if frame.unit == "session" else keys
    own = units.injections if frame.unit == "injection" else units.catheters
    return own.set_index("key")["session_key"].reindex(rows.index)
