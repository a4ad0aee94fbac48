"""The rooms stand on floors, and know each other in one direction only (see DEVELOPERS.md).

Every import counts: at the top of a module, inside a function, and for a type checker alone.
"""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGES = ("registry", "analyses", "synthetic_cohort")
FLOORS = (
    # From the ground up; rooms of one floor do not know each other.
    ("registry.schema",),
    ("registry.problems",),
    ("registry.clinical",),
    ("registry.privacy", "registry.rules"),
    ("registry.store",),
    ("registry.intake",),
    ("registry.old_sheets",),
    ("registry.freeze", "registry.quality", "synthetic_cohort"),
    ("analyses.words",),
    ("analyses.statistics",),
    ("analyses.population",),
    ("analyses.measures",),
    ("analyses.literature", "analyses.models"),
    ("analyses.monitoring",),
    ("analyses.cases",),
    ("analyses.content",),
    ("analyses.figures",),
    ("analyses.renderers",),
    ("analyses.documents",),
    ("analyses.study",),
    ("analyses.commands",),
)
FACES = {"registry", "analyses"}
"""The public faces: they hand names on, and nothing inside the house goes through them but the
doors of the registry, which the outermost rooms open."""
DOORS = {"registry.open_registry": "registry.store.registry",
         "registry.read_freeze": "registry.freeze.freeze_reading"}


@cache
def modules() -> dict[str, Path]:
    """Module name → file, of all packages."""
    found = {}
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    assert len(found) > 300
    return found


def imported(path: Path) -> set[str]:
    """Every module of ours that a file imports, wherever in it."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert not node.level, f"{path}: a relative import"
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return {home for name in names if (home := home_of(name))}


def home_of(name: str) -> str:
    """The module of ours that a dotted name stands in; "" for none of ours."""
    name = DOORS.get(name, name)
    while name and name not in modules():
        name = name.rpartition(".")[0]
    return name


@cache
def graph() -> dict[str, frozenset[str]]:
    """Module → the modules it imports."""
    return {name: frozenset(imported(path) - {name})
            for name, path in modules().items() if name not in FACES}


def room_of(module: str) -> str:
    parts = module.split(".")
    return parts[0] if parts[0] == "synthetic_cohort" else ".".join(parts[:2])


def test_there_is_no_circle_anywhere() -> None:
    try:
        tuple(TopologicalSorter(graph()).static_order())
    except CycleError as circle:
        pytest.fail(" -> ".join(circle.args[1]))


def test_every_room_stands_on_a_floor_and_nothing_is_loose_beside_them() -> None:
    rooms = {room_of(name) for name in modules() if name not in FACES}
    assert rooms == {room for floor in FLOORS for room in floor}
    for package in ("registry", "analyses"):
        assert [path.name for path in (ROOT / package).glob("*.py")] == ["__init__.py"]


def test_every_import_leads_to_a_lower_floor() -> None:
    level = {room: place for place, floor in enumerate(FLOORS) for room in floor}
    upward = sorted(
        f"{name} -> {target}" for name, targets in graph().items() for target in targets
        if target not in FACES and room_of(name) != room_of(target)
        and level[room_of(target)] >= level[room_of(name)])
    assert not upward


def test_an_upward_import_would_be_seen() -> None:
    assert "analyses.statistics.estimate" in graph()["analyses.measures.measure"]
    assert "registry.store.registry" in imported(modules()["analyses.commands.store_opened"])


def test_one_meaning_a_name() -> None:
    homes = defaultdict(list)
    for name in modules():
        if modules()[name].name != "__init__.py" and not name.startswith("synthetic_cohort"):
            homes[name.rpartition(".")[2]].append(name)
    twice = {base: names for base, names in homes.items() if len(names) > 1}
    assert not twice


def test_no_module_is_loaded_by_a_name_in_a_string_but_the_faces() -> None:
    dynamic = [name for name, path in modules().items()
               if re.search(r"import_module\(|__import__\(", path.read_text(encoding="utf-8"))]
    # The rules' room loads its own modules and no others: no rule is forgotten.
    assert set(dynamic) <= FACES | {"registry.rules"}
