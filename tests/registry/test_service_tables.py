"""Reviews, decisions, plans, signals and contacts: what the service itself remembers."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from registry_cases import clean_tables
from service_rows import ROWS

from registry.freeze.freeze_reading import read_freeze
from registry.freeze.freeze_writing import make_freeze
from registry.intake.take_in import Outcome, take_in_form
from registry.privacy.free_text import points_to_person
from registry.schema import TABLES
from registry.store.registry import Registry, open_registry


def csv(folder: Path, rows: dict[str, list[dict[str, Any]]]) -> Path:
    """A CSV folder of these tables, one file a table."""
    folder.mkdir(exist_ok=True)
    for name, table in rows.items():
        pd.DataFrame(table).to_csv(folder / f"{name}.csv", index=False)
    return folder


def changed(table: str, **cells: Any) -> dict[str, list[dict[str, Any]]]:
    """One of the tables alone, with cells of its first row changed; None leaves the cell blank."""
    first, *others = ROWS[table]
    return {table: [{**first, **cells}, *others]}


@pytest.fixture(scope="module")
def remembered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The clean service, and all that it remembers, taken in from two sources."""
    place = tmp_path_factory.mktemp("remembered")
    registry = open_registry(place / "registry.sqlite")
    folder = csv(place / "patients", {})
    for name, frame in clean_tables().items():
        if len(frame):
            frame.to_csv(folder / f"{name}.csv", index=False, date_format="%Y-%m-%d")
    assert take_in_form(folder, registry).exit_code == 0
    outcome = take_in_form(csv(place / "memory", ROWS), registry)
    assert outcome.exit_code == 0, outcome.summary
    return place / "registry.sqlite"


@pytest.fixture
def registry(remembered: Path, tmp_path: Path) -> Registry:
    """A copy of it, to be changed."""
    return open_registry(shutil.copy(remembered, tmp_path / "registry.sqlite"))


def take(registry: Registry, tmp_path: Path, rows: Any, *, replace: bool = False) -> Outcome:
    """Take these tables alone in, as a source of their own."""
    return take_in_form(csv(tmp_path / "other", rows), registry, replace=replace)


def test_every_table_alone_comes_in_and_is_in_the_trail(registry):
    tables, trail = registry.tables(), registry.audit()
    for name, rows in ROWS.items():
        assert len(tables[name]) == len(rows), name
        assert (trail["table"] == name).any()
    assert registry.verify_audit() == []


def test_a_first_source_still_has_to_bring_patients(tmp_path):
    outcome = take_in_form(csv(tmp_path / "only", changed("actions")),
                           open_registry(tmp_path / "new.sqlite"))
    assert outcome.exit_code == 2 and "patients.csv" in outcome.summary


@pytest.mark.parametrize("replace", [False, True])
def test_what_was_declared_or_found_is_never_changed(registry, tmp_path, replace):
    before = registry.tables()
    rows = {**changed("signals", direction="better", chart_value=3.0),
            **changed("monitoring_plans", baseline_to="2021-12-31"),
            **changed("practice_changes", changed_on="2021-08-01")}
    outcome = take(registry, tmp_path, rows, replace=replace)
    assert outcome.exit_code == 1 and outcome.summary.count("never changed") == 3
    for table in rows:
        pd.testing.assert_frame_equal(registry.tables()[table], before[table])


def test_a_signal_is_not_removed_with_its_row(registry, tmp_path):
    second = {**ROWS["signals"][0], "signal_no": 2, "found_on": "2022-01-10"}
    assert take(registry, tmp_path, {"signals": [second]}, replace=True).exit_code == 0
    assert registry.tables()["signals"]["signal_no"].tolist() == [1, 2]


def test_what_was_done_about_a_signal_is_filled_in_once(registry, tmp_path):
    done = changed("signals", done="Every case since was read again.", done_on="2021-12-10")
    assert take(registry, tmp_path, done).exit_code == 0
    signal = registry.tables()["signals"].iloc[0]
    assert signal["done"] == "Every case since was read again."
    # an older copy, in which nothing had been done yet, takes nothing back
    assert take(registry, tmp_path, changed("signals", done=None), replace=True).exit_code == 0
    assert registry.tables()["signals"].iloc[0]["done_on"] == pd.Timestamp("2021-12-10")
    other = changed("signals", done="Nothing at all.", done_on="2021-12-10")
    assert take(registry, tmp_path, other, replace=True).exit_code == 1


def test_a_signal_waits_with_its_plan(registry, tmp_path):
    plan = {**ROWS["monitoring_plans"][0], "plan_code": "DEATH", "chart": "a pie"}
    signal = {**ROWS["signals"][0], "plan_code": "DEATH"}
    outcome = take(registry, tmp_path, {"monitoring_plans": [plan], "signals": [signal]})
    assert outcome.exit_code == 1 and len(registry.tables()["signals"]) == 1
    assert set(registry.held()["table"]) == {"monitoring_plans", "signals"}


LEADING = {
    "Seen by Dr Meyer on the ward.": "a person's name", "Number 4471203 again.": "a long number",
    "As in L-0045.": "a study code", "Bled on 12 March.": "a date",
    "Closed on 2021-03-09.": "a date",
}


def test_words_that_lead_to_somebody_are_refused_and_not_repeated(registry, tmp_path):
    outcome = take(registry, tmp_path, {"actions": [
        {**ROWS["actions"][0], "action_no": number, "action": words}
        for number, words in enumerate(LEADING, start=2)]})
    assert outcome.exit_code == 1 and len(registry.tables()["actions"]) == 1
    for words, kind in LEADING.items():
        assert kind in outcome.summary and words not in outcome.summary
        assert words not in str(registry.held()["values"].tolist())


@pytest.mark.parametrize("words", [
    "Agree on a reflux limit of 2 mm; at most 30 s of pushing.", "Grade III by Spetzler and Martin",
    "Ratio 5/10 in three of 12 cases, 0.16 mL/min.", "EVOH 6 % may be thinner.",
])
def test_words_of_the_trade_are_taken(words):
    assert points_to_person(words) is None


def test_free_text_is_in_a_freeze_for_quality_alone(registry, tmp_path):
    frozen = {purpose: read_freeze(make_freeze(registry, tmp_path / purpose, purpose=purpose))
              for purpose in ("quality", "research")}
    free = [(name, field.name) for name, spec in TABLES.items() for field in spec.fields
            if field.free]
    assert len(free) >= 7
    for name, field in free:
        assert frozen["research"].tables[name][field].isna().all()
    for name, rows in ROWS.items():
        for freeze in frozen.values():
            assert len(freeze.tables[name]) == len(rows)
    assert frozen["quality"].tables["actions"]["action"].tolist() == ["Agree on a reflux limit."]


def test_an_action_stays_when_its_case_does_not_enter(registry, tmp_path):
    other = clean_tables()["patients"].assign(
        patient_id="N-0002", research_use="refused", presentation_date="2021-03-10")
    rows = other.to_dict("records")
    assert take(registry, tmp_path, {"patients": rows}).exit_code == 0
    action = {**ROWS["actions"][0], "action_no": 2, "from_patient": "N-0002", "from_review": None}
    assert take_in_form(csv(tmp_path / "third", {"actions": [action]}), registry).exit_code == 0
    actions = read_freeze(make_freeze(registry, tmp_path / "f")).tables["actions"]
    assert actions["from_patient"].astype("object").tolist()[0] == "N-0001"
    assert actions["from_patient"].isna().tolist() == [False, True]


def test_a_review_of_no_event_keeps_its_patient_out_at_the_door(registry, tmp_path):
    outcome = take(registry, tmp_path, changed("event_reviews", event_no=7))
    assert outcome.exit_code == 1 and "complication 7 of lesion 1" in outcome.summary
    assert len(registry.tables()["event_reviews"]) == 2
