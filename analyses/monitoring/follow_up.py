"""Follow-up due and overdue: kept with the registry, whose own check shows it too."""

from __future__ import annotations

from registry.follow_up import follow_up_due, follow_up_of
from registry.follow_up_schedule import (
    Schedule,
    ScheduleError,
    Visit,
    default_schedule,
    read_schedule,
)

__all__ = [
    "Schedule", "ScheduleError", "Visit", "default_schedule", "follow_up_due", "follow_up_of",
    "read_schedule",
]
