"""Queries on injections: agents, catheters, pedicles, volumes."""

from __future__ import annotations

import pandas as pd

from registry.rules.columns import LESION, SESSION, bring, figure, has_match, own_number, sure
from registry.rules.finding import Hits, Tables, query
from registry.rules.words import sheet
from registry.schema import Complications, Injections, Lesions, Sessions
from registry.schema.vocabulary import LIQUID_AGENTS, RETAINED


def _liquid(rows: pd.DataFrame) -> pd.Series:
    return rows[Injections.agent].isin(LIQUID_AGENTS)


@query("liquid agent without a volume")
def liquid_without_volume(tables: Tables) -> Hits:
    """A liquid agent with no volume."""
    rows = tables["injections"]
    rows = rows[_liquid(rows) & rows[Injections.agent_ml].isna()]
    return Hits(
        "injections", rows, Injections.agent_ml, rows[Injections.agent] + " with no volume",
        "the volume of every liquid agent, in mL", "enter the volume if it is in the record",
    )


@query("feeding artery missing")
def feeding_artery_missing(tables: Tables) -> Hits:
    """feeding_artery blank though the injection was arterial.

    A blank access in a session that may have been venous is asked for by its own rule first.
    """
    rows = bring(tables["injections"], tables["sessions"], SESSION, ["route"])
    access = rows[Injections.access].fillna("blank")
    unsaid = (access == "blank") & sure(rows[Sessions.route].isin(["venous", "both"]))
    rows = rows[(access != "vein") & ~unsaid & rows[Injections.feeding_artery].isna()]
    return Hits(
        "injections", rows, Injections.feeding_artery,
        "no feeding artery; access: " + rows[Injections.access].fillna("blank"),
        "the feeding artery of every injection that did not go through a vein",
        "enter the feeding artery if it is in the record, or vein under access",
    )


@query("DMSO without a liquid agent")
def dmso_without_liquid(tables: Tables) -> Hits:
    """DMSO or a dead space on a catheter that gave coils or particles only."""
    rows = tables["injections"]
    catheter = own_number(rows, Injections.catheter_no, Injections.injection_no)
    liquid = _liquid(rows).groupby(
        [*(rows[name] for name in SESSION), catheter], sort=False
    ).transform("max").astype(bool)
    prepared = sure(rows[Injections.dmso_ml] > 0) | rows[Injections.dead_space_ml].notna()
    rows = rows[~liquid & sure(rows[Injections.agent].isin(["coil", "particles"])) & prepared]
    return Hits(
        "injections",
        rows,
        "agent",
        "DMSO or a dead space, and the agent is " + rows[Injections.agent],
        "DMSO and dead space only where a liquid agent went through the catheter",
        "check the agent and the catheter number",
    )


@query("no pushing time left")
def no_pushing_time(tables: Tables) -> Hits:
    """The pauses take the whole injection, so that no rate can be worked out."""
    rows = tables["injections"]
    rows = rows[sure(rows[Injections.pauses_s] / 60 == rows[Injections.injection_min])]
    found = (
        "pauses of " + figure(rows[Injections.pauses_s]) + " s in an injection of "
        + figure(rows[Injections.injection_min]) + " min"
    )
    return Hits(
        "injections", rows, Injections.pauses_s, found, "some time of pushing in every injection",
        "check both times; the rate of this injection is left blank",
    )


@query("cyanoacrylate share of another agent")
def share_of_other_agent(tables: Tables) -> Hits:
    """A share of cyanoacrylate where the agent is another one."""
    rows = tables["injections"]
    other = sure(rows[Injections.agent] != "n-butyl cyanoacrylate")
    rows = rows[other & rows[Injections.cyanoacrylate_pct].notna()]
    return Hits(
        "injections", rows, Injections.cyanoacrylate_pct,
        "a cyanoacrylate share, and the agent is " + rows[Injections.agent],
        "a share only for n-butyl cyanoacrylate", "check the agent, or leave the share blank",
    )


def pedicles_by_session(injections: pd.DataFrame) -> pd.Series:
    """Distinct arterial pedicles treated in each session (index: the session's key).

    A blank pedicle number is a pedicle of its own; a vein is no feeding pedicle.
    """
    rows = injections[injections[Injections.access].fillna("artery") != "vein"].dropna(
        subset=SESSION
    )
    pedicle = own_number(rows, Injections.pedicle_no, Injections.injection_no)
    return pedicle.groupby([rows[name] for name in SESSION]).nunique()


@query("more pedicles treated than counted")
def more_pedicles_than_counted(tables: Tables) -> Hits:
    """More pedicles treated than feeding_pedicles × sessions."""
    treated = pedicles_by_session(tables["injections"]).groupby(level=LESION).sum()
    sessions = tables["sessions"].dropna(subset=LESION).groupby(LESION).size()
    rows = tables["lesions"].join(treated.rename("_treated"), on=LESION)
    rows = rows.join(sessions.rename("_sessions"), on=LESION)
    rows = rows[sure(rows["_treated"] > rows[Lesions.feeding_pedicles] * rows["_sessions"])]
    found = (
        figure(rows["_treated"]) + " pedicles treated in " + figure(rows["_sessions"])
        + " sessions, " + figure(rows[Lesions.feeding_pedicles]) + " counted on the first angiogram"
    )
    return Hits(
        "lesions", rows, Lesions.feeding_pedicles, found,
        "no more pedicles treated than counted, session by session",
        "check the pedicle numbers of the injections and the count on the lesion",
    )


@query("more agent than nidus")
def more_agent_than_nidus(tables: Tables) -> Hits:
    """More liquid agent, over all sessions, than the nidus holds."""
    from registry.clinical.scores import nidus_volume_ml

    injections = tables["injections"]
    liquid = injections[_liquid(injections)].dropna(subset=LESION)
    given = liquid.groupby(LESION)[Injections.agent_ml].sum()
    rows = tables["lesions"].join(given.rename("_given"), on=LESION)
    rows["_nidus"] = nidus_volume_ml(
        rows[Lesions.nidus_length_mm], rows[Lesions.nidus_width_mm], rows[Lesions.nidus_height_mm]
    )
    rows = rows[sure(rows["_given"] > rows["_nidus"])]
    found = (
        figure(rows["_given"]) + " mL of liquid agent, nidus " + figure(rows["_nidus"]) + " mL"
    )
    return Hits(
        "lesions", rows, Lesions.nidus_length_mm, found, "less agent than the volume of the nidus",
        "check the diameters (millimetres) and the volumes of the injections",
    )


def _retained(tables: Tables) -> tuple[pd.DataFrame, pd.DataFrame]:
    injections, events = tables["injections"], tables["complications"]
    return (
        injections[sure(injections[Injections.retrieval].isin(RETAINED))],
        events[sure(events[Complications.kind] == "retained catheter")],
    )


@query("retained catheter without a complication")
def retained_without_event(tables: Tables) -> Hits:
    """A catheter left behind in part, and no such complication of the session."""
    rows, events = _retained(tables)
    unplaced = events[events[Sessions.session_no].isna()]
    told = has_match(rows, events, SESSION) | has_match(rows, unplaced, LESION)
    return Hits(
        "injections", rows[~told], "retrieval",
        "part of the catheter retained, and no complication says so",
        f"a row of {sheet('complications')} of the kind retained catheter",
        "add the complication, or correct how the catheter came out",
    )


@query("retained catheter without an injection")
def retained_without_injection(tables: Tables) -> Hits:
    """A retained catheter among the complications, and none in the session's injections."""
    injections, rows = _retained(tables)
    named = rows[Sessions.session_no].notna()
    told = (named & has_match(rows, injections, SESSION)) | (
        ~named & has_match(rows, injections, LESION)
    )
    return Hits(
        "complications", rows[~told], "kind",
        "a retained catheter, and no injection whose catheter was retained in part",
        '"part retained" under retrieval at the injection',
        "enter the retrieval at the injection, or correct the kind here",
    )


@query("access against the route")
def access_against_route(tables: Tables) -> Hits:
    """Access through a vein in an arterial session, or an artery in a venous one."""
    rows = bring(tables["injections"], tables["sessions"], SESSION, ["route"])
    vein = sure((rows[Injections.access] == "vein") & (rows[Sessions.route] == "arterial"))
    artery = sure((rows[Injections.access] == "artery") & (rows[Sessions.route] == "venous"))
    rows = rows[vein | artery]
    return Hits(
        "injections",
        rows,
        "access",
        "access: "
        + rows[Injections.access]
        + ", in a session whose route is "
        + rows[Sessions.route],
        "an access that fits the session's route",
        "correct the access or the route",
    )
