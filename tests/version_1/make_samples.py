"""The command that made the samples of version 1 in this folder; it does not run with later ones.

In a checkout of commit b5f3020 (the last of version 1), with PostgreSQL installed:

    PYTHONPATH=.:tests python make_samples.py FOLDER

`registry.sqlite.gz` is a registry of eight fictional patients: taken in, changed by a second
version of its workbook, and by a third that lost a row; three patients are held back.
`registry.pgsql.gz` is the same on PostgreSQL (pg_dump, without settings of the session), `freeze`
the freeze made of it, `known.json` what version 1 said of both.
"""

from __future__ import annotations

import datetime as dt
import gzip
import json
import shutil
import subprocess
import sys
from pathlib import Path

from postgresql_server import _program, postgresql_server

from analyses.results import work_out
from registry.canonical import records, row_json, sha256
from registry.freeze import make_freeze, read_freeze
from registry.intake.take_in import take_in_file
from registry.intake.workbook_write import fill_workbook
from registry.schema import TABLES
from registry.store import open_registry
from synthetic_cohort import make_cohort

SOURCE = "W-VERSION1AA"


def versions_of_the_workbook():
    """The tables as the workbook held them: first, then with changes, then without one row."""
    tables = make_cohort(patients=8, seed=11, complication_risk=0.4).tables
    tables = {name: frame.copy() for name, frame in tables.items()}
    patients = tables["patients"]["patient_id"].tolist()
    injections = tables["injections"]
    arterial = injections["patient_id"].eq(patients[1]) & injections["feeding_artery"].notna()
    injections.loc[injections.index[arterial][0], "feeding_artery"] = None
    operations = tables["resections"]
    operated = [p for p in operations["patient_id"].tolist() if p != patients[1]]
    operations.loc[operations["patient_id"].eq(operated[0]), "urgency"] = None
    tables["complications"] = tables["complications"].assign(
        attribution=tables["complications"]["attribution"].where(
            ~tables["complications"]["patient_id"].eq(operated[1])))
    yield tables
    inside = [p for p in patients if p not in (patients[1], operated[0], operated[1])]
    changed = {name: frame.copy() for name, frame in tables.items()}
    one = changed["patients"]["patient_id"].eq(inside[0])
    changed["patients"].loc[one, ["gcs", "mrs_before"]] = [14, 2]
    other = changed["lesions"]["patient_id"].eq(inside[1])
    changed["lesions"].loc[other, ["draining_veins", "location"]] = [7, "insula"]
    yield changed
    visits = changed["follow_ups"]
    last = visits.index[visits["patient_id"].isin(inside)][-1]
    yield {**changed, "follow_ups": visits.drop(last)}


def fill(place, folder):
    for number, tables in enumerate(versions_of_the_workbook(), start=1):
        book = folder / f"book-{number}" / "book.xlsx"
        book.parent.mkdir(exist_ok=True)
        fill_workbook(book, tables, source_id=SOURCE)
        done = take_in_file(book, open_registry(place), by=f"QI{number}", replace=number == 3)
        print(done.exit_code, done.summary)
    registry = open_registry(place)
    assert registry.verify_audit() == []
    return registry


def known(registry, freeze):
    estimates = work_out(freeze.tables, freeze.manifest).estimates
    return {
        "rows": {name: sha256("\n".join(row_json(r) for r in records(f, TABLES[name].fields)))
                 for name, f in registry.tables().items()},
        "counts": {name: len(f) for name, f in registry.tables().items()},
        "held": sorted(registry.held()["patient_id"].unique()),
        "audit_head": list(registry.audit_head()),
        "freeze_hash": freeze.manifest["freeze_hash"],
        "estimates": [[e.id, e.unit, e.events, e.n] for e in estimates
                      if not e.group and e.events is not None],
    }


def main(folder: Path) -> None:
    work = folder / "work"
    work.mkdir(parents=True)
    registry = fill(folder / "registry.sqlite", work)
    make_freeze(registry, folder / "freeze", purpose="quality", date=dt.date(2026, 11, 25))
    said = known(registry, read_freeze(folder / "freeze"))
    (folder / "known.json").write_text(json.dumps(said, indent=None) + "\n", encoding="utf-8")
    with postgresql_server() as url:
        fill(url, work)
        dump = subprocess.run(
            [_program("pg_dump"), "--inserts", "--no-owner", "--no-privileges", "-d", url],
            check=True, capture_output=True, text=True).stdout
    plain = [line for line in dump.splitlines()
             if not line.startswith(("SET ", "\\", "--", "SELECT pg_catalog.set_config"))]
    place = folder / "registry.sqlite"
    (folder / "registry.sqlite.gz").write_bytes(gzip.compress(place.read_bytes(), mtime=0))
    place.unlink()
    shutil.rmtree(work)
    (folder / "registry.pgsql.gz").write_bytes(gzip.compress("\n".join(plain).encode(), mtime=0))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
