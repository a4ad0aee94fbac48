"""`Study`: a freeze with what was left out of it and added to it, and all that can be asked of it.

```python
from analyses import open_study

study = open_study("freeze-2026")
late = study.where("first_session >= '2018-01-01'", why="new angiography suite")
late.ask("complication.any", unit="session", by="agent").sentence()
late.report("out")
```
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from analyses.content.blocks import Section
from analyses.measures.declared import TOPICS
from analyses.measures.headlines import Headline
from analyses.measures.measure import Share, Spread, Worked
from analyses.measures.results import Results, work_out, work_out_topics
from analyses.population.exclusions import Exclusion, study_manifest
from analyses.population.unit_frames import Units, units_of
from analyses.study.answers import Answer
from analyses.study.condition import read_condition
from analyses.study.frame_export import export_frame, refuse_hiding
from analyses.study.kept_rows import kept_rows, tables_of
from analyses.study.population_steps import (
    Added,
    LeftOut,
    Step,
    Values,
    added_step,
    label_of_group,
    reached_by,
    study_hash,
    with_added,
)
from analyses.study.questions import (
    frame_asked,
    grouped,
    important_asked,
    level_asked,
    measure_asked,
    rows_of,
    share_asked,
    unit_asked,
    worked_estimates,
)
from analyses.study.study_errors import StudyError, unknown_name
from analyses.study.study_frames import StudyFrame, study_frames
from analyses.study.study_model import Given, StudyModel, study_model
from analyses.study.study_overview import dictionary_of, measures_of, overview
from analyses.study.study_shown import ShowsItself
from analyses.study.untold_units import untold_units
from registry.freeze.freeze_reading import Freeze, read_freeze
from registry.freeze.who import harmed_patients
from registry.freeze.worked_out import work_out as worked_out_of
from registry.schema import Patients

if TYPE_CHECKING:
    from analyses.measures.results import Progress
    from analyses.study.group_comparison import Comparison
    from analyses.study.measure_over_time import OverTime
    from analyses.study.periods_compared import PeriodsCompared
    from analyses.study.pooled_groups import PooledGroups
    from registry.clinical.practice_limits import PracticeLimits


def open_study(
    freeze: str | Path | Freeze, *, limits: str | Path | PracticeLimits | None = None,
) -> Study:
    """Open a study of everybody in a freeze.

    freeze: its folder, or a freeze already read. limits: the service's own practice limits (a
    TOML file); the package's where None. Raises FreezeError, one sentence, where the folder is
    none or was changed.

    Example: `open_study("nidusbook-demo/freeze-research").ask("complication.any", unit="session")`
    """
    from registry.clinical.practice_limits import read_limits

    frozen = freeze if isinstance(freeze, Freeze) else read_freeze(freeze)
    own = read_limits(limits) if isinstance(limits, str | Path) else limits
    tables = dict(frozen.tables)
    # Grades use the age before it is capped and case numbers count everybody: a freeze carries
    # both; tables that never were frozen get them before anything is left out.
    if "grades" not in tables or "case_numbers" not in tables:
        tables |= worked_out_of(tables)
    return Study(frozen, units_of(tables, own, frozen.manifest))


@dataclass(frozen=True, eq=False, repr=False)
class Study(ShowsItself):
    """A population with its frames and questions; `where` and `add` give new ones.

    freeze: what it was opened from; units: its rows by unit, for the functions of the rooms
    below; steps: what was left out and added, in order.
    """

    freeze: Freeze
    units: Units
    steps: tuple[Step, ...] = ()

    # What it holds.

    @property
    def hash(self) -> str:
        """The freeze's hash; with anything left out or added, SHA-256 of it and of the steps."""
        return study_hash(str(self.freeze.manifest.get("freeze_hash", "")), self.steps)

    @property
    def manifest(self) -> Mapping[str, Any]:
        """What the freeze says of itself, and what the study did to it."""
        return self.units.manifest

    @property
    def tables(self) -> Mapping[str, pd.DataFrame]:
        """The freeze's tables without what was left out."""
        return self.units.tables

    @property
    def limits(self) -> PracticeLimits:
        """The practice limits that technique is judged by."""
        return self.units.limits

    @property
    def exclusions(self) -> tuple[Exclusion, ...]:
        """What was left out, in order, with its reasons and counts."""
        return tuple(step.exclusion for step in self.steps if isinstance(step, LeftOut))

    @cached_property
    def _frames(self) -> Mapping[str, StudyFrame]:
        added = [step for step in self.steps if isinstance(step, Added)]
        return with_added(study_frames(self.units), added, self.units)

    @property
    def patients(self) -> pd.DataFrame:
        """One row a patient, treated or not; index `key`. Columns: `dictionary()`."""
        return self._frames["patient"].frame.copy()

    @property
    def lesions(self) -> pd.DataFrame:
        """One row a lesion, treated or not, with its patient's columns."""
        return self._frames["lesion"].frame.copy()

    @property
    def sessions(self) -> pd.DataFrame:
        """One row an embolization procedure, with its lesion's and patient's columns."""
        return self._frames["session"].frame.copy()

    @property
    def injections(self) -> pd.DataFrame:
        """One row an injection, with the columns of its session, lesion and patient."""
        return self._frames["injection"].frame.copy()

    @property
    def catheters(self) -> pd.DataFrame:
        """One row a catheter used, with the columns in which its injections agree."""
        return self._frames["catheter"].frame.copy()

    @property
    def resections(self) -> pd.DataFrame:
        """One row an operation, with its lesion's and patient's columns."""
        return self._frames["resection"].frame.copy()

    def dictionary(self) -> pd.DataFrame:
        """Every column of every frame: frame, column, type, label, definition, unit, source."""
        return dictionary_of(self._frames)

    def measures(self) -> pd.DataFrame:
        """Every measure that can be asked: id, label, definition, units."""
        return measures_of()

    # Other populations and columns.

    def where(self, condition: str, *, why: str, unit: str = "patient") -> Study:
        """The study of those that meet a condition; the others are left out, and it is said.

        condition: a pandas query on the frame of `unit` (see `dictionary()`). A unit that is
        left out takes with it what hangs under it, and what is left with none above it. Where a
        value that decides is not recorded, the unit is left out and counted. why: the reason, as
        the paper will print it. Grades and case numbers stay as they were worked out of all.

        Raises UnknownName or StudyError, one sentence each, for what cannot be.

        Example: `study.where("age_y >= 18", why="adults")`
        """
        if not isinstance(why, str) or not why.strip():
            raise StudyError("Say why the others are left out: why=\"…\"; the flow diagram and "
                             "the methods print it.")
        frame = frame_asked(unit, self._frames)
        asked = read_condition(condition)
        met = asked.of(frame.frame)
        keep = met.fillna(False).astype(bool)
        untold = untold_units(frame, asked, met)
        if not keep.any():
            raise StudyError(f"No {frame.unit} meets “{condition}”{untold.aside(len(met))}, so "
                             "nobody would be left.")
        kept = kept_rows(self.units, frame.unit, keep.index[keep])
        after = units_of(tables_of(self.units, kept), self.limits, self.freeze.manifest)
        gone = _people(self.units) - _people(after)
        exclusion = Exclusion(
            frame.unit, asked.printed, why.strip(), int((~keep).sum()), untold.unknown,
            len(gone), len(gone & harmed_patients(self.tables)),
            len(self.units.events) - len(after.events), untold.none, untold.none_of)
        return self._after(LeftOut(exclusion, condition), after)

    def add(
        self, name: str, values: Values, *, unit: str = "patient", label: str,
    ) -> Study:
        """The study with a column more, for `where`, `by`, `group`, and the terms of models.

        values: a Series with a value for every key of the unit's frame, in any order (or plain
        values in the frame's order); blank where it is not known. label: its words. The frames
        under the unit get it too.

        Raises StudyError, one sentence, where the name is taken or the keys do not fit.

        Example: `study.add("big_cast", study.sessions["agent_ml"] > 2, unit="session",
        label="more than 2 mL of agent")`
        """
        frame = frame_asked(unit, self._frames)
        if not isinstance(label, str) or not label.strip():
            raise StudyError("Say what the column means: label=\"…\".")
        for other in reached_by(frame.unit):
            if name in self._frames[other].frame or name == "key":
                raise StudyError(f"The {other}s have a column {name} already; take another name.")
        step = added_step(frame, self.units, name, values, label.strip())
        return self._after(step, self.units)

    def _after(self, step: Step, units: Units) -> Study:
        steps = (*self.steps, step)
        found = Study(self.freeze, units, steps)
        manifest = study_manifest(
            self.freeze.manifest, found.hash, found.exclusions,
            tuple(one.about for one in steps if isinstance(one, Added)))
        return replace(found, units=replace(units, manifest=manifest, made={}))

    # Questions.

    def ask(
        self, id: str, *, unit: str | None = None, by: str | None = None, level: float = 0.95,
    ) -> Answer:
        """A measure of the study, overall and by a column.

        id: one of `measures()`; unit: the unit of analysis (may be left out where there is only
        one); by: a column of the unit's frame; level: coverage of the intervals.

        Raises UnknownName or StudyError, one sentence each, for what there is not.

        Example: `study.ask("complication.any", unit="session", by="agent").sentence()`
        """
        measure, level = measure_asked(id), level_asked(level)
        unit = unit_asked(measure, unit)
        if isinstance(measure, Worked):
            found = worked_estimates(measure, self.units, unit, by, level)
            return Answer(measure, unit, found, self.manifest, level, by, self._label(by, unit))
        rows = rows_of(measure, self.units, unit)
        if by is not None:
            rows = grouped(rows, by, frame_asked(unit, self._frames))
        columns = () if by is None else (by,)
        if isinstance(measure, Spread):
            estimates = measure.of(rows, unit, by=columns, level=level)
            values = rows[["value", *columns]]
        else:
            assert isinstance(measure, Share)
            notes = measure.notes(self.units, unit) if measure.notes else ()
            estimates = measure.of(rows, unit, by=columns, notes=notes, level=level)
            values = None
        return Answer(measure, unit, tuple(estimates), self.manifest, level, by,
                      self._label(by, unit), values)

    def compare(
        self, id: str, *, unit: str | None = None, group: str, level: float = 0.95,
    ) -> Comparison:
        """A share compared between groups: differences with intervals, and one test of all.

        group: a column of the unit's frame. The test exchanges whole patients. Below 8 events or
        8 units without one, or where the gate refuses a point, the counts stand alone and `.why`
        says so. Raises UnknownName or StudyError, one sentence each, for what there is not.

        Example: `study.compare("complication.any", unit="session", group="agent")`
        """
        from analyses.study.group_comparison import compared

        measure, level = share_asked(id, "a comparison"), level_asked(level)
        unit = unit_asked(measure, unit)
        rows = grouped(measure.frame(self.units, unit), group, frame_asked(unit, self._frames))
        headline = Headline(id, unit, rows, measure.verdict(self.units, unit))
        return compared(headline, group, self.ask(id, unit=unit, by=group, level=level), level)

    def pooled(
        self, id: str, *, unit: str | None = None, group: str, important: float | None = None,
        level: float = 0.95,
    ) -> PooledGroups:
        """A share in several small groups that lend each other strength (partial pooling).

        group: a column of the unit's frame with five groups or more; important: a size of
        difference (0 to 1) whose probability of being passed is wanted. Where there are too few
        groups or events, or the gate refuses a point, the counts stand alone and `.why` says so.
        Raises UnknownName or StudyError, one sentence each, for what there is not.

        Example: `study.pooled("complication.any", unit="session", group="period",
        important=0.05)`
        """
        from analyses.study.pooled_groups import pooled_groups

        measure, level = share_asked(id, "pooled groups"), level_asked(level)
        unit = unit_asked(measure, unit)
        rows = grouped(measure.frame(self.units, unit), group, frame_asked(unit, self._frames))
        headline = Headline(id, unit, rows, measure.verdict(self.units, unit))
        counts = self.ask(id, unit=unit, by=group, level=level)
        return pooled_groups(headline, group, counts, important_asked(important), level)

    def model(
        self, id: str, *, unit: str | None = None, terms: Sequence[Given],
        adjust: Sequence[Given] = (), level: float = 0.95,
    ) -> StudyModel:
        """A regression of a share on columns of the unit's frame, clustered on the patient.

        terms: what is asked about, adjust: what is allowed for; columns, or tables as in a plan
        file ({"column": "rate_ml_min", "per": 0.1}). Raises UnknownName or StudyError, one
        sentence each, where there is no such column or no model can be fitted.

        Example: `study.model("complication.any", unit="session", terms=["agent_ml"],
        adjust=["age_at_treatment", "sm_grade"]).table`
        """
        measure, level = share_asked(id, "a model"), level_asked(level)
        unit = unit_asked(measure, unit)
        return study_model(measure, self.units, unit, frame_asked(unit, self._frames), terms,
                           adjust, level)

    def over_time(self, id: str, *, unit: str | None = None) -> OverTime:
        """A share over calendar time, in the chart that fits how often the event happens.

        Example: `study.over_time("complication.any", unit="session").figure()`
        """
        from analyses.study.measure_over_time import measure_over_time

        measure = share_asked(id, "a chart over time")
        unit = unit_asked(measure, unit)
        return measure_over_time(measure, self.units, unit, frame_asked(unit, self._frames),
                                 self.manifest)

    def compare_periods(
        self, first: tuple[Any, Any], second: tuple[Any, Any],
    ) -> PeriodsCompared:
        """Every share in two periods of calendar time: counts and intervals, exploratory.

        first, second: the first and the last day of each, as text or dates. No difference is
        tested. Raises StudyError where a day cannot be read or the periods overlap.

        Example: `study.compare_periods(("2018-01-01", "2019-12-31"), ("2020-01-01",
        "2021-12-31"))`
        """
        from analyses.study.periods_compared import periods_compared

        return periods_compared(self.units, first, second, self.manifest)

    def _label(self, by: str | None, unit: str) -> str:
        if by is None:
            return ""
        name = {"operation": "resection"}.get(unit, unit)
        frame = self._frames.get(name)
        return label_of_group(by, frame.columns if frame else {})

    # All results, and what is made of them.

    @cached_property
    def results(self) -> Results:
        """All estimates of the study, worked out once."""
        return work_out(self.units)

    def results_of(self, topics: Iterable[str]) -> Results:
        """The estimates of some topics only: quicker where few are needed.

        Raises UnknownName for a topic that there is not.
        """
        named = list(topics)
        for topic in named:
            if topic not in TOPICS:
                raise unknown_name("topic", topic, TOPICS, f"There are {', '.join(TOPICS)}.")
        return work_out_topics(named, self.units)

    def report(
        self, out: str | Path, *, audience: str = "series", plan: str | Path | None = None,
        case: str | Iterable[str] | None = None, event: int | None = None,
        template: str | Path | None = None, digest: str | None = None,
        project: str | Path | None = None, published: str | Path | None = None,
        figures: str | Iterable[str] = (), small_cells: str = "show",
        progress: Progress | Callable[..., None] | None = None,
    ) -> list[str]:
        """Write the documents of the study into a folder; returns lines that say what to open.

        audience: series, conference (of `case`, a study code or several, and of its `event` by
        number, the gravest where None; in the slides of a `template`; or the `digest` of a
        quarter, "2026-Q3") or quality. plan: of the
        technique models; project: words of a quality project; published: an own table of
        published series (files); figures: formats and widths of the figures' files ("pdf,tiff",
        "one-column"); small_cells: "hide" for files that are published as data, and then only
        files that may leave are written. Raises ReportError and its kin where the call or the
        folder is wrong; then nothing has been written, and an older report stays as it was.
        """
        from analyses.documents.report_making import (
            check_audience,
            check_wish,
            wish_of,
            write_report,
        )

        check_audience(audience)
        wish = wish_of(case=case, event=event, template=template, digest=digest, plan=plan,
                       project=project, published=published, figures=figures,
                       small_cells=small_cells)
        check_wish(audience, wish)
        if progress is not None and "results" not in vars(self):
            # As `results` does, but told step by step: the next report takes the same ones.
            vars(self)["results"] = work_out(self.units, progress=progress)
        return write_report(self.results, Path(out), audience=audience, wish=wish,
                            progress=progress)

    def export(
        self, path: str | Path, *, unit: str, replace: bool = False, small_cells: str = "show",
    ) -> Path:
        """Write the frame of a unit as .csv or .parquet. It lists study codes: it stays inside.

        Raises StudyError for another ending, a file that is there (unless `replace`), or where
        small cells are to be hidden: every row of a frame is one.
        """
        refuse_hiding(small_cells)
        return export_frame(frame_asked(unit, self._frames), Path(path), replace=replace)

    def content(self) -> tuple[Section, ...]:
        """What it is, what is in its frames, and its main measures."""
        return overview(self.units, self._frames, self.freeze.path)


def _people(units: Units) -> set[str]:
    return set(units.tables["patients"][Patients.patient_id].astype(str))
