"""Scores, run lengths and limits of the risk-adjusted CUSUM."""

from __future__ import annotations

import math

import numpy as np
import pytest
from exact_cusum import common_shift, doubled_risk, signal_probability
from reference_runs import recorded

from analyses.statistics.control_charts.cusum import risk_adjusted_cusum
from analyses.statistics.control_charts.cusum_scores import cusum_scores
from analyses.statistics.control_charts.run_length import (
    average_run_length,
    cusum_limit,
)

CHAIN = recorded("monitoring_charts")["chain"]
GRADES = np.array([0.02, 0.04, 0.06, 0.10, 0.15])


def spread_risks(count: int = 300) -> np.ndarray:
    """Risks as a service has them: most low, some high."""
    return 1 / (1 + np.exp(-np.random.default_rng(1).normal(-2.8, 0.7, count)))


def simulated_run_lengths(
    risks: np.ndarray, odds_ratio: float, limit: float, runs: int, seed: int, shift: float = 1.0
) -> np.ndarray:
    """Run lengths of `runs` CUSUMs, each session's risk drawn from the mix."""
    rng = np.random.default_rng(seed)
    event, none = cusum_scores(risks, odds_ratio)
    actual = shift * risks / (1 - risks + shift * risks)
    total, length, alive = np.zeros(runs), np.zeros(runs), np.arange(runs)
    step = 0
    while alive.size:
        step += 1
        pick = rng.integers(0, risks.size, alive.size)
        score = np.where(rng.random(alive.size) < actual[pick], event[pick], none[pick])
        total[alive] = np.maximum(0, total[alive] + score)
        done = total[alive] >= limit
        length[alive[done]] = step
        alive = alive[~done]
    return length


def test_scores_follow_steiners_formula() -> None:
    # Steiner and others 2000, Biostatistics 1:441.
    event, none = cusum_scores(0.10, 2)
    assert event == pytest.approx(0.5978, abs=5e-5)
    assert none == pytest.approx(-0.0953, abs=5e-5)


def test_scores_of_steiners_cardiac_example() -> None:
    # The published example, page 446: logit risk = −3.68 + 0.077·Parsonnet score. Its scores for
    # Parsonnet 0 and 50 and odds ratio 2, 0.67 and −0.024, 0.26 and −0.43, are from memory.
    for parsonnet, printed in ((0, (0.67, -0.024)), (50, (0.26, -0.43))):
        risk = 1 / (1 + math.exp(3.68 - 0.077 * parsonnet))
        event, none = cusum_scores(risk, 2)
        assert round(event, 2) == printed[0]
        assert round(none, 3 if parsonnet == 0 else 2) == printed[1]


def test_run_length_of_a_single_risk_is_the_converged_one() -> None:
    # Brook and Evans chain on a rational lattice; 20,000 simulated runs gave 6,064 (SE 43).
    assert average_run_length(0.066, odds_ratio=2, limit=4.5) == pytest.approx(6051.05, rel=1e-5)


def test_run_length_agrees_with_a_dense_chain_in_base_r() -> None:
    risk = CHAIN["risk"]
    for limit, in_control, doubled in zip(
        CHAIN["limits"], CHAIN["in_control"], CHAIN["doubled"], strict=True
    ):
        chart = {"odds_ratio": 2, "limit": limit}
        assert average_run_length(risk, **chart) == pytest.approx(in_control, rel=1e-8)
        then = average_run_length(risk, **chart, shift=doubled_risk(risk))
        assert then == pytest.approx(doubled, rel=1e-8)


def test_two_close_risks_give_the_run_length_of_the_one_between() -> None:
    # The several-risk method against the single-risk one, which share no grid.
    pair = average_run_length([0.0655, 0.0665], odds_ratio=2, limit=4.5)
    assert pair == pytest.approx(6051.05, rel=0.004)


@pytest.mark.parametrize(("odds_ratio", "limit", "shift"), [(2, 2.2, 1), (2, 4.0, 2), (0.5, 2, 1)])
def test_mixed_risks_agree_with_simulation(odds_ratio: float, limit: float, shift: float) -> None:
    for risks in (GRADES, spread_risks()):
        runs = simulated_run_lengths(risks, odds_ratio, limit, 4000, 7, shift)
        error = runs.std() / math.sqrt(runs.size)
        ours = average_run_length(risks, odds_ratio=odds_ratio, limit=limit, shift=shift)
        assert abs(ours - runs.mean()) < 3 * error


@pytest.mark.slow
@pytest.mark.parametrize("odds_ratio", [2, 0.5])
def test_mixed_risks_agree_with_twenty_thousand_simulated_runs(odds_ratio: float) -> None:
    for risks in (GRADES, spread_risks()):
        limit = cusum_limit(risks, odds_ratio=odds_ratio, run_length=1000)
        runs = simulated_run_lengths(risks, odds_ratio, limit, 20_000, 11)
        assert abs(runs.mean() - 1000) < 3 * runs.std() / math.sqrt(runs.size)


def test_weights_are_how_often_each_risk_occurs() -> None:
    chart = {"odds_ratio": 2, "limit": 3.0}
    weighted = average_run_length([0.03, 0.12], weights=[3, 1], **chart)
    repeated = average_run_length([0.03, 0.03, 0.03, 0.12], **chart)
    assert weighted == pytest.approx(repeated, rel=1e-12)


@pytest.mark.parametrize("run_length", [100, 1000, 20_000])
@pytest.mark.parametrize("odds_ratio", [2, 0.5, 3])
def test_the_limit_gives_back_the_run_length(odds_ratio: float, run_length: float) -> None:
    for risks in (GRADES, spread_risks()):
        limit = cusum_limit(risks, odds_ratio=odds_ratio, run_length=run_length)
        found = average_run_length(risks, odds_ratio=odds_ratio, limit=limit)
        assert found == pytest.approx(run_length, rel=1e-5)


def test_with_one_risk_the_limit_is_the_smallest_that_keeps_the_promise() -> None:
    limit = cusum_limit(0.066, odds_ratio=2, run_length=1000)
    assert average_run_length(0.066, odds_ratio=2, limit=limit) >= 1000
    assert average_run_length(0.066, odds_ratio=2, limit=limit - 0.01) < 1000


def test_the_chance_of_a_signal_agrees_with_simulation() -> None:
    runs = simulated_run_lengths(GRADES, 2, 3.0, 4000, 3, 2.0)
    ours = signal_probability(GRADES, odds_ratio=2, limit=3.0, trials=60, shift=2.0)
    share = (runs <= 60).mean()
    assert abs(ours - share) < 3 * math.sqrt(share * (1 - share) / runs.size)


def test_doubled_risk_doubles_each_risk() -> None:
    moved = GRADES * doubled_risk(GRADES) / (1 - GRADES + GRADES * doubled_risk(GRADES))
    assert moved == pytest.approx(2 * GRADES)
    shift = common_shift(GRADES, 1.5)
    assert (shift * GRADES / (1 - GRADES + shift * GRADES)).mean() == pytest.approx(
        1.5 * GRADES.mean())


@pytest.mark.parametrize(("risk", "then"), [
    (0.4, 0.8), (0.49, 0.98), (0.495, 0.99), (0.6, 0.99), (0.98, 0.99), (0.995, 0.995),
])
def test_a_doubled_risk_is_held_at_99_in_100_and_never_falls(risk: float, then: float) -> None:
    shift = doubled_risk(risk)[0]
    assert shift * risk / (1 - risk + shift * risk) == pytest.approx(then)


def test_cusum_restarts_after_a_signal_and_never_falls_below_zero() -> None:
    cusum = risk_adjusted_cusum([1, 1, 1, 0, 1, 1], [0.1] * 6, odds_ratio=2, limit=1.7)
    assert cusum.table["signal"].tolist() == [False, False, True, False, False, False]
    assert cusum.table["reset"].tolist() == [False, False, False, True, False, False]
    assert cusum.table["value"].tolist() == pytest.approx(
        [0.59784, 1.19567, 1.79351, 0, 0.59784, 1.19567], abs=1e-5)


def test_a_limit_from_the_lattice_is_met_by_the_running_sum() -> None:
    # Seven events in a row: the sum must reach a limit set at exactly seven scores.
    event, _ = cusum_scores(0.1, 2)
    cusum = risk_adjusted_cusum([1] * 7, [0.1] * 7, odds_ratio=2, limit=7 * event)
    assert cusum.signals["label"].tolist() == [7]


def test_a_run_length_without_end_is_infinite() -> None:
    assert average_run_length(spread_risks(), odds_ratio=0.5, limit=9.5, shift=3) == math.inf


@pytest.mark.parametrize(("call", "said"), [
    (lambda: cusum_scores(6.6, 2), "not a per cent"),
    (lambda: cusum_scores(0.1, 1), "not 1"),
    (lambda: average_run_length(0.1, odds_ratio=2, limit=0), "above 0"),
    (lambda: cusum_limit(0.1, odds_ratio=2, run_length=1), "from 2"),
    (lambda: risk_adjusted_cusum([2], [0.1], odds_ratio=2, limit=3), "0 or 1"),
    (lambda: average_run_length([0.1, 0.2], odds_ratio=2, limit=3, weights=[0, 0]), "not all 0"),
])
def test_bad_input_is_told_in_words(call: object, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()  # type: ignore[operator]
