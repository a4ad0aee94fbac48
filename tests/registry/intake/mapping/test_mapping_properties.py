"""Damaged sheets thrown at the intake: no traceback, and the ledger always adds up."""

from __future__ import annotations

import datetime as dt
import shutil
import tempfile
import tomllib
import unicodedata
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from old_sheets import FIRST, HEADINGS, MAPPING, SECOND, read, rows_of, write_mapping, write_sheet

from registry.old_sheets.draft.drafting import draft_mapping
from registry.old_sheets.front_door import take_in_file
from registry.old_sheets.ledger import Ledger
from registry.old_sheets.mapping.read_statements import read_mapping
from registry.problems.problem import OutputError, SourceError
from registry.schema import TABLES
from registry.store.registry import open_registry

JUNK = st.one_of(
    st.none(), st.text(max_size=12), st.integers(-10**9, 10**9), st.booleans(),
    st.floats(allow_nan=False, allow_infinity=False, width=32),
    st.datetimes(dt.datetime(1901, 1, 1), dt.datetime(2199, 1, 1)),
    st.sampled_from([
        "?", "n/a", "-", "0-1", "1–3", "3.5x2.8x3 cm", "3x", "x", "MCA x3, PCA x1", "MCA x99",
        "x3", "2.4cc + 1.1", "1,5", "1,500", "+", "12/13/2015", "13/12/2015", "2015", "Mar 15",
        "#REF!", "=1+1", "TOTAL", "III", "none", "call 01632 960123", "a@b.example", "  ", "\u200b",
        "left frontal", "1e400", "٣", "½", "12.03.2015 10:30", "Rt", "1x2x3x4x5", "aphasia",
    ]),
)
DAMAGE = st.lists(st.tuples(
    st.sampled_from(["cell", "cell", "cell", "cell", "heading", "drop row", "copy row",
                     "blank row", "long row", "swap"]),
    st.integers(0, 60), st.integers(0, 60), JUNK,
), max_size=14)


def damaged(damage: list[tuple[str, int, int, Any]]) -> list[list[Any]]:
    """Four patients' rows, spoilt in these ways."""
    rows = rows_of(FIRST, SECOND, ["0103", *FIRST[1:]], [104, *SECOND[1:]])
    rows.append(["TOTAL", None, 42.5])
    for kind, i, j, junk in damage:
        body = range(2, len(rows))
        if kind == "heading":
            rows[1][j % len(HEADINGS)] = junk
        elif not body:
            continue
        elif kind == "cell":
            row = rows[2 + i % len(body)]
            row[j % len(row)] = junk
        elif kind == "drop row":
            del rows[2 + i % len(body)]
        elif kind == "copy row":
            rows.append(list(rows[2 + i % len(body)]))
        elif kind == "blank row":
            rows.insert(2 + i % len(body), [None] * len(HEADINGS))
        elif kind == "long row":
            rows[2 + i % len(body)] += [None] * (j % 5) + [junk]
        else:
            row = rows[2 + i % len(body)]
            a, b = i % len(row), j % len(row)
            row[a], row[b] = row[b], row[a]
    return rows


def filled(rows: list[list[Any]]) -> int:
    """Cells that are not blank, counted without the intake.

    Blank: nothing, or only spaces and signs that nobody sees (Unicode categories Z, Cc and Cf).
    """
    def says(value: Any) -> bool:
        if value is None:
            return False
        return not isinstance(value, str) or any(
            unicodedata.category(c) not in {"Zs", "Zl", "Zp", "Cc", "Cf"} for c in value)

    return sum(says(value) for row in rows for value in row)


def check_reading(damage: list[tuple[str, int, int, Any]]) -> None:
    """Read the sheet through its mapping, all rules asked; nothing is stored."""
    folder = Path(tempfile.mkdtemp())
    try:
        rows = damaged(damage)
        try:
            found = read(folder, rows)
        except SourceError as fault:
            assert fault.sentences and all(len(line) > 20 for line in fault.sentences)
            return
        ledger = Ledger(found.rows, found.batch)
        _check_counts(ledger, rows)
        read_rows = sum(found.batch.rows_read.values())
        taken = sum(len(frame) for frame in found.batch.tables.values())
        assert read_rows == taken + len(found.batch.held)
    finally:
        shutil.rmtree(folder)


def check_intake(damage: list[tuple[str, int, int, Any]]) -> None:
    """The whole way into a registry, and what is in it afterwards."""
    folder = Path(tempfile.mkdtemp())
    try:
        rows = damaged(damage)
        path = write_sheet(folder / "old.xlsx", rows)
        outcome = take_in_file(path, open_registry(folder / "r.sqlite"),
                               mapping=write_mapping(folder, MAPPING))
        assert outcome.exit_code in (0, 1, 2)
        if outcome.exit_code == 2:
            assert outcome.ledger is None and not (folder / "r.sqlite").exists()
            return
        _check_counts(outcome.ledger, rows)
        _check_homes(outcome.ledger, folder)
    finally:
        shutil.rmtree(folder)


def _check_counts(ledger: Ledger, rows: list[list[Any]]) -> None:
    assert ledger.adds_up and ledger.total == filled(rows)
    homes = [cell.home for cell in ledger.cells()]
    assert len(homes) == ledger.total
    assert {home: homes.count(home) for home in ledger.counts()} == ledger.counts()
    assert sum(column.cells for column in ledger.columns()) == ledger.total


def _check_homes(ledger: Ledger, folder: Path) -> None:
    """A cell is in the registry exactly where its patient is."""
    registry = open_registry(folder / "r.sqlite")
    here = set(registry.tables()["patients"]["patient_id"])
    for cell in ledger.cells():
        patient = cell.where.rpartition(", ")[2]
        if cell.home in ("registry", "holding") and patient != "no study code":
            assert (patient in here) is (cell.home == "registry")
    for name, frame in registry.tables().items():
        TABLES[name].checks.validate(frame, lazy=True)


ANY = dict(deadline=None, suppress_health_check=list(HealthCheck))


@settings(max_examples=100, **ANY)
@given(DAMAGE)
def test_a_hundred_damaged_sheets(damage: list[tuple[str, int, int, Any]]) -> None:
    check_reading(damage)


@settings(max_examples=8, **ANY)
@given(DAMAGE)
def test_damaged_sheets_all_the_way_into_a_registry(
    damage: list[tuple[str, int, int, Any]]
) -> None:
    check_intake(damage)


@pytest.mark.slow
@settings(max_examples=2000, **ANY)
@given(DAMAGE)
def test_two_thousand_damaged_sheets(damage: list[tuple[str, int, int, Any]]) -> None:
    check_reading(damage)


@pytest.mark.slow
@settings(max_examples=60, **ANY)
@given(DAMAGE)
def test_many_damaged_sheets_all_the_way_into_a_registry(
    damage: list[tuple[str, int, int, Any]]
) -> None:
    check_intake(damage)


@settings(max_examples=40, **ANY)
@given(st.lists(st.lists(JUNK, max_size=8), max_size=12), DAMAGE)
def test_a_draft_of_any_sheet_is_a_mapping_or_a_sentence(
    anything: list[list[Any]], damage: list[tuple[str, int, int, Any]]
) -> None:
    folder = Path(tempfile.mkdtemp())
    try:
        rows = damaged(damage) if len(anything) % 2 else anything
        path = write_sheet(folder / "old.xlsx", rows)
        try:
            draft_mapping(path, folder / "draft.toml")
        except (SourceError, OutputError):
            return
        _check_draft(folder)
    finally:
        shutil.rmtree(folder)


def _check_draft(folder: Path) -> None:
    """A draft is well-formed, and takes nothing in."""
    text = (folder / "draft.toml").read_text(encoding="utf-8")
    assert tomllib.loads(text)["draft"] is True
    outcome = take_in_file(folder / "old.xlsx", open_registry(folder / "r.sqlite"),
                           mapping=folder / "draft.toml")
    assert outcome.exit_code == 2 and not (folder / "r.sqlite").exists()
    try:
        read_mapping(folder / "draft.toml")
    except SourceError as fault:
        # Only what a person has to decide may be missing.
        assert all('"?"' in line or "study code" in line or "'?'" in line
                   for line in fault.sentences), fault.sentences
