"""Tables of one case: who, which lesion, what happened, what came before; no identity."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd

from analyses.cases.case_events import gravest_first
from analyses.cases.one_case import OneCase, age_band
from analyses.content.blocks import Block, Cell, Points, Sentence, Table
from analyses.documents.tables.measurement_tables import GRADES_DESCRIBE
from analyses.measures.group_words import level_label
from analyses.statistics.table_rows import rows_of
from analyses.words.recorded_value import NOT_RECORDED, recorded
from registry.privacy.suppression import SMALLEST
from registry.schema import TABLES, Complications, Lesions, Patients, Sessions

LESION_FIELDS = (
    Lesions.haemorrhage_before, Lesions.earlier_treatment, Lesions.eloquent,
    Lesions.deep_drainage, Lesions.draining_veins, Lesions.venous_stenosis,
    Lesions.feeding_pedicles, Lesions.aneurysm,
)
"""What a conference looks at first; the others stand on the page."""
MORE_FIELDS = (
    Lesions.nidus_border, Lesions.venous_ectasia, Lesions.feeder_calibre, Lesions.perforator_supply,
    Lesions.en_passage_supply, Lesions.dural_supply, Lesions.fistulous_part,
)
MOST_LESIONS = 3
"""Lesions beside each other in one table."""


def patient_words(case: OneCase) -> str:
    """Who the case is, as far as a conference needs to know, in a line."""
    person = case.patient
    gcs = person[Patients.gcs]
    return (f"{age_band(float(person[Patients.age_y]))} years, {recorded(person[Patients.sex])}; "
            f"presentation: {recorded(person[Patients.presentation])}"
            f"{'' if pd.isna(gcs) else f', GCS {gcs:g}'}; mRS before treatment "
            f"{recorded(person[Patients.mrs_before])}")


def lesion_words(case: OneCase) -> str:
    """Each lesion in a line, for the summary."""
    return "; ".join(
        f"{recorded(row[Lesions.side])} {recorded(row[Lesions.location])}, Spetzler–Martin grade "
        f"{level_label('sm_grade', str(row['sm_grade']))}"
        f"{case.lesion_words(row[Lesions.lesion_no])}" for row in rows_of(case.lesions))


def lesion_tables(case: OneCase) -> tuple[Table, ...]:
    """The patient in a line, and angioarchitecture and grades of the lesions treated."""
    return _lesions_told(case, "lesions", patient_words(case), (
        ("Site", _site), ("Grade (class)", _grade),
        ("Nidus", _diameters), *_fields_told(LESION_FIELDS)), ())


def more_lesion_tables(case: OneCase) -> tuple[Table, ...]:
    """What else is recorded of each lesion, for the page."""
    return _lesions_told(case, "more-lesions", "More of the angioarchitecture",
                         _fields_told(MORE_FIELDS), (GRADES_DESCRIBE,))


Told = tuple[str, Callable[[dict[str, Any]], str]]


def _fields_told(names: tuple[str, ...]) -> tuple[Told, ...]:
    spec = TABLES["lesions"].by_name

    def value(name: str) -> Callable[[dict[str, Any]], str]:
        return lambda row: recorded(row[name])

    return tuple((spec[name].label, value(name)) for name in names)


def _lesions_told(
    case: OneCase, name: str, caption: str, told: tuple[Told, ...], notes: tuple[str, ...],
) -> tuple[Table, ...]:
    """One lesion in two pairs of columns; several in a column each."""
    rows = rows_of(case.lesions)
    if len(rows) == 1:
        return (_in_pairs(name, caption, tuple((label, of(rows[0])) for label, of in told), notes),)
    return tuple(
        Table(f"{name}-{start + 1}", caption, (
            "", *(f"Lesion {row[Lesions.lesion_no]}" for row in rows[start:start + MOST_LESIONS])),
            tuple((Cell(label, heading=True),
                   *(Cell(of(row)) for row in rows[start:start + MOST_LESIONS]))
                  for label, of in told), notes)
        for start in range(0, len(rows), MOST_LESIONS))


def _site(row: dict[str, Any]) -> str:
    return f"{recorded(row[Lesions.side])} {recorded(row[Lesions.location])}"


def _grade(row: dict[str, Any]) -> str:
    """Spetzler–Martin grade, and Spetzler–Ponce class in brackets."""
    return f"{level_label('sm_grade', str(row['sm_grade']))} ({recorded(row['ponce_class'])})"


def _diameters(row: dict[str, Any]) -> str:
    """The diameters recorded, the largest first, in mm."""
    found = [row[f"nidus_{name}_mm"] for name in ("length", "width", "height")]
    known = [recorded(value) for value in found if not pd.isna(value)]
    rest = "" if len(known) == len(found) else f" ({len(found) - len(known)} not recorded)"
    return f"{' × '.join(known)} mm{rest}" if known else NOT_RECORDED


def event_blocks(case: OneCase) -> tuple[Block, ...]:
    """The event to be discussed, field by field, and the others in a table.

    Nothing of what a review judged: that is for after the discussion.
    """
    if case.index_event is None:
        return (Points((Sentence("No event is recorded for this case."),)),)
    event = case.index_event
    rows = (
        ("Kind", recorded(event[Complications.kind])),
        ("Phase", recorded(event[Complications.phase])),
        ("Onset", onset_words(case, event)),
        ("Mechanism", recorded(event[Complications.mechanism])),
        ("Recognised after", unit_words(event[Complications.recognised_after_min], "min")),
        ("Treated after", unit_words(event[Complications.treated_after_min], "min")),
        ("Rescue", recorded(event[Complications.rescue])),
        ("Symptomatic", recorded(event[Complications.symptomatic])),
        ("Deficit", recorded(event[Complications.deficit])),
        ("Death from it", recorded(event[Complications.death])),
        ("mRS: worst", recorded(event[Complications.mrs_worst])),
        ("mRS at 30 days", recorded(event[Complications.mrs_30d])),
        ("mRS at 90 days", recorded(event[Complications.mrs_90d])),
        ("Clavien–Dindo grade", recorded(event[Complications.clavien_dindo])),
    )
    first = _in_pairs("event", f"The event to be discussed: {choice_words(case)}", rows)
    others = case.all_events[case.all_events["number"] != event["number"]]
    return (first, _other_events(case, others)) if len(others) else (first,)


def choice_words(case: OneCase) -> str:
    """Which of the events on record is discussed: `event 2 of 3, the gravest`."""
    event, count = case.index_event, len(case.all_events)
    if event is None:
        return "no event on record"
    if count == 1:
        return "the only event on record"
    gravest = gravest_first(case.all_events).iloc[0]["number"] == event["number"]
    return (f"event {event['number']} of {count} on record"
            f"{', the gravest of any phase' if gravest else ', not the gravest'}")


def onset_words(case: OneCase, event: pd.Series) -> str:
    """The day of onset, and the hours after the procedure where they are recorded."""
    day = f"day {case.day(event[Complications.onset_date])}"
    hours = event[Complications.hours_after]
    return day if pd.isna(hours) else f"{day}, {float(hours):g} h after the procedure"


def outcome_words(event: pd.Series) -> str:
    """What became of it, in a line, for the summary."""
    if recorded(event[Complications.death]) == "yes":
        return "death"
    scales = ((Complications.mrs_worst, "mRS at worst"), (Complications.mrs_30d, "at 30 days"),
              (Complications.mrs_90d, "at 90 days"))
    told = [f"{name} {event[field]:g}" for field, name in scales if pd.notna(event[field])]
    deficit = recorded(event[Complications.deficit])
    return ", ".join((f"deficit: {deficit}", *told))


def review_words(event: pd.Series) -> tuple[tuple[str, str], ...]:
    """What was judged of the event when it was entered, to be opened after the discussion."""
    return (
        ("Preventable", recorded(event[Complications.preventable])),
        ("Attribution, cause",
         f"to the embolization: {recorded(event[Complications.attribution])}; put down to: "
         f"{recorded(event[Complications.cause])}; reviewed by: "
         f"{recorded(event[Complications.reviewed_by])}"),
    )


def _other_events(case: OneCase, others: pd.DataFrame) -> Table:
    rows = tuple(
        (
            Cell(f"day {case.day(row[Complications.onset_date])}", heading=True),
            Cell(recorded(row[Complications.kind])
                 + case.lesion_words(row[Lesions.lesion_no])),
            Cell(recorded(row[Complications.phase])),
            Cell("death" if recorded(row[Complications.death]) == "yes"
                 else recorded(row[Complications.deficit])),
            Cell("yes" if row["counted"] else "no"),
        )
        for row in rows_of(others.sort_values("number"))
    )
    return Table("other-events", "Other events of this case, of every phase",
                 ("Onset", "Kind", "Phase", "Deficit", "Of the embolization"), rows)


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
            Cell(recorded(row[Complications.mechanism])),
            Cell(recorded(row[Complications.rescue])),
            Cell(recorded(row[Complications.deficit])),
        )
        for number, row in enumerate(rows_of(rows), start=1)
    )
    about = () if few else ("Spetzler–Martin grade", "Ruptured", "Intent")
    return Table(
        "similar", f"Earlier embolization complications of the same kind: {len(rows)}",
        ("No", *about, "Mechanism", "Rescue", "Deficit"), body, _similar_notes(len(rows)))


def _about_case(row: dict[str, Any]) -> tuple[Cell, ...]:
    return (Cell(level_label("sm_grade", str(row["sm_grade"]))), Cell(recorded(row["ruptured"])),
            Cell(recorded(row[Sessions.intent])))


def _similar_notes(count: int) -> tuple[str, ...]:
    if count >= SMALLEST:
        return ("A small group can be recognised: keep this table in the room.",)
    return (f"Fewer than {SMALLEST} cases can be recognised by those who were there: grade, "
            "rupture and intent are left out. Keep this table in the room.",)


def unit_words(value: Any, unit: str, digits: int | None = None) -> str:
    """A number with its unit; digits after the point where they are to be fixed."""
    shown = recorded(value)
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
    return Table(name, caption, ("Item", "Recorded", "Item", "Recorded"),
                 body, notes)
