"""How often the intervals of kappa and AC1 hold the truth, by simulation.

Two readers, three classes; each reader names the true class with a chance, else one of the
others; one event a patient. From the project's folder, for the table in
tests/reference/coverage_agreement.md:
    python -m tests.coverage_agreement --replicates 1000
"""

from __future__ import annotations

import argparse
import datetime
import subprocess
from itertools import product
from pathlib import Path

import numpy as np

from analyses.statistics.agreement.two_readers import cohen_kappa, gwet_ac1
from analyses.statistics.arrays import Floats

CLASSES = ("no", "possibly", "yes")
SHARES = ((0.4, 0.3, 0.3), (0.8, 0.1, 0.1))
RIGHT = (0.7, 0.9)
EVENTS = (10, 15, 20, 40)
REPORT = Path(__file__).parent / "reference" / "coverage_agreement.md"


def answers(shares: tuple[float, ...], right: float) -> Floats:
    """The chance of every pair of answers: (first reader, second reader)."""
    named = np.full((3, 3), (1 - right) / 2)
    np.fill_diagonal(named, right)
    return np.asarray(sum(share * np.outer(row, row)
                          for share, row in zip(shares, named, strict=True)))


def truths(pairs: Floats) -> dict[str, float]:
    """Kappa and AC1 of the whole population of pairs."""
    first, second = pairs.sum(axis=1), pairs.sum(axis=0)
    observed, mean = np.trace(pairs), (first + second) / 2
    chances = {"kappa": first @ second, "ac1": (mean * (1 - mean)).sum() / 2}
    return {name: float((observed - chance) / (1 - chance)) for name, chance in chances.items()}


def held(pairs: Floats, events: int, rng: np.random.Generator) -> dict[str, bool | None]:
    """Whether each interval of one set holds the truth; None where there is no interval."""
    drawn = rng.choice(9, events, p=pairs.ravel())
    first, second = ([CLASSES[place] for place in part] for part in (drawn // 3, drawn % 3))
    found = {name: coefficient(first, second, range(events), classes=CLASSES)
             for name, coefficient in (("kappa", cohen_kappa), ("ac1", gwet_ac1))}
    return {name: None if e.low is None or e.high is None
            else bool(e.low <= truths(pairs)[name] <= e.high) for name, e in found.items()}


def coverage(
    shares: tuple[float, ...], right: float, events: int, replicates: int, seed: int,
) -> tuple[float, float, int, int]:
    """Coverage of kappa and of AC1, and how many sets had no interval of each."""
    rng, pairs = np.random.default_rng(seed), answers(shares, right)
    sets = [held(pairs, events, rng) for _ in range(replicates)]
    given = {name: [one[name] for one in sets if one[name] is not None]
             for name in ("kappa", "ac1")}
    return (float(np.mean(given["kappa"])), float(np.mean(given["ac1"])),
            replicates - len(given["kappa"]), replicates - len(given["ac1"]))


def main() -> None:
    """Write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--replicates", type=int, default=1000)
    count = parser.parse_args().replicates
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True,
                            text=True, check=True).stdout.strip()
    lines = [
        "# Coverage of the intervals of kappa and AC1", "",
        f"{count:,} sets a row, {datetime.date.today()}, commit {commit}; "
        "`python -m tests.coverage_agreement`.",
        "Two readers, three classes, one event a patient; sets of full agreement have no "
        "interval and are counted apart.", "",
        "| events | shares of the classes | right | kappa | AC1 | no interval: kappa | AC1 |",
        "|---:|---|---:|---:|---:|---:|---:|",
    ]
    for seed, (events, shares, right) in enumerate(product(EVENTS, SHARES, RIGHT)):
        kappa, ac1, none, neither = coverage(shares, right, events, count, seed)
        lines.append(
            f"| {events} | {', '.join(f'{100 * share:.0f} %' for share in shares)} | "
            f"{100 * right:.0f} % | {100 * kappa:.1f} % | {100 * ac1:.1f} % | {none} | {neither} |")
    REPORT.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
