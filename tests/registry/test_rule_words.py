"""A person who reads a problem finds sheet and column under the names the workbook shows."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from registry_cases import clean_tables, found, with_cells

import registry.rules
from registry.rules.words import column, key_words, sheet
from registry.schema import TABLES

FIELDS = {field.name for spec in TABLES.values() for field in spec.fields if "_" in field.name}
NAMED = re.compile(rf"\b({'|'.join(sorted(FIELDS, key=len, reverse=True))})\b")
ROOM = Path(registry.rules.__file__).parent


def phrases(path: Path) -> list[str]:
    """Every text of more than one word in a module, but for docstrings."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    docs = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    return [node.value for node in ast.walk(tree)
            if isinstance(node, ast.Constant) and isinstance(node.value, str)
            and " " in node.value.strip() and id(node) not in docs]


@pytest.mark.parametrize("path", sorted(ROOM.glob("*.py")), ids=lambda path: path.name)
def test_no_rule_types_the_name_of_a_field(path):
    assert [words for words in phrases(path) if NAMED.search(words)] == []


def test_labels_come_from_the_schema():
    label = TABLES["sessions"].by_name["session_date"].label
    assert column("sessions", "session_date") == f'"{label}"'
    assert sheet("follow_ups") == f'sheet "{TABLES["follow_ups"].label}"'
    rows = clean_tables()["sessions"].iloc[:1]
    assert key_words(rows, "sessions", TABLES["sessions"].key).tolist() == [
        "N-0001, Lesion number 1, Session number 1"]


def test_a_death_without_a_date_says_which_column_of_which_sheet():
    tables = with_cells(clean_tables(), "follow_ups", mrs=6)
    mend = found(tables, "death without a date")[0].mend
    assert mend.startswith('enter "Date of death" in sheet "Patients"')


def test_a_gap_in_the_numbers_names_the_numbers_column():
    tables = with_cells(clean_tables(), "lesions", lesion_no=3)
    assert '"Lesion number" goes up to 3 in 1 rows' in [
        f.found for f in found(tables, "numbers with a gap")]
