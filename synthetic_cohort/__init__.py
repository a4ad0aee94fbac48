"""A fictional service with known truth, made through the registry's own schema.

`make_cohort(patients, seed)` gives typed tables; `CohortSettings` says what the service is
like; `Truth` is what is known of it. Everything is invented: no patient, operator or site exists.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from synthetic_cohort.cohort import Cohort, make_cohort
    from synthetic_cohort.settings import CohortSettings
    from synthetic_cohort.truth import Truth

__all__ = ["Cohort", "CohortSettings", "Truth", "make_cohort"]


def __getattr__(name: str) -> Any:
    """Load a part only when somebody asks for it (importing pandas takes a while)."""
    if name in {"Cohort", "make_cohort"}:
        from synthetic_cohort import cohort

        return getattr(cohort, name)
    if name == "CohortSettings":
        from synthetic_cohort.settings import CohortSettings

        return CohortSettings
    if name == "Truth":
        from synthetic_cohort.truth import Truth

        return Truth
    raise AttributeError(f"module 'synthetic_cohort' has no attribute {name!r}")
