"""No age above 90 leaves the registry.

Common practice: ages over 89 point to a person (US HIPAA Safe Harbor, 45 CFR
164.514(b)(2)(i)(C)).
"""

from __future__ import annotations

import pandas as pd

AGE_CAP_Y = 90


def capped(age_y: pd.Series) -> pd.Series:
    """Ages in years, none above `AGE_CAP_Y`; blanks stay blank."""
    return age_y.clip(upper=AGE_CAP_Y)
