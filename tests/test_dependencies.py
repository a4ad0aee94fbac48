"""Every library that is declared is at work, and every one at work is declared."""

from __future__ import annotations

import ast
import json
import re
import sys
import tomllib
from collections.abc import Iterator
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ROOMS = ("registry", "analyses", "synthetic_cohort", "notebooks")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
STARTED = {
    "jupyterlab": "the program in which a notebook is opened",
    "ipykernel": "the kernel in which a notebook runs",
}
"""Distributions that are started and not imported, each with its reason."""


def plain(name: str) -> str:
    """The name of a distribution as registries compare it: lower case, one kind of dash."""
    return re.sub(r"[-_.]+", "-", name).lower()


def declared(lists: list[list[str]]) -> set[str]:
    """The distributions of these lists, without versions and extras."""
    return {plain(re.split(r"[\s\[<>=!~;]", line, maxsplit=1)[0])
            for lines in lists for line in lines}


def sources() -> Iterator[tuple[Path, str]]:
    """Every file of ours that Python reads, notebooks' cells as one text."""
    for room in ROOMS:
        for path in sorted((ROOT / room).rglob("*.py")):
            yield path, path.read_text(encoding="utf-8")
        for path in sorted((ROOT / room).rglob("*.ipynb")):
            cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
            code = ("".join(cell["source"]) for cell in cells if cell["cell_type"] == "code")
            yield path, "\n".join(code)


def imported() -> dict[str, Path]:
    """Top-level packages that are really imported (not for types alone), and where."""
    found: dict[str, Path] = {}
    for path, text in sources():
        for node in _at_work(ast.parse(text)):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else (
                [node.module or ""] if not node.level else [])
            for name in names:
                found.setdefault(name.partition(".")[0], path)
    return {name: path for name, path in found.items()
            if name and name not in sys.stdlib_module_names and name not in ROOMS}


def _at_work(tree: ast.AST) -> Iterator[ast.Import | ast.ImportFrom]:
    """The imports of a file but those under `if TYPE_CHECKING`."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, (ast.Import, ast.ImportFrom)):
            yield node
        elif not (isinstance(node, ast.If) and isinstance(node.test, ast.Name)
                  and node.test.id == "TYPE_CHECKING"):
            yield from _at_work(node)


HOMES = {package: {plain(name) for name in names}
         for package, names in packages_distributions().items()}
USED = {name for package in imported() for name in HOMES.get(package, {plain(package)})}


@pytest.mark.parametrize("name", sorted(declared([PROJECT["dependencies"]])))
def test_a_declared_library_is_at_work(name: str) -> None:
    assert name in USED or name in STARTED, f"{name} is declared and imported nowhere"


@pytest.mark.parametrize("package", sorted(imported()))
def test_an_imported_library_is_declared(package: str) -> None:
    known = declared([PROJECT["dependencies"], PROJECT["optional-dependencies"]["postgresql"]])
    homes = HOMES.get(package, {plain(package)})
    assert homes & known, f"{package} is imported in {imported()[package]} and not declared"


def test_a_program_that_is_only_started_is_not_imported_after_all() -> None:
    assert not set(STARTED) & USED


@pytest.mark.parametrize("text, expected", [
    ("import scipy.stats", {"scipy"}), ("def f():\n    from lifelines import X", {"lifelines"}),
    ("if TYPE_CHECKING:\n    import pandas", set()), ("from . import x", set()),
])
def test_imports_are_found_wherever_they_stand(text: str, expected: set[str]) -> None:
    found = {(node.module or "") if isinstance(node, ast.ImportFrom) else node.names[0].name
             for node in _at_work(ast.parse(text))}
    assert {name.partition(".")[0] for name in found} - {""} == expected
