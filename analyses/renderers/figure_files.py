"""A document's figures as files: one drawing each, as the page shows it, unless more is asked for.

Journals want a format and a width of their own: they are asked for by name, and only they are
made.
"""

from __future__ import annotations

from collections.abc import Iterable

from analyses.content.blocks import Document, Picture
from analyses.renderers.drawn_figure import CLOCKLESS, FIGURE_WIDTH_IN, figure_bytes
from analyses.renderers.report_folder import Writer
from registry.problems.sentence_error import SentenceError

DPI = 600
WIDTHS_IN = {"one-column": 3.35, "two-columns": FIGURE_WIDTH_IN}
"""Column widths of most journals, 85 and 175 mm (common practice, no source)."""

FORMATS = tuple(CLOCKLESS)
DEFAULT_FORMATS, DEFAULT_WIDTHS = ("svg",), ("two-columns",)


def figures_wanted(asked: Iterable[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Formats and widths from words such as ("pdf,tiff", "one-column"), each at least one.

    Raises SentenceError for a word that is neither.
    """
    words = [word.strip() for given in asked for word in given.split(",") if word.strip()]
    unknown = [word for word in words if word not in (*FORMATS, *WIDTHS_IN)]
    if unknown:
        raise SentenceError(
            f"--figures {', '.join(unknown)}: wanted are formats ({', '.join(FORMATS)}) and "
            f"widths ({', '.join(WIDTHS_IN)}), with commas between them.")
    return (tuple(f for f in FORMATS if f in words) or DEFAULT_FORMATS,
            tuple(w for w in WIDTHS_IN if w in words) or DEFAULT_WIDTHS)


def figure_writers(document: Document, asked: Iterable[str] = ()) -> dict[str, Writer]:
    """File name → writer, for every figure of the document in each width and format asked for.

    asked: words as `figures_wanted` reads them. Raises SentenceError as it does.
    """
    formats, widths = figures_wanted(asked)
    found = {
        f"figures/{picture.name}-{width}.{format}": _writer(picture, format, WIDTHS_IN[width])
        for picture in document.pictures() for width in widths for format in formats
    }
    found["figures/words-for-the-figures.txt"] = _words(document.pictures())
    return found


def _writer(picture: Picture, format: str, width_in: float) -> Writer:
    return lambda path: path.write_bytes(figure_bytes(picture, format, width_in, DPI))


def _words(pictures: Iterable[Picture]) -> Writer:
    """Caption and alternative text of each figure, for journals that ask for them apart."""
    text = "\n\n".join(f"{p.name}\n{p.caption}.\n{p.alt}" for p in pictures) + "\n"
    return lambda path: path.write_bytes(text.encode("utf-8"))
