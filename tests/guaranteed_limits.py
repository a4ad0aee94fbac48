"""What a CUSUM with a limit from an estimated baseline gives in services of known truth.

Fictional services of one risk, patients with one to five sessions that lie among those of others,
outcomes correlated within the patient (beta-binomial: not the way the limit's own simulation
draws them). Each service's limit comes from its own baseline; its chance of a signal in the
planned period is then found on 600 futures of its own. Beside it the bootstrap of Gandy and
Kvaløy 2013, resampling whole patients.

Run as a program it writes tests/reference/guaranteed_limits.md with the date and the commit:
    python tests/guaranteed_limits.py --services 2000
"""

from __future__ import annotations

import argparse
import zlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from truth_tables import heading

from analyses.statistics.control_charts.cusum_design import (
    FEWEST_EVENTS,
    PROMISED,
    SURE,
    CusumDesign,
    design_cusum,
)
from analyses.statistics.control_charts.cusum_scores import cusum_scores
from analyses.statistics.control_charts.planned_period import lowest_limit, planned_period

REPORT = Path(__file__).parent / "reference" / "guaranteed_limits.md"
TITLE = "Limits from an estimated baseline"
BASELINES, CORRELATIONS = (60, 100, 200, 300), (0.05, 0.3)
RISK, PLANNED, FUTURES, RESAMPLES = 0.08, 150, 600, 300
SIZES = (0.35, 0.30, 0.20, 0.10, 0.05)
TRUTHS = {"unchanged": 1.0, "doubled": 2.0, "tripled": 3.0, "halved": 0.5}


@dataclass(frozen=True)
class Row:
    """One cell: shares from 0 to 1. held, bootstrap_held, false, printed: worse and better."""

    baseline: int
    correlation: float
    services: int
    watched: int
    held: tuple[float, float]
    bootstrap_held: tuple[float, float]
    false: tuple[float, float]
    printed: tuple[float, float]
    doubled: float
    tripled: float
    halved: float


def patients_in_order(rng: np.random.Generator, sessions: int) -> np.ndarray:
    """Patient codes of `sessions` sessions in order of time, a patient's some way apart."""
    people = 3 * sessions
    size = rng.choice(5, people, p=SIZES) + 1
    owner = np.repeat(np.arange(people), size)
    first = np.repeat(rng.uniform(0, 3 * sessions, people), size)
    nth = np.arange(owner.size) - np.repeat(np.cumsum(size) - size, size)
    order = np.argsort(first + nth * rng.exponential(6.0, owner.size), kind="stable")
    kept = owner[order][owner.size // 3:][:sessions]
    return np.unique(kept, return_inverse=True)[1]


def outcomes(
    rng: np.random.Generator, patient: np.ndarray, risk: float, correlation: float, count: int,
) -> np.ndarray:
    """(count, sessions) outcomes, each patient with a risk of their own (beta)."""
    spread = (1 - correlation) / correlation
    own = rng.beta(risk * spread, (1 - risk) * spread, (count, int(patient.max()) + 1))
    return rng.random((count, patient.size)) < own[:, patient]


def signalled(event: np.ndarray, expected: float, odds_ratio: float, limit: float) -> float:
    """The share of these futures in which the CUSUM signals."""
    high, none = cusum_scores(expected, odds_ratio)
    total, seen = np.zeros(len(event)), np.zeros(len(event), bool)
    for now in event.T:
        total = np.maximum(0.0, total + np.where(now, high, none))
        seen |= total >= limit - 1e-9
    return float(seen.mean())


def bootstrap_limit(
    rng: np.random.Generator, event: np.ndarray, patient: np.ndarray, design: CusumDesign,
) -> float:
    """The limit by resampled patients: what the baseline's risk is to that of the resamples."""
    each, rows = np.bincount(patient, weights=event), np.bincount(patient).astype(float)
    pick = rng.integers(0, rows.size, (RESAMPLES, rows.size))
    drawn = each[pick].sum(axis=1) / rows[pick].sum(axis=1)
    share = event.mean()
    end = np.quantile(drawn, 1 - SURE if design.odds_ratio > 1 else SURE)
    ratio = share / max(end, 0.5 / event.size)
    period = planned_period(np.full(event.size, share), patient, PLANNED, design.correlation)
    return lowest_limit(period.highest_sums(design.odds_ratio, ratio), PROMISED)


def cell(baseline: int, correlation: float, services: int) -> Row:
    """One cell, seeded by its own description so that cells do not depend on their order."""
    rng = np.random.default_rng(zlib.crc32(f"{baseline} {correlation}".encode()))
    found: list[list[float]] = []
    for _ in range(services):
        patient = patients_in_order(rng, baseline)
        event = outcomes(rng, patient, RISK, correlation, 1)[0].astype(float)
        if event.sum() < FEWEST_EVENTS:
            continue
        future = patients_in_order(rng, PLANNED)
        futures = {name: outcomes(rng, future, times * RISK, correlation, FUTURES)
                   for name, times in TRUTHS.items()}
        share = float(event.mean())
        worse, better = (design_cusum(np.full(baseline, share), event, patient, odds_ratio=ratio,
                                      trials=PLANNED) for ratio in (2.0, 0.5))
        both = [signalled(futures["unchanged"], share, d.odds_ratio, d.limit)
                for d in (worse, better)]
        by_bootstrap = [
            signalled(futures["unchanged"], share, d.odds_ratio,
                      bootstrap_limit(rng, event, patient, d)) for d in (worse, better)]
        found.append([
            *(chance <= PROMISED for chance in both),
            *(chance <= PROMISED for chance in by_bootstrap), *both,
            float(worse.false_signal.value or 0), float(better.false_signal.value or 0),
            signalled(futures["doubled"], share, 2.0, worse.limit),
            signalled(futures["tripled"], share, 2.0, worse.limit),
            signalled(futures["halved"], share, 0.5, better.limit)])
    mean = np.mean(found, axis=0) if found else np.full(11, np.nan)
    # A service without a limit gives no signal, false or not.
    mean[:4] = 1 - (1 - mean[:4]) * len(found) / services
    pairs = [(float(mean[k]), float(mean[k + 1])) for k in (0, 2, 4, 6)]
    return Row(baseline, correlation, services, len(found), *pairs, *map(float, mean[8:]))


def grid(services: int) -> list[Row]:
    """All cells, the services shared out evenly."""
    each = services // (len(BASELINES) * len(CORRELATIONS))
    return [cell(baseline, correlation, each)
            for baseline in BASELINES for correlation in CORRELATIONS]


def as_markdown(rows: list[Row]) -> str:
    """The table, one line a cell."""
    head = ("baseline sessions", "within-patient correlation", "services",
            f"with {FEWEST_EVENTS} events or more", "promise held, worse", "better",
            "bootstrap held, worse", "better", "false worse", "printed", "false better",
            "printed", "doubled seen", "tripled seen", "halved seen")
    lines = ["| " + " | ".join(head) + " |", "|" + "---:|" * len(head)]
    for r in rows:
        shares = (*r.held, *r.bootstrap_held, r.false[0], r.printed[0], r.false[1],
                  r.printed[1], r.doubled, r.tripled, r.halved)
        lines.append(f"| {r.baseline} | {r.correlation:g} | {r.services} | {r.watched} | "
                     + " | ".join(f"{100 * s:.1f} %" for s in shares) + " |")
    return "\n".join(lines)


def main() -> None:
    """Run all cells and write the table with its date and commit."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--services", type=int, default=2000)
    services = parser.parse_args().services
    text = (
        f"{heading(TITLE, services // 8, __file__)}"
        f"Risk {100 * RISK:g} %, {PLANNED} sessions planned, at most {100 * PROMISED:g} % of "
        f"periods with a false signal promised in {100 * SURE:g} % of services, in each "
        "direction. Held: the share of services whose own chance of a false signal is no higher; "
        "one with too few events gets no limit and gives no signal. Of those with a limit: false, "
        "printed, the mean chance of a false signal, true and as printed beforehand (“up to”); "
        "seen, the mean chance of a signal in the period once the risk is changed for good.\n\n"
        f"{as_markdown(grid(services))}\n")
    REPORT.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
