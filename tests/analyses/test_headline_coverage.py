"""The headline intervals cover the truth of fictional services about as often as they say.

The criterion: none under 94 % by more than three Monte Carlo standard errors; exact methods may
be over. The full size, 2,000 services, is in tests/reference/coverage_headlines.md.
"""

from __future__ import annotations

import coverage_headlines
import pytest

from analyses.populations.units import units_of
from synthetic_cohort import make_cohort

COHORTS = 160


@pytest.mark.slow
def test_headline_intervals_cover_the_truth(capsys: pytest.CaptureFixture[str]) -> None:
    rows = coverage_headlines.coverage(COHORTS)
    with capsys.disabled():
        print(f"\n{coverage_headlines.as_markdown(rows)}")
    short = [row for row in rows if row.covered < row.floor]
    assert not short, coverage_headlines.as_markdown(short)


def test_every_headline_has_a_truth_and_an_interval() -> None:
    found = coverage_headlines.headlines(units_of(make_cohort(150, 1).tables))
    assert all(e.low is not None and e.high is not None for e in found.values())
    assert len(found) == 13


def test_intervals_beside_the_truth_are_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """A check of the check: where the truth is another by half its scale, none covers it."""
    monkeypatch.setattr(coverage_headlines, "truth_of", lambda *_: None)
    monkeypatch.setattr(coverage_headlines, "truths", lambda _: {
        name: 1.5 for name in ("any complication, session", "independent (mRS 0–2), patient")})
    rows = coverage_headlines.coverage(2, jobs=1)
    assert [row.covered for row in rows] == [0, 0]
    assert all(row.below == 1 and row.covered < row.floor for row in rows)
