"""The notebooks as committed: thin, plain, without outputs, one cell to change."""

from __future__ import annotations

import ast
import re

import nbformat
import pytest
from notebook_books import FOLDER, NAMES, cell_to_change, code_cells, read

ALL = sorted(path.stem for path in FOLDER.glob("*.ipynb"))
OURS = ("analyses", "registry", "synthetic_cohort")
COMPUTING = (ast.BinOp, ast.For, ast.While, ast.ListComp, ast.SetComp, ast.DictComp,
             ast.GeneratorExp, ast.FunctionDef, ast.Lambda, ast.AugAssign)


def test_there_is_a_notebook_for_each_question() -> None:
    assert set(NAMES) <= set(ALL)


@pytest.mark.parametrize("name", ALL)
def test_it_is_a_valid_notebook_with_names_for_its_cells(name: str) -> None:
    book = read(name)
    nbformat.validate(book)
    assert book.metadata.kernelspec.name == "python3"
    ids = [cell.id for cell in book.cells]
    assert len(set(ids)) == len(ids)
    assert all(re.fullmatch(r"[a-z][a-z-]+", one) for one in ids)


@pytest.mark.parametrize("name", ALL)
def test_no_output_is_committed(name: str) -> None:
    for cell in code_cells(read(name)):
        assert cell.outputs == [] and cell.execution_count is None


@pytest.mark.parametrize("name", ALL)
def test_one_cell_is_to_be_changed_and_it_holds_only_names_and_paths(name: str) -> None:
    for statement in ast.parse(cell_to_change(read(name)).source).body:
        assert isinstance(statement, ast.Assign)
        assert isinstance(statement.value, ast.Constant)


@pytest.mark.parametrize("name", ALL)
def test_a_notebook_computes_nothing_itself(name: str) -> None:
    for cell in code_cells(read(name)):
        for node in ast.walk(ast.parse(cell.source)):
            assert not isinstance(node, COMPUTING), (cell.id, ast.unparse(node))
            modules = ([alias.name for alias in node.names] if isinstance(node, ast.Import)
                       else [node.module or ""] if isinstance(node, ast.ImportFrom) else [])
            assert all(module.split(".")[0] in OURS for module in modules), modules


@pytest.mark.parametrize("name", ALL)
def test_it_says_what_is_asked_shown_and_not_shown_and_what_it_is_not_for(name: str) -> None:
    book = read(name)
    first = book.cells[0].source
    assert all(word in first for word in ("**Asked:**", "**Shown:**", "**Not shown:**"))
    text = "\n".join(cell.source for cell in book.cells if cell.cell_type == "markdown")
    assert "stays inside the service" in text or "not for decisions on one" in text or (
        "do not circulate" in text)


@pytest.mark.parametrize("name", ALL)
def test_no_path_of_a_machine_stands_in_it(name: str) -> None:
    text = (FOLDER / f"{name}.ipynb").read_text(encoding="utf-8")
    assert not re.search(r"(/home/|/tmp/|/work/|/Users/|[A-Z]:\\\\)", text)
    assert text.endswith("}\n") and not text.endswith("\n\n")
