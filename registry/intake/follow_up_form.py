"""The coordinator's list as an entry workbook: a row offered for every patient's next try.

It comes back through intake: the sheet of contacts holds the study code and the number of the
next try; what is filled in beside them is taken in, a row left as it was is none. The columns
behind say what is due and what was tried; they are only to be read.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from registry.intake.form import FormRow, write_form
from registry.intake.workbook_write import new_source_id
from registry.problems.problem import OutputError
from registry.schema import Contacts, Patients


def write_follow_up_form(
    path: str | Path, rows: Sequence[dict[str, Any]], beside: Sequence[Sequence[str]],
) -> str:
    """Write the list and return its code as a source.

    rows: a row a patient with patient_id and try_no; beside: for each of them the texts of the
    columns `LIST_HEADINGS`. Raises OutputError where a file is there already, for another ending
    than .xlsx, or where the folder cannot be written to.
    """
    target = Path(path)
    if target.suffix.lower() != ".xlsx":
        raise OutputError(f"{target.name} does not end in .xlsx; give the list such a name.")
    if target.exists():
        raise OutputError(
            f"{target.name} is there already and may be filled in; it was left as it is. Take it "
            "in first, or give another name.")
    code = new_source_id()
    offered = [FormRow({name: row[name] for name in (Patients.patient_id, Contacts.try_no)},
                       beside=tuple(texts))
               for row, texts in zip(rows, beside, strict=True)]
    write_form(target, {Contacts.spec.name: offered}, source_id=code)
    return code
