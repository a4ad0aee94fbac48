"""What the tests of bad input share: spoiling a workbook, and reading what is said of it."""

from __future__ import annotations

import re
import zipfile

import openpyxl
import pytest

from registry.problems.problem import SourceError


def refused(read, path, *words):
    """The sentences of a file that is refused as a whole; each of `words` is in them."""
    with pytest.raises(SourceError) as caught:
        read(path)
    text = str(caught.value)
    for word in words:
        assert word in text, text
    for sentence in caught.value.sentences:
        assert sentence.endswith(".") and "Traceback" not in sentence and "Error" not in sentence
    return caught.value.sentences


def only(batch, severity="error"):
    found = [p for p in batch.problems if p.severity == severity]
    assert len(found) == 1, [p.sentence() for p in batch.problems]
    return found[0]


def edit(path, change):
    book = openpyxl.load_workbook(path)
    change(book)
    book.save(path)
    return path


def rewrite(path, part, change):
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts[part] = change(parts[part])
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)


def put_cell(path, reference, xml):
    """Put a cell's XML into the patients' sheet in place of the one that is there."""
    def change(sheet):
        pattern = rb'<c r="%s"[^>]*?(/>|>.*?</c>)' % reference.encode()
        assert re.search(pattern, sheet)
        return re.sub(pattern, xml, sheet)

    rewrite(path, "xl/worksheets/sheet3.xml", change)
