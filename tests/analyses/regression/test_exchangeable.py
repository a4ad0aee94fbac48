"""GEE with an exchangeable working correlation: that of geepack, of its own definition in R, and,
without correlation, the package's default. The table that compares them is exchangeable.py's."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest
from clustered_data import Cell, draw
from exchangeable_gee import by_patient, exchangeable_gee, fixed, pooled
from reference_runs import assert_same, recorded, run_r
from scipy.special import expit

from analyses.statistics.regression.firth import penalised_logistic
from analyses.statistics.regression.penalised_gee import (
    clustered_parts,
    interval_of,
    reference_df,
)
from analyses.statistics.regression.sandwich import (
    adjusted_scores,
    model_variance,
    sandwich,
    satterthwaite_df,
)

DATA_SETS = recorded("gee_exchangeable")
GEEPACK = [case for case in DATA_SETS if "ordinary" in case]
PLACE = Path(__file__).with_name("exchangeable.py")


def name_of(case):
    return case["name"]


def arrays(case):
    x = np.column_stack([np.array(column, float) for column in case["columns"].values()])
    return x, np.array(case["y"], float), np.array(case["cluster"])


def errors(parts, power):
    return np.sqrt(np.diag(sandwich(parts, adjusted_scores(parts, power))))


@pytest.fixture(scope="module")
def table():
    spec = importlib.util.spec_from_file_location("working_correlation_table", PLACE)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("case", GEEPACK, ids=name_of)
def test_without_the_penalty_it_is_the_exchangeable_gee_of_r_geepack(case):
    found, expected = exchangeable_gee(*arrays(case), penalised=False), case["ordinary"]
    assert found.finite and found.attainable
    np.testing.assert_allclose(found.coefficients, expected["estimate"], rtol=1e-5)
    np.testing.assert_allclose(errors(found.parts, 0.0), expected["robust"], rtol=1e-5)
    np.testing.assert_allclose(found.moments, (expected["alpha"], expected["scale"]), rtol=1e-5)


@pytest.mark.parametrize("how, moments", [("pooled", pooled), ("by_patient", by_patient)])
@pytest.mark.parametrize("case", DATA_SETS, ids=name_of)
def test_penalised_it_solves_the_equations_worked_out_in_r(case, how, moments):
    found, expected = exchangeable_gee(*arrays(case), moments=moments), case[how]
    assert found.finite
    np.testing.assert_allclose(found.coefficients, expected["estimate"], rtol=1e-5)
    np.testing.assert_allclose(found.moments, (expected["alpha"], expected["scale"]), rtol=1e-5)
    np.testing.assert_allclose(errors(found.parts, 0.0), expected["robust"], rtol=1e-5)
    np.testing.assert_allclose(errors(found.parts, 1.0), expected["mancl_derouen"], rtol=1e-5)
    model = np.sqrt(np.diag(model_variance(found.parts)))
    np.testing.assert_allclose(model, expected["model"], rtol=1e-5)


@pytest.mark.parametrize("case", DATA_SETS, ids=name_of)
def test_without_correlation_it_is_the_default(case):
    x, y, cluster = arrays(case)
    found = exchangeable_gee(x, y, cluster, moments=fixed(0.0))
    fit = penalised_logistic(x, y)
    np.testing.assert_allclose(found.coefficients, fit.coefficients, rtol=1e-6)
    places = range(x.shape[1])
    own = interval_of(found, found.parts, 0.95, places)
    for ours, default in zip(own, interval_of(fit, clustered_parts(fit, cluster), 0.95, places),
                             strict=True):
        np.testing.assert_allclose(ours, default, rtol=1e-6)


def test_degrees_of_freedom_follow_the_definition_with_whole_correlated_matrices():
    # Bell and McCaffrey's quadratic form with the working covariance V in place of the identity.
    x, y, cluster = arrays(DATA_SETS[2])
    found = exchangeable_gee(x, y, cluster)
    correlation, scale = found.moments
    risk = expit(x @ found.coefficients)
    weight = risk * (1 - risk)
    same = cluster[:, None] == cluster[None, :]
    covariance = scale * np.sqrt(np.outer(weight, weight)) * np.where(
        np.eye(len(y), dtype=bool), 1.0, correlation * same)
    slope = x * weight[:, None]
    inverse = np.linalg.inv(covariance)
    bread = np.linalg.inv(slope.T @ inverse @ slope)
    left = np.eye(len(y)) - slope @ bread @ slope.T @ inverse
    for term in range(x.shape[1]):
        columns = []
        for patient in np.unique(cluster):
            rows = np.flatnonzero(cluster == patient)
            own = np.linalg.inv(left[np.ix_(rows, rows)])
            reach = bread[term] @ slope[rows].T @ inverse[np.ix_(rows, rows)] @ own
            columns.append(reach @ left[rows])
        middle = np.array(columns) @ covariance @ np.array(columns).T
        expected = np.trace(middle) ** 2 / np.trace(middle @ middle)
        assert satterthwaite_df(found.parts, bound=1 - 1e-9)[term] == pytest.approx(expected)
    assert (reference_df(found.parts) >= 1).all()


def test_the_order_of_rows_does_not_matter():
    x, y, cluster = arrays(DATA_SETS[2])
    mixed = np.random.default_rng(2).permutation(len(y))
    for moments in (pooled, by_patient):
        one = exchangeable_gee(x, y, cluster, moments=moments)
        two = exchangeable_gee(x[mixed], y[mixed], cluster[mixed], moments=moments)
        np.testing.assert_allclose(one.coefficients, two.coefficients, rtol=1e-7)
        np.testing.assert_allclose(errors(one.parts, 1.0), errors(two.parts, 1.0), rtol=1e-7)


def test_an_answer_outside_its_bounds_is_none():
    x, y, cluster = arrays(DATA_SETS[2])
    assert not exchangeable_gee(x, y, cluster, moments=fixed(1.2)).finite
    assert not exchangeable_gee(x, y, cluster, moments=fixed(-0.6)).finite
    assert not exchangeable_gee(x, y, cluster, moments=fixed(0.99)).attainable
    x = x[:, :2] * [1, 0] + np.column_stack([np.zeros(len(y)), y * (np.arange(len(y)) % 40 == 3)])
    assert not exchangeable_gee(x, y, np.arange(len(y)), penalised=False).finite  # separated


def test_a_correlation_hides_that_the_data_are_separated():
    # Six rows with the column, all with the event: without a penalty independence has no finite
    # answer. The exchangeable equations have a finite root beside the one at infinity to which
    # geepack goes, although nothing in the data sets an upper limit.
    x, y, cluster = arrays(DATA_SETS[3])
    assert y[x[:, 2] == 1].all()
    found = exchangeable_gee(x, y, cluster, penalised=False)
    assert found.finite and 1 < found.coefficients[2] < 2
    assert not exchangeable_gee(x, y, cluster, penalised=False, moments=fixed(0.0)).finite


def test_a_small_run_prints_its_table(table):
    cell = Cell(100, 0.10, 2.0, 0.3, "binary session")
    found = table.run_cell(cell, 12)
    text = "\n".join(table.report([(cell, found)], 12, 1.0))
    for name in (*table.MAIN, *table.ORDINARY):
        assert name in text and 0 <= found[name]["coverage"] <= 1
    assert found[table.DEFAULT]["not finite"] == 0


def test_the_default_column_is_the_default_of_the_package(table):
    cell = Cell(100, 0.10, 2.0, 0.3, "binary session")
    found = table.one_set(cell, np.random.default_rng(5))
    x, y, patient = draw(cell, np.random.default_rng(5))
    fit = penalised_logistic(x, y)
    low, high, _ = interval_of(fit, clustered_parts(fit, patient), 0.95, [1])
    np.testing.assert_allclose(found[table.DEFAULT], (fit.coefficients[1], low[0], high[0]))


@pytest.mark.reference
def test_r_still_gives_the_recorded_values():
    assert_same(run_r("gee_exchangeable"), DATA_SETS, rel=1e-6)
