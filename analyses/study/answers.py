"""The answer to a question put to a study: its estimates, and how they are said and drawn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from analyses.content.blocks import Block, Cell, Picture, Section, Table, plain
from analyses.documents.pictures import interval_picture
from analyses.documents.tables.measure_tables import number_cell
from analyses.figures.figure_measures import strip_figure
from analyses.measures.declared import about
from analyses.measures.group_words import level_label
from analyses.measures.measure import Measure
from analyses.population.exclusions import exclusions_of, hash_words
from analyses.statistics.estimate import Estimate
from analyses.study.study_errors import StudyError
from analyses.study.study_shown import ShowsItself
from registry.schema import Sessions

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DRAWN = ("proportion", "bounds", "probability")

BY_OPERATOR = ("Operators are not ranked by this: they treat different patients, few events tell "
               "little, and the numbers by operator code stay inside the service.")
"""Stands beside whatever is given by operator."""


@dataclass(frozen=True, repr=False)
class Answer(ShowsItself):
    """A measure of a study, overall and by a grouping.

    estimates: overall first, then the levels in their order. by: the column of the grouping and
    what it is called; values: the measurements behind a median (a frame with `value` and the
    grouping), None for a share.
    """

    measure: Measure
    unit: str
    estimates: tuple[Estimate, ...]
    manifest: Mapping[str, Any]
    level: float = 0.95
    by: str | None = None
    by_label: str = ""
    values: pd.DataFrame | None = None

    @property
    def cautions(self) -> tuple[str, ...]:
        """What must be said beside the numbers: by operator, that they rank nobody."""
        return (BY_OPERATOR,) if self.by == Sessions.operator_id else ()

    def frame(self) -> pd.DataFrame:
        """One row an estimate: group, events, n, patients, value, low, high, method, notes."""
        return pd.DataFrame([{
            "group": self._label(one), "events": one.events, "n": one.n,
            "patients": one.clusters, "value": one.value, "low": one.low, "high": one.high,
            "level": one.level, "method": one.method, "text": one.number_text(),
            "notes": "; ".join(one.notes()),
        } for one in self.estimates]).astype(
            {"events": "Int64", "n": "Int64", "patients": "Int64"})

    def figure(self, width_in: float = 6.5) -> Figure:
        """The estimates drawn: shares with intervals, or every value with the medians."""
        return self._picture().draw(width_in)

    def sentence(self) -> str:
        """The estimates in sentences, one each."""
        said = [one.sentence(about(one.id).subject) for one in self.estimates]
        return " ".join((*said, *self.cautions))

    def methods(self) -> str:
        """What was counted over what, in what data, and how the interval was made."""
        said = [f"{self.measure.label}: {self.measure.definition(self.unit)}.",
                f"Worked out per {self.unit} from {hash_words(self.manifest)}."]
        said += [one.sentence() for one in exclusions_of(self.manifest)]
        how = dict.fromkeys(one.method for one in self.estimates if one.low is not None)
        said += [f"Intervals ({100 * self.level:g} %): {'; '.join(how)}."] if how else []
        return " ".join(said)

    def content(self) -> tuple[Section, ...]:
        """A table of the estimates, the figure where there is one, and the methods."""
        headings = (self.by_label or "Group", "Number (interval)", "Patients", "Notes")
        rows = tuple((
            Cell(self._label(one), heading=True), number_cell(one),
            Cell("" if one.clusters is None else f"{one.clusters:,}"),
            Cell("; ".join(one.notes()))) for one in self.estimates)
        caption = f"{self.measure.label}, per {self.unit}"
        blocks: list[Block] = [Table("answer", caption, headings, rows)]
        if self.by and self._can_be_drawn():
            blocks.append(self._picture())
        return (Section(self.measure.label, (*blocks, plain(*self.cautions, self.methods()))),)

    def _label(self, one: Estimate) -> str:
        if not one.group:
            return "All" if one.id == self.measure.id else about(one.id).label
        return ", ".join(level_label(column, level) for column, level in one.group.items())

    def _can_be_drawn(self) -> bool:
        return self.values is not None or all(one.kind in DRAWN for one in self.estimates)

    def _picture(self) -> Picture:
        caption = (f"{self.measure.label}, per {self.unit}"
                   + (f", by {in_a_sentence(self.by_label)}" if self.by else ""))
        labels = [self._label(one) for one in self.estimates]
        if self.values is not None:
            return self._strips(caption, labels)
        if not self._can_be_drawn():
            raise StudyError(f"There is no figure of {self.measure.id}: it is a "
                             f"{self.estimates[0].kind}. Its numbers are in .frame().")
        return interval_picture("answer", caption, list(self.estimates), labels)

    def _strips(self, caption: str, labels: list[str]) -> Picture:
        assert self.values is not None
        rows = self.values[self.values["value"].notna()]
        groups = []
        for label, one in zip(labels, self.estimates, strict=True):
            level = (one.group or {}).get(self.by or "")
            mine = rows if level is None else rows[rows[self.by or ""] == level]
            groups.append((label, mine["value"].to_numpy(dtype=float), one))
        axis = f"{self.measure.label} ({self.estimates[0].measure})"
        alt = f"{caption}: " + "; ".join(f"{label} {one.number_text()}" for label, _, one in groups)
        return Picture("answer", caption, alt,
                       lambda width: strip_figure(groups, axis, width), self.estimates)


def in_a_sentence(label: str) -> str:
    """A label as it stands within a sentence: `Agent` as agent, mRS and mL as they are."""
    return label if label[1:2].isupper() else label[:1].lower() + label[1:]
