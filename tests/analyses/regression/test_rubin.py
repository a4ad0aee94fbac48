"""Rubin's rules by hand on three completed data sets."""

from __future__ import annotations

import numpy as np
import pytest

from analyses.statistics.regression.rubin import pool


def test_three_completed_sets_by_hand() -> None:
    # Estimates 1, 2, 3, each with variance 1: within 1, between 1, total 1 + 4/3 = 7/3 (Rubin
    # 1987). Share missing 4/7; 2/(4/7)² = 6.125 and 101/103 · 100 · 3/7 = 42.03 degrees of
    # freedom, together 5.346 (Barnard and Rubin 1999, Biometrika 86:948).
    found = pool(np.array([[1.0], [2.0], [3.0]]), np.ones((3, 1)), complete_df=100)
    assert found.estimate[0] == pytest.approx(2)
    assert found.se[0] == pytest.approx((7 / 3) ** 0.5)
    assert found.df[0] == pytest.approx(5.346, abs=5e-4)


def test_sets_that_agree_have_the_variance_of_one() -> None:
    found = pool(np.full((5, 1), 0.7), np.full((5, 1), 0.04), complete_df=50)
    assert found.se[0] == pytest.approx(0.2)
