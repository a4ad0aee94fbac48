"""`draft_mapping`: look at an old spreadsheet, write a proposed mapping, say what is in it."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from registry.intake.sheet import column_letters
from registry.old_sheets.draft.dates_seen import dates_seen
from registry.old_sheets.draft.draft_file import decisions, draft_text
from registry.old_sheets.draft.proposal import Proposal
from registry.old_sheets.draft.propose import Proposer
from registry.old_sheets.draft.settle import settle
from registry.old_sheets.draft.sheet_shape import Shape, shape_of
from registry.old_sheets.sources.old_source import OldSource
from registry.old_sheets.sources.open_old import open_old
from registry.privacy.kinds import HOSPITAL_NUMBER
from registry.privacy.study_codes import plain_number
from registry.problems.cell_text import as_text, clean
from registry.problems.problem import OutputError, SourceError
from registry.schema import Patients


def draft_mapping(
    source: str | Path, mapping_path: str | Path, *,
    progress: Callable[[str], None] = lambda words: None,
) -> list[str]:
    """Write a proposed mapping of an old spreadsheet to a new TOML file.

    Gives lines to print: how many columns have a field, are left out, or wait for a person's
    decision. `progress` is told in words what is being done. Raises SourceError where the file
    cannot be read and OutputError where `mapping_path` is there already or cannot be written.
    Nothing is taken in.
    """
    path = Path(mapping_path)
    if path.exists():
        raise OutputError(
            f"{path.name} is there already; a draft never replaces a mapping. Give another name, "
            "or delete it first."
        )

    def watch(step: str, done: int, total: int) -> None:
        progress(f"{step} ({done} of {total})")

    found = open_old(source, progress=watch, largest=True)
    shape = shape_of(found.sheet)
    if shape is None:
        raise SourceError(
            f"{found.sheet.name}: no row of headings with cells below it was found in the first "
            "rows. Give the table a row of headings."
        )
    proposals = settle(Proposer(shape, watch).proposals(), shape)
    codes = _codes_from(proposals, shape)
    text = draft_text(
        found.name, None if found.kind.endswith("text") else found.sheet.name, shape, proposals,
        codes, dates_seen(proposals, shape), _one_row_is(proposals, codes, shape),
    )
    _write(path, text)
    return _lines(found, path, text, proposals, codes)


def _codes_from(proposals: list[Proposal], shape: Shape) -> Proposal | None:
    """The first column of hospital numbers, unless the sheet has study codes of its own."""
    if any(p.plan and p.plan.targets[0].field == Patients.patient_id for p in proposals):
        return None
    for proposal in proposals:
        cells = shape.cells(proposal.column)
        numbers = sum(any(c.isdigit() for c in as_text(raw)) for _, raw in cells)
        if proposal.leave_out and HOSPITAL_NUMBER in proposal.leave_out and cells \
                and numbers >= 0.9 * len(cells):
            return proposal
    return None


def _one_row_is(
    proposals: list[Proposal], codes: Proposal | None, shape: Shape
) -> str | None:
    """ "patients" where every patient stands in one row; None where a person has to say."""
    key = codes or next(
        (p for p in proposals if p.plan and p.plan.targets[0].field == Patients.patient_id), None)
    if key is None:
        return "patients"
    numbers = [plain_number(raw) for _, raw in shape.cells(key.column)]
    return "patients" if len(set(numbers)) >= 0.97 * len(numbers) else None


def _write(path: Path, text: str) -> None:
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_text(text, encoding="utf-8")
        os.replace(part, path)
    except OSError as fault:
        part.unlink(missing_ok=True)
        raise OutputError(
            f"{path.name} cannot be written to {path.parent}: check that the folder is there and "
            "may be written to."
        ) from fault


def _lines(
    source: OldSource, path: Path, text: str, proposals: list[Proposal], codes: Proposal | None
) -> list[str]:
    fields = [p for p in proposals if p.plan]
    left = [p for p in proposals if p.leave_out and p is not codes]
    undecided = [p for p in proposals if p.open]
    lines = [
        f"{source.name}, sheet {source.sheet.name}: {len(proposals)} columns.",
        f"{len(fields)} with a field, {len(left)} left out, {len(undecided)} left open for you to "
        "decide.",
    ]
    if codes is not None:
        lines.append(f"Column {_named(codes)} {codes.leave_out}: study codes are made from it, and "
                     "it is left out itself.")
    lines += [f"Column {_named(p)} is left out: {p.leave_out}." for p in left]
    lines += [f"Column {_named(p)} is open." for p in undecided]
    lines += source.notes
    lines.append(f"Proposed mapping written to {path}; nothing was taken in. Places marked DECIDE: "
                 f"{decisions(text)}.")
    return lines


def _named(proposal: Proposal) -> str:
    heading = clean(proposal.heading)
    letters = column_letters(proposal.column)
    return f'{letters} "{heading}"' if heading else f"{letters} (no heading)"
