"""The style of every figure: colours, type and lines; a figure to draw in.

Readable in grey and by colour-blind readers: groups differ by marker and label, never by colour
alone; every axis names its unit and every point its numerator and denominator.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure
    from matplotlib.typing import RcKeyType

INK = "#1b2a33"
QUIET = "#6b7880"
ACCENT = "#0a5c6b"
EVENT = "#b3411e"

STYLE: dict[RcKeyType, Any] = {
    "font.family": "DejaVu Sans", "font.size": 8.5, "axes.edgecolor": QUIET,
    "axes.labelcolor": INK, "text.color": INK, "xtick.color": INK, "ytick.color": INK,
    "axes.spines.top": False, "axes.spines.right": False, "svg.hashsalt": "nidusbook",
    "svg.fonttype": "none", "pdf.fonttype": 42, "axes.titlesize": 9.5,
}
"""matplotlib settings of every figure. The fixed salt keeps SVG files the same byte for byte."""


def new_figure(width_in: float, height_in: float) -> tuple[Figure, Axes]:
    """An empty figure of this size with one axes, in our style and outside pyplot's state."""
    import matplotlib as mpl
    from matplotlib.figure import Figure as MplFigure

    with mpl.rc_context(STYLE):
        figure = MplFigure(figsize=(width_in, height_in), layout="constrained")
        return figure, figure.add_subplot()


def whole_steps(axis: Axis) -> None:
    """Marks at whole numbers only, on an axis that still places them by itself."""
    from matplotlib.ticker import MaxNLocator

    locator = axis.get_major_locator()
    assert isinstance(locator, MaxNLocator)
    locator.set_params(integer=True)
