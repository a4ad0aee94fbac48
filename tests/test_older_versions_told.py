"""The command line says that a registry was brought up, or a freeze is an older one."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner, Result
from version_one import FREEZE, registry_of_version_1

from analyses.commands.app import app
from analyses.documents.notebook_show import freeze_section
from registry.freeze.freeze_reading import read_freeze


def nidusbook(*words: object) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.fixture
def store(tmp_path: Path) -> Path:
    return registry_of_version_1(tmp_path / "avm.sqlite")


COPY = "avm.version-1.sqlite"


def test_check_says_once_what_was_done_and_where_the_old_registry_lies(store: Path) -> None:
    first, second = (nidusbook("check", "--registry", store) for _ in range(2))
    lines = first.output.splitlines()
    assert lines[0] == f"{store} was of version 1 and is now of version 2."
    assert lines[2] == "No row had to be changed."
    assert lines[4] == f"The registry as it was is kept in {store.with_name(COPY)}."
    assert first.exit_code == second.exit_code
    assert lines[5:] == second.output.splitlines()


def test_freeze_says_it_too(store: Path, tmp_path: Path) -> None:
    done = nidusbook("freeze", "--registry", store, "--out", tmp_path / "f", "--purpose", "quality")
    assert done.exit_code == 0
    assert "was of version 1 and is now of version 2." in done.output and COPY in done.output


def test_an_intake_that_comes_to_nothing_has_said_it_all_the_same(store: Path) -> None:
    done = nidusbook("intake", store.with_name("no.xlsx"), "--registry", store)
    assert done.exit_code == 2
    assert "was of version 1 and is now of version 2." in done.output and COPY in done.output


def test_a_trial_is_refused_in_a_sentence_and_changes_nothing(store: Path) -> None:
    content = store.read_bytes()
    done = nidusbook("intake", store.with_name("no.xlsx"), "--registry", store, "--try")
    assert done.exit_code == 2 and "nidusbook check brings it up" in done.output
    assert store.read_bytes() == content and len(list(store.parent.iterdir())) == 1


def test_a_report_of_an_older_freeze_says_so(monkeypatch: pytest.MonkeyPatch,
                                             tmp_path: Path) -> None:
    monkeypatch.setattr("analyses.study.one_study.Study.report", lambda *_, **__: ["Written."])
    done = nidusbook("report", FREEZE, "--out", tmp_path / "r")
    lines = done.output.splitlines()
    assert "is of version 1 and was read as version 2" in lines[0]
    assert lines[2] == "Written."


def test_a_notebook_that_shows_an_older_freeze_says_so() -> None:
    frozen = read_freeze(FREEZE)
    said = [sentence.text for sentence in freeze_section(frozen).blocks[0].sentences]
    assert set(frozen.opening) <= set(said)
