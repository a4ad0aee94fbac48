"""Partial pooling of small groups: is it nearer the truth than the groups alone, and does it cover?

Patients with 1–5 sessions (uniform); groups of unequal size, of whole patients (between) or of
single sessions (within). The groups' true shares are drawn anew each set: all alike, from a normal
distribution of log odds of standard deviation 0.4 or 0.8, or one group, any of them, with three
times the odds. A patient's risk is from a beta distribution with its group's share as mean, at the
same quantile in every group. A set in which the method gives no answer counts as refused.

From the project's folder, for the full table in tests/reference/partial_pooling.md:
    python tests/coverage_partial_pooling.py --sets 1000
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, expit, logit
from truth_tables import floor_of, heading, rng_of

from analyses.statistics.proportions.partial_pooling import partial_pooling

Floats = NDArray[np.float64]
PATIENTS = (60, 200)
RISKS = (0.06, 0.20)
TRUTHS = ("alike", "0.4", "0.8", "one apart")
DESIGNS = ((5, "between", 0.30), (6, "within", 0.30))
"""Groups, how they lie, and the correlation within patients."""
SIZES = {5: (0.35, 0.25, 0.18, 0.12, 0.10), 6: (0.30, 0.25, 0.15, 0.12, 0.10, 0.08)}
APART = np.log(3.0)
IMPORTANT = 0.05
TARGET = 0.95
REPORT = Path(__file__).parent / "reference" / "partial_pooling.md"


@dataclass(frozen=True)
class Cell:
    """One setting: patients, overall risk, how the truths lie, groups, arms, correlation."""

    patients: int
    risk: float
    truth: str
    groups: int
    arms: str
    correlation: float


@dataclass(frozen=True)
class Kept:
    """What one cell gave; shares from 0 to 1, squared errors over those of the raw shares."""

    cell: Cell
    answered: int
    refused: int
    covered: float
    covered_difference: float
    error: float
    error_difference: float
    foretold: float
    seen: float

    @property
    def holds(self) -> bool:
        """Nearer the truth than the raw shares, and both intervals cover."""
        least = floor_of(TARGET, self.answered)
        return (self.error < 1 and self.error_difference < 1
                and min(self.covered, self.covered_difference) >= least)


def cells() -> Iterator[Cell]:
    """Every setting of the table."""
    for patients in PATIENTS:
        for risk in RISKS:
            for truth in TRUTHS:
                for groups, arms, correlation in DESIGNS:
                    yield Cell(patients, risk, truth, groups, arms, correlation)


def true_shares(cell: Cell, rng: np.random.Generator) -> Floats:
    """(groups,) the true share of each group in one set."""
    moved = np.zeros(cell.groups)
    if cell.truth == "one apart":
        moved[rng.integers(cell.groups)] = APART
    elif cell.truth != "alike":
        moved = float(cell.truth) * rng.normal(size=cell.groups)
    found: Floats = expit(logit(cell.risk) + moved)
    return found


def drawn(cell: Cell, shares: Floats, rng: np.random.Generator) -> tuple[NDArray[np.bool_], ...]:
    """Outcome, group and patient of each session."""
    patient = np.repeat(np.arange(cell.patients), rng.integers(1, 6, cell.patients))
    sizes = SIZES[cell.groups]
    if cell.arms == "between":
        group = rng.choice(cell.groups, cell.patients, p=sizes)[patient]
    else:
        group = rng.choice(cell.groups, len(patient), p=sizes)
    quantile, share = rng.random(cell.patients)[patient], shares[group]
    worth = 1 / cell.correlation - 1
    risk = betaincinv(share * worth, (1 - share) * worth, quantile)
    return rng.random(len(patient)) < risk, group, patient


def kept(cell: Cell, sets: int) -> Kept:
    """Run one cell: groups of each set that are large enough, and one difference of it."""
    rng = rng_of(cell)
    inside: list[float] = []
    across: list[bool] = []
    errors: list[tuple[float, float]] = []
    gaps: list[tuple[float, float]] = []
    told: list[tuple[float, bool]] = []
    refused = 0
    for _ in range(sets):
        shares = true_shares(cell, rng)
        event, group, patient = drawn(cell, shares, rng)
        found = partial_pooling(event, group, patient, important=IMPORTANT)
        if found.why:
            refused += 1
            continue
        names = [int((e.group or {})["group"]) for e in found.groups]
        truth, value = shares[names], np.array([e.value for e in found.groups])
        raw = np.array([e.events / e.n for e in found.groups])
        inside.append(float(np.mean([e.low <= true <= e.high for e, true in
                                     zip(found.groups, truth, strict=True)])))
        errors.append((((value - truth) ** 2).sum(), ((raw - truth) ** 2).sum()))
        for e, beyond in zip(found.differences, found.exceeding, strict=True):
            one, two = ((e.group or {})["group"]).split(" against ")
            gap = shares[int(one)] - shares[int(two)]
            seen = raw[names.index(int(one))] - raw[names.index(int(two))]
            across.append(e.low <= gap <= e.high)
            gaps.append(((e.value - gap) ** 2, (seen - gap) ** 2))
            told.append((beyond.value, abs(gap) > IMPORTANT))
    ratio, ratio_of_gaps = (np.sum(each, axis=0) for each in (errors, gaps))
    foretold, seen_beyond = np.mean(told, axis=0)
    return Kept(cell, len(inside), refused, float(np.mean(inside)), float(np.mean(across)),
                float(ratio[0] / ratio[1]), float(ratio_of_gaps[0] / ratio_of_gaps[1]),
                float(foretold), float(seen_beyond))


def all_kept(sets: int) -> list[Kept]:
    """Every cell, one after another on each core."""
    from joblib import Parallel, delayed

    return list(Parallel(n_jobs=-1)(delayed(kept)(cell, sets) for cell in cells()))


def as_markdown(found: list[Kept]) -> str:
    """A line a cell."""
    lines = ["| patients | risk | truths | groups | arms | correlation | refused | groups covered "
             "| differences covered | squared error, groups | differences | "
             "foretold beyond 5 points | truly beyond | holds |",
             "|---:|---:|---|---:|---|---:|---:|---:|---:|---:|---:|---:|---:|---|"]
    for one in found:
        c = one.cell
        lines.append(
            f"| {c.patients} | {100 * c.risk:.0f} % | {c.truth} | {c.groups} | {c.arms} | "
            f"{c.correlation:g} | {one.refused} | {100 * one.covered:.1f} % | "
            f"{100 * one.covered_difference:.1f} % | {one.error:.2f} | "
            f"{one.error_difference:.2f} | {100 * one.foretold:.0f} % | {100 * one.seen:.0f} % | "
            f"{'yes' if one.holds else 'no'} |")
    return "\n".join(lines)


def main() -> None:
    """Run all and write the table with its date and commit."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--sets", type=int, default=1000)
    sets = parser.parse_args().sets
    found = all_kept(sets)
    REPORT.write_text(
        heading("Partial pooling of small groups", sets, __file__) +
        "\nCoverage of 95 % intervals, averaged over the groups (and differences) of the sets "
        "answered; squared errors over those of the raw shares, below 1 is nearer the truth; "
        f"probability of a difference beyond {100 * IMPORTANT:.0f} points as foretold, and how "
        "often it was so. Holds: both errors below 1, both coverages at least 95 % less 3 Monte "
        f"Carlo errors of the sets answered.\n\n{as_markdown(found)}\n", encoding="utf-8")
    print(REPORT.read_text(encoding="utf-8"))


if __name__ == "__main__":
    main()
