"""What every truth table in tests/reference says of itself, and the criterion it is read by."""

from __future__ import annotations

import datetime
import subprocess
import zlib
from pathlib import Path

import numpy as np


def rng_of(cell: object) -> np.random.Generator:
    """A generator seeded by the cell itself, so that cells do not depend on their order."""
    return np.random.default_rng(zlib.crc32(repr(cell).encode()))


def floor_of(target: float, replicates: int) -> float:
    """A wanted share less three Monte Carlo standard errors."""
    return target - 3 * float(np.sqrt(target * (1 - target) / replicates))


def ceiling_of(target: float, replicates: int) -> float:
    """A share not to be passed, with three Monte Carlo standard errors."""
    return target + 3 * float(np.sqrt(target * (1 - target) / replicates))


def heading(title: str, replicates: int, script: str) -> str:
    """Title, sets a cell, date, commit, and the command that makes the table again."""
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=True,
        cwd=Path(script).parent,
    ).stdout.strip()
    return (f"# {title}\n\n{replicates:,} sets a cell, {datetime.date.today().isoformat()}, "
            f"commit {commit}; `python tests/{Path(script).name}`.\n")
