"""Figures say what they show: numbers, units, denominators, nothing cut off."""

import numpy as np
import pytest
from clustered_data import Cell, as_frame, draw

from analyses.figures.model_figures import (
    Imputed,
    balance_plot,
    imputed_panels,
    partial_effect,
)
from analyses.statistics.regression.fitting import fit
from analyses.statistics.regression.imputation import impute
from analyses.statistics.regression.propensity import compare_weighted
from analyses.statistics.regression.standardisation import effect_curve


@pytest.fixture(scope="module")
def data():
    cell = Cell(150, 0.1, 2.0, 0.2, "continuous session")
    return as_frame(*draw(cell, np.random.default_rng(51)))


@pytest.fixture(scope="module")
def model(data):
    return fit(data, "event", ["exposure", "sm_grade", "ruptured"], cluster="patient_id")


def words(figure):
    import matplotlib.text

    return [text.get_text() for text in figure.findobj(matplotlib.text.Text) if text.get_text()]


def inside(figure):
    """Whether everything drawn lies within the figure."""
    figure.canvas.draw()
    box, frame = figure.get_tightbbox(), figure.bbox_inches
    return (box.x0 > -0.02 and box.y0 > -0.02 and box.x1 < frame.x1 + 0.02
            and box.y1 < frame.y1 + 0.02)


def test_a_partial_effect_shows_where_the_data_lie(data, model):
    curve = effect_curve(model, "exposure", np.linspace(-2, 2, 9))
    figure = partial_effect(curve, data["exposure"], data["event"], label="agent, mL",
                            outcome="a complication")
    told = words(figure)
    assert f"agent, mL; {len(data)} sessions" in told
    assert "risk of a complication (%)" in told
    assert f"sessions with the event ({data['event'].sum()})" in told
    assert inside(figure)


@pytest.mark.parametrize("column", ["exposure", "agent"])
def test_imputed_values_stand_against_recorded_ones(data, column):
    rng = np.random.default_rng(1)
    gaps = data.assign(agent=rng.choice(["EVOH 6 %", "EVOH 8 %"], len(data)))
    gaps.loc[gaps.index[::4], column] = np.nan if column == "exposure" else None
    found = impute(gaps, ["exposure", "agent"], "event", cluster="patient_id", times=3)
    figure = imputed_panels([Imputed(found.frames, found.gaps, column, column)], 6.4)
    assert f"{found.gaps[column].sum()} of {len(data)} imputed" in words(figure)
    assert inside(figure)


def test_balance_is_drawn_before_and_after(data):
    treated = np.random.default_rng(2).random(len(data)) < 1 / (1 + np.exp(-data["sm_grade"]))
    found = compare_weighted(data.assign(treated=treated), "event", "treated",
                             ["sm_grade", "ruptured"], cluster="patient_id", times=50)
    figure = balance_plot(found.balance)
    told = words(figure)
    assert {"sm_grade", "ruptured", "before", "after weighting"} <= set(told) and inside(figure)
