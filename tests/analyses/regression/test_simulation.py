"""The default covers where it must, is always finite, and the rest are shown for what they are.

The full table is printed by simulation.py; these are the cells that decided between intervals.
"""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest
from clustered_data import Cell, covariates, draw, intercept, latent_correlation

PLACE = Path(__file__).with_name("simulation.py")
DECIDING = [
    Cell(100, 0.04, 2.0, 0.3, "binary session"),
    Cell(100, 0.04, 3.5, 0.3, "continuous patient"),
    Cell(100, 0.04, 3.5, 0.3, "binary patient"),
    Cell(100, 0.10, 3.5, 0.3, "continuous patient"),
    Cell(300, 0.04, 2.0, 0.3, "continuous patient"),
    Cell(300, 0.10, 1.0, 0.3, "binary session"),
]


@pytest.fixture(scope="module")
def simulation():
    spec = importlib.util.spec_from_file_location("regression_simulation", PLACE)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_the_synthetic_outcomes_have_the_stated_risk_and_correlation():
    cell = Cell(4000, 0.10, 2.0, 0.3, "continuous session")
    rng = np.random.default_rng(3)
    x, y, patient = draw(cell, rng)
    assert y.mean() == pytest.approx(0.10, abs=0.01)
    # Pairs of one patient at the overall risk: the correlation asked for.
    share = latent_correlation(0.3, 0.1)
    z = rng.normal(size=(200_000, 1)) * np.sqrt(share) + np.sqrt(1 - share) * rng.normal(
        size=(200_000, 2))
    pair = z < -1.2815515655
    assert np.corrcoef(pair.T)[0, 1] == pytest.approx(0.3, abs=0.015)
    # The coefficients are population-averaged: a plain fit of many rows finds them.
    from analyses.statistics.regression.firth import penalised_logistic

    fit = penalised_logistic(x, y, penalty=0.0)
    assert fit.coefficients[1] == pytest.approx(np.log(2.0), abs=0.12)
    assert fit.coefficients[0] == pytest.approx(intercept(cell), abs=0.12)
    assert len(np.unique(covariates(cell, rng)[1])) == 4000


def test_the_grid_is_the_whole_one(simulation):
    assert len(simulation.cells()) == 96
    assert set(DECIDING) <= set(simulation.cells())


def test_a_small_run_prints_its_table(simulation):
    cell = DECIDING[1]
    found = simulation.run_cell(cell, 30)
    text = "\n".join(simulation.report([(cell, found)], 30, 1.0))
    for name in simulation.MAIN:
        assert name in text and 0 <= found[name]["coverage"] <= 1
    assert found["penalised GEE"]["not finite"] == 0


@pytest.mark.slow
@pytest.mark.parametrize("cell", DECIDING, ids=lambda c: f"{c.patients} {c.exposure}")
def test_the_default_covers_with_eight_or_more_events(simulation, cell):
    found = simulation.run_cell(cell, 400)
    default, naive = found["penalised GEE"], found["profile alone"]
    assert default["not finite"] == 0
    assert default["coverage"] >= simulation.least_allowed(found[""]["kept"])
    assert default["width"] <= 1.45 * naive["width"]
    assert abs(default["bias"]) < 0.25


RECORDED = Path(__file__).parents[2] / "reference" / "regression_simulation.txt"


def recorded_cells() -> list[list[float]]:
    """Of each cell of the recorded table: sets kept, then the default's four numbers."""
    found = []
    for line in RECORDED.read_text(encoding="utf-8").splitlines():
        if line.startswith(("continuous ", "binary ")):
            parts = line.split("|")
            found.append([float(parts[0].split()[6]), *map(float, parts[3].split())])
    return found


def test_the_recorded_table_is_whole_and_the_default_covers_in_every_cell(simulation):
    cells = recorded_cells()
    assert len(cells) == 96
    assert " 2000 sets a cell" in RECORDED.read_text(encoding="utf-8")
    for kept, coverage, _, bias, not_finite in cells:
        assert coverage / 100 >= simulation.least_allowed(kept)
        assert not_finite == 0.0 and abs(bias) < 0.2


def test_the_module_tells_what_the_table_says():
    from analyses.statistics.regression import penalised_gee

    coverage = [cell[1] for cell in recorded_cells()]
    said = " ".join((penalised_gee.__doc__ or "").split())
    assert f"covered {min(coverage)} to {max(coverage)} % in the 96 cells" in said
    assert f"{np.mean(coverage):.1f} % on average" in said
