"""How much of what could be recorded was recorded, field by field.

A blank is not always a gap: nobody expects a cause of death of the living, or a rate of a coil.
`EXPECTED` says of which rows a field is expected; a field not in it is expected of every row.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import pandas as pd

from registry.rules.columns import SESSION, bring, sure
from registry.schema import (
    TABLES,
    Actions,
    Complications,
    ConferenceReviews,
    EventReviews,
    Injections,
    MonitoringPlans,
    Patients,
    Resections,
    Services,
    Sessions,
    Signals,
)
from registry.schema.vocabulary import COPOLYMER_AGENTS, LIQUID_AGENTS

COLUMNS = ["table", "field", "label", "required", "recorded", "expected", "share"]
Tables = Mapping[str, pd.DataFrame]
Expected = Callable[[Tables], pd.Series]


def _is(table: str, field: str, *values: str) -> Expected:
    return lambda tables: sure(tables[table][field].isin(values))


def _is_not(table: str, field: str, value: str) -> Expected:
    return lambda tables: ~sure(tables[table][field] == value)


def _has(table: str, field: str) -> Expected:
    return lambda tables: tables[table][field].notna()


def _never(table: str) -> Expected:
    return lambda tables: pd.Series(False, index=tables[table].index)


def _open_route(tables: Tables) -> pd.Series:
    rows = bring(tables["injections"], tables["sessions"], SESSION, ["route"])
    return sure(rows[Sessions.route].isin(["venous", "both"]))


_LIQUID = _is("injections", "agent", *LIQUID_AGENTS)
_COPOLYMER = _is("injections", "agent", *COPOLYMER_AGENTS)
_DEFICIT = _is("complications", "deficit", "transient")

EXPECTED: dict[tuple[str, str], Expected] = {
    ("services", Services.enrolment_to): _never("services"),
    ("patients", Patients.death_date): _never("patients"),
    ("patients", Patients.death_cause): _has("patients", Patients.death_date),
    ("sessions", Sessions.procedure_no): _never("sessions"),
    ("sessions", Sessions.occlusion_after_pct): _is_not(
        "sessions", Sessions.occlusion_status, "not assessed"
    ),
    ("sessions", Sessions.occlusion_read_by): _is_not(
        "sessions", Sessions.occlusion_status, "not assessed"
    ),
    ("injections", "access"): _open_route,
    ("injections", Injections.pedicle_no): _never("injections"),
    ("injections", Injections.catheter_no): _never("injections"),
    ("injections", Injections.feeding_artery): _is_not("injections", "access", "vein"),
    ("injections", Injections.feeder_type): _is_not("injections", "access", "vein"),
    **{
        ("injections", field): _LIQUID
        for field in (
            Injections.agent_ml,
            Injections.injection_min,
            Injections.pauses_s,
            Injections.longest_pause_s,
            Injections.reflux_stops,
            Injections.reflux_mm,
            Injections.reflux_limit_mm,
            Injections.view_lost,
            Injections.resistance_felt,
            Injections.delivery_halted,
            Injections.venous_passage,
        )
    },
    ("injections", Injections.dead_space_ml): _COPOLYMER,
    ("injections", Injections.dmso_ml): _COPOLYMER,
    ("injections", Injections.cyanoacrylate_pct): _is(
        "injections", "agent", "n-butyl cyanoacrylate"
    ),
    ("injections", Injections.venous_occlusion_intended): _is(
        "injections", Injections.venous_passage, "part", "blocks outflow"
    ),
    ("complications", Sessions.session_no): _is("complications", "phase", "embolization"),
    ("complications", Injections.injection_no): _never("complications"),
    ("complications", Complications.hours_after): _is_not("complications", "phase", "follow-up"),
    ("complications", Complications.resolved_date): _DEFICIT,
    ("complications", Complications.treated_after_min): _is(
        "complications", "rescue", "medical", "endovascular", "open operation"
    ),
    ("resections", Resections.angiography_date): _is_not("resections", "result", "not imaged"),
    ("follow_ups", "occlusion"): _is_not("follow_ups", "imaging", "none"),
    ("haemorrhages", Complications.complication_no): _never("haemorrhages"),
    ("event_reviews", EventReviews.reasons): _never("event_reviews"),
    **{
        ("conference_reviews", field): _never("conference_reviews")
        for field in (
            ConferenceReviews.lesion_no, ConferenceReviews.planned, ConferenceReviews.happened,
        )
    },
    **{
        ("conference_reviews", field): _has("conference_reviews", ConferenceReviews.lesion_no)
        for field in (
            ConferenceReviews.event_of, ConferenceReviews.event_no, ConferenceReviews.preventable,
        )
    },
    ("actions", Actions.measure_unit): _has("actions", Actions.measure),
    ("actions", Actions.closed_date): _is("actions", Actions.state, "done", "dropped"),
    ("actions", Actions.from_patient): _never("actions"),
    ("actions", Actions.from_review): _has("actions", Actions.from_patient),
    **{
        ("monitoring_plans", field): _never("monitoring_plans")
        for field in (
            MonitoringPlans.odds_ratio, MonitoringPlans.run_length, MonitoringPlans.chart_limit,
            MonitoringPlans.ended_on,
        )
    },
    ("signals", Signals.done_on): _has("signals", Signals.done),
}


def completeness(tables: Tables) -> pd.DataFrame:
    """The share of each field that is recorded, of the rows in which it is expected.

    One row a field, in the order of the schema, keys left out. Columns: table, field, label,
    required (bool), recorded and expected (rows), share (0–1; NaN where none is expected).
    """
    rows = []
    for name, spec in TABLES.items():
        for field in spec.fields:
            if field.key:
                continue
            look = EXPECTED.get((name, field.name))
            column = tables[name][field.name]
            asked = column if look is None else column[look(tables)]
            count = int(asked.notna().sum())
            share = count / len(asked) if len(asked) else float("nan")
            rows.append((name, field.name, field.label, field.required, count, len(asked), share))
    return pd.DataFrame(rows, columns=COLUMNS)
