"""The headline measures as unit frames with one column `event`: what is compared and questioned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from analyses.measures.function import functional_outcomes
from analyses.measures.harm import combined_patients, event_flags, marked_units
from analyses.measures.obliteration import embolized_lesions, final_lesions
from analyses.population.unit_frames import Units


@dataclass(frozen=True)
class Headline:
    """A measure: its id and unit, and the frame of its units with `event` (boolean or blank)."""

    id: str
    unit: str
    frame: pd.DataFrame

    def known(self) -> pd.DataFrame:
        """The units whose outcome is known."""
        return self.frame[self.frame["event"].notna()]


SESSION_EVENTS = (
    "complication.any", "complication.symptomatic", "complication.permanent_deficit",
)
HEADLINE_IDS = (
    "obliteration.embolization_complete", "obliteration.final_confirmed", *SESSION_EVENTS,
    "combined.permanent_deficit_or_death", "function.independent",
)


def headlines(units: Units) -> Mapping[str, Headline]:
    """Every headline measure by its id, in the order of the report."""
    flags = event_flags(units.events)
    found = [
        Headline("obliteration.embolization_complete", "lesion",
                 _named(embolized_lesions(units), "complete")),
        Headline("obliteration.final_confirmed", "lesion",
                 _named(final_lesions(units), "confirmed")),
        *(Headline(id, "session", marked_units(units, "session", flags[id]))
          for id in SESSION_EVENTS),
        Headline("combined.permanent_deficit_or_death", "patient",
                 _named(combined_patients(units), "harmed")),
        Headline("function.independent", "patient",
                 _named(functional_outcomes(units), "independent")),
    ]
    return {headline.id: headline for headline in found}


def _named(frame: pd.DataFrame, column: str) -> pd.DataFrame:
    return frame.assign(event=frame[column].astype("boolean"))
