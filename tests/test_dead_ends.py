"""Nothing in the house is for tests alone: what nobody can reach is put to use, or taken out."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from dead_ends import ROOT, House

STEPS = "registry.schema.migrations.change_steps."
FOR_THE_NEXT_MIGRATION = {
    # What a migration can be written in has to be there, and proved, before one is needed;
    # `test_numbered_migrations.py` does all of them.
    STEPS + name for name in ("AddField", "AddTable", "ChangeValues", "DropField", "SplitField",
                              "_typed")
}


def test_nothing_is_reached_by_tests_alone() -> None:
    assert set(House(ROOT).dead_ends()) == FOR_THE_NEXT_MIGRATION


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """A small house: a face, a command, a notebook, a page, a register; each reaches something."""
    write(tmp_path, "registry/__init__.py",
          "from registry.shown import shown\n__all__ = ['shown']\n")
    write(tmp_path, "registry/shown.py",
          "from registry.inner import Box, helper as helps\n"
          "def shown(unused):\n    unused = Box()\n    return helps(unused).opened()\n")
    write(tmp_path, "registry/inner.py",
          "class Box:\n    def opened(self): pass\n    def titled(self): pass\n"
          "def helper(box): return box\n"
          "@register\ndef in_a_register(): return _through_it()\n"
          "def _through_it(): pass\n")
    write(tmp_path, "registry/page.html", "{{ box.titled }}\n")
    write(tmp_path, "analyses/start.py", "def main(): pass\n")
    write(tmp_path, "analyses/book.py", "def for_the_notebook(): pass\n")
    write(tmp_path, "notebooks/one.ipynb", json.dumps({"cells": [
        {"cell_type": "code", "source": ["from analyses import book\n", "book.for_the_notebook()"]},
        {"cell_type": "markdown", "source": ["planted()"]}]}))
    write(tmp_path, "pyproject.toml", '[project]\nscripts = {ours = "analyses.start:main"}\n')
    return tmp_path


def write(root: Path, name: str, text: str) -> None:
    path = root / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")


def test_faces_commands_notebooks_pages_and_registers_reach_what_they_name(house: Path) -> None:
    assert House(house).dead_ends() == []


@pytest.mark.parametrize(("planted", "found"), [
    ("def planted(): pass\n", ["analyses.more.planted"]),
    ("class Planted:\n    pass\n", ["analyses.more.Planted"]),
    # Used by another dead end, or by itself, is not used.
    ("def planted(): return other()\ndef other(): pass\n",
     ["analyses.more.other", "analyses.more.planted"]),
    ("def planted(n): return planted(n - 1)\n", ["analyses.more.planted"]),
    ("def _planted(): pass\n", ["analyses.more._planted"]),
    # An import is no use, nor is a parameter or variable of the same name.
    ("from registry.inner import helper\ndef planted(): pass\n", ["analyses.more.planted"]),
    ("def planted(): pass\nTABLE = [planted for planted in ()]\n", ["analyses.more.planted"]),
    ("class Kept:\n    def open(self): pass\n    def _inner(self): pass\nKEPT = Kept()\n",
     ["analyses.more.Kept.open"]),
])
def test_a_planted_dead_end_is_found(house: Path, planted: str, found: list[str]) -> None:
    write(house, "analyses/more.py", planted)
    assert House(house).dead_ends() == found


def test_a_test_that_uses_it_does_not_keep_it(house: Path) -> None:
    write(house, "analyses/more.py", "def planted(): pass\n")
    write(house, "tests/test_more.py", "from analyses.more import planted\nplanted()\n")
    assert House(house).dead_ends() == ["analyses.more.planted"]
