"""One picture as a file of its own, with its words below it in the picture."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from analyses.content.blocks import Picture
from analyses.content.unbroken import unbroken
from analyses.renderers.drawn_figure import FIGURE_WIDTH_IN, figure_bytes
from registry.problems.sentence_error import SentenceError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FORMATS = ("pdf", "svg", "png")
DPI = 300
LETTERS, WORDS_PT = 116, 8.0
"""Letters a line of the words below a picture, and their size."""


class PictureFileError(SentenceError, ValueError):
    """The file cannot be written; the message says why, and what is wanted."""


def write_picture(picture: Picture, path: Path, *, words: Sequence[str]) -> None:
    """Write a picture with its caption and these sentences below it.

    path: ends in .pdf, .svg or .png, and is no file yet: what a person may have edited is never
    overwritten. Raises PictureFileError.
    """
    format = path.suffix.lower().lstrip(".")
    if format not in FORMATS:
        raise PictureFileError(
            f"{path.name}: a picture is written as {', '.join(f'.{f}' for f in FORMATS)}; give "
            "--out a name that ends so.")
    if path.exists():
        raise PictureFileError(f"{path} is there already and stays as it is; give --out another "
                               "name.")
    shown = Picture(picture.name, picture.caption, picture.alt,
                    _with_words(picture.draw, (f"{picture.caption}.", *words)) if words
                    else picture.draw)
    content = figure_bytes(shown, format, FIGURE_WIDTH_IN, DPI)
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_bytes(content)
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise PictureFileError(f"{path} cannot be written: {error.strerror}.") from error


def _with_words(
    draw: Callable[[float], Figure], words: Sequence[str],
) -> Callable[[float], Figure]:
    """The figure made higher, the words below what it shows."""
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    def drawn(width_in: float) -> Figure:
        figure = draw(width_in)
        lines = [line for said in words for line in textwrap.wrap(unbroken(said), LETTERS)]
        below = (len(lines) + 1.5) * WORDS_PT * 1.3 / 72
        height = figure.get_figheight() + below
        figure.set_size_inches(width_in, height)
        engine = figure.get_layout_engine()
        if isinstance(engine, ConstrainedLayoutEngine):
            engine.set(rect=(0, below / height, 1, 1 - below / height))
        figure.text(0.02, 0.6 * WORDS_PT / 72 / height, "\n".join(lines), fontsize=WORDS_PT,
                    va="bottom", linespacing=1.3)
        return figure
    return drawn
