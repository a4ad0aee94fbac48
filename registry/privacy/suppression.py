"""Small counts kept out of tables that leave, so that the totals do not give them back.

Primary suppression hides counts from 1 to `smallest` − 1. Secondary suppression then hides more
counts until no hidden one can be worked out from the visible ones and the totals: for each, the
lowest and the highest count that fit everything visible are found by linear programming, and
they must differ. Method: Hundepool et al., Statistical Disclosure Control, Wiley 2012, chapter 4
(the attacker's bounds of a suppressed cell).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

SMALLEST = 5


@dataclass(frozen=True)
class Suppressed:
    """A table of counts with its totals, hidden counts blank.

    `table` has the counts of the table given, with a row and a column "Total" (not along a side
    of length 1); `primary` and
    `secondary` (same shape) mark what was hidden because it is small, and what was hidden so
    that the small ones stay hidden.
    """

    table: pd.DataFrame
    primary: pd.DataFrame
    secondary: pd.DataFrame


def suppress_small(counts: pd.DataFrame, *, smallest: int = SMALLEST) -> Suppressed:
    """Hide the small counts of a table (whole numbers, rows by columns, without totals).

    Totals are counts as well: a small one is hidden too. A zero is not hidden by itself. Raises
    ValueError for counts that are no whole numbers from 0.
    """
    inner = counts.to_numpy(dtype=float)
    if not (np.isfinite(inner).all() and (inner >= 0).all() and (inner == inner.round()).all()):
        raise ValueError("counts must be whole numbers from 0")
    whole = _with_totals(inner)
    small = (whole > 0) & (whole < smallest)
    hidden = _protected(whole, small.copy())
    totals = [["Total"] if size > 1 else [] for size in inner.shape]
    frame = pd.DataFrame(
        whole, index=[*counts.index, *totals[0]], columns=[*counts.columns, *totals[1]]
    )
    def marks(cells: np.ndarray) -> pd.DataFrame:
        return pd.DataFrame(cells, index=frame.index, columns=frame.columns)

    return Suppressed(
        frame.astype("Int64").mask(marks(hidden)), marks(small), marks(hidden & ~small))


def _with_totals(inner: np.ndarray) -> np.ndarray:
    """With a total wherever there is more than one count to add up; a lone one is its own."""
    if inner.shape[1] > 1:
        inner = np.hstack([inner, inner.sum(axis=1, keepdims=True)])
    if inner.shape[0] > 1:
        inner = np.vstack([inner, inner.sum(axis=0, keepdims=True)])
    return inner


def _protected(whole: np.ndarray, hidden: np.ndarray) -> np.ndarray:
    """`hidden` with as many more cells as it takes; in the end, all of them."""
    while (given_away := _given_away(whole, hidden)) is not None:
        place = _next_to_hide(whole, hidden, given_away)
        if place is None:
            break
        hidden[place] = True
    return hidden


def _next_to_hide(
    whole: np.ndarray, hidden: np.ndarray, cell: tuple[int, int]
) -> tuple[int, int] | None:
    """What to hide next: in the cell's row or column, best where it closes a circle of hidden
    cells (four corners protect each other), no total if it can be helped, the smallest count.
    """
    lone_row, lone_column = (hidden[cell[0]].sum() == 1), (hidden[:, cell[1]].sum() == 1)

    def cost(place: tuple[int, int]) -> tuple[bool, bool, bool, float, tuple[int, int]]:
        helps = (lone_row and place[0] == cell[0]) or (lone_column and place[1] == cell[1])
        across = hidden[:, place[1]] if place[0] == cell[0] else hidden[place[0]]
        total = any(
            size > 1 and at == size - 1 for at, size in zip(place, whole.shape, strict=True)
        )
        return (not helps, not across.any(), total, whole[place], place)

    free = [(int(i), int(j)) for i, j in np.argwhere(~hidden & (whole > 0))]
    return min(free, key=cost, default=None)


def _given_away(whole: np.ndarray, hidden: np.ndarray) -> tuple[int, int] | None:
    """The first hidden cell that can be worked out exactly; None where there is none."""
    places = [(int(i), int(j)) for i, j in np.argwhere(hidden)]
    for number, place in enumerate(places):
        low, high = _bounds(whole, hidden, places, number)
        if high - low < 0.5:
            return place
    return None


def _bounds(
    whole: np.ndarray, hidden: np.ndarray, places: list[tuple[int, int]], number: int
) -> tuple[float, float]:
    """The lowest and highest count of one hidden cell that fit all that is visible."""
    from scipy.optimize import linprog

    equations, sides = _equations(whole, hidden, places)
    goal = np.zeros(len(places))
    goal[number] = 1
    # Whoever reads the table knows that a zero would have been shown.
    limits = [(1, None)] * len(places)
    ends = []
    for sign in (1, -1):
        found = linprog(sign * goal, A_eq=equations, b_eq=sides, bounds=limits, method="highs")
        ends.append(np.inf if found.status == 3 else float(found.x[number]))
    return ends[0], ends[1]


def _equations(
    whole: np.ndarray, hidden: np.ndarray, places: list[tuple[int, int]]
) -> tuple[np.ndarray, np.ndarray]:
    """Every row and column adds up to its total: what that says of the hidden cells."""
    number = {place: k for k, place in enumerate(places)}
    rows, sides = [], []
    height, width = whole.shape
    lines: list[list[tuple[tuple[int, int], int]]] = []
    if width > 1:
        lines += [[((i, j), -1 if j == width - 1 else 1) for j in range(width)]
                  for i in range(height)]
    if height > 1:
        lines += [[((i, j), -1 if i == height - 1 else 1) for i in range(height)]
                  for j in range(width)]
    for line in lines:
        row, known = np.zeros(len(places)), 0.0
        for place, sign in line:
            if hidden[place]:
                row[number[place]] = sign
            else:
                known += sign * whole[place]
        if row.any():
            rows.append(row)
            sides.append(-known)
    return np.array(rows).reshape(-1, len(places)), np.array(sides)
