"""The gate: may a number be given at all? Every share passes here before it is printed.

An outcome that is unknown in some units can simply be left out only where it could have been
unknown either way. Where it can be unknown only in units that had an event (was it symptomatic?
is the deficit permanent?), leaving those out flatters; where only in those without, it blackens.
Then there is no point estimate, only what holds whatever the unknown are: bounds.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

import numpy as np

from analyses.statistics.arrays import Mask

if TYPE_CHECKING:
    import pandas as pd


class Known(Enum):
    """In which units an outcome can be unknown."""

    EITHER_WAY = "in units with and without the event alike"
    ONLY_WITH_AN_EVENT = "only in units that had an event, of which a detail is not recorded"
    ONLY_WITHOUT_AN_EVENT = "only in units that had no event"


@dataclass(frozen=True)
class Verdict:
    """The gate's answer: whether a point may be given, and the words that say why not.

    unknown: how many units have an unknown outcome.
    """

    may_point: bool
    unknown: int
    why: str = ""

    def __bool__(self) -> bool:
        return self.may_point


WHY = {
    Known.ONLY_WITH_AN_EVENT:
        "the outcome is unknown only in units that had an event: bounds, no point",
    Known.ONLY_WITHOUT_AN_EVENT:
        "the outcome is unknown only in units without an event: bounds, no point",
}


LOST = "lost"
"""Column of a unit frame: the outcome is blank because nobody saw the patient afterwards."""


def gate(frame: pd.DataFrame, event: str, known: Known) -> Verdict:
    """Whether the share of `event` (boolean, blank where not known) may be given as a point.

    known: in which units the outcome can be unknown. Units marked `lost` (where the frame has
    that column) are unknown because nobody saw them again, which can hide either outcome: they
    leave the denominator, and alone do not forbid a point. Source: the analysis plan, "The gate";
    what bounds are: Horowitz and Manski 2000, J Am Stat Assoc 95:77.
    """
    lost = frame[LOST].to_numpy(dtype=bool) if LOST in frame else np.zeros(len(frame), bool)
    return verdict_on(frame[event].isna().to_numpy(dtype=bool), lost, known)


def verdict_on(blank: Mask, lost: Mask, known: Known) -> Verdict:
    """The gate's verdict on units whose outcome is `blank`, some of them because they are `lost`.

    Both one truth value a unit; as `gate` says.
    """
    unknown = int(blank.sum())
    if not (blank & ~lost).any() or known is Known.EITHER_WAY:
        return Verdict(True, unknown)
    return Verdict(False, unknown, WHY[known])


def unseen(frame: pd.DataFrame, seen: pd.Series) -> pd.DataFrame:
    """The frame with `event` blank, and `lost` true, in units without an event that nobody saw.

    frame: units with `event` (boolean or blank). seen: whether the patient was seen, or known to
    have died, when the outcome could be told. A unit with an event keeps it, seen or not: what is
    known stays known.
    """
    lost = frame["event"].eq(False).fillna(False).astype(bool) & ~seen.astype(bool)
    return frame.assign(event=frame["event"].mask(lost), **{LOST: lost})
