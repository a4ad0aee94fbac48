"""The kinds of array that statistics take and give; one dimension a row unless it is said."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]
"""Numbers; missing is NaN."""
Whole = NDArray[np.integer[Any]]
"""Counts, codes and places."""
Mask = NDArray[np.bool_]
"""Yes or no."""
Labels = NDArray[Any]
"""Labels of any kind: patients, groups, stages; text, whole numbers, or mixed."""
