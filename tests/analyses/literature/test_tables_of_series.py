"""Tables of published series: the package's, and a service's own with its faults named."""

from __future__ import annotations

from importlib.resources import files

import pytest

from analyses.literature.compared import COMPARED, lines_for, lines_pooled
from analyses.literature.published import published_series, read_series
from analyses.literature.table_checks import COLUMNS, SeriesError

HEAD = ",".join((*COLUMNS, "cohort"))


def table(path, *rows, head=HEAD):
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def row(id="a", unit="patient", measure="any new deficit", events="3", total="40", paper="doi:1",
        printed="", cohort="", year="2010"):
    return (f"{id},Smithfield,{year},Journal,{paper},{unit},{measure},{events},{total},EVOH,"
            f"{printed},abstract,{cohort}")


def test_the_packages_own_table_passes_its_own_checks():
    path = files("analyses.literature") / "published_series.csv"
    assert read_series(path) == published_series()


def test_every_line_names_its_source_and_its_unit():
    for line in published_series():
        assert line.identifier and line.unit and line.measure
        assert line.estimate.value is not None or line.as_printed


def test_lines_of_one_table_are_read_with_their_counts(tmp_path):
    (line,) = read_series(table(tmp_path / "own.csv", row()))
    assert (line.estimate.events, line.estimate.n, line.citation) == (
        3, 40, "Smithfield 2010, Journal")


def test_every_fault_of_a_table_is_named_at_once(tmp_path):
    path = table(tmp_path / "own.csv", row("a", events="50"), row("a", unit="person"),
                 row("c", events="many"), row("d", total=""), row("e", events="", total=""),
                 row("f", paper=""), row("g", total="0", events="0"))
    with pytest.raises(SeriesError) as problem:
        read_series(path)
    text = str(problem.value)
    for words in ("Row 2, column events: is 50, more than the total of 40",
                  "Row 3, column unit: is 'person'", "Row 4, column events: is 'many'",
                  "Row 5, column total: is empty", "Row 6, column as_printed: is empty",
                  "Row 7, column identifier: is empty", "Row 8, column total: is 0",
                  "Rows 2, 3, column id"):
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
def test_only_one_thing_in_one_unit_is_pooled_and_nobody_twice(one):
    pooled = lines_pooled(one, lines_for(one))
    assert len({line.measure for line in pooled}) <= 1
    assert all(line.unit == one.unit and line.estimate.n for line in pooled)
    assert len({line.cohort for line in pooled}) == len(pooled)


def test_of_two_counts_of_the_same_patients_the_larger_stands(tmp_path):
    one = next(o for o in COMPARED if o.id == "complication.symptomatic" and o.unit == "patient")
    lines = read_series(table(
        tmp_path / "own.csv", row("a", paper="doi:1", cohort="One hospital"),
        row("b", paper="doi:2", total="90", cohort="One hospital"), row("c", paper="doi:3"),
        row("d", paper="doi:3", events="2"), row("e", unit="session", paper="doi:4"),
        row("f", measure="any new deficit or death", paper="doi:5"),
        row("g", events="", total="", printed="8 %", paper="doi:6")))
    assert [line.id for line in lines_pooled(one, lines_for(one, lines))] == ["b", "c"]
    assert {line.id for line in lines_for(one, lines)} == set("abcdfg")
