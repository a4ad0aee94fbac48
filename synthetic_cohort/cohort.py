"""`make_cohort`: a fictional service as typed tables, with its truth."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import pandas as pd

from synthetic_cohort.draws import Streams
from synthetic_cohort.missing import go_missing
from synthetic_cohort.observe import observe
from synthetic_cohort.registry_tables import all_tables
from synthetic_cohort.settings import CohortSettings
from synthetic_cohort.simulate import Simulation, simulate
from synthetic_cohort.typed_columns import to_dates

if TYPE_CHECKING:
    from synthetic_cohort.truth import Truth


@dataclass(frozen=True)
class Cohort:
    """Typed tables of a fictional service, and what is true of it.

    `tables`: name → typed table, as the registry's schema has them. `change_date`: day of the
    procedure from which the complication risk is another (none: no change, or none so far).
    """

    tables: dict[str, pd.DataFrame] = field(repr=False)
    settings: CohortSettings
    patients: int
    seed: int
    change_date: pd.Timestamp | None = None

    @cached_property
    def truth(self) -> Truth:
        """What the analyses should find (the first call for these settings takes seconds)."""
        from synthetic_cohort.truth import truth_of

        return truth_of(self.settings, self.patients)


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
    tables = go_missing(s, chosen, simulation, all_tables(s, chosen, simulation))
    return Cohort(tables, chosen, patients, seed, _change_date(chosen, simulation))


def _change_date(cfg: CohortSettings, simulation: Simulation) -> pd.Timestamp | None:
    procedure = simulation.procedure
    at = procedure["day"][procedure["service_number"] == cfg.change_at]
    return pd.Timestamp(to_dates(at)[0]) if len(at) else None
