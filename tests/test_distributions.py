"""What is handed out: the wheel holds all that runs, the source distribution all that tests it."""

from __future__ import annotations

import subprocess
import sys
import tarfile
import tomllib
from email.parser import Parser
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
PACKAGES = ("registry", "analyses", "synthetic_cohort")
BY_THE_WAY = {"__pycache__", ".ipynb_checkpoints", "nidusbook-demo"}


def files_of(folder: Path) -> set[str]:
    """The files below a folder as paths in it, without what running leaves behind."""
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*")
            if path.is_file() and not BY_THE_WAY & set(path.relative_to(folder).parts)}


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the wheel and the source distribution of this tree."""
    out = tmp_path_factory.mktemp("dist")
    subprocess.run([sys.executable, "-m", "hatchling", "build", "-d", str(out)], cwd=ROOT,
                   check=True, capture_output=True)
    return out


@pytest.fixture(scope="module")
def installed(built: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel laid out as an installer does it, without what it depends on."""
    target = tmp_path_factory.mktemp("installed")
    wheel, = built.glob("*.whl")
    subprocess.run([sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index",
                    "--target", str(target), str(wheel)], check=True, capture_output=True)
    return target


@pytest.mark.parametrize("package", PACKAGES)
def test_the_wheel_has_every_file_of_its_packages(package: str, installed: Path) -> None:
    here = files_of(ROOT / package)
    assert "py.typed" in here
    assert here <= files_of(installed / package)


@pytest.mark.parametrize("suffix", [".toml", ".csv", ".css", ".js", ".html", ".typed", ".ipynb"])
def test_data_travel_beside_the_code(suffix: str, installed: Path) -> None:
    assert [name for name in files_of(installed) if name.endswith(suffix)]


def test_an_installed_copy_finds_its_own_notebooks(installed: Path) -> None:
    code = (f"import sys; sys.path.insert(0, {str(installed)!r})\n"
            "from analyses.commands.notebook_copy import notebook_names, notebooks_folder\n"
            "print(notebooks_folder(), *notebook_names(), sep='\\n')")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True,
                          cwd=installed, check=True)
    folder, *names = done.stdout.splitlines()
    assert Path(folder).is_relative_to(installed)
    assert names == sorted(path.stem for path in (ROOT / "notebooks").glob("*.ipynb"))


def test_nothing_else_is_put_beside_other_libraries(installed: Path) -> None:
    top = {path.name for path in installed.iterdir() if not path.name.endswith(".dist-info")}
    assert top - {"bin"} == set(PACKAGES)


def test_the_licence_is_said_in_the_form_that_programs_read(installed: Path) -> None:
    folder, = installed.glob("*.dist-info")
    said = Parser().parsestr((folder / "METADATA").read_text(encoding="utf-8"))
    assert said["License-Expression"] == "BSD-3-Clause"
    assert said["Version"] == PROJECT["version"]
    assert (folder / "licenses" / "LICENSE").read_bytes() == (ROOT / "LICENSE").read_bytes()


@pytest.mark.parametrize("room", [*PACKAGES, "notebooks", "tests"])
def test_the_source_distribution_can_be_built_and_tested_again(room: str, built: Path) -> None:
    packed, = built.glob("*.tar.gz")
    with tarfile.open(packed) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    assert {"pyproject.toml", "README.md", "DEVELOPERS.md", "LICENSE"} <= names
    assert {f"{room}/{name}" for name in files_of(ROOT / room)} <= names
