"""The result of comparing groups: a test that never stands without an effect beside it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import chi2

from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate
from analyses.statistics.timetoevent.at_risk import FEW_LEFT
from analyses.statistics.timetoevent.time_inputs import Followed
from analyses.words.wording_of_p import p_text


@dataclass(frozen=True)
class GroupTest:
    """Chi-squared statistic, degrees of freedom and p, with the effects they belong to.

    `table`: group, n, observed and expected events. `effects`: each later group against the
    first, as differences with intervals. statistic and p are None where `flags` say why.
    """

    name: str
    statistic: float | None
    df: int
    p: float | None
    table: pd.DataFrame
    effects: tuple[Estimate, ...]
    flags: tuple[str, ...] = ()

    def sentence(self) -> str:
        """The effects first, then the test: `-3.2 … ; log-rank test P = 0.04, 1 df`."""
        said = "; ".join(effect.as_text() for effect in self.effects)
        if self.p is None:
            return f"{said}; {self.name} cannot be given ({'; '.join(self.flags)})."
        remark = f" ({'; '.join(self.flags)})" if self.flags else ""
        return f"{said}; {self.name} {p_text(self.p)}, {self.df} df{remark}."


def chi_squared(
    scores: Floats, variance: Floats,
) -> tuple[float | None, int, float | None]:
    """Statistic, degrees of freedom and p of scores that sum to 0 over the groups.

    The last group is left out. None where the variance cannot be turned round: no group then
    tells anything about another.
    """
    df = scores.size - 1
    u, v = scores[:df], variance[:df, :df]
    if df < 1 or not np.all(np.isfinite(v)) or np.linalg.matrix_rank(v) < df:
        return None, df, None
    statistic = float(u @ np.linalg.solve(v, u))
    return statistic, df, float(chi2.sf(statistic, df))


def comparable(people: Followed) -> None:
    """Raises ValueError unless there are at least two groups."""
    if len(people.groups) < 2:
        found = f"only {people.groups[0]!r}" if people.groups else "none"
        raise ValueError(f"A comparison needs at least two groups; there is {found}.")


def common_horizon(parts: list[Followed]) -> float:
    """A time up to which every group can be read: a tenth of each is still followed there.

    A group whose every row ended in an event sets no limit; with no limit from any, the
    longest time of all.
    """
    found = [float("inf")]
    for people in parts:
        if (people.event == 0).any():
            most = np.sort(people.duration)[::-1]
            found.append(float(most[int(np.ceil(FEW_LEFT * most.size)) - 1]))
    longest = max(float(people.duration.max()) for people in parts)
    return min(longest, *found)
