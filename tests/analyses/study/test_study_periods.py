"""Two periods compared on every share, without a test."""

from __future__ import annotations

import pytest
from meeting_reports import service

from analyses.measures.declared import share_of
from analyses.study.periods_compared import PeriodsCompared, periods_compared
from analyses.study.study_errors import StudyError

FIRST, SECOND = ("2014-01-01", "2018-12-31"), ("2019-01-01", "2023-12-31")


@pytest.fixture(scope="module")
def found() -> PeriodsCompared:
    results = service()[0]
    return periods_compared(results.units, FIRST, SECOND, results.manifest)


def test_each_session_stands_in_the_period_of_its_day(found: PeriodsCompared) -> None:
    marked = share_of("complication.any").frame(service()[0].units, "session")
    frame = found.frame().set_index(["id", "period"])
    for first, last in (FIRST, SECOND):
        rows = marked[marked["session_date"].between(first, last)]
        row = frame.loc[("complication.any", f"{first} to {last}")]
        assert (row["events"], row["n"]) == (int(rows["event"].sum()), len(rows))


def test_it_is_exploratory_without_a_p_value(found: PeriodsCompared) -> None:
    said = repr(found)
    assert "Exploratory" in said and "No difference is tested" in said
    assert len(found.pairs) > 20 and "P =" not in said and "P <" not in said


@pytest.mark.parametrize(("first", "second", "said"), [
    (SECOND, FIRST, "the second follows the first"),
    (("2018-12-31", "2014-01-01"), SECOND, "the other way round"),
    (("then", "now"), SECOND, "its first and last day are wanted"),
    (("1901-01-01", "1902-01-01"), ("1903-01-01", "1904-01-01"), "No unit lies in"),
])
def test_wrong_periods_are_told(first: tuple, second: tuple, said: str) -> None:
    results = service()[0]
    with pytest.raises(StudyError, match=said):
        periods_compared(results.units, first, second, results.manifest)
