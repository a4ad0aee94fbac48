"""What stands beside the technique models: what they rest on, how they fit, planned subgroups."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from analyses.content.blocks import Cell, Points, Section, Sentence, Table, plain
from analyses.models.model_wording import ratio_text
from analyses.models.subgroups import SubgroupLine, subgroup_lines
from analyses.models.technique_declared import all_terms, term_of
from analyses.models.technique_outcomes import OUTCOMES, outcome_of
from analyses.models.technique_plan import ADJUST, adjustment_of
from analyses.models.technique_term import Kind
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import plural
from analyses.words.numerals import points, quantity, ratio, span

if TYPE_CHECKING:
    from analyses.documents.series.technique_lines import Line
    from analyses.models.planned_result import PlannedResult
    from analyses.statistics.regression.diagnosis import Diagnosis, Influence


CURVE = ("Ratio a step as a curve, below the median", "above the median")
CURVE_NOTE = ("As a curve with three knots: the ratio a step from the 10th percentile to the "
              "median, and from there to the 90th; a straight line gives one for both. A "
              "description, not tested.")


def short_words(name: str) -> str:
    """A variable in words, without its step: `Mean rate`."""
    one = term_of(name)
    if one is not None:
        return one.label
    held = adjustment_of(name)
    return held.label if held else name


def term_words(term: str) -> str:
    """A coefficient in words: `Mean rate`, `Formulation: EVOH 8 %`."""
    name, bracket, level = term.partition(" [")
    words = short_words(name.partition(" (")[0])
    return f"{words}: {level.rstrip(']')}" if bracket else words


def in_words(text: str) -> str:
    """A sentence of a model with the columns' names put into words."""
    names = "|".join((*(one.term.name for one in ADJUST), *all_terms(),
                      *(one.column for one in OUTCOMES)))
    return re.sub(rf"\b({names})\b(?: \(per [\d.]+\))?", _name_in_words, text)


def _name_in_words(found: re.Match[str]) -> str:
    outcome = outcome_of(found[1])
    words = outcome.label if outcome else short_words(found[1])
    return words if words.startswith(("EVOH", "Spetzler")) else words[:1].lower() + words[1:]


def diagnosis_tables(
    outcome: str, unit: str, title: str, results: Sequence[PlannedResult],
) -> tuple[Table, ...]:
    """Two tables: what each model rests on, and how it fits. None where nothing was fitted."""
    diagnosed = [(r, r.diagnosis) for r in results if r.diagnosis is not None]
    if not diagnosed:
        return ()
    name = f"technique-{outcome}-{unit}"
    basis = Table(f"{name}-basis", f"{title}: what the models rest on", (
        "Technique", "Events per coefficient", f"{plural(unit).capitalize()} left out",
        "Separation", "Highest VIF", "Without any one patient"),
        tuple(_basis(r, d) for r, d in diagnosed), (
        f"Of the models on {plural(unit)} with everything recorded. Separation: a variable that "
        "tells events and non-events apart without fail. VIF: variance inflation factor, above 5 "
        "where terms largely repeat each other. Without any one patient: the ratio, refitted with "
        "each patient left out in turn, from the smallest to the largest.",), folded=True)
    binary = diagnosed[0][1].events is not None
    return basis, (_fit_table if binary else _measured_table)(name, title, diagnosed)


def _basis(result: PlannedResult, found: Diagnosis) -> tuple[Cell, ...]:
    each = "–" if found.events is None else (
        f"{found.events}/{found.coefficients} ({found.events / found.coefficients:.1f})")
    separated = ", ".join(term_words(term) for term in found.separated) or "none"
    inflation = Cell("one term only")
    if found.inflation:
        term, e = found.inflation
        inflation = Cell(f"{quantity(e.value or 0)} ({term_words(term)})", e)
    return (Cell(short_words(result.model.exposure.name), heading=True),
            Cell(each, found.counts[-1] if found.events is not None else None),
            Cell(f"{found.left_out:,}", found.counts[0]), Cell(separated), inflation,
            _influence_cell(found))


def _influence_cell(found: Diagnosis) -> Cell:
    if not found.influence:
        return Cell("rests on one patient alone")
    told = (_ends(line, len(found.influence)) for line in found.influence)
    return Cell("; ".join(told), found.influence[0].smallest)


def _ends(line: Influence, lines: int) -> str:
    """`1.06–1.15`, with the level where a factor has several, and a word where it turns."""
    low, high = (ratio(e.value) if e.value is not None else "no answer"
                 for e in (line.smallest, line.largest))
    level = line.term.partition(" [")[2].rstrip("]")
    start = f"{level}: " if level and lines > 1 else ""
    return f"{start}{span(low, high)}{', either side of 1' if line.reverses else ''}"


def _fit_table(
    name: str, title: str, diagnosed: Sequence[tuple[PlannedResult, Diagnosis]],
) -> Table:
    rows = []
    for result, found in diagnosed:
        rows.append((
            Cell(short_words(result.model.exposure.name), heading=True),
            _with_interval(found.discrimination), _plain(found.slope),
            *(Cell(f"{seen.events} ({quantity(expected.value or 0)})", seen)
              for seen, expected in found.groups), *_curve_cells(found)))
    return Table(f"{name}-fit", f"{title}: how well the models fit", (
        "Technique", "c statistic", "Calibration slope",
        "Events seen (expected), lowest third of risk", "middle third", "highest third",
        *CURVE), tuple(rows), (
        "c statistic (0.5: chance) and calibration slope (1: right; below 1: too extreme for new "
        "patients) less their optimism, from 200 samples of patients; interval shifted by the "
        "optimism. Events seen and expected in thirds of rising predicted risk. "
        f"{CURVE_NOTE} Few events bend a curve easily, and can hide one. "
        "The models describe these patients and were not validated elsewhere.",), folded=True)


def _measured_table(
    name: str, title: str, diagnosed: Sequence[tuple[PlannedResult, Diagnosis]],
) -> Table:
    rows = tuple(
        (Cell(short_words(result.model.exposure.name), heading=True),
         _with_interval(found.discrimination), _plain(found.slope), *_curve_cells(found))
        for result, found in diagnosed)
    return Table(f"{name}-fit", f"{title}: how well the models fit", (
        "Technique", "Variation explained", "Calibration slope", *CURVE), rows, (
        "Variation of the logarithm explained (R squared; 0 or less: nothing) and calibration "
        "slope, less their optimism, from 200 samples of patients; interval shifted by the "
        f"optimism. {CURVE_NOTE}",),
        folded=True)


def _with_interval(e: Estimate) -> Cell:
    value, low, high = (ratio(n or 0.0) for n in (e.value, e.low, e.high))
    return Cell(f"{value} ({span(low, high)})", e)


def _plain(e: Estimate) -> Cell:
    return Cell("no answer" if e.value is None else ratio(e.value), e)


def _curve_cells(found: Diagnosis) -> tuple[Cell, ...]:
    return tuple(map(_plain, found.curve)) or (Cell("–"), Cell("–"))


def risk_table(outcome: str, unit: str, title: str, lines: Sequence[Line]) -> tuple[Table, ...]:
    """Differences of standardised risks, with the number needed where one can be given."""
    given = {id(line.result): line.result for line in lines if line.ratio is not None}
    rows = []
    for result in given.values():
        if result.risks is None:
            continue
        first = result.risks.risks[0]
        rows += [(
            Cell(short_words(result.model.exposure.name), heading=True),
            Cell(f"{setting_words(gap)} against {setting_words(first)}"),
            Cell(_points(gap), gap), Cell(words))
            for gap, words in zip(result.risks.differences, result.risks.number_needed,
                                  strict=True)]
    if not rows:
        return ()
    return (Table(f"technique-{outcome}-{unit}-risks", f"{title}: differences of risk", (
        "Technique", "Compared", "Difference, percentage points (95 %)", "In words"),
        tuple(rows), (
        "Standardised over the same rows, from the intercept-corrected fit. A number needed is "
        "given only where the interval of the difference excludes none (Altman 1998).",),
        folded=True),)


def _points(e: Estimate) -> str:
    return f"{points(e.value or 0)} ({span(points(e.low or 0), points(e.high or 0))})"


def setting_words(estimate: Estimate) -> str:
    """The value a standardised risk is for: `no`, `EVOH 8 %`, `0.131 mL/min`."""
    name, value = next(iter((estimate.group or {"": ""}).items()))
    term = term_of(name)
    if term is not None and term.kind is Kind.YES_NO:
        return {"False": "no", "0": "no", "True": "yes", "1": "yes"}.get(value, value)
    try:
        number = float(value)
    except ValueError:
        return value
    unit = "" if term is None else term.one if number == 1 and term.one else term.unit
    return f"{number:.3g} {unit}".strip()


def diagnosis_section(result: PlannedResult) -> Section:
    """One model's diagnosis, a sentence each, for the reader who wants one model in full."""
    if result.diagnosis is None:
        why = result.refusal or (result.fit.why if result.fit is not None else "")
        return Section("How far it may be trusted", (plain(
            f"There is no model to diagnose. {in_words(why)}".strip()),))
    said = tuple(Sentence(_first_capital(in_words(words)))
                 for words in result.diagnosis.sentences)
    return Section("How far it may be trusted", (
        plain("Of the model on rows with everything recorded."), Points(said)))


def _first_capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def subgroup_table(results: Iterable[PlannedResult]) -> tuple[Table, ...]:
    """Every planned subgroup, those that could not be fitted with the reason; none if none."""
    rows: list[tuple[Cell, ...]] = []
    for result in results:
        rows += [_subgroup(result, line)
                 for line in subgroup_lines(result.model, result.subgroups)]
        rows += [_unfitted(result, column, why) for column, why in result.subgroups.items()
                 if isinstance(why, str)]
    if not rows:
        return ()
    return (Table("technique-subgroups", "Planned subgroups", (
        "Model", "Subgroup", "Ratio in those without", "Ratio in those with",
        "One ratio over the other"), tuple(rows), (
        "From one model with the product of the two, on rows with everything recorded. Whether "
        "the association differs is told by the last column, not by comparing the two before; "
        "with few events a difference can hardly be seen.",)),)


def _subgroup(result: PlannedResult, line: SubgroupLine) -> tuple[Cell, ...]:
    within = [_ratio_cell(e) for e in line.within] or [Cell("–"), Cell("–")]
    return (Cell(f"{result.model.name}: {term_words(line.term)}", heading=True),
            Cell(short_words(line.column)), *within, _ratio_cell(line.between))


def _unfitted(result: PlannedResult, column: str, why: str) -> tuple[Cell, ...]:
    return (Cell(result.model.name, heading=True), Cell(short_words(column)),
            Cell(f"not fitted: {in_words(why)}"), Cell("–"), Cell("–"))


def _ratio_cell(e: Estimate) -> Cell:
    if e.value is None or e.low is None or e.high is None:
        return Cell("not answered by these data", e)
    return Cell(ratio_text(e), e)


