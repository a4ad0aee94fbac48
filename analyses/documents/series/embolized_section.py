"""Resections with and without embolization before them, as content."""

from __future__ import annotations

import pandas as pd

from analyses.content.blocks import (
    Block,
    Caution,
    Cell,
    Paragraph,
    Picture,
    Section,
    Sentence,
    Table,
    plain,
)
from analyses.models.embolized_or_not import INDICATION, OUTCOMES, ComparedOutcome, EmbolizedOrNot
from analyses.models.model_wording import ratio_text
from analyses.statistics.estimate import Estimate
from analyses.words.numerals import points, span

COVARIATE_WORDS = {
    "sm_grade": "Spetzler–Martin grade", "ruptured": "ruptured before treatment",
    "age_at_treatment": "age at treatment",
}
TITLE = "Embolization before resection planned, or resection alone"


def embolized_section(found: EmbolizedOrNot | None) -> Section:
    """The two groups as they were, the weighted comparison, and the balance behind it."""
    if found is None:
        return Section(TITLE, (plain(
            "There is nothing to compare: one of the two groups is empty."),))
    with_, without = found.lesions
    blocks: list[Block] = [
        Paragraph((Sentence(
            f"By the plan at the first treatment, operated or not: {with_:,} lesions were to be "
            f"embolized and then resected; {without:,} were resected without embolization"
            f"{_left_out(found.left_out)}.", found.counts),)),
        Caution("Before these groups are compared", (Sentence(INDICATION), *(
            Sentence(words) for words in _warnings(found)))),
        _table(found), *_picture(found)]
    return Section(TITLE, tuple(blocks))


def _left_out(emergencies: int) -> str:
    """Who stands apart: operated in an emergency, before anything could be planned."""
    if not emergencies:
        return ""
    return (f" ({emergencies:,} more first treated by an emergency operation "
            f"{'is' if emergencies == 1 else 'are'} left out)")


def _warnings(found: EmbolizedOrNot) -> tuple[str, ...]:
    widest = found.widest
    return () if widest is None else tuple(
        _said(words) for words in widest.warnings if words != INDICATION)


def _said(words: str) -> str:
    for name, said in COVARIATE_WORDS.items():
        words = words.replace(name, said)
    return words


def _table(found: EmbolizedOrNot) -> Table:
    return Table("embolized-or-not", TITLE, (
        "Outcome", "Embolization, then resection planned", "Resection alone",
        "Weighted comparison (95 %)"),
        tuple(_row(one) for one in found.outcomes), (
        "Medians, or events of lesions, as they were; who was harmed before reaching the "
        "operation is counted. Weighted comparison: first group over second (ratio of geometric "
        "means), or first less second (percentage points), with overlap "
        "weights (Li and others 2018) from grade, rupture and age; interval by bootstrap of "
        "patients that also draws the weights again. A description of these patients, not the "
        "effect of embolization.",))


def _row(one: ComparedOutcome) -> tuple[Cell, ...]:
    words = OUTCOMES[one.outcome][0]
    cells = (Cell(e.number_text(), e) for e in one.groups)
    if one.weighted is None:
        return (Cell(words, heading=True), *cells, Cell(f"not given: {one.refusal}"))
    e = one.weighted.difference
    return (Cell(words, heading=True), *cells, Cell(_compared(e), e))


def _compared(e: Estimate) -> str:
    if e.kind == "difference":
        return (f"{points(e.value or 0)} ({span(points(e.low or 0), points(e.high or 0))}) "
                f"percentage points, n = {e.n:,}")
    return f"{ratio_text(e)}, n = {e.n:,}"


def _picture(found: EmbolizedOrNot) -> tuple[Picture, ...]:
    from analyses.figures.model_figures import balance_plot

    if not found.balance:
        return ()
    frame = pd.DataFrame(
        {when: [pair[place].value for pair in found.balance.values()]
         for place, when in enumerate(("before", "after"))},
        index=[COVARIATE_WORDS.get(name, name) for name in found.balance])
    caption = ("Balance of the two groups before and after weighting: standardised differences, "
               "first group less second; beyond 0.1 is usually called unbalanced (Austin 2009)")
    alt = f"{caption}: " + "; ".join(
        f"{name} {line['before']:.2f} before, {line['after']:.2f} after"
        for name, line in frame.iterrows())
    return (Picture("embolized-or-not-balance", caption, alt, lambda width: balance_plot(frame),
                    tuple(e for pair in found.balance.values() for e in pair)),)
