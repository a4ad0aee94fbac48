"""An old spreadsheet looked at before anything is taken in: the draft, the trial, and the proof.

The trial goes into an empty registry that is thrown away.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from analyses.commands.demo import DEMO_FOLDER
from analyses.content.blocks import (
    Block,
    Caution,
    Cell,
    Paragraph,
    Points,
    Section,
    Sentence,
    Table,
    Verbatim,
    plain,
)
from analyses.documents.fictional import is_demo, mark_demo
from analyses.statistics.estimate import Estimate
from registry.schema import Patients

if TYPE_CHECKING:
    from registry.intake.take_in import Outcome
    from registry.old_sheets.ledger import Ledger
    from registry.problems.problem import Problem

DEMO_SHEET, DEMO_MAPPING = "old-sheet.xlsx", "old-sheet.toml"
DRAFT_LINES = 60
PROOF_PATIENTS, PROOF_SEED = 130, 1
HOMES = {"registry": "would be in the registry",
         "holding": "kept whole, with a patient who waits to be mended",
         "left out": "left out by a line of the mapping", "problem": "a problem, each listed"}


@dataclass(frozen=True)
class OldSheetLook:
    """A sheet and its mapping (None: not written yet); each look is a section or two."""

    sheet: Path
    mapping: Path | None

    def draft(self) -> Section:
        """What a drafted mapping proposes, and its first lines; the draft is not kept."""
        from registry.old_sheets.draft.drafting import draft_mapping

        with tempfile.TemporaryDirectory() as folder:
            draft = Path(folder) / "draft.toml"
            told = draft_mapping(self.sheet, draft)
            text = draft.read_text(encoding="utf-8")
        lines = text.splitlines()
        more = len(lines) - DRAFT_LINES
        return Section("What a draft proposes", (
            *self._whose(),
            Points(tuple(Sentence(line) for line in told if not line.startswith("Proposed"))),
            plain(f"The first lines of the draft{f'; {more} more follow' if more > 0 else ''}:"),
            Verbatim("\n".join(lines[:DRAFT_LINES])),
            plain("Nothing was written: the draft is made and kept by the command above.")))

    def trial(self) -> tuple[Section, ...]:
        """What an intake through the mapping would do: rows, every cell's home, problems."""
        from registry import open_registry
        from registry.old_sheets.front_door import take_in_file
        from registry.old_sheets.mapping.take_in_old import MappedOutcome

        if self.mapping is None:
            return (Section("The trial", (plain(
                "There is no mapping yet. Write the draft, decide what it leaves open, and give "
                "its path in the cell to change."),)),)
        with tempfile.TemporaryDirectory() as folder:
            outcome = take_in_file(
                self.sheet, open_registry(Path(folder) / "trial.sqlite"),
                mapping=self.mapping, dry_run=True)
        ledger = outcome.ledger if isinstance(outcome, MappedOutcome) else None
        if ledger is None:
            return (Section("The trial", (Caution("It cannot be tried", tuple(
                map(Sentence, outcome.summary.splitlines()))),)),)
        return (Section("What would come in", (*self._whose(), _rows(outcome))),
                Section("Where every cell is", _cells(ledger)),
                Section("What has to be mended, and what is asked", _problems(outcome)))

    def proof(self) -> Section:
        """The same on a fictional sheet whose truth is known: right, reported, or wrong."""
        with tempfile.TemporaryDirectory() as folder:
            return _proof(Path(folder))

    def _whose(self) -> tuple[Block, ...]:
        if not is_demo(self.sheet):
            return ()
        return (Caution("A fictional sheet", (Sentence(
            "Nothing here is real: patients, numbers and fellows are invented."),)),)


def look_at(sheet: Path, mapping: Path | None) -> OldSheetLook:
    """Look at a sheet; the demo's own is made first where it is not there yet.

    Only a path like `nidusbook-demo/old-sheet.xlsx` is made: see `opening.open_freeze`. A sheet
    that cannot be read is told of by the first look.
    """
    from synthetic_cohort.old_sheet import old_sheet
    from synthetic_cohort.old_sheet_mapping import finished_mapping

    folder = sheet.absolute().parent
    if (sheet.name == DEMO_SHEET and folder.name == DEMO_FOLDER and not sheet.exists()
            and (not folder.exists() or is_demo(sheet))):
        folder.mkdir(parents=True, exist_ok=True)
        mark_demo(folder)
        written = old_sheet(sheet)
        (folder / DEMO_MAPPING).write_text(finished_mapping(written), encoding="utf-8")
    return OldSheetLook(sheet, mapping)


def _count(id: str, number: int, unit: str) -> Estimate:
    return Estimate(id=id, kind="count", value=float(number), n=number, unit=unit, method="count")


def _counted(heading: str, number: int, unit: str) -> tuple[Cell, ...]:
    return Cell(heading, heading=True), Cell(f"{number:,}", _count("intake.count", number, unit))


def _rows(outcome: Outcome) -> Table:
    assert outcome.result is not None
    rows = tuple(_counted(name.replace("_", "-").capitalize(), number, "row")
                 for name, number in outcome.result.added.items() if number)
    return Table("rows", "Rows that would come in", ("Table", "Rows"), rows, (
        f"Patients who would wait, kept whole, until something is mended: {outcome.result.held}.",))


def _cells(ledger: Ledger) -> tuple[Block, ...]:
    counts = ledger.counts()
    rows = [_counted(HOMES[home], number, "cell") for home, number in counts.items()]
    rows.append(_counted("together", sum(counts.values()), "cell"))
    adds_up = ("The counts add up to the whole sheet: nothing is lost." if ledger.adds_up
               else "The counts do NOT add up to the whole sheet.")
    each = tuple(
        (Cell(c.column, heading=True), Cell(c.heading), Cell(f"{c.registry:,}"),
         Cell(f"{c.holding:,}"), Cell(f"{c.left_out:,}"), Cell(f"{c.problem:,}"), Cell(c.goes_to))
        for c in ledger.columns())
    return (
        Table("cells", "Cells of the sheet that are not blank", ("Home", "Cells"), tuple(rows),
              (adds_up,)),
        Table("cells-by-column", "Column by column", (
            "Column", "Heading", "Registry", "Waiting", "Left out", "Problem", "Goes to"), each,
            folded=True))


def _problems(outcome: Outcome) -> tuple[Block, ...]:
    errors = [p for p in outcome.problems if p.severity == "error"]
    asked = [p for p in outcome.problems if p.severity != "error"]
    return (
        Paragraph((Sentence(
            f"{len(errors):,} to be mended (they keep their patient waiting), {len(asked):,} "
            "asked (they do not).", (_count("intake.errors", len(errors), "problem"),
                                     _count("intake.queries", len(asked), "problem"))),)),
        _problem_table("to-mend", "To be mended", errors),
        _problem_table("asked", "Asked of the recorder", asked))


def _problem_table(name: str, caption: str, problems: Sequence[Problem]) -> Table:
    rows = tuple((Cell(str(p.place or "in the registry"), heading=True), Cell(p.column),
                  Cell(p.found), Cell(p.wanted), Cell(p.mend)) for p in problems)
    return Table(name, caption, ("Place", "Column", "Found", "Wanted", "To mend"), rows,
                 folded=True)


def _proof(folder: Path) -> Section:
    from registry import open_registry
    from registry.old_sheets.front_door import take_in_file
    from registry.privacy.study_codes import StudyCodes
    from synthetic_cohort.old_sheet import old_sheet
    from synthetic_cohort.old_sheet_compare import lost_values, wrong_values
    from synthetic_cohort.old_sheet_mapping import finished_mapping

    sheet = old_sheet(folder / DEMO_SHEET, PROOF_SEED, patients=PROOF_PATIENTS)
    mapping = folder / DEMO_MAPPING
    mapping.write_text(finished_mapping(sheet), encoding="utf-8")
    registry = open_registry(folder / "proof.sqlite")
    outcome = take_in_file(sheet.path, registry, mapping=mapping)
    tables = registry.tables()
    here = set(tables["patients"][Patients.patient_id])
    given = StudyCodes(folder / "study-codes.key", "L")
    codes = {clean: given.code(number) for number, clean in sheet.codes.items()}
    taken = {clean: code for clean, code in codes.items() if code in here}
    wrong = wrong_values(sheet, tables, taken)
    lost = lost_values(sheet, tables, taken)
    facts = sum(len(cell.facts) for cell in sheet.cells if cell.fate == "taken"
                and str(cell.patient_id) in taken)
    rows = (
        _counted("Patients in the sheet", len(codes), "patient"),
        _counted("… taken in", len(taken), "patient"),
        _counted("… waiting, kept whole, until something is mended", len(codes) - len(taken),
                 "patient"),
        _counted("Values that the cells of those taken in still say", facts, "value"),
        _counted("… wrong in the registry", len(wrong), "value"),
        _counted("… lost without a word", len(lost), "value"),
        _counted("Problems and questions reported", len(outcome.problems), "problem"),
    )
    return Section("The proof, on a sheet whose truth is known", (Table(
        "proof", "The fictional old sheet, beside the clean data it was made from",
        ("What", "How many"), rows, (
            "The sheet was made by damaging clean data in known ways; both are invented.",)),))
