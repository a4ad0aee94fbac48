"""Which checks run where: everything fast always; the long ones and the outside programs in CI.

In CI (CI=true) nothing is skipped: a missing R, LibreOffice, browser or PostgreSQL makes its
check fail.

Where several processes share the checks (`-n auto`), those of a file stay in one of them, and so do
files that look at the same report: it is worked out once, not once a process.
"""

from __future__ import annotations

import os
import re
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

ROOT = Path(__file__).parents[1]
CI_ONLY = ("slow", "reference", "desktop", "server")
SHARED = {
    "the series report": re.compile(r"\bdef \w+\([^)]*\bseries\b"),
    "the meeting's reports": re.compile(r"\bmeeting_reports\b"),
}
"""What is worked out once a process, and how a file of checks shows that it looks at it."""


def in_ci() -> bool:
    """Whether this run has to do every check."""
    return os.environ.get("CI", "").lower() in {"1", "true", "yes"}


# In CI the damaged sheets are the same ones each time: a new fault is looked for by those who
# change the code, on their own machines, and does not come up on somebody else's change.
settings.register_profile("ci", derandomize=True)
if in_ci():
    settings.load_profile("ci")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Share the checks out among processes by the work that they have in common."""
    from xdist.scheduler import LoadScopeScheduling

    class ByWork(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return work_of(nodeid.partition("::")[0])

    return ByWork(config, log)


@cache
def work_of(file: str) -> str:
    """What the checks of a file have in common with other files; the file itself where nothing."""
    text = (ROOT / file).read_text(encoding="utf-8")
    return next((work for work, sign in SHARED.items() if sign.search(text)), file)


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
