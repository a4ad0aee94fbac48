"""Methods: who and when, what words mean, how it was worked out, with what."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from analyses.content.blocks import Block, Paragraph, Points, Section, Sentence, plain
from analyses.documents.always_said import left_out
from analyses.documents.series.said import listed, told
from analyses.measures.declared import measure, shown_at
from analyses.measures.places import Place
from analyses.measures.results import Results
from analyses.measures.weaknesses import SESSIONS, SITES, SUITE_LOG
from analyses.population.exclusions import STUDY, added_to
from analyses.statistics.table_rows import rows_of
from analyses.words.estimate_text import plural
from registry.clinical.practice_limits import LIMITS_CAUTION
from registry.schema import Services
from registry.schema.migrations.numbered import schema_version

TO_PUBLISH = Sentence(
    "[For the authors: counts of 1 to 4 are printed here, as papers print them. Where tables or "
    "results.json are to be published as data, make them with --small-cells hide, in a folder of "
    "their own.]")


def methods_sections(results: Results, models: tuple[Block, ...]) -> list[Section]:
    """The methods in parts. `models`: the blocks on regression, none where none was asked."""
    return [
        Section("Methods", (Paragraph(tuple(design(results))),)),
        Section("Definitions and units of analysis", _definitions(), level=2),
        Section("Statistical analysis", (
            *_statistics(), *(() if results.hidden else _between_groups()), *models), level=2),
        Section("Software and data set", (Paragraph((
            *_software(results.manifest), *(() if results.hidden else (TO_PUBLISH,)))),), level=2),
    ]


def design(results: Results) -> list[Sentence]:
    """Setting, period, who was eligible, and who was left out."""
    services = results.units.tables["services"]
    sites = results.one(SITES, "site")
    where = f"{sites.n} services" if (sites.n or 0) > 1 else "one service"
    said = [Sentence(f"This is an observational analysis of the registry of {where} that treats "
                     "brain arteriovenous malformations by embolization with a liquid agent, alone "
                     "or before resection or radiosurgery.", (sites,))]
    said += [Sentence(_period(row)) for row in rows_of(services)]
    if told(results, SUITE_LOG, "procedure"):
        said.append(_against_the_log(results))
    if results.manifest.get("purpose") == "research":
        said.append(Sentence("Only patients whose research use of data was granted or waived are "
                             "counted."))
    return [*said, *left_out(results.manifest),
            Sentence("Ethics approval, registration of the protocol and funding: for the authors "
                     "to add.")]


def _period(row: Mapping[str, Any]) -> str:
    start, end = row[Services.enrolment_from], row[Services.enrolment_to]
    until = "with enrolment still open" if pd.isna(end) else f"to {end:%d %B %Y}"
    who = ("every eligible patient of the period was entered" if row[Services.consecutive] else
           "not every eligible patient of the period was entered")
    return f"Patients were enrolled from {start:%d %B %Y} {until}; {who}, as the service records."


def _against_the_log(results: Results) -> Sentence:
    log = results.one(SUITE_LOG, "procedure")
    held = results.one(SESSIONS, "session")
    return Sentence(
        f"The angiography suite's own log counts {log.n:,} embolizations of brain arteriovenous "
        f"malformations in the period; {held.n:,} are analysed here.", (log, held))


def _definitions() -> tuple[Block, ...]:
    defined = tuple(
        Sentence(f"{measure(id).label}: {measure(id).about.definition(_said_of(id))}.")
        for id in dict.fromkeys(id for id, _ in shown_at(Place.DEFINITIONS)))
    return (
        plain(
            "One patient has one or more lesions, a lesion one or more sessions, a session one or "
            "more injections.",
            "A session is a procedure, from vascular access with intent to embolize: two lesions "
            "embolized in one procedure are one session, and a session in which nothing was "
            "injected counts.",
            "Every estimate names its unit and is given with the number of units and of patients.",
            "Grades are those of Spetzler and Martin (1986), worked out from size, eloquence and "
            "venous drainage, and the classes of Spetzler and Ponce (2011); a patient has the "
            "grade of the highest lesion. Grades and scores describe groups; they do not decide "
            "treatment.",
            "Severity of complications follows Dindo and others (2004). Terms follow the Joint "
            "Writing Group (2001) and the reporting standards of Jayaraman and others (2012)."),
        Points(defined),
        plain(
            "An embolization complication is a recorded event that is not unrelated to the "
            "embolization, with onset from vascular access to 30 days after a session, whatever "
            "its phase; one that names no session belongs to the latest session on or before its "
            "onset.",
            "A blank means not recorded and is never read as no. Units whose outcome cannot be "
            "told leave the denominator and are counted beside it.",
            "Practice limits are common practice of the service or the field, with no source; "
            f"{LIMITS_CAUTION}."),
    )


def _said_of(id: str) -> str:
    """The unit of a definition; of a measure given in several: units."""
    units = measure(id).units
    return plural(units[0]) if len(units) == 1 else "units"


def _statistics() -> tuple[Block, ...]:
    return (
        plain(
            "A proportion is printed as events/n (value %, low–high) with its 95 % interval.",
            "Where each patient gives one row the interval is that of Clopper and Pearson (1934); "
            "where patients give several rows it is the same with an effective number of rows, "
            "n/(1 + (m − 1)ρ)·(t(n − 1)/t(n/m − 1))², at most n, m the mean number of rows of the "
            "patient that a row comes from, ρ = (8 × 0.2 + k·r)/(8 + k) with k events (or rows "
            "without one, where fewer) and r the within-patient correlation seen, so that "
            "none and a few events have intervals of one kind; that of Korn and Graubard (1998) "
            "stands beside it in the file of results (with no events: Hanley and Lippman-Hand 1983 "
            "for the wording).",
            "Who was not seen 30 days after treatment, and had no event, is left out of shares of "
            "deficit and death; where an outcome can be unknown only in those with an event, "
            "bounds are given in place of a share.",
            "Numbers that fail the presentation standards of the US National Center for Health "
            "Statistics (Parker and others 2017) are printed and marked.",
            "Medians are given with quartiles and an interval by order statistics, where patients "
            "repeat at ranks from an effective number of rows (Woodruff 1952; Korn and Graubard "
            "1998)."),
        plain(
            "Person-time is counted in days and given in years of 365.25 days, to death or the "
            "last day on which a patient is known about.",
            "Rates have exact Poisson limits (Garwood 1936), widened where a patient had several "
            "events (Ulm 1990).",
            "Time to an event is estimated after Aalen and Johansen (1978) where death competes "
            "with it and after Kaplan and Meier (1958) otherwise, with log–log limits; where a "
            "patient gives several lesions, with a variance by patient. Follow-up is summarised "
            "by the reverse Kaplan–Meier estimate (Schemper and Smith 1996); what imaging dates "
            "leave open is bounded by the estimate of Turnbull (1976)."),
        plain(
            "Missing outcomes are shown three ways: known outcomes only, best and worst case, and "
            "weighted by the inverse probability of being observed (Robins and others 1994)."),
    )


def _between_groups() -> tuple[Block, ...]:
    """How groups are compared; nothing of it stands where small cells are hidden."""
    return (
        plain(
            "Differences of two proportions have the hybrid score interval of Newcombe (1998), or, "
            "where patients repeat, the hybrid of the groups' clustered intervals with the "
            "correlation of the patients they share (Zou and Donner 2008); none is given with "
            "under 8 events or under 8 units without one. Groups over time are compared by "
            "differences with intervals.",
            "P values are given for the questions named beforehand and for nothing else, adjusted "
            "after Holm (1979); groups are tested by exchange of whole patients."),
    )


def _software(manifest: Mapping[str, Any]) -> list[Sentence]:
    software = manifest.get("software", {})
    versions = listed(f"{name} {version}" for name, version in sorted(software.items()))
    hash_ = str(manifest.get("freeze_hash", "not recorded"))
    said = [f"The data were frozen on {manifest.get('date', 'a day not recorded')} "
            f"(SHA-256 of their content: {hash_})."]
    said += _older_version(manifest) + _study(manifest)
    if versions:
        said.append(f"The data set was made with {versions}; results were worked out with the same "
                    "package, in Python.")
    said.append("The same data set gives the same results digit by digit; all of them stand in "
                "results.json, which comes with this document.")
    return [Sentence(text) for text in said]


def _older_version(manifest: Mapping[str, Any]) -> list[str]:
    """That the data were frozen by an older version."""
    now = schema_version()
    version = int(manifest.get("schema_version", now))
    if version >= now:
        return []
    return [f"They were frozen in version {version} of the registry's tables and read as version "
            f"{now}."]


def _study(manifest: Mapping[str, Any]) -> list[str]:
    """What makes the study another set of data than its freeze."""
    if STUDY not in manifest:
        return []
    said = [f"The study took from it what is said above (SHA-256 of the freeze's hash, the "
            f"exclusions and the added columns: {manifest[STUDY]['hash']}); grades and case "
            "numbers were worked out before anything was left out."]
    return said + [f"A column was added to each {one.unit}: {one.label}."
                   for one in added_to(manifest)]
