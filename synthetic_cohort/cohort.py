"""`make_cohort`: a fictional service as typed tables, with its truth."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from synthetic_cohort.draws import Streams
from synthetic_cohort.observe import observe
from synthetic_cohort.settings import CohortSettings
from synthetic_cohort.simulate import simulate
from synthetic_cohort.tables import all_tables


@dataclass(frozen=True)
class Cohort:
    """Typed tables of a fictional service and the settings that made them."""

    tables: dict[str, pd.DataFrame] = field(repr=False)
    settings: CohortSettings
    patients: int
    seed: int


def make_cohort(
    patients: int = 150, seed: int = 1, settings: CohortSettings | None = None, **changes: object
) -> Cohort:
    """A fictional service of `patients` patients over ten years (2014–2023).

    `settings` (the defaults where none are given) may be changed by keyword, such as
    `complication_risk=0.03`. The same size, seed and settings give the same tables on any
    machine. Raises ValueError for fewer than one patient or a setting out of its range.
    """
    if patients < 1:
        raise ValueError(f"a cohort needs at least one patient; asked for {patients}")
    chosen = (settings or CohortSettings()).but(**changes)
    s = Streams(seed)
    simulation = simulate(s, chosen, patients)
    observe(s, simulation)
    return Cohort(all_tables(s, chosen, simulation), chosen, patients, seed)
