"""The declared lower bounds are ones that can be installed all at once."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from floors import PYPROJECT, NoFloorError, constraints, floor, requirements
from packaging.requirements import Requirement

DEPENDENCIES = list(requirements(PYPROJECT))


@pytest.mark.parametrize("requirement", DEPENDENCIES, ids=lambda one: one.name)
def test_every_requirement_names_one_lower_bound(requirement: Requirement) -> None:
    assert requirement.specifier.contains(floor(requirement))


def test_each_package_has_one_line() -> None:
    lines = constraints(DEPENDENCIES)
    assert all(re.fullmatch(r"[\w-]+==[\d.]+", line) for line in lines)
    assert [line.partition("==")[0] for line in lines] == sorted({one.name for one in DEPENDENCIES})


@pytest.mark.parametrize("wanted", ["pandas", "pandas<3", "pandas>=1,>=2"])
def test_a_requirement_without_one_lower_bound_is_refused(wanted: str) -> None:
    with pytest.raises(NoFloorError, match="pandas"):
        floor(Requirement(wanted))


def test_two_lower_bounds_of_one_package_are_refused() -> None:
    with pytest.raises(NoFloorError, match="pandas has two"):
        constraints([Requirement("pandas>=2.2"), Requirement("pandas>=2.1")])


def test_extras_are_read_after_the_package_itself(tmp_path: Path) -> None:
    (tmp_path / "pyproject.toml").write_text(
        '[project]\ndependencies = ["a>=1"]\n[project.optional-dependencies]\n'
        'test = ["b[c]>=2"]\n', encoding="utf-8")
    assert constraints(list(requirements(tmp_path / "pyproject.toml"))) == ["a==1", "b==2"]
