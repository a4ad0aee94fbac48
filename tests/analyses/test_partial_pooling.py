"""Partial pooling of small groups: where it must agree with what is known, and its table."""

from __future__ import annotations

import re

import numpy as np
import pytest
from coverage_partial_pooling import REPORT, Cell, kept
from scipy.integrate import dblquad
from scipy.special import expit
from scipy.stats import binom, norm, t

from analyses.statistics.proportions.partial_pooling import partial_pooling
from analyses.statistics.proportions.pooled_posterior import SCALE, TAILS, pooled_posterior

EVENTS, ROWS = np.array([2.0, 5.0, 0.0, 4.0, 9.0]), np.array([30.0, 40.0, 12.0, 25.0, 20.0])


def rows_of(events: np.ndarray, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    group = np.repeat(np.arange(len(rows)), rows.astype(int))
    event = np.concatenate([np.arange(int(n)) < x for x, n in zip(events, rows, strict=True)])
    return event, group


def integrated(events: np.ndarray, rows: np.ndarray, which: int) -> float:
    """The posterior mean of one group by quadrature of the model as its docstring states it.

    Each group's share is integrated out on a fine grid of its own log odds, then centre and spread.
    """
    odds = np.linspace(-9, 5, 1401)
    step = odds[1] - odds[0]
    likelihood = np.array([binom.pmf(x, n, expit(odds)) for x, n in zip(events, rows, strict=True)])
    overall = np.log(events.sum() / (rows.sum() - events.sum()))

    def both(spread: float, centre: float) -> tuple[float, float]:
        density = t.pdf((odds - overall - centre) / spread, TAILS) / spread * step
        each = likelihood @ density
        prior = norm.pdf(spread / SCALE)
        one = (likelihood[which] * density) @ expit(odds)
        return prior * each.prod(), prior * each.prod() / each[which] * one

    scale = both(0.6, 0.0)[0]
    total, first = (dblquad(lambda s, c, k=k: both(s, c)[k] / scale, -2, 2, 0.03, 3.0,
                            epsabs=1e-3, epsrel=1e-3)[0] for k in (0, 1))
    return first / total


@pytest.mark.slow
@pytest.mark.parametrize("which", [2, 4])
def test_the_grid_agrees_with_quadrature(which: int) -> None:
    """To 5 in 100: the grid stops where the tails do, and has 12 values of the spread."""
    found = pooled_posterior(EVENTS, ROWS, ROWS).means[which]
    assert found == pytest.approx(integrated(EVENTS, ROWS, which), rel=0.05)


def test_groups_that_are_alike_come_close_and_one_apart_stays_apart() -> None:
    alike = partial_pooling(*rows_of(np.full(5, 6.0), np.full(5, 60.0)), np.arange(300))
    assert {round(e.value, 6) for e in alike.groups} == {round(alike.groups[0].value, 6)}
    assert alike.groups[0].value == pytest.approx(0.1, abs=0.02)
    large = partial_pooling(*rows_of(np.array([50.0, 52, 48, 51, 400]), np.full(5, 1000.0)),
                            np.arange(5000))
    assert large.groups[4].value == pytest.approx(0.4, abs=0.01)
    assert large.groups[0].value == pytest.approx(0.05, abs=0.01)


def test_repeated_patients_make_it_less_sure() -> None:
    event, group = rows_of(EVENTS, ROWS)
    alone = partial_pooling(event, group, np.arange(len(event)))
    twice = partial_pooling(np.repeat(event, 2), np.repeat(group, 2),
                            np.repeat(np.arange(len(event)), 2))
    width = [e.high - e.low for e in alone.groups]
    assert all(e.high - e.low > 0.75 * w for e, w in zip(twice.groups, width, strict=True))


def test_the_probability_of_an_important_difference_is_that_of_its_tails() -> None:
    event, group = rows_of(EVENTS, ROWS)
    found = partial_pooling(event, group, np.arange(len(event)), important=0.05, reference=1)
    assert [e.group["group"] for e in found.differences] == [
        "0 against 1", "2 against 1", "3 against 1", "4 against 1"]
    assert found.exceeding[3].value > found.exceeding[0].value
    assert all(0 <= e.value <= 1 for e in found.exceeding)


@pytest.mark.parametrize(("groups", "events", "said"), [
    (4, 3, "4 groups of 5 or more"), (5, 1, "5 with the event and 95 without")])
def test_too_few_groups_or_events_are_told(groups: int, events: int, said: str) -> None:
    event, group = rows_of(np.full(groups, float(events)), np.full(groups, 20.0))
    found = partial_pooling(event, group, np.arange(len(event)))
    assert said in found.why and not found.estimates


def test_misuse_is_refused() -> None:
    event, group = rows_of(EVENTS, ROWS)
    patients = np.arange(len(event))
    with pytest.raises(ValueError, match="between 0 and 1"):
        partial_pooling(event, group, patients, important=5)
    with pytest.raises(ValueError, match="not a group"):
        partial_pooling(event, group, patients, reference=9)


def test_it_is_nearer_the_truth_and_covers_in_a_cell() -> None:
    assert kept(Cell(60, 0.20, "0.4", 6, "within", 0.30), 40).holds


def test_the_table_is_kept_and_every_cell_holds() -> None:
    """1,000 sets a cell; remade by the command on its first lines."""
    text = REPORT.read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if re.match(r"\| \d", line)]
    assert len(lines) == 32 and all(line.endswith("| yes |") for line in lines), text
