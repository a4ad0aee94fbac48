"""The case series report: what happened to the service's own patients."""

from __future__ import annotations

from analyses.catalogue import about, level_label
from analyses.estimate import Estimate, counted_rows
from analyses.estimate_text import plural
from analyses.figures import interval_figure, session_timeline
from analyses.reports.always_said import cautions, left_out
from analyses.reports.content import (
    Document,
    Paragraph,
    Picture,
    Points,
    Section,
    Sentence,
    plain,
)
from analyses.reports.event_sections import complication_detail_section
from analyses.reports.outcomes_sections import (
    baseline_section,
    function_section,
    operators_section,
    procedures_section,
    resection_section,
)
from analyses.reports.questions_sections import (
    comparisons_section,
    flow_picture,
    missing_section,
)
from analyses.reports.time_sections import haemorrhage_section, over_time_section
from analyses.results import Results
from analyses.tables import grouped_table, measures_table

OBLITERATION = [(id, "lesion") for id in (
    "obliteration.embolization_complete", "obliteration.embolization_near_complete",
    "obliteration.resection_complete", "obliteration.final_confirmed",
    "obliteration.final_presumed", "outcome.favourable",
)]
HARM = [
    *(("complication.any", unit) for unit in ("injection", "session", "lesion", "patient")),
    *(("complication.symptomatic", unit) for unit in ("injection", "session", "lesion",
                                                      "patient")),
    *((id, unit) for id in (
        "complication.haemorrhagic", "complication.haemorrhagic_symptomatic",
        "complication.haemorrhagic_without_navigation", "complication.ischaemic",
        "complication.permanent_deficit", "complication.death_30d", "death.all_cause_30d",
    ) for unit in ("session", "patient")),
    ("complication.retained_catheter", "catheter"),
    ("combined.permanent_deficit_or_death", "patient"),
]
COLUMNS = ("sm_grade", "ponce_class", "intent", "agent", "period", "ruptured")


def series_document(results: Results) -> Document:
    """The case series as a document for use inside the service (it lists study codes)."""
    manifest = results.manifest
    return Document(
        name="case-series",
        title="Brain AVM embolization: case series",
        subtitle=_subtitle(manifest),
        sections=(
            Section("Summary", (_summary(results), cautions())),
            Section("Who is counted", _who(results)),
            baseline_section(results),
            procedures_section(results),
            Section("Obliteration", _obliteration(results)),
            Section("Complications", _complications(results)),
            complication_detail_section(results),
            haemorrhage_section(results),
            over_time_section(results),
            Section("Sessions over time", (_timeline(results),)),
            resection_section(results),
            function_section(results),
            comparisons_section(results),
            missing_section(results),
            operators_section(results),
            Section("How it was counted", _methods(results)),
        ),
    )


def count(results: Results, name: str) -> Estimate:
    """How many units of a kind the freeze holds, as an estimate with their keys."""
    frame = getattr(results.units, name)
    unit = name.rstrip("s")
    return Estimate(
        id=f"count.{name}", kind="count", value=float(len(frame)), n=len(frame), unit=unit,
        method="count", counted=counted_rows(frame["key"], [False] * len(frame)),
    )


def _subtitle(manifest: object) -> str:
    about_freeze = dict(manifest)  # type: ignore[call-overload]
    return (f"Data frozen for {about_freeze.get('purpose', '')} on "
            f"{about_freeze.get('date', 'an unknown day')}, freeze "
            f"{str(about_freeze.get('freeze_hash', ''))[:12]}")


def _summary(results: Results) -> Points:
    """The five sentences, each built from its estimates."""
    patients, lesions, sessions = (
        count(results, name) for name in ("patients", "lesions", "sessions"))
    spread = (f"{patients.n:,} patients with {lesions.n:,} treated lesions had {sessions.n:,} "
              "embolization sessions.")
    told = [
        ("obliteration.embolization_complete", "lesion"),
        ("obliteration.final_confirmed", "lesion"),
        ("complication.any", "session"),
        ("combined.permanent_deficit_or_death", "patient"),
    ]
    return Points((
        Sentence(spread, (patients, lesions, sessions)),
        *(_told(results.one(*pair)) for pair in told),
    ))


def _told(estimate: Estimate) -> Sentence:
    return Sentence(estimate.sentence(about(estimate.id).subject), (estimate,))


def _who(results: Results) -> tuple[object, ...]:
    counts = [count(results, name) for name in
              ("patients", "lesions", "sessions", "injections", "catheters")]
    words = tuple(
        Sentence(f"{e.n:,} {plural(e.unit) if e.n != 1 else e.unit} counted.", (e,))
        for e in counts)
    return (
        Paragraph(words), Paragraph(left_out(results.manifest)), flow_picture(results),
        plain("A session is a procedure, from vascular access with intent to embolize: two "
              "lesions embolized in one procedure are one session, and a session in which "
              "nothing was injected counts."),
    )


def _obliteration(results: Results) -> tuple[object, ...]:
    shown = [("obliteration.embolization_complete", "lesion"),
             ("obliteration.final_confirmed", "lesion")]
    return (
        measures_table(results, "obliteration", "Obliteration of the nidus", OBLITERATION),
        by_grade_picture(results, *shown[0]),
        by_grade_picture(results, *shown[1]),
        *(grouped_table(results, f"obliteration-by-{column}",
                        f"Obliteration by {_by_words(column)}", OBLITERATION, column, folded=True)
          for column in COLUMNS),
    )


def _complications(results: Results) -> tuple[object, ...]:
    shown = [("complication.any", "session"), ("complication.symptomatic", "session"),
             ("complication.permanent_deficit", "session"),
             ("combined.permanent_deficit_or_death", "patient")]
    return (
        measures_table(results, "complications", "Complications, by unit of analysis", HARM),
        by_unit_picture(results, "complication.any"),
        *(grouped_table(results, f"complications-by-{column}",
                        f"Complications by {_by_words(column)}", shown, column, folded=True)
          for column in COLUMNS),
    )


def _by_words(column: str) -> str:
    words = {"sm_grade": "Spetzler–Martin grade", "ponce_class": "Spetzler–Ponce class",
             "agent": "agent group", "period": "calendar year",
             "ruptured": "rupture before treatment"}
    return words.get(column, column)


def by_grade_picture(results: Results, id: str, unit: str) -> Picture:
    """A measure by Spetzler–Martin grade, with intervals and counts."""
    found = [*results.by(id, unit, "sm_grade"), results.one(id, unit)]
    labels = [*(f"Grade {level_label('sm_grade', e.group['sm_grade'])}"
                for e in found[:-1] if e.group), "All"]
    return _interval_picture(
        f"{id.split('.')[-1].replace('_', '-')}-by-grade",
        f"{about(id).label} by Spetzler–Martin grade, per {unit}, with 95 % intervals",
        found, labels)


def by_unit_picture(results: Results, id: str) -> Picture:
    """A measure in each unit of analysis, with intervals and counts."""
    found = [results.one(id, unit) for unit in results.units_of(id)]
    return _interval_picture(
        f"{id.replace('.', '-')}-by-unit",
        f"{about(id).label} by unit of analysis, with 95 % intervals", found,
        [f"Per {e.unit}" for e in found])


def _interval_picture(
    name: str, caption: str, found: list[Estimate], labels: list[str],
) -> Picture:
    alt = f"{caption}: " + "; ".join(
        f"{label} {e.number_text()}" for label, e in zip(labels, found, strict=True))
    return Picture(name, caption, alt, lambda width: interval_figure(
        found, labels, width, f"{plural(found[0].unit).capitalize()} (%)"
        if len({e.unit for e in found}) == 1 else "Share (%)"), tuple(found))


def _timeline(results: Results) -> Picture:
    sessions = results.units.sessions
    found = results.one("complication.any", "session")
    happened = {row.key for row in found.counted if row.event}
    caption = "Embolization sessions by quarter, those with an embolization complication marked"
    return Picture(
        "session-timeline", caption, f"{caption}: {found.number_text()} sessions had one.",
        lambda width: session_timeline(sessions, sessions["key"].isin(happened), width), (found,))


def _methods(results: Results) -> tuple[Paragraph, ...]:
    return (
        plain(
            "A proportion is printed as events/n (value %, low–high) with its 95 % interval.",
            "Where each patient gives one row the interval is Clopper and Pearson's (1934).",
            "Where patients give several rows it is Korn and Graubard's (1998), clustered on "
            "the patient: the number of rows is cut to what they are worth.",
            "With no events, or events only, the interval is the exact one by patients.",
            "Numbers that fail the presentation rule of the US National Center for Health "
            "Statistics (Series 2 No 175, 2017) are printed and marked.",
        ),
        plain(
            "An embolization complication is a recorded event that is not unrelated to the "
            "embolization, with onset from vascular access to 30 days after a session, whatever "
            "its phase.",
            "A blank means not recorded; it is never read as no.",
            "Units whose outcome cannot be told leave the denominator and are counted beside it.",
        ),
        plain(
            "Person-time is counted in days and given in years of 365.25 days, to death or the "
            "last day on which a patient is known about.",
            "Rates have exact Poisson limits (Garwood 1936), widened where a patient had several "
            "events (Ulm 1990).",
            "Time to an event is estimated after Aalen and Johansen (1978) where death competes "
            "with it and after Kaplan and Meier (1958) otherwise, ties taken as they are, with "
            "log–log limits; where a patient gives several lesions, with a variance by patient.",
        ),
    )
