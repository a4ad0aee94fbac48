"""A measure is one declaration: nothing is declared twice, forgotten, or kept in another list."""

from __future__ import annotations

import ast
import pkgutil
import re
from importlib import import_module
from pathlib import Path

import pytest
from small_cohort import small_tables

import analyses.measures
from analyses.documents.checklists.filled import NAMES, checklist, key_of_item
from analyses.measures.declared import (
    TOPICS,
    about,
    all_measures,
    declared_in,
    measure,
    measure_behind,
    shown_at,
)
from analyses.measures.gate import Known, gate
from analyses.measures.measure import Measure, Share, SmallCells
from analyses.measures.places import Place
from analyses.measures.results import work_out
from analyses.models.field_uses import field_uses
from analyses.population.unit_frames import GROUPED_FROM, GROUPINGS, units_of
from registry.schema import TABLES

ROOT = Path(__file__).parents[2]
MEASURES = list(all_measures().values())


def test_every_module_that_declares_a_measure_is_a_topic() -> None:
    named = {module.__name__ for module in TOPICS.values()}
    for found in pkgutil.iter_modules(analyses.measures.__path__, "analyses.measures."):
        module = import_module(found.name)
        own = [one for one in declared_in(module) if _is_of(one, found.name)]
        assert not own or found.name in named, found.name


def _is_of(one: Measure, module: str) -> bool:
    text = Path(import_module(module).__file__ or "").read_text(encoding="utf-8")
    return bool(re.search(r"= (?:Share|Spread|Worked)\(", text)) and one.id in all_measures()


def test_every_measure_is_worked_out_and_every_number_has_its_words() -> None:
    results = work_out(units_of(small_tables()))
    given = {e.id for e in results.estimates}
    silent = [one.id for one in MEASURES if one.in_results and one.id not in given
              and not any(id.startswith(f"{one.id}.") for id in given)]
    # Of ten patients nobody was left out of the freeze, and no service kept a log.
    assert set(silent) <= {"flow.left_out", "flow.not_treated", "flow.not_embolized",
                           "flow.dropped", "flow.excluded", "flow.kept", "count.suite_log",
                           "time.confirmed_obliteration.difference",
                           "time.haemorrhage_free_restricted_mean.difference"}
    assert [id for id in given if about(id).label == id] == []


@pytest.mark.parametrize("one", MEASURES, ids=lambda one: one.id)
def test_a_measure_says_what_it_rests_on_and_what_it_is_checked_by(one: Measure) -> None:
    for use in one.uses:
        table, field = use.split(".")
        assert field in TABLES[table].by_name, use
    assert one.checked_against
    assert one.label and one.subject and one.counted and one.among


def test_a_measure_stands_where_its_own_declaration_says() -> None:
    assert ("complication.any", "session") in shown_at(Place.HARM_TABLE)
    assert ("complication.any", "lesion") not in shown_at(Place.HARM_TABLE)
    assert {place for one in MEASURES for place in one.shown_in} == set(Place)


def test_reporting_items_are_answered_by_measures_that_name_them() -> None:
    items = {key_of_item(name, item) for name in NAMES for item in checklist(name).items}
    named = {item for one in MEASURES for item in one.answers}
    assert named and named <= items


def test_no_other_module_holds_the_id_of_a_measure_as_text() -> None:
    """An id stands in its declaration, in tests and in notebooks; documents name places."""
    strange = []
    for path in sorted((ROOT / "analyses").rglob("*.py")):
        if path.parent.name == "measures":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) \
                    and node.value in all_measures():
                strange.append(f"{path.relative_to(ROOT)}: {node.value}")
    assert strange == []


def test_characteristics_are_held_back_and_outcomes_never() -> None:
    hidden = {one.id.split(".")[0] for one in MEASURES if one.small_cells is SmallCells.HIDDEN}
    assert hidden == {"baseline"}
    found = measure_behind("baseline.sex.female")
    assert found is not None and found.id == "baseline.sex"


def test_an_unknown_id_names_the_nearest() -> None:
    with pytest.raises(KeyError, match=r"complication\.any"):
        measure("complication.anny")


def test_the_gate_gives_no_point_where_the_unknown_lie_among_events() -> None:
    import pandas as pd

    known, unknown = (
        pd.DataFrame({"event": pd.array([True, False, last], dtype="boolean")})
        for last in (False, pd.NA))
    assert gate(known, "event", Known.ONLY_WITH_AN_EVENT)
    assert gate(unknown, "event", Known.EITHER_WAY).may_point
    refused = gate(unknown, "event", Known.ONLY_WITH_AN_EVENT)
    assert not refused and refused.unknown == 1 and "no point" in refused.why
    assert not gate(unknown, "event", Known.ONLY_WITHOUT_AN_EVENT)


def test_every_share_goes_through_the_gate() -> None:
    """Symptoms not recorded of one event: bounds in place of a flattering point."""
    tables = small_tables()
    events = tables["complications"].copy()
    events["symptomatic"] = pd_na(events["symptomatic"])
    found = work_out(units_of({**tables, "complications": events}))
    shares = [one for one in MEASURES if isinstance(one, Share)
              and "complications.symptomatic" in one.uses and one.by]
    assert shares
    for one in shares:
        e = found.one(one.id, "session")
        assert e.value is None and e.kind == "bounds"
        # A deficit or death makes an event symptomatic, recorded or not.
        assert (e.events or 0) > 0 and "no point" in e.as_text()


def pd_na(column):
    """The column with nothing recorded."""
    import pandas as pd

    return pd.Series(pd.NA, index=column.index, dtype="boolean")


@pytest.mark.parametrize(("field", "used"), [
    ("haemorrhages.cause", "Haemorrhage"), ("sessions.intent", "groups by Intent"),
    ("patients.research_use", "Left out of the freeze"),
    ("lesions.haemorrhage_before", "groups by Ruptured"), ("injections.agent", "groups by Agent"),
])
def test_a_field_that_groups_or_leaves_out_names_what_it_is_used_by(field: str, used: str) -> None:
    assert used in field_uses()[field]


def test_every_grouping_says_the_fields_it_is_made_from() -> None:
    assert set(GROUPED_FROM) == set(GROUPINGS)
    fields = {f"{name}.{field}" for name, table in TABLES.items() for field in table.by_name}
    assert {field for made in GROUPED_FROM.values() for field in made} <= fields
