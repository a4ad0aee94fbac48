"""How each chart does on services whose truth is known: delay and false alarms.

Services of 300 sessions; every session's risk is drawn from a mix of five grades; from session
150 on the risk is doubled, or nothing changes. Charts are set to the same average in-control run
length, 500 sessions, by exact calculation (CUSUM, p, g) or simulation (EWMA). Where a chart's
counts are too coarse for that, it signals at its boundary with the chance that makes up the
difference. Risks are taken as known.

Run as a program it writes tests/reference/monitoring_truth.md with the date and the commit:
    python -m tests.monitoring_truth
"""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import binom

from analyses.statistics.control_charts.cusum_scores import cusum_scores
from analyses.statistics.control_charts.run_length import (
    average_run_length,
    cusum_limit,
)
from tests.exact_cusum import doubled_risk

RISKS = np.array([0.03, 0.05, 0.08, 0.12, 0.18])
SHARES = np.array([0.25, 0.30, 0.25, 0.12, 0.08])
SESSIONS, CHANGE, RUN_LENGTH = 300, 150, 500.0
BLOCK, WEIGHT = 25, 0.05
MEAN = float(RISKS @ SHARES)
HEAD = "chart"
PART = 1000  # services simulated at once, to spare memory

Watch = Callable[[np.ndarray, np.ndarray, np.random.Generator], np.ndarray]


@dataclass(frozen=True)
class Services:
    """Events and expected risks: (services, sessions) each."""

    event: np.ndarray
    expected: np.ndarray


def services(count: int, sessions: int, change: int | None, seed: int) -> Services:
    """Services whose risk is doubled from session `change` on (None: never)."""
    rng = np.random.default_rng(seed)
    expected = RISKS[rng.choice(RISKS.size, (count, sessions), p=SHARES)]
    actual = expected.copy()
    if change is not None:
        actual[:, change:] *= 2
    return Services((rng.random((count, sessions)) < actual).astype(float), expected)


def cusum_watch(limit: float) -> Watch:
    """Signals of a risk-adjusted CUSUM, restarted after each."""
    def watch(event: np.ndarray, expected: np.ndarray, _: np.random.Generator) -> np.ndarray:
        high, low = cusum_scores(expected.ravel(), 2)
        score = np.where(event.ravel() == 1, high, low).reshape(event.shape)
        total, signal = np.zeros(len(event)), np.zeros(event.shape, bool)
        for place in range(event.shape[1]):
            total = np.maximum(0, total + score[:, place])
            signal[:, place] = total >= limit
            total[signal[:, place]] = 0
        return signal
    return watch


def ewma_watch(width: float) -> Watch:
    """Signals above the upper limit of a risk-adjusted EWMA, restarted after each."""
    def watch(event: np.ndarray, expected: np.ndarray, _: np.random.Generator) -> np.ndarray:
        mean, variance = np.zeros(len(event)), np.zeros(len(event))
        signal = np.zeros(event.shape, bool)
        for place in range(event.shape[1]):
            p = expected[:, place]
            mean = (1 - WEIGHT) * mean + WEIGHT * (event[:, place] - p)
            variance = (1 - WEIGHT) ** 2 * variance + WEIGHT**2 * p * (1 - p)
            now = mean > width * np.sqrt(variance)
            signal[:, place] = now
            mean[now], variance[now] = 0, 0
        return signal
    return watch


def p_watch() -> Watch:
    """Signals of an upper p chart limit on blocks of 25 sessions."""
    wanted = BLOCK / RUN_LENGTH
    tail = binom.sf(np.arange(BLOCK + 1) - 1, BLOCK, MEAN)  # chance of k events or more
    count = int(np.argmax(tail <= wanted))
    extra = (wanted - tail[count]) / (tail[count - 1] - tail[count])

    def watch(event: np.ndarray, _: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        blocks = event.shape[1] // BLOCK
        found = event[:, : blocks * BLOCK].reshape(len(event), blocks, BLOCK).sum(axis=2)
        edge = (found == count - 1) & (rng.random(found.shape) < extra)
        signal = np.zeros(event.shape, bool)
        signal[:, BLOCK - 1 :: BLOCK][:, :blocks] = (found >= count) | edge
        return signal
    return watch


def g_watch() -> Watch:
    """Signals of a lower g chart limit: a gap too short."""
    wanted = 1 / (MEAN * RUN_LENGTH)  # chance of a signal at each event
    gap, below = 0, 0.0
    while below + MEAN * (1 - MEAN) ** gap < wanted:
        below += MEAN * (1 - MEAN) ** gap
        gap += 1
    extra = (wanted - below) / (MEAN * (1 - MEAN) ** gap)

    def watch(event: np.ndarray, _: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        since, signal = np.zeros(len(event)), np.zeros(event.shape, bool)
        for place in range(event.shape[1]):
            now = event[:, place] == 1
            edge = (since == gap) & (rng.random(len(event)) < extra)
            signal[:, place] = now & ((since < gap) | edge)
            since = np.where(now, 0, since + 1)
        return signal
    return watch


def run_watch() -> Watch:
    """Signals of the run chart's shift rule: six blocks of 25 in a row above the true median.

    Blocks on the median neither make nor break a run. The rule has nothing to set.
    """
    median = float(binom.median(BLOCK, MEAN))

    def watch(event: np.ndarray, _: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        blocks = event.shape[1] // BLOCK
        found = event[:, : blocks * BLOCK].reshape(len(event), blocks, BLOCK).sum(axis=2)
        run, signal = np.zeros(len(event)), np.zeros(event.shape, bool)
        for block in range(blocks):
            above, on = found[:, block] > median, found[:, block] == median
            run = np.where(above, run + 1, np.where(on, run, 0))
            signal[:, (block + 1) * BLOCK - 1] = above & (run == 6)
        return signal
    return watch


def run_lengths(watch: Watch, count: int, seed: int, sessions: int = 6000) -> np.ndarray:
    """Sessions to the first signal in control; those without one are cut at `sessions`."""
    found = []
    for part, start in enumerate(range(0, count, PART)):
        made = services(min(PART, count - start), sessions, None, seed + 1000 * part)
        signal = watch(made.event, made.expected, np.random.default_rng(seed + 1000 * part + 1))
        found.append(np.where(signal.any(axis=1), signal.argmax(axis=1) + 1, sessions))
    return np.concatenate(found)


def ewma_width(count: int, seed: int) -> float:
    """The EWMA's width for the wanted run length, by bisection on simulated services."""
    low, high = 1.0, 5.0
    for _ in range(14):
        middle = (low + high) / 2
        if run_lengths(ewma_watch(middle), count, seed).mean() < RUN_LENGTH:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def charts(count: int, seed: int) -> dict[str, Watch]:
    """The charts, each set to the run length (but the run chart, whose rule is fixed)."""
    limit = cusum_limit(RISKS, weights=SHARES, odds_ratio=2, run_length=RUN_LENGTH)
    width = ewma_width(max(500, min(3000, count // 5)), seed + 10)
    return {
        "risk-adjusted CUSUM, odds ratio 2": cusum_watch(limit),
        f"risk-adjusted EWMA, weight {WEIGHT:g}": ewma_watch(width),
        f"p chart, blocks of {BLOCK}": p_watch(),
        "g chart, short gaps": g_watch(),
        f"run chart, blocks of {BLOCK} (rule fixed)": run_watch(),
    }


def truth_table(count: int, seed: int = 2026) -> pd.DataFrame:
    """One row a chart: run length in control, false alarms, detection and delay."""
    calm = services(count, SESSIONS, None, seed)
    changed = services(count, SESSIONS, CHANGE, seed + 1)
    rows = []
    for place, (name, watch) in enumerate(charts(count, seed).items()):
        rng = np.random.default_rng(seed + 100 + place)
        lengths = run_lengths(watch, max(500, count // 5), seed + 50)
        false = watch(calm.event, calm.expected, rng)
        after = watch(changed.event, changed.expected, rng)[:, CHANGE:]
        seen = after.any(axis=1)
        delay = np.where(seen, after.argmax(axis=1) + 1, np.inf)
        rows.append({
            HEAD: name, "run length": lengths.mean(),
            "run length SE": lengths.std() / math.sqrt(lengths.size),
            "false alarms a service": false.sum(axis=1).mean(),
            "services with one %": 100 * false.any(axis=1).mean(),
            "detected by 300 %": 100 * seen.mean(), "median delay": float(np.median(delay)),
            "mean delay of detected": delay[seen].mean() if seen.any() else math.nan,
        })
    return pd.DataFrame(rows)


def from_zero() -> float:
    """The CUSUM's exact mean delay from a sum of zero, by Markov chain."""
    limit = cusum_limit(RISKS, weights=SHARES, odds_ratio=2, run_length=RUN_LENGTH)
    return average_run_length(RISKS, weights=SHARES, odds_ratio=2, limit=limit,
                              shift=doubled_risk(RISKS))


def as_markdown(table: pd.DataFrame) -> str:
    """The table as Markdown; a median no service reached is said so."""
    lines = ["| " + " | ".join(table.columns) + " |", "|" + "---|" * table.shape[1]]
    for row in table.itertuples(index=False):
        cells = [value if isinstance(value, str) else
                 "not within 150" if math.isinf(value) else f"{value:.2f}" if value < 10
                 else f"{value:.0f}" for value in row]
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines)


def main(count: int = 20_000) -> None:
    """Write tests/reference/monitoring_truth.md, and print it."""
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True,
                            text=True, check=False).stdout.strip()
    text = (
        f"# Charts on services of known truth\n\n{count:,} services of {SESSIONS} sessions each, "
        f"mean expected risk {100 * MEAN:.1f} %; risk doubled from session {CHANGE} on, or not at "
        f"all. Every chart set to {RUN_LENGTH:.0f} sessions in control. Delays in sessions.\n"
        f"Written {date.today().isoformat()}, commit {commit}: "
        f"`python -m tests.monitoring_truth`.\n\n"
        f"{as_markdown(truth_table(count))}\n\nThe CUSUM's exact mean delay from a sum of zero: "
        f"{from_zero():.0f} sessions. Run lengths of the run chart are cut at 6,000 sessions.\n"
    )
    (Path(__file__).parent / "reference" / "monitoring_truth.md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000)
