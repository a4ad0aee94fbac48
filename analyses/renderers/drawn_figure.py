"""A figure drawn once at a width, and its bytes in each format that a document asks for.

The page, the slides, the manuscript and the files all show the same drawing: drawing and placing
take longer than writing it down.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from analyses.content.blocks import Picture

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FIGURE_WIDTH_IN = 6.9
"""Two columns of most journals, 175 mm (common practice, no source); documents scale it."""

CLOCKLESS: dict[str, dict[str, None] | None] = {
    "png": {"Software": None}, "svg": {"Date": None},
    "pdf": {"CreationDate": None, "ModDate": None}, "tiff": None,
}
"""Each format, and what must be left out of it to be the same byte for byte each time."""


def figure_of(picture: Picture, width_in: float = FIGURE_WIDTH_IN) -> Figure:
    """The picture as a matplotlib figure of this width, its parts placed; drawn once."""
    import matplotlib as mpl

    from analyses.figures.figure_style import STYLE

    if width_in not in picture.drawn:
        with mpl.rc_context(STYLE):
            figure = picture.draw(width_in)
            # The places of things are settled once, so that all formats agree.
            figure.draw_without_rendering()
            figure.set_layout_engine("none")
        picture.drawn[width_in] = figure
    return picture.drawn[width_in]


def figure_bytes(
    picture: Picture, format: str, width_in: float = FIGURE_WIDTH_IN, dpi: int = 300,
) -> bytes:
    """A figure in a format of CLOCKLESS, the same each time; dpi: dots an inch of png and tiff."""
    import matplotlib as mpl

    from analyses.figures.figure_style import STYLE

    out = io.BytesIO()
    figure = figure_of(picture, width_in)
    # SVG letters as shapes: nobody needs our fonts to see the figure as it was drawn.
    with mpl.rc_context({**STYLE, "svg.fonttype": "path", "pdf.fonttype": 42}):
        figure.savefig(out, format=format, metadata=CLOCKLESS[format], dpi=dpi, facecolor="white")
    return out.getvalue()
