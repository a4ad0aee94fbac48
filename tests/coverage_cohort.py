"""How often the clustered interval covers the synthetic cohort's own truth.

A large fictional service with one risk for every procedure and a known within-patient correlation
is counted by the analyses' own rules, then cut into services of 40, 120 and 300 patients: each is
one replicate. Unlike `coverage_clustered`, sessions a patient, procedures that treat two lesions
and events placed by date are those of the cohort.

From the project's folder, for the full table in tests/reference/coverage_cohort.md:
    python -m tests.coverage_cohort --patients 600000
"""

from __future__ import annotations

import argparse
import datetime
import subprocess
import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parent))

from coverage_clustered import (  # noqa: E402
    CORRELATIONS,
    PATIENTS,
    RISKS,
    Covered,
    as_markdown,
    coverage,
)

Floats = NDArray[np.float64]
REPORT = Path(__file__).parent / "reference" / "coverage_cohort.md"
POOL = 100_000
"""Patients made at a time: more would only need more memory."""


def counted(patients: int, risk: float, icc: float, seed: int) -> tuple[Floats, Floats, float]:
    """Events and procedures of each embolized patient, and the cohort's true risk a procedure."""
    from analyses.measures.harm import ANY
    from analyses.population.unit_frames import units_of
    from synthetic_cohort import CohortSettings, make_cohort

    settings = CohortSettings.plain(risk, icc)
    units = units_of(make_cohort(patients, seed, settings).tables)
    rows = ANY.frame(units, "session")
    by_patient = rows.groupby("patient_id", sort=True)["event"]
    events = by_patient.sum().to_numpy(float)
    return events, by_patient.size().to_numpy(float), risk


def cells(patients: int) -> list[Covered]:
    """All cells, from `patients` fictional patients for each pair of risk and correlation."""
    found = []
    for risk in RISKS:
        for icc in CORRELATIONS:
            parts = [counted(min(POOL, patients - at), risk, icc, 11 + at)
                     for at in range(0, patients, POOL)]
            events = np.concatenate([part[0] for part in parts])
            rows = np.concatenate([part[1] for part in parts])
            found += [_cell(events, rows, size, risk, icc) for size in PATIENTS]
    return sorted(found, key=lambda c: (c.patients, c.risk, c.correlation))


def _cell(events: Floats, rows: Floats, size: int, risk: float, icc: float) -> Covered:
    replicates = len(events) // size
    shape = (replicates, size)
    cut = events[:replicates * size].reshape(shape), rows[:replicates * size].reshape(shape)
    shares = coverage(lambda k: cut, risk, replicates, replicates)
    return Covered(size, risk, icc, replicates, **shares)


def main() -> None:
    """Run all cells and write the table with its date and commit."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--patients", type=int, default=600_000)
    patients = parser.parse_args().patients
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=True,
        cwd=REPORT.parent).stdout.strip()
    table = as_markdown(cells(patients))
    REPORT.write_text(
        "# Coverage of the clustered 95 % interval on the synthetic cohort\n\n"
        f"{patients:,} fictional patients for each risk and correlation, cut into services; "
        f"{datetime.date.today().isoformat()}, commit {commit}; "
        f"`python -m tests.coverage_cohort --patients {patients}`.\n"
        "A cell fails if it lies under 94 % by more than three Monte Carlo standard errors. The "
        "method's own floor is near 93.9 % at 300 patients, 1 % and 0.3.\n\n"
        f"{table}\n", encoding="utf-8")
    print(table)


if __name__ == "__main__":
    main()
