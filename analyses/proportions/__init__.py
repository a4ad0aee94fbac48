"""Proportions and differences of proportions, with the patient respected where rows repeat.

Units in, `Estimate` out. Every function takes the keyword-only names `id`, `unit`, `group` and
`keys` (one key a row, text or a tuple of parts) and puts them on the estimate. Nothing to count
gives an estimate without a value and the flag for it, never an exception.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analyses.proportions.bounds import proportion_bounds
    from analyses.proportions.clustered import clustered_proportion
    from analyses.proportions.difference import clustered_difference, proportion_difference
    from analyses.proportions.independent import proportion

__all__ = [
    "clustered_difference",
    "clustered_proportion",
    "proportion",
    "proportion_bounds",
    "proportion_difference",
]

_HOMES = {
    "clustered_difference": "difference",
    "clustered_proportion": "clustered",
    "proportion": "independent",
    "proportion_bounds": "bounds",
    "proportion_difference": "difference",
}


def __getattr__(name: str) -> Any:
    """Load a function's module when it is first asked for."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
