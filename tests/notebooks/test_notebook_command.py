"""`nidusbook notebook`: an executed copy on one's own freeze; nothing lost, nothing left beside."""

from __future__ import annotations

from pathlib import Path

import nbformat
import pytest
from notebook_books import (
    FOLDER,
    NAMES,
    TAG,
    cell_to_change,
    code_cells,
    own_freeze,
    read,
    shown,
)
from typer.testing import CliRunner, Result

from analyses.commands.app import app
from analyses.commands.notebook_copy import (
    CHOICES,
    FREEZE,
    SHEET,
    constants,
    filled,
    free_name,
    notebook_names,
)

QUICK = "data-quality"
ALL = sorted(path.stem for path in FOLDER.glob("*.ipynb"))


def nidusbook(*words: object) -> Result:
    """Run the command and return what it printed and its exit code."""
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.fixture(scope="module")
def ours(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return own_freeze(tmp_path_factory.mktemp("ours"))


def test_the_command_finds_every_notebook() -> None:
    assert notebook_names() == ALL


@pytest.mark.parametrize("name", ALL)
def test_the_command_can_fill_every_name_of_the_cell_to_change(name: str) -> None:
    names = constants(cell_to_change(read(name)).source)
    starts = {FREEZE, SHEET} & set(names)
    assert len(starts) == 1 and (starts == {FREEZE}) == (name in NAMES)
    assert set(names) - starts <= set(CHOICES)


def test_nothing_of_the_demos_stays_in_the_filled_cell(tmp_path: Path) -> None:
    names = constants(cell_to_change(read("quality-monitoring")).source)
    cell = filled("quality-monitoring", names, tmp_path / "f", {})
    assert constants(cell) == {"FREEZE": str(tmp_path / "f"), "PROJECT": ""}
    chosen = filled("quality-monitoring", names, tmp_path / "f", {"PROJECT": "own.toml"})
    assert constants(chosen)["PROJECT"] == "own.toml"


def test_the_copy_is_run_on_the_freeze_and_says_who_may_see_it(
    ours: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    out = tmp_path / "copies"
    out.mkdir()
    (out / f"{QUICK}.ipynb").write_text("what somebody wrote", encoding="utf-8")
    done = nidusbook("notebook", QUICK, ours, "--out", out)
    assert done.exit_code == 0, done.output
    assert "Stays inside the service: the executed notebook" in done.output
    assert f"{QUICK}.ipynb is there and differs; it stays as it is." in done.output
    assert (out / f"{QUICK}.ipynb").read_text(encoding="utf-8") == "what somebody wrote"
    assert sorted(path.name for path in tmp_path.rglob("*.ipynb")) == [
        f"{QUICK}-2.ipynb", f"{QUICK}.ipynb"]
    assert [path.name for path in tmp_path.iterdir()] == ["copies"]

    copy = nbformat.read(out / f"{QUICK}-2.ipynb", as_version=4)
    nbformat.validate(copy)
    assert copy.cells[0].source.startswith("Stays inside the service")
    assert all(cell.execution_count for cell in code_cells(copy))
    assert "Nothing here is real" not in shown(copy) and "<table" in shown(copy)
    unchanged = [cell.source for cell in read(QUICK).cells if TAG not in cell.metadata.get(
        "tags", [])]
    assert [cell.source for cell in copy.cells[1:] if TAG not in cell.metadata.get(
        "tags", [])] == unchanged


@pytest.mark.parametrize(("words", "sentences"), [
    (("case-report", "FREEZE"), ("no notebook called case-report", *ALL)),
    ((QUICK, "no-freeze"), ("no-freeze does not exist",)),
    ((QUICK, "."), ("is not a freeze",)),
    ((QUICK, "FREEZE", "--case", "A-0001"), ("data-quality has no use for --case",)),
    (("conference-case", "FREEZE", "--plan", "plan.toml"), ("has no use for --plan",)),
])
def test_a_wrong_call_is_a_sentence_and_writes_nothing(
    words: tuple[str, ...], sentences: tuple[str, ...], ours: Path, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    given = [ours if word == "FREEZE" else word for word in words]
    done = nidusbook("notebook", *given, "--out", "copies")
    assert done.exit_code == 2 and "Traceback" not in done.output
    assert all(sentence in done.output for sentence in sentences), done.output
    assert not list(tmp_path.iterdir())


@pytest.mark.slow
def test_a_notebook_that_stops_is_its_sentence_and_writes_nothing(
    ours: Path, tmp_path: Path,
) -> None:
    done = nidusbook("notebook", "conference-case", ours, "--case", "A-9999", "--out",
                     tmp_path / "copies")
    assert done.exit_code == 2 and "Traceback" not in done.output
    assert "conference-case stopped: " in done.output and "A-9999" in done.output
    assert "Nothing was written." in done.output and not (tmp_path / "copies").exists()


def test_an_out_that_is_a_file_is_a_sentence(ours: Path, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file", encoding="utf-8")
    done = nidusbook("notebook", QUICK, ours, "--out", tmp_path / "taken")
    assert done.exit_code == 2 and "is a file; the copy needs a folder" in done.output
    assert (tmp_path / "taken").read_text(encoding="utf-8") == "a file"


def test_a_name_that_is_taken_is_left_unless_its_file_is_the_same(tmp_path: Path) -> None:
    path = tmp_path / "a.ipynb"
    assert free_name(path, b"new") == path
    path.write_bytes(b"old")
    assert free_name(path, b"old") == path
    assert free_name(path, b"new") == tmp_path / "a-2.ipynb"
    (tmp_path / "a-2.ipynb").mkdir()
    assert free_name(path, b"new") == tmp_path / "a-3.ipynb"
