"""Six additions as somebody new to the code would make them, around the peak skin dose."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Edit:
    """Text put before a line of a file that is there; at its end, or into a new file, without."""

    path: str
    text: str
    before: str = ""

    def make(self, root: Path) -> None:
        """Make it in a copy of the packages."""
        target = root / self.path
        now = target.read_text(encoding="utf-8") if target.exists() else ""
        if self.before:
            assert now.count(self.before) == 1, f"{self.path}: {self.before}"
            now = now.replace(self.before, self.text + self.before)
        else:
            now += self.text
        target.write_text(now, encoding="utf-8")


FIELD = (
    Edit("registry/schema/sessions.py", '''\
    skin_dose_mgy = number(
        "Peak skin dose", "Highest dose to one place of the skin.", 0, 30000, unit="mGy",
    )
''', "    air_kerma_mgy = number("),
)

RULE = (
    Edit("registry/rules/ask_doses.py", '''\
"""Queries on doses."""

from __future__ import annotations

from registry.rules.finding import Hits, Tables, query
from registry.schema import Sessions


@query("skin dose without a fluoroscopy time")
def dose_without_time(tables: Tables) -> Hits:
    """A peak skin dose, and no time in which it was given."""
    rows = tables["sessions"]
    rows = rows[rows[Sessions.skin_dose_mgy].notna() & rows[Sessions.fluoroscopy_min].isna()]
    return Hits("sessions", rows, Sessions.skin_dose_mgy, "a skin dose and no fluoroscopy time",
                "the time beside every dose", "enter the fluoroscopy time if it is in the record")
'''),
)

MEASURE = (
    Edit("analyses/measures/procedures.py", '''

def _high_skin_dose(units: Units, unit: str) -> pd.DataFrame:
    rows = units.tables["sessions"]
    dose = pd.Series(rows[Sessions.skin_dose_mgy].array, index=unit_key(rows, SESSION_KEY))
    found = units.sessions["key"].map(dose)
    return units.sessions.assign(event=found.ge(3000).astype("boolean").mask(found.isna()))


HIGH_SKIN_DOSE = Share(
    id="procedure.high_skin_dose", units=SESSION, label="Peak skin dose of 3 Gy or more",
    subject="a peak skin dose of 3 Gy or more", counted="peak skin dose of 3,000 mGy or more",
    among="sessions with the skin dose recorded", direction=Direction.HARM,
    counts=_high_skin_dose, unknown="without a recorded skin dose",
    shown_in={Place.PROCEDURE_TABLE: SESSION, IN_TEXT: SESSION},
    answers=("avm-endovascular: Radiation",), uses=("sessions.skin_dose_mgy",),
    checked_against="counted by hand on the small cohort")
'''),
    Edit("analyses/measures/procedures.py", '''\
from analyses.population.counted_events import SESSION as SESSION_KEY
from analyses.population.counted_events import unit_key
''', "from analyses.population.procedure_rows import ("),
)

TERM = (
    Edit("analyses/models/technique_terms.py", '''
FASTEST = TechniqueTerm(
    id="fastest_rate_ml_min", label="Fastest rate", definition="The fastest of the sessions.",
    unit="mL/min", per=0.1, more="faster", applies=OF_LIQUIDS,
    works=lambda technique: whole(
        technique.liquid.groupby(technique.by), "fastest_rate_ml_min", "max"),
    uses=(*VOLUME, "injections.injection_min", "injections.pauses_s"))
'''),
)

FIGURE = (
    Edit("analyses/figures/figure_doses.py", '''\
"""Skin dose against fluoroscopy time, a mark a session."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyses.figures.figure_style import INK, STYLE, new_figure

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure


def doses_figure(minutes: pd.Series, skin: pd.Series, width_in: float) -> Figure:
    """Dose (mGy) along time (min) of each session."""
    import matplotlib as mpl

    with mpl.rc_context(STYLE):
        figure, axes = new_figure(width_in, 2.5)
        axes.scatter(minutes.astype(float), skin.astype(float), color=INK, s=14)
        axes.set_xlabel("Fluoroscopy time (min)")
        axes.set_ylabel("Peak skin dose (mGy)")
    return figure
'''),
    Edit("analyses/documents/series/outcomes_sections.py", '''\
def doses_picture(results: Results) -> Picture:
    """Skin dose against fluoroscopy time, one mark a session."""
    from analyses.figures.figure_doses import doses_figure

    rows = results.units.tables["sessions"]
    known = rows[rows[[Sessions.fluoroscopy_min, Sessions.skin_dose_mgy]].notna().all(axis=1)]
    caption = "Peak skin dose against fluoroscopy time, a mark a session"
    return Picture("skin-dose", caption, f"{caption}: {len(known)} sessions.",
                   lambda width: doses_figure(known[Sessions.fluoroscopy_min],
                                              known[Sessions.skin_dose_mgy], width))


''', "def limits_picture("),
    Edit("analyses/documents/series/outcomes_sections.py", '''\
        doses_picture(results),
''', "        limits_picture(results),\n"),
)

SECTION = (
    Edit("analyses/documents/series/dose_section.py", '''\
"""What the skin was given, and what was done about it."""

from __future__ import annotations

from analyses.content.blocks import Section, plain
from analyses.documents.tables.measure_tables import measures_table
from analyses.measures.procedures import HIGH_KERMA
from analyses.measures.results import Results


def dose_section(results: Results) -> Section:
    """Doses that want a follow-up of the skin."""
    return Section("Follow-up of the skin", (
        plain("Who had a substantial dose is asked after the skin at the next visit."),
        measures_table(results, "skin-follow-up", "Doses that want a look at the skin",
                       [(HIGH_KERMA.id, "session")])))
'''),
    Edit("analyses/documents/series/series_report.py", '''\
from analyses.documents.series.dose_section import dose_section
''', "from analyses.documents.series.embolized_section import"),
    Edit("analyses/documents/series/series_report.py", '''\
        dose_section(results),
''', "        discussion(),\n"),
)

ADDITIONS = {"field": FIELD, "rule": RULE, "measure": MEASURE, "technique variable": TERM,
             "figure": FIGURE, "section": SECTION}
"""What is added → its edits, each built on those before it."""
