"""The fictional old sheet: damaged in known ways, with the clean data and every cell recorded."""

from __future__ import annotations

import datetime as dt
import re
import tomllib
from collections import Counter
from pathlib import Path

import pytest

from registry.rules import check_rules
from registry.schema import TABLES
from synthetic_cohort.old_sheet import FIRST_ROW, HEADING_ROW, SHEET, OldSheet, old_sheet
from synthetic_cohort.old_sheet_base import KEPT
from synthetic_cohort.old_sheet_compare import lost_values, wrong_values
from synthetic_cohort.old_sheet_faults import FAULTS
from synthetic_cohort.old_sheet_mapping import finished_mapping

# Stated once for everybody in the legend, not in a column.
IN_THE_LEGEND = {"site_id", "route", "agent", "phase", "attribution", "urgency"}


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> OldSheet:
    return old_sheet(tmp_path_factory.mktemp("old") / "old.xlsx")


def taken(sheet: OldSheet, heading: str) -> list:
    found = [c for c in sheet.cells if c.heading == heading and c.fate == "taken"]
    assert found, heading
    return found


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_it_is_a_sheet_of_about_120_patients(seed: int, tmp_path: Path) -> None:
    sheet = old_sheet(tmp_path / "old.xlsx", seed)
    assert 110 <= len(sheet.codes) <= 130
    assert sheet.total_row == FIRST_ROW + len(sheet.codes)


def test_every_column_holds_something(sheet: OldSheet) -> None:
    held = {cell.heading for cell in sheet.cells if cell.row != sheet.total_row}
    assert held - {""} == set(sheet.headings)


def test_the_clean_tables_are_what_a_registry_would_take(sheet: OldSheet) -> None:
    for name, spec in TABLES.items():
        spec.checks.validate(sheet.clean[name], lazy=True)
    assert [f for f in check_rules(sheet.clean) if f.severity == "error"] == []


def test_every_cell_of_the_file_is_recorded_and_no_other(sheet: OldSheet) -> None:
    from openpyxl import load_workbook

    book = load_workbook(sheet.path)[SHEET]
    assert [cell.value for cell in book[HEADING_ROW]] == list(sheet.headings)
    in_file = {
        (cell.row, cell.column - 1): cell.value
        for row in book.iter_rows() for cell in row
        if cell.value is not None and cell.row != HEADING_ROW
    }
    assert in_file == {(cell.row, cell.column): cell.raw for cell in sheet.cells}


def test_every_clean_value_stands_in_one_cell(sheet: OldSheet) -> None:
    stands = Counter((f.table, f.key, f.field) for cell in sheet.cells for f in cell.facts)
    assert set(stands.values()) == {1}
    for name, fields in KEPT.items():
        table, key = sheet.clean[name], list(TABLES[name].key)
        for field in set(fields) - IN_THE_LEGEND:
            if (name, field) == ("patients", "presentation_date_known_to"):
                continue
            for row in table.loc[table[field].notna(), key].itertuples(index=False):
                assert (name, tuple(row), field) in stands


def test_all_the_faults_of_the_old_spreadsheet_are_there(sheet: OldSheet) -> None:
    texts = {heading: " | ".join(str(c.raw) for c in sheet.cells if c.heading == heading)
             for heading in sheet.headings}
    assert re.search(r"\bIV\b", texts["SM gr."]) and re.search(r"\bII\b", texts["SM gr."])
    assert re.search(r"\d\.\dx\d[.\d]*x\d[.\d]* cm", texts["Size"])
    assert "Rt frontal" in texts["Location"]
    assert re.search(r"\d\.\d+cc \+ \d", texts["S1 vol (cc)"])
    assert re.search(r"\b0-1\b", texts["mRS pre"])
    assert re.search(r"MCA x\d, [A-Z]", texts["S1 pedicles"])
    assert "TOTAL" in texts["No."]
    assert {"?", "n/a", "-"} <= {c.raw for c in sheet.cells if c.fate == "blank"}
    assert {f"Session {k} date" for k in (1, 2, 3, 4)} <= set(sheet.headings)
    assert set(sheet.colours.values()) == {"died", "not seen again", "films checked twice"}
    assert any(";" in str(c.raw) for c in taken(sheet, "Complications"))


def test_each_fault_nobody_could_take_stands_in_one_patient(sheet: OldSheet) -> None:
    kinds = [fault.kind for fault in FAULTS]
    bad = [c for c in sheet.cells if c.way in kinds]
    assert Counter(c.way for c in bad) == Counter(kinds)
    patients = [c.patient_id for c in bad]
    assert len(patients) == len(set(patients))


def test_sizes_volumes_and_scores_can_be_read_back(sheet: OldSheet) -> None:
    for cell in taken(sheet, "Size"):
        figures = [float(x.replace(",", ".")) for x in re.findall(r"\d+(?:[.,]\d+)?", cell.raw)]
        factor = 1 if cell.raw.endswith("mm") else 10
        assert sorted((round(x * factor, 6) for x in figures), reverse=True) == [
            fact.value for fact in cell.facts]
    for cell in taken(sheet, "S1 vol (cc)"):
        parts = [float(x.removesuffix("cc")) for x in str(cell.raw).split(" + ")]
        assert parts == [fact.value for fact in cell.facts]
    for cell in taken(sheet, "mRS pre"):
        figures = re.findall(r"\d", str(cell.raw))
        assert int(figures[-1]) == cell.facts[0].value
    for cell in taken(sheet, "S1 contrast") + taken(sheet, "EBL (ml)"):
        assert sum(map(float, re.findall(r"[\d.]+", str(cell.raw)))) == cell.facts[0].value
    for cell in taken(sheet, "S1 % occl"):
        shown = float(str(cell.raw).strip(" %"))
        assert (shown * 100 if cell.way.startswith("stored") else shown) == pytest.approx(
            cell.facts[0].value)


def test_arteries_stand_with_their_number_in_order(sheet: OldSheet) -> None:
    for cell in taken(sheet, "S1 pedicles"):
        pieces = [re.fullmatch(r"(.+?)(?: x(\d+))?", p) for p in re.split(r", | \+ ", cell.raw)]
        assert sum(int(piece[2] or 1) for piece in pieces) == len(cell.facts)
        names = [fact.value for fact in cell.facts]
        first = [name for name in dict.fromkeys(names)]
        assert names == sorted(names, key=first.index)


def test_dates_follow_the_fellow_of_their_row(sheet: OldSheet) -> None:
    seen = set()
    for cell in (c for c in sheet.cells if c.fate == "taken" and c.way.startswith("date as text,")):
        day = cell.facts[0].value
        if "letters" in cell.way:
            assert dt.datetime.strptime(cell.raw, "%d %b %Y") == day
            continue
        month_first = cell.row in sheet.month_first_rows
        order = "%m/%d/%Y" if month_first else "%d/%m/%Y"
        if "two figures" in cell.way:
            order = "%d.%m.%y"
        assert dt.datetime.strptime(cell.raw, order) == day
        seen.add(order)
    assert seen == {"%m/%d/%Y", "%d/%m/%Y", "%d.%m.%y"}


def test_identifiers_are_plainly_fictional(sheet: OldSheet) -> None:
    assert all(9_000_000 <= number < 9_100_000 for number in sheet.codes)
    # 01632 960000–960999 is kept for drama by the regulator (Ofcom).
    assert all(re.fullmatch(r"01632 960\d{3}", c.raw) for c in sheet.cells if c.heading == "Tel")
    assert not {"Name", "Surname", "First name", "Patient"} & set(sheet.headings)


def test_the_same_seed_gives_the_same_file(tmp_path: Path) -> None:
    one, two = (old_sheet(tmp_path / name, 5) for name in ("one.xlsx", "two.xlsx"))
    assert one.path.read_bytes() == two.path.read_bytes()
    assert one.cells == two.cells


def test_the_finished_mapping_names_every_column_once(sheet: OldSheet) -> None:
    mapping = tomllib.loads(finished_mapping(sheet))
    named = [column["heading"] for column in mapping["column"]]
    named.append(mapping["study_codes"]["heading"])
    assert sorted(named) == sorted(sheet.headings)


def test_a_perfect_intake_shows_no_difference_and_a_wrong_value_does(sheet: OldSheet) -> None:
    codes = {code: code for code in sheet.codes.values()}
    assert wrong_values(sheet, sheet.clean, codes) == []
    assert lost_values(sheet, sheet.clean, codes) == []
    spoilt = dict(sheet.clean)
    lesions = spoilt["lesions"].copy()
    lesions.loc[3, "nidus_length_mm"] += 1
    lesions.loc[5, "side"] = None
    spoilt["lesions"] = lesions
    assert [d.field for d in wrong_values(sheet, spoilt, codes)] == ["nidus_length_mm"]
    assert {d.field for d in lost_values(sheet, spoilt, codes)} <= {"nidus_length_mm", "side"}
    assert lost_values(sheet, spoilt, codes)
