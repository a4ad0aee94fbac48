"""A CUSUM's limit from a baseline that was only estimated, and what it promises."""

from __future__ import annotations

import guaranteed_limits
import numpy as np
import pytest
from exact_cusum import signal_probability
from guaranteed_limits import outcomes, patients_in_order, signalled
from truth_tables import ceiling_of, floor_of

from analyses.statistics.control_charts.cusum_design import (
    PROMISED,
    SURE,
    BaselineTooSmall,
    design_cusum,
)
from analyses.statistics.control_charts.planned_period import (
    log_shifts,
    lowest_limit,
    planned_period,
    share_reaching,
)


def baseline(events: int, sessions: int = 150) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Expected risks, outcomes spread over the time, and two sessions a patient."""
    happened = np.zeros(sessions)
    happened[np.linspace(0, sessions - 1, events).astype(int)] = 1
    return np.full(sessions, events / sessions), happened, np.arange(sessions) // 2


def test_the_limit_is_the_smallest_that_the_allowed_share_reaches() -> None:
    highest = np.array([1.0, 2, 2, 3, 4, 5, 5, 6, 7, 8])
    assert lowest_limit(highest, 0.2) == 7 and share_reaching(highest, 7) == 0.2
    assert lowest_limit(highest, 0.3) == 6
    assert share_reaching(highest, lowest_limit(highest, 0.0)) == 0


def test_without_correlation_the_simulated_chance_is_that_of_the_markov_chain() -> None:
    risk = np.tile([0.03, 0.06, 0.12], 50)
    period = planned_period(risk, np.arange(150), 120, 0.0)
    ours = share_reaching(period.highest_sums(2.0, 1.0), 2.5)
    exact = signal_probability(risk, odds_ratio=2, limit=2.5, trials=120)
    assert ours == pytest.approx(exact, abs=3 * np.sqrt(exact * (1 - exact) / len(period.place)))


def test_sessions_of_one_patient_correlate_as_asked_and_keep_their_distance() -> None:
    period = planned_period(np.full(40, 0.2), np.repeat(np.arange(20), 2), 40, 0.3)
    start = period.place[:, 0] % 2 == 0  # Periods that begin with a patient's first session.
    event = (period.draw < 0.2)[start].astype(float)
    same = np.corrcoef(event[:, 0::2].ravel(), event[:, 1::2].ravel())[0, 1]
    other = np.corrcoef(event[:, 1:-1:2].ravel(), event[:, 2::2].ravel())[0, 1]
    assert same == pytest.approx(0.3, abs=0.02) and other == pytest.approx(0.0, abs=0.02)


def test_a_ratio_moves_the_mean_risk_by_it() -> None:
    risk = np.array([0.02, 0.05, 0.3])
    odds = np.exp(log_shifts(risk, 1.7)) * risk / (1 - risk)
    assert (odds / (1 + odds)).mean() == pytest.approx(1.7 * risk.mean(), rel=1e-3)


def test_fewer_baseline_events_need_a_higher_limit_and_see_less() -> None:
    few, many = (design_cusum(*baseline(events, sessions), odds_ratio=2, trials=150)
                 for events, sessions in ((8, 100), (32, 400)))
    assert few.limit > many.limit and few.seen.value < many.seen.value
    assert few.guarded.value > many.guarded.value > 1


def test_more_planned_sessions_need_a_higher_limit() -> None:
    short, long = (design_cusum(*baseline(12), odds_ratio=0.5, trials=n).limit
                   for n in (60, 240))
    assert long > short


def test_the_same_baseline_gives_the_same_limit() -> None:
    assert design_cusum(*baseline(12), odds_ratio=2, trials=90) == design_cusum(
        *baseline(12), odds_ratio=2, trials=90)


@pytest.mark.parametrize("events", [0, 1, 4])
def test_no_limit_from_a_handful_of_events(events: int) -> None:
    expected, happened, patient = baseline(events)
    with pytest.raises(BaselineTooSmall, match=f"{events} events in 150 baseline sessions"):
        design_cusum(np.full(150, 0.02), happened, patient, odds_ratio=2, trials=100,
                     unit="session")


def test_the_promise_holds_in_nine_of_ten_services_at_100_sessions() -> None:
    found = guaranteed_limits.cell(100, 0.3, 12)
    assert found.watched >= 5
    assert min(found.held) >= floor_of(SURE, found.services)
    assert all(false <= ceiling_of(printed, found.watched)
               for false, printed in zip(found.false, found.printed, strict=True))
    assert max(found.false) < PROMISED and found.tripled > found.doubled > found.false[0]


@pytest.mark.slow
def test_200_unchanged_services_give_the_false_signals_printed_beforehand() -> None:
    """One future each, no chance worked out: the services themselves are counted."""
    rng = np.random.default_rng(13)
    false, printed, watched = np.zeros(2), np.zeros(2), 0
    while watched < 200:
        patient, future = patients_in_order(rng, 150), patients_in_order(rng, 150)
        event = outcomes(rng, patient, 0.08, 0.3, 1)[0].astype(float)
        if event.sum() < 5:
            continue
        watched += 1
        later = outcomes(rng, future, 0.08, 0.3, 1)
        for side, ratio in enumerate((2.0, 0.5)):
            design = design_cusum(np.full(150, event.mean()), event, patient, odds_ratio=ratio,
                                  trials=150)
            false[side] += signalled(later, float(event.mean()), ratio, design.limit)
            printed[side] += design.false_signal.value or 0
    for side in (0, 1):
        assert false[side] / 200 <= ceiling_of(printed[side] / 200, 200)
        assert false[side] / 200 <= ceiling_of(PROMISED, 200)


@pytest.mark.slow
def test_the_promise_holds_in_every_cell() -> None:
    for row in guaranteed_limits.grid(400):
        assert min(row.held) >= floor_of(SURE, row.services), row
        assert all(false <= ceiling_of(printed, row.watched)
                   for false, printed in zip(row.false, row.printed, strict=True)), row
