"""Pictures of the technique models: planned curves, and imputed beside recorded values."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from analyses.regression.outcome_words import OUTCOME_WORDS, TECHNIQUE_WORDS
from analyses.reports.content import Picture
from analyses.reports.model_tables import short_words

if TYPE_CHECKING:
    from analyses.regression.planned_run import PlannedResult

PLACES = 25
UNITS = {
    "pedicles": "pedicles", "agent_ml": "mL", "agent_per_nidus": "mL per mL of nidus",
    "rate_ml_min": "mL/min", "longest_pause_s": "s",
}


def curve_pictures(results: Iterable[PlannedResult]) -> tuple[Picture, ...]:
    """The partial effect of every planned spline, with the density of the data on its axis."""
    return tuple(_curve(r) for r in results if r.fit is not None
                 and r.model.exposure.form == "spline" and r.fit.fitted.penalised is not None)


def _curve(result: PlannedResult) -> Picture:
    from analyses.regression.figures import partial_effect
    from analyses.regression.standardisation import effect_curve

    fit, column = result.fit, result.model.exposure.columns[0]
    assert fit is not None
    seen = fit.rows.frame[column].astype(float)
    values = np.unique(np.linspace(*np.quantile(seen, [0.02, 0.98]), PLACES))
    outcome = OUTCOME_WORDS.get(result.model.outcome, result.model.outcome)
    label = _label(column)
    caption = (f"{outcome} along {label}, standardised; restricted cubic spline, "
               f"{fit.events} events in {fit.n} rows with everything recorded")
    return Picture(
        f"curve-{result.model.outcome}-{result.model.unit}-{column}", caption, caption,
        lambda width: partial_effect(
            effect_curve(fit, column, values), seen, fit.rows.y.astype(bool), label=label,
            outcome=outcome.lower(), unit=result.model.unit))


def imputed_pictures(results: Sequence[PlannedResult]) -> tuple[Picture, ...]:
    """Imputed beside recorded values, once a variable and unit."""
    found: dict[tuple[str, str], Picture] = {}
    for result in results:
        if result.imputed is None:
            continue
        gaps = result.imputed.imputation.gaps
        for column in gaps.columns[gaps.any()]:
            found.setdefault((result.model.unit, str(column)), _imputed(result, str(column)))
    return tuple(found.values())


def _imputed(result: PlannedResult, column: str) -> Picture:
    from analyses.regression.figures import imputed_against_observed

    assert result.imputed is not None
    made = result.imputed.imputation
    gaps = int(made.gaps[column].sum())
    caption = (f"{short_words(column)}, per {result.model.unit}: values put into {gaps} gaps of "
               f"{len(made.gaps)}, beside those recorded")
    alt = (f"{caption}. The two need not agree: what is missing may differ in what is known of "
           "it; a large difference asks why.")
    return Picture(
        f"imputed-{result.model.unit}-{column}", caption, alt,
        lambda width: imputed_against_observed(made.frames, made.gaps, column, _label(column)))


def _label(column: str) -> str:
    words = TECHNIQUE_WORDS.get(column, column).partition(",")[0].lower()
    return f"{words} ({UNITS[column]})" if column in UNITS else words
