"""What n can and cannot show, against R's power.prop.test and binom.test."""

import pytest
from reference_runs import assert_same, recorded, run_r

from analyses.statistics.precision.precision_formulas import (
    design_effect,
    detectable_risk,
    expected_width,
    needed_for_width,
    needed_for_zero_bound,
    power_of_difference,
    upper_bound_at_zero,
)
from analyses.statistics.precision.precision_plan import precision_plan
from analyses.statistics.proportions.clustered import clustered_proportion
from analyses.statistics.proportions.independent import proportion

VALUES = recorded("precision")


@pytest.mark.parametrize("row", VALUES["needed"])
def test_power_at_the_numbers_needed_agrees_with_r(row):
    """stats::power.prop.test: the n that has the power asked for."""
    found = power_of_difference(row["n"], row["n"], row["p1"], row["p2"])
    assert found == pytest.approx(row["power"], rel=1e-6)


@pytest.mark.parametrize("row", VALUES["power"])
def test_power_agrees_with_r(row):
    found = power_of_difference(row["n"], row["n"], row["p1"], row["p2"])
    assert found == pytest.approx(row["power"], rel=1e-8)


@pytest.mark.parametrize("row", VALUES["detectable"])
def test_detectable_risk_agrees_with_r(row):
    assert detectable_risk(row["n"], row["n"], row["p"]) == pytest.approx(row["higher"], rel=1e-6)


def test_bounds_and_widths_agree_with_r():
    """stats::binom.test at no events, and summed over the binomial."""
    for row in VALUES["zero"]:
        assert upper_bound_at_zero(row["n"]) == pytest.approx(row["high"], rel=1e-8)
    for row in VALUES["width"]:
        assert expected_width(row["n"], row["p"]) == pytest.approx(row["width"], rel=1e-8)


def test_the_rule_of_three_is_the_one_sided_bound():
    """Hanley and Lippman-Hand 1983, JAMA 249:1743: 0 of n leaves up to 3/n (one-sided 95 %)."""
    assert upper_bound_at_zero(100, level=0.90) == pytest.approx(3 / 100, rel=0.02)
    assert upper_bound_at_zero(100) == pytest.approx(3.7 / 100, rel=0.03)


def test_needed_numbers_are_the_smallest():
    n = needed_for_zero_bound(0.03)
    assert proportion(0, n).high <= 0.03 < proportion(0, n - 1).high
    n = needed_for_width(0.10, 0.05)
    assert expected_width(n, 0.05) <= 0.10 < expected_width(n - 1, 0.05)


def test_the_design_effect():
    """Kish 1965: 1 + (m - 1)ρ; with uneven sizes m is the size an average row sees."""
    assert design_effect(3, 0.2) == pytest.approx(1.4)
    assert design_effect([1, 5], 0.3) == pytest.approx(1 + (26 / 6 - 1) * 0.3)
    assert design_effect(1, 0.5) == 1
    for rows, correlation in ((0.5, 0.1), ([], 0.1), (2, -0.1), (2, 1.1)):
        with pytest.raises(ValueError, match="row|correlation"):
            design_effect(rows, correlation)


def test_a_small_service_cannot_tell_anything_from_a_high_risk():
    assert detectable_risk(2, 2, 0.5) is None
    plan = precision_plan(4, risks=(0.5,))
    assert any("no higher risk can be told" in said for said in plan.sentences())


class TestPlan:
    plan = precision_plan(120, rows=2.4, correlation=0.2, unit="session")

    def test_the_assumptions_come_first(self):
        assert self.plan.sentences()[0] == (
            "288 sessions of 120 patients; with a within-patient correlation of 0.2 (an "
            "assumption) the design effect is 1.28, so they are worth 225 independent sessions; "
            "95 % intervals, 80 % power."
        )

    def test_the_bound_at_no_events_is_the_one_the_analyses_print(self):
        """Of the risk of a patient: the bound counts patients, whatever the sessions of each."""
        bound = self.plan.estimates[0]
        printed = clustered_proportion([0] * 120, range(120))
        assert bound.value == pytest.approx(printed.high, rel=1e-12)
        assert "120 patients has an event, a true risk of up to 3.0 %" in self.plan.sentences()[1]

    def test_the_table_and_the_sentences_come_from_the_same_estimates(self):
        table = self.plan.table
        assert list(table["true risk"]) == ["1.0 %", "3.0 %", "5.0 %", "10.0 %", "20.0 %"]
        text = " ".join(self.plan.sentences())
        for cell in table.drop(columns="true risk").to_numpy().ravel():
            assert cell in text
        assert len(self.plan.estimates) == 1 + 4 * len(table)

    def test_correlation_costs_precision(self):
        free = precision_plan(120, rows=2.4, correlation=0.0, unit="session", risks=(0.05,))
        tied = precision_plan(120, rows=2.4, correlation=0.6, unit="session", risks=(0.05,))
        for better, worse in zip(free.estimates[1:4], tied.estimates[1:4], strict=True):
            assert worse.value > better.value

    def test_rows_may_differ_between_patients(self):
        sizes = [1] * 60 + [4] * 60
        plan = precision_plan(120, rows=sizes, correlation=0.3, unit="session", risks=(0.05,))
        assert plan.rows == 300 and plan.design_effect == pytest.approx(design_effect(sizes, 0.3))
        with pytest.raises(ValueError, match="not for 119"):
            precision_plan(119, rows=sizes)

    def test_records_are_finite(self):
        assert all(e.as_record()["value"] is not None for e in self.plan.estimates)

    @pytest.mark.parametrize("wrong", [
        {"patients": 0}, {"patients": 10, "group_share": 1.0}, {"patients": 10, "width": 0.0},
        {"patients": 10, "risks": (1.5,)}, {"patients": 10, "level": 95},
    ])
    def test_misuse_is_refused(self, wrong):
        with pytest.raises(ValueError, match="wanted|between"):
            precision_plan(**wrong)


@pytest.mark.reference
def test_r_still_gives_the_recorded_plans():
    assert_same(run_r("precision"), VALUES)
