"""Which checks run where: everything fast always; the long ones and the outside programs in CI.

In CI (CI=true) nothing is skipped: a missing R, LibreOffice, browser or PostgreSQL makes its
check fail.

Where several processes share the checks (`-n auto`), those of a file stay in one of them, and so do
files that look at the same report: it is worked out once, not once a process.
"""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Iterable

import pytest
from hypothesis import settings

CI_ONLY = ("slow", "reference", "desktop", "server")
SHARED_FIXTURES = {"series": "the series report"}
"""What is worked out once a process, by the fixture that gives it."""
SHARED_MODULES = {"meeting_reports": "the meeting's reports"}
"""The same, by the module whose functions remember it."""


def in_ci() -> bool:
    """Whether this run has to do every check."""
    return os.environ.get("CI", "").lower() in {"1", "true", "yes"}


# In CI the damaged sheets are the same ones each time: a new fault is looked for by those who
# change the code, on their own machines, and does not come up on somebody else's change.
settings.register_profile("ci", derandomize=True)
if in_ci():
    settings.load_profile("ci")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave the CI-only checks out of an ordinary run, and keep together what shares work."""
    _leave_out(config, items)
    _keep_together(items)


def _shared_work(items: Iterable[pytest.Item], file: str) -> str:
    """What the checks of a file share with other files; the file itself where nothing."""
    for item in items:
        for fixture in getattr(item, "fixturenames", ()):
            if fixture in SHARED_FIXTURES:
                return SHARED_FIXTURES[fixture]
        for thing in vars(getattr(item, "module", None) or object).values():
            for name in (getattr(thing, "__module__", None), getattr(thing, "__name__", None)):
                if name in SHARED_MODULES:
                    return SHARED_MODULES[name]
    return file


def _keep_together(items: list[pytest.Item]) -> None:
    """Give the checks of a file, and of files with the same work, to one process."""
    files: dict[str, list[pytest.Item]] = defaultdict(list)
    for item in items:
        files[item.nodeid.partition("::")[0]].append(item)
    for file, checks in files.items():
        group = _shared_work(checks, file)
        for item in checks:
            item.add_marker(pytest.mark.xdist_group(group))


def _leave_out(config: pytest.Config, items: list[pytest.Item]) -> None:
    """The CI-only checks are left out, unless they were asked for with -m."""
    if in_ci() or config.option.markexpr:
        return
    kept, left_out = [], []
    for item in items:
        (left_out if any(item.get_closest_marker(m) for m in CI_ONLY) else kept).append(item)
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = kept
