"""Every error of our own is whole sentences: no traceback, at the command line or in a notebook."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from analyses.renderers.report_folder import ReportError
from registry.clinical.practice_limits import PracticeLimitsError
from registry.quality.follow_up_schedule import ScheduleError
from registry.store.store_error import RegistryError

ROOT = Path(__file__).parents[1]
FAULTS_OF_THE_LANGUAGE = {"Exception", "ValueError", "RuntimeError", "KeyError", "TypeError"}


def own_errors() -> list[tuple[str, set[str]]]:
    """Every exception class of the packages, with the names it is based on."""
    return [
        (f"{path.relative_to(ROOT)}: {node.name}",
         {base.id for base in node.bases if isinstance(base, ast.Name)})
        for room in ("registry", "analyses", "synthetic_cohort")
        for path in sorted((ROOT / room).rglob("*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ClassDef)
    ]


def test_no_error_of_ours_is_based_on_the_languages_alone():
    bare = [name for name, bases in own_errors()
            if bases & FAULTS_OF_THE_LANGUAGE and "SentenceError" not in bases
            and not name.startswith("registry/problems/sentence_error.py")]
    assert bare == []


@pytest.mark.parametrize("error", [
    ReportError, RegistryError, PracticeLimitsError, ScheduleError,
])
def test_a_notebook_shows_the_sentence_alone(error):
    assert error("The file is a folder.")._render_traceback_() == ["The file is a folder."]
