"""The case series report: what happened to the service's own patients.

Two documents from one set of parts: the page that stays inside the service, with study codes and
operator codes, and the manuscript that may leave it, with neither.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

from analyses.content.blocks import Document, Points, Section, Sentence, Table
from analyses.documents.always_said import cautions, only_a_part
from analyses.documents.checklists.filled import checklist_sections
from analyses.documents.pictures import by_grade_picture, by_unit_picture
from analyses.documents.series.declared_section import declared_section
from analyses.documents.series.embolized_section import embolized_section
from analyses.documents.series.event_sections import events_table
from analyses.documents.series.learning_section import learning_section
from analyses.documents.series.limitations import limitations_section
from analyses.documents.series.literature_section import (
    literature_methods,
    literature_results,
    literature_supplement,
)
from analyses.documents.series.methods import methods_sections
from analyses.documents.series.outcomes_sections import operators_section
from analyses.documents.series.pooled_section import pooling_methods
from analyses.documents.series.precision_section import planned, precision_section
from analyses.documents.series.references import references_section
from analyses.documents.series.results_sections import counted_in_words, results_sections
from analyses.documents.series.said import told
from analyses.documents.series.supplement import supplement_sections
from analyses.documents.series.technique_section import (
    model_limits,
    model_methods,
    plan_sections,
    technique_blocks,
    technique_supplement,
)
from analyses.documents.series.to_write import declarations, discussion, introduction
from analyses.literature.comparison import Literature, beside_literature
from analyses.measures.declared import shown_at
from analyses.measures.groups_pooled import GroupsPooled, groups_pooled
from analyses.measures.null_findings import NullFindings, null_findings
from analyses.measures.places import Place
from analyses.measures.results import Progress, Results
from analyses.measures.weaknesses import EMBOLIZED
from analyses.models.model_answered import AnsweredModel
from analyses.models.model_estimates import ModelNumbers, model_numbers
from analyses.population.exclusions import hash_words
from analyses.statistics.estimate import Estimate

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from analyses.literature.published import PublishedSeries
    from analyses.models.embolized_or_not import EmbolizedOrNot
    from analyses.models.learning_effect import LearningEffect
    from analyses.models.model_plan import Plan
    from analyses.models.questions_answered import Answered
    from analyses.models.technique_models import TechniqueModels
    from analyses.statistics.precision.precision_plan import Precision

__all__ = ["SeriesWork", "by_grade_picture", "by_unit_picture", "checklists_document",
           "manuscript_document", "series_document", "series_work"]

@dataclass(frozen=True)
class SeriesWork:
    """What the case series rests on: results, models on technique, planning of precision."""

    results: Results
    models: TechniqueModels | None = None
    precision: tuple[Precision, ...] = ()
    literature: Literature = Literature((), ())
    embolized: EmbolizedOrNot | None = None
    learning: LearningEffect | str | None = None
    questions: tuple[Answered, ...] = ()
    late: bool = False
    chance: NullFindings | None = None
    pooled: tuple[GroupsPooled, ...] = ()

    @cached_property
    def numbers(self) -> ModelNumbers:
        """The numbers of the models."""
        return model_numbers(self.models)

    @cached_property
    def sections(self) -> tuple[Section, ...]:
        """What page and manuscript share, so that each figure is drawn once for both."""
        return tuple(_sections(self, self.results, events_table(self.results, study_codes=False)))

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """Numbers beyond those of the results that the documents print."""
        return (*(e for plan in self.precision for e in plan.estimates), *self.numbers.estimates,
                *self.literature.estimates,
                *(self.embolized.estimates if self.embolized else ()),
                *(e for one in self.questions for e in one.estimates),
                *null_findings(self.results.units).estimates,
                *(e for one in self.pooled for e in one.estimates),
                *(self.chance.estimates if self.chance else ()),
                *getattr(self.learning, "estimates", ()))


def series_work(
    results: Results, *, plan: Plan | None = None,
    published: Iterable[PublishedSeries] | None = None, progress: Progress | None = None,
) -> SeriesWork:
    """Work out what the case series shows beside the results.

    plan: of the technique models; the default one, whose results are exploratory, where None.
    published: lines to be set beside our own rates; the package's where None.
    """
    from analyses.models.embolized_or_not import embolized_or_not
    from analyses.models.learning_frame import learning_of_sessions
    from analyses.models.model_plan import declared_late
    from analyses.models.null_ratios import null_ratios
    from analyses.models.questions_answered import answer_questions
    from analyses.models.technique_frame import technique_frames, technique_models

    tell = progress or (lambda words: None)
    tell("models on technique")
    models = technique_models(results.units, results.manifest, plan=plan)
    tell("what so many patients can show")
    precision = planned(results)
    tell("published series")
    literature = beside_literature(results, published)
    tell("resections with and without embolization, and experience")
    embolized, learning = embolized_or_not(results.units), learning_of_sessions(results.units)
    tell("the questions named beforehand, and what chance alone would show")
    frozen = datetime.date.fromisoformat(results.manifest["date"])
    late = plan is not None and declared_late(plan, frozen)
    questions = () if plan is None or late else answer_questions(
        results.units, plan.questions, models.results)
    chance = null_ratios(models.results, technique_frames(results.units))
    pooled = groups_pooled(results.units, plan.important if plan else None)
    return SeriesWork(results, models, precision, literature, embolized, learning, questions, late,
                      chance, pooled)


def series_document(work: SeriesWork) -> Document:
    """The case series as a page for use inside the service: it lists study and operator codes."""
    results = work.results
    operators = replace(operators_section(results, results.limits), level=2, supplement=True)
    events = events_table(results)
    sections = (*(_with_block(section, events) for section in work.sections), operators)
    return with_checklists(case_series(results, sections, stays_inside=True), results)


def manuscript_document(work: SeriesWork) -> Document:
    """The case series as a manuscript to go on writing in; it may leave the service.

    No study code, no operator code, no date of an event; small cells stand, as papers print them.
    """
    results = work.results
    return with_checklists(case_series(results, work.sections, stays_inside=False), results)


def _with_block(section: Section, block: Table) -> Section:
    """The section with a table in the place of its own of that name."""
    return replace(section, blocks=tuple(
        block if isinstance(b, Table) and b.name == block.name else b for b in section.blocks))


def checklists_document(manuscript: Document) -> Document:
    """The reporting checklists of a manuscript as a document of their own, as journals want."""
    kept = tuple(
        replace(section, level=1, supplement=False, blocks=tuple(
            replace(b, name=f"own-{b.name}") if isinstance(b, Table) else b
            for b in section.blocks))
        for section in manuscript.sections
        if section.title == "Reporting checklists" or any(
            isinstance(b, Table) and b.name.startswith("checklist-") for b in section.blocks))
    return replace(manuscript, name="reporting-checklists", title="Reporting checklists",
                   sections=kept)


def with_checklists(document: Document, results: Results) -> Document:
    """The document with its checklists filled in, which need its numbers first."""
    return replace(document, sections=(
        *document.sections, *checklist_sections(document, results)))


def _sections(work: SeriesWork, results: Results, events: Table) -> list[Section]:
    main = [
        Section("Summary", (*only_a_part(results.manifest), Points(summary_sentences(results)),
                            cautions(results.manifest))),
        introduction(),
        *methods_sections(results, (*model_methods(work.models),
                                    *pooling_methods(work.pooled, work.models))),
        *literature_methods(work.literature),
        *results_sections(results, technique_blocks(work.models, _by_models(work.questions))),
        declared_section(work.questions, late=work.late),
        *literature_results(work.literature),
        precision_section(work.precision),
        discussion(),
        limitations_section(results, model_limits(work.models)),
        declarations(),
    ]
    more = supplement_sections(
        results, main, [*technique_supplement(work.models, work.numbers, work.chance),
                        embolized_section(work.embolized), learning_section(work.learning),
                        *plan_sections(work.models)], events, work.pooled)
    more += literature_supplement(work.literature)
    main.append(references_section([*main, *more], work.literature.lines))
    return [*main, *more]


def _by_models(questions: Sequence[Answered]) -> int:
    """How many of the declared questions a technique model answers."""
    return sum(isinstance(one, AnsweredModel) for one in questions)


def case_series(
    results: Results, sections: tuple[Section, ...], *, stays_inside: bool,
    name: str = "case-series",
) -> Document:
    """A document of these sections, with its title and the freeze it rests on."""
    manifest = results.manifest
    subtitle = (f"Data frozen for {manifest.get('purpose', 'an unknown purpose')} on "
                f"{manifest.get('date', 'an unknown day')}, {hash_words(manifest)}")
    return Document(name, "Brain AVM embolization: case series", subtitle, sections,
                    stays_inside=stays_inside)


def summary_sentences(results: Results) -> tuple[Sentence, ...]:
    """Five sentences: the headline, what was done with the first outcome, then one outcome each.

    The headline of a pre-surgical series is the harm of the whole treatment, so it begins.
    """
    counts = tuple(
        results.one(f"count.{name}", name[:-1]) for name in ("patients", "lesions", "sessions"))
    embolized = results.one(EMBOLIZED, "patient")
    patients, lesions, sessions = counts
    done = (f"{counted_in_words(patients)} with {counted_in_words(lesions)} "
            f"{'was' if patients.n == 1 else 'were'} treated; {embolized.n:,} of them had "
            f"{counted_in_words(sessions)} of embolization")
    headline = [s for pair in shown_at(Place.HEADLINE) for s in told(results, *pair)]
    found = [s for pair in shown_at(Place.SUMMARY) for s in told(results, *pair)]
    first, *others = found or [Sentence("")]
    outcome = f"; {first.text[:1].lower()}{first.text[1:]}" if first.text else "."
    return (*headline, Sentence(done + outcome, (*counts, embolized, *first.estimates)), *others)
