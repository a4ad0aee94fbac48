"""Does the result of a session change with the operator's experience? The frame and the model."""

from __future__ import annotations

import pandas as pd

from analyses.measures.durations import DAYS_A_YEAR
from analyses.models.learning_effect import LearningEffect, learning_effect
from analyses.models.technique_frame import technique_frames
from analyses.population.unit_frames import Units
from registry.schema import Sessions

ADJUST = ("sm_grade", "ruptured")


def learning_sessions(units: Units) -> pd.DataFrame:
    """Procedures with `event` (any complication), `case_number`, `operator_id`, ADJUST, and `year`
    (calendar time in years of 365.25 days from the first procedure)."""
    frame = technique_frames(units)["session"]
    rows = units.sessions.set_index("key")
    days = frame["key"].map(rows[Sessions.session_date])
    return frame.assign(operator_id=frame["key"].map(rows[Sessions.operator_id].astype(object)),
                        year=(days - days.min()).dt.days.astype(float) / DAYS_A_YEAR)


def learning_of_sessions(units: Units) -> LearningEffect | str:
    """The adjusted effect of case_number on any complication, or why there is none."""
    try:
        found = learning_effect(learning_sessions(units), "event", ADJUST)
    except ValueError as problem:
        return str(problem)
    return found
