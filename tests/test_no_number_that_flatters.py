"""Untidy data through the front door: workbook, intake, freeze, results and document.

Each was a wrong statement of an earlier version, wrong in the direction that flatters. Nothing
here is a number of the program: the counts come from the rows that were written.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analyses.documents.series.main_tables import harm_table
from analyses.documents.series.series_report import series_document, series_work
from analyses.measures.results import Results, work_out
from analyses.population.unit_frames import units_of
from registry import open_registry, read_freeze
from registry.freeze.freeze_error import FreezeError
from registry.freeze.freeze_writing import make_freeze
from registry.intake.workbook_write import fill_workbook
from registry.old_sheets.front_door import take_in_file
from synthetic_cohort import make_cohort

Tables = dict[str, pd.DataFrame]
SERVICE = make_cohort(60, 7).tables
COMBINED = "combined.permanent_deficit_or_death"


def through_the_door(folder: Path, tables: Tables, **also: Any) -> Results:
    """The tables as a workbook, taken in, frozen for research, read again and worked out."""
    book = folder / "ours.xlsx"
    fill_workbook(book, tables)
    store = open_registry(folder / "ours.sqlite")
    take_in_file(book, store, by="TEST")
    frozen = read_freeze(make_freeze(store, folder / "freeze", **also))
    return work_out(units_of(frozen.tables, manifest=frozen.manifest))


def changed(table: str, change: Callable[[pd.DataFrame], pd.DataFrame]) -> Tables:
    """The service with one table changed, its types kept."""
    before = SERVICE[table]
    return {**SERVICE, table: change(before.copy()).astype(before.dtypes.to_dict())}


def text_of(results: Results) -> str:
    """The whole case series as text."""
    return repr(series_document(series_work(results)))


@pytest.fixture(scope="module")
def old_sheet(tmp_path_factory: pytest.TempPathFactory) -> Results:
    """No symptoms, no mechanism and no injection were written of any event."""
    def bare(events: pd.DataFrame) -> pd.DataFrame:
        return events.assign(symptomatic=pd.NA, mechanism=pd.NA, injection_no=pd.NA)

    return through_the_door(tmp_path_factory.mktemp("old"), changed("complications", bare))


class TestAnOldSheetWithoutDetails:
    """The units left out would be exactly those with an event: bounds in place of a point."""

    @pytest.mark.parametrize(("id", "unit"), [
        ("complication.symptomatic", "session"),
        ("complication.haemorrhagic_without_navigation", "session"),
        ("complication.any", "injection"),
    ])
    def test_there_is_no_point(self, old_sheet: Results, id: str, unit: str) -> None:
        e = old_sheet.one(id, unit)
        assert e.kind == "bounds" and e.value is None
        fewest, most = (case.events for case in e.beside[:2])
        assert (fewest or 0) < (most or 0) <= (e.beside[0].n or 0)

    def test_a_deficit_or_death_makes_an_event_symptomatic(self, old_sheet: Results) -> None:
        events = old_sheet.units.events
        grave = events["deficit"].isin(["transient", "permanent"]) | events["death"]
        sessions = events.loc[grave.fillna(False), "session_key"].nunique()
        assert sessions and old_sheet.one("complication.symptomatic", "session").events == sessions

    def test_nothing_is_compared_placed_or_said_not_to_be_excluded(
        self, old_sheet: Results
    ) -> None:
        said = text_of(old_sheet)
        assert not any(e.id == "difference.complication.symptomatic" for e in old_sheet.estimates)
        about = [part for part in said.split("'") if "ymptomatic" in part]
        assert about and not any("cannot be excluded" in part for part in about)


def test_a_deficit_not_yet_known_gives_bounds(tmp_path: Path) -> None:
    """Known outcomes alone would blacken, weights learnt from them even more."""
    def open_(operations: pd.DataFrame) -> pd.DataFrame:
        return operations.assign(deficit=operations["deficit"].where(
            operations["deficit"].ne("none"), "not yet known"))

    results = through_the_door(tmp_path, changed("resections", open_))
    e = results.one(COMBINED, "patient")
    assert e.kind == "bounds" and not any(
        f.id in (f"missing.{COMBINED}.weighted", f"missing.{COMBINED}.complete")
        for f in results.estimates)
    assert (e.beside[0].n or 0) > (e.n or 0)


def test_the_lost_are_not_counted_as_unharmed(tmp_path: Path) -> None:
    """Nobody followed up: who had no event is unknown, and the summary says how many are known."""
    tables = {**SERVICE, "follow_ups": SERVICE["follow_ups"].iloc[:0]}
    events = SERVICE["complications"]
    tables["complications"] = events.assign(mrs_30d=pd.NA, mrs_90d=pd.NA).astype(
        events.dtypes.to_dict())
    results = through_the_door(tmp_path, tables)
    e, everyone = results.one(COMBINED, "patient"), len(results.units.patients)
    assert (e.n or 0) < everyone / 2
    bounds = next(part for part in e.beside if part.id.endswith(".bounds"))
    assert bounds.beside[0].n == everyone and any("left out" in note for note in e.notes())
    # Of more than 5 % nothing is known: what holds whatever it was stands beside the number.
    assert f"; of all {everyone}: {e.events} to " in repr(harm_table(results))


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A registry in which every patient with a complication waits to be mended."""
    folder = tmp_path_factory.mktemp("waits")
    harmed = set(SERVICE["complications"]["patient_id"])

    # A session before the presentation is an error: it keeps the patient out.
    def wrong(sessions: pd.DataFrame) -> pd.DataFrame:
        early = sessions["patient_id"].isin(harmed)
        return sessions.assign(session_date=sessions["session_date"].mask(
            early, pd.Timestamp("1995-01-01")))

    fill_workbook(folder / "ours.xlsx", changed("sessions", wrong))
    store = open_registry(folder / "ours.sqlite")
    take_in_file(folder / "ours.xlsx", store, by="TEST")
    return store


class TestWhoWaits:
    """A registry half mended: those with a complication are the ones that wait."""

    def test_a_freeze_for_research_is_refused(self, store: Any, tmp_path: Path) -> None:
        waiting = SERVICE["complications"]["patient_id"].nunique()
        with pytest.raises(FreezeError, match=f"{waiting} patients with a death or complication"):
            make_freeze(store, tmp_path / "freeze")
        assert not (tmp_path / "freeze").exists()

    def test_asked_for_by_name_every_document_begins_with_it(
        self, store: Any, tmp_path: Path
    ) -> None:
        frozen = read_freeze(make_freeze(store, tmp_path / "freeze", although_harm_waits=True))
        results = work_out(units_of(frozen.tables, manifest=frozen.manifest))
        summary = series_document(series_work(results)).sections[0]
        assert summary.title == "Summary"
        first = repr(summary.blocks[0])
        waiting = SERVICE["complications"]["patient_id"].nunique()
        assert "too low" in first and f"{waiting} of them" in first
