"""Measures put to a question: the units of one of them, with the outcome known or not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from analyses.measures.declared import shares_at
from analyses.measures.gate import Verdict
from analyses.measures.places import Place
from analyses.population.unit_frames import Units


@dataclass(frozen=True)
class Headline:
    """A measure in one unit: the frame of its units with `event` (boolean or blank).

    verdict: the gate's; where it refuses a point, nothing is compared.
    """

    id: str
    unit: str
    frame: pd.DataFrame
    verdict: Verdict = Verdict(may_point=True, unknown=0)

    def known(self) -> pd.DataFrame:
        """The units whose outcome is known; none where the gate refuses a point."""
        rows = self.frame[self.frame["event"].notna()]
        return rows if self.verdict else rows.iloc[:0]


def headlines(units: Units, place: Place = Place.COMPARED) -> Mapping[str, Headline]:
    """The measures put to a question (groups compared, unless said), by id, in their order."""
    return {
        share.id: Headline(share.id, unit, share.frame(units, unit), share.verdict(units, unit))
        for share, unit in shares_at(place)
    }
