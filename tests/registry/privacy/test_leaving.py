"""What leaves: ages capped, and which counts are small."""

from __future__ import annotations

import pandas as pd
import pytest

from registry.privacy.leaving import cap_ages
from registry.privacy.suppression import is_small
from registry.schema import TABLES


def test_ages_over_90_are_90_and_blanks_stay() -> None:
    frame = TABLES["patients"].typed(pd.DataFrame({
        "patient_id": list("abcd"), "age_y": [89.5, 90.0, 104.0, None]}))
    capped = cap_ages(frame)
    assert capped["age_y"].tolist()[:3] == [89.5, 90.0, 90.0] and capped["age_y"].isna()[3]
    assert frame["age_y"].tolist()[2] == 104.0


@pytest.mark.parametrize(("count", "small"), [
    (None, False), (0, False), (1, True), (4, True), (5, False)])
def test_counts_of_1_to_4_are_small(count: int | None, small: bool) -> None:
    assert is_small(count) is small
