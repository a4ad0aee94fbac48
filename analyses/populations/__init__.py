"""Who is counted: the rows of every unit of analysis, worked out once from a freeze.

injection < catheter < session < lesion < patient. The unit "session" is a procedure: two
lesions embolized in one procedure are one. `units_of(tables)` builds them all.
"""

from __future__ import annotations

from analyses.populations.units import GROUPINGS, Units, units_of

__all__ = ["GROUPINGS", "Units", "units_of"]
