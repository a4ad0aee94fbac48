"""Published series: what others counted, pooled where it can be, and our own number beside it.

`pool_proportions` pools counts of series with a binomial–normal model; `place_of` says where a
service lies among series like them; `published_series` lists the lines of the package's table.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analyses.literature.place import Place, place_of
    from analyses.literature.pooling import Pooled, pool_proportions
    from analyses.literature.published import (
        PublishedSeries,
        chosen_series,
        published_series,
        read_series,
    )

__all__ = ["Place", "Pooled", "PublishedSeries", "chosen_series", "place_of",
           "pool_proportions", "published_series", "read_series"]

_HOMES = {
    "Place": "place", "place_of": "place", "Pooled": "pooling", "pool_proportions": "pooling",
    "PublishedSeries": "published", "chosen_series": "published",
    "published_series": "published", "read_series": "published",
}


def __getattr__(name: str) -> Any:
    """Load a function's module when it is first asked for."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
