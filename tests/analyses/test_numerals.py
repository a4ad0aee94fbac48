"""Numbers are written one way: common practice, no source, unless said."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analyses.words.numerals import measured, percent, points, quantity, ratio, span, whole
from analyses.words.wording_of_p import p_text


@pytest.mark.parametrize(("share", "said"), [
    (0, "0"), (1, "100"), (29 / 377, "7.7"), (0.25, "25.0"), (0.0009, "0.09"), (0.0061, "0.61"),
    (0.00996, "1.0"), (0.00002, "0.002"), (1e-9, "<0.001"), (0.9996, "99.96"), (0.9999, "99.99"),
    (0.9949, "99.5"), (1 - 1e-9, ">99.999"),
])
def test_per_cent(share, said):
    assert percent(share) == said


@given(st.floats(min_value=1e-12, max_value=1 - 1e-12))
def test_nothing_that_is_not_zero_or_all_is_written_so(share):
    said = percent(share)
    assert said not in {"0", "100"}
    assert float(said.strip("<>")) > 0 and float(said.strip("<>")) < 100


@given(st.floats(min_value=-1, max_value=1).filter(lambda d: d != 0))
def test_a_difference_is_never_written_as_zero(difference):
    assert any(digit in points(difference) for digit in "123456789")


@pytest.mark.parametrize(("number", "said"), [
    (0, "0"), (2.3214, "2.3"), (0.738, "0.74"), (0.996, "1.0"), (0.004, "0.004"), (6074.4, "6,074"),
    (1e-7, "<0.001"), (math.inf, "∞"), (-12.25, "−12.2"),
])
def test_quantities(number, said):
    assert quantity(number) == said


@pytest.mark.parametrize(("number", "said"), [
    (0, "0"), (1.854, "1.85"), (0.0123, "0.012"), (12.34, "12.3"), (math.inf, "∞"),
    (1e-7, "<0.001"),
])
def test_ratios(number, said):
    assert ratio(number) == said


def test_measurements_that_stand_together_share_their_decimals():
    assert measured(12.0, 8.0, 15.0) == ("12", "8", "15")
    assert measured(12.0, 8.5, 15.0) == ("12.0", "8.5", "15.0")
    assert measured(0.16, 0.125, None) == ("0.160", "0.125", "?")
    assert measured(1250.0, 900.0, math.inf) == ("1,250", "900", "∞")


def test_ranges_with_a_sign_use_the_word():
    assert span("1.0", "2.0") == "1.0–2.0"
    assert span("−1.0", "2.0") == "−1.0 to 2.0"
    assert whole(6074) == "6,074"


@pytest.mark.parametrize(("p", "said"), [
    (0.00031, "P = 0.0003"), (0.0942, "P = 0.094"), (0.45, "P = 0.45"), (0.00001, "P < 0.0001"),
    (0.0042, "P = 0.0042"), (1.0, "P > 0.999"), (0.9996, "P > 0.999"),
])
def test_p_values(p, said):
    assert p_text(p) == said
