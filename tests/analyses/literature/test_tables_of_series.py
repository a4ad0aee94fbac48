"""Tables of published series: the package's, and a service's own with its faults named."""

from __future__ import annotations

import datetime
from importlib.resources import files

import pytest

from analyses.literature.codes import CODES
from analyses.literature.compared import COMPARED, lines_for, lines_pooled
from analyses.literature.published import published_series, read_series
from analyses.literature.table_checks import COLUMNS, UNITS, SeriesError
from analyses.measures.declared import all_measures

HEAD = ",".join((*COLUMNS, "subgroup", "cohort"))
FROZEN = datetime.date(2024, 6, 1)


def table(path, *rows, head=HEAD):
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def row(id="a", unit="patient", code="any new deficit", events="3", total="40", paper="doi:1",
        printed="", cohort="", year="2010", part=""):
    return (f"{id},Smithfield,{year},Journal,{paper},{unit},{code},{events},{total},EVOH,"
            f"{printed},abstract,{part},{cohort}")


def test_the_packages_own_table_passes_its_own_checks():
    path = files("analyses.literature") / "published_series.csv"
    assert read_series(path) == published_series()


def test_every_line_names_its_source_its_year_its_unit_and_its_code():
    for line in published_series():
        assert line.authors and line.journal and line.identifier and line.year > 1980, line.id
        assert line.unit in UNITS and line.code in CODES, line.id
        assert line.estimate.value is not None or line.as_printed, line.id
        assert line.source == f"{line.authors} {line.year}, {line.journal}"


def test_measures_declare_known_codes_and_each_stands_beside_one_measure():
    declared = [code for one in all_measures().values() for code in one.comparable]
    assert set(declared) <= set(CODES) and len(declared) == len(set(declared))


CONFIRMED = {
    # Pan 2014, AJNR 35:354: "Twenty-three complications occurred in 130 embolization procedures,
    # 13 (10%) were transient neurologic deficits, 9 (6.92%) were persistent and 1 death occurred."
    "pan2014_new": ("any new deficit", "session", 23, 130),
    "pan2014_perm": ("permanent deficit or death", "session", 10, 130),
    # Kim 2006, Neurosurgery 59:53, 153 patients: morbidity and mortality 11.8 %, which is 18:
    # "One patient died, and 17 patients experienced unexpected neurological deficits."
    "kim2006_pt": ("any new deficit", "patient", 18, 153),
    # Hartmann 2002, Stroke 33:1816: 33 of 233 with deficits; 5 disabling, and 2 died.
    "hartmann2002_pt": ("any new deficit", "patient", 33, 233),
    "hartmann2002_disabling": ("disabling permanent deficit or death", "patient", 7, 233),
    # Jayaraman 2008, AJNR 29:242, 192 patients: 4 not neurological, 22 transient, 5 permanent not
    # disabling, 3 permanent disabling or death.
    "jayaraman2008_anypt": ("any complication", "patient", 34, 192),
    "jayaraman2008_newpt": ("any new deficit", "patient", 30, 192),
    "jayaraman2008_permpt": ("permanent deficit or death", "patient", 8, 192),
    # Ledezma 2006, Neurosurgery 58:602: 27 complications in 295 procedures,
    # 11 of them clinically significant.
    "ledezma2006_any_proc": ("any complication", "session", 27, 295),
    "ledezma2006_proc": ("clinically significant complication", "session", 11, 295),
    # Morgan 2013, J Neurosurg 118:969: 1 of 297 below grade III; grade III 7 of 135, then 2 of 37;
    # above grade III 6 of 49, then 6 of 20.
    "morgan2013_g12": ("mRS over 2 from embolization or resection", "patient", 1, 297),
    "morgan2013_g3_first": ("mRS over 2 from embolization or resection", "patient", 7, 135),
    "morgan2013_g3_second": ("mRS over 2 from embolization or resection", "patient", 2, 37),
    "morgan2013_g45_first": ("mRS over 2 from embolization or resection", "patient", 6, 49),
    "morgan2013_g45_second": ("mRS over 2 from embolization or resection", "patient", 6, 20),
    # Consoli 2014, J Neurointerv Surg (PMID 24126640): complete 27/84; adverse events during the
    # procedure 11/84; mortality 2/84 and disabling permanent morbidity 4/84.
    "consoli2014_cure": ("complete obliteration by embolization", "lesion", 27, 84),
    "consoli2014_during": ("intraprocedural adverse event", "patient", 11, 84),
    "consoli2014_disabling": ("disabling permanent deficit or death", "patient", 6, 84),
    # Wikholm 1996, Neurosurgery 39:448: 150 patients, 20 closed by embolization alone (13 %).
    "wikholm1996_cure": ("complete obliteration by embolization", "patient", 20, 150),
    # Raymond 2023, J Neurosurg 138:1393: mRS over 2 in 9 of 77 embolized before other treatment
    # (4 of 23 unruptured, 5 of 54 ruptured) and 15 of 106 to cure (4 of 32, 11 of 74).
    "raymond2023_pre_unruptured": ("mRS over 2 at last follow-up", "patient", 4, 23),
    "raymond2023_pre_ruptured": ("mRS over 2 at last follow-up", "patient", 5, 54),
    "raymond2023_cure_unruptured": ("mRS over 2 at last follow-up", "patient", 4, 32),
    "raymond2023_cure_ruptured": ("mRS over 2 at last follow-up", "patient", 11, 74),
    # Darsaut 2023, J Neurosurg: closed by surgery in 123 of 139, 105 of 110 in grade I or II.
    "darsaut2023_low": ("complete obliteration by resection", "patient", 105, 110),
    "darsaut2023_high": ("complete obliteration by resection", "patient", 123 - 105, 139 - 110),
}


@pytest.mark.parametrize("id", CONFIRMED)
def test_counts_are_those_of_the_paper(id):
    line = next(line for line in published_series() if line.id == id)
    assert (line.code, line.unit, line.estimate.events, line.estimate.n) == CONFIRMED[id]


@pytest.mark.parametrize(("id", "printed"), [
    # Kim 2006: "Long-term permanent deficits from embolization occurred in 8.6% of patients."
    ("kim2006_perm", "8.6 %"),
    # Taylor 2004: "Analyzed by patient, 11% died or had a permanent neurological deficit"; 22 and
    # 23 of 201 are both 11 %, so that no count is entered.
    ("taylor2004_pt", "11 %"),
    # Wikholm 1996: "The total incidence of complications after embolization was high (40%)".
    ("wikholm1996_any", "40 %"),
    # Kim 2006, by grade I to V: 0, 5, 7, 10 and 18 %.
    ("kim2006_perm_iv", "10 %"),
])
def test_a_share_without_its_count_is_entered_as_printed(id, printed):
    line = next(line for line in published_series() if line.id == id)
    assert line.numbers.startswith(printed) and line.estimate.value is None


def test_lines_of_one_table_are_read_with_their_counts(tmp_path):
    (line,) = read_series(table(tmp_path / "own.csv", row()))
    assert (line.estimate.events, line.estimate.n, line.source) == (
        3, 40, "Smithfield 2010, Journal")


def test_every_fault_of_a_table_is_named_at_once(tmp_path):
    path = table(tmp_path / "own.csv", row("a", events="50"), row("a", unit="person"),
                 row("c", events="many"), row("d", total=""), row("e", events="", total=""),
                 row("f", paper=""), row("g", total="0", events="0"),
                 row("h", code="any deficit"), row("i", year=""))
    with pytest.raises(SeriesError) as problem:
        read_series(path)
    text = str(problem.value)
    for words in ("Row 2, column events: is 50, more than the total of 40",
                  "Row 3, column unit: is 'person'", "Row 4, column events: is 'many'",
                  "Row 5, column total: is empty", "Row 6, column as_printed: is empty",
                  "Row 7, column identifier: is empty", "Row 8, column total: is 0",
                  "Row 9, column code: is 'any deficit'; one of any complication",
                  "Row 10, column year: is empty", "Rows 2, 3, column id"):
        assert words in text


@pytest.mark.parametrize(("content", "words"), [
    (b"id,authors\na,b\n", "lacks the columns"), (b"", "cannot be read"),
    (b"\xff\xfe\x00bad", "cannot be read"),
])
def test_a_file_that_is_no_table_is_refused_in_a_sentence(tmp_path, content, words):
    path = tmp_path / "own.csv"
    path.write_bytes(content)
    with pytest.raises(SeriesError, match=words):
        read_series(path)
    with pytest.raises(SeriesError, match="does not exist"):
        read_series(tmp_path / "none.csv")


@pytest.mark.parametrize("one", COMPARED, ids=lambda one: f"{one.id}-{one.unit}")
def test_every_line_of_the_code_and_the_unit_stands_beside_and_no_other(one):
    beside = {line.id for line in lines_for(one)}
    assert beside == {line.id for line in published_series()
                      if line.code == one.code and line.unit == one.unit}
    assert one.code in all_measures()[one.id].comparable


def test_what_any_new_deficit_is_set_beside():
    """The low and the high: 7.7 % and 17.7 % of sessions, 11.8 % to 28.2 % of patients."""
    beside = {one.unit: {line.id for line in lines_for(one)} for one in COMPARED
              if one.id == "complication.new_deficit"}
    assert beside == {
        "session": {"starke2009_proc", "pan2014_new"},
        "patient": {"starke2009_pt", "hartmann2002_pt", "kim2006_pt", "jayaraman2008_newpt",
                    "eval1991_new"}}


def test_a_deficit_that_leaves_out_the_dead_or_the_mild_stands_beside_no_measure():
    shown = {line.id for one in COMPARED for line in lines_for(one)}
    assert not shown & {"starke2009_perm", "starke2009_permpt", "pan2014_deficit", "kim2006_perm",
                        "consoli2014_disabling", "baharvahdat2014_noperf", "consoli2014_during"}


def test_the_packages_table_has_no_code_with_lines_enough_to_pool():
    """In 2024 at most two recent series of one code and unit: this changes as lines are added."""
    found = {one: {line.cohort for line in lines_pooled(lines_for(one), FROZEN)}
             for one in COMPARED}
    assert max(map(len, found.values())) == 2


def test_of_two_counts_of_the_same_patients_the_larger_stands(tmp_path):
    one = next(o for o in COMPARED if o.id == "complication.new_deficit" and o.unit == "patient")
    lines = read_series(table(
        tmp_path / "own.csv", row("a", paper="doi:1", cohort="One hospital"),
        row("b", paper="doi:2", total="90", cohort="One hospital"), row("c", paper="doi:3"),
        row("d", paper="doi:3", events="2"), row("e", unit="session", paper="doi:4"),
        row("f", code="permanent deficit", paper="doi:5"),
        row("g", events="", total="", printed="8 %", paper="doi:6"),
        row("h", year="2008", paper="doi:7"), row("i", year="2009", paper="doi:8")))
    beside = lines_for(one, lines)
    assert {line.id for line in beside} == set("abcdghi")
    assert [line.id for line in lines_pooled(beside, FROZEN)] == ["b", "c", "i"]


def test_the_last_fifteen_years_are_counted_from_the_freeze(tmp_path):
    lines = read_series(table(tmp_path / "own.csv", row("h", year="2008"),
                              row("i", year="2009", paper="doi:8")))
    assert [line.id for line in lines_pooled(lines, datetime.date(2023, 12, 31))] == ["h", "i"]
    assert [line.id for line in lines_pooled(lines, datetime.date(2025, 1, 1))] == []


def test_parts_of_a_split_paper_stand_each_unless_the_whole_is_entered(tmp_path):
    parts = [row("a", part="grade III"), row("b", part="above grade III", total="20")]
    split = read_series(table(tmp_path / "split.csv", *parts))
    assert [line.id for line in lines_pooled(split, FROZEN)] == ["a", "b"]
    assert split[1].counted == "any new deficit (above grade III)"
    both = read_series(table(tmp_path / "both.csv", *parts, row("c", total="60", events="6")))
    assert [line.id for line in lines_pooled(both, FROZEN)] == ["c"]
