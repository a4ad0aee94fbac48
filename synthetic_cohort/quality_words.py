"""The words file of the fictional service's improvement project, for the quality report."""

from __future__ import annotations

import pandas as pd

WORDS = '''\
# The words of a quality report; the numbers come from the freeze. Nothing here is real.
# Hand it over with:  nidusbook report FREEZE --out DIR --for quality --project THIS-FILE
title = "Fewer complications of embolization: agreeing the reflux limit"
aim = "{aim}"
baseline = "All sessions before the change; reflux was often named as the mechanism at review."
context = "One fictional service with four operators; the whole team takes part."

[[measures]]
name = "Any complication"
kind = "outcome"            # outcome, process or balancing
definition = "Sessions with an embolization complication within 30 days / sessions."
estimate = "complication.any"     # an id of results.json

[[measures]]
name = "Reflux limit kept"
kind = "process"
definition = "Injections with the limit agreed and not passed / injections with it recorded."
estimate = "technique.reflux"

[[measures]]
name = "Immediate complete occlusion"
kind = "balancing"
definition = "Occlusion 100 % at the last session / lesions embolized and assessed."
estimate = "obliteration.embolization_complete"

[[measures]]
name = "Sessions a patient"
kind = "balancing"
definition = "Embolization sessions of each patient embolized."
estimate = "procedure.sessions"
{change}'''

CHANGE = '''
[[changes]]
date = {day}
what = "Reflux limit agreed before each injection"
why = "reflux was often named as the mechanism at review"
new_stage = true
'''


def quality_words(change_date: pd.Timestamp | None) -> str:
    """The words file as TOML text, with the day on which the service changed its practice.

    change_date: as of `Cohort`; with None the file names no change.
    """
    if change_date is None:
        return WORDS.format(
            aim="The share of sessions with any complication is known and followed.", change="")
    day = f"{change_date:%Y-%m-%d}"
    return WORDS.format(
        aim=f"From {day} on, the share of sessions with any complication falls and stays lower.",
        change=CHANGE.format(day=day))
