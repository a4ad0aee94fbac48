"""Experience and complications as content; operators are counted, never named."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyses.content.blocks import (
    Block,
    Cell,
    Paragraph,
    Picture,
    Section,
    Sentence,
    Table,
    plain,
)
from analyses.models.model_wording import ratio_text
from analyses.words.numerals import percent, span

if TYPE_CHECKING:
    from analyses.models.learning_effect import LearningEffect
    from analyses.statistics.estimate import Estimate
    from analyses.statistics.regression.model_fit import ModelFit

TITLE = "Experience of the operator"


def learning_section(found: LearningEffect | str | None) -> Section:
    """The adjusted effect of the operator's case number, or why none is given."""
    if found is None or isinstance(found, str):
        why = found or "It was not worked out."
        return Section(TITLE, (plain(f"No effect of experience is given. {why}"),))
    blocks: list[Block] = [
        Paragraph(tuple(Sentence(words, found.estimates) for words in found.sentences)),
        plain("Within operators, beside calendar time, and adjusted for Spetzler–Martin grade and "
              "rupture before treatment; the case number counts all procedures of the operator, "
              "from the first in this registry.")]
    if found.model is not None and found.ratio is not None:
        blocks.append(_table(found, found.model, found.ratio))
        if found.risks:
            blocks.append(_picture(found, found.model))
    return Section(TITLE, tuple(blocks))


def _table(found: LearningEffect, model: ModelFit, ratio: Estimate) -> Table:
    rows = [(Cell("Odds ratio per 50 cases", heading=True), Cell(ratio_text(ratio), ratio))]
    if found.risks:
        first, last, gap = found.risks
        rows += [(Cell(f"Standardised risk at case {_case(one)}", heading=True),
                  Cell(_percent(one), one)) for one in (first, last)]
        rows.append((Cell("Difference, last minus first", heading=True),
                     Cell(gap.number_text().partition(": ")[2], gap)))
    return Table("learning", "Any complication per session, and the operator's case number", (
        "Measure", "Value (95 % interval)"), tuple(rows), (
        f"{model.events:,} events in {model.n:,} sessions of "
        f"{model.clusters:,} patients; intervals clustered on the patient.",))


def _case(e: Estimate) -> str:
    return f"{float(next(iter((e.group or {'': '0'}).values()))):.0f}"


def _percent(e: Estimate) -> str:
    between = span(percent(e.low or 0), percent(e.high or 0))
    return f"{percent(e.value or 0)} % ({between})"


def _picture(found: LearningEffect, model: ModelFit) -> Picture:
    from analyses.figures.model_figures import partial_effect

    rows = model.rows
    column = found.curve.columns[0]
    caption = ("Standardised risk of any complication along the operator's case number; below, "
               "where the sessions lie")
    alt = f"{caption}: " + "; ".join(
        f"case {_case(e)}: {_percent(e)}" for e in found.risks[:2])
    return Picture("learning-curve", caption, alt, lambda width: partial_effect(
        found.curve.rename(columns={column: "value"}), rows.frame[column].astype(float),
        rows.y.astype(bool), label="case number of the operator", outcome="any complication"),
        found.risks[:2])
