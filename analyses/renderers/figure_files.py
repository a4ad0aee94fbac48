"""A document's figures as files: PNG at 600 dpi, SVG and PDF, in one and two column widths."""

from __future__ import annotations

import io
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from analyses.content.blocks import Document, Picture
from analyses.renderers.report_folder import Writer

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DPI = 600
WIDTHS_IN = {"one-column": 3.35, "two-columns": 6.9}
"""Column widths of most journals, 85 and 175 mm (common practice, no source)."""

FORMATS = ("png", "svg", "pdf")
CLOCKLESS: dict[str, dict[str, None]] = {
    "png": {"Software": None}, "svg": {"Date": None},
    "pdf": {"CreationDate": None, "ModDate": None},
}


def figure_writers(document: Document) -> dict[str, Writer]:
    """File name → writer, for every figure of the document in each width and format."""
    found: dict[str, Writer] = {}
    for picture in document.pictures():
        for width_name, width in WIDTHS_IN.items():
            drawn = Drawn(picture, width)
            stem = f"figures/{picture.name}-{width_name}"
            found |= {f"{stem}.{format}": drawn.writer(format) for format in FORMATS}
    found["figures/words-for-the-figures.txt"] = _words(document.pictures())
    return found


class Drawn:
    """A figure at one width, drawn once for all its formats and let go after the last."""

    def __init__(self, picture: Picture, width_in: float) -> None:
        self.picture = picture
        self.width_in = width_in
        self._figure: Figure | None = None

    def writer(self, format: str) -> Writer:
        """A writer of this format (one of FORMATS)."""
        def write(path: Path) -> None:
            path.write_bytes(self.bytes(format))
            if format == FORMATS[-1]:
                self._figure = None
        return write

    def bytes(self, format: str) -> bytes:
        """The figure in a format, the same each time, without the clock and the software in it."""
        import matplotlib as mpl

        from analyses.figures.figure_style import STYLE

        out = io.BytesIO()
        # SVG letters as shapes: nobody needs our fonts to see the figure as it was drawn.
        with mpl.rc_context({**STYLE, "svg.fonttype": "path", "pdf.fonttype": 42}):
            self._drawn().savefig(out, format=format, metadata=CLOCKLESS[format], dpi=DPI,
                                  facecolor="white")
        return out.getvalue()

    def _drawn(self) -> Figure:
        if self._figure is None:
            self._figure = self.picture.draw(self.width_in)
            # The places of things are settled once, so that all formats agree.
            self._figure.draw_without_rendering()
            self._figure.set_layout_engine("none")
        return self._figure


def _words(pictures: Iterable[Picture]) -> Writer:
    """Caption and alternative text of each figure, for journals that ask for them apart."""
    text = "\n\n".join(f"{p.name}\n{p.caption}.\n{p.alt}" for p in pictures) + "\n"
    return lambda path: path.write_bytes(text.encode("utf-8"))
