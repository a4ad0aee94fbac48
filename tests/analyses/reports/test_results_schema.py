"""`results.json` says which version of its form it has, and its schema refuses what is broken."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import meeting_reports
import pytest
from results_checked import checked_file, faults_of
from study_of_ten import study_of_ten

from analyses.measures.declared import all_measures
from analyses.renderers.report_folder import results_record
from analyses.renderers.results_schema import (
    ENTRY_WORDS,
    RESULTS_VERSION,
    results_schema,
)
from analyses.statistics.estimate import RECORD_KEYS, Estimate


@pytest.fixture(scope="module")
def record() -> dict[str, Any]:
    """The results of the ten without one of them, as they are written."""
    study = study_of_ten().where("age_y >= 18", why="adults")
    return json.loads(json.dumps(results_record(study.results)))


def test_every_number_of_the_ten_fits_with_what_was_left_out(record: dict[str, Any]) -> None:
    assert faults_of(record) == []
    assert record["results_version"] == RESULTS_VERSION and record["study"]["exclusions"]


def test_the_case_series_fits(series: Any) -> None:
    assert faults_of(json.loads(series.results_json)) == []


@pytest.mark.parametrize("folder", [
    meeting_reports.conference_folder, meeting_reports.quality_folder])
def test_the_files_of_the_meetings_fit_the_schema_beside_them(folder: Any) -> None:
    found: Path = folder()
    assert checked_file(found / "results.json")["estimates"]
    inside = found / "by-operator-stays-inside.json"
    if inside.exists():
        held = json.loads(inside.read_text(encoding="utf-8"))
        assert faults_of(held) == [] and held["stays_inside"]


def test_every_part_of_an_entry_and_every_measure_is_described() -> None:
    schema = results_schema()["$defs"]
    entry = schema["estimate"]
    assert tuple(entry["properties"]) == tuple(ENTRY_WORDS) == RECORD_KEYS == tuple(
        entry["required"])
    told = {one["const"]: one for one in schema["measure"]["oneOf"]}
    assert set(told) == {one.id for one in all_measures().values() if one.in_results}
    assert all(one["title"] and one["description"] for one in told.values())
    assert "12 significant digits" in results_schema()["description"]


ENTRY_OF_2_0 = {
    "id": ["string"], "kind": ["string"], "unit": ["string"], "group": ["object", "null"],
    "events": ["integer", "null"], "n": ["integer", "null"], "denominator": ["number", "null"],
    "per": ["number", "null"], "clusters": ["integer", "null"], "value": ["number", "null"],
    "low": ["number", "null"], "high": ["number", "null"], "level": ["number"],
    "method": ["string"], "flags": ["array"],
}
TOP_OF_2_1 = ["results_version", "stays_inside", "freeze", "study", "small_cells", "estimates"]


def test_the_form_is_that_of_its_version() -> None:
    """Where this fails, raise `RESULTS_VERSION`, and write down the new form beside the old."""
    schema = results_schema()
    held = schema["$defs"]["estimate"]["properties"]
    types = {name: [one["type"]] if isinstance(one["type"], str) else one["type"]
             for name, one in held.items()}
    assert (RESULTS_VERSION, list(schema["properties"]), types) == (
        "2.1", TOP_OF_2_1, ENTRY_OF_2_0)


def share(record: dict[str, Any]) -> dict[str, Any]:
    return next(e for e in record["estimates"] if e["kind"] == "proportion" and e["value"])


def without_a_flag(record: dict[str, Any]) -> None:
    share(record).update(value=None, flags=[])


def with_another_unit(record: dict[str, Any]) -> None:
    next(e for e in record["estimates"] if e["id"] == "complication.any")["unit"] = "operation"


def with_text_for_a_number(record: dict[str, Any]) -> None:
    share(record)["value"] = "7.7 %"


def without_its_counts(record: dict[str, Any]) -> None:
    share(record)["n"] = None


def in_per_cent(record: dict[str, Any]) -> None:
    share(record).update(value=25.6, low=12.7, high=42.8)


def with_a_part_more(record: dict[str, Any]) -> None:
    share(record)["p"] = 0.04


def without_its_level(record: dict[str, Any]) -> None:
    del share(record)["level"]


def of_another_version(record: dict[str, Any]) -> None:
    record["results_version"] = "1.0"


def without_a_version(record: dict[str, Any]) -> None:
    del record["results_version"]


def without_a_reason(record: dict[str, Any]) -> None:
    del record["study"]["exclusions"][0]["why"]


@pytest.mark.parametrize("broken", [
    without_a_flag, with_another_unit, with_text_for_a_number, without_its_counts, in_per_cent,
    with_a_part_more, without_its_level, of_another_version, without_a_version, without_a_reason,
], ids=lambda broken: broken.__name__)
def test_a_broken_one_is_refused(record: dict[str, Any], broken: Any) -> None:
    found = copy.deepcopy(record)
    broken(found)
    assert faults_of(found)


def test_numbers_have_the_digits_that_are_said() -> None:
    e = Estimate(id="x.y", kind="rate", value=1 / 3, low=0.0, high=float("inf"))
    assert e.as_record()["value"] == 0.333333333333 and e.as_record()["high"] is None
