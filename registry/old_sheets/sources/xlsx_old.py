"""Any sheet of an .xlsx workbook."""

from __future__ import annotations

import re
import zipfile
from collections import Counter
from collections.abc import Mapping
from pathlib import Path

from registry.intake.sheet import Progress, Sheet
from registry.intake.workbook_read import sheet_of
from registry.intake.xlsx_facts import scan
from registry.intake.xlsx_parts import (
    UNREADABLE,
    SheetPart,
    check_workbook_file,
    damaged,
    local,
    open_parts,
    percent_styles,
    read_xml,
    sheet_parts,
)
from registry.intake.xlsx_quick import whole_tags
from registry.old_sheets.sources.old_source import OldFile
from registry.problems.problem import SourceError

_STYLED = re.compile(rb'<c r="([A-Z]{1,3})\d{1,7}" s="(\d+)"[^>]*[^/]>')
# White is the colour of a cell that was cleared.
_NO_COLOUR = {"FFFFFFFF", "00FFFFFF"}


def open_xlsx(path: Path, progress: Progress) -> OldFile:
    """The sheets of an .xlsx workbook. Raises SourceError where it cannot be read."""
    check_workbook_file(path)
    with open_parts(path) as archive:
        parts = {part.name: part for part in sheet_parts(archive)}
    return OldFile("xlsx", tuple(parts), lambda name: _read(path, parts[name], progress),
                   lambda name: _colours(path, parts[name]))


def _read(path: Path, part: SheetPart, progress: Progress) -> Sheet:
    progress("reading the workbook", 0, 2)
    with open_parts(path) as archive:
        facts = scan(archive, part.part, part.name, percent_styles(archive))
    progress("reading the workbook", 1, 2)
    from python_calamine import CalamineError, CalamineWorkbook

    try:
        with CalamineWorkbook.from_path(path) as workbook:
            sheet = sheet_of(part, workbook.get_sheet_by_name(part.name), facts)
    except (CalamineError, *UNREADABLE) as fault:
        raise SourceError(damaged(path)) from fault
    except BaseException as fault:
        # The reader is compiled code; where it gives up altogether it raises this kind.
        if type(fault).__name__ == "PanicException":
            raise SourceError(damaged(path)) from fault
        raise
    progress("reading the workbook", 2, 2)
    return sheet


def _colours(path: Path, part: SheetPart) -> Mapping[int, int]:
    """Zero-based column → how many filled cells have a background of their own."""
    with open_parts(path) as archive:
        coloured = _coloured_styles(archive)
        if not coloured:
            return {}
        found: Counter[int] = Counter()
        for tags in whole_tags(archive, part.part):
            for letters, style in _STYLED.findall(tags):
                if style in coloured:
                    found[_position(letters)] += 1
    return dict(found)


def _coloured_styles(archive: zipfile.ZipFile) -> set[bytes]:
    """Numbers of the cell styles with a solid background other than white."""
    if "xl/styles.xml" not in archive.namelist():
        return set()
    styles = read_xml(archive, "xl/styles.xml")
    sections = {local(item.tag): list(item) for item in styles}
    fills = {
        str(number) for number, fill in enumerate(sections.get("fills", []))
        if any(pattern.get("patternType") == "solid" and not any(
            colour.get("rgb", "").upper() in _NO_COLOUR for colour in pattern
            if local(colour.tag) == "fgColor") for pattern in fill)
    }
    return {str(number).encode() for number, style in enumerate(sections.get("cellXfs", []))
            if style.get("fillId", "0") in fills}


def _position(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number - 1
