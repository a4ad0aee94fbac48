"""How often the clustered interval of a proportion covers the truth, by simulation.

Sessions a patient: 1-5 (uniform), geometric, or 1-3 and one patient with 30; a risk a patient from
a beta distribution, so that the sessions of a patient are correlated (beta-binomial).
`simulate_cell` and `coverage` can be used with any generator of totals by patient.

From the project's folder, for the full table in tests/reference/coverage_clustered.md:
    python tests/coverage_clustered.py --replicates 20000
"""

from __future__ import annotations

import argparse
import datetime
import subprocess
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analyses.statistics.proportions.clusters import korn_graubard, shrunken
from analyses.statistics.proportions.intervals import clopper_pearson

Floats = NDArray[np.float64]
PATIENTS = (26, 40, 120, 300)
RISKS = (0.01, 0.03, 0.10, 0.50)
ONE_TO_FIVE, GEOMETRIC, ONE_WITH_30 = "1–5", "geometric", "1–3, one with 30"
DESIGNS = (ONE_TO_FIVE, GEOMETRIC, ONE_WITH_30)
CORRELATIONS = (0.05, 0.30, 0.60)
MOST_SESSIONS = 5
TARGET = 0.94
CHUNK = 1_000_000
FOUND = ("clustered", "korn_graubard", "ignoring", "width", "width_korn_graubard")
REPORT = Path(__file__).parent / "reference" / "coverage_clustered.md"


@dataclass(frozen=True)
class Covered:
    """One cell's result; shares from 0 to 1, width in the same."""

    patients: int
    risk: float
    correlation: float
    replicates: int
    clustered: float
    korn_graubard: float
    ignoring: float
    width: float
    width_korn_graubard: float
    no_events: float
    design: str = ONE_TO_FIVE

    @property
    def floor(self) -> float:
        """94 % less three Monte Carlo standard errors."""
        return TARGET - 3 * float(np.sqrt(TARGET * (1 - TARGET) / self.replicates))


def sessions_of(
    rng: np.random.Generator, replicates: int, patients: int, design: str
) -> NDArray[np.int64]:
    """Sessions of each patient, (replicates, patients)."""
    size = (replicates, patients)
    if design == GEOMETRIC:
        return np.minimum(rng.geometric(0.5, size=size), 8)
    if design == ONE_WITH_30:
        found = rng.integers(1, 4, size=size)
        found[:, 0] = 30
        return found
    return rng.integers(1, MOST_SESSIONS + 1, size=size)


def simulate_cell(
    rng: np.random.Generator, replicates: int, patients: int, risk: float, correlation: float,
    design: str = ONE_TO_FIVE,
) -> tuple[Floats, Floats]:
    """Events and rows by patient, both of shape (replicates, patients)."""
    sessions = sessions_of(rng, replicates, patients, design)
    spread = (1 - correlation) / correlation
    own = rng.beta(risk * spread, (1 - risk) * spread, size=(replicates, patients))
    return rng.binomial(sessions, own).astype(float), sessions.astype(float)


def coverage(
    draw: Callable[[int], tuple[Floats, Floats]], truth: float, replicates: int, chunk: int
) -> dict[str, float]:
    """Coverage of the clustered intervals and of the one that ignores the patient.

    draw(k) gives events and rows by patient for k replicates.
    """
    sums, done = dict.fromkeys((*FOUND, "no_events"), 0.0), 0
    while done < replicates:
        events, rows = draw(min(chunk, replicates - done))
        for name, method in (("", shrunken), ("_korn_graubard", korn_graubard)):
            limits = method(events, rows)
            # One patient with both outcomes gives no interval, which counts as covering.
            low, high = np.nan_to_num(limits.low, nan=0.0), np.nan_to_num(limits.high, nan=1.0)
            sums[name[1:] or "clustered"] += float(((low <= truth) & (truth <= high)).sum())
            sums[f"width{name}"] += float((high - low).sum())
        plain = clopper_pearson(events.sum(axis=1), rows.sum(axis=1))
        sums["ignoring"] += float(((plain[0] <= truth) & (truth <= plain[1])).sum())
        sums["no_events"] += float((events.sum(axis=1) == 0).sum())
        done += len(events)
    return {name: total / done for name, total in sums.items()}


def cell(
    patients: int, risk: float, correlation: float, replicates: int, design: str = ONE_TO_FIVE,
) -> Covered:
    """One cell, seeded by its own description so that cells do not depend on their order."""
    name = f"{patients} {risk} {correlation} {design}"
    rng = np.random.default_rng(zlib.crc32(name.encode()))
    found = coverage(
        lambda k: simulate_cell(rng, k, patients, risk, correlation, design), risk, replicates,
        chunk=max(1, CHUNK // patients),
    )
    return Covered(patients, risk, correlation, replicates, **found, design=design)


def grid(replicates: int) -> list[Covered]:
    """All cells."""
    return [
        cell(patients, risk, correlation, replicates, design)
        for design in DESIGNS for patients in PATIENTS
        for risk in RISKS for correlation in CORRELATIONS
    ]


def as_markdown(cells: list[Covered]) -> str:
    """The table, one line a cell."""
    lines = [
        "| sessions | patients | risk | within-patient correlation | coverage | Korn–Graubard | "
        "patient ignored | mean width | Korn–Graubard | no events |",
        "|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|",
    ]
    lines += [
        f"| {c.design} | {c.patients} | {100 * c.risk:g} % | {c.correlation:g} | "
        f"{100 * c.clustered:.2f} % | {100 * c.korn_graubard:.2f} % | {100 * c.ignoring:.2f} % | "
        f"{100 * c.width:.2f} points | {100 * c.width_korn_graubard:.2f} points | "
        f"{100 * c.no_events:.1f} % |"
        for c in cells
    ]
    return "\n".join(lines)


def main() -> None:
    """Run all cells and write the table with its date and commit."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--replicates", type=int, default=20_000)
    replicates = parser.parse_args().replicates
    cells = grid(replicates)
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=True,
        cwd=REPORT.parent,
    ).stdout.strip()
    lowest = min(cells, key=lambda c: c.clustered)
    error = 100 * np.sqrt(TARGET * (1 - TARGET) / replicates)
    text = (
        "# Coverage of the clustered 95 % interval\n\n"
        f"{replicates:,} replicates a cell, {datetime.date.today().isoformat()}, commit {commit}; "
        "`python tests/coverage_clustered.py`.\n"
        "Beta-binomial patients; the first interval is that of the shrunken within-patient "
        "correlation (the default). Monte Carlo standard error at "
        f"94 %: {error:.2f} points.\n\n"
        f"{as_markdown(cells)}\n\n"
        f"Lowest: {100 * lowest.clustered:.2f} % at {lowest.patients} patients ({lowest.design}), "
        f"risk {100 * lowest.risk:g} %, correlation {lowest.correlation:g}; of Korn–Graubard "
        f"{100 * min(c.korn_graubard for c in cells):.2f} %. With few events in few patients the "
        "exact binomial steps make most cells conservative.\n"
    )
    REPORT.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
