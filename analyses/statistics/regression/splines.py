"""Restricted cubic splines: a smooth curve, straight beyond its outer knots.

Basis and default knots: Harrell, Regression Modeling Strategies, 2nd edition 2015, section
2.4.5 and table 2.3; Stone and Koo 1985, Proc Stat Comp Sect ASA 45.
"""

from __future__ import annotations

import numpy as np

from analyses.statistics.arrays import Floats

QUANTILES = {
    3: (0.10, 0.50, 0.90),
    4: (0.05, 0.35, 0.65, 0.95),
    5: (0.05, 0.275, 0.50, 0.725, 0.95),
}


def default_knots(values: Floats, knots: int = 3) -> tuple[float, ...]:
    """Knots at Harrell's quantiles of the values seen.

    values: (rows,), no gaps; knots: 3, 4 or 5. Raises ValueError where the values are too few
    or too tied to give distinct knots.
    """
    if knots not in QUANTILES:
        raise ValueError(f"{knots} knots asked for; a spline here has 3, 4 or 5")
    places = np.quantile(np.asarray(values, float), QUANTILES[knots])
    if len(np.unique(places)) < knots:
        raise ValueError(
            f"the values are too few or too tied for {knots} distinct knots; "
            "use fewer knots or a straight line"
        )
    return tuple(float(place) for place in places)


def spline_basis(values: Floats, knots: tuple[float, ...]) -> Floats:
    """Columns of the spline: the value itself, then one column a knot but two.

    Returns (rows, knots - 1); the curved columns are divided by the squared distance of the
    outer knots, so that all are in the unit of `values`.
    """
    x, t = np.asarray(values, float), np.asarray(knots, float)
    last, before = t[-1], t[-2]
    cube = np.clip(x[:, None] - t[None, :], 0, None) ** 3
    slope = (last - t[:-2]) / (last - before)
    curved = cube[:, :-2] - cube[:, [-2]] * slope + cube[:, [-1]] * (slope - 1)
    return np.column_stack([x, curved / (last - t[0]) ** 2])
