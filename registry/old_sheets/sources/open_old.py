"""Which kind of file an old spreadsheet is, by its content, and which of its sheets is meant."""

from __future__ import annotations

import hashlib
import zipfile
from pathlib import Path

from registry.intake.sheet import Progress, silent
from registry.old_sheets.sources.old_source import OldFile, OldSource
from registry.problems.problem import SourceError

_OLE = bytes.fromhex("D0CF11E0A1B11AE1")


def open_old(path: str | Path, sheet: str | None = None, *, progress: Progress = silent,
             largest: bool = False) -> OldSource:
    """Read one sheet of an .xlsx, .xls, .ods or text file.

    `sheet` names it; where there are several and none is named, SourceError lists them, or the
    one with most rows is taken (`largest`). Raises SourceError where the file cannot be read.
    """
    path = Path(path)
    if not path.exists():
        raise SourceError(f"There is no file {path.name} at that place.")
    if path.is_dir():
        raise SourceError(f"{path.name} is a folder; a mapping reads one file.")
    try:
        file = _file(path, progress)
        name = _chosen(path, file, sheet, largest=largest)
        found = file.read(name)
        with path.open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
    except PermissionError:
        raise SourceError(f"{path.name} may not be read with this account.") from None
    place = hashlib.sha256(f"{path.resolve()}\n{name}".encode()).hexdigest()
    others = tuple(other for other in file.names if other != name)
    return OldSource(f"sheet-{place[:16]}", f"old spreadsheet, {file.kind}", path.name, digest,
                     found, others, file.colours(name))


def _file(path: Path, progress: Progress) -> OldFile:
    with path.open("rb") as stream:
        head = stream.read(8)
    if not head:
        raise SourceError(f"{path.name} is empty (0 bytes).")
    if head == _OLE:
        from registry.old_sheets.sources.xls_old import open_xls

        return open_xls(path, progress)
    if zipfile.is_zipfile(path):
        return _zipped(path, progress)
    from registry.old_sheets.sources.text_old import open_text

    return open_text(path, progress)


def _zipped(path: Path, progress: Progress) -> OldFile:
    with zipfile.ZipFile(path) as archive:
        names = set(archive.namelist())
    if "content.xml" in names:
        from registry.old_sheets.sources.ods_old import open_ods

        return open_ods(path, progress)
    from registry.old_sheets.sources.xlsx_old import open_xlsx

    return open_xlsx(path, progress)


def _chosen(path: Path, file: OldFile, sheet: str | None, *, largest: bool) -> str:
    if not file.names:
        raise SourceError(f"{path.name} has no sheet with cells.")
    if sheet is not None and file.kind != "text":
        if sheet in file.names:
            return sheet
        listed = ", ".join(f'"{name}"' for name in file.names)
        raise SourceError(f'{path.name} has no sheet "{sheet}"; it has {listed}.')
    if len(file.names) == 1:
        return file.names[0]
    if largest:
        return max(file.names, key=lambda name: _cells(file, name))
    listed = ", ".join(f'"{name}"' for name in file.names)
    raise SourceError(
        f"{path.name} has several sheets ({listed}): say under [sheet] in the mapping which one is "
        'meant, such as name = "' + file.names[0] + '".'
    )


def _cells(file: OldFile, name: str) -> int:
    return sum(cell not in (None, "") for row in file.read(name).rows for cell in row)
