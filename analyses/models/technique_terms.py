"""The technique variables, each declared once; `technique_declared` finds them all here."""

from __future__ import annotations

import pandas as pd

from analyses.measures.obliteration import EMBOLIZATION_COMPLETE, EMBOLIZATION_NEAR_COMPLETE
from analyses.models.technique_rows import TechniqueRows, whole
from analyses.models.technique_term import Applies, Kind, Step, TechniqueTerm
from registry.clinical.technique import VENOUS_PASSAGE
from registry.schema import Injections
from registry.schema.vocabulary import EVOH_AGENTS

CLOSED_AT_ONCE = (EMBOLIZATION_COMPLETE, EMBOLIZATION_NEAR_COMPLETE)
"""Closure by embolization: the nidus is filled, and agent reaches its vein, as it closes."""

VOLUME = ("injections.agent", "injections.agent_ml")
"""The fields that a volume of liquid rests on."""


def _one_evoh(technique: TechniqueRows) -> pd.Series:
    return technique.formulation.isin(EVOH_AGENTS)


def _longest_pause(technique: TechniqueRows) -> pd.Series:
    return whole(technique.liquid.groupby(technique.by), Injections.longest_pause_s, "max")


def _past_limit(technique: TechniqueRows) -> pd.Series:
    """Yes if any session is, no if all are known not to be, else blank."""
    units = technique.liquid[technique.by]
    values = technique.liquid["reflux_past_limit"].astype("boolean")
    yes, known = values.fillna(False).groupby(units).any(), values.notna().groupby(units).all()
    return yes.astype("boolean").where(yes | known)


def _worst_passage(technique: TechniqueRows) -> pd.Series:
    """The worst there was; blank where a blank could be worse."""
    units = technique.liquid[technique.by]
    order = {value: place for place, value in enumerate(VENOUS_PASSAGE)}
    steps = technique.liquid[Injections.venous_passage].map(order).astype("Float64").astype(float)
    worst, known = steps.groupby(units).max(), steps.notna().groupby(units).all()
    settled = worst.where(known | worst.eq(len(VENOUS_PASSAGE) - 1))
    return settled.map(dict(enumerate(VENOUS_PASSAGE))).astype(object)


OF_LIQUIDS = Applies(lambda technique: technique.with_liquid, "no liquid agent was injected")
ONE_EVOH = Applies(_one_evoh, "not one strength of EVOH alone was injected")

PEDICLES = TechniqueTerm(
    id="pedicles", label="Pedicles treated", definition="Arterial pedicles, added up.",
    unit="pedicles", one="pedicle", uses=("injections.pedicle_no", "injections.access"),
    works=lambda technique: technique.rows.groupby(technique.by)["pedicles_treated"].sum().astype(
        float))
AGENT = TechniqueTerm(
    id=Injections.agent_ml, label="Agent volume",
    definition="All liquids, added up; blank where a part was not recorded.", unit="mL",
    works=lambda technique: technique.agent_ml, uses=VOLUME)
AGENT_PER_NIDUS = TechniqueTerm(
    id="agent_per_nidus", label="Agent per mL of nidus",
    definition="Agent volume over the volume of the lesions treated.", unit="mL/mL",
    # A step a clinician can picture: a tenth of the nidus volume.
    per=0.1, step_unit="mL", works=lambda technique: technique.agent_ml / technique.nidus_ml,
    ends=CLOSED_AT_ONCE,
    uses=(*VOLUME, "lesions.nidus_length_mm", "lesions.nidus_width_mm", "lesions.nidus_height_mm"))
RATE = TechniqueTerm(
    id="rate_ml_min", label="Mean rate", definition="All the volume over all the push time.",
    unit="mL/min", per=0.1, more="faster", applies=OF_LIQUIDS,
    works=lambda technique: technique.agent_ml / technique.push_min.where(technique.push_min > 0),
    of_injection="Volume over push time, of liquids.",
    uses=(*VOLUME, "injections.injection_min", "injections.pauses_s"))
PAUSE = TechniqueTerm(
    id=Injections.longest_pause_s, label="Longest pause", definition="The longest pause.",
    unit="s", per=30.0, more="longer", applies=OF_LIQUIDS, works=_longest_pause,
    of_injection="As recorded; 0 where there was none.",
    uses=("injections.longest_pause_s", "injections.pauses_s"))
FORMULATION = TechniqueTerm(
    id="formulation", label="Formulation",
    definition="Where one formulation of EVOH and no other liquid was used.",
    kind=Kind.LEVELS, levels=EVOH_AGENTS, applies=ONE_EVOH,
    works=lambda technique: technique.formulation.where(_one_evoh(technique)).astype(object),
    uses=("injections.agent",))
REFLUX = TechniqueTerm(
    id="reflux_past_limit", label="Reflux past the agreed limit", definition="In any injection.",
    kind=Kind.YES_NO, applies=OF_LIQUIDS, step=Step.REFLUX, works=_past_limit,
    of_injection="Reflux beyond the limit; no where none was seen.",
    uses=("injections.reflux_mm", "injections.reflux_limit_mm"))
PASSAGE = TechniqueTerm(
    id=Injections.venous_passage, label="Agent in the draining vein",
    definition="The worst there was; none where the vein was to be closed.",
    kind=Kind.LEVELS, levels=VENOUS_PASSAGE, reference=VENOUS_PASSAGE[0], applies=OF_LIQUIDS,
    step=Step.PASSAGE, works=_worst_passage, ends=CLOSED_AT_ONCE,
    of_injection="As recorded; none where the vein was to be closed.",
    uses=("injections.venous_passage", "injections.venous_occlusion_intended"))
