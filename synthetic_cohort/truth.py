"""The truth behind a cohort: what its analyses should find.

What has a closed form is stated from the settings: odds ratios (marginal and, given the
patient, conditional), correlation, rates of spontaneous bleeding, the change of risk. The rest
is the limit of each estimand's own definition (numerator and denominator of the analysis plan)
under the settings, worked out on `LARGE` patients in services of the cohort's size, with a
seed of its own; its Monte Carlo error comes from the spread between blocks of services. Results
are kept for as long as the program runs, one for each settings and size.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np

from registry.schema import Injections
from synthetic_cohort import operations
from synthetic_cohort.bridge import bridge_parameter
from synthetic_cohort.course import LOCK
from synthetic_cohort.draws import Streams
from synthetic_cohort.observe import observe
from synthetic_cohort.persontime import obliteration_times
from synthetic_cohort.settings import CohortSettings
from synthetic_cohort.simulate import Simulation, pilot_intercept, simulate
from synthetic_cohort.tally import Key, tallies
from synthetic_cohort.truth_models import Rows, adjusted_odds_ratios, procedure_rows

LARGE = 200_000
PER_100 = np.array([100.0, 1.0])     # rates are events a 100 patient-years
BLOCK = 10_000
TRUTH_SEED = 90_210_417
LONG_LOCK = LOCK + 2_300            # so that five years are seen of everybody


@dataclass(frozen=True)
class TrueValue:
    """A true value and the Monte Carlo standard error with which it is known."""

    value: float
    error: float


@dataclass(frozen=True)
class Truth:
    """What is true of the service that the settings describe.

    `odds_ratios`: marginal (population-averaged) odds ratios of the complication model, all its
    terms together; `conditional_odds_ratios`: the same given the patient's liability.
    `adjusted_odds_ratios`: what each default model of the analysis plan (one technique variable,
    adjusted for grade, ruptured and case number) tends to. `icc`: correlation between two
    procedures of one patient, both at the mean risk; `pair_correlation`: between any two
    procedures of one patient, case mix included. `change_at`, `change_odds`: the service's
    procedure from which the risk is another, and by what odds ratio. `spontaneous_rates`: bleeds
    a 100 patient-years before treatment, under it, after confirmed obliteration.
    """

    settings: CohortSettings
    patients: int
    intercept: float
    phi: float
    icc: float
    pair_correlation: float
    odds_ratios: Mapping[str, float]
    conditional_odds_ratios: Mapping[str, float]
    adjusted_odds_ratios: Mapping[str, float]
    change_at: int | None
    change_odds: float
    spontaneous_rates: Mapping[str, float]
    blood_loss_ratios: Mapping[str, float]
    operation_time_ratios: Mapping[str, float]
    resection_deficit_odds: Mapping[str, float]
    estimands: Mapping[Key, TrueValue]
    large: int

    def value(self, id: str, unit: str, **group: object) -> float:
        """The true value of an estimate of the analysis plan.

        `id` and `unit` as there (session, lesion, patient, patient-year …); `group` such as
        `sm_grade=3`, `ruptured="yes"` or, for `rate.haemorrhage` (per 100 patient-years),
        `stage="under treatment"`. Raises KeyError for one that is not worked out.
        """
        return self.known(id, unit, **group).value

    def known(self, id: str, unit: str, **group: object) -> TrueValue:
        """The same with its Monte Carlo standard error."""
        return self.estimands[id, unit, ";".join(f"{k}={v}" for k, v in group.items())]

    def known_incidence(self, years: float) -> TrueValue:
        """Probability that obliteration is confirmed within `years` of a lesion's first
        treatment, death competing, nobody lost: known at 0.5, 1, 2, 3 and 5 years. Worked out
        when first asked for, with its Monte Carlo standard error."""
        return _incidence(self.settings, self.patients, self.large)[years]


HORIZONS = (0.5, 1, 2, 3, 5)


@lru_cache(maxsize=64)
def truth_of(settings: CohortSettings, patients: int, large: int = LARGE) -> Truth:
    """The truth of services of `patients` patients with these settings.

    `large` is the number of patients it is worked out on. The first call for a settings and
    size takes some seconds; later ones are free.
    """
    counts, rows = _large_sample(settings, patients, large)
    phi = bridge_parameter(settings.icc, settings.complication_risk)
    marginal = _odds_ratios(settings)
    return Truth(
        settings=settings, patients=patients, intercept=pilot_intercept(settings, patients),
        phi=phi, icc=settings.icc, pair_correlation=rows.pair_correlation(),
        odds_ratios=MappingProxyType(marginal),
        conditional_odds_ratios=MappingProxyType({k: v ** (1 / phi) for k, v in marginal.items()}),
        adjusted_odds_ratios=MappingProxyType(adjusted_odds_ratios(rows)),
        change_at=settings.change_at, change_odds=settings.change_odds,
        spontaneous_rates=MappingProxyType({
            "before, ruptured": settings.bleed_before_ruptured,
            "before, unruptured": settings.bleed_before_unruptured,
            "under": settings.bleed_under, "after": settings.bleed_after,
        }),
        blood_loss_ratios=_ratios(operations.BLOOD_LOSS_GRADE, operations.BLOOD_LOSS_PCT),
        operation_time_ratios=_ratios(operations.OPERATION_GRADE, operations.OPERATION_PCT),
        resection_deficit_odds=MappingProxyType({"sm_grade": float(np.exp(
            operations.DEFICIT_GRADE))}),
        estimands=MappingProxyType(counts), large=large,
    )


def _odds_ratios(cfg: CohortSettings) -> dict[str, float]:
    return {
        "pedicles_treated": cfg.odds_pedicle, "rate_per_0.1_ml_min": cfg.odds_rate,
        "reflux_past_limit": cfg.odds_reflux, Injections.venous_passage: cfg.odds_venous,
        "sm_grade": cfg.odds_grade, "ruptured": cfg.odds_ruptured,
        "first_case": cfg.odds_first_case, "change": cfg.change_odds,
    }


def _ratios(grade: float, pct: float) -> Mapping[str, float]:
    return MappingProxyType({
        "sm_grade": float(np.exp(grade)), "occlusion_pct": float(np.exp(pct)),
    })


def _blocks(patients: int, total: int) -> tuple[int, int]:
    """Services a block, and blocks, that come to about `total` patients."""
    services = max(1, BLOCK // patients)
    return services, max(4, round(total / (services * patients)))


def observed_block(
    settings: CohortSettings, patients: int, services: int, block: int, lock: int = LOCK
) -> Simulation:
    """One block of the large sample: `services` services of `patients` patients, observed."""
    s = Streams(TRUTH_SEED, block)
    simulation = simulate(s, settings, patients, services, lock)
    observe(s, simulation)
    return simulation


def _large_sample(
    cfg: CohortSettings, patients: int, large: int
) -> tuple[dict[Key, TrueValue], Rows]:
    services, blocks = _blocks(patients, large)
    found: list[dict[Key, tuple[float, float]]] = []
    rows: list[Rows] = []
    for block in range(blocks):
        simulation = observed_block(cfg, patients, services, block)
        found.append(tallies(simulation))
        rows.append(procedure_rows(simulation))
    keys = sorted(set().union(*found))
    pairs = {key: np.array([one.get(key, (0.0, 0.0)) for one in found]) for key in keys}
    values = {key: ratio(pair * (PER_100 if key[0] == "rate.haemorrhage" else 1))
              for key, pair in pairs.items()}
    return values, Rows.joined(rows)


def ratio(pairs: np.ndarray) -> TrueValue:
    """Ratio of two sums over blocks (blocks × 2) with its standard error between blocks."""
    top, bottom = pairs.sum(axis=0)
    if bottom <= 0:
        return TrueValue(float("nan"), float("nan"))
    value = top / bottom
    residual = pairs[:, 0] - value * pairs[:, 1]
    blocks = len(pairs)
    error = np.sqrt(blocks / (blocks - 1) * (residual**2).sum()) / bottom
    return TrueValue(float(value), float(error))


@lru_cache(maxsize=64)
def _incidence(cfg: CohortSettings, patients: int, large: int) -> dict[float, TrueValue]:
    """Cumulative incidence with nobody lost and the records kept open for five years more."""
    kept = cfg.but(loss_per_year=0.0, missing_share=0.0)
    services, blocks = _blocks(patients, large // 2)
    counts: dict[float, list[tuple[float, float]]] = {years: [] for years in HORIZONS}
    for block in range(blocks):
        simulation = observed_block(kept, patients, services, 10_000 + block, LONG_LOCK)
        time, code = obliteration_times(simulation)
        for years, pairs in counts.items():
            pairs.append((float(((code == 1) & (time <= years)).sum()), float(len(time))))
    return {years: ratio(np.array(pairs)) for years, pairs in counts.items()}
