"""Which count is small: one that could point to a person in a file that is published as data.

Where such counts are hidden, a document shows nothing by a grouping that has one
(`analyses.measures.small_cells`).
"""

from __future__ import annotations

SMALLEST = 5
"""The smallest count of patients that is shown where small cells are hidden."""


def is_small(count: int | None) -> bool:
    """Whether a count is from 1 to SMALLEST less one; 0 and "not told" are not."""
    return 0 < (count or 0) < SMALLEST
