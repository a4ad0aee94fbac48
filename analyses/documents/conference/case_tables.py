"""Tables of one case: who, which lesion, what happened, what came before; no identity."""

from __future__ import annotations

from typing import Any

import pandas as pd

from analyses.cases.one_case import OneCase, age_band
from analyses.content.blocks import Block, Cell, Points, Sentence, Table
from analyses.documents.tables.measurement_tables import GRADES_DESCRIBE
from analyses.measures.group_words import level_label
from analyses.population.counted_events import LESION, unit_key
from analyses.statistics.table_rows import rows_of
from registry.privacy.suppression import SMALLEST
from registry.schema import TABLES, Complications, Lesions, Patients, Sessions

NOT_RECORDED = "not recorded"

LESION_FIELDS = (
    Lesions.side,
    Lesions.location,
    Lesions.haemorrhage_before,
    Lesions.earlier_treatment,
    Lesions.eloquent,
    Lesions.deep_drainage,
    Lesions.draining_veins,
    Lesions.venous_stenosis,
    Lesions.venous_ectasia,
    Lesions.nidus_border,
    Lesions.feeding_pedicles,
    Lesions.feeder_calibre,
    Lesions.perforator_supply,
    Lesions.fistulous_part,
    Lesions.aneurysm,
)


def patient_table(case: OneCase) -> Table:
    """Who the case is, as far as a conference needs to know."""
    person = case.patient
    told = {
        "Age at presentation": f"{age_band(float(person[Patients.age_y]))} years",
        "Sex": words(person[Patients.sex]), "Presentation": words(person[Patients.presentation]),
        "mRS before treatment": words(person[Patients.mrs_before]),
        "GCS at presentation": words(person[Patients.gcs]),
    }
    return Table("patient", "The patient", tuple(told),
                 (tuple(Cell(text) for text in told.values()),))


def lesion_tables(case: OneCase) -> tuple[Table, ...]:
    """Angioarchitecture and grades of each lesion treated."""
    spec = TABLES["lesions"].by_name
    found = []
    for row in rows_of(case.lesions):
        rows = (
            ("Spetzler–Martin grade", level_label("sm_grade", str(row["sm_grade"]))),
            ("Spetzler–Ponce class", words(row["ponce_class"])),
            ("Nidus, diameters", _diameters(row)),
            *((spec[name].label, words(row[name])) for name in LESION_FIELDS),
        )
        found.append(_in_pairs(
            f"lesion-{row[Lesions.lesion_no]}",
            f"Angioarchitecture and grades{case.lesion_words(row[Lesions.lesion_no])}", rows,
            (GRADES_DESCRIBE,)))
    return tuple(found)


def _diameters(row: dict[str, Any]) -> str:
    """The diameters recorded, the largest first, in mm."""
    found = [row[f"nidus_{name}_mm"] for name in ("length", "width", "height")]
    known = [words(value) for value in found if not pd.isna(value)]
    rest = "" if len(known) == len(found) else f" ({len(found) - len(known)} not recorded)"
    return f"{' × '.join(known)} mm{rest}" if known else NOT_RECORDED


def event_blocks(case: OneCase) -> tuple[Block, ...]:
    """The event to be discussed, field by field, and the others in a table."""
    outside = _not_counted(case)
    if case.index_event is None:
        return (Points((Sentence("No embolization complication is recorded for this case."),)),
                *outside)
    event = case.index_event
    rows = (
        ("Kind", words(event[Complications.kind])),
        ("Day of onset", f"day {case.day(event[Complications.onset_date])}"),
        ("Hours after the procedure", unit_words(event[Complications.hours_after], "h")),
        ("Phase", words(event[Complications.phase])),
        ("Mechanism", words(event[Complications.mechanism])),
        ("Symptomatic", words(event[Complications.symptomatic])),
        ("Death from it", words(event[Complications.death])),
        ("Recognised after", unit_words(event[Complications.recognised_after_min], "min")),
        ("Treated after", unit_words(event[Complications.treated_after_min], "min")),
        ("Rescue", words(event[Complications.rescue])),
        ("Deficit", words(event[Complications.deficit])),
        ("mRS: worst", words(event[Complications.mrs_worst])),
        ("mRS at 30 days", words(event[Complications.mrs_30d])),
        ("mRS at 90 days", words(event[Complications.mrs_90d])),
        ("Clavien–Dindo grade", words(event[Complications.clavien_dindo])),
        ("Attribution to the embolization", words(event[Complications.attribution])),
        ("Preventable", words(event[Complications.preventable])),
        ("Reviewed by", words(event[Complications.reviewed_by])),
    )
    first = _in_pairs("event", "The event to be discussed", rows)
    others = case.events[case.events["key"] != event["key"]]
    more = (_other_events(case, others),) if len(others) else ()
    return (first, *more, *outside)


def _other_events(case: OneCase, others: pd.DataFrame) -> Table:
    rows = tuple(
        (
            Cell(f"day {case.day(row[Complications.onset_date])}", heading=True),
            Cell(words(row[Complications.kind])),
            Cell(words(row[Complications.mechanism])),
            Cell(words(row[Complications.rescue])),
            Cell(words(row[Complications.deficit])),
        )
        for row in rows_of(others.sort_values([Complications.onset_date, "key"]))
    )
    return Table("other-events", "Other embolization complications of this case",
                 ("Onset", "Kind", "Mechanism", "Rescue", "Deficit"), rows)


def _not_counted(case: OneCase) -> tuple[Table, ...]:
    """Complications on record that are not in the set: of another phase, later, or unrelated."""
    rows = case.tables["complications"]
    rows = rows[
        ~unit_key(rows, [*LESION, Complications.complication_no]).isin(set(case.events["key"]))
    ]
    if rows.empty:
        return ()
    body = tuple(
        (
            Cell(f"day {case.day(row[Complications.onset_date])}", heading=True),
            Cell(words(row[Complications.kind])),
            Cell(words(row[Complications.phase])),
            Cell(words(row[Complications.deficit])),
            Cell(words(row[Complications.attribution])),
        )
        for row in rows_of(rows.sort_values(
            [Complications.onset_date, Complications.complication_no]
        ))
    )
    return (Table("not-counted", "On record, but not an embolization complication",
                  ("Onset", "Kind", "Phase", "Deficit", "Attribution to the embolization"), body),)


def similar_blocks(rows: pd.DataFrame) -> tuple[Block, ...]:
    """Earlier cases with an event of the same kind, or the words that there is none."""
    if rows.empty:
        return (Points((Sentence("No event of this kind is recorded before this one."),)),)
    return (_similar_table(rows),)


def _similar_table(rows: pd.DataFrame) -> Table:
    """Earlier cases with an event of the same kind; no code and no date.

    Fewer than five could be recognised by grade, rupture and intent: those are then left out.
    """
    few = len(rows) < SMALLEST
    body = tuple(
        (
            Cell(str(number), heading=True),
            *(() if few else _about_case(row)),
            Cell(words(row[Complications.mechanism])),
            Cell(words(row[Complications.rescue])),
            Cell(words(row[Complications.deficit])),
        )
        for number, row in enumerate(rows_of(rows), start=1)
    )
    about = () if few else ("Spetzler–Martin grade", "Ruptured", "Intent")
    return Table(
        "similar", f"Earlier embolization complications of the same kind: {len(rows)}",
        ("No", *about, "Mechanism", "Rescue", "Deficit"), body, _similar_notes(len(rows)))


def _about_case(row: dict[str, Any]) -> tuple[Cell, ...]:
    return (Cell(level_label("sm_grade", str(row["sm_grade"]))), Cell(words(row["ruptured"])),
            Cell(words(row[Sessions.intent])))


def _similar_notes(count: int) -> tuple[str, ...]:
    if count >= SMALLEST:
        return ("A small group can be recognised: keep this table in the room.",)
    return (f"Fewer than {SMALLEST} cases can be recognised by those who were there: grade, "
            "rupture and intent are left out. Keep this table in the room.",)


def words(value: Any) -> str:
    """A recorded value as a reader wants it; a blank is "not recorded"."""
    if value is None or value is pd.NaT or (not isinstance(value, str) and pd.isna(value)):
        return NOT_RECORDED
    if isinstance(value, bool) or str(value) in ("True", "False"):
        return "yes" if str(value) == "True" else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)


def unit_words(value: Any, unit: str, digits: int | None = None) -> str:
    """A number with its unit; digits after the point where they are to be fixed."""
    shown = words(value)
    if shown == NOT_RECORDED:
        return shown
    number = float(str(value))
    return f"{number:g} {unit}" if digits is None else f"{number:.{digits}f} {unit}"


def _in_pairs(
    name: str, caption: str, rows: tuple[tuple[str, str], ...], notes: tuple[str, ...] = (),
) -> Table:
    """Many items in two pairs of columns, so that they stand on one slide."""
    half = (len(rows) + 1) // 2
    rows = (*rows, *((("", ""),) * (2 * half - len(rows))))
    body = tuple(
        (Cell(rows[at][0], heading=True), Cell(rows[at][1]),
         Cell(rows[at + half][0], heading=bool(rows[at + half][0])), Cell(rows[at + half][1]))
        for at in range(half))
    return Table(name, caption, ("Item", "Recorded", "Item, continued", "Recorded, continued"),
                 body, notes)
