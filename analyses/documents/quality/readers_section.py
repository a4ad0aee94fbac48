"""How far the readers of events agree, as content; nothing where nobody read anything twice."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analyses.cases.readers_agree import FEWEST_EVENTS, Agreement, readers_agree
from analyses.content.blocks import Cell, Section, Table, plain
from analyses.statistics.estimate import Estimate

WORDS = (
    "Two readers judged the same events, neither knowing the other's view. Kappa and AC1 take off "
    "the agreement that chance would give: 1 is full agreement, 0 what chance gives. AC1 stands "
    "beside kappa because kappa falls where nearly all events are of one class. Intervals are "
    "clustered on the patient.")
NOT_GIVEN = "too few events"


def readers_sections(tables: Mapping[str, Any]) -> tuple[Section, ...]:
    """The agreement of two blinded readers, a row a question; tables: the freeze's."""
    found = readers_agree(tables["event_reviews"])
    if not found:
        return ()
    few = [one for one in found if one.kappa is None]
    said = (WORDS, *((f"A question that both answered for fewer than {FEWEST_EVENTS} events has "
                      "its counts alone.",) if few else ()))
    return (Section("How far the readers agree", (plain(*said), Table(
        "readers", "Events that two blinded readers judged alike, and agreement beyond chance",
        ("Question", "The same answer", "Cohen's kappa (95 % interval)",
         "Gwet's AC1 (95 % interval)"), tuple(map(_row, found))))),)


def _row(one: Agreement) -> tuple[Cell, ...]:
    return (Cell(one.question, heading=True), Cell(one.alike.number_text(), one.alike),
            *(_coefficient(estimate) for estimate in (one.kappa, one.ac1)))


def _coefficient(estimate: Estimate | None) -> Cell:
    return Cell(NOT_GIVEN) if estimate is None else Cell(estimate.as_text(), estimate)
