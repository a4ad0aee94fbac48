"""Each column's likely field, by its heading and by its cells; unsure ones are left open."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from statistics import median
from typing import Any

from registry.intake.sheet import Progress
from registry.old_sheets.draft.cells_tried import Fit, fit
from registry.old_sheets.draft.known_words import (
    HeadingWords,
    heading_words,
    left_out_because,
    name_scores,
    vocabulary,
)
from registry.old_sheets.draft.proposal import Proposal
from registry.old_sheets.draft.recipes import recipes
from registry.old_sheets.draft.sheet_shape import Shape
from registry.old_sheets.mapping.bind import JOIN
from registry.old_sheets.mapping.statements import ColumnPlan, Target
from registry.privacy.contents import identifying_content, looks_like_names
from registry.privacy.headings import identifying_heading
from registry.privacy.kinds import BIRTH, NAME
from registry.problems.cell_text import ErrorValue, NoResult, as_text, clean
from registry.schema import TABLES, Patients

# A column is called sure from these on; below, it is left open.
SURE_NAME, SURE_CONTENT, SURE_MARGIN = 0.66, 0.7, 0.1
NAME_ALONE = 0.99
_MOST_CONTENTS = 2000
_MOST_CANDIDATES = 6
_GENERATION = 18  # years by which dates of birth lie before the other dates


@dataclass(frozen=True)
class Scored:
    """A field that a column could be: by its heading, by its cells, and both together."""

    target: Target
    name: float
    fit: Fit

    @property
    def score(self) -> float:
        """Heading and cells together."""
        return self.name * (0.25 + 0.75 * self.fit.looks)


class Proposer:
    """Looks at the columns of one sheet."""

    def __init__(self, shape: Shape, watch: Progress) -> None:
        self._shape, self._watch = shape, watch
        self._cells = {column: shape.cells(column) for column in shape.columns}
        self._words = {column: heading_words(self._heading(column).replace(JOIN, " "))
                       for column in shape.columns}
        self._blanks = frozenset(shape.blanks)
        self._pools: dict[tuple[frozenset[str], str | None], list[int]] = {}
        for column, words in self._words.items():
            if words.number is not None:
                self._pools.setdefault((words.words, words.unit), []).append(column)

    def proposals(self) -> list[Proposal]:
        """A proposal for every column, in the order of the sheet."""
        found = []
        for done, column in enumerate(self._shape.columns):
            self._watch("looking at the columns", done, len(self._cells))
            found.append(self._propose(column))
        self._watch("looking at the columns", len(self._cells), len(self._cells))
        return found

    def _heading(self, column: int) -> str:
        return self._shape.headings.get(column, "")

    def _propose(self, column: int) -> Proposal:
        heading, cells = self._heading(column), self._cells[column]
        blank = Proposal(column, heading, len(cells))
        if self._are_study_codes(cells):
            plan = ColumnPlan(0, heading, targets=(Target("patients", Patients.patient_id),))
            return replace(blank, plan=plan, fit=fit(plan, self._values([column]), self._blanks))
        why = self._never(column)
        if why is not None:
            return replace(blank, leave_out=why)
        scored = self._scored(column)
        if not scored:
            return blank
        best = scored[0]
        others = [s for s in scored[1:] if s.target not in best.fit.plan.targets]
        sure = (
            best.name >= SURE_NAME and best.fit.looks >= SURE_CONTENT
            and (not others or best.score - others[0].score >= SURE_MARGIN)
            if best.fit.cells else best.name >= NAME_ALONE and not any(
                other.name >= NAME_ALONE for other in others)
        )
        if not sure:
            return replace(blank, candidates=tuple(
                (s.target, s.fit.looks) for s in scored[:3] if s.score > 0.2))
        own = fit(best.fit.plan, self._values([column]), self._blanks)
        notes = () if best.fit.cells else ("by its heading alone: there is no cell to look at",)
        return replace(blank, plan=best.fit.plan, fit=own, notes=notes)

    def _never(self, column: int) -> str | None:
        """Why the column is left out whatever else it may be: identifiers, numbers, remarks."""
        heading, cells = self._heading(column), self._cells[column]
        if kind := identifying_heading(heading):
            return f"looks like {kind} by its heading"
        if kind := self._identifying_cells(cells):
            return f"looks like {kind} by its cells"
        why = left_out_because(heading)
        if why == "running number" and not _runs(cells):
            why = None
        if why is None and not heading and not cells:
            return "no heading and no cells"
        return why

    def _identifying_cells(self, cells: list[tuple[int, Any]]) -> str | None:
        kinds = Counter(kind for _, raw in cells if (kind := identifying_content(raw)))
        if cells and sum(kinds.values()) >= 0.3 * len(cells):
            return kinds.most_common(1)[0][0]
        texts = [clean(raw) for _, raw in cells if isinstance(raw, str)]
        if len(texts) >= 0.6 * len(cells) and looks_like_names(texts, known_words()):
            return NAME
        return BIRTH if self._births(cells) else None

    def _are_study_codes(self, cells: list[tuple[int, Any]]) -> bool:
        pattern = re.compile(TABLES["patients"].by_name[Patients.patient_id].pattern)
        return len(cells) > 1 and sum(
            isinstance(raw, str) and bool(pattern.fullmatch(clean(raw))) for _, raw in cells
        ) >= 0.9 * len(cells)

    def _births(self, cells: list[tuple[int, Any]]) -> bool:
        """Whether the dates of a column lie a generation before those of all other columns."""
        years = _years(cells)
        if len(years) < 0.5 * len(cells) or len(years) < 3:
            return False
        others = [median(found) for other in self._cells.values() if other is not cells
                  and len(found := _years(other)) >= 3]
        return bool(others) and median(years) <= median(others) - _GENERATION

    def _values(self, columns: list[int]) -> Counter[Any]:
        """Different contents of columns and how often each stands there."""
        found: Counter[Any] = Counter()
        for column in columns:
            for _, raw in self._cells[column]:
                if not isinstance(raw, NoResult | ErrorValue):
                    found[raw] += 1
        return Counter(dict(found.most_common(_MOST_CONTENTS)))

    def _scored(self, column: int) -> list[Scored]:
        words = self._words[column]
        pool = self._pools.get((words.words, words.unit), [column])
        values = self._values(pool)
        names = sorted(self._names(column, words).items(), key=lambda one: (-one[1], str(one[0])))
        found = [
            Scored(target, name, self._best(column, target, values))
            for target, name in names[:_MOST_CANDIDATES] if name >= 0.34
        ]
        return sorted(found, key=lambda one: (-one.score, str(one.target)))

    def _best(self, column: int, target: Target, values: Counter[Any]) -> Fit:
        tried = [fit(plan, values, self._blanks)
                 for plan in recipes(self._heading(column).replace(JOIN, " "), target, values)]
        return max(tried, key=lambda one: (round(one.looks, 6), -tried.index(one)))

    def _names(self, column: int, words: HeadingWords) -> dict[Target, float]:
        scores = name_scores(self._heading(column).replace(JOIN, " "))
        return {
            target: score * self._plausible(target, column, words)
            for target, score in scores.items() if not _is_number(target)
        }

    def _plausible(self, target: Target, column: int, words: HeadingWords) -> float:
        """Less for a field of one row a patient in a column that is numbered, and for dates that
        come before or after what they should.
        """
        if words.number is not None and target.table in {"patients", "lesions"} \
                and words.number != 1:
            return 0.6
        if target.spec.type != "date":
            return 1.0
        return self._order_of_time(target, column)

    def _order_of_time(self, target: Target, column: int) -> float:
        first = next((c for c, w in self._words.items()
                      if w.words == {"session", "date"} and w.number in (1, None)), None)
        if first is None or first == column:
            return 1.0
        start, pairs = dict(self._cells[first]), []
        for row, raw in self._cells[column]:
            own, treated = _day(raw), _day(start.get(row))
            if own and treated:
                pairs.append(own < treated)
        if len(pairs) < 3:
            return 1.0
        before = sum(pairs) / len(pairs)
        early = (target.table, target.field) == ("patients", Patients.presentation_date)
        return 0.5 + 0.5 * (before if early else 1 - before)


def known_words() -> frozenset[str]:
    """The words of the trade that the schema and the vocabulary know, in small letters."""
    texts: list[str] = []
    for table in TABLES.values():
        for spec in table.fields:
            texts += [spec.label, spec.definition, *spec.values]
    listed = vocabulary()
    texts += [*listed.short, *(text for found in listed.headings.values() for text in found)]
    texts += [word for found in listed.values.values() for words in found.values()
              for word in words]
    return frozenset(word for text in texts for word in _split(text))


def _split(text: str) -> Iterator[str]:
    yield from re.findall(r"[^\W\d_]+", text.casefold())


def _is_number(target: Target) -> bool:
    """Whether a target is a key: those come from numbers in headings, or from a person."""
    return target.spec.key


def _runs(cells: list[tuple[int, Any]]) -> bool:
    """Whether a column counts 1, 2, 3 … down the sheet (a few gaps allowed)."""
    numbers = [float(text) for _, raw in cells
               if (text := as_text(raw).strip()).replace(".", "", 1).isdigit()]
    if len(numbers) < max(2, 0.9 * len(cells)):
        return False
    steps = [b - a for a, b in zip(numbers, numbers[1:], strict=False)]
    return sum(step == 1 for step in steps) >= 0.8 * len(steps)


def _years(cells: list[tuple[int, Any]]) -> list[int]:
    return [day.year for _, raw in cells if (day := _day(raw))]


def _day(raw: Any) -> dt.date | None:
    """A date whose order does not matter: the spreadsheet's own, or with the year first."""
    if isinstance(raw, dt.datetime):
        return raw.date()
    if isinstance(raw, dt.date):
        return raw
    try:
        return dt.date.fromisoformat(clean(raw)) if isinstance(raw, str) else None
    except ValueError:
        return None
