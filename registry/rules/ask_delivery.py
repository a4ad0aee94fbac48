"""Queries on what an operator did when delivery went wrong, and on the mixture."""

from __future__ import annotations

import pandas as pd

from registry.rules.columns import figure, sure
from registry.rules.finding import Hits, Tables, query
from registry.schema import Injections

FAR_PAST_MM = 10.0
"""Reflux this far past the limit agreed in advance is not passed over in one push (common
practice, no source)."""


@query("not halted when called for")
def not_halted(tables: Tables) -> Hits:
    """The agent could not be seen, or resistance was felt, and delivery went on.

    It may have been so: then it counts as a deviation from the practice limits.
    """
    rows = tables["injections"]
    lost, felt = sure(rows[Injections.view_lost]), sure(rows[Injections.resistance_felt])
    hit = (lost | felt) & sure(~rows[Injections.delivery_halted])
    rows, lost, felt = rows[hit], lost[hit], felt[hit]
    sign = pd.Series("resistance felt", index=rows.index).mask(lost, "view lost")
    sign = sign.mask(lost & felt, "view lost and resistance felt")
    return Hits(
        "injections", rows, Injections.delivery_halted, sign + ", and delivery not halted",
        "delivery halted at once when the agent is not seen or resistance is felt",
        "correct the row; if delivery did go on, leave it: it counts as a deviation",
    )


@query("reflux far past the limit without a stop")
def far_reflux_without_stop(tables: Tables) -> Hits:
    """Reflux 10 mm or more past the limit, and the injection never stopped for reflux."""
    rows = tables["injections"]
    past = rows[Injections.reflux_mm] - rows[Injections.reflux_limit_mm]
    rows = rows[sure(past >= FAR_PAST_MM) & sure(rows[Injections.reflux_stops] == 0)]
    return Hits(
        "injections", rows, Injections.reflux_stops,
        "reflux of " + figure(rows[Injections.reflux_mm]) + " mm, limit "
        + figure(rows[Injections.reflux_limit_mm]) + " mm, and no stop for reflux",
        f"a stop for reflux that goes {figure(pd.Series([FAR_PAST_MM]))[0]} mm or more past the "
        "limit",
        "correct the length, the limit or the number of stops",
    )


@query("cyanoacrylate without its share")
def cyanoacrylate_without_share(tables: Tables) -> Hits:
    """n-butyl cyanoacrylate, and not how much of the mixture it was."""
    rows = tables["injections"]
    rows = rows[
        sure(rows[Injections.agent] == "n-butyl cyanoacrylate")
        & rows[Injections.cyanoacrylate_pct].isna()
    ]
    return Hits(
        "injections", rows, Injections.cyanoacrylate_pct,
        "n-butyl cyanoacrylate without its share of the mixture",
        "the share of cyanoacrylate in the mixture, in per cent",
        "enter the share if it is in the record",
    )
