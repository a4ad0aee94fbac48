"""The declared lower bounds as constraints, for CI to install all of them at once.

    python tests/floors.py > floors.txt && pip install -c floors.txt ".[test]"

Prints a line `name==floor` for every requirement of pyproject.toml, those of the tests included.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from pathlib import Path

from packaging.requirements import Requirement

PYPROJECT = Path(__file__).parents[1] / "pyproject.toml"


class NoFloorError(Exception):
    """A requirement without a lower bound: nobody could say what it was tried with."""


def requirements(pyproject: Path) -> Iterator[Requirement]:
    """Every requirement of a pyproject.toml: the package's, then those of its extras."""
    project = tomllib.loads(pyproject.read_text(encoding="utf-8"))["project"]
    for line in (*project["dependencies"],
                 *(line for extra in project["optional-dependencies"].values() for line in extra)):
        yield Requirement(line)


def floor(requirement: Requirement) -> str:
    """The lower bound of a requirement. Raises NoFloorError where there is none, or several."""
    bounds = [one.version for one in requirement.specifier if one.operator in {">=", "=="}]
    if len(bounds) != 1:
        raise NoFloorError(f"{requirement} has to name one lower bound.")
    return bounds[0]


def constraints(wanted: Sequence[Requirement]) -> list[str]:
    """One line `name==floor` a package, sorted. Raises NoFloorError where two bounds differ."""
    floors: dict[str, str] = {}
    for one in wanted:
        if floors.setdefault(one.name, floor(one)) != floor(one):
            raise NoFloorError(f"{one.name} has two lower bounds.")
    return [f"{name}=={version}" for name, version in sorted(floors.items())]


if __name__ == "__main__":
    print("\n".join(constraints(list(requirements(PYPROJECT)))))
