"""The rooms know each other in one direction only (see DEVELOPERS.md)."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
HEAVY = ("matplotlib", "statsmodels", "lifelines", "seaborn", "sklearn", "pandas", "scipy")


def imported(path: Path) -> set[str]:
    """Every module that a file imports, wherever in it."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def files(room: str) -> list[Path]:
    found = sorted((ROOT / room).rglob("*.py"))
    assert found, f"no files in {room}"
    return found


def reaches(path: Path, *rooms: str) -> set[str]:
    return {name for name in imported(path)
            if any(name == room or name.startswith(f"{room}.") for room in rooms)}


@pytest.mark.parametrize("path", files("registry"), ids=str)
def test_registry_knows_nothing_of_the_analyses(path: Path) -> None:
    assert not reaches(path, "analyses", "synthetic_cohort")


@pytest.mark.parametrize("path", files("analyses"), ids=str)
def test_only_the_commands_open_a_store(path: Path) -> None:
    if path.parent == ROOT / "analyses" / "commands":
        return
    assert not reaches(path, "registry.store", "registry.intake", "synthetic_cohort")
    assert "registry.open_registry" not in imported(path)


@pytest.mark.parametrize("path", files("synthetic_cohort"), ids=str)
def test_the_synthetic_cohort_uses_only_the_schema(path: Path) -> None:
    assert not reaches(path, "analyses")
    ours = reaches(path, "registry")
    assert all(name == "registry" or name.startswith("registry.schema") for name in ours), ours


@pytest.mark.parametrize("package", ["registry", "analyses", "synthetic_cohort",
                                     "analyses.monitoring", "analyses.statistics.regression",
                                     "analyses.statistics.timetoevent", "registry.intake"])
def test_a_package_loads_nothing_heavy_by_itself(package: str) -> None:
    code = (f"import sys, {package}; "
            f"print(','.join(m for m in {HEAVY!r} if m in sys.modules))")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True,
                          cwd=ROOT, check=True)
    assert done.stdout.strip() == ""


CLINICAL = re.compile(
    r"session|operator|emboli|resect|haemorrh|bleed|oblitera|angiogr|imaging|lesion|nidus|surgeon"
    r"|spetzler|catheter|sm_grade|ruptured", re.IGNORECASE)


@pytest.mark.parametrize("path", files("analyses/statistics"), ids=str)
def test_the_statistics_hold_no_clinical_word(path: Path) -> None:
    assert not CLINICAL.findall(path.read_text(encoding="utf-8"))
