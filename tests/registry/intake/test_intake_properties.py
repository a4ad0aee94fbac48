"""Damaged sheets: no traceback, no lost row, nothing wrong in silence.

Hypothesis spoils cells, rows, columns and bytes at random. A few dozen sheets are tried in an
ordinary run and over two thousand in CI.
"""

from __future__ import annotations

import datetime as dt
import zipfile
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from intake_samples import TODAY, tidy_tables

from registry.intake.form_cells import plain
from registry.intake.returned import write_returned
from registry.intake.sheet import Sheet, Source
from registry.intake.source_reading import check_source, read_source
from registry.problems.cell_text import ErrorValue, NoResult
from registry.problems.problem import SourceError
from registry.schema import REQUIRED_TABLES, TABLES

CALM = {"deadline": None, "suppress_health_check": list(HealthCheck)}
# Every example is six sheets.
FEW, MANY = settings(max_examples=20, **CALM), settings(max_examples=120, **CALM)

TIDY = tidy_tables()
BLANKS = (None, "", " ", "\u00a0", "\u200b\t")
JUNK = st.one_of(
    st.sampled_from([*BLANKS, "1,500", "34,5", "80%", "31/02/2020", "03/09/2020", "9 Mar 2020",
                     "?", "n/a", "-", "=1+1", "+49 1", "@x", "N-0001", "n-0002", "N-9999", "yes",
                     "NO", "femal", "FEMALE", "#REF!", "1e400", "nan", "inf", "٣", "½", "\x00",
                     "\ud7ff", "x" * 40_000]),
    st.text(max_size=12), st.integers(-10**20, 10**20), st.floats(), st.booleans(),
    st.dates(), st.datetimes(), st.times(),
    st.timedeltas(), st.just(NoResult()), st.just(ErrorValue("#DIV/0!")),
)


def sheet_of(name: str, frame: pd.DataFrame) -> list[list[object]]:
    headings = [spec.heading for spec in TABLES[name].fields]
    return [headings, *[[plain(v) for v in row] for row in frame.itertuples(index=False)]]


@st.composite
def spoilt(draw):
    """The tidy tables as sheets, with some cells replaced and some rows moved about."""
    rows = {name: sheet_of(name, frame) for name, frame in TIDY.items()}
    touched: set[tuple[str, int, int]] = set()
    for _ in range(draw(st.integers(0, 8))):
        name = draw(st.sampled_from(sorted(rows)))
        row = draw(st.integers(1, len(rows[name]) - 1))
        column = draw(st.integers(0, len(rows[name][0]) - 1))
        rows[name][row][column] = draw(JUNK)
        touched.add((name, row, column))
    for name in draw(st.lists(st.sampled_from(sorted(rows)), max_size=2, unique=True)):
        body = rows[name][1:]
        extra = draw(st.sampled_from(["again", "blank", "short", "none"]))
        if extra == "again":
            body.append(list(draw(st.sampled_from(body))))
        elif extra == "blank":
            body.insert(draw(st.integers(0, len(body))), [draw(st.sampled_from(BLANKS))] * 4)
        elif extra == "short":
            body.append(draw(st.lists(JUNK, max_size=3)))
        rows[name] = [rows[name][0], *body]
    return rows


def blank(cell: object) -> bool:
    return cell is None or (isinstance(cell, str) and not cell.strip(" \u00a0\u200b\t"))


def nobody_is_lost(batch, rows) -> None:
    for name, table in TABLES.items():
        filled = [
            n for n, row in enumerate(rows.get(name, [])[1:], start=2)
            if not all(blank(cell) for cell in row)
        ]
        held = [row.place.row for row in batch.held if row.table == name]
        taken = [place.row for place in batch.places[name]]
        assert len(taken) == len(batch.tables[name])
        invisible = set(filled) - {*held, *taken}
        for number in invisible:  # only rows of invisible characters may be passed over
            texts = [c for c in rows[name][number - 1] if not blank(c)]
            assert all(isinstance(c, str) and not c.isprintable() for c in texts), texts
        assert sorted([*held, *taken]) == sorted(set(filled) - invisible)
        assert batch.rows_read[name] == len(held) + len(taken)
        table.checks.validate(batch.tables[name])


def every_problem_can_be_acted_on(batch) -> None:
    for problem in batch.problems:
        assert problem.found and problem.wanted and problem.mend
        assert len(problem.sentence()) < 1500 and "\n" not in problem.sentence()
    for row in batch.held:
        assert row.reasons and all(row.reasons)
    errors = {p.patient_id for p in batch.problems if p.severity == "error"} - {None}
    assert errors == set(batch.patients_held)
    for frame in batch.tables.values():
        if "patient_id" in frame:
            assert not set(frame["patient_id"]) & errors


def right_or_reported(batch, rows) -> None:
    """A value that went in is the tidy one, unless its cell was spoilt into another good one."""
    for name, frame in batch.tables.items():
        for position, place in enumerate(batch.places[name]):
            raw = rows[name][place.row - 1]
            for number, spec in enumerate(TABLES[name].fields):
                value = plain(frame[spec.name].iat[position])
                given_cell = raw[number] if number < len(raw) else None
                if value is None:
                    assert blank(given_cell) or not str(given_cell).isprintable()
                elif isinstance(given_cell, int | float) and not isinstance(given_cell, bool):
                    assert isinstance(value, dt.datetime) or value == given_cell


def check(rows) -> None:
    sheets = {name: Sheet(TABLES[name].label, cells) for name, cells in rows.items()}
    try:
        batch = check_source(Source("W-X", "workbook", "x.xlsx", "0", sheets), {}, TODAY)
    except SourceError as fault:
        assert "holds no rows" in str(fault) or "headings" in str(fault), fault
        return
    nobody_is_lost(batch, rows)
    every_problem_can_be_acted_on(batch)
    right_or_reported(batch, rows)


@FEW
@given(spoilt())
def test_spoilt_sheets_lose_no_row_and_every_fault_is_told(rows):
    check(rows)


@pytest.mark.slow
@MANY
@given(spoilt())
def test_very_many_spoilt_sheets(rows):
    check(rows)


@settings(max_examples=6, **CALM)
@given(rows=spoilt())
def test_what_is_handed_back_holds_the_same_rows_when_read_again(rows, tmp_path_factory):
    sheets = {name: Sheet(TABLES[name].label, cells) for name, cells in rows.items()}
    batch = check_source(Source("W-X", "workbook", "x.xlsx", "0", sheets), {}, TODAY)
    if not batch.held:
        return
    path = tmp_path_factory.mktemp("back") / "back.xlsx"
    write_returned(path, batch)
    again = read_source(path, today=TODAY, existing=batch.tables)
    assert again.source_id == "W-X"
    for name in TABLES:
        # a row of which nothing but a formula without a result was left comes back blank
        readable = [r for r in batch.held if r.table == name and any(
            not blank(plain(c)) and not isinstance(c, NoResult) for c in r.cells.values())]
        assert again.rows_read[name] == len(readable)


def parts_of(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def read_or_refuse(path: Path) -> None:
    try:
        batch = read_source(path, today=TODAY)
    except SourceError as fault:
        assert all(sentence.endswith(".") for sentence in fault.sentences)
    else:
        every_problem_can_be_acted_on(batch)


def damage_bytes(draw, content: bytes) -> bytes:
    start = draw(st.integers(0, len(content)))
    length = draw(st.integers(0, 30))
    return content[:start] + draw(st.binary(max_size=20)) + content[start + length:]


def spoil_file(draw_from, tidy: Path, folder: Path) -> Path:
    path, draw = folder / "cases.xlsx", draw_from.draw
    if draw(st.booleans()):
        path.write_bytes(damage_bytes(draw, tidy.read_bytes()))
        return path
    parts = parts_of(tidy)
    part = draw(st.sampled_from([n for n in parts if "sheet" in n or "shared" in n
                                 or n in {"xl/workbook.xml", "xl/styles.xml"}]))
    parts[part] = damage_bytes(draw, parts[part])
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return path


@settings(max_examples=30, **CALM)
@given(data=st.data())
def test_damaged_bytes_are_read_or_refused(data, tidy_workbook, tmp_path_factory):
    read_or_refuse(spoil_file(data, tidy_workbook, tmp_path_factory.mktemp("bytes")))


@pytest.mark.slow
@settings(max_examples=120, **CALM)
@given(data=st.data())
def test_very_many_damaged_files(data, tidy_workbook, tmp_path_factory):
    read_or_refuse(spoil_file(data, tidy_workbook, tmp_path_factory.mktemp("bytes")))


def spoil_csv(draw_from, folder: Path) -> Path:
    for name, frame in TIDY.items():
        frame.to_csv(folder / f"{name}.csv", index=False, date_format="%Y-%m-%d")
    path = folder / f"{draw_from.draw(st.sampled_from(REQUIRED_TABLES))}.csv"
    path.write_bytes(damage_bytes(draw_from.draw, path.read_bytes()))
    return folder


@settings(max_examples=30, **CALM)
@given(data=st.data())
def test_damaged_csv_files_are_read_or_refused(data, tmp_path_factory):
    read_or_refuse(spoil_csv(data, tmp_path_factory.mktemp("csv")))


@pytest.mark.slow
@MANY
@given(data=st.data())
def test_very_many_damaged_csv_files(data, tmp_path_factory):
    read_or_refuse(spoil_csv(data, tmp_path_factory.mktemp("csv")))
