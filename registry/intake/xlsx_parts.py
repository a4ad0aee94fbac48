"""The parts of an .xlsx file that a spreadsheet library does not hand out.

An .xlsx file is a ZIP archive of XML parts (ECMA-376). Everything is read as a stream, without
document type declarations and within limits, so that no file can exhaust the memory.
"""

from __future__ import annotations

import lzma
import posixpath
import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element

from defusedxml import ElementTree

from registry.problems.problem import SourceError

MAX_FILE_BYTES = 100 * 2**20
MAX_UNPACKED_BYTES = 600 * 2**20

SOURCE_PROPERTY = "Workbook code"

_OLE = bytes.fromhex("D0CF11E0A1B11AE1")
_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


@dataclass(frozen=True)
class SheetPart:
    """A sheet's name, the archive's part that holds it, and whether it is hidden."""

    name: str
    part: str
    hidden: bool


def check_workbook_file(path: Path) -> None:
    """Refuse, with a SourceError, a file that is no workbook or too large to be one of ours."""
    size = path.stat().st_size
    if size == 0:
        raise SourceError(f"{path.name} is empty (0 bytes). Give the entry workbook, filled in.")
    if size > MAX_FILE_BYTES:
        raise SourceError(
            f"{path.name} is {size / 2**20:.0f} MB; a workbook of this registry stays under "
            f"{MAX_FILE_BYTES // 2**20} MB (50,000 rows take about 10 MB). Delete pictures and "
            "sheets that are not part of it, or copy the rows to a new blank workbook."
        )
    with path.open("rb") as file:
        head = file.read(8)
    if head == _OLE:
        raise SourceError(_old_or_locked(path))
    if not zipfile.is_zipfile(path):
        raise SourceError(
            f"{path.name} is not a workbook: it does not hold a spreadsheet in .xlsx form. Open "
            "it in the spreadsheet program, save it as .xlsx, and take that in."
        )


def _old_or_locked(path: Path) -> str:
    if is_encrypted(path):
        return (
            f"{path.name} is protected with a password and cannot be read. Open it in the "
            "spreadsheet program, save it without the password, and take that in."
        )
    return (
        f"{path.name} is in the old .xls form (or another document). Open it in the spreadsheet "
        "program, save it as .xlsx, and take that in."
    )


def is_encrypted(path: Path) -> bool:
    """Whether an OLE file is a workbook under a password."""
    return _contains(path, _ENCRYPTED)


def _contains(path: Path, wanted: bytes) -> bool:
    rest = b""
    with path.open("rb") as file:
        while block := file.read(2**20):
            if wanted in rest + block:
                return True
            rest = block[-len(wanted):]
    return False


UNREADABLE = (
    zipfile.BadZipFile, zlib.error, lzma.LZMAError, struct.error, ElementTree.ParseError, KeyError,
    EOFError, IndexError, OSError, NotImplementedError, OverflowError, RuntimeError, ValueError,
)
"""What the libraries raise on a damaged archive; unpacking itself can fail in the middle."""


@contextmanager
def open_parts(path: Path) -> Iterator[zipfile.ZipFile]:
    """The archive, if it holds a workbook of tolerable size; SourceError otherwise."""
    try:
        with zipfile.ZipFile(path) as archive:
            _check_parts(path, archive)
            yield archive
    except UNREADABLE as fault:
        raise SourceError(damaged(path)) from fault


def damaged(path: Path) -> str:
    """The sentence for a workbook whose inside cannot be read."""
    return (
        f"{path.name} is damaged or is not a workbook in .xlsx form. Open it in the spreadsheet "
        "program, save it as .xlsx under another name, and take that in."
    )


def _check_parts(path: Path, archive: zipfile.ZipFile) -> None:
    names = set(archive.namelist())
    if "xl/workbook.bin" in names:
        raise SourceError(
            f"{path.name} is in binary .xlsb form. Save it as .xlsx, and take that in."
        )
    if "content.xml" in names:
        raise SourceError(
            f"{path.name} is in OpenDocument form. Save it as .xlsx, and take that in."
        )
    if "xl/workbook.xml" not in names:
        raise SourceError(damaged(path))
    unpacked = sum(info.file_size for info in archive.infolist())
    if unpacked > MAX_UNPACKED_BYTES:
        raise SourceError(
            f"{path.name} unpacks to {unpacked / 2**20:.0f} MB; a workbook of this registry stays "
            f"under {MAX_UNPACKED_BYTES // 2**20} MB. Copy the rows to a new blank workbook."
        )
    # The sizes above are only what the file says of itself; reading through checks them, and
    # this part is the one that is read by a library that does not.
    if "xl/sharedStrings.xml" in names:
        with archive.open("xl/sharedStrings.xml") as stream:
            while stream.read(2**20):
                pass


def read_xml(archive: zipfile.ZipFile, part: str) -> Element:
    """A small part as an element tree, without document type declarations."""
    with archive.open(part) as stream:
        root: Element = ElementTree.parse(stream, forbid_dtd=True).getroot()
        return root


def sheet_parts(archive: zipfile.ZipFile) -> list[SheetPart]:
    """The workbook's sheets in order; sheets without cells (charts) are left out."""
    relations = {
        item.get("Id"): posixpath.normpath(posixpath.join("xl", item.get("Target", "")))
        for item in read_xml(archive, "xl/_rels/workbook.xml.rels")
    }
    workbook = read_xml(archive, "xl/workbook.xml")
    found = []
    for item in workbook.iter():
        if local(item.tag) != "sheet":
            continue
        part = relations.get(item.get(_RELATION), "")
        part = part[part.find("xl/"):] if "xl/" in part else part
        if "/worksheets/" in part:
            found.append(SheetPart(item.get("name", ""), part, item.get("state", "") != ""
                                   and item.get("state") != "visible"))
    return found


def source_code(archive: zipfile.ZipFile) -> str | None:
    """The code written into the workbook when it was made; None where there is none."""
    if "docProps/custom.xml" not in archive.namelist():
        return None
    for item in read_xml(archive, "docProps/custom.xml"):
        if item.get("name") == SOURCE_PROPERTY and len(item):
            return (item[0].text or "").strip() or None
    return None


def percent_styles(archive: zipfile.ZipFile) -> frozenset[str]:
    """Numbers of the cell styles that show a value as per cent (80 % is stored as 0.8)."""
    if "xl/styles.xml" not in archive.namelist():
        return frozenset()
    styles = read_xml(archive, "xl/styles.xml")
    percent = {"9", "10"} | {
        item.get("numFmtId", "") for item in styles.iter()
        if local(item.tag) == "numFmt" and "%" in item.get("formatCode", "")
    }
    formats: list[Any] = next(
        (list(item) for item in styles if local(item.tag) == "cellXfs"), []
    )
    return frozenset(
        str(number) for number, item in enumerate(formats) if item.get("numFmtId") in percent
    )


def local(tag: str) -> str:
    """An element's name without its namespace."""
    return tag.rpartition("}")[2]
