"""Tables of measurements and of characteristics as content."""

from __future__ import annotations

from collections.abc import Sequence

from analyses.content.blocks import Cell, Table
from analyses.measures.baseline import (
    LEVELS,
    SECTIONS,
    Described,
    baseline_frame,
    field_levels,
    level_id,
)
from analyses.measures.counting import levels
from analyses.measures.declared import about
from analyses.measures.group_words import GROUP_LABELS, level_label
from analyses.measures.small_cells import SUPPRESSED
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import plural
from analyses.words.numerals import measured, percent, ratio, span
from registry.clinical.scores import SCORE_CAUTION

Found = dict[tuple[str, str, str], Estimate]
"""Estimates by id, unit and level of one grouping ("" overall)."""

DASH = "–"
INDENT = "\N{EM SPACE}"
HELD_BACK = "not shown"
GRADES_DESCRIBE = f"A grade or score {SCORE_CAUTION}."
"""Stands under a table with grades."""


def indexed(estimates: Sequence[Estimate], column: str) -> Found:
    """The overall estimates, and those of one grouping."""
    return {(e.id, e.unit, e.group[column] if e.group else ""): e for e in estimates
            if not e.group or tuple(e.group) == (column,)}


def spread_text(estimate: Estimate) -> str:
    """`300 (200–450)` for a median with its quartiles, `38.5 (SD 16.4)` for a mean."""
    if estimate.value is None:
        return DASH
    beside = {e.kind: e.value for e in estimate.beside}
    if estimate.kind == "mean":
        value, spread = measured(estimate.value, beside.get("standard deviation"))
        return f"{value} (SD {spread})" if "standard deviation" in beside else value
    value, low, high = measured(
        estimate.value, beside.get("lower quartile"), beside.get("upper quartile"))
    return f"{value} ({span(low, high)})"


def medians_table(
    name: str, caption: str, estimates: Sequence[Estimate], measures: Sequence[tuple[str, str]],
) -> Table:
    """One measure a row: median, quartiles, range, the median's interval, n and notes."""
    found = indexed(estimates, "")
    rows = [_median_row(found[id, unit, ""]) for id, unit in measures
            if (id, unit, "") in found]
    return Table(name, caption, (
        "Measure", "Unit", "Median (quartiles)", "Smallest–largest",
        "95 % interval of the median", "n", "Notes"), tuple(rows))


def medians_by_table(
    name: str, caption: str, estimates: Sequence[Estimate], measures: Sequence[tuple[str, str]],
    column: str, heading: str, *, folded: bool = False, notes: tuple[str, ...] = (),
) -> Table:
    """One measure a row, one level of a grouping a column: medians (quartiles) and n."""
    found = indexed(estimates, column)
    names = list(dict.fromkeys(
        e.group[column] for e in estimates if e.group and column in e.group))
    rows = []
    for id, unit in measures:
        cells = [found.get((id, unit, level)) for level in ("", *names)]
        unit_words = cells[0].measure if cells[0] is not None else ""
        label = f"{about(id).label} ({unit_words})" if unit_words else about(id).label
        rows.append((Cell(label, heading=True), *(_short(e) for e in cells)))
    return Table(name, caption, (heading, "All", *names), tuple(rows),
                 ("Median (quartiles), n.", *notes), folded)


def baseline_table(
    units: Units, estimates: Sequence[Estimate], by: str, name: str = "baseline",
) -> Table:
    """The baseline table by one grouping, from the estimates of `baseline_estimates`.

    Means (SD), medians (quartiles), n (%) of those recorded; what is not recorded has its own
    row; the last column is the standardised difference.
    """
    found = indexed(estimates, by)
    differences = {(e.id, e.unit): e for e in estimates
                   if e.id.endswith(".smd") and e.group and by in e.group}
    names = levels(units.patients[by], by)
    rows: list[tuple[Cell, ...]] = []
    for unit, fields in SECTIONS:
        frame = baseline_frame(units, unit)
        sizes = [len(frame), *(int(frame[by].eq(level).sum()) for level in names)]
        rows.append((Cell(plural(unit).capitalize(), heading=True),
                     *(Cell(f"n = {size:,}") for size in sizes), Cell("")))
        for field in fields:
            rows += _field_rows(found, differences, field, unit, field_levels(frame, field),
                                ["", *names])
    heading = GROUP_LABELS.get(by, by)
    words = {"ruptured": "rupture before treatment"}.get(by, heading)
    columns = ("Characteristic", "All", *(
        f"{heading}: {level_label(by, level)}" for level in names), "Standardised difference")
    return Table(name, f"Patients and lesions by {words}", columns, tuple(rows), (
        "Mean (SD), median (quartiles), or number (% of those recorded). Standardised difference: "
        "distance of the groups in standard deviations (Austin 2009), the largest of all pairs; "
        "0.1 and more is worth a look. It is no test.", GRADES_DESCRIBE))


def _median_row(e: Estimate) -> tuple[Cell, ...]:
    beside = {x.kind: x.value for x in e.beside}
    around = measured(beside.get("smallest"), beside.get("largest"))
    interval = measured(e.value, e.low, e.high)[1:] if e.low is not None else ()
    label = f"{about(e.id).label} ({e.measure})" if e.measure else about(e.id).label
    return (
        Cell(label, heading=True), Cell(f"per {e.unit}"), Cell(spread_text(e), e),
        Cell(span(*around) if "smallest" in beside else DASH),
        Cell(span(*interval) if interval else DASH), Cell(f"{e.n or 0:,}"),
        Cell("; ".join(e.notes())))


def _short(e: Estimate | None) -> Cell:
    if e is None or not e.n:
        return Cell(DASH)
    return Cell(f"{spread_text(e)}, {e.n:,}", e)


def _field_rows(
    found: Found, differences: dict[tuple[str, str], Estimate], field: Described, unit: str,
    names: list[str], groups: list[str],
) -> list[tuple[Cell, ...]]:
    stem = f"baseline.{field.column}"
    apart = differences.get((f"{stem}.smd", unit))
    last = Cell(DASH if apart is None or apart.value is None else ratio(apart.value), apart)
    rows: list[tuple[Cell, ...]] = []
    if field.how != LEVELS:
        cells = [found.get((stem, unit, group)) for group in groups]
        rows.append((Cell(field.heading(), heading=True), *map(_spread_cell, cells), last))
    elif names == ["yes"]:
        rows.append((Cell(field.heading(), heading=True),
                     *_level_cells(found, level_id(field, "yes"), unit, groups), last))
    else:
        rows.append((Cell(field.heading(), heading=True), *(Cell("") for _ in groups), last))
        rows += [(Cell(INDENT + level_label(field.column, level)),
                  *_level_cells(found, level_id(field, level), unit, groups), Cell(""))
                 for level in names]
    missing = [found.get((f"{stem}.missing", unit, group)) for group in groups]
    if any(e is not None and e.events for e in missing):
        rows.append((Cell(INDENT + "not recorded"), *map(_level_cell, missing), Cell("")))
    return rows


def _level_cells(found: Found, id: str, unit: str, groups: list[str]) -> list[Cell]:
    return [_level_cell(found.get((id, unit, group))) for group in groups]


def _level_cell(e: Estimate | None) -> Cell:
    if e is not None and e.kind == SUPPRESSED:
        return Cell(HELD_BACK)
    if e is None or not e.n or e.value is None:
        return Cell(DASH)
    return Cell(f"{e.events:,} ({percent(e.value)} %)", e)


def _spread_cell(e: Estimate | None) -> Cell:
    if e is not None and e.kind == SUPPRESSED:
        return Cell(HELD_BACK)
    return Cell(DASH) if e is None else Cell(spread_text(e), e)
