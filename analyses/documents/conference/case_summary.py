"""The case on one slide, and what is filled in after the discussion."""

from __future__ import annotations

import pandas as pd

from analyses.cases.one_case import OneCase
from analyses.content.blocks import Cell, Table
from analyses.documents.conference.case_planned import done_words, planned_words
from analyses.documents.conference.case_reviewed import agreed_rows, readers_rows
from analyses.documents.conference.case_tables import (
    choice_words,
    lesion_words,
    onset_words,
    outcome_words,
    patient_words,
    review_words,
    unit_words,
)
from analyses.statistics.estimate import Estimate
from analyses.words.recorded_value import NOT_RECORDED, recorded
from registry.schema import Complications

LEARNING_LINES = 3


def summary_table(case: OneCase, here: tuple[Estimate, ...]) -> Table:
    """Who, what was planned, what happened, what became of it, and how often that happens here.

    here: the service's own numbers of this event, the first of which is printed.
    """
    rows: list[tuple[str, str, Estimate | None]] = [
        ("The patient", patient_words(case), None), ("The lesion", lesion_words(case), None),
            ("Planned", planned_words(case), None), ("Done", done_words(case), None)]
    event = case.index_event
    if event is None:
        rows.append(("What happened", "no event is recorded", None))
    else:
        rows += [("What happened", _happened(case), None),
                 ("What was done", _answered(case), None),
                 ("What became of it", outcome_words(event), None)]
    if here:
        rows.append(("How often here", f"{here[0].number_text()} per {here[0].unit}, this case "
                     "counted", here[0]))
    return Table("summary", f"Discussed is {choice_words(case)}", ("", "In short"), tuple(
        (Cell(label, heading=True), Cell(text, estimate)) for label, text, estimate in rows))


def _happened(case: OneCase) -> str:
    event = case.index_event
    assert event is not None
    mechanism = event[Complications.mechanism]
    known = recorded(mechanism) not in (NOT_RECORDED, "unknown")
    return (f"{event[Complications.kind]}, {onset_words(case, event)}, phase: "
            f"{recorded(event[Complications.phase])}" + (f"; {mechanism}" if known else ""))


def _answered(case: OneCase) -> str:
    event = case.index_event
    assert event is not None
    told = [f"{what} after {unit_words(event[field], 'min')}" for what, field in (
        ("recognised", Complications.recognised_after_min),
        ("treated", Complications.treated_after_min)) if pd.notna(event[field])]
    rescue = event[Complications.rescue]
    return ", ".join([*told, *([] if pd.isna(rescue) else [f"rescue: {rescue}"])]) or NOT_RECORDED


def after_table(case: OneCase) -> Table:
    """Preventability and learning points: the last slide, filled in when all has been said.

    What was judged when the event was entered stands beside the place for what was agreed.
    """
    judged = () if case.index_event is None else review_words(case.index_event)
    agreed = agreed_rows(case)
    # Beside what an earlier conference learnt there is room to write too: one slide holds it all.
    lines = 1 if agreed else LEARNING_LINES
    rows = (*judged, *readers_rows(case), *agreed,
            *((f"Learning point {number}", "") for number in range(1, lines + 1)))
    return Table("after", "Opened when the discussion is over", (
        "", "As entered before", "As agreed in the room"), tuple(
            (Cell(label, heading=True), Cell(before), Cell("")) for label, before in rows))
