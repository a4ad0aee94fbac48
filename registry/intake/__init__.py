"""Intake: files of a service in, rows of the registry and problems a person can act on out.

Names are loaded when asked for, because reading needs pandas and writing needs more.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_HOME = {
    "Batch": "batch",
    "HeldRow": "batch",
    "OutputError": "problems",
    "Outcome": "take_in",
    "Place": "problems",
    "Problem": "problems",
    "SourceError": "problems",
    "draft_mapping": "draft",
    "fill_workbook": "workbook_write",
    "read_source": "reading",
    "take_in_file": "take_in",
    "write_returned": "returned",
    "write_workbook": "workbook_write",
}

__all__ = [
    "Batch", "HeldRow", "OutputError", "Outcome", "Place", "Problem", "SourceError",
    "draft_mapping", "fill_workbook", "read_source", "take_in_file", "write_returned",
    "write_workbook",
]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(f"registry.intake.{_HOME[name]}"), name)
    raise AttributeError(f"module 'registry.intake' has no attribute {name!r}")
