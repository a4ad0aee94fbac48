"""Privacy: who may be named stays out at the door, and what leaves cannot be traced back.

`identifying_heading` and `identifying_content` recognise direct identifiers; `StudyCodes` makes
study codes from the service's own numbers with a keyed hash; `cap_ages`, `shift_dates` and
`suppress_small` are for files that leave.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_HOME = {
    "KeyFileError": "key_file",
    "StudyCodes": "study_codes",
    "Suppressed": "small_cells",
    "cap_ages": "leaving",
    "identifying_content": "contents",
    "identifying_heading": "headings",
    "open_key": "key_file",
    "shift_dates": "leaving",
    "suppress_small": "small_cells",
}

__all__ = [
    "KeyFileError", "StudyCodes", "Suppressed", "cap_ages", "identifying_content",
    "identifying_heading", "open_key", "shift_dates", "suppress_small",
]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(f"registry.privacy.{_HOME[name]}"), name)
    raise AttributeError(f"module 'registry.privacy' has no attribute {name!r}")
