"""The technique models tried on their own outcomes, exchanged: how many ratios chance would show.

The outcomes of whole patients are exchanged between patients with as many units, the same way for
all models of an outcome, and every ratio that the report shows is worked out again. One that
leaves out 1 then is a finding made by chance.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from analyses.measures.null_findings import SEED, NullFindings
from analyses.models.planned_result import PlannedResult
from analyses.models.shown_ratios import enough_rows, shown_ratios
from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate
from analyses.statistics.regression.contrast import exposure_ratios
from analyses.statistics.regression.exact import exchange_patients
from analyses.statistics.regression.fitting import fit_outcomes
from analyses.statistics.regression.model_fit import ModelFit
from analyses.statistics.regression.model_rows import outcome_values
from registry.schema import Patients

EXCHANGES = 20
"""One of them takes a quarter of a second for the 39 ratios of the default plan (140 patients), all
of them 5 s; those of the differences are 200, which cost nothing beside a model."""


def null_ratios(
    results: Sequence[PlannedResult], frames: Mapping[str, pd.DataFrame],
    exchanges: int = EXCHANGES,
) -> NullFindings:
    """Try the ratios of technique models on exchanged outcomes; seeded.

    frames: unit to its rows, as the models were fitted on, with `key`. Where gaps were imputed,
    the rows of the first completed set stand for all: values in gaps are not drawn again.
    A model with too few events after an exchange gives no ratio then, as it would in a report.
    """
    shown = [one for one in results if shown_ratios(one)]
    found = np.zeros(exchanges)
    pairs = dict.fromkeys((one.model.outcome, one.model.unit) for one in shown)
    for place, (outcome, unit) in enumerate(pairs):
        mine = [one for one in shown if (one.model.outcome, one.model.unit) == (outcome, unit)]
        for turn, values in enumerate(
                _exchanged(frames[unit], outcome, exchanges, SEED + place)):
            found[turn] += sum(_by_chance(one, values) for one in mine)
    ratios = [e for one in shown for e in shown_ratios(one)]
    return NullFindings(len(ratios), float(found.mean()), float((found > 0).mean()),
                        sum(map(leaves_out_one, ratios)), exchanges, of="ratio")


def leaves_out_one(e: Estimate) -> bool:
    """Whether the interval of a ratio lies on one side of no association."""
    return e.low is not None and e.high is not None and (e.low > 1 or e.high < 1)


def _exchanged(frame: pd.DataFrame, outcome: str, times: int, seed: int) -> list[pd.Series]:
    """The known outcomes by key, as they would be after each exchange of whole patients."""
    known = frame[frame[outcome].notna() & frame[Patients.patient_id].notna()]
    patients = pd.factorize(known[Patients.patient_id])[0].astype(np.int64)
    orders = exchange_patients(patients, times, np.random.default_rng(seed))
    values, keys = outcome_values(known[outcome]), known["key"].astype(str).to_numpy()
    return [pd.Series(values[order], index=keys) for order in orders]


def _by_chance(result: PlannedResult, values: pd.Series) -> int:
    """How many ratios of a model would leave out 1, with these outcomes."""
    whole = result.imputed.models[0] if result.imputed is not None else result.fit
    assert whole is not None
    again = _with_outcomes(whole, values, result.model.estimator)
    if again is None:
        return 0
    return sum(leaves_out_one(e) for e in exposure_ratios(again, result.model.exposure, "row")
               if e.value is not None and enough_rows(again, (e.group or {})["term"]))


def _with_outcomes(whole: ModelFit, values: pd.Series, estimator: str) -> ModelFit | None:
    """The model with these outcomes; None where it has no answer then."""
    y: Floats = values.loc[whole.rows.frame["key"].astype(str)].to_numpy(dtype=float)
    try:
        found = fit_outcomes(whole, y, estimator)
    except ValueError:
        return None
    return None if found.estimator == "exact" else found
