"""A quick look at a sheet's XML: is there anything in it that needs the full scan?

Most sheets hold values only. Looking for a few byte patterns is many times faster than calling
Python for every element; whatever the look does not recognise goes to the full scan.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator

_BLOCK = 2**20
_SPECIAL = (rb"<f[ />]", rb't="e"', rb'hidden="', rb"<!DOCTYPE", rb"<!ENTITY", rb"<!\[CDATA\[",
            rb"<!--", rb"<[A-Za-z]+:")
_CELL = re.compile(rb"<c[ />]")
_COLUMN = re.compile(rb'<c r="([A-Z]{1,3})\d{1,7}"')
_ROW = re.compile(rb'<c r="[A-Z]{1,3}(\d{1,7})"')


def is_plain(
    archive: zipfile.ZipFile, part: str, percent: frozenset[str], most_cells: int
) -> bool:
    """Whether a sheet has plain values only, each with its reference, in a tolerable area."""
    styles = [rb's="%s"' % style.encode() for style in sorted(percent)]
    special = re.compile(b"|".join([*_SPECIAL, *styles]))
    columns: set[bytes] = set()
    rows: set[bytes] = set()
    for tags in whole_tags(archive, part):
        found = _COLUMN.findall(tags)
        if special.search(tags) or len(found) != len(_CELL.findall(tags)):
            return False
        columns.update(found)
        rows.update(_ROW.findall(tags))
    last_row = max(map(int, rows), default=0)
    return last_row * max(map(_number, columns), default=0) <= most_cells


def whole_tags(archive: zipfile.ZipFile, part: str) -> Iterator[bytes]:
    """The part in blocks cut before a tag, so that no tag is looked at in two halves."""
    rest = b""
    with archive.open(part) as stream:
        while block := stream.read(_BLOCK):
            block = rest + block
            cut = max(block.rfind(b"<"), 0)
            yield block[:cut]
            rest = block[cut:]
    yield rest


def _number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number
