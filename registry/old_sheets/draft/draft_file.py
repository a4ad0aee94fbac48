"""A draft as text: a mapping file with a person's decisions left to make, marked and counted."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from registry.intake.sheet import column_letters
from registry.old_sheets.draft.dates_seen import DatesSeen
from registry.old_sheets.draft.proposal import Proposal
from registry.old_sheets.draft.sheet_shape import Shape
from registry.old_sheets.mapping.statements import ColumnPlan, Target
from registry.old_sheets.mapping.units_written import known_units
from registry.schema import TABLES, Lesions, Patients, Sessions

_INLINE = 4
_HEAD = """\
# A proposed mapping of {name}. Nothing is taken in through it yet.
# Read it from top to bottom, decide what is marked DECIDE (there are {open} such places), then
# delete the line draft = true. The parts of the file are described in the README and in
# registry/intake/mapping. A field is written "table.field", as in the data dictionary.
# Lines that begin with # are remarks and do nothing.
"""


def draft_text(
    name: str, sheet_name: str | None, shape: Shape, proposals: list[Proposal],
    codes: Proposal | None, dates: DatesSeen, one_row_is: str | None,
) -> str:
    """The whole file. `codes` is the column that study codes are made from."""
    body = [
        *_sheet(sheet_name, shape, dates, one_row_is), *_codes(codes, proposals),
        *_numbers(proposals, one_row_is), *_left_rows(shape), "",
    ]
    for proposal in proposals:
        if proposal is not codes:
            body += [*_column(proposal, shape), ""]
    body += _missing(proposals, codes)
    text = "\n".join(body) + "\n"
    marks = decisions(text)
    return _HEAD.format(name=name.replace("\n", " "), open=marks) + "draft = true\n\n" + text


def decisions(text: str) -> int:
    """How many places of a draft wait for a person's decision."""
    return sum("# DECIDE: " in line for line in text.splitlines())


def toml_text(text: str) -> str:
    """A TOML basic string (TOML 1.0)."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _sheet(
    sheet_name: str | None, shape: Shape, dates: DatesSeen, one_row_is: str | None
) -> Iterator[str]:
    yield "[sheet]"
    if sheet_name is not None:
        yield f"name = {toml_text(sheet_name)}"
    rows = [row + 1 for row in shape.heading_rows]
    yield f"headings_in_row = {rows[0] if len(rows) == 1 else rows}"
    if one_row_is is None:
        yield ('one_row_is = "?"  # DECIDE: patients stand in more than one row; "sessions", if a '
               "row is a session")
    else:
        yield f'one_row_is = "{one_row_is}"'
    yield from dates.lines()
    words = ", ".join(toml_text(word) for word in shape.blanks)
    yield f"blank = [{words}]  # signs for \"not recorded\" that stand in the sheet"
    if any(b.last_row > b.first_row >= shape.first_row for b in shape.sheet.merged):
        yield ('merged_cells = "?"  # DECIDE: "each row" if a merged cell counts for each of its '
               'rows, or "first row"')
    yield ""


def _codes(codes: Proposal | None, proposals: list[Proposal]) -> Iterator[str]:
    if codes is not None:
        yield (f"# Column {column_letters(codes.column)} {codes.leave_out}: it is left out, and "
               "only study codes made from it are taken in.")
        yield "[study_codes]"
        yield from _place(codes, proposals)
        yield 'prefix = "N"'
        yield ('key_file = "study-codes.key"  # made at the first intake; keep it for ever, keep a '
               "copy, and show it to nobody")
        yield ""
    elif not any(p.plan and p.plan.targets[0].field == Patients.patient_id for p in proposals):
        yield "# DECIDE: no column with the patients' numbers was found. State the column:"
        yield "# [study_codes]"
        yield '# heading = "…"'
        yield '# prefix = "N"'
        yield '# key_file = "study-codes.key"'
        yield ""


def _numbers(proposals: list[Proposal], one_row_is: str | None) -> Iterator[str]:
    used = {p.plan.targets[0].table for p in proposals if p.plan}
    stated = {name for p in proposals if p.plan for name, _ in p.numbers}
    names: dict[str, None] = {}
    for table in (t for t in TABLES.values() if t.name in used):
        names |= {n: None for n in table.key if table.by_name[n].type == "int"}
    if not names:
        return
    yield "# Numbers of the rows where no column or entry states them."
    yield "[numbers]"
    for name in names:
        if name == Sessions.session_no and one_row_is is None:
            yield f'{name} = "counted"  # in the order of the sheet'
        elif name not in stated or name == Lesions.lesion_no:
            yield f"{name} = 1"
    yield ""


def _left_rows(shape: Shape) -> Iterator[str]:
    for column, words in shape.totals.items():
        yield "[[leave_out_rows]]"
        yield f"heading = {toml_text(shape.headings.get(column, ''))}"
        if list(shape.headings.values()).count(shape.headings.get(column, "")) != 1:
            yield f'column = "{column_letters(column)}"'
        yield f"is = [{', '.join(toml_text(word) for word in words)}]"
        yield 'because = "totals, not a patient"'
        yield ""


def _place(proposal: Proposal, proposals: list[Proposal]) -> Iterator[str]:
    yield f"heading = {toml_text(proposal.heading)}"
    if not proposal.heading or sum(p.heading == proposal.heading for p in proposals) > 1:
        yield f'column = "{column_letters(proposal.column)}"'


def _column(proposal: Proposal, shape: Shape) -> Iterator[str]:
    letters = column_letters(proposal.column)
    cells = f"{proposal.cells} cells" if proposal.cells != 1 else "1 cell"
    yield f"# Column {letters}, {cells}." + _shares(proposal)
    yield from (f"# {note}" for note in proposal.notes)
    if proposal.open:
        yield "# DECIDE: " + _could_be(proposal)
    yield "[[column]]"
    yield f"heading = {toml_text(proposal.heading)}"
    repeated = list(shape.headings.values()).count(proposal.heading) != 1
    if repeated or not proposal.heading:
        yield f'column = "{letters}"'
    if proposal.leave_out is not None:
        yield f"leave_out = {toml_text(proposal.leave_out)}"
    elif proposal.plan is None:
        yield 'open = true  # put field = "table.field" or leave_out = "why" in its place'
    else:
        yield from _statements(proposal, proposal.plan)


def _shares(proposal: Proposal) -> str:
    fit = proposal.fit
    if fit is None or not fit.cells:
        return ""
    blank = proposal.cells - fit.cells
    words = f" {fit.converts:.0%} of {fit.cells} would convert".replace("%", " %")
    words += f" ({blank} count as blank)." if blank > 0 else "."
    if fit.examples:
        words += " Not: " + ", ".join(f'"{_one_line(text)}"' for text in fit.examples) + "."
    return words


def _could_be(proposal: Proposal) -> str:
    if not proposal.candidates:
        return "neither its heading nor its cells are like a field that is known here."
    listed = ", ".join(f"{target} ({share:.0%} of its cells look like it)".replace("%", " %")
                       for target, share in proposal.candidates)
    return f"it could be {listed}; none is sure."


def _statements(proposal: Proposal, plan: ColumnPlan) -> Iterator[str]:
    names = [toml_text(str(target)) for target in plan.targets]
    yield f"field = {names[0]}" if len(names) == 1 else f"field = [{', '.join(names)}]"
    yield from (f"{name} = {value}" for name, value in proposal.numbers)
    if "split" in proposal.undecided:
        yield ('split = "?"  # DECIDE: "added up" if several volumes are one, "parts" if each goes '
               'to its own pedicle (then also split_at = "+")')
    elif plan.split:
        yield f'split = "{plan.split}"'
        if plan.split == "parts":
            yield f"split_at = {toml_text(plan.split_at)}"
    if plan.largest_first:
        yield "largest_first = true"
    if "unit" in proposal.undecided:
        listed = ", ".join(known_units(plan.targets[0].spec.unit)[:6])
        yield f'unit = "?"  # DECIDE: the unit of numbers without one ({listed})'
    elif plan.unit:
        yield f"unit = {toml_text(plan.unit)}"
    if proposal.fit and _has_ranges(proposal):
        yield '# range = "higher"  # or "lower": which end of a range such as 0-1 counts'
    yield from _words(plan)


def _has_ranges(proposal: Proposal) -> bool:
    assert proposal.fit is not None
    return proposal.plan is not None and proposal.plan.targets[0].spec.type == "int" and any(
        "-" in text or "–" in text for text in proposal.fit.examples)


def _words(plan: ColumnPlan) -> Iterator[str]:
    pairs = [f"{toml_text(word)} = {_value(meaning)}" for word, meaning in plan.words.items()]
    if 0 < len(pairs) <= _INLINE:
        yield f"words = {{ {', '.join(pairs)} }}"
    elif pairs:
        yield "[column.words]"
        yield from pairs


def _value(meaning: Any) -> str:
    return str(meaning) if isinstance(meaning, int) else toml_text(str(meaning))


def _missing(proposals: list[Proposal], codes: Proposal | None) -> Iterator[str]:
    """Required fields that no column gives: a person states them, or they are filled in later."""
    given = {target for p in proposals if p.plan for target in p.plan.targets}
    used = {"patients", "lesions"} | {target.table for target in given}
    wanted = [
        Target(table.name, spec.name) for table in TABLES.values() if table.name in used
        for spec in table.fields
        if spec.required and not spec.key and Target(table.name, spec.name) not in given
    ]
    if not wanted:
        return
    yield "# Required fields that no column above is sure to give. State one value for all rows, as"
    yield "# below without the # signs, or leave it: it is then asked for in the returned workbook."
    for target in wanted:
        yield f"# [[constant]]  # {target.spec.label}: {target.spec.wanted}"
        yield f'# field = "{target}"'
        yield '# value = "…"'
    yield ""


def _one_line(text: str) -> str:
    return " ".join(text.split()).replace('"', "'")
