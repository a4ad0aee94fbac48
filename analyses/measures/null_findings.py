"""The report tried on itself: how many findings it would show if nothing went with anything.

The outcomes of whole patients are exchanged between patients with as many units, so that no
grouping has anything to do with any outcome; then every difference that the report prints is
worked out again. What leaves out no difference then is a finding made by chance.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analyses.measures.comparisons import (
    COMPARED,
    differences,
    halves_added,
)
from analyses.measures.groups_pooled import pooled_columns
from analyses.measures.headlines import Headline, headlines
from analyses.population.unit_frames import Units, once
from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate
from analyses.statistics.proportions.difference_limits import difference_limits, newcombe_limits
from analyses.statistics.regression.exact import exchange_patients
from registry.schema import Patients

EXCHANGES = 200
SEED = 20260101


@dataclass(frozen=True)
class NullFindings:
    """What chance alone would show.

    printed: differences (or ratios) with an interval in the report; average: findings by chance,
    a report; any: share of such reports with one or more; seen: findings in this report;
    exchanges: how often outcomes were exchanged; of: what is printed, in one word.
    """

    printed: int
    average: float
    any: float
    seen: int
    exchanges: int = EXCHANGES
    of: str = "difference"

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """The four numbers on record."""
        method = f"outcomes of whole patients exchanged {self.exchanges} times"
        values = {"printed": float(self.printed), "seen": float(self.seen),
                  "by_chance": self.average, "any_by_chance": self.any}
        return tuple(
            Estimate(id=f"exploratory.{name}", kind="count", value=value, unit=self.of,
                     method=method) for name, value in values.items())


@once
def null_findings(units: Units) -> NullFindings:
    """Try the exploratory differences of a report on its own outcomes, exchanged 200 times.

    With the same rows, groups, levels and intervals; seeded, so that a freeze gives the same
    numbers again.
    """
    found = np.zeros(EXCHANGES)
    printed = seen = 0
    for place, headline in enumerate(headlines(units).values()):
        # What is pooled stands in the place of its raw differences.
        shown = {column: differences(headline, column) for column in COMPARED
                 if (headline.id, column) not in pooled_columns(units)}
        printed += sum(map(len, shown.values()))
        seen += sum(_apart(e) for each in shown.values() for e in each)
        if any(shown.values()):
            found += _by_chance(headline, _pairs(shown), SEED + place)
    return NullFindings(printed, float(found.mean()), float((found > 0).mean()), seen)


def _apart(e: Estimate) -> bool:
    return e.low is not None and e.high is not None and (e.low > 0 or e.high < 0)


def _pairs(shown: Mapping[str, Sequence[Estimate]]) -> list[tuple[str, str, str]]:
    """Column, level and reference of every difference shown."""
    found = []
    for column, each in shown.items():
        for e in each:
            name, _, first = (e.group or {})[column].partition(" against ")
            found.append((column, name, first))
    return found


def _by_chance(
    headline: Headline, pairs: Sequence[tuple[str, str, str]], seed: int,
) -> Floats:
    """Findings of each exchange, over the differences given: (exchanges,)."""
    rows = halves_added(headline.known())
    patients = pd.factorize(rows[Patients.patient_id])[0].astype(np.int64)
    orders = exchange_patients(patients, EXCHANGES, np.random.default_rng(seed))
    outcomes = rows["event"].to_numpy(dtype=float)[orders]
    found = np.zeros(EXCHANGES)
    for column, name, first in pairs:
        groups = rows[column].astype(str).to_numpy()
        found += _excludes_none(*(_totals(outcomes, groups == level, patients)
                                  for level in (name, first)))
    return found


def _totals(
    outcomes: Floats, inside: np.ndarray, patients: np.ndarray,
) -> tuple[Floats, Floats]:
    """Events and rows by patient of one group, for every exchange: (exchanges, patients)."""
    here = np.zeros((len(patients), int(patients.max()) + 1))
    here[np.arange(len(patients)), patients] = inside
    return outcomes @ here, np.broadcast_to(here.sum(axis=0), (len(outcomes), here.shape[1]))


def _excludes_none(one: tuple[Floats, Floats], two: tuple[Floats, Floats]) -> Floats:
    if max(one[1].max(), two[1].max()) <= 1:  # one unit a patient, as where it is printed
        limits = newcombe_limits(*(part.sum(axis=-1) for part in (*one, *two)))
    else:
        limits = difference_limits(*one, *two)
    found: Floats = ((limits.low > 0) | (limits.high < 0)).astype(float)
    return found
