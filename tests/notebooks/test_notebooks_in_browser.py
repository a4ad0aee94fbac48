"""Two notebooks in JupyterLab, driven in a browser: open, run all cells, see the figures."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from lab_in_browser import browser, errors, figures, lab, run_all_cells
from notebook_books import FOLDER, small_demo

pytestmark = pytest.mark.desktop


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory):
    folder = tmp_path_factory.mktemp("served")
    for path in FOLDER.glob("*.ipynb"):
        shutil.copy(path, folder)
    small_demo(folder)
    with lab(folder, tmp_path_factory.mktemp("private")) as address:
        yield address


@pytest.fixture
def driver(tmp_path: Path):
    """A browser that has seen no notebook before."""
    with browser(tmp_path / "profile") as fresh:
        yield fresh


@pytest.mark.parametrize(("name", "caption"), [
    ("data-quality", "Recording of technique"),
    ("durability", "Alive without haemorrhage since the first treatment"),
])
def test_a_notebook_runs_and_shows_its_figures(
    served: str, driver, name: str, caption: str,
) -> None:
    run_all_cells(driver, served.format(f"{name}.ipynb"))
    assert errors(driver) == []
    seen = figures(driver)
    assert any(one["caption"].startswith(caption) for one in seen), seen
    for one in seen:
        assert one["width"] > 300 and one["height"] > 80, one
        assert one["alt"], "every figure has words that stand in for it"
    text = driver.find_element("css selector", ".jp-Notebook").text
    assert "Nothing here is real" in text
    wide = driver.execute_script(
        "return [...document.querySelectorAll('.nidusbook')].filter("
        "e => e.scrollWidth > e.clientWidth + 1).length")
    assert wide == 0, "nothing is cut off at the side"
