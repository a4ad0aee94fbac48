"""Documents: one content model, several renderers. `write_report` is the way in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analyses.reports.making import write_report

__all__ = ["write_report"]


def __getattr__(name: str) -> Any:
    """Load the maker of reports only when a report is asked for."""
    if name == "write_report":
        from analyses.reports.making import write_report

        return write_report
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
