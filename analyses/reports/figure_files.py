"""A document's figures as files: PNG at 600 dpi, SVG and PDF, in one and two column widths."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable
from pathlib import Path

from analyses.reports.content import Document, Picture
from analyses.reports.docx import png_bytes

DPI = 600
WIDTHS_IN = {"one-column": 3.35, "two-columns": 6.9}
"""Column widths of most journals, 85 and 175 mm (common practice, no source)."""

Writer = Callable[[Path], None]


def figure_writers(document: Document) -> dict[str, Writer]:
    """File name → writer, for every figure of the document in each width and format."""
    found: dict[str, Writer] = {}
    for picture in document.pictures():
        for width_name, width in WIDTHS_IN.items():
            stem = f"figures/{picture.name}-{width_name}"
            found[f"{stem}.png"] = _png(picture, width)
            found[f"{stem}.svg"] = _vector(picture, width, "svg")
            found[f"{stem}.pdf"] = _vector(picture, width, "pdf")
    found["figures/words-for-the-figures.txt"] = _words(document.pictures())
    return found


def vector_bytes(picture: Picture, width_in: float, format: str) -> bytes:
    """A figure as SVG or PDF bytes, the same each time; PDF fonts are embedded as TrueType."""
    import matplotlib as mpl

    from analyses.figures import STYLE

    clockless = {"Date": None} if format == "svg" else {"CreationDate": None, "ModDate": None}
    out = io.BytesIO()
    # SVG letters as shapes: nobody needs our fonts to see the figure as it was drawn.
    with mpl.rc_context({**STYLE, "svg.fonttype": "path", "pdf.fonttype": 42}):
        picture.draw(width_in).savefig(out, format=format, metadata=clockless)
    return out.getvalue()


def _png(picture: Picture, width_in: float) -> Writer:
    return lambda path: path.write_bytes(png_bytes(picture, width_in, DPI)) and None


def _vector(picture: Picture, width_in: float, format: str) -> Writer:
    return lambda path: path.write_bytes(vector_bytes(picture, width_in, format)) and None


def _words(pictures: Iterable[Picture]) -> Writer:
    """Caption and alternative text of each figure, for journals that ask for them apart."""
    text = "\n\n".join(f"{p.name}\n{p.caption}.\n{p.alt}" for p in pictures) + "\n"
    return lambda path: path.write_bytes(text.encode("utf-8")) and None
