"""How often a change of level is found in an interrupted series where there is none, by simulation.

Sessions in the order of time, as many a period; patients of about two sessions near each other,
their risk from a beta distribution (within-patient correlation); in some cells the risk of every
period moves as well. Rejected: the 95 % interval of the odds ratio of the level leaves 1 out.

From the project's folder, for the full table in tests/reference/series_level.md:
    python tests/coverage_series.py --replicates 1000
"""

from __future__ import annotations

import argparse
import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from truth_tables import heading

from analyses.statistics.control_charts.interrupted_series import (
    SeriesTooShort,
    interrupted_series,
)

PERIODS, SESSIONS = (12, 18, 30), (10, 20)
RISKS, CORRELATIONS = (0.05, 0.15, 0.3), (0.0, 0.3)
MOVING = 0.4
TITLE = "Change of level of a series: how often one is found that is not there"
REPORT = Path(__file__).parent / "reference" / "series_level.md"


@dataclass(frozen=True)
class Found:
    """One cell: of the sets in which a line was fitted (`series`, a share), how many rejected."""

    periods: int
    sessions: int
    risk: float
    correlation: float
    moving: float
    replicates: int
    series: float
    rejected: float


def drawn(
    rng: np.random.Generator, periods: int, sessions: int, risk: float, correlation: float,
    moving: float,
) -> np.ndarray:
    """Events of each of twice `periods` periods without any change."""
    total = 2 * periods * sessions
    place = np.repeat(np.arange(2 * periods), sessions)
    patients = total // 2
    own = np.full(patients, risk)
    if correlation:
        spread = (1 - correlation) / correlation
        own = np.clip(rng.beta(risk * spread, (1 - risk) * spread, patients), 1e-9, 1 - 1e-9)
    who = np.sort(rng.integers(0, patients, total))
    odds = np.log(own / (1 - own))[who] + moving * rng.normal(size=2 * periods)[place]
    return np.bincount(place, rng.random(total) < 1 / (1 + np.exp(-odds)), 2 * periods)


def cell(
    periods: int, sessions: int, risk: float, correlation: float, replicates: int,
    moving: float = 0.0,
) -> Found:
    """One cell, seeded by its own description so that cells do not depend on their order."""
    name = f"{periods} {sessions} {risk} {correlation} {moving}"
    rng = np.random.default_rng(zlib.crc32(name.encode()))
    fitted = rejected = 0
    for _ in range(replicates):
        events = drawn(rng, periods, sessions, risk, correlation, moving)
        try:
            level = interrupted_series(events, [sessions] * 2 * periods, periods).level
        except SeriesTooShort:
            continue
        assert level.low is not None and level.high is not None
        fitted += 1
        rejected += not level.low <= 1 <= level.high
    return Found(periods, sessions, risk, correlation, moving, replicates, fitted / replicates,
                 rejected / max(1, fitted))


def grid(replicates: int) -> list[Found]:
    """All cells."""
    plain = [cell(periods, sessions, risk, correlation, replicates) for periods in PERIODS
             for sessions in SESSIONS for risk in RISKS for correlation in CORRELATIONS]
    return plain + [cell(periods, 10, risk, 0.05, replicates, MOVING) for periods in PERIODS
                    for risk in RISKS]


def as_markdown(cells: list[Found]) -> str:
    """The table, one line a cell."""
    lines = ["| periods a side | sessions a period | risk | within-patient correlation | log odds "
             "of a period move by | fitted | rejected |", "|---:|---:|---:|---:|---:|---:|---:|"]
    lines += [f"| {c.periods} | {c.sessions} | {100 * c.risk:g} % | {c.correlation:g} | "
              f"{c.moving:g} | {100 * c.series:.1f} % | {100 * c.rejected:.1f} % |" for c in cells]
    return "\n".join(lines)


def main() -> None:
    """Run all cells and write the table with its date and commit."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--replicates", type=int, default=1_000)
    replicates = parser.parse_args().replicates
    cells = grid(replicates)
    worst = max(cells, key=lambda c: c.rejected)
    text = (
        f"{heading(TITLE, replicates, __file__)}"
        "Segmented logistic regression of the counts; rejected: the 95 % interval leaves 1 out, "
        "among the series in which a line was fitted.\n\n"
        f"{as_markdown(cells)}\n\nHighest: {100 * worst.rejected:.1f} % at {worst.periods} "
        f"periods a side of {worst.sessions} sessions, risk {100 * worst.risk:g} %.\n")
    REPORT.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
