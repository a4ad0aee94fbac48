"""Entry workbooks: a blank one to fill in, and one filled from typed tables."""

from __future__ import annotations

import base64
import secrets
from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from registry.intake.form import FormRow, write_form
from registry.problems.problem import OutputError
from registry.rules.columns import rows_of


def write_workbook(path: str | Path, *, source_id: str | None = None) -> str:
    """Write a blank entry workbook and return its code.

    The code marks this workbook, its copies and its returned rows as one source; a new one is
    made unless given. Raises OutputError where a file is there already (it might be filled in)
    or the folder cannot be written to.
    """
    target = Path(path)
    if target.suffix.lower() != ".xlsx":
        raise OutputError(f"{target.name} does not end in .xlsx; give the workbook such a name.")
    if target.exists():
        raise OutputError(
            f"{target.name} is there already and may be filled in; it was left as it is. Give "
            "another name."
        )
    code = source_id or new_source_id()
    write_form(target, {}, source_id=code)
    return code


def fill_workbook(
    path: str | Path, tables: Mapping[str, pd.DataFrame], *, source_id: str | None = None
) -> str:
    """Write an entry workbook with the rows of typed `tables` in it and return its code.

    A file that is there is replaced. Tables may be left out. Raises OutputError.
    """
    code = source_id or new_source_id()
    rows = {
        name: [FormRow(cells) for cells in rows_of(frame)]
        for name, frame in tables.items()
    }
    write_form(Path(path), rows, source_id=code)
    return code


def new_source_id() -> str:
    """A code for a new source, such as W-K3QF7Z2MHA."""
    return "W-" + base64.b32encode(secrets.token_bytes(10)).decode()[:10]
