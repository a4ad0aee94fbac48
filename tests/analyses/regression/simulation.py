"""Coverage, bias and width of the estimators on synthetic data with a known marginal odds ratio.

Run whole:

    python tests/analyses/regression/simulation.py --sets 2000 --out tests/reference/NAME.txt

Prints one table: a block an exposure, a line a cell, for each estimator the coverage of its
95 % interval, the median width, the error rate at no association and the share of sets without
a finite answer; then the other clustered intervals that were considered for the default. Only
sets in which `auto` would fit a model (8 or more events) are counted, and how many those were.
The target is the marginal adjusted log odds ratio (see clustered_data.py).
"""

from __future__ import annotations

import argparse
import datetime
import itertools
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from scipy import stats

# The project before tests/, in which a folder has the same name as the package.
sys.path[:0] = [str(Path(__file__).resolve().parents[depth]) for depth in (3, 2)]
from clustered_data import EXPOSURES, Cell, draw  # noqa: E402
from other_variances import (  # noqa: E402
    binary_df,
    empirical_df,
    exchangeable_correlation,
    exchangeable_variance,
    fay_graubard_scores,
    profile_interval_of,
)

from analyses.statistics.regression import sandwich as sw  # noqa: E402
from analyses.statistics.regression.firth import (  # noqa: E402
    PenalisedFit,
    penalised_logistic,
)
from analyses.statistics.regression.penalised_gee import clustered_parts, interval_of  # noqa: E402

TERM = 1  # the exposure's place in the design matrix
FEWEST = 8
MAIN = ("logistic", "Firth", "ordinary GEE", "penalised GEE")


def cells() -> list[Cell]:
    """All cells, those with the fewest events first."""
    return [Cell(*one) for one in itertools.product(
        (100, 300), (0.04, 0.10), (1.0, 2.0, 3.5), (0.05, 0.3), EXPOSURES)]


def _wald(value: float, variance: float, df: float = np.inf) -> tuple[float, float]:
    far = stats.t.ppf(0.975, max(df, 1.0)) * np.sqrt(variance)
    return value - far, value + far


def _unpenalised(x, y, patient) -> dict[str, tuple[float, float, float]]:
    """Logistic and ordinary GEE: estimate, low, high; NaN where the answer is not finite."""
    none = (np.nan,) * 3
    fit = penalised_logistic(x, y, penalty=0.0)
    if not fit.converged or np.abs(fit.design.x @ fit.state.beta[0]).max() > 25:
        return {"logistic": none, "ordinary GEE": none}
    parts = clustered_parts(fit, patient)
    value = fit.coefficients[TERM]
    plain = sw.sandwich(parts, parts.scores)[TERM, TERM]
    return {"logistic": (value, *_wald(value, fit.covariance[TERM, TERM])),
            "ordinary GEE": (value, *_wald(value, plain))}


def _variances(fit: PenalisedFit, parts: sw.ClusterParts, patient) -> dict[str, float]:
    weight, residual = fit.risk * (1 - fit.risk), fit.y - fit.risk
    correlation = exchangeable_correlation(residual, weight, patient, fit.design.terms)
    found = {
        "model": sw.model_variance(parts), "LZ": sw.sandwich(parts, parts.scores),
        "MD": sw.sandwich(parts, sw.adjusted_scores(parts, 1.0)),
        "KC": sw.sandwich(parts, sw.adjusted_scores(parts, 0.5)),
        "FG": sw.sandwich(parts, fay_graubard_scores(parts)),
        "EX": exchangeable_variance(fit.columns, weight, patient, correlation),
    }
    return {name: float(matrix[TERM, TERM]) for name, matrix in found.items()}


def _candidates(
    fit: PenalisedFit, parts: sw.ClusterParts, patient
) -> dict[str, tuple[float, float]]:
    """Intervals considered for the penalised GEE, by name."""
    v = _variances(fit, parts, patient)
    value, plain = fit.coefficients[TERM], parts.clusters - fit.design.terms
    bm = sw.satterthwaite_df(parts)[TERM]
    pw = empirical_df(parts, sw.adjusted_scores(parts, 1.0))[TERM]
    kurtosis = binary_df(fit.columns, fit.risk, patient, parts)[TERM]
    found = {
        "Wald, LZ, normal": _wald(value, v["LZ"]),
        "Wald, MD, t": _wald(value, v["MD"], plain),
        "Wald, KC, t": _wald(value, v["KC"], plain),
        "Wald, FG, t": _wald(value, v["FG"], plain),
        "Wald, MD, Bell-McCaffrey": _wald(value, v["MD"], bm),
        "Wald, MD, Pan-Wall": _wald(value, v["MD"], pw),
        "Wald, MD, binary kurtosis": _wald(value, v["MD"], kurtosis),
        "Wald, max(model, MD), t": _wald(value, max(v["model"], v["MD"]), plain),
        "Wald, max(model, KC), t": _wald(value, max(v["model"], v["KC"]), plain),
        "Wald, max(model, MD), Bell-McCaffrey": _wald(value, max(v["model"], v["MD"]), bm),
        "Wald, max(model, MD), binary kurtosis": _wald(value, max(v["model"], v["MD"]), kurtosis),
    }
    t2 = {"t": stats.t.ppf(0.975, plain) ** 2, "BM": stats.t.ppf(0.975, max(1, bm)) ** 2,
          "BK": stats.t.ppf(0.975, max(1, kurtosis)) ** 2}
    profiles = {
        "profile alone": stats.chi2.ppf(0.95, 1),
        "profile, max(1, MD/model), t": t2["t"] * max(1, v["MD"] / v["model"]),
        "profile, max(1, KC/model), t": t2["t"] * max(1, v["KC"] / v["model"]),
        "profile, max(1, EX/model), t": t2["t"] * max(1, v["EX"] / v["model"]),
        "profile, max(1, KC, EX/model), t": t2["t"] * max(1, v["KC"] / v["model"],
                                                         v["EX"] / v["model"]),
        "profile, max(1, MD/model), Bell-McCaffrey": t2["BM"] * max(1, v["MD"] / v["model"]),
        "profile, max(1, MD/model), binary kurtosis": t2["BK"] * max(1, v["MD"] / v["model"]),
    }
    low, high = profile_interval_of(fit, TERM, np.array(list(profiles.values())))
    return found | {name: (low[i], high[i]) for i, name in enumerate(profiles)}


def one_set(cell: Cell, generator: np.random.Generator) -> dict[str, tuple] | None:
    """Estimate, low and high of every method for one data set; None under 8 events."""
    x, y, patient = draw(cell, generator)
    if min(y.sum(), (1 - y).sum()) < FEWEST:
        return None
    fit = penalised_logistic(x, y)
    parts = clustered_parts(fit, patient)
    value = fit.coefficients[TERM]
    low, high, _ = interval_of(fit, parts, 0.95, [TERM])
    found = _unpenalised(x, y, patient)
    found["penalised GEE"] = (value, low[0], high[0])
    others = _candidates(fit, parts, patient)
    found["Firth"] = (value, *others["profile alone"])
    return found | {name: (value, *bounds) for name, bounds in others.items()}


def run_cell(cell: Cell, sets: int, seed: int = 1) -> dict[str, dict[str, float]]:
    """Results of one cell: for each method coverage, median width, bias, share not finite."""
    place = cells().index(cell)
    generator = np.random.default_rng([seed, place])
    drawn = [one_set(cell, generator) for _ in range(sets)]
    kept = [one for one in drawn if one is not None]
    found = {"": {"sets": sets, "kept": len(kept)}}
    for name in kept[0]:
        values = np.array([one[name] for one in kept], float)
        finite = np.isfinite(values).all(axis=1)
        inside = (values[:, 1] <= np.log(cell.odds_ratio)) & (
            np.log(cell.odds_ratio) <= values[:, 2])
        found[name] = {
            "coverage": float(np.mean(inside & finite)),
            "width": float(np.median((values[:, 2] - values[:, 1])[finite])),
            "bias": float(np.median(values[finite, 0]) - np.log(cell.odds_ratio)),
            "not finite": float(1 - finite.mean()),
        }
    return found


def _line(cell: Cell, found: dict) -> str:
    head = (f"{cell.exposure:19s} {cell.patients:4d} {100 * cell.event_share:3.0f}% "
            f"{cell.odds_ratio:4.1f} {cell.correlation:5.2f} {found['']['kept']:5d} ")
    parts = [f"{100 * found[m]['coverage']:6.1f} {found[m]['width']:5.2f} {found[m]['bias']:+5.2f} "
             f"{100 * found[m]['not finite']:4.1f}" for m in MAIN]
    return head + " |".join(parts)


def least_allowed(sets: int) -> float:
    """94 % less three Monte Carlo standard errors."""
    return 0.94 - 3 * np.sqrt(0.95 * 0.05 / sets)


def report(
    results: list[tuple[Cell, dict]], sets: int, seconds: float, commit: str = "unknown"
) -> Iterator[str]:
    """The printed table."""
    yield "Estimators of a marginal adjusted log odds ratio: coverage, width, bias (see tests/"
    yield "clustered_data.py for the data). The whole run: python tests/analyses/regression/"
    yield "simulation.py --sets 2000 --out FILE"
    yield ""
    yield f"Date {datetime.date.today().isoformat()}, commit {commit}, {sets} sets a cell, "
    yield f"{len(results)} cells, {seconds:.0f} s. Coverage % / median width / median bias (log OR)"
    yield "/ % of sets without a finite answer (counted as not covering). kept: sets with 8 or"
    yield "more events. Error rate at odds ratio 1 is 100 less the coverage there."
    yield ""
    yield " " * 45 + " | ".join(f"{name:^23s}" for name in MAIN)
    yield "exposure            pat. ev.  OR   corr.  kept" + " |".join(
        ["  cov. width  bias  inf"] * len(MAIN))
    yield from (_line(cell, found) for cell, found in results)
    yield ""
    yield "All intervals considered, over the cells: lowest and mean coverage; cells below"
    yield "94 % less 3 standard errors; mean width over that of the penalised profile alone; mean"
    yield "error rate at odds ratio 1."
    names = [name for name in results[0][1] if name]
    for name in names:
        yield _summary(name, results)


def _summary(name: str, results: list[tuple[Cell, dict]]) -> str:
    coverage = np.array([found[name]["coverage"] for _, found in results])
    kept = np.array([found[""]["kept"] for _, found in results])
    below = int((coverage < least_allowed(kept)).sum())
    width = np.mean([found[name]["width"] / found["profile alone"]["width"]
                     for _, found in results])
    null = [1 - found[name]["coverage"] for cell, found in results if cell.odds_ratio == 1]
    return (f"{name:44s} {100 * coverage.min():6.1f} {100 * coverage.mean():6.1f} {below:4d} "
            f"{width:6.3f} {100 * np.mean(null) if null else np.nan:5.1f}")


def _commit() -> str:
    found = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True,
                           text=True, check=False, cwd=Path(__file__).parent)
    return found.stdout.strip() or "unknown"


def run_command(
    about: str, sets: int, run: Callable[[Cell, int], dict], told: Callable[..., Iterator[str]],
) -> None:
    """Read the command line, run the cells asked for, print (and write) the table."""
    from joblib import Parallel, delayed

    reader = argparse.ArgumentParser(description=about.splitlines()[0])
    reader.add_argument("--sets", type=int, default=sets, help="synthetic sets a cell")
    reader.add_argument("--patients", type=int, default=None, help="only cells of this size")
    reader.add_argument("--out", type=Path, default=None, help="also write the table here")
    reader.add_argument("--jobs", type=int, default=2)
    asked = reader.parse_args()
    chosen = [c for c in cells() if asked.patients in (None, c.patients)]
    start, commit = time.perf_counter(), _commit()  # of the code as it runs, not as it ends
    found = Parallel(n_jobs=asked.jobs, verbose=5)(
        delayed(run)(c, asked.sets) for c in chosen)
    lines = list(told(list(zip(chosen, found, strict=True)), asked.sets,
                        time.perf_counter() - start, commit))
    print("\n".join(lines))
    if asked.out:
        asked.out.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    run_command(__doc__, 2000, run_cell, report)
