"""An estimate reads the same everywhere, and never hides what it rests on."""

import json
import math

import numpy as np
import pytest

from analyses.statistics.estimate import RECORD_KEYS, Estimate, counted_rows, replaced
from analyses.words.flags import WORDS, flag_words

SESSIONS = {"id": "complication.any", "kind": "proportion", "unit": "session", "clusters": 120}


def share(events, n, low=None, high=None, **more):
    return Estimate(
        events=events, n=n, value=events / n if n else None, low=low, high=high,
        **{**SESSIONS, **more},
    )


def test_a_proportion_is_printed_with_its_counts_and_interval():
    assert share(29, 377, 0.052, 0.109).as_text() == "29/377 (7.7 %, 5.2–10.9)"


def test_a_rate_is_printed_with_its_person_time():
    rate = Estimate(
        id="rate.haemorrhage", kind="rate", unit="patient-years", events=141, denominator=6074,
        per=100, value=2.321, low=1.954, high=2.738,
    )
    assert rate.as_text() == "141 in 6,074 patient-years (2.3 per 100 patient-years, 2.0–2.7)"


def test_a_median_is_printed_in_its_measure():
    volume = Estimate(
        id="agent", kind="median", measure="mL", value=12, low=8, high=15, n=40, unit="injection"
    )
    assert volume.as_text() == "12 mL (8–15), n = 40"


def test_a_difference_is_in_percentage_points_with_both_arms():
    arms = (share(7, 52), share(3, 71))
    difference = Estimate(
        id="d", kind="difference", value=7 / 52 - 3 / 71, low=-0.008, high=0.215, arms=arms
    )
    assert difference.as_text() == (
        "7/52 (13.5 %) against 3/71 (4.2 %): 9.2 percentage points (−0.8 to 21.5)"
    )


def test_a_difference_of_measurements_is_in_their_measure():
    days = Estimate(id="d", kind="difference", value=2.0, low=-1.0, high=5.0, measure="nights")
    assert days.as_text() == "2.0 nights (−1.0 to 5.0)"


def test_a_ratio_says_what_it_is_and_where_it_has_no_limit():
    ratio = Estimate(id="or", kind="odds ratio", value=1.85, low=0.92, high=math.inf)
    assert ratio.as_text() == "odds ratio 1.85 (0.92–∞)"
    assert ratio.as_record()["high"] is None


def test_another_level_than_95_percent_is_said():
    assert share(29, 377, 0.06, 0.10, level=0.9).as_text() == (
        "29/377 (7.7 %, 90 % interval 6.0–10.0)"
    )


def test_flags_stand_behind_the_number_in_plain_words():
    assert share(1, 4, 0.006, 0.806, flags=("few-units",)).as_text() == (
        "1/4 (25.0 %, 0.60–80.6); too few to compare"
    )


def test_imprecision_is_one_phrase_and_silent_where_too_few_says_more():
    assert flag_words(("effective-n-under-30", "wide-interval")) == (
        "imprecise: effective number under 30, interval 30 percentage points wide or wider",
    )
    assert flag_words(("few-units", "wide-interval")) == ("too few to compare",)
    assert flag_words(("a flag nobody listed",)) == ("a flag nobody listed",)
    assert all(word and word != flag for flag, word in WORDS.items())


def test_nothing_counted_is_said_without_a_percentage():
    nothing = share(0, 0, flags=("nothing-counted",), unit="patient", clusters=0)
    assert nothing.as_text() == "0/0; nothing to count"
    assert "there was no patient to count" in nothing.sentence("death")


def test_none_of_n_is_worded_after_hanley_1983():
    """Hanley and Lippman-Hand 1983, JAMA 249:1743: if nothing goes wrong, is everything right?"""
    none = share(0, 60, 0.0, 0.0925, clusters=38)
    assert none.sentence("a symptomatic complication") == (
        "A symptomatic complication was recorded in none of 60 sessions from 38 patients; "
        "up to 9.2 % cannot be excluded."
    )
    everyone = share(60, 60, 0.9075, 1.0, clusters=38)
    assert "in all of 60 sessions from 38 patients; as few as 90.8 %" in everyone.sentence("x")
    rate = Estimate(id="r", kind="rate", value=0, low=0, high=3.69, events=0, denominator=100,
                    per=100, unit="patient-years")
    assert rate.sentence("a haemorrhage").endswith(
        "in none of 100 patient-years; up to 3.7 per 100 patient-years cannot be excluded."
    )


def test_the_sentence_falls_back_on_the_id_and_names_the_group():
    said = share(29, 377, 0.052, 0.109, group={"sm_grade": "III"}).sentence()
    assert said == (
        "Complication.any (sm grade III) was recorded in 29 of 377 sessions from 120 patients "
        "(7.7 %, 95 % confidence interval 5.2–10.9 %)."
    )


def test_one_of_a_unit_is_singular():
    one = share(1, 1, 0.025, 1.0, unit="patient", clusters=1)
    assert "all of 1 patient;" in one.sentence("x")


def test_the_record_has_exactly_the_agreed_keys_and_12_digits():
    record = share(29, 377, 0.0519999999999999, 0.109, group={"agent": "EVOH 6 %"}).as_record()
    assert tuple(record) == RECORD_KEYS
    assert record["value"] == 0.0769230769231 and record["low"] == 0.052
    assert record["group"] == {"agent": "EVOH 6 %"} and record["flags"] == []
    assert json.loads(json.dumps(record, allow_nan=False)) == record


def test_numpy_numbers_and_nan_become_plain_ones():
    odd = Estimate(id="x", kind="mean", value=np.float64("nan"), n=np.int64(3), low=np.float32(1))
    assert odd.value is None and type(odd.n) is int and type(odd.low) is float


def test_rows_give_keys_and_events():
    counted = counted_rows([("AV-001", 1, 2), "AV-002"], [1, 0])
    rows = share(1, 2, counted=counted).rows()
    assert rows.to_dict("list") == {"key": ["AV-001/1/2", "AV-002"], "event": [True, False]}
    assert list(share(1, 2).rows().columns) == ["key", "event"]
    with pytest.raises(ValueError, match="2 keys for 1 rows"):
        counted_rows(["a", "b"], [1])


@pytest.mark.parametrize("wrong", [
    {"events": 5, "n": 4}, {"low": 0.4, "high": 0.2}, {"level": 95},
])
def test_an_estimate_that_contradicts_itself_is_refused(wrong):
    with pytest.raises(ValueError, match="complication.any"):
        Estimate(**{**SESSIONS, "value": 0.3, "events": 1, "n": 4, **wrong})


def test_the_notebook_shows_the_same_text_escaped():
    shown = share(29, 377, 0.052, 0.109, method="a < b")._repr_html_()
    assert "29/377 (7.7 %, 5.2–10.9)" in shown and "a &lt; b" in shown


def test_replacing_a_field_keeps_the_rest():
    counted = counted_rows(["a"], [1])
    changed = replaced(share(1, 1, counted=counted), id="y")
    assert changed.id == "y" and changed.counted == counted


def test_every_part_of_an_estimate_can_be_changed_by_name():
    from dataclasses import fields

    from analyses.statistics.estimate import Estimate, Parts

    assert set(Parts.__annotations__) == {field.name for field in fields(Estimate)}
