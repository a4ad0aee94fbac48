"""Six additions, made in a copy in the files that DEVELOPERS.md promises, are found everywhere.

The ten patients made by hand go through the copy, with doses written down for three sessions:
skin 3,500, 2,000 and 3,000 mGy in 60 and 50 minutes, and in a time not recorded.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from six_additions import ADDITIONS

ROOT = Path(__file__).parents[1]
PACKAGES = ("registry", "analyses", "synthetic_cohort")

ASK = '''
import datetime, json, sys, zipfile
from dataclasses import replace
from pathlib import Path
sys.path.insert(0, sys.argv[1])
import study_of_ten
from analyses import open_study
from analyses.documents.series.series_report import (
    manuscript_document, series_document, series_work)
from analyses.models.field_uses import field_uses
from analyses.models.model_plan import Plan
from analyses.models.technique_frame import technique_models
from analyses.models.technique_plan import default_plan
from analyses.population.unit_frames import units_of
from analyses.renderers.figure_files import figure_writers
from analyses.renderers.html_page import page
from analyses.renderers.report_folder import results_record
from analyses.renderers.results_schema import results_schema
from registry.intake.workbook_write import write_workbook
from registry.quality.dictionary import data_dictionary
from registry.rules import check_rules
from synthetic_cohort import make_cohort

place, told = Path(sys.argv[2]), {}
fields = data_dictionary(field_uses()).set_index("field")
told["dictionary"] = fields.loc["skin_dose_mgy", ["table", "label", "unit", "used by"]].tolist()
told["uses of a volume"] = fields.loc["agent_ml", "used by"]
write_workbook(place / "book.xlsx")
with zipfile.ZipFile(place / "book.xlsx") as book:
    told["workbook"] = any("Peak skin dose (mGy)" in book.read(name).decode()
                           for name in book.namelist() if name.endswith(".xml"))

frozen = study_of_ten.frozen()
sessions = frozen.tables["sessions"].copy()
sessions.loc[[0, 1, 5], "skin_dose_mgy"] = [3500.0, 2000.0, 3000.0]
sessions.loc[[0, 1], "fluoroscopy_min"] = [60.0, 50.0]
study = open_study(replace(frozen, tables={**frozen.tables, "sessions": sessions}))
told["findings"] = [(f.rule, f.severity, f.key) for f in check_rules(study.tables)
                    if f.field == "skin_dose_mgy"]
told["kept"] = list(study.where("skin_dose_mgy > 2500", unit="session", why="high").sessions.index)
told["columns"] = study.dictionary().query("frame == 'sessions'").set_index("column")[
    "label"].reindex(["skin_dose_mgy", "fastest_rate_ml_min"]).tolist()

day = datetime.date(2020, 1, 1)
models = default_plan(day).models
told["asked"] = sorted({m.outcome for m in models if m.exposure.name == "fastest_rate_ml_min"})
few = [m for m in models if (m.outcome, m.exposure.name) == ("event", "fastest_rate_ml_min")]
plan = Plan("p", day, tuple(few))
# Ten patients carry no model: it is fitted on a small fictional service.
service = units_of(make_cohort(60, 3).tables)
work = replace(series_work(study.results, plan=plan),
               models=technique_models(service, study.manifest, plan=plan))
inside, outside = series_document(work), manuscript_document(work)
told["page"] = page(inside)
record = results_record(
    replace(work.results, estimates=(*work.results.estimates, *work.estimates)))
told["numbers"] = [[e[part] for part in ("id", "group", "events", "n", "value")]
                   for e in record["estimates"]
                   if "skin_dose" in e["id"] or "fastest" in e["id"]]
told["schema"] = [one["title"] for one in results_schema()["$defs"]["measure"]["oneOf"]]
told["measures"] = study.measures()["id"].tolist()
told["sentence"] = study.ask("procedure.high_skin_dose").sentence()
told["tables"] = {t.name: [[c.text for c in row] for row in t.rows] for t in outside.tables()}
told["outside"] = [section.title for section in outside.sections]
told["figure files"] = [name for name in figure_writers(outside) if "skin-dose" in name]
print(json.dumps(told))
'''


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What a copy of the packages with all six says of the ten."""
    copy, work = tmp_path_factory.mktemp("copy"), tmp_path_factory.mktemp("work")
    for package in PACKAGES:
        shutil.copytree(ROOT / package, copy / package,
                        ignore=shutil.ignore_patterns("__pycache__"))
    for edits in ADDITIONS.values():
        for edit in edits:
            edit.make(copy)
    (work / "ask.py").write_text(ASK, encoding="utf-8")
    environment = {**os.environ, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1",
                   "MPLBACKEND": "agg"}
    done = subprocess.run(
        [sys.executable, str(work / "ask.py"), str(ROOT / "tests"), str(work)],
        env=environment, capture_output=True, text=True, cwd=work)
    assert done.returncode == 0, done.stderr[-3000:]
    return json.loads(done.stdout)


def promised() -> dict[str, int]:
    """What is added → its files, as the table in DEVELOPERS.md says."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    return {what: int(files) for what, files in
            re.findall(r"^\| an? ([\w ]+) \| (\d) \|", text, re.MULTILINE)}


@pytest.mark.parametrize("what", ADDITIONS)
def test_it_takes_the_files_that_are_promised(what: str) -> None:
    assert len({edit.path for edit in ADDITIONS[what]}) == promised()[what] <= 2


def test_the_field_is_in_dictionary_workbook_and_the_studys_frames(told: dict[str, Any]) -> None:
    assert told["dictionary"][:3] == ["sessions", "Peak skin dose", "mGy"] and told["workbook"]
    assert told["columns"][0] == "Peak skin dose"
    assert told["kept"] == ["A-0001/1/1", "A-0003/1/1"]


def test_the_rule_asks_about_the_one_dose_without_a_time(told: dict[str, Any]) -> None:
    (rule, severity, key), = told["findings"]
    assert rule == "skin dose without a fluoroscopy time" and severity == "query"
    assert key == {"patient_id": "A-0003", "lesion_no": 1, "session_no": 1}


def test_the_measure_is_in_results_schema_dictionary_table_checklist_and_page(
    told: dict[str, Any],
) -> None:
    assert ["procedure.high_skin_dose", None, 2, 3] in [e[:4] for e in told["numbers"]]
    assert "procedure.high_skin_dose" in told["measures"]
    assert told["dictionary"][3] == (
        "Analyses: Peak skin dose of 3 Gy or more. Rules: skin dose without a fluoroscopy time.")
    assert "Peak skin dose of 3 Gy or more" in told["schema"]
    assert "peak skin dose of 3 Gy or more" in told["sentence"]
    row, = (row for row in told["tables"]["procedure-and-technique"]
            if row[0].startswith("Peak skin dose"))
    assert row[1].startswith("2/3")
    assert row[1].split(" †")[0] in told["page"]
    # The ten have no air kerma: without the measure the item is not in these data.
    item, = (row for row in told["tables"]["checklist-avm-endovascular"]
             if row[1].startswith("Radiation"))
    assert "Table" in item[2] and "not in these data" not in item[2]


def test_the_technique_variable_is_planned_fitted_and_shown(told: dict[str, Any]) -> None:
    assert told["asked"] == ["blood_loss_ml", "event", "obliterated", "operation_min",
                             "permanent_deficit"]
    assert told["columns"][1] == "Fastest rate" and "Fastest rate" in told["uses of a volume"]
    ratio, = (value for id, _, _, _, value in told["numbers"]
              if id == "model.event.fastest_rate_ml_min (per 0.1)")
    row, = told["tables"]["technique-side-by-side"]
    assert row[0] == "Fastest rate, per 0.1 mL/min faster" and f"{ratio:.2f} (" in row[3]
    assert row[0] in told["page"] and row[3] in told["page"]


def test_the_figure_is_on_the_page_and_among_the_files(told: dict[str, Any]) -> None:
    assert "Peak skin dose against fluoroscopy time, a mark a session" in told["page"]
    assert {Path(name).suffix for name in told["figure files"]} == {".svg"}


def test_the_section_is_in_both_documents_with_its_table(told: dict[str, Any]) -> None:
    assert told["outside"].index("Follow-up of the skin") < told["outside"].index("Discussion")
    assert "Doses that want a look at the skin" in told["page"]
    assert told["tables"]["skin-follow-up"][0][0] == "Air kerma of 5 Gy or more"
