"""Tables of measurements and of characteristics as content."""

from __future__ import annotations

from collections.abc import Sequence

from analyses.content.blocks import Cell, Table
from analyses.content.marks import MARK
from analyses.measures.baseline import (
    LEVELS,
    SECTIONS,
    Described,
    baseline_frame,
    field_levels,
    level_id,
)
from analyses.measures.counting import FEW, levels
from analyses.measures.declared import about
from analyses.measures.group_words import GROUP_LABELS, level_label
from analyses.measures.small_cells import SUPPRESSED
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import plural
from analyses.words.flags import FEW_UNITS, flag_words
from analyses.words.numerals import measured, percent, ratio, span
from registry.clinical.scores import SCORE_CAUTION

Found = dict[tuple[str, str, str], Estimate]
"""Estimates by id, unit and level of one grouping ("" overall)."""

DASH = "–"
INDENT = "\N{EM SPACE}"
HELD_BACK = "not shown"
TOO_FEW, = flag_words([FEW_UNITS])
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
    """One measure a row, one level of a grouping a column: medians (quartiles) and n.

    Without a row where there is no group.
    """
    found = indexed(estimates, column)
    names = list(dict.fromkeys(
        e.group[column] for e in estimates if e.group and column in e.group))
    rows = []
    for id, unit in measures if names else ():
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
    told = {group for _, _, group in found}
    names = [level for level in levels(units.patients[by], by) if level in told]
    rows: list[tuple[Cell, ...]] = []
    for unit, fields in SECTIONS:
        frame = baseline_frame(units, unit)
        # A blank or not is told of every unit, so that this counts all of a group.
        sizes = [found.get((f"baseline.{fields[0].column}.missing", unit, group))
                 for group in ("", *names)]
        rows.append((Cell(plural(unit).capitalize(), heading=True), *map(_size_cell, sizes),
                     Cell("")))
        for field in fields:
            rows += _field_rows(found, differences, field, unit, field_levels(frame, field),
                                ["", *names])
    described = "Mean (SD), median (quartiles), or number (% of those recorded)."
    if not names:
        return Table(name, "Patients and lesions", ("Characteristic", "All"),
                     tuple(row[:2] for row in rows), (described, GRADES_DESCRIBE))
    heading = GROUP_LABELS.get(by, by)
    words = {"ruptured": "rupture before treatment"}.get(by, heading)
    columns = ("Characteristic", "All", *(
        f"{heading}: {level_label(by, level)}" for level in names), "Standardised difference")
    return Table(name, f"Patients and lesions by {words}", columns, tuple(rows), (
        f"{described} Standardised difference: "
        "distance of the groups in standard deviations (Austin 2009), the largest of all pairs "
        f"of groups of {FEW} or more; 0.1 and more is worth a look. It is no test.",
        GRADES_DESCRIBE))


def _size_cell(e: Estimate | None) -> Cell:
    """The size of a group, and where it is too small to be compared."""
    if e is None:
        return Cell(DASH)
    few = bool(e.group) and 0 < (e.n or 0) < FEW
    return Cell(f"n = {e.n or 0:,}{f'; {TOO_FEW}' if few else ''}", e)


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
    few = MARK if FEW_UNITS in e.flags else ""
    return Cell(f"{spread_text(e)}, {e.n:,}{few}", e)


def _field_rows(
    found: Found, differences: dict[tuple[str, str], Estimate], field: Described, unit: str,
    names: list[str], groups: list[str],
) -> list[tuple[Cell, ...]]:
    stem = f"baseline.{field.column}"
    apart = differences.get((f"{stem}.smd", unit))
    last = _difference_cell(apart)
    rows: list[tuple[Cell, ...]] = []
    if field.how != LEVELS:
        cells = [found.get((stem, unit, group)) for group in groups]
        rows.append((Cell(field.heading(), heading=True), *map(_spread_cell, cells), last))
    elif names == ["yes"]:
        rows.append((Cell(field.heading(), heading=True),
                     *_level_cells(found, level_id(field, "yes"), unit, groups), last))
    elif any(e is not None and e.kind == SUPPRESSED for e in (
            found.get((level_id(field, level), unit, "")) for level in names)):
        # Which levels occur would tell of a single patient, too.
        rows.append((Cell(field.heading(), heading=True), *(Cell(HELD_BACK) for _ in groups),
                     last))
    else:
        rows.append((Cell(field.heading(), heading=True), *(Cell("") for _ in groups), last))
        rows += [(Cell(INDENT + level_label(field.column, level)),
                  *_level_cells(found, level_id(field, level), unit, groups), Cell(""))
                 for level in names]
    missing = [found.get((f"{stem}.missing", unit, group)) for group in groups]
    if any(e is not None and e.events for e in missing):
        rows.append((Cell(INDENT + "not recorded"), *map(_level_cell, missing), Cell("")))
    return rows


def _difference_cell(e: Estimate | None) -> Cell:
    if e is None or e.value is None:
        return Cell(TOO_FEW if e is not None and FEW_UNITS in e.flags else DASH, e)
    return Cell(ratio(e.value), e)


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
