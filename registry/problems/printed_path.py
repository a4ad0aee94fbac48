"""A path as it is printed."""

from __future__ import annotations

import os
from pathlib import Path


def shorter_path(path: Path) -> Path:
    """A path as it is shortest to read: from the folder one is in, or as it was given."""
    if not path.is_absolute():
        return path
    near = Path(os.path.relpath(path))
    return near if len(str(near)) < len(str(path)) else path
