"""Within the practice limits or not: the technique.* estimates.

Liquid copolymer injections only; `technique.mixing` is a fact of the session. A value that was
not recorded is neither within nor outside: such injections leave the denominator and are counted
beside it. The limits are those of `registry.clinical.practice_limits` unless a service gives its
own; the product's instructions for use and local protocol come first.
"""

from __future__ import annotations

import pandas as pd

from analyses.measures.counting import shares
from analyses.population.procedure_rows import injection_rows, procedure_rows
from analyses.population.unit_frames import GROUPINGS, Units
from analyses.statistics.estimate import Estimate
from registry.clinical.practice_limits import PracticeLimits, injection_limits, mixing_within
from registry.clinical.technique import INJECTION_KEY
from registry.schema.vocabulary import COPOLYMER_AGENTS

PER_INJECTION = ("dead_space", "rate", "pause", "reflux", "halted")
NOT_RECORDED = "with the value not recorded"
BY = (*GROUPINGS, "formulation")


def technique_estimates(
    units: Units, limits: PracticeLimits | None = None, *, by: tuple[str, ...] = BY,
) -> list[Estimate]:
    """The share within each practice limit, overall and by group, clustered on the patient.

    `technique.halted_when_needed` looks only at the injections in which view was lost or
    resistance felt; `technique.halted` counts those that called for no halt as within.
    limits: the package's own where None.
    """
    sessions = mixed_sessions(units, limits)
    rows = judged_injections(units, limits)
    named = {"by": by, "unknown": NOT_RECORDED}
    found = shares(sessions, "mixing", id="technique.mixing", unit="session", **named)
    for limit in PER_INJECTION:
        found += shares(rows, limit, id=f"technique.{limit}", unit="injection", **named)
    needed = rows[rows["halt_needed"].fillna(False).astype(bool)]
    return found + shares(needed, "halted", id="technique.halted_when_needed",
                          unit="injection", by=(), unknown=NOT_RECORDED)


def judged_injections(units: Units, limits: PracticeLimits | None = None) -> pd.DataFrame:
    """Liquid copolymer injections with a column a limit (True within, False outside, blank)."""
    judged = injection_limits(units.tables["injections"], units.tables["sessions"], limits)
    return injection_rows(units).merge(judged, on=INJECTION_KEY, how="inner")


def mixed_sessions(units: Units, limits: PracticeLimits | None = None) -> pd.DataFrame:
    """Procedures with a liquid copolymer and `mixing`, whether it was shaken for long enough."""
    from registry.clinical.practice_limits import default_limits

    used = units.injections["agent_used"].isin(COPOLYMER_AGENTS)
    with_copolymer = set(units.injections.loc[used, "session_key"])
    rows = procedure_rows(units)
    rows = rows[rows["key"].isin(with_copolymer)]
    within = mixing_within(rows["agent_mixing_min"], limits or default_limits())
    return rows.assign(mixing=within.astype("boolean"))
