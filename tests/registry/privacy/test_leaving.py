"""What leaves: ages capped, small cells kept from the totals."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.privacy.leaving import cap_ages
from registry.privacy.suppression import suppress_small
from registry.schema import TABLES


def test_ages_over_90_are_90_and_blanks_stay() -> None:
    frame = TABLES["patients"].typed(pd.DataFrame({
        "patient_id": list("abcd"), "age_y": [89.5, 90.0, 104.0, None]}))
    capped = cap_ages(frame)
    assert capped["age_y"].tolist()[:3] == [89.5, 90.0, 90.0] and capped["age_y"].isna()[3]
    assert frame["age_y"].tolist()[2] == 104.0


def possible(shown: pd.DataFrame) -> dict[tuple[int, int], set[int]]:
    """The counts that each hidden cell may have, found by trying every way of filling them in.

    Independent of the program: hidden counts inside the table run from 1 to 22, all totals
    follow by adding up; what does not fit the visible counts is thrown away.
    """
    visible = shown.notna().to_numpy()
    grid = shown.astype("float64").to_numpy()
    height, width = grid.shape[0] - 1, grid.shape[1] - 1
    free = [(i, j) for i in range(height) for j in range(width) if not visible[i, j]]
    seen: dict[tuple[int, int], set[int]] = {}
    for values in itertools.product(range(1, 23), repeat=len(free)):
        body = grid[:height, :width].copy()
        for place, value in zip(free, values, strict=True):
            body[place] = value
        rows = body.sum(axis=1)
        if not np.array_equal(rows[visible[:height, width]], grid[:height, width][
                visible[:height, width]]):
            continue
        whole = np.vstack([np.column_stack([body, rows]), [*body.sum(axis=0), body.sum()]])
        if np.array_equal(whole[visible], grid[visible]):
            for i, j in np.argwhere(~visible).tolist():
                seen.setdefault((i, j), set()).add(int(whole[i, j]))
    return seen


def recoverable(shown: pd.DataFrame) -> bool:
    """Whether any hidden count can be only one number."""
    return any(len(values) < 2 for values in possible(shown).values())


@pytest.mark.parametrize("counts", [
    [[2, 10, 30], [11, 9, 30]], [[1, 30, 9], [9, 30, 10]], [[3, 0, 30], [10, 30, 9]],
])
def test_hidden_counts_cannot_be_worked_out_from_the_totals(counts: list[list[int]]) -> None:
    found = suppress_small(pd.DataFrame(counts))
    small = found.primary.to_numpy()
    assert found.table.isna().to_numpy()[:-1, :-1].sum() <= 4
    assert small.any() and found.table.isna().to_numpy()[small].all()
    assert not recoverable(found.table)


def test_hiding_only_the_small_count_would_give_it_back() -> None:
    """The check itself can fail: with one hidden count, its row's total tells it."""
    whole = pd.DataFrame([[2, 10, 12], [11, 9, 20], [13, 19, 32]]).astype("Int64")
    whole.iloc[0, 0] = pd.NA
    assert recoverable(whole)


def test_a_list_with_its_total_hides_a_second_count() -> None:
    found = suppress_small(pd.DataFrame({"n": [3, 30, 12]}, index=["a", "b", "c"]))
    assert found.table["n"].isna().tolist() == [True, False, True, False]


def test_nothing_small_nothing_hidden() -> None:
    found = suppress_small(pd.DataFrame([[5, 0], [17, 9]]))
    assert not found.table.isna().to_numpy().any()


@settings(max_examples=40, deadline=None)
@given(st.lists(st.lists(st.integers(0, 40), min_size=3, max_size=3), min_size=2, max_size=4))
def test_no_row_or_column_hides_a_single_count(counts: list[list[int]]) -> None:
    found = suppress_small(pd.DataFrame(counts))
    hidden = found.table.isna().to_numpy()
    assert (hidden >= found.primary.to_numpy()).all()
    assert 1 not in hidden.sum(axis=0) and 1 not in hidden.sum(axis=1)


def test_counts_must_be_whole() -> None:
    with pytest.raises(ValueError, match="whole numbers"):
        suppress_small(pd.DataFrame([[1.5]]))
