"""Does an exchangeable working correlation earn its place in the penalised GEE?

    python tests/analyses/regression/exchangeable.py --sets 500 --out FILE

prints the table kept as tests/reference/regression_working_correlation.txt: on the same synthetic
sets as simulation.py, the default (independence) against the penalised GEE with an exchangeable
working correlation (tests/exchangeable_gee.py), its correlation and scale estimated as the
authors' own program does, or pooled over all pairs as is usual. All three have the variance of
the default: the larger of the model-based and the Mancl–DeRouen variance, t with Satterthwaite
degrees of freedom, worked out from the weighted sums. Beside them, for comparison, the plain
sandwich, and the ordinary (unpenalised) GEE with either working correlation.
(Mondol and Rahman recommend a small-sample correction of their own; it is not in the table.)
"""

from __future__ import annotations

import datetime
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

# The project before tests/, in which a folder has the same name as the package.
sys.path[:0] = [str(Path(__file__).resolve().parents[depth]) for depth in (3, 2, 0)]
from clustered_data import EXPOSURES, Cell, draw  # noqa: E402
from exchangeable_gee import ExchangeableFit, by_patient, exchangeable_gee, pooled  # noqa: E402
from simulation import FEWEST, TERM, _unpenalised, cells, least_allowed, run_command  # noqa: E402

from analyses.statistics.arrays import Floats  # noqa: E402
from analyses.statistics.regression.firth import penalised_logistic  # noqa: E402
from analyses.statistics.regression.fitted import wald  # noqa: E402
from analyses.statistics.regression.penalised_gee import (  # noqa: E402
    clustered_covariance,
    clustered_parts,
    reference_df,
)
from analyses.statistics.regression.sandwich import ClusterParts, sandwich  # noqa: E402

DEFAULT = "independence (default)"
PUBLISHED, POOLED = "exchangeable, as published", "exchangeable, pooled"
MAIN = (DEFAULT, PUBLISHED, POOLED)
PLAIN = ", plain sandwich"
ORDINARY = ("ordinary, independence" + PLAIN, "ordinary, exchangeable" + PLAIN)


def rule_of_default(value: Floats, parts: ClusterParts) -> tuple[float, float, float]:
    """Estimate and 95 % bounds of the exposure by the rule of the default."""
    _, low, high, _, _ = wald(value, clustered_covariance(parts), 0.95, reference_df(parts))
    return float(value[TERM]), float(low[TERM]), float(high[TERM])


def plain(value: Floats, parts: ClusterParts) -> tuple[float, float, float]:
    """Estimate and 95 % bounds by the uncorrected sandwich and the normal distribution."""
    _, low, high, _, _ = wald(value, sandwich(parts, parts.scores), 0.95)
    return float(value[TERM]), float(low[TERM]), float(high[TERM])


def _answers(name: str, fit: ExchangeableFit) -> dict[str, tuple]:
    if not fit.finite:
        return {name: (np.nan,) * 3, name + PLAIN: (np.nan,) * 3}
    return {name: rule_of_default(fit.coefficients, fit.parts),
            name + PLAIN: plain(fit.coefficients, fit.parts)}


def one_set(cell: Cell, generator: np.random.Generator) -> dict[str, tuple] | None:
    """Estimate, low and high of every method for one data set; None under 8 events.

    "working": the pooled correlation, and 1 where two outcomes with the fitted risks could have
    it, else 0.
    """
    x, y, patient = draw(cell, generator)
    if min(y.sum(), (1 - y).sum()) < FEWEST:
        return None
    fit = penalised_logistic(x, y)
    parts = clustered_parts(fit, patient)
    found = {DEFAULT: rule_of_default(fit.coefficients, parts),
             DEFAULT + PLAIN: plain(fit.coefficients, parts)}
    for name, moments in ((PUBLISHED, by_patient), (POOLED, pooled)):
        own = exchangeable_gee(x, y, patient, moments=moments, start=fit.coefficients)
        found |= _answers(name, own)
    found["working"] = (own.moments.correlation, float(own.attainable))
    found[ORDINARY[0]] = _unpenalised(x, y, patient)["ordinary GEE"]
    ordinary = exchangeable_gee(x, y, patient, penalised=False, start=fit.coefficients)
    found[ORDINARY[1]] = _answers("", ordinary)[PLAIN]
    return found


def run_cell(cell: Cell, sets: int, seed: int = 1) -> dict[str, dict[str, float]]:
    """Results of one cell, of the same sets as `simulation.run_cell` draws."""
    generator = np.random.default_rng([seed, cells().index(cell)])
    drawn = [one_set(cell, generator) for _ in range(sets)]
    kept = [one for one in drawn if one is not None]
    working = np.array([one.pop("working") for one in kept])
    found = {"": {"kept": len(kept), "correlation": float(np.median(working[:, 0])),
                  "unattainable": float(1 - working[:, 1].mean())}}
    for name in kept[0]:
        found[name] = _performance(np.array([one[name] for one in kept], float), cell)
    return found


def _performance(values: Floats, cell: Cell) -> dict[str, float]:
    truth = np.log(cell.odds_ratio)
    finite = np.isfinite(values).all(axis=1)
    inside = (values[:, 1] <= truth) & (truth <= values[:, 2])
    error = values[finite, 0] - truth
    return {"coverage": float(np.mean(inside & finite)), "bias": float(np.median(error)),
            "width": float(np.median((values[:, 2] - values[:, 1])[finite])),
            "error": float(np.sqrt(np.mean(error**2))), "not finite": float(1 - finite.mean())}


def _line(cell: Cell, found: dict) -> str:
    head = (f"{cell.exposure:19s} {cell.patients:4d} {100 * cell.event_share:3.0f}% "
            f"{cell.odds_ratio:4.1f} {cell.correlation:5.2f} {found['']['kept']:5d} ")
    parts = [f"{100 * one['coverage']:6.1f} {one['width']:5.2f} {one['bias']:+5.2f} "
             f"{one['error']:5.3f} {100 * one['not finite']:4.1f}"
             for one in (found[name] for name in MAIN)]
    return (head + " |".join(parts)
            + f" | {found['']['correlation']:5.2f} {100 * found['']['unattainable']:5.1f}")


def report(
    results: list[tuple[Cell, dict]], sets: int, seconds: float, commit: str = "unknown"
) -> Iterator[str]:
    """The printed table."""
    yield "Working correlation of the penalised GEE: independence (the default) or exchangeable."
    yield f"python tests/analyses/regression/exchangeable.py --sets {sets} --out FILE"
    yield ""
    yield f"Date {datetime.date.today().isoformat()}, commit {commit}, {sets} sets a cell,"
    yield f"{len(results)} cells, {seconds:.0f} s. Coverage % / median width / median bias / root"
    yield "mean squared error (log OR) / % of sets without a finite answer (counted as not"
    yield "covering). All with the larger of the model-based and the Mancl-DeRouen variance, t with"
    yield "Satterthwaite degrees of freedom. kept: sets with 8 or more events. Last: the median"
    yield "pooled correlation, and % of sets in which it is one that two outcomes with the fitted"
    yield "risks could not have."
    yield ""
    yield " " * 45 + " | ".join(f"{name:^29s}" for name in MAIN) + " |  working"
    yield "exposure            pat. ev.  OR   corr.  kept" + " |".join(
        ["  cov. width  bias  RMSE  inf"] * len(MAIN)) + " |  corr.  not"
    yield from (_line(cell, found) for cell, found in results)
    yield ""
    yield "Over the cells: lowest and mean coverage; cells below 94 % less 3 standard errors; mean"
    yield "width and mean RMSE over those of the default; mean and highest % without an answer."
    names = (*MAIN, *(name + PLAIN for name in MAIN), *ORDINARY)
    yield from (_summary(name, results) for name in names)
    for kind in EXPOSURES:
        for strength in (0.05, 0.3):
            some = [one for one in results
                    if one[0].exposure == kind and one[0].correlation == strength]
            if some:
                yield ""
                yield f"{kind}, correlation {strength}"
                yield from (_summary(name, some) for name in MAIN)


def _summary(name: str, results: list[tuple[Cell, dict]]) -> str:
    def each(what: str, method: str = name) -> Floats:
        return np.array([found[method][what] for _, found in results])

    coverage, kept = each("coverage"), np.array([found[""]["kept"] for _, found in results])
    below = int((coverage < least_allowed(kept)).sum())
    width, error = (np.mean(each(what) / each(what, DEFAULT)) for what in ("width", "error"))
    lost = 100 * each("not finite")
    return (f"{name:44s} {100 * coverage.min():6.1f} {100 * coverage.mean():6.1f} {below:4d} "
            f"{width:6.3f} {error:6.3f} {lost.mean():5.2f} {lost.max():5.1f}")


if __name__ == "__main__":
    run_command(__doc__, 500, run_cell, report)
