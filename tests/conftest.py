"""Which checks run where: everything fast always; the long ones and the outside programs in CI.

In CI (CI=true) nothing is skipped: a missing R, LibreOffice, browser or PostgreSQL makes its
check fail.
"""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

CI_ONLY = ("slow", "reference", "desktop", "server")


def in_ci() -> bool:
    """Whether this run has to do every check."""
    return os.environ.get("CI", "").lower() in {"1", "true", "yes"}


# In CI the damaged sheets are the same ones each time: a new fault is looked for by those who
# change the code, on their own machines, and does not come up on somebody else's change.
settings.register_profile("ci", derandomize=True)
if in_ci():
    settings.load_profile("ci")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave the CI-only checks out of an ordinary run, unless they were asked for with -m."""
    if in_ci() or config.option.markexpr:
        return
    kept, left_out = [], []
    for item in items:
        (left_out if any(item.get_closest_marker(m) for m in CI_ONLY) else kept).append(item)
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = kept
