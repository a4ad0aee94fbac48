"""Small counts and their totals: what is hidden, and what a reader with a pencil can still tell.

The threshold of five is common practice (no source); the attacker's bounds as in Hundepool and
others, Statistical Disclosure Control, Wiley 2012, chapter 4, worked out by hand here.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from registry.privacy.suppression import _bounds, suppress_small


def hidden(counts: list[list[int]]) -> list[list[bool]]:
    """Which counts are hidden, the totals last."""
    return suppress_small(pd.DataFrame(counts)).table.isna().to_numpy().tolist()


@pytest.mark.parametrize(("count", "small"), [
    (0, False), (1, True), (4, True), (5, False), (6, False),
])
def test_counts_from_1_to_4_are_small(count: int, small: bool) -> None:
    found = suppress_small(pd.DataFrame([[count, 30], [20, 40]]))
    assert bool(found.primary.iloc[0, 0]) is small
    assert bool(found.table.isna().iloc[0, 0]) is small


def test_a_small_total_is_hidden_as_well() -> None:
    # A row of 2 and 0: its total is 2.
    found = suppress_small(pd.DataFrame([[2, 0], [20, 40], [30, 50]]))
    assert found.primary.iloc[0].tolist() == [True, False, True]


def test_a_square_of_four_counts_protects_a_small_one_and_all_totals_stay() -> None:
    #  3  30 |  33      hidden: the four inner counts of the first two rows and columns;
    # 20  40 |  60      3 may be anything from 1 to 22 then.
    # 23  70 |  93
    assert hidden([[3, 30], [20, 40]]) == [
        [True, True, False], [True, True, False], [False, False, False]]


def test_two_hidden_ones_are_told_by_their_sum_because_a_zero_would_be_shown() -> None:
    # 1 + 1 = 32 − 30: neither is 0, so both are 1; the 30 has to go too.
    assert hidden([[1], [1], [30]]) == [[True], [True], [True], [False]]


def test_1_and_2_protect_each_other() -> None:
    # 3 = 1 + 2 or 2 + 1: nothing more has to be hidden.
    assert hidden([[1], [2], [30]]) == [[True], [True], [False], [False]]


def test_a_lone_small_count_takes_the_smallest_of_its_neighbours_with_it() -> None:
    assert hidden([[3], [30], [12]]) == [[True], [False], [True], [False]]


@pytest.mark.parametrize(("blank", "place", "low", "high"), [
    # Only the 2: told by either total.
    ([(0, 0)], 0, 2, 2),
    # The row: a + b = 12 alone says 1 to 11, but a = 13 − 11 by its column.
    ([(0, 0), (0, 1)], 0, 2, 2),
    # The four inner counts: a from 1 (a zero would be shown) to 11 (b is at least 1) …
    ([(0, 0), (0, 1), (1, 0), (1, 1)], 0, 1, 11),
    # … b = 12 − a, c = 13 − a, d = 7 + a.
    ([(0, 0), (0, 1), (1, 0), (1, 1)], 1, 1, 11),
    ([(0, 0), (0, 1), (1, 0), (1, 1)], 2, 2, 12),
    ([(0, 0), (0, 1), (1, 0), (1, 1)], 3, 8, 18),
])
def test_the_attackers_bounds_by_hand(
    blank: list[tuple[int, int]], place: int, low: int, high: int,
) -> None:
    #  2  10 | 12
    # 11   9 | 20
    # 13  19 | 32
    whole = np.array([[2, 10, 12], [11, 9, 20], [13, 19, 32]], dtype=float)
    mask = np.zeros_like(whole, dtype=bool)
    for at in blank:
        mask[at] = True
    assert _bounds(whole, mask, blank, place) == pytest.approx((low, high))


def test_without_any_total_left_a_hidden_count_has_no_upper_bound() -> None:
    whole = np.array([[2.0], [30.0], [32.0]])
    mask = np.array([[True], [False], [True]])
    assert _bounds(whole, mask, [(0, 0), (2, 0)], 0) == (1, float("inf"))
