"""With a handful of events only tests that hold exactly are given."""

import numpy as np
import pytest
from clustered_data import Cell, draw
from scipy.stats import fisher_exact

from analyses.statistics.regression.exact import exchange_patients, permutation_p
from analyses.statistics.regression.exact import fisher_exact as ours


def test_fisher_exact_of_the_tea_experiment():
    # Fisher 1935, The Design of Experiments: 3 of 4 cups right, two-sided P 0.486.
    y = np.array([1, 1, 1, 0, 1, 0, 0, 0], float)
    said = np.array([1, 1, 1, 1, 0, 0, 0, 0], float)
    assert ours(y, said) == pytest.approx(34 / 70)


def test_whole_patients_are_exchanged_with_others_of_their_size():
    cluster = np.repeat(np.arange(30), np.tile([1, 2, 3], 10))
    orders = exchange_patients(cluster, 200, np.random.default_rng(1))
    size = np.bincount(cluster)[cluster]
    for order in orders[:50]:
        assert sorted(order) == list(range(len(cluster)))
        assert (size[order] == size).all()
        for patient in range(30):
            assert len(set(cluster[order[cluster == patient]])) == 1
    moved = (cluster[orders] != cluster).mean()
    assert moved == pytest.approx(0.9, abs=0.02)


def test_permutation_agrees_with_fisher_where_both_apply():
    rng = np.random.default_rng(3)
    exposed = (rng.random(60) < 0.3).astype(float)
    y = np.zeros(60)
    y[np.flatnonzero(exposed)[:4]] = 1
    y[np.flatnonzero(exposed == 0)[:2]] = 1
    x = np.column_stack([np.ones(60), exposed])
    table = [[4, 2], [exposed.sum() - 4, 60 - exposed.sum() - 2]]
    # Tables as far from expectation, counted by the score statistic instead of by probability.
    found = permutation_p(x, y, [1], np.arange(60))
    assert found == pytest.approx(fisher_exact(table)[1], abs=0.03)


def test_rejections_at_no_association_are_no_more_than_stated():
    cell = Cell(60, 0.05, 1.0, 0.3, "binary session")
    rng = np.random.default_rng(8)
    found = []
    while len(found) < 150:
        x, y, patient = draw(cell, rng)
        if 2 <= y.sum() < 8:
            found.append(permutation_p(x[:, :3], y, [1], patient, times=199))
    share = np.mean(np.array(found) <= 0.05)
    assert share <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 150)


def test_the_same_call_gives_the_same_answer():
    x, y, patient = draw(Cell(60, 0.06, 2.0, 0.3, "binary session"), np.random.default_rng(2))
    one, two = (permutation_p(x, y, [1], patient) for _ in range(2))
    assert one == two
