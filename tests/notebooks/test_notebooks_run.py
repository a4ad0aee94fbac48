"""Every notebook runs top to bottom: on the demo as it stands, and on another freeze."""

from __future__ import annotations

import re
from pathlib import Path
from types import SimpleNamespace

import pytest
from notebook_books import (
    NAMES,
    code_cells,
    executed,
    own_freeze,
    pointed_at,
    read,
    shown,
    small_demo,
)

from registry import read_freeze
from registry.freeze.freeze_error import FreezeError

QUICK = "data-quality"
WITH_FIGURE = set(NAMES) - {"literature"}


def each(quick: str | None = QUICK) -> list[object]:
    """All notebooks, the slow ones for CI only."""
    return [name if name == quick else pytest.param(name, marks=pytest.mark.slow)
            for name in NAMES]


@pytest.fixture(scope="session")
def beside(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which a small demo lies where the notebooks look for it."""
    folder = tmp_path_factory.mktemp("beside")
    small_demo(folder)
    return folder


@pytest.fixture(scope="session")
def ours(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return own_freeze(tmp_path_factory.mktemp("ours"))


@pytest.fixture(scope="session")
def one_patient(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One patient, embolized once, without an event and without a resection."""
    return own_freeze(tmp_path_factory.mktemp("one"), only="A-0007")


@pytest.mark.parametrize("name", each())
def test_it_runs_as_it_stands_on_the_demo(name: str, beside: Path) -> None:
    book = executed(read(name), beside)
    html = shown(book)
    assert "Nothing here is real" in html
    assert "<table" in html and "<svg" in html
    for cell in code_cells(book):
        assert not [o for o in cell.outputs if o.output_type == "error"], cell.id
        assert not [o for o in cell.outputs if o.get("name") == "stderr"], cell.id


@pytest.mark.parametrize("name", each())
def test_it_runs_on_another_freeze_with_one_cell_changed(
    name: str, ours: Path, tmp_path: Path,
) -> None:
    html = shown(executed(pointed_at(read(name), ours), tmp_path))
    assert "Nothing here is real" not in html
    assert read_freeze(ours).manifest["freeze_hash"][:12] in html
    assert not list(tmp_path.iterdir()), "nothing is written beside a notebook on its own freeze"


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_it_runs_on_a_freeze_of_one_patient_without_an_event(
    name: str, one_patient: Path, tmp_path: Path,
) -> None:
    html = shown(executed(pointed_at(read(name), one_patient), tmp_path))
    assert "1 patients" in html or "1 patient" in html


def test_a_path_that_does_not_exist_ends_in_a_sentence_not_in_invented_numbers(
    tmp_path: Path,
) -> None:
    from nbclient.exceptions import CellExecutionError

    book = pointed_at(read(QUICK), "freeze-of-2026")
    with pytest.raises(CellExecutionError):
        executed(book, tmp_path)
    told = [o for cell in code_cells(book) for o in cell.outputs if o.output_type == "error"]
    assert [o.ename for o in told] == ["FreezeError"]
    assert told[0].traceback == ["freeze-of-2026 does not exist; give the folder of a freeze."]
    assert not list(tmp_path.iterdir())


@pytest.mark.slow
def test_the_old_spreadsheet_runs_and_proves_that_nothing_is_wrong_in_silence(
    tmp_path: Path,
) -> None:
    html = shown(executed(read("old-spreadsheet"), tmp_path))
    assert "Nothing here is real" in html and "nothing is lost" in html
    assert re.search(r"wrong in the registry</th><td>0</td>", html)
    assert re.search(r"lost without a word</th><td>0</td>", html)
    assert {path.name for path in (tmp_path / "nidusbook-demo").iterdir()} == {
        "old-sheet.xlsx", "old-sheet.toml", "nothing-here-is-real.txt"}


def test_a_sheet_without_a_mapping_is_told_what_to_do_next(tmp_path: Path) -> None:
    from analyses.commands.opening import open_old_sheet
    from analyses.documents.notebook_show import show

    (tmp_path / "list.csv").write_text("Hosp no,Age,Sex\n11,34,F\n12,51,m\n", encoding="utf-8")
    look = open_old_sheet(tmp_path / "list.csv")
    assert "There is no mapping yet" in str(show(look.trial()))
    assert "3 columns" in str(show(look.draft()))
    assert [path.name for path in tmp_path.iterdir()] == ["list.csv"]


def test_a_sheet_that_is_not_there_is_told_of_in_a_sentence(tmp_path: Path) -> None:
    from analyses.commands.opening import open_old_sheet
    from registry.problems.problem import SourceError

    with pytest.raises(SourceError, match="lst.xlsx"):
        open_old_sheet(tmp_path / "lst.xlsx").draft()


def test_only_the_demos_own_paths_are_made(tmp_path: Path) -> None:
    from analyses.commands.demo import wanted_demo

    made = SimpleNamespace(**{
        "demo": tmp_path / "nidusbook-demo" / "freeze-research",
        "mistyped": tmp_path / "nidusbook-demo" / "freeze-reserch",
        "ours": tmp_path / "freeze-research"})
    assert wanted_demo(made.demo)
    assert not wanted_demo(made.mistyped) and not wanted_demo(made.ours)
    made.demo.parent.mkdir()
    assert not wanted_demo(made.demo), "a folder of that name which the demo did not make"


def test_a_freeze_error_is_its_sentence() -> None:
    assert FreezeError("It was changed.")._render_traceback_() == ["It was changed."]
