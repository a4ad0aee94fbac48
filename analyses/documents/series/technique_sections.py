"""Technique and outcome as content: each declared model in a clinician's words.

The models come from `analyses.models`; here they are put into a table and a figure, with the
events behind each, what was not planned marked, and groups too small to compare named as such.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyses.content.blocks import (
    Block,
    Caution,
    Cell,
    Picture,
    Points,
    Section,
    Sentence,
    Table,
    plain,
)
from analyses.documents.series.model_pictures import curve_pictures
from analyses.documents.series.model_tables import (
    diagnosis_tables,
    in_words,
    risk_table,
    setting_words,
    short_words,
)
from analyses.documents.series.technique_lines import Line
from analyses.models.model_estimates import COMPLETE as COMPLETE_ROWS
from analyses.models.model_estimates import unanswered_words
from analyses.models.model_wording import ratio_text
from analyses.models.outcome_words import exposure_words
from analyses.models.shown_ratios import enough_rows, smaller_side
from analyses.models.technique_declared import term_of
from analyses.models.technique_outcomes import outcome_label
from analyses.models.technique_plan import adjustment_of
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.regression.model_checks import FEWEST_EVENTS
from analyses.words.estimate_text import plural

if TYPE_CHECKING:
    from analyses.models.planned_result import PlannedResult
    from analyses.models.technique_models import TechniqueModels

COMPLETE = "Only rows in which everything was recorded are in a model."
IMPUTED = (
    "Gaps in a technique variable were imputed (20 completed sets, pooled by Rubin's rules), which "
    "assumes that what is missing depends only on what was recorded; beside it the ratio from rows "
    "with everything recorded. Rows in which a variable has no meaning (a rate where no liquid was "
    "injected) are in neither.")
RISKS = (
    "Risk at each setting: what share would be expected if all of these rows had that value and "
    "all else as it was (lower and upper quartile of a number); an association, not a promise.")


def technique_sections(models: TechniqueModels) -> tuple[Section, ...]:
    """What was declared and the cautions, then a section an outcome."""
    pairs = dict.fromkeys((r.model.outcome, r.model.unit) for r in models.results)
    opening = Section("What was declared, and what to keep in mind", (
        plain(f"{models.heading}."),
        Caution("Before these models are read", tuple(map(Sentence, models.cautions)))))
    return (opening, *(outcome_section(models, *pair) for pair in pairs))


def outcome_section(models: TechniqueModels, outcome: str, unit: str) -> Section:
    """One outcome: every technique variable in turn, adjusted as declared."""
    results = [r for r in models.results if (r.model.outcome, r.model.unit) == (outcome, unit)]
    lines = [line for result in results for line in lines_of(result)]
    title = f"{outcome_label(outcome)}, per {unit}"
    blocks: list[Block] = [plain(_asked(results)), *_picture(title, outcome, unit, lines),
                           _table(title, outcome, unit, lines), *curve_pictures(results),
                           *risk_table(outcome, unit, title, lines),
                           *_warnings(outcome, unit, lines),
                           *diagnosis_tables(outcome, unit, title, results)]
    refused = [line for line in lines if line.ratio is None and line.note]
    if any(line.result.fit is not None and not line.result.answered for line in refused):
        blocks.append(plain(*_instead()))
    if refused:
        blocks.append(Points(tuple(Sentence(f"{line.label}: {line.note}") for line in refused)))
    return Section(title, tuple(blocks))


def _instead() -> tuple[str, ...]:
    """Why there is no model, and what stands in its place."""
    return (f"Under {FEWEST_EVENTS} events (or rows without the event) no interval of a model can "
            "be trusted, and no ratio is given. What was seen stands below.",)


def lines_of(result: PlannedResult) -> list[Line]:
    """Every comparison of one model; without a ratio where none should be given, and why."""
    label = exposure_words(result.model.exposure)
    if result.fit is None:
        return [Line(label, None, f"not fitted: {result.refusal}.", result)]
    if not result.answered or not result.ratios:
        # The reason in full stands in the result's words; a ratio would be a number to misuse.
        return [Line(label, None, unanswered_words(result), result)]
    return [_line(result, label, one) for one in result.ratios]


def _line(result: PlannedResult, label: str, one: Estimate) -> Line:
    term = (one.group or {})["term"]
    words = f"{label}: {_level(result, term)}" if "[" in term else label
    if one.value is None:
        why = next((w for w in result.warnings if w.startswith(term)), "no number can be given.")
        return Line(words, None, in_words(why), result)
    assert result.fit is not None
    if not enough_rows(result.fit, term):
        smaller = smaller_side(result.fit, term)
        return Line(words, None, f"too few to compare ({smaller} "
                    f"{one.unit if smaller == 1 else plural(one.unit)} on the smaller side).",
                    result)
    return Line(words, one, "", result)


def _level(result: PlannedResult, term: str) -> str:
    """`EVOH 8 %, against EVOH 6 %`: a level, and the one the model compares it with."""
    name, _, level = term.partition(" [")
    assert result.fit is not None
    against = next((f", against {parts[0].levels[0]}"
                    for parts in result.fit.rows.columns.encodings
                    if len(parts) == 1 and parts[0].column == name and parts[0].levels), "")
    return f"{level.rstrip(']')}{against}"


def _asked(results: Sequence[PlannedResult]) -> str:
    held = [" × ".join(known.said if (known := adjustment_of(column)) else column
                       for column in term.columns) for term in results[0].model.adjust]
    beside = f", with {', '.join(held)} held the same" if held else ""
    return ("One model a technique variable"
            f"{beside}. A ratio of 1 means no association; an interval that includes 1 leaves the "
            "question open, in both directions.")


def _picture(title: str, outcome: str, unit: str, lines: Sequence[Line]) -> tuple[Picture, ...]:
    from analyses.figures.figure_ratios import ratio_figure

    drawn = [line for line in lines if line.ratio is not None and line.ratio.value is not None]
    if not drawn:
        return ()
    found = [line.ratio for line in drawn if line.ratio is not None]
    caption = f"{title}: association with technique, adjusted; 95 % intervals"
    alt = f"{caption}. " + "; ".join(
        f"{line.label} {line.ratio.number_text()}" for line in drawn if line.ratio is not None)
    labels = [line.label for line in drawn]
    return (Picture(f"technique-{outcome}-{unit}-figure", caption, alt,
                    lambda width: ratio_figure(found, labels, width), tuple(found)),)


def _table(title: str, outcome: str, unit: str, lines: Sequence[Line]) -> Table:
    imputed = any(line.result.imputed is not None for line in lines)
    risks = any(line.result.risks is not None for line in lines)
    kinds = dict.fromkeys(line.ratio.kind for line in lines if line.ratio is not None)
    rows = tuple((
        Cell(line.label, heading=True), _ratio_cell(line), Cell(counted_text(line)),
        *([_complete_cell(line)] if imputed else []), *(_risk_cells(line) if risks else ()),
        Cell(_status(line))) for line in lines)
    counted = f"Events/{plural(unit)}" if any(
        r.result.fit is not None and r.result.fit.events is not None for r in lines) else (
        plural(unit).capitalize())
    kind = next(iter(kinds)) if len(kinds) == 1 else "ratio"
    return Table(f"technique-{outcome}-{unit}", f"{title} and technique", (
        "Technique", f"{kind[:1].upper()}{kind[1:]} (95 % interval)", f"{counted}; patients",
        *(["The same, complete rows"] if imputed else []),
        *(["Risk at each setting"] if risks else []), "Status"), rows,
        (IMPUTED if imputed else COMPLETE, *([RISKS] if risks else [])))


def _ratio_cell(line: Line) -> Cell:
    if line.ratio is None:
        return Cell("no number can be given")
    return Cell(ratio_text(line.ratio), line.ratio)


def counted_text(line: Line) -> str:
    """`26/254; 128`: events and rows behind the ratio, and patients, of the model shown."""
    shown = line.ratio or line.result.fit
    if shown is None:
        return ""
    events = "" if shown.events is None else f"{shown.events:,}/"
    return f"{events}{shown.n:,}; {shown.clusters:,}"


def _complete_cell(line: Line) -> Cell:
    """The ratio of the rows with everything recorded, where gaps were imputed."""
    result, shown = line.result, line.ratio
    if shown is None or result.imputed is None:
        return Cell("")
    for e in result.complete_ratios:
        if e.group == shown.group and e.value is not None:
            events = "" if e.events is None else f"{e.events:,}/"
            return Cell(f"{ratio_text(e)}, {events}{e.n:,}",
                        replaced(e, id=f"{e.id}.{COMPLETE_ROWS}"))
    counted = result.fit is not None and result.fit.events is not None
    return Cell("too few events" if counted else "not answered")


def _risk_cells(line: Line) -> tuple[Cell, ...]:
    risks = line.result.risks
    if risks is None or line.ratio is None:
        return (Cell(""),)
    told = "; ".join(f"{setting_words(e)}: {replaced(e, events=None, n=None).number_text()}"
                     for e in risks.risks)
    return (Cell(told, risks.risks[0]),)


def _status(line: Line) -> str:
    return "planned" if line.result.status == "planned" else "exploratory"


def _warnings(outcome: str, unit: str, lines: Sequence[Line]) -> tuple[Table, ...]:
    """What the models warn of, each with the variables it is about."""
    said: dict[str, list[str]] = {}
    for line in lines:
        if line.ratio is not None:
            for words in (*_not_asked(line.result, unit), *_warned(line.result)):
                said.setdefault(in_words(words), []).append(
                    short_words(line.result.model.exposure.name))
    rows = tuple((Cell("; ".join(dict.fromkeys(labels)), heading=True), Cell(words))
                 for words, labels in said.items())
    if not rows:
        return ()
    return (Table(f"technique-{outcome}-{unit}-warnings", "What these models warn of",
                  ("Technique", "Warning"), rows, folded=True),)


def _warned(result: PlannedResult) -> tuple[str, ...]:
    """The warnings, but for how much was imputed: the notes and the next table tell that."""
    return tuple(w for w in result.warnings if not w.startswith("Imputed values"))


def _not_asked(result: PlannedResult, unit: str) -> tuple[str, ...]:
    """How many units the question cannot be asked of, and why."""
    return tuple(
        f"Not asked of {count} {unit if count == 1 else plural(unit)}: "
        f"{_elsewhere(column)}." for column, count in result.not_asked.items())


def _elsewhere(column: str) -> str:
    """Why a technique variable has no meaning in some rows."""
    one = term_of(column)
    return one.applies.elsewhere if one and one.applies else "it has no meaning there"
