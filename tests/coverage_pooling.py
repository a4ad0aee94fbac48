"""How often the intervals of pooled proportions hold the truth, by simulation.

k published series of 38 to 380 units, as papers on embolization have; log odds normal between
series. Of the pooled proportion: our t interval, and for comparison the normal one and the
profile likelihood. Of a new series' own proportion: ours, and the t interval of Higgins 2009.

From the project's folder, for the full table in tests/reference/coverage_pooling.md:
    python -m tests.coverage_pooling --replicates 400
"""

from __future__ import annotations

import argparse
import datetime
import subprocess
from itertools import product
from pathlib import Path

import numpy as np
from scipy.special import expit, logit
from scipy.stats import chi2, norm

from analyses.statistics.arrays import Floats
from analyses.statistics.pooling.binomial_normal import marginal
from analyses.statistics.pooling.maximum import _best_on_grid, peak
from analyses.statistics.pooling.pooled_interval import standard_error
from analyses.statistics.pooling.pooled_proportion import Pooled, pool_proportions

SIZES = (57, 202, 94, 130, 380, 38, 160, 250, 60, 80)
SERIES = (3, 5, 10)
SPREADS = (0.0, 0.4, 0.8)
RISKS = (0.03, 0.10)
WAYS = ("t, k − 1", "normal", "profile", "new series", "new series, Higgins")
REPORT = Path(__file__).parent / "reference" / "coverage_pooling.md"


def held(pooled: Pooled, truth: float, new: float) -> list[bool]:
    """Whether each interval holds the truth (log odds) or the new series' own log odds."""
    y, n = (np.array(part, dtype=float) for part in (pooled.events, pooled.totals))
    found = peak(y, n)
    spread = _best_on_grid(lambda tau: marginal(y, n, truth, tau))
    above = found.there.value - marginal(y, n, truth, spread).value
    return [
        _inside(pooled.estimate, truth),
        abs(found.mu - truth) <= norm.ppf(0.975) * standard_error(found),
        2 * above <= chi2.ppf(0.95, 1),
        _inside(pooled.prediction, new), _inside(pooled.higgins, new)]


def _inside(estimate: object, log_odds: float) -> bool:
    return bool(logit(estimate.low) <= log_odds <= logit(estimate.high))  # type: ignore[attr-defined]


def cell(
    rng: np.random.Generator, replicates: int, series: int, spread: float, risk: float,
) -> tuple[Floats, int]:
    """Coverage of each way, and how many sets had no event and could not be pooled."""
    sizes, truth = np.array(SIZES[:series]), float(logit(risk))
    hits, none = [], 0
    for _ in range(replicates):
        events = rng.binomial(sizes, expit(truth + spread * rng.standard_normal(series)))
        new = truth + spread * float(rng.standard_normal())
        if not events.any():
            none += 1
            continue
        hits.append(held(pool_proportions(events.tolist(), sizes.tolist()), truth, new))
    return np.mean(hits, axis=0), none


def main() -> None:
    """Write the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--replicates", type=int, default=400)
    replicates = parser.parse_args().replicates
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True,
                            text=True, check=False).stdout.strip()
    lines = [
        "# Coverage of the intervals of pooled proportions", "",
        f"{replicates:,} sets a row, {datetime.date.today()}, commit {commit}; "
        "`python -m tests.coverage_pooling`.",
        f"A Monte Carlo standard error at 95 %: {100 * (0.95 * 0.05 / replicates) ** 0.5:.1f} "
        "points. Sd: between series, on the log odds. First three: of the pooled proportion; the "
        "last two: of a new series' own proportion. Sets without any event are left out.", "",
        f"| series | sd | risk | {' | '.join(WAYS)} | without event |",
        "|---:|---:|---:|" + "---:|" * (len(WAYS) + 1)]
    rng = np.random.default_rng(20261125)
    for series, spread, risk in product(SERIES, SPREADS, RISKS):
        shares, none = cell(rng, replicates, series, spread, risk)
        lines.append(f"| {series} | {spread:g} | {100 * risk:g} % | "
                     + " | ".join(f"{100 * s:.1f} %" for s in shares) + f" | {none} |")
        print(lines[-1], flush=True)
    REPORT.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
