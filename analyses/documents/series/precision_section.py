"""What this many patients can and cannot show, as a section with its table."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analyses.content.blocks import Block, Cell, Paragraph, Section, Sentence, Table
from analyses.measures.declared import shares_at
from analyses.measures.places import Place
from analyses.measures.results import Results
from analyses.statistics.precision.precision_plan import (
    BOUND,
    COLUMNS,
    DETECTABLE,
    FOR_WIDTH,
    FOR_ZERO,
    WIDTH,
    Precision,
    answer,
    precision_plan,
)
from analyses.statistics.proportions.clusters import intraclass_correlation
from registry.schema import Patients

TITLE = "What this many patients can and cannot show"
TOLD = ("1.0 %", "5.0 %")
"""True risks that are said in sentences; the table has the others."""


def planned(results: Results) -> tuple[Precision, ...]:
    """Plans per patient and per session embolized; none of a kind that the freeze does not hold.

    The within-patient correlation is that of any complication, as far as it can be estimated.
    """
    people = results.units.patients
    embolized = people[people["embolized"]]
    if embolized.empty:
        return ()
    (measure, unit), = shares_at(Place.PRECISION)
    marked = measure.frame(results.units, unit)
    by = marked.assign(event=marked["event"].astype("boolean").fillna(False)).groupby(
        Patients.patient_id
    )
    rows = by.size().to_numpy(dtype=float)
    events = by["event"].sum().to_numpy(dtype=float)
    patients = precision_plan(len(embolized))
    if not (rows > 1).any():
        return (patients,)
    found = intraclass_correlation(events, rows)
    correlation = round(float(min(1.0, max(0.0, found))), 2) if np.isfinite(found) else 0.0
    return (patients, precision_plan(
        len(rows), rows=rows, correlation=correlation, unit="session"))


def precision_section(plans: Sequence[Precision]) -> Section:
    """The section: the assumptions, the sentences that matter most, and the whole table."""
    if not plans:
        return Section(TITLE, (Paragraph((Sentence(
            "No patient was embolized: there is nothing to plan from."),)),))
    blocks: list[Block] = []
    for plan in plans:
        said = plan.sentences()
        told = [Sentence(said[0])]
        told += [Sentence(words, (e,)) for words, e in zip(said[1:], plan.estimates, strict=True)
                 if e.id == BOUND or (e.id in (WIDTH, DETECTABLE)
                                      and (e.group or {}).get("true risk") in TOLD)]
        blocks += [Paragraph(tuple(told)), _table(plan)]
    return Section(TITLE, tuple(blocks))


def _table(plan: Precision) -> Table:
    rows: dict[str, dict[str, Cell]] = {}
    for e in plan.estimates:
        if e.id in COLUMNS:
            rows.setdefault((e.group or {})["true risk"], {})[e.id] = Cell(answer(e), e)
    order = (WIDTH, DETECTABLE, FOR_WIDTH, FOR_ZERO)
    headings = [COLUMNS[id][:1].upper() + COLUMNS[id][1:] for id in order]
    return Table(
        f"precision-{plan.unit}", f"What {plan.rows:,} {plan.unit}s can and cannot show",
        ("True risk", *headings), tuple(
            (Cell(risk, heading=True), *(row[id] for id in order)) for risk, row in rows.items()),
        (f"{100 * plan.level:g} % intervals, {100 * plan.power:g} % power; two groups of "
         f"{plan.group_sizes[0]:,} and {plan.group_sizes[1]:,} {plan.unit}s.",))
