"""The freeze: a dated, hashed, read-only data set with its table schema.

`make_freeze` writes one from a registry, `read_freeze` reads it and refuses a changed one.
"""

from __future__ import annotations

from registry.freeze.errors import FreezeError
from registry.freeze.reading import Freeze, read_freeze
from registry.freeze.writing import make_freeze, write_freeze

__all__ = ["Freeze", "FreezeError", "make_freeze", "read_freeze", "write_freeze"]
