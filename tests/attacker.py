"""Who reads a published table and adds and subtracts: which held-back counts can be worked out?

Written apart from the program, from what a table prints alone: every proportion shown tells its
events and its n.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from analyses.statistics.estimate import Estimate

ALL = ""
"""The group of the overall estimates."""
NO_LEVEL_NAMED = "(none of the levels)"

Place = tuple[str, str]
"""(the level's id, the group); the id is `NO_LEVEL_NAMED` for the others of a yes-or-no."""


def count_ranges(told: Iterable[Estimate], grouping: str) -> dict[Place, tuple[int, int]]:
    """The least and the largest count of every level in every group that fit what is printed.

    told: the estimates of one field, overall and by `grouping`; those without a number tell
    nothing. Levels that are named once are a yes-or-no: the others are the rest of the n.
    """
    rows = [(e, (e.group or {}).get(grouping, ALL)) for e in told]
    levels = list(dict.fromkeys(e.id for e, _ in rows))
    groups = list(dict.fromkeys(group for _, group in rows if group != ALL))
    if len(levels) == 1:
        levels.append(NO_LEVEL_NAMED)
    places = [(level, group) for level in levels for group in groups]
    equations: list[tuple[np.ndarray, int]] = []

    def says(kept: Iterable[bool], total: int) -> None:
        equations.append((np.array(list(kept), dtype=float), total))

    for e, group in rows:
        if e.value is None or e.events is None or e.n is None:
            continue
        says((level == e.id and group in (ALL, g) for level, g in places), e.events)
        says((group in (ALL, g) for _, g in places), e.n)
    matrix = np.array([row for row, _ in equations]).reshape(-1, len(places))
    totals = np.array([total for _, total in equations], dtype=float)
    return {place: _range(k, matrix, totals) for k, place in enumerate(places)}


def _range(number: int, matrix: np.ndarray, totals: np.ndarray) -> tuple[int, int]:
    goal = np.zeros(matrix.shape[1])
    goal[number] = 1
    ends = []
    for sign in (1, -1):
        found = milp(sign * goal, constraints=[LinearConstraint(matrix, totals, totals)],
                     bounds=Bounds(0, 10_000), integrality=np.ones_like(goal))
        ends.append(round(found.x[number]))
    return ends[0], ends[1]
