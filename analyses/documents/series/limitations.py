"""Limitations, drawn from the data's real weaknesses and from nothing else."""

from __future__ import annotations

from analyses.content.blocks import Points, Section, Sentence
from analyses.documents.series.said import listed, told
from analyses.measures.declared import about, shown_at
from analyses.measures.flow import EXCLUDED, LEFT_OUT
from analyses.measures.over_time import BLEED_FREE, HORIZONS
from analyses.measures.places import Place
from analyses.measures.results import Results
from analyses.measures.small_cells import SUPPRESSED
from analyses.measures.weaknesses import SESSIONS, SITES, SUITE_LOG
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import plural
from registry.schema import Services

MOST_MISSING = 5
GAPS = ("technique.", "complication.", "procedure.", "injection.", "resection.", "baseline.")


def limitations_section(results: Results, models: tuple[Sentence, ...]) -> Section:
    """Each weakness with its number; `models`: what the regression models cannot carry."""
    return Section("Limitations", (Points((
        *_sites(results), *_enrolment(results), *_left_out(results), *_lost(results),
        *_gaps(results), *_who_judged(results), *_imprecise(results), *models,
        Sentence("The work is observational: who was embolized, how far and in how many sessions "
                 "was decided patient by patient, so that every comparison is open to confounding "
                 "by indication. Nothing here shows that one thing led to another."),
        Sentence("Comparisons that were not named beforehand are exploratory: some will stand out "
                 "by chance alone."),
        Sentence("No signal is not evidence of safety: with few patients even a frequent harm can "
                 "stay unseen."),
    )),))


def _sites(results: Results) -> list[Sentence]:
    sites = results.one(SITES, "site")
    if (sites.n or 0) > 1:
        return [Sentence(f"{sites.n} sites contributed; differences between them are not "
                         "modelled.", (sites,))]
    return [Sentence("All patients come from a single site: its selection, skill and equipment are "
                     "part of every number.", (sites,))]


def _enrolment(results: Results) -> list[Sentence]:
    services = results.units.tables["services"]
    if not len(services):
        return [Sentence("Nothing is recorded on who was eligible: whether the series is "
                         "consecutive cannot be told.")]
    said = []
    consecutive = services[Services.consecutive].astype("boolean")
    if not consecutive.fillna(False).all():
        said.append(Sentence("The series is not consecutive: not every eligible patient of the "
                             "period was entered, and those left out may differ."))
    log = [e for e in results.estimates if e.id == SUITE_LOG]
    if not log:
        said.append(Sentence("The suite's own log was not compared with the registry, so that "
                             "complete entry cannot be checked."))
    elif (log[0].n or 0) > (results.one(SESSIONS, "session").n or 0):
        held = results.one(SESSIONS, "session")
        said.append(Sentence(f"{held.n:,} of the {log[0].n:,} procedures in the suite's log are "
                             "analysed; the others are those of patients left out, or were not "
                             "entered, and what happened in them is not counted here.",
                             (held, log[0])))
    return said


def _left_out(results: Results) -> list[Sentence]:
    out = [e for e in results.estimates if e.unit == "patient" and e.n
           and e.id in (LEFT_OUT, EXCLUDED)]
    if not out:
        return []
    total = sum(e.n or 0 for e in out)
    reasons = listed(f"{e.n} {(e.group or {})['reason']}" for e in out)
    return [Sentence(f"{total} recorded patient{' is' if total == 1 else 's are'} not counted "
                     f"({reasons}).", tuple(out))]


def _lost(results: Results) -> list[Sentence]:
    said = [s for pair in shown_at(Place.LOST)
            for s in told(results, *pair) if s.estimates[0].events]
    last = str(HORIZONS[-1])
    late = [e for e in results.estimates
            if e.id == BLEED_FREE and e.group == {"years": last} and e.n]
    few = [flag for e in late for flag in e.flags if "still followed" in flag]
    if few:
        said.append(Sentence(f"Late results rest on few: {few[0]}.", tuple(late)))
    return said


def _gaps(results: Results) -> list[Sentence]:
    """The measures most often not recorded, with their numbers."""
    found = [(e, whole) for e in results.estimates
             if e.id.startswith(GAPS) and not e.group and e.kind != SUPPRESSED
             and (whole := _all_units(e)) and whole > (e.n or 0)]
    found.sort(key=lambda pair: -(pair[1] - (pair[0].n or 0)) / pair[1])
    once = {about(e.id).label: (e, whole) for e, whole in reversed(found)}
    worst = list(reversed(once.values()))[:MOST_MISSING]
    if not worst:
        return []
    told_ = listed(f"{_lower(about(e.id).label)} (known in {e.n or 0:,} of {whole:,} "
                   f"{plural(e.unit)})" for e, whole in worst)
    return [Sentence(f"Values are missing, most often: {told_}. If values are missing for a "
                     "reason that bears on the outcome, results of those recorded mislead.",
                     tuple(e for e, _ in worst))]


def _all_units(e: Estimate) -> int:
    """How many units there are with those of unknown outcome, 0 where none is unknown."""
    bounds = [b for b in e.beside if b.id == f"{e.id}.bounds"]
    if bounds and bounds[0].beside:
        return int(bounds[0].beside[0].n or 0)
    left = [flag.split(" ")[0] for flag in e.flags if "without a value left out" in flag]
    return (e.n or 0) + int(left[0]) if left and left[0].isdigit() else 0


def _lower(label: str) -> str:
    return label if label[:2].isupper() or label[:3] == "mRS" else label[:1].lower() + label[1:]


def _who_judged(results: Results) -> list[Sentence]:
    return [s for pair in shown_at(Place.JUDGED)
            for s in told(results, *pair) if s.estimates[0].events]


def _imprecise(results: Results) -> list[Sentence]:
    main = {id for id, _ in shown_at(Place.COMPARED)}
    found = [e for e in results.estimates if e.id in main and not e.group]
    wide = [e for e in found if any("imprecise" in note for note in e.notes())]
    if not wide:
        return []
    named = listed(f"{_lower(about(e.id).label)} per {e.unit}" for e in wide)
    return [Sentence(f"By the presentation standards of the US National Center for Health "
                     f"Statistics too imprecise to stand alone: {named}.", tuple(wide))]
