"""How many there are, and what the data leave open: the numbers behind "limitations".

`count.*` say how many units of each kind a freeze holds; `open.*` say how often something that a
reader would want to know is not known, or was judged by the one who did the work.
"""

from __future__ import annotations

import pandas as pd

from analyses.measures.catalogue import About, describe
from analyses.measures.counting import share
from analyses.measures.function import functional_outcomes
from analyses.measures.obliteration import final_lesions
from analyses.population.counted_events import LESION, unit_key
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate, counted_rows

COUNTED = ("patients", "lesions", "sessions", "injections", "catheters")
OPEN = {
    "open.function": About(
        "No visit at least 90 days after the last treatment",
        "no visit at least 90 days after the last treatment",
        "alive as far as is known, with no visit at least 90 days after the last treatment",
        "patients treated"),
    "open.imaging": About(
        "Never imaged after the end of treatment", "no image after the end of treatment",
        "no angiogram of any kind after the end of treatment",
        "lesions treated whose plan is not ongoing"),
    "open.occlusion_reader": About(
        "Occlusion read by the operator", "occlusion read by the operator alone",
        "occlusion read by the operator", "sessions of a lesion whose reader is recorded"),
    "open.mrs_rater": About(
        "mRS rated by the operator", "an mRS rated by the operator",
        "mRS rated by the operator", "visits whose rater is recorded"),
}
describe(OPEN)
describe({f"count.{name}": About(name.capitalize(), name, name, name)
          for name in (*COUNTED, "sites", "suite_log", "events")})


def count_estimates(units: Units) -> list[Estimate]:
    """`count.*`: units of each kind, sites, embolization complications, the suite's own log."""
    found = [_count(f"count.{name}", name.rstrip("s"), getattr(units, name)["key"])
             for name in COUNTED]
    sites = sorted(set(units.tables["patients"]["site_id"].dropna().astype(str)))
    found += [_count("count.sites", "site", sites), _events(units)]
    logged = units.tables["services"]["suite_log_procedures"].dropna()
    if len(logged):
        found.append(Estimate(id="count.suite_log", kind="count", value=float(logged.sum()),
                              n=int(logged.sum()), unit="procedure", method="count"))
    return found


def weakness_estimates(units: Units) -> list[Estimate]:
    """`count.*` and `open.*` estimates of one freeze."""
    outcome = functional_outcomes(units)
    final = final_lesions(units)
    return [
        *count_estimates(units),
        share(outcome.assign(event=outcome["independent"].isna().astype("boolean")), "event",
              id="open.function", unit="patient"),
        share(final.assign(event=(~final["imaged"].astype(bool)).astype("boolean")), "event",
              id="open.imaging", unit="lesion"),
        _judged(units.tables["sessions"], "occlusion_read_by", "session_no",
                "open.occlusion_reader", "session"),
        _judged(units.tables["follow_ups"], "mrs_rater", "follow_up_no", "open.mrs_rater",
                "visit"),
    ]


def _judged(table: pd.DataFrame, column: str, number: str, id: str, unit: str) -> Estimate:
    """How often the operator judged the own work, of the rows that say who judged."""
    rows = table.reset_index(drop=True)
    by_operator = rows[column].eq("operator").astype("boolean").where(rows[column].notna())
    frame = rows.assign(key=unit_key(rows, [*LESION, number]), event=by_operator)
    return share(frame, "event", id=id, unit=unit, unknown="that do not say who judged")


def _count(id: str, unit: str, keys: object) -> Estimate:
    named = [str(key) for key in keys]  # type: ignore[attr-defined]
    return Estimate(id=id, kind="count", value=float(len(named)), n=len(named), unit=unit,
                    method="count", counted=counted_rows(named, [False] * len(named)))


def _events(units: Units) -> Estimate:
    """Embolization complications; as its events those that had to be placed by their dates."""
    events = units.events
    by_date = events["placed_by_date"].astype(bool)
    return Estimate(
        id="count.events", kind="count", value=float(len(events)), n=len(events), unit="event",
        method="count", clusters=int(events["patient_id"].nunique()), events=int(by_date.sum()),
        counted=counted_rows(events["key"], by_date))
