"""A fictional old wide sheet, made from clean data by damaging it in known ways.

One row a patient, grown over ten years by four fellows: titles above the headings, Roman
numerals, several things in one cell, dates in two orders (the column "Fellow" says which), signs
for "not recorded", colours with a legend, a total row at the bottom, and a few cells that nobody
could take. Beside the sheet come the clean tables and a record of every cell.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from registry.schema import Patients
from synthetic_cohort.old_sheet_base import draws, sheet_tables
from synthetic_cohort.old_sheet_cells import blank, fictional_number
from synthetic_cohort.old_sheet_columns import Column, Person, columns, people_of
from synthetic_cohort.old_sheet_faults import FAULTS
from synthetic_cohort.old_sheet_file import FIRST_ROW, HEADING_ROW, SHEET, write_file
from synthetic_cohort.old_sheet_grid import Grid, WrittenCell

BLANK_SHARE = 0.04

__all__ = ["FIRST_ROW", "HEADING_ROW", "SHEET", "OldSheet", "WrittenCell", "old_sheet"]


@dataclass(frozen=True)
class OldSheet:
    """The sheet, the clean tables behind it, and every cell that is not blank.

    `codes`: the fictional hospital number of each row → the study code in the clean tables.
    `colours`: row → what its colour means in the legend. `month_first_rows` are those whose
    fellow wrote the month first.
    """

    path: Path
    clean: dict[str, pd.DataFrame]
    cells: tuple[WrittenCell, ...]
    codes: dict[int, str]
    colours: dict[int, str]
    month_first_rows: tuple[int, ...]
    headings: tuple[str, ...]
    total_row: int


def old_sheet(path: str | Path, seed: int = 3, *, patients: int = 130) -> OldSheet:
    """Write the old sheet (.xlsx) of about `patients` patients to `path`.

    Patients for whom a wide sheet has no room (a fifth session, a transvenous route) are not in
    it, so that 130 asked for give about 120 rows. The same seed gives the same sheet.
    """
    clean = sheet_tables(patients, seed)
    people, plan = people_of(clean), columns()
    grid = _grid(people, plan, seed)
    _put_faults(grid, people, plan, seed)
    cells = _record(grid, people, plan)
    total = FIRST_ROW + len(people)
    cells += _other_cells(people, plan, total)
    colours = _colours(people, clean)
    write_file(Path(path), cells, plan, grid, colours, total)
    return OldSheet(
        Path(path), clean, tuple(cells),
        {fictional_number(person.place): person.code for person in people}, colours,
        tuple(FIRST_ROW + p.place for p in people if p.month_first),
        tuple(column.heading for column in plan), total,
    )




def _grid(people: list[Person], plan: tuple[Column, ...], seed: int) -> Grid:
    """Every patient's cells, column by column."""
    n = len(people)
    grid: Grid = [[None] * len(plan) for _ in people]
    for at, column in enumerate(plan):
        u, v, w = (draws(seed, f"{part} {column.heading}", n) for part in "uvw")
        for person in people:
            i = person.place
            cell = column.write(person, float(u[i]), float(v[i]))
            if cell is not None and column.optional and w[i] < BLANK_SHARE:
                empty = blank(w[i] / BLANK_SHARE)
                facts = tuple(replace(fact, value=None) for fact in cell.facts)
                cell = replace(empty, facts=facts)
            grid[i][at] = cell
    return grid


def _put_faults(grid: Grid, people: list[Person], plan: tuple[Column, ...], seed: int) -> None:
    """One cell that nobody could take, in one patient each."""
    order = draws(seed, "faulty patients", len(people)).argsort()
    place = {column.heading: at for at, column in enumerate(plan)}
    free = [int(i) for i in order]
    for fault in FAULTS:
        at = place[fault.heading]
        for i in free:
            cell = grid[i][at]
            if cell is None or cell.fate != "taken":
                continue
            raw = fault.raw(cell, people[i])
            if raw is not None:
                grid[i][at] = replace(cell, raw=raw, way=fault.kind, fate=fault.fate, shown="")
                free.remove(i)
                break
        else:
            raise ValueError(f'no patient is left for the fault "{fault.kind}"')


def _record(
    grid: Grid, people: list[Person], plan: tuple[Column, ...]
) -> list[WrittenCell]:
    found = []
    for person in people:
        for at, column in enumerate(plan):
            cell = grid[person.place][at]
            if cell is not None:
                found.append(WrittenCell(
                    FIRST_ROW + person.place, at, column.heading, cell.raw, cell.way, cell.fate,
                    cell.facts, person.code))
    return found


def _other_cells(
    people: list[Person], plan: tuple[Column, ...], total: int
) -> list[WrittenCell]:
    """Title rows and the row of totals: no patient's."""
    ages = [person.rows["patients"][0][Patients.age_y] for person in people]
    place = {column.heading: at for at, column in enumerate(plan)}
    words = [
        (1, 0, "AVM embolisation database (fictional service)", "title"),
        (2, 0, "colours: see sheet Legend", "title"),
        (total, place["No."], "TOTAL", "row of totals"),
        (total, place["Hosp no"], len(people), "row of totals"),
        (total, place["Age"], f"mean {sum(ages) / len(ages):.1f}", "row of totals"),
        (
            total,
            place["Sex"],
            "F {}".format(sum(p.rows["patients"][0][Patients.sex] == "female" for p in people)),
            "row of totals",
        ),
        (
            total,
            place["Died"],
            sum(p.rows["patients"][0][Patients.death_date] is not None for p in people),
            "row of totals",
        ),
    ]
    return [WrittenCell(row, at, plan[at].heading if row == total else "", raw, way, "left out",
                        (), None) for row, at, raw, way in words]


def _colours(people: list[Person], clean: dict[str, pd.DataFrame]) -> dict[int, str]:
    """Red: died; yellow: no visit recorded; green: still in treatment by the fellow's list."""
    seen = set(clean["follow_ups"][Patients.patient_id])
    dead = set(
        clean["patients"].loc[clean["patients"][Patients.death_date].notna(), Patients.patient_id]
    )
    out = {}
    for person in people:
        if person.code in dead:
            out[FIRST_ROW + person.place] = "died"
        elif person.code not in seen:
            out[FIRST_ROW + person.place] = "not seen again"
        elif person.place % 9 == 4:
            out[FIRST_ROW + person.place] = "films checked twice"
    return out
