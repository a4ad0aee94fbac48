"""Where the files that an intake hands back go: beside the source, and never over a file.

A returned workbook may be half corrected when the source is taken in again; so a name that is
taken is left alone, unless its file is byte for byte what would be written.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path

from registry.intake.problem_list import write_problem_list
from registry.intake.returned import write_returned
from registry.problems.problem import OutputError, Problem
from registry.store.batch import Batch

TO_CORRECT, PROBLEMS = "to-correct", "problems"


class Beside:
    """The place beside one source."""

    def __init__(self, source: Path) -> None:
        whole = source.resolve()
        self._folder = whole.parent
        stem = whole.name if whole.is_dir() else whole.stem
        # A returned workbook's own returns count on from it instead of growing a longer name.
        self._stem = re.sub(rf"-{TO_CORRECT}(-\d+)?$", "", stem)

    def check_writable(self) -> None:
        """Raise OutputError where nothing can be written beside the source."""
        probe = self._folder / f".{self._stem}.part"
        try:
            probe.touch()
            probe.unlink()
        except OSError as fault:
            raise OutputError(
                f"The folder {self._folder.name} may not be written to, so what stays out could "
                "not be handed back. Copy the source to a folder of your own and take it in from "
                "there."
            ) from fault

    def write(
        self, batch: Batch, problems: Sequence[Problem]
    ) -> tuple[Path | None, Path | None]:
        """Write the returned workbook and the list of problems, each if there is need."""
        returned = listed = None
        if batch.held:
            returned = self._put(TO_CORRECT, lambda path: write_returned(path, batch))
        if problems:
            listed = self._put(PROBLEMS, lambda path: write_problem_list(path, problems))
        return returned, listed

    def _put(self, kind: str, write: Callable[[Path], None]) -> Path:
        fresh = self._folder / f".{self._stem}-{kind}.new.xlsx"
        write(fresh)
        content, number = fresh.read_bytes(), 1
        while True:
            path = self._folder / self._name(kind, number)
            if not path.exists():
                fresh.rename(path)
                return path
            if path.is_file() and path.read_bytes() == content:
                fresh.unlink()
                return path
            number += 1

    def _name(self, kind: str, number: int) -> str:
        return f"{self._stem}-{kind}{'' if number == 1 else f'-{number}'}.xlsx"
