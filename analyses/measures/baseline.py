"""Who the patients and their lesions were: the numbers of a baseline table, by any grouping.

Each field is declared with how it is described: a mean with its standard deviation, a median
with quartiles, or the share of each level. What was not recorded is shown, never guessed.
Groups are compared by standardised differences, not by a column of P values: those answer a
question about chance that a description of the patients does not ask (P values on request in
`baseline_tests`).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import pandas as pd

from analyses.measures.counting import FEW, levels, share
from analyses.measures.measure import Measure, SmallCells, Worked
from analyses.measures.measuring import mean_of, median_of
from analyses.population.unit_frames import NOT_EMBOLIZED, NOT_RECORDED, Units, as_group, once
from analyses.statistics.estimate import Estimate
from analyses.statistics.proportions.standardised import standardised_difference
from analyses.words.about import About, same_words
from analyses.words.flags import FEW_UNITS
from registry.schema import TABLES, Lesions, Patients

MEAN, MEDIAN, LEVELS = "mean", "median", "levels"


@dataclass(frozen=True)
class Described:
    """A field of the baseline table.

    `how`: MEAN (about symmetric), MEDIAN (skewed or a count) or LEVELS. Label and unit come from
    the schema where they are blank here.
    """

    column: str
    how: str
    label: str = ""
    unit: str = ""

    def heading(self) -> str:
        """The label, with the unit."""
        spec = next((t.by_name[self.column] for t in TABLES.values()
                     if self.column in t.by_name), None)
        label = self.label or (spec.label if spec else self.column)
        unit = self.unit or (spec.unit if spec else "")
        return f"{label} ({unit})" if unit else label

    def measure(self) -> str:
        """The unit of the values."""
        spec = next((t.by_name[self.column] for t in TABLES.values()
                     if self.column in t.by_name), None)
        return self.unit or (spec.unit if spec else "")


PATIENT_FIELDS = (
    Described(Patients.age_y, MEAN, "Age at presentation", "years"),
    Described("sex", LEVELS), Described("presentation", LEVELS),
    Described(Patients.mrs_before, LEVELS), Described("gcs", MEDIAN), Described("hht", LEVELS),
    Described("lesions", LEVELS, "Treated lesions"),
)
LESION_FIELDS = (
    Described("side", LEVELS), Described("location", LEVELS),
    Described(Lesions.haemorrhage_before, LEVELS), Described(Lesions.earlier_treatment, LEVELS),
    Described(Lesions.nidus_length_mm, MEDIAN),
    Described("nidus_volume_ml", MEDIAN, "Nidus volume", "mL"),
    Described("eloquent", LEVELS), Described(Lesions.deep_drainage, LEVELS),
    Described(Lesions.draining_veins, MEDIAN), Described(Lesions.venous_stenosis, LEVELS),
    Described(Lesions.venous_ectasia, LEVELS), Described(Lesions.nidus_border, LEVELS),
    Described(Lesions.feeding_pedicles, MEDIAN), Described(Lesions.feeder_calibre, LEVELS),
    Described(Lesions.perforator_supply, LEVELS), Described(Lesions.en_passage_supply, LEVELS),
    Described(Lesions.dural_supply, LEVELS), Described(Lesions.fistulous_part, LEVELS),
    Described("aneurysm", LEVELS),
    Described("sm_grade", LEVELS, "Spetzler–Martin grade"),
    Described("lawton_young_sum", MEDIAN, "Lawton–Young grade with Spetzler–Martin"),
    Described("avmes", MEDIAN, "AVM embolization score"),
)
SECTIONS = (("patient", PATIENT_FIELDS), ("lesion", LESION_FIELDS))


def baseline_estimates(units: Units, by: Iterable[str] = ("ruptured",)) -> list[Estimate]:
    """Every number of the baseline table: overall, by each grouping, and their differences.

    `by`: columns of the unit frames (any of `unit_frames.GROUPINGS`). Ids:
    `baseline.COLUMN` (a mean or median), `baseline.COLUMN.LEVEL` (a share of the units with the
    field recorded), `baseline.COLUMN.missing` (a share of all units) and `baseline.COLUMN.smd`.
    """
    by = tuple(by)
    found: list[Estimate] = []
    for unit, fields in SECTIONS:
        frame = baseline_frame(units, unit)
        for field in fields:
            found += list(_field(frame, field, unit, by))
    return found


def baseline_frame(units: Units, unit: str) -> pd.DataFrame:
    """Patients treated (unit "patient") or lesions treated, with the fields described."""
    if unit == "lesion":
        return units.lesions
    own = [f.column for f in PATIENT_FIELDS if f.column not in units.patients]
    people = units.tables["patients"][[Patients.patient_id, *own]]
    return units.patients.merge(people, on=Patients.patient_id, how="left")


def field_levels(frame: pd.DataFrame, field: Described) -> list[str]:
    """The levels a row each: "yes" alone for yes/no, else those that occur, in their order."""
    values = frame[field.column]
    if values.dtype == "boolean" or values.dtype == bool:
        return ["yes"]
    return [v for v in levels(values, field.column) if v != NOT_RECORDED]


def level_id(field: Described, level: str) -> str:
    """The id of a level's share: `baseline.presentation.focal_deficit`."""
    return f"baseline.{field.column}.{re.sub(r'[^a-z0-9]+', '_', level.lower()).strip('_')}"


def compared_levels(frame: pd.DataFrame, by: str) -> list[str]:
    """The levels of a grouping that are compared: those recorded."""
    return [v for v in levels(frame[by], by) if v not in (NOT_RECORDED, NOT_EMBOLIZED)]


def as_levels(values: pd.Series) -> pd.Series:
    """A column as level text; yes/no for truth values; blank where not recorded."""
    words = as_group(values)
    return words.mask(words.eq(NOT_RECORDED))


def _field(
    frame: pd.DataFrame, field: Described, unit: str, by: tuple[str, ...],
) -> Iterator[Estimate]:
    yield from _described(frame, frame, field, unit, None)
    for grouping in by:
        for level in levels(frame[grouping], grouping):
            part = frame[as_group(frame[grouping]) == level]
            yield from _described(frame, part, field, unit, {grouping: level})
        names = compared_levels(frame, grouping)
        if len(names) >= 2:
            yield _apart(frame, field, unit, grouping, names)


def _apart(
    frame: pd.DataFrame, field: Described, unit: str, grouping: str, names: list[str],
) -> Estimate:
    """The standardised difference of the groups with FEW units or more that have it recorded."""
    known = as_group(frame[grouping])[frame[field.column].notna()]
    large = [name for name in names if int(known.eq(name).sum()) >= FEW]
    id = f"baseline.{field.column}.smd"
    if len(large) >= 2:
        return standardised_difference(
            frame, grouping, large, field.column, field.how == LEVELS, id=id, unit=unit)
    return Estimate(id=id, kind="standardised difference", value=None, unit=unit,
                    n=int(known.isin(names).sum()), group={grouping: " against ".join(names)},
                    flags=(FEW_UNITS,))


def _described(
    whole: pd.DataFrame, part: pd.DataFrame, field: Described, unit: str,
    group: dict[str, str] | None,
) -> Iterator[Estimate]:
    """One field of one group; the levels are those of the whole, so that none is left out."""
    if field.how == LEVELS:
        values = as_levels(part[field.column])
        for level in field_levels(whole, field):
            event = values.eq(level).astype("boolean").where(values.notna())
            yield share(part.assign(event=event), "event", id=level_id(field, level),
                        unknown="with it not recorded", unit=unit, group=group)
        missing = values.isna()
    else:
        describe = mean_of if field.how == MEAN else median_of
        yield describe(part, field.column, id=f"baseline.{field.column}",
                       measure=field.measure(), unit=unit, group=group)
        missing = part[field.column].isna()
    yield share(part.assign(event=missing.astype("boolean")), "event",
                id=f"baseline.{field.column}.missing", unit=unit, group=group)


RECORDED = "{units} with it recorded"
BY = ("ruptured",)


def _work(unit: str, field: Described) -> Callable[[Units], list[Estimate]]:
    @once
    def work(units: Units) -> list[Estimate]:
        return list(_field(baseline_frame(units, unit), field, unit, BY))

    return work


def _parts(field: Described) -> dict[str, About]:
    """The words of every number of a field: its levels, its gaps, its differences."""
    label = field.heading()
    stem = f"baseline.{field.column}"
    found = {
        f"{stem}.missing": About(f"{label}: not recorded", f"{label} not recorded",
                                 "not recorded", "{units}"),
        f"{stem}.smd": same_words(f"{label}: standardised difference", RECORDED),
    }
    for level in _levels_of(field):
        said = label if level == "yes" else f"{label}: {level}"
        found[level_id(field, level)] = same_words(said, RECORDED)
    return found


def _levels_of(field: Described) -> tuple[str, ...]:
    """The levels that can occur: the schema's list, "yes", or small numbers."""
    if field.how != LEVELS:
        return ()
    listed = next((t.by_name[field.column].values for t in TABLES.values()
                   if field.column in t.by_name), ())
    return tuple(listed) or ("yes", *map(str, range(10)))


def _uses(field: Described) -> tuple[str, ...]:
    return tuple(f"{name}.{field.column}" for name, table in TABLES.items()
                 if field.column in table.by_name)[:1]


CHARACTERISTICS: tuple[Measure, ...] = tuple(
    Worked(
        id=f"baseline.{field.column}", units=(unit,), label=field.heading(),
        subject=field.heading(), counted=field.heading(), among=RECORDED,
        kind="proportion" if field.how == LEVELS else field.how, work=_work(unit, field),
        parts=_parts(field), small_cells=SmallCells.HIDDEN, uses=_uses(field),
        checked_against="counted by hand on the small cohort; differences: Austin 2009")
    for unit, fields in SECTIONS for field in fields)
AGE, PRESENTATION = (next(one for one in CHARACTERISTICS if one.id == f"baseline.{column}")
                     for column in (Patients.age_y, Patients.presentation))
