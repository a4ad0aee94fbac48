"""Within the practice limits or not: the technique.* estimates.

Liquid copolymer injections only; `technique.mixing` is a fact of the session. A value that was
not recorded is neither within nor outside: such injections leave the denominator and are counted
beside it. The limits are those of `registry.clinical.practice_limits` unless a service gives its
own; the product's instructions for use and local protocol come first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pandas as pd

from analyses.measures.counting import shares
from analyses.measures.measure import Counts, Share
from analyses.measures.places import Place
from analyses.population.procedure_rows import injection_rows, operator_groups, procedure_rows
from analyses.population.unit_frames import GROUPINGS, Units, once
from analyses.statistics.estimate import Estimate
from registry.clinical.practice_limits import injection_limits, mixing_within
from registry.clinical.technique import INJECTION_KEY
from registry.schema import Sessions
from registry.schema.vocabulary import EVOH_AGENTS

PER_INJECTION = ("dead_space", "rate", "pause", "reflux", "halted")
NOT_RECORDED = "with the value not recorded"
BY = (*GROUPINGS, "formulation")


@once
def judged_injections(units: Units) -> pd.DataFrame:
    """Liquid copolymer injections with a column a limit (True within, False outside, blank)."""
    judged = injection_limits(units.tables["injections"], units.tables["sessions"], units.limits)
    return injection_rows(units).merge(judged, on=INJECTION_KEY, how="inner")


@once
def mixed_sessions(units: Units) -> pd.DataFrame:
    """Procedures with EVOH and `mixing`, whether it was shaken for long enough.

    EVOH carries a powder that settles; copolymers whose contrast is bound are not shaken, and of
    "other copolymer" the record does not say which it is.
    """
    used = units.injections["agent_used"].isin(EVOH_AGENTS)
    shaken = set(units.injections.loc[used, "session_key"])
    rows = procedure_rows(units)
    rows = rows[rows["key"].isin(shaken)]
    within = mixing_within(rows[Sessions.agent_mixing_min], units.limits)
    return rows.assign(mixing=within.astype("boolean"))


def _within(limit: str) -> Counts:
    def counts(units: Units, unit: str) -> pd.DataFrame:
        rows = judged_injections(units)
        return rows.assign(event=rows[limit])

    return counts


def _mixed(units: Units, unit: str) -> pd.DataFrame:
    rows = mixed_sessions(units)
    return rows.assign(event=rows["mixing"])


def halt_called_for(injections: pd.DataFrame) -> pd.DataFrame:
    """Only the judged injections in which view was lost or resistance felt."""
    return injections[injections["halt_needed"].fillna(False).astype(bool)]


def _called_for(units: Units, unit: str) -> pd.DataFrame:
    needed = halt_called_for(judged_injections(units))
    return needed.assign(event=needed["halted"])


COPOLYMER = "injections of a liquid copolymer with the value recorded"
SESSION, INJECTION = ("session",), ("injection",)
BY_HAND = "counted by hand on the small cohort; limits: common practice, no source"


def _limit(
    limit: str, label: str, subject: str, counted: str, uses: tuple[str, ...],
    shown_in: Mapping[Place, tuple[str, ...]] | None = None,
) -> Share:
    """The share of liquid copolymer injections within one practice limit."""
    return Share(
        id=f"technique.{limit}", units=INJECTION, label=label, subject=subject, counted=counted,
        among=COPOLYMER, counts=_within(limit), by=BY, unknown=NOT_RECORDED,
        shown_in={Place.LIMITS_TABLE: INJECTION, **(shown_in or {})}, uses=uses,
        answers=("process 11",) if limit == "rate" else (), checked_against=BY_HAND)


IN_TEXT = {Place.LIMITS_TEXT: INJECTION}
MIXING = Share(
    id="technique.mixing", units=SESSION, label="Agent shaken for long enough",
    subject="mixing within the practice limit",
    counted="sessions whose agent was shaken at least as long as the limit",
    among="sessions with EVOH and the time recorded", counts=_mixed, by=BY,
    unknown=NOT_RECORDED, shown_in={Place.LIMITS_TABLE: SESSION, Place.LIMITS_TEXT: SESSION},
    uses=("sessions.agent_mixing_min", "injections.agent"), checked_against=BY_HAND)
DEAD_SPACE = _limit(
    "dead_space", "DMSO filled the dead space", "dead space filled within the practice limit",
    "DMSO at least the dead space of the catheter",
    ("injections.dmso_ml", "injections.dead_space_ml"))
RATE = _limit(
    "rate", "Rate within the limit", "a rate within the practice limit",
    "mean rate while pushing not above the limit",
    ("injections.agent_ml", "injections.injection_min", "injections.pauses_s"), IN_TEXT)
PAUSE = _limit(
    "pause", "Pauses within the limits", "pauses within the practice limits",
    "no pause above the limit, and none too short after a stop for reflux",
    ("injections.pauses_s", "injections.longest_pause_s", "injections.reflux_stops"), IN_TEXT)
REFLUX = _limit(
    "reflux", "Reflux limit recorded and kept", "reflux within a recorded limit",
    "reflux limit recorded in advance and not passed",
    ("injections.reflux_mm", "injections.reflux_limit_mm"), IN_TEXT)
HALTED = Share(
    id="technique.halted", units=INJECTION, label="Halted, of those that called for it",
    subject="delivery halted where a halt was called for", counted="delivery halted",
    among="copolymer injections in which view was lost or resistance felt", counts=_called_for,
    by=BY, unknown=NOT_RECORDED, shown_in={Place.LIMITS_TABLE: INJECTION},
    uses=("injections.view_lost", "injections.resistance_felt", "injections.delivery_halted"),
    checked_against=BY_HAND)


def limits_by_operator(units: Units) -> list[Estimate]:
    """The share within each limit by operator code; inside the service only, never for ranking."""
    coded = replace(units, sessions=operator_groups(units.sessions),
                    injections=operator_groups(units.injections), made={})
    return [e for one in (MIXING, DEAD_SPACE, RATE, PAUSE, REFLUX, HALTED)
            for unit in one.units
            for e in shares(one.frame(coded, unit), "event", id=one.id, unit=unit,
                            by=("operator",), unknown=one.unknown)]
