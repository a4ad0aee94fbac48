"""50,000 rows of 200 columns: within memory, with progress shown, every cell accounted for."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROWS, COLUMNS = 50_000, 200
MEMORY = 6 * 2**30
MAPPING = """
[sheet]
headings_in_row = 1
one_row_is = "patients"
dates = "day first"
other_columns = "not needed"
[numbers]
lesion_no = 1
[[column]]
heading = "Code"
field = "patients.patient_id"
[[column]]
heading = "Age"
field = "patients.age_y"
[[column]]
heading = "Sex"
field = "patients.sex"
words = { F = "female", M = "male" }
[[column]]
heading = "Seen"
field = "patients.presentation_date"
[[constant]]
field = "patients.site_id"
value = "NORTH"
[[constant]]
field = "patients.presentation"
value = "seizure"
[[constant]]
field = "patients.mrs_before"
value = 1
[[constant]]
field = "patients.research_use"
value = "granted"
"""
PROGRAM = """
import resource, sys
resource.setrlimit(resource.RLIMIT_AS, ({memory}, {memory}))
from registry.old_sheets.ledger import Ledger
from registry.old_sheets.mapping.mapped_reading import read_mapped
steps = []
found = read_mapped(sys.argv[1], sys.argv[2], progress=lambda *step: steps.append(step))
ledger = Ledger(found.rows, found.batch)
print(ledger.adds_up, ledger.total, len(found.batch.tables["patients"]),
      len({{name for name, _, _ in steps}}), len(steps))
"""


@pytest.mark.slow
def test_a_very_large_sheet_is_read_within_memory(tmp_path: Path) -> None:
    path = tmp_path / "old.csv"
    with path.open("w", encoding="utf-8") as file:
        heads = ["Code", "Age", "Sex", "Seen", *(f"x{k}" for k in range(COLUMNS - 4))]
        file.write(",".join(heads) + "\n")
        rest = ",".join(str(1000 + k) for k in range(COLUMNS - 4))
        for row in range(1, ROWS + 1):
            file.write(f"N-{row:06d},{20 + row % 60},{'FM'[row % 2]},{1 + row % 28:02d}/"
                       f"{1 + row % 12:02d}/2015,{rest}\n")
    mapping = tmp_path / "map.toml"
    mapping.write_text(MAPPING, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM.format(memory=MEMORY), str(path), str(mapping)],
        capture_output=True, text=True, cwd=Path(__file__).parents[4],
    )
    assert done.returncode == 0, done.stderr[-2000:]
    adds_up, total, patients, kinds, steps = done.stdout.split()
    assert adds_up == "True" and int(total) == (ROWS + 1) * COLUMNS
    assert int(patients) == ROWS
    assert int(kinds) >= 3 and int(steps) >= 6
