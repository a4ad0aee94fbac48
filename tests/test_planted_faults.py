"""The list of planted faults fits the code as it stands; planting them is a command of its own."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.fault_list import FAULTS
from tests.planted_faults import misfits, planted


def test_every_fault_can_be_planted_in_exactly_one_place() -> None:
    assert misfits(FAULTS) == []


def test_sixty_different_faults_in_all_rooms_are_planted() -> None:
    assert len({(fault.file, fault.before, fault.after) for fault in FAULTS}) >= 60
    rooms = {"/".join(Path(fault.file).parts[:2]) for fault in FAULTS}
    assert rooms >= {
        "registry/privacy", "registry/freeze", "registry/clinical", "registry/rules",
        "registry/intake", "registry/old_sheets", "registry/quality", "registry/store",
        "analyses/population", "analyses/measures", "analyses/statistics", "analyses/literature",
        "analyses/monitoring", "analyses/cases", "analyses/study", "analyses/words",
    }


def test_no_fault_leaves_the_code_as_it_was() -> None:
    assert all(fault.before != fault.after for fault in FAULTS)


@pytest.mark.parametrize(("change", "said"), [
    ({"before": "def no_such_function("}, "found 0 times"), ({"before": "e"}, "times, not once"),
    ({"file": "analyses/no_such_module.py"}, "found 0 times"),
    ({"caught_by": ("tests/test_of_nothing.py",)}, "does not exist"),
])
def test_a_fault_that_does_not_fit_is_told(change: dict[str, object], said: str) -> None:
    (told,) = misfits([replace(FAULTS[0], **change)])
    assert said in told


def test_a_fault_is_there_while_it_is_planted_and_gone_afterwards(tmp_path: Path) -> None:
    fault = replace(FAULTS[0], file="one.py", before="days <= 30", after="days < 30")
    file = tmp_path / "one.py"
    file.write_text("kept = days <= 30\n", encoding="utf-8")
    with planted(fault, tmp_path):
        assert file.read_text(encoding="utf-8") == "kept = days < 30\n"
    assert file.read_text(encoding="utf-8") == "kept = days <= 30\n"
