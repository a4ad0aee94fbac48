"""Recorded reference values, and running again the R scripts that made them."""

from __future__ import annotations

import json
import math
import shutil
import subprocess
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent / "reference"


def recorded(name: str) -> Any:
    """The values recorded from `tests/reference/NAME.R` (see the script for its source)."""
    return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))


def run_r(name: str, timeout: int = 600) -> Any:
    """Run `tests/reference/NAME.R` and return the JSON it prints.

    Raises AssertionError where R or the script fails: in CI a missing R is a failure.
    """
    program = shutil.which("Rscript")
    assert program, "Rscript is not on this machine; install r-base-core and the r-cran packages"
    done = subprocess.run(
        [program, "--vanilla", str(FOLDER / f"{name}.R")],
        capture_output=True, text=True, timeout=timeout, cwd=FOLDER, check=False,
    )
    assert done.returncode == 0, f"{name}.R failed:\n{done.stderr[-2000:]}"
    return json.loads(done.stdout)


def assert_same(found: Any, expected: Any, rel: float = 1e-8, where: str = "") -> None:
    """Compare two JSON values, numbers to a relative tolerance, and name the place of a break."""
    if isinstance(expected, dict):
        assert isinstance(found, dict) and found.keys() == expected.keys(), where
        for key, value in expected.items():
            assert_same(found[key], value, rel, f"{where}/{key}")
    elif isinstance(expected, list):
        assert isinstance(found, list) and len(found) == len(expected), where
        for place, value in enumerate(expected):
            assert_same(found[place], value, rel, f"{where}/{place}")
    elif isinstance(expected, (int, float)) and not isinstance(expected, bool):
        assert math.isclose(float(found), float(expected), rel_tol=rel, abs_tol=1e-10), (
            f"{where}: found {found}, recorded {expected}"
        )
    else:
        assert found == expected, f"{where}: found {found}, recorded {expected}"
