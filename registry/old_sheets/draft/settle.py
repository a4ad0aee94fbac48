"""The columns of a draft seen together: numbers of rows, volumes beside arteries, doubles."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from registry.old_sheets.draft.known_words import heading_words
from registry.old_sheets.draft.proposal import Proposal
from registry.old_sheets.draft.sheet_shape import Shape
from registry.old_sheets.mapping.bind import JOIN
from registry.old_sheets.mapping.parts import added_up, counted
from registry.old_sheets.mapping.statements import Numbers, Target
from registry.schema import TABLES, Injections, Sessions

# Units of which services use more than one for the same thing: the scale has to be stated.
_MANY_SCALES = frozenset({"mm", "min", "s", "h", "mGy", "Gy·cm²"})
_AGREE = 0.9


def settle(proposals: list[Proposal], shape: Shape) -> list[Proposal]:
    """The proposals with their numbers, and with what a person has to decide marked."""
    numbered = _numbered(proposals)
    decided = [_units(one) for one in _volumes(numbered, shape)]
    return _no_doubles(decided)


def number_name(table: str, heading: str) -> str | None:
    """Which number a figure in a heading is: of the session, or of the table's own rows."""
    words = heading_words(heading.replace(JOIN, " ")).words
    key = [name for name in TABLES[table].key if TABLES[table].by_name[name].type == "int"]
    if table in {"patients", "services"} or not key:
        return None
    if "session" in words and Sessions.session_no in TABLES[table].columns:
        return Sessions.session_no
    return key[-1] if table != "injections" else Sessions.session_no


def _numbered(proposals: list[Proposal]) -> list[Proposal]:
    """Every proposal with the number of its row, where its heading has one."""
    found: dict[str, set[int]] = {}
    for one in proposals:
        number = heading_words(one.heading.replace(JOIN, " ")).number
        if one.plan and number is not None and number > 0:
            found.setdefault(one.plan.targets[0].table, set()).add(number)
    return [replace(one, numbers=_numbers(one, found)) if one.plan else one for one in proposals]


def _numbers(one: Proposal, found: dict[str, set[int]]) -> Numbers:
    assert one.plan is not None
    table = one.plan.targets[0].table
    number = heading_words(one.heading.replace(JOIN, " ")).number
    name = number_name(table, one.heading)
    if number is None or name is None:
        return ()
    # "Last" is the row after those that have a figure of their own.
    value = number if number > 0 else max(found.get(table, {0})) + 1
    own = TABLES[table].key[-1]
    if table == "complications" and name == Sessions.session_no:
        return ((own, value), (name, value))
    return ((name, value),)


def _volumes(proposals: list[Proposal], shape: Shape) -> list[Proposal]:
    """Volumes beside counted arteries: one a pedicle only where their numbers agree."""
    counts = {
        one.numbers: {row: len(words) for row, raw in shape.cells(one.column)
                      if isinstance(raw, str) and (words := counted(raw))}
        for one in proposals if one.plan and one.plan.split == "counted"
    }
    return [_volume(one, counts, shape) for one in proposals]


def _volume(
    one: Proposal, counts: dict[Numbers, dict[int, int]], shape: Shape
) -> Proposal:
    if one.plan is None or one.plan.targets[0] != Target("injections", Injections.agent_ml) \
            or one.numbers not in counts:
        return one
    arteries, agree, seen = counts[one.numbers], 0, 0
    for row, raw in shape.cells(one.column):
        if row in arteries:
            seen += 1
            pieces = added_up(raw) if isinstance(raw, str) else [("", "")]
            agree += len(pieces or ()) == arteries[row]
    if seen and agree >= _AGREE * seen:
        note = f"as many volumes as arteries in {agree} of {seen} rows: the first volume goes to " \
               "the first artery, and so on"
        return replace(one, plan=replace(one.plan, split="parts", split_at="+"),
                       notes=(*one.notes, note))
    return replace(one, undecided=(*one.undecided, "split"))


def _units(one: Proposal) -> Proposal:
    if one.plan is None or one.plan.unit is not None:
        return one
    spec = one.plan.targets[0].spec
    if spec.type in {"int", "number"} and spec.unit in _MANY_SCALES:
        return replace(one, undecided=(*one.undecided, "unit"))
    return one


def _no_doubles(proposals: list[Proposal]) -> list[Proposal]:
    """Two columns for one field of a row: neither can be sure."""
    used = Counter(
        (target, one.numbers) for one in proposals if one.plan for target in one.plan.targets)
    return [
        replace(one, plan=None, fit=None, candidates=tuple(
            (target, one.fit.looks if one.fit else 0.0) for target in one.plan.targets),
            notes=("another column looks like the same field",))
        if one.plan and any(used[target, one.numbers] > 1 for target in one.plan.targets) else one
        for one in proposals
    ]
