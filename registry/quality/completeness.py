"""How much of what could be recorded was recorded, field by field.

A blank is not always a gap: nobody expects a cause of death of the living, or a rate of a coil.
`EXPECTED` says of which rows a field is expected; a field not in it is expected of every row.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import pandas as pd

from registry.rules.columns import SESSION, bring, sure
from registry.schema import TABLES
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
    return sure(rows["route"].isin(["venous", "both"]))


_LIQUID = _is("injections", "agent", *LIQUID_AGENTS)
_COPOLYMER = _is("injections", "agent", *COPOLYMER_AGENTS)
_DEFICIT = _is("complications", "deficit", "transient")

EXPECTED: dict[tuple[str, str], Expected] = {
    ("services", "enrolment_to"): _never("services"),
    ("patients", "death_date"): _never("patients"),
    ("patients", "death_cause"): _has("patients", "death_date"),
    ("sessions", "procedure_no"): _never("sessions"),
    ("sessions", "occlusion_after_pct"): _is_not("sessions", "occlusion_status", "not assessed"),
    ("sessions", "occlusion_read_by"): _is_not("sessions", "occlusion_status", "not assessed"),
    ("injections", "access"): _open_route,
    ("injections", "pedicle_no"): _never("injections"),
    ("injections", "catheter_no"): _never("injections"),
    ("injections", "feeding_artery"): _is_not("injections", "access", "vein"),
    ("injections", "feeder_type"): _is_not("injections", "access", "vein"),
    **{
        ("injections", field): _LIQUID
        for field in ("agent_ml", "injection_min", "pauses_s", "longest_pause_s", "reflux_stops",
                      "reflux_mm", "reflux_limit_mm", "view_lost", "resistance_felt",
                      "delivery_halted", "venous_passage")
    },
    ("injections", "dead_space_ml"): _COPOLYMER,
    ("injections", "dmso_ml"): _COPOLYMER,
    ("injections", "cyanoacrylate_pct"): _is("injections", "agent", "n-butyl cyanoacrylate"),
    ("injections", "venous_occlusion_intended"): _is(
        "injections", "venous_passage", "part", "blocks outflow"
    ),
    ("complications", "session_no"): _is("complications", "phase", "embolization"),
    ("complications", "injection_no"): _never("complications"),
    ("complications", "hours_after"): _is_not("complications", "phase", "follow-up"),
    ("complications", "resolved_date"): _DEFICIT,
    ("complications", "treated_after_min"): _is(
        "complications", "rescue", "medical", "endovascular", "open operation"
    ),
    ("resections", "angiography_date"): _is_not("resections", "result", "not imaged"),
    ("follow_ups", "occlusion"): _is_not("follow_ups", "imaging", "none"),
    ("haemorrhages", "complication_no"): _never("haemorrhages"),
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
