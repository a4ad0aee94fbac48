"""What a model says reads as a clinician would say it: no column names, units, and no risk of good.

The sentences are the trade's way of reporting associations (common practice, no source).
"""

from __future__ import annotations

import datetime

import pytest

from analyses.models.model_wording import ratio_sentence, ratio_text
from analyses.models.outcome_words import term_said
from analyses.models.technique_declared import all_terms
from analyses.models.technique_outcomes import OUTCOMES
from analyses.models.technique_plan import default_plan
from analyses.statistics.estimate import Estimate


def ratio(term="agent_ml", kind="odds ratio", value=1.6, low=1.05, high=2.44, events=25):
    return Estimate(id="model.x", kind=kind, value=value, low=low, high=high, unit="lesion",
                    events=events, n=1290, clusters=124, group={"term": term})


def test_every_column_of_the_default_plan_has_words():
    models = default_plan(datetime.date(2024, 1, 1)).models
    assert {m.outcome for m in models} == {one.column for one in OUTCOMES}
    assert {m.exposure.name for m in models} == set(all_terms())
    for model in models:
        words = ratio_sentence(ratio(model.exposure.name), model.outcome)
        assert "_" not in words and "obliterated" not in words and "of event" not in words


def test_a_wanted_outcome_has_a_chance_and_a_harm_a_risk():
    assert ratio_sentence(ratio(), "obliterated") == (
        "Agent volume, per mL more: associated with a higher chance of immediate complete "
        "occlusion, odds ratio 1.60 (1.05–2.44); 25 events in 1,290 lesions of 124 patients.")
    assert "a higher risk of any complication, " in ratio_sentence(ratio(), "event")


def test_blood_loss_and_operation_time_carry_their_units():
    lower = ratio("formulation [EVOH 8 %]", "ratio of geometric means", 0.65, 0.45, 0.95, None)
    assert ratio_sentence(lower, "blood_loss_ml") == (
        "Formulation (EVOH 8 %): associated with a lower blood loss of the resection (mL), ratio "
        "of geometric means 0.65 (0.45–0.95); 1,290 lesions of 124 patients.")
    assert "a shorter operation time of the resection (min)" in ratio_sentence(
        lower, "operation_min")


def test_an_interval_that_includes_no_association_leaves_the_question_open():
    words = ratio_sentence(ratio(low=0.9), "event")
    assert "not shown to be associated with the risk of any complication" in words
    assert words.endswith("the question stays open.")
    assert "cannot answer" in ratio_sentence(ratio(value=None, low=None, high=None), "event")


@pytest.mark.parametrize(("term", "words"), [
    ("rate_ml_min (per 0.1)", "Mean rate, per 0.1 mL/min more"),
    ("rate_ml_min (per 0.05)", "Mean rate, per 0.05 mL/min more"),
    ("venous_passage [part]", "Agent in the draining vein (part)"),
    ("reflux_past_limit", "Reflux past the agreed limit"),
    ("own_column", "own column"),
])
def test_a_line_is_named_with_the_step_that_was_fitted(term, words):
    assert term_said(term) == words


def test_a_column_of_the_services_own_is_neither_risk_nor_chance():
    assert "the probability of own outcome" in ratio_sentence(ratio(low=0.9), "own_outcome")


def test_a_ratio_is_never_written_as_nought():
    assert ratio_text(ratio(value=0.62, low=0.0004, high=173.44)) == "0.62 (<0.001–173.4)"
