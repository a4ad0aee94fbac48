"""What stayed out, handed back as the same form: ready to correct and take in again."""

from __future__ import annotations

from pathlib import Path

from registry.intake.form import FormRow, write_form
from registry.schema import TABLES
from registry.store.batch import Batch, HeldRow


def write_returned(path: str | Path, batch: Batch) -> None:
    """Write the held rows of `batch` as an entry workbook with the code of its source.

    Faulty cells are marked and carry the reason as a note; the first column says of every row
    why it stayed out. A file that is there is replaced. Raises OutputError.
    """
    rows: dict[str, list[FormRow]] = {name: [] for name in TABLES}
    for held in batch.held:
        rows[held.table].append(FormRow(held.cells, held.marks, _why(held)))
    write_form(Path(path), rows, source_id=batch.source_id)


def _why(held: HeldRow) -> str:
    return f"{held.place}\n" + "\n".join(held.reasons)
