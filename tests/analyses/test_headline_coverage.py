"""The headline intervals cover the truth of fictional services about as often as they say.

The criterion: none under 94 % by more than three Monte Carlo standard errors; exact methods may
be over. The full size, 2,000 services, is in tests/reference/coverage_headlines.md.
"""

from __future__ import annotations

import coverage_headlines
import pytest

from analyses.measures.declared import estimates_of
from analyses.measures.over_time import OBLITERATION, over_time_estimates
from analyses.population.unit_frames import units_of
from synthetic_cohort import make_cohort

COHORTS = 300


@pytest.mark.slow
def test_headline_intervals_cover_the_truth(capsys: pytest.CaptureFixture[str]) -> None:
    rows = coverage_headlines.coverage(COHORTS)
    with capsys.disabled():
        print(f"\n{coverage_headlines.as_markdown(rows)}")
    short = [row for row in rows if row.covered < row.floor]
    assert not short, coverage_headlines.as_markdown(short)


def test_every_headline_has_an_interval_and_is_the_same_alone_as_beside_others() -> None:
    alone = coverage_headlines.several_cohorts([2])[0]
    assert coverage_headlines.several_cohorts([1, 2, 3])[1] == alone
    assert len(alone) == 13
    assert all(low <= value <= high for value, low, high in alone.values())


def test_the_headlines_are_those_of_the_report() -> None:
    tables = make_cohort(150, 2, code_prefix="AA").tables
    found = coverage_headlines.several_cohorts([2])[0]
    session = {e.id: e for e in estimates_of("complications", units_of(tables))
               if e.unit == "session" and e.group is None}["complication.any"]
    two = next(e for e in over_time_estimates(units_of(tables))
               if e.id == OBLITERATION and dict(e.group or {}) == {"years": "2"})
    assert found["any complication, session"] == (session.value, session.low, session.high)
    assert found["confirmed obliteration by 2 years, lesion"] == (two.value, two.low, two.high)


def test_intervals_beside_the_truth_are_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """A check of the check: where the truth is another by half its scale, none covers it."""
    monkeypatch.setattr(coverage_headlines, "truth_of", lambda *_: None)
    monkeypatch.setattr(coverage_headlines, "truths", lambda _: {
        name: 1.5 for name in ("any complication, session", "independent (mRS 0–2), patient")})
    rows = coverage_headlines.coverage(2, jobs=1)
    assert [row.covered for row in rows] == [0, 0]
    assert all(row.below == 1 and row.covered < row.floor for row in rows)
