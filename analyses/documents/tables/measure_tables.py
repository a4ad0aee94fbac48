"""Tables of estimates as content: one measure a row, or one group a row."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from analyses.content.blocks import Cell, Table
from analyses.measures.declared import about
from analyses.measures.group_words import GROUP_LABELS, level_label
from analyses.measures.results import Results
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import plural


def measures_table(
    results: Results, name: str, caption: str, measures: Sequence[tuple[str, str]],
) -> Table:
    """One measure a row: `measures` are (id, unit) pairs.

    Columns: the measure, its unit, the number with its interval, patients behind it, notes.
    """
    rows = []
    for id, unit in measures:
        found = results.one(id, unit)
        rows.append((
            # Its notes stand in the last column: the number needs no mark.
            Cell(about(id).label, heading=True), Cell(f"per {unit}"),
            Cell(found.number_text(), found),
            Cell(_patients(found)), Cell("; ".join(found.notes())),
        ))
    return Table(
        name, caption, ("Measure", "Unit", "Events/n (%, 95 % interval)", "Patients", "Notes"),
        tuple(rows), definitions(measures),
    )


def grouped_table(
    results: Results, name: str, caption: str, measures: Sequence[tuple[str, str]], column: str,
    *, folded: bool = False,
) -> Table:
    """One level of a grouping a row, one measure a column; overall on the last row.

    Without a row where there is no group.
    """
    columns = {pair: {e.group[column]: e for e in results.by(*pair, column) if e.group}
               for pair in measures}
    names = list(dict.fromkeys(level for found in columns.values() for level in found))
    rows = [
        (Cell(level_label(column, level), heading=True),
         *(number_cell(found.get(level)) for found in columns.values()))
        for level in _ordered(names)
    ]
    if rows:
        overall = tuple(number_cell(results.one(*pair)) for pair in measures)
        rows.append((Cell("All", heading=True), *overall))
    headings = (GROUP_LABELS.get(column, column),
                *(f"{about(id).label}, per {unit}" for id, unit in measures))
    # The measures are defined below the table of all of them; here the marks alone are needed.
    return Table(name, caption, headings, tuple(rows), (), folded)


def number_cell(estimate: Estimate | None) -> Cell:
    """The numbers of an estimate with its short marks; an en dash where there is none."""
    if estimate is None:
        return Cell("–")
    mark = " †" if estimate.notes() else ""
    return Cell(f"{estimate.number_text()}{mark}", estimate)


MOST_UNKNOWN = 0.05
"""Share of unknown outcomes from which the bounds stand beside a number in a main table."""


def headline_cell(estimate: Estimate) -> Cell:
    """The same, and what holds whatever the unknown are where more than 5 % are unknown."""
    cell = number_cell(estimate)
    bounds = next((part for part in estimate.beside if part.id == f"{estimate.id}.bounds"), None)
    if bounds is None or len(bounds.beside) < 2:
        return cell
    fewest, most = bounds.beside[:2]
    every, known = fewest.n or 0, estimate.n or 0
    if every - known <= MOST_UNKNOWN * every:
        return cell
    between = f"{fewest.events or 0:,} to {most.events or 0:,}"
    return Cell(f"{cell.text}; of all {every:,}: {between}", estimate)


def definitions(measures: Iterable[tuple[str, str]]) -> tuple[str, ...]:
    """What each measure counts over what, for the notes below a table."""
    seen: dict[str, list[str]] = {}
    for id, unit in measures:
        seen.setdefault(id, []).append(unit)
    return tuple(
        f"{about(id).label}: {about(id).definition(' or '.join(map(plural, units)))}."
        for id, units in seen.items()
    )


def _patients(estimate: Estimate) -> str:
    count = estimate.clusters if estimate.clusters is not None else estimate.n
    return "" if count is None else f"{count:,}"


def _ordered(names: list[str]) -> list[str]:
    last = [name for name in names if name == "not recorded"]
    return [name for name in names if name != "not recorded"] + last
