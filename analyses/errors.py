"""Faults that a person can mend: their message is a sentence, and no traceback is shown."""

from __future__ import annotations


def plain_errors() -> tuple[type[Exception], ...]:
    """The error classes whose message is meant for the user."""
    from registry.freeze import FreezeError
    from registry.store import RegistryError

    from analyses.reports.write import ReportError
    from registry.intake.problems import SourceError
    from registry.practice_limits import PracticeLimitsError

    return (ReportError, FreezeError, SourceError, PracticeLimitsError, RegistryError)
