"""Units of which a condition cannot be told: not recorded, or with none of what it asks about.

Who never had a session has no day of a first session: that is no missing record, and must not be
counted as one.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analyses.study.condition import Condition
from analyses.study.frame_columns import SESSION, TREATMENT
from analyses.study.study_frames import StudyFrame

HAS = {TREATMENT: "treated", SESSION: "embolized"}
"""What a column needs → the yes/no column that says whether the unit has it. A day of an
operation is always recorded, so that its own blank says that there was none."""


@dataclass(frozen=True)
class UntoldUnits:
    """Numbers of units: `unknown` not recorded; `none` without what the condition asks about."""

    unknown: int
    none: int = 0
    none_of: str = ""

    def aside(self, units: int) -> str:
        """` (2 of 10 had no session, 1 of 10 have it not recorded)`, or nothing."""
        said = [f"{self.none} of {units} had no {self.none_of}"] if self.none else []
        said += [f"{self.unknown} of {units} have it not recorded"] if self.unknown else []
        return f" ({', '.join(said)})" if said else ""


def untold_units(frame: StudyFrame, asked: Condition, met: pd.Series) -> UntoldUnits:
    """The blank answers of a condition. met: yes, no or blank for every row of the frame."""
    blank = met.isna()
    without = pd.Series(False, index=met.index)
    words: list[str] = []
    for name in asked.names:
        needs = frame.columns[name].needs if name in frame.columns else ""
        if not needs:
            continue
        mine = blank & frame.frame[name].isna() & _has_none(frame.frame, needs, name)
        if mine.any():
            without |= mine
            words.append(needs)
    return UntoldUnits(int((blank & ~without).sum()), int(without.sum()),
                       " or ".join(dict.fromkeys(words)))


def _has_none(rows: pd.DataFrame, needs: str, name: str) -> pd.Series:
    """Which rows have none of what a column needs."""
    if needs in HAS:
        has = HAS[needs]
        return ~rows[has].astype("boolean").fillna(False).astype(bool) if has in rows else (
            pd.Series(False, index=rows.index))
    return rows[name].isna()
