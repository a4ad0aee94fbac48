"""How each injection and each session was done, worked out from what was recorded.

A total or an extreme of a session is blank when one of its parts was not recorded: the sum of
the recorded volumes would read as less agent than was used.
"""

from __future__ import annotations

from collections.abc import Hashable
from typing import TYPE_CHECKING, Literal

import pandas as pd

from registry.clinical.elementwise import (
    Values,
    column,
    numbers,
    plain,
    scalar_or_column,
    yes_no,
)
from registry.clinical.scores import nidus_volume_ml
from registry.schema import Complications, Injections, Lesions, Patients, Sessions
from registry.schema.vocabulary import COPOLYMER_AGENTS, EVOH_AGENTS, LIQUID_AGENTS

if TYPE_CHECKING:
    from pandas.api.typing import DataFrameGroupBy

INJECTION_KEY = [
    Patients.patient_id,
    Lesions.lesion_no,
    Sessions.session_no,
    Injections.injection_no,
]
SESSION_KEY = INJECTION_KEY[:3]
LESION_KEY = INJECTION_KEY[:2]

AGENT_GROUPS = (
    "EVOH only", "other copolymer only", "cyanoacrylate only", "several liquids", "no liquid",
)
# From the mildest to the worst.
VENOUS_PASSAGE = ("none", "part", "blocks outflow")


@scalar_or_column
def push_min(injection_min: Values, pauses_s: Values) -> Values:
    """Minutes of pushing: `injection_min` less the pauses (s). Zero or less is blank: nothing
    was pushed in no time, and the rules ask about it.
    """
    # Rounded to a nanominute, so that 3 min less 180 s is exactly nothing.
    minutes = (numbers(injection_min) - numbers(pauses_s) / 60).round(9)
    return plain(minutes.where(minutes > 0, pd.NA))


@scalar_or_column
def rate_ml_min(agent_ml: Values, pushed_min: Values) -> Values:
    """Mean rate in mL/min over the time of pushing; blank without a volume or a push time.

    Example: 0.40 mL in 2.5 min is 0.16 mL/min.
    """
    minutes = numbers(pushed_min)
    return plain(numbers(agent_ml) / minutes.where(minutes > 0, pd.NA))


def injection_technique(injections: pd.DataFrame, sessions: pd.DataFrame) -> pd.DataFrame:
    """One row an injection, in the order and on the index of `injections`.

    Columns: the key; `agent`; `liquid` and `liquid_copolymer` ("boolean"); `push_min` (min)
    and `rate_ml_min` (mL/min, liquids only), both blank where pauses_s is not recorded;
    `longest_pause_s` (0 where the pauses together were 0); `reflux_past_limit` ("boolean",
    False where no reflux was seen); `agent_mixing_min` of its session.
    """
    table = injections[INJECTION_KEY].copy()
    agent = injections[Injections.agent].astype("string")
    table[Injections.agent] = agent
    # An agent that is not known is neither liquid nor not.
    table["liquid"] = _one_of(agent, LIQUID_AGENTS)
    table["liquid_copolymer"] = _one_of(agent, COPOLYMER_AGENTS)
    pauses = column(injections, Injections.pauses_s)
    table["push_min"] = push_min(column(injections, Injections.injection_min), pauses)
    rate = rate_ml_min(column(injections, Injections.agent_ml), table["push_min"])
    table["rate_ml_min"] = rate.where(table["liquid"].fillna(False))
    longest = numbers(column(injections, Injections.longest_pause_s))
    table[Injections.longest_pause_s] = plain(longest.mask(numbers(pauses).eq(0).fillna(False), 0))
    table["reflux_past_limit"] = reflux_past_limit(
        column(injections, Injections.reflux_mm), column(injections, Injections.reflux_limit_mm),
    )
    table[Sessions.agent_mixing_min] = _from_session(
        injections, sessions, Sessions.agent_mixing_min
    )
    return table


@scalar_or_column
def reflux_past_limit(reflux_mm: Values, reflux_limit_mm: Values) -> Values:
    """Whether the longest reflux (mm) passed the agreed limit (mm); none seen never passes."""
    reflux = numbers(reflux_mm)
    past = reflux > numbers(reflux_limit_mm)
    return past.mask(reflux.eq(0).fillna(False), False)


def _one_of(agent: pd.Series, agents: tuple[str, ...]) -> pd.Series:
    return agent.isin(agents).astype("boolean").where(agent.notna(), pd.NA)


def row_keys(table: pd.DataFrame, key: list[str]) -> pd.MultiIndex:
    """The key of each row, in types that match between tables."""
    parts = [
        table[name].astype("object" if name == Patients.patient_id else "Int64") for name in key
    ]
    return pd.MultiIndex.from_arrays(parts, names=key)


def look_up(
    values: pd.Series, keys: pd.MultiIndex, table: pd.DataFrame, wanted: pd.MultiIndex,
) -> pd.Series:
    """The value each row of `table` refers to, on its index; blank where there is none.

    `keys` name the rows of `values`, `wanted` the row each row of `table` asks for. A key used
    twice is an error that intake reports; here its first row answers.
    """
    once = ~keys.duplicated()
    found = pd.Series(values.array, index=keys)[once].reindex(wanted)
    return pd.Series(found.array, index=table.index)


def _from_session(injections: pd.DataFrame, sessions: pd.DataFrame, name: str) -> pd.Series:
    """A number of the session each injection belongs to."""
    values = numbers(column(sessions, name))
    return plain(look_up(values, row_keys(sessions, SESSION_KEY),
                         injections, row_keys(injections, SESSION_KEY)))


def session_technique(
    sessions: pd.DataFrame, injections: pd.DataFrame, lesions: pd.DataFrame,
) -> pd.DataFrame:
    """One row a session, in the order and on the index of `sessions`.

    Columns: the key; `injections` (rows of any agent); `pedicles_treated`; `agent_group` (one
    of `AGENT_GROUPS`; coils and particles do not count); `agent_ml` (all liquids; 0 where none
    was injected); `agent_per_nidus` (mL a mL of nidus); `push_min`; `rate_ml_min` (all the
    volume over all the push time); `fastest_rate_ml_min`; `longest_pause_s`;
    `reflux_past_limit` (in any injection); `venous_passage` (the worst). From `rate_ml_min` on
    they rest on the liquid injections and are blank without one.

    A part not recorded leaves a number blank. The two last need only what settles them: one
    reflux past its limit makes it yes, one blocked outflow is the worst there is.
    """
    keys = row_keys(sessions, SESSION_KEY)
    rows = injection_technique(injections, sessions)
    rows[Injections.agent_ml] = numbers(column(injections, Injections.agent_ml))
    rows[Injections.venous_passage] = column(injections, Injections.venous_passage).astype("string")
    liquid = rows[rows["liquid"].fillna(False).astype(bool)]
    parts = pd.DataFrame({
        "injections": _by_session(rows).size(),
        "pedicles_treated": _pedicles(injections),
        "agent_group": _agent_group(liquid),
        **_liquid_numbers(liquid),
    }).reindex(keys)
    table = sessions[SESSION_KEY].copy()
    for name in parts.columns:
        table[name] = pd.Series(parts[name].array, index=sessions.index)
    return _finish(table, lesions)


def _by_session(
    rows: pd.DataFrame,
) -> DataFrameGroupBy[tuple[Hashable, ...], Literal[True]]:
    keyed = rows.set_index(row_keys(rows, SESSION_KEY))
    return keyed.drop(columns=SESSION_KEY).groupby(level=SESSION_KEY)


def _pedicles(injections: pd.DataFrame) -> pd.Series:
    """Distinct arterial pedicles of each session; a blank number is a pedicle of its own."""
    arterial = injections[column(injections, "access").ne("vein").fillna(True).astype(bool)]
    numbered = numbers(column(arterial, Injections.pedicle_no))
    counted = pd.DataFrame({
        "distinct": numbered.array, "blank": numbered.isna().array,
    }, index=row_keys(arterial, SESSION_KEY)).groupby(level=SESSION_KEY)
    return counted["distinct"].nunique() + counted["blank"].sum()


def _agent_group(liquid: pd.DataFrame) -> pd.Series:
    """The agent group of each session with a liquid injection."""
    kinds = liquid[Injections.agent].map({
        **dict.fromkeys(EVOH_AGENTS, 0), "other copolymer": 1, "n-butyl cyanoacrylate": 2,
    }).astype("Int64")
    grouped = _by_session(liquid.assign(kind=kinds))[Complications.kind]
    lowest, highest = grouped.min(), grouped.max()
    several = AGENT_GROUPS.index("several liquids")
    return lowest.where(lowest.eq(highest), several).map(dict(enumerate(AGENT_GROUPS)))


def _liquid_numbers(liquid: pd.DataFrame) -> dict[str, pd.Series]:
    """The numbers of each session with a liquid injection."""
    grouped = _by_session(liquid)

    def whole(name: str, how: str) -> pd.Series:
        values = numbers(grouped[name].agg(how))
        complete = grouped[name].count() == grouped.size()
        return values.where(complete, pd.NA)

    volume, pushed = whole(Injections.agent_ml, "sum"), whole("push_min", "sum")
    return {
        Injections.agent_ml: volume,
        "push_min": pushed,
        "rate_ml_min": volume / pushed.where(pushed > 0, pd.NA),
        "fastest_rate_ml_min": whole("rate_ml_min", "max"),
        Injections.longest_pause_s: whole(Injections.longest_pause_s, "max"),
        "reflux_past_limit": any_known(
            liquid["reflux_past_limit"], row_keys(liquid, SESSION_KEY),
        ),
        Injections.venous_passage: _worst_passage(liquid),
    }


def any_known(values: pd.Series, key: pd.MultiIndex) -> pd.Series:
    """Per key: yes if any row is yes, blank if none is yes and one is blank, else no.

    `values` is yes/no ("boolean"), one a row of `key`; the result is indexed by the key.
    """
    known = yes_no(values)
    rows = pd.DataFrame(
        {"yes": known.fillna(False).array, "blank": known.isna().array}, index=key,
    ).astype("boolean")
    grouped = rows.groupby(level=list(range(key.nlevels)))
    some, blank = grouped["yes"].any(), grouped["blank"].any()
    return some.astype("boolean").where(some | ~blank, pd.NA)


def _worst_passage(liquid: pd.DataFrame) -> pd.Series:
    """The worst venous passage of each session; blank if a blank could be a worse one."""
    steps = {value: step for step, value in enumerate(VENOUS_PASSAGE)}
    passage = liquid[Injections.venous_passage].map(steps).astype("Int64")
    grouped = _by_session(liquid.assign(step=passage))["step"]
    worst, complete = grouped.max(), grouped.count().eq(grouped.size())
    settled = complete | worst.eq(max(steps.values())).fillna(False)
    return worst.where(settled, pd.NA).map(dict(enumerate(VENOUS_PASSAGE))).astype("string")


def _finish(table: pd.DataFrame, lesions: pd.DataFrame) -> pd.DataFrame:
    """Fill in what a session without a liquid has, and relate the volume to the nidus."""
    table["injections"] = numbers(table["injections"]).fillna(0).astype("Int64")
    table["pedicles_treated"] = numbers(table["pedicles_treated"]).fillna(0).astype("Int64")
    group = table["agent_group"].astype("string")
    table["agent_group"] = group.fillna("no liquid")
    volume = numbers(table[Injections.agent_ml]).mask(group.isna(), 0)
    nidus = nidus_volume_ml(
        column(lesions, Lesions.nidus_length_mm), column(lesions, Lesions.nidus_width_mm),
        column(lesions, Lesions.nidus_height_mm),
    )
    of_lesion = look_up(nidus, row_keys(lesions, LESION_KEY), table, row_keys(table, LESION_KEY))
    table[Injections.agent_ml] = plain(volume)
    table["agent_per_nidus"] = table[Injections.agent_ml] / of_lesion
    for name in ("push_min", "rate_ml_min", "fastest_rate_ml_min", Injections.longest_pause_s):
        table[name] = plain(numbers(table[name]))
    table["reflux_past_limit"] = yes_no(table["reflux_past_limit"])
    table[Injections.venous_passage] = table[Injections.venous_passage].astype("string")
    return table


def procedure_keys(sessions: pd.DataFrame) -> pd.Series:
    """The procedure each session row belongs to, as text ("string").

    Rows of one patient with the same procedure_no are one procedure; a row without one is a
    procedure of its own.
    """
    patient = sessions[Patients.patient_id].astype("string")
    number = numbers(column(sessions, Sessions.procedure_no)).astype("Int64").astype("string")
    own = (
        patient + "/lesion " + sessions[Lesions.lesion_no].astype("Int64").astype("string")
        + "/session " + sessions[Sessions.session_no].astype("Int64").astype("string")
    )
    return (patient + "/procedure " + number).fillna(own)


def case_numbers(sessions: pd.DataFrame) -> pd.Series:
    """How many procedures the operator had done before each session ("Int64").

    Counts the procedures of this table only, so give it every session, before any is left out
    for research_use; what an operator did before the registry began is not in it. Two lesions
    embolized in one procedure share its number. Procedures of one day stand in the order of
    patient_id, lesion_no and session_no. Blank without an operator_id or a date.
    """
    rows = pd.DataFrame({
        "operator": column(sessions, Sessions.operator_id).astype("string"),
        "procedure": procedure_keys(sessions),
        "date": pd.to_datetime(sessions[Sessions.session_date]),
        "patient": sessions[Patients.patient_id].astype("string"),
        "lesion": sessions[Lesions.lesion_no], "session": sessions[Sessions.session_no],
    }).dropna(subset=["operator", "date"])
    ordered = rows.sort_values(["date", "patient", "lesion", "session"], kind="stable")
    once = ordered.drop_duplicates(["operator", "procedure"])
    before = once.groupby("operator").cumcount()
    numbered = pd.Series(before.array, index=pd.MultiIndex.from_frame(
        once[["operator", "procedure"]].astype("object"),
    ))
    found = numbered.reindex(pd.MultiIndex.from_frame(
        rows[["operator", "procedure"]].astype("object"),
    ))
    result = pd.Series(found.array, index=rows.index).reindex(sessions.index)
    return result.astype("Int64").rename("case_number")
