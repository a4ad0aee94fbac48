"""The rooms that pyproject lists for the type checker hold no error, and every ignored one has a
reason beside it."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
CHECKED = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["mypy"]


@pytest.mark.slow
def test_the_type_checker_finds_nothing_in_the_rooms_listed() -> None:
    done = subprocess.run([sys.executable, "-m", "mypy"], capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 0, done.stdout


def test_the_type_checker_is_strict() -> None:
    assert CHECKED["strict"] is True


@pytest.mark.parametrize("room", CHECKED["files"])
def test_an_ignored_type_error_has_its_reason_beside_it(room: str) -> None:
    bare = re.compile(r"# type: ignore(\[[\w, -]+\])?\s*$")
    found = [f"{path}:{number}" for path in sorted((ROOT / room).rglob("*.py"))
             for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
             if bare.search(line)]
    assert not found
