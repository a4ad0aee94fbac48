"""Do the tests catch a wrong number? Faults are planted one by one in a copy of the project.

`python -m tests.planted_faults [--only ROOM]` copies the project, checks that the fitting tests
pass there, plants each fault of `fault_list.py`, runs the tests that are to catch it, and prints
which did. It ends with 1 where fewer than `WANTED` of the faults are caught (with `--only`: where
any is not), and with 2 where a fault can no longer be planted or the tests do not pass without one.
"""

from __future__ import annotations

import argparse
import itertools
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from tests.fault_list import FAULTS, Fault

PROJECT = Path(__file__).resolve().parents[1]
COPIED = ("registry", "analyses", "synthetic_cohort", "notebooks", "tests")
WANTED = 57 / 60
TESTS_FAILED = 1
CANNOT = 2


def misfits(faults: Sequence[Fault], project: Path = PROJECT) -> list[str]:
    """What keeps faults from being planted, a sentence each; empty where all can be."""
    found = []
    for fault in faults:
        file = project / fault.file
        times = file.read_text(encoding="utf-8").count(fault.before) if file.is_file() else 0
        if times != 1:
            found.append(f"{fault.file}: {fault.before!r} is found {times} times, not once.")
        found += [f"{fault.file}: its test {test} does not exist."
                  for test in fault.caught_by if not (project / test.partition("::")[0]).is_file()]
    return found


def copied(folder: Path) -> Path:
    """A copy of what is needed to run the tests."""
    unwanted = shutil.ignore_patterns("__pycache__", ".*_cache")
    for name in COPIED:
        shutil.copytree(PROJECT / name, folder / name, ignore=unwanted)
    for file in PROJECT.iterdir():
        if file.is_file():
            shutil.copy(file, folder / file.name)
    return folder


_later = itertools.count(int(time.time()), 2)


def _write(file: Path, text: str) -> None:
    """Write with a time of change of its own, so that no compiled older text is taken for it."""
    file.write_text(text, encoding="utf-8")
    moment = next(_later)
    os.utime(file, (moment, moment))


@contextmanager
def planted(fault: Fault, folder: Path) -> Iterator[None]:
    """The copy with one fault in it, and without it afterwards."""
    file = folder / fault.file
    whole = file.read_text(encoding="utf-8")
    _write(file, whole.replace(fault.before, fault.after))
    try:
        yield
    finally:
        _write(file, whole)


def run_tests(tests: Sequence[str], folder: Path) -> subprocess.CompletedProcess[str]:
    """Run test files in the copy, the same ones each time, up to the first that fails."""
    own = {name: value for name, value in os.environ.items() if name != "CI"}
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider",
         "--hypothesis-seed=0", *tests],
        cwd=folder, env={**own, "PYTHONPATH": str(folder)}, capture_output=True, text=True,
        check=False)


def is_caught(fault: Fault, folder: Path) -> bool:
    """Whether a fitting test fails while the fault is there.

    Raises RuntimeError where pytest could not run the tests: that tells nothing of the fault.
    """
    with planted(fault, folder):
        run = run_tests(fault.caught_by, folder)
    if run.returncode not in (0, TESTS_FAILED):
        raise RuntimeError(f"{fault.file}: the tests could not run.\n{run.stdout[-2000:]}")
    return run.returncode == TESTS_FAILED


def _line(fault: Fault, verdict: str, seconds: float) -> str:
    return f"{verdict:10}  {seconds:5.1f} s  {fault.room:24}  {fault.what}"


def main(arguments: Sequence[str] | None = None) -> int:
    """Plant the faults and print the table; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.planted_faults", description=__doc__)
    parser.add_argument("--only", metavar="ROOM", default="",
                        help="faults of one room, such as analyses/measures")
    only = parser.parse_args(arguments).only
    faults = [fault for fault in FAULTS if fault.room.startswith(only.strip("/"))]
    wrong = misfits(faults) or ([] if faults else [f"No fault is planted in {only}."])
    if wrong:
        print("\n".join(wrong), file=sys.stderr)
        return CANNOT
    with tempfile.TemporaryDirectory() as place:
        folder = copied(Path(place))
        fitting = sorted({test for fault in faults for test in fault.caught_by})
        clean = run_tests(fitting, folder)
        if clean.returncode != 0:
            print(f"The tests do not pass without a fault.\n{clean.stdout[-3000:]}",
                  file=sys.stderr)
            return CANNOT
        caught = 0
        for fault in faults:
            start = time.monotonic()
            found = is_caught(fault, folder)
            caught += found
            print(_line(fault, "caught" if found else "NOT CAUGHT", time.monotonic() - start),
                  flush=True)
    print(f"{caught} of {len(faults)} caught")
    enough = len(faults) if only else WANTED * len(faults)
    return 0 if caught >= enough else 1


if __name__ == "__main__":
    sys.exit(main())
