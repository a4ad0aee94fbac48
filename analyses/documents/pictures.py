"""Figures that several documents show: a measure by grade, by unit, and sessions over time."""

from __future__ import annotations

from analyses.content.blocks import Picture
from analyses.figures.figure_shares import interval_figure
from analyses.figures.figure_timeline import session_timeline
from analyses.measures.declared import about, shown_at
from analyses.measures.group_words import level_label
from analyses.measures.places import Place
from analyses.measures.results import Results
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import plural


def by_grade_picture(results: Results, id: str, unit: str) -> Picture:
    """A measure by Spetzler–Martin grade, with intervals and counts."""
    found = [*results.by(id, unit, "sm_grade"), results.one(id, unit)]
    labels = [*(f"Grade {level_label('sm_grade', e.group['sm_grade'])}"
                for e in found[:-1] if e.group), "All"]
    return interval_picture(
        f"{id.split('.')[-1].replace('_', '-')}-by-grade",
        f"{about(id).label} by Spetzler–Martin grade, per {unit}, with 95 % intervals",
        found, labels)


def by_unit_picture(results: Results, id: str) -> Picture:
    """A measure in each unit of analysis, with intervals and counts."""
    found = [results.one(id, unit) for unit in results.units_of(id)]
    return interval_picture(
        f"{id.replace('.', '-')}-by-unit",
        f"{about(id).label} by unit of analysis, with 95 % intervals", found,
        [f"Per {e.unit}" for e in found])


def interval_picture(
    name: str, caption: str, found: list[Estimate], labels: list[str],
) -> Picture:
    """Proportions with their intervals, one a line."""
    alt = f"{caption}: " + "; ".join(
        f"{label} {e.number_text()}" for label, e in zip(labels, found, strict=True))
    return Picture(name, caption, alt, lambda width: interval_figure(
        found, labels, width, f"{plural(found[0].unit).capitalize()} (%)"
        if len({e.unit for e in found}) == 1 else "Share (%)"), tuple(found), rows_seen=False)


def timeline_picture(results: Results) -> Picture:
    """Every session by quarter, those with an embolization complication marked."""
    sessions = results.units.sessions
    found = results.one(*shown_at(Place.MONITORED)[0])
    happened = {row.key for row in found.counted if row.event}
    caption = "Embolization sessions by quarter, those with an embolization complication marked"
    return Picture(
        "session-timeline", caption, f"{caption}: {found.number_text()} sessions had one.",
        lambda width: session_timeline(sessions, sessions["key"].isin(happened), width), (found,))
