"""One column's cells → values by field. Equal cells are read once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from registry.intake.cell import Cell, Remark, fault, is_blank
from registry.intake.cells import Habits, read_cell
from registry.old_sheets.mapping.entry import loose_word
from registry.old_sheets.mapping.feeds import companion
from registry.old_sheets.mapping.parts import added_up, counted, diameters, parts
from registry.old_sheets.mapping.quantities import read_quantity, read_sum
from registry.old_sheets.mapping.stated_dates import DateRule, read_stated_date
from registry.old_sheets.mapping.statements import ColumnPlan, DateOrder, Target
from registry.privacy.contents import identifying_content
from registry.problems.cell_text import ErrorValue, NoResult, clean

NOT_REPEATED = "content that looks like {kind} (not repeated here)"


@dataclass(frozen=True)
class Given:
    """One value of a cell: its field, its row among those the cell makes, how it stood."""

    target: Target
    part: int
    cell: Cell
    raw: Any


@dataclass(frozen=True)
class Reading:
    """What a cell came to: values, or a reason to leave it out.

    `blank_by` is "column" or "sheet" where the mapping counts the cell as blank.
    """

    given: tuple[Given, ...] = ()
    blank_by: str | None = None

    @property
    def faulty(self) -> bool:
        """Whether any part of the cell could not be taken."""
        return any(given.cell.faulty for given in self.given)


@dataclass
class CellReader:
    """Reads the cells of one column."""

    plan: ColumnPlan
    habits: Habits
    sheet_blanks: frozenset[str]
    date_rule: DateRule
    _known: dict[tuple[type, Any, DateOrder | None], Reading] = field(default_factory=dict)

    def read(self, raw: Any, order: DateOrder | None = None) -> Reading:
        """A cell that is not blank; `order` is the date order stated for its row, if any is."""
        key = (type(raw), raw, order)
        reading = self._known.get(key)
        if reading is None:
            reading = self._known[key] = self._read(raw, order)
        return reading

    def _read(self, raw: Any, order: DateOrder | None) -> Reading:
        if isinstance(raw, NoResult | ErrorValue):
            return self._single(raw, read_cell(raw, self._first.spec, self.habits))
        word = loose_word(raw)
        meaning = self.plan.words.get(word)
        if meaning == "" or word in self.plan.blank:
            return Reading(blank_by="column")
        if isinstance(meaning, tuple):
            return Reading(tuple(self._grouped(raw, meaning)))
        if meaning is not None and len(self.plan.targets) == 1 and self.plan.split is None:
            return self._single(raw, read_cell(meaning, self._first.spec, self.habits))
        if word in self.sheet_blanks:
            return Reading(blank_by="sheet")
        if kind := identifying_content(raw):
            return self._single(None, Cell(None, (_identifier(kind, self._first),)))
        return self._split(raw, replace(self.date_rule, order=order or self.date_rule.order))

    @property
    def _first(self) -> Target:
        return self.plan.targets[0]

    def _single(self, raw: Any, cell: Cell) -> Reading:
        return Reading((Given(self._first, 0, cell, raw),))

    def _grouped(self, raw: Any, groups: tuple[Any, ...]) -> Iterator[Given]:
        for part, group in enumerate(groups):
            for target, value in group.items():
                yield Given(target, part, read_cell(value, target.spec, self.habits), raw)

    def _split(self, raw: Any, rule: DateRule) -> Reading:
        split = self.plan.split
        if split is None and len(self.plan.targets) > 1:
            return self._not_understood(raw, "one of the words that the mapping lists",
                                        "add the word to the mapping")
        if split is None:
            return Reading(tuple(self._valued(self._first, 0, raw, rule)))
        if not isinstance(raw, str):
            text = raw if isinstance(raw, int | float) and not isinstance(raw, bool) else None
            if text is None or split == "counted":
                return self._not_understood(raw, f'a text that "{split}" can split',
                                            "correct the cell")
            return Reading(tuple(self._valued(self._first, 0, raw, rule)))
        return {
            "diameters": self._diameters, "added up": self._added_up, "counted": self._counted,
            "parts": self._parts,
        }[split](raw, rule)

    def _not_understood(self, raw: Any, wanted: str, mend: str) -> Reading:
        return self._single(raw, fault("not-split", raw, wanted, mend))

    def _diameters(self, raw: str, rule: DateRule) -> Reading:
        found, fields = diameters(raw), self.plan.targets
        if found is None or len(found) > len(fields):
            return self._not_understood(raw, f"one to {len(fields)} diameters such as 3.5x2.8x3 cm",
                                        "write the diameters with x between them")
        cells = [
            read_sum(raw, [one], target.spec, self.habits, self.plan.unit)
            for one, target in zip(found, fields, strict=False)
        ]
        if self.plan.largest_first and not any(cell.faulty for cell in cells):
            cells.sort(key=lambda cell: -cell.value)
        pieces = ["".join(one) for one in found]
        return Reading(tuple(
            Given(target, 0, cell, raw if cell.faulty else piece)
            for target, cell, piece in zip(fields, cells, pieces, strict=False)
        ))

    def _added_up(self, raw: str, rule: DateRule) -> Reading:
        found = added_up(raw)
        if found is None:
            return self._single(
                raw, read_quantity(raw, self._first.spec, self.habits, unit=self.plan.unit,
                                   end=self.plan.range))
        return self._single(
            raw, read_sum(raw, found, self._first.spec, self.habits, self.plan.unit))

    def _counted(self, raw: str, rule: DateRule) -> Reading:
        words = counted(raw)
        if words is None:
            return self._not_understood(raw, "words with their number, such as MCA x3, PCA x1",
                                        "write each word with its number")
        rows = [given for number, word in enumerate(words)
                for given in self._valued(self._first, number, word, rule)]
        if any(given.cell.faulty for given in rows):
            # One row with the whole cell: half of a list would look like all of it.
            bad = next(given for given in rows if given.cell.faulty)
            return self._single(raw, bad.cell)
        if self.plan.count_into:
            number = read_cell(len(words), self.plan.count_into.spec, self.habits)
            rows.append(Given(self.plan.count_into, 0, number, len(words)))
        return Reading(tuple(rows))

    def _parts(self, raw: str, rule: DateRule) -> Reading:
        fields = self.plan.targets
        if len(fields) == 1:
            found = parts(raw, self.plan.split_at, None)
            return Reading(tuple(
                given for number, piece in enumerate(found)
                for given in self._valued(self._first, number, piece, rule)
            ))
        found = parts(raw, self.plan.split_at, len(fields))
        if len(found) < len(fields):
            return self._not_understood(raw, f"{len(fields)} parts", "write every part")
        return Reading(tuple(
            given for target, piece in zip(fields, found, strict=True)
            for given in self._valued(target, 0, piece, rule)
        ))

    def _valued(self, target: Target, part: int, raw: Any, rule: DateRule) -> Iterator[Given]:
        """One piece of a cell for one field: word, quantity, date, or as the workbook reads it."""
        spec, meaning = target.spec, self.plan.words.get(loose_word(raw))
        if meaning == "":
            return
        if meaning is not None and not isinstance(meaning, tuple):
            yield Given(target, part, read_cell(meaning, spec, self.habits), raw)
        elif spec.type in {"int", "number"}:
            yield Given(target, part, read_quantity(
                raw, spec, self.habits, unit=self.plan.unit, end=self.plan.range), raw)
        elif spec.type == "date":
            dated = read_stated_date(raw, spec, rule, self.habits.today)
            yield Given(target, part, dated.cell, raw)
            beside = companion(target) if rule.parts else None
            if beside and dated.known_to:
                yield Given(beside, part, Cell(dated.known_to), dated.known_to)
        else:
            yield Given(target, part, read_cell(raw, spec, self.habits), raw)


def _identifier(kind: str, target: Target) -> Remark:
    return Remark(
        "error", "identifier", NOT_REPEATED.format(kind=kind), target.spec.wanted,
        "take it out of the cell; what names a person is not taken in",
    )


def says_nothing(raw: Any) -> bool:
    """Whether a cell is blank in the source itself."""
    return is_blank(raw) or (isinstance(raw, str) and not clean(raw))
