"""The headline intervals cover the truth of fictional services about as often as they say.

The criterion: none under 94 % by more than three Monte Carlo standard errors; exact methods may
be over. The full size, 2,000 services, is in tests/reference/coverage_headlines.md.
"""

from __future__ import annotations

import coverage_headlines
import numpy as np
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


def test_a_wrong_truth_would_be_found_out() -> None:
    """A check of the check: intervals shifted by their width miss the truth."""
    cell = coverage_headlines.Covered("", 0.1, 400, 0.9, 0.05, 0.05, 0.1, 0.1)
    assert cell.covered < cell.floor < coverage_headlines.TARGET
    assert cell.floor == pytest.approx(0.94 - 3 * np.sqrt(0.94 * 0.06 / 400))
