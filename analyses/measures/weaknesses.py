"""How many there are, and what the data leave open: the numbers behind "limitations".

`count.*` say how many units of each kind a freeze holds; `open.*` say how often something that a
reader would want to know is not known, or was judged by the one who did the work.
"""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from analyses.measures.function import functional_outcomes
from analyses.measures.measure import Counts, Measure, Share, Worked
from analyses.measures.obliteration import final_lesions
from analyses.measures.places import Place
from analyses.population.counted_events import LESION, unit_key
from analyses.population.unit_frames import Units, once
from analyses.statistics.estimate import Estimate, counted_rows
from registry.schema import FollowUps, Patients, Services, Sessions

COUNTED = ("patients", "lesions", "sessions", "injections", "catheters")
@once
def count_estimates(units: Units) -> list[Estimate]:
    """`count.*`: units of each kind, sites, embolization complications, the suite's own log."""
    found = [_count(f"count.{name}", name.rstrip("s"), getattr(units, name)["key"])
             for name in COUNTED]
    embolized = units.patients.loc[units.patients["embolized"], "key"]
    found.append(_count(EMBOLIZED, "patient", embolized))
    sites = sorted(set(units.tables["patients"][Patients.site_id].dropna().astype(str)))
    found += [_count("count.sites", "site", sites), _events(units)]
    logged = units.tables["services"][Services.suite_log_procedures].dropna()
    if len(logged):
        found.append(Estimate(id="count.suite_log", kind="count", value=float(logged.sum()),
                              n=int(logged.sum()), unit="procedure", method="count"))
    return found


def _judged_by_operator(table: str, column: str, number: str) -> Counts:
    """How often the operator judged the own work, of the rows that say who judged."""
    def counts(units: Units, unit: str) -> pd.DataFrame:
        rows = units.tables[table].reset_index(drop=True)
        by_operator = rows[column].eq("operator").astype("boolean").where(rows[column].notna())
        return rows.assign(key=unit_key(rows, [*LESION, number]), event=by_operator)

    return counts


def _no_visit(units: Units, unit: str) -> pd.DataFrame:
    people = functional_outcomes(units)
    return people.assign(event=people["independent"].isna().astype("boolean"))


def _never_imaged(units: Units, unit: str) -> pd.DataFrame:
    final = final_lesions(units)
    return final.assign(event=(~final["imaged"].astype(bool)).astype("boolean"))


def _count(id: str, unit: str, keys: Iterable[object]) -> Estimate:
    named = [str(key) for key in keys]
    return Estimate(id=id, kind="count", value=float(len(named)), n=len(named), unit=unit,
                    method="count", counted=counted_rows(named, [False] * len(named)))


def _events(units: Units) -> Estimate:
    """Embolization complications; as its events those that had to be placed by their dates."""
    events = units.events
    by_date = events["placed_by_date"].astype(bool)
    return Estimate(
        id="count.events",
        kind="count",
        value=float(len(events)),
        n=len(events),
        unit="event",
        method="count",
        clusters=int(events[Patients.patient_id].nunique()),
        events=int(by_date.sum()),
        counted=counted_rows(events["key"], by_date),
    )


EMBOLIZED = "count.patients_embolized"
SITES, SESSIONS = "count.sites", "count.sessions"
SUITE_LOG, EVENTS = "count.suite_log", "count.events"
BY_HAND = "counted by hand on the small cohort"
NOT_SAID = "that do not say who judged"
UNITS_COUNTED = {"patients": "patient", "patients_embolized": "patient",
                 "lesions": "lesion", "sessions": "session", "injections": "injection",
                 "catheters": "catheter", "sites": "site",
                 "suite_log": "procedure", "events": "event"}
ANSWERS = {
    "lesions": ("avm-endovascular: Grade",),
    "sessions": ("avm-endovascular: Goal", "avm-endovascular: Procedure",
                 "avm-terminology: Treatment", "process 9"),
    "patients": ("process 7a", "process 13", "strobe 14a", "strobe 14b"),
}
COUNTS: tuple[Measure, ...] = tuple(
    Worked(id=f"count.{name}", units=(unit,), label=words.capitalize(), subject=words,
           counted=words, among=words, kind="count", work=count_estimates, checked_against=BY_HAND,
           answers=ANSWERS.get(name, ()),
           uses=("services.suite_log_procedures",) if name == "suite_log" else ())
    for name, unit in UNITS_COUNTED.items() for words in [name.replace("_", " ")])
OPEN_FUNCTION = Share(
    id="open.function", units=("patient",),
    label="No visit at least 90 days after the last treatment",
    subject="no visit at least 90 days after the last treatment",
    counted="alive as far as is known, with no visit at least 90 days after the last treatment",
    among="patients treated", counts=_no_visit, by=(),
    shown_in={Place.FUNCTION_TEXT: ("patient",), Place.LOST: ("patient",)},
    uses=("follow_ups.follow_up_date",),
    answers=("process 15",),
    checked_against=BY_HAND)
OPEN_IMAGING = Share(
    id="open.imaging", units=("lesion",), label="Never imaged after the end of treatment",
    subject="no image after the end of treatment",
    counted="no angiogram of any kind after the end of treatment",
    among="lesions treated whose plan is not ongoing", counts=_never_imaged, by=(),
    shown_in={Place.LOST: ("lesion",)},
    uses=("follow_ups.imaging", "resections.angiography_date"), checked_against=BY_HAND)
OPEN_READER = Share(
    id="open.occlusion_reader", units=("session",), label="Occlusion read by the operator",
    subject="occlusion read by the operator alone", counted="occlusion read by the operator",
    among="sessions of a lesion whose reader is recorded",
    counts=_judged_by_operator("sessions", Sessions.occlusion_read_by, Sessions.session_no), by=(),
    shown_in={Place.JUDGED: ("session",)},
    unknown=NOT_SAID, uses=("sessions.occlusion_read_by",), answers=("strobe 8",),
    checked_against=BY_HAND)
OPEN_RATER = Share(
    id="open.mrs_rater", units=("visit",), label="mRS rated by the operator",
    subject="an mRS rated by the operator", counted="mRS rated by the operator",
    among="visits whose rater is recorded",
    counts=_judged_by_operator("follow_ups", FollowUps.mrs_rater, FollowUps.follow_up_no), by=(),
    shown_in={Place.JUDGED: ("visit",)},
    unknown=NOT_SAID, uses=("follow_ups.mrs_rater",), answers=("strobe 8",),
    checked_against=BY_HAND)
