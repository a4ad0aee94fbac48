"""Adding a field is one edit in one place.

A copy of the package gets one more line in one table's module; then the dictionary, the entry
workbook, the SQL tables, the checks of cells, the store and the freeze are asked for it.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import registry

HERE = Path(registry.__file__).parent.parent
BEFORE = "    draining_veins = integer("
LINE = '    flow_ml_min = number("Nidus flow", "Flow through it.", 0, 900, unit="mL/min")\n'

ASK = '''
import json, sys, zipfile
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from registry_cases import clean_tables, with_cells
from registry_sources import batch
from registry.quality.dictionary import data_dictionary
from registry.intake.workbook_write import write_workbook
from registry.schema import TABLES
from registry.store.registry import open_registry
from registry.store.store_error import RegistryError
from registry.store.sql import sql_tables
from registry.freeze.freeze_reading import read_freeze
from registry.freeze.freeze_writing import make_freeze
from registry.quality.completeness import completeness

place = Path(sys.argv[1])
told = {}
frame = data_dictionary({}).set_index("field")
told["dictionary"] = frame.loc["flow_ml_min", ["table", "unit", "maximum"]].tolist()
write_workbook(place / "book.xlsx")
book = zipfile.ZipFile(place / "book.xlsx")
told["workbook"] = any("Nidus flow (mL/min)" in book.read(n).decode() for n in book.namelist()
                       if n.endswith(".xml"))
told["sql"] = str(sql_tables().data["lesions"].c.flow_ml_min.type)
flows = with_cells(clean_tables(), "lesions", flow_ml_min=310.0)
registry = open_registry(place / "registry.sqlite")
try:
    registry.take_in(batch(with_cells(flows, "lesions", flow_ml_min=901.0)))
except RegistryError as fault:
    told["checks"] = str(fault)
registry.take_in(batch(flows))
told["store"] = open_registry(place / "registry.sqlite").tables()["lesions"]["flow_ml_min"].tolist()
freeze = make_freeze(registry, place / "freeze")
told["freeze"] = read_freeze(freeze).tables["lesions"]["flow_ml_min"].tolist()
package = json.loads((freeze / "datapackage.json").read_text())
fields = next(r for r in package["resources"] if r["name"] == "lesions")["schema"]["fields"]
told["descriptor"] = next(f for f in fields if f["name"] == "flow_ml_min")
told["completeness"] = "flow_ml_min" in set(completeness(flows)["field"])
print(json.dumps(told))
'''


@pytest.fixture(scope="module")
def told(tmp_path_factory) -> dict:
    """What a copy of the package with one more line says of the new field."""
    copy = tmp_path_factory.mktemp("copy")
    shutil.copytree(HERE / "registry", copy / "registry",
                    ignore=shutil.ignore_patterns("__pycache__"))
    module = copy / "registry" / "schema" / "lesions.py"
    text = module.read_text(encoding="utf-8")
    assert text.count(BEFORE) == 1
    module.write_text(text.replace(BEFORE, LINE + BEFORE), encoding="utf-8")
    work = tmp_path_factory.mktemp("work")
    (work / "ask.py").write_text(ASK, encoding="utf-8")
    environment = {**os.environ, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(
        [sys.executable, str(work / "ask.py"), str(work), str(HERE / "tests")],
        env=environment, capture_output=True, text=True, cwd=work,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_the_dictionary_has_it(told):
    assert told["dictionary"] == ["lesions", "mL/min", "900"]


def test_the_entry_workbook_has_its_column(told):
    assert told["workbook"]


def test_the_sql_table_has_its_column(told):
    assert told["sql"] == "FLOAT"


def test_the_checks_know_its_range(told):
    assert "lesions do not fit the schema (flow_ml_min)" in told["checks"]


def test_the_store_keeps_it_and_the_freeze_gives_it_back(told):
    assert told["store"] == told["freeze"] == [310.0]


def test_the_freezes_descriptor_describes_it(told):
    assert told["descriptor"] == {
        "name": "flow_ml_min", "type": "number", "title": "Nidus flow",
        "description": "Flow through it.", "unit": "mL/min",
        "constraints": {"minimum": 0.0, "maximum": 900.0},
    }


def test_its_completeness_is_watched(told):
    assert told["completeness"]
