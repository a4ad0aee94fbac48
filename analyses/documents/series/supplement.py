"""The supplement: every result by group, sensitivity analyses, every event, every model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from analyses.content.blocks import Block, Picture, Section, Table, plain
from analyses.documents.series.event_sections import complication_detail_section
from analyses.documents.series.outcomes_sections import (
    function_section,
    procedures_section,
    resection_section,
)
from analyses.documents.series.questions_sections import comparisons_section, missing_section
from analyses.documents.series.time_sections import haemorrhage_section, over_time_section
from analyses.documents.tables.measure_tables import grouped_table, measures_table
from analyses.measures.declared import shown_at
from analyses.measures.groups_pooled import GroupsPooled
from analyses.measures.places import Place
from analyses.measures.results import Results

COLUMNS = ("sm_grade", "ponce_class", "intent", "agent", "period", "ruptured")
COLUMN_WORDS = {
    "sm_grade": "Spetzler–Martin grade", "ponce_class": "Spetzler–Ponce class",
    "agent": "agent group", "period": "calendar year", "ruptured": "rupture before treatment"}
NOT_AGAIN = ("function-by-rupture",)
EVERY_GROUP = ", and every other group,"


def supplement_sections(
    results: Results, main: Sequence[Section], models: Sequence[Section], events: Table,
    pooled: Sequence[GroupsPooled] = (),
) -> list[Section]:
    """Every part of the supplement that the main text does not show already.

    main: the sections of the main text; models: those of the technique models; events: the
    listing of every event, with or without study codes; pooled: comparisons of several groups.
    """
    parts = [
        Section("Supplement", (plain(
            f"Everything here and in the main text{'' if results.hidden else EVERY_GROUP} stands "
            "in results.json with its numerator, denominator, interval and method."),)),
        Section("Obliteration by group", _by_group(results, "obliteration", "Obliteration",
                                                   Place.CLOSURE_BY_GROUP),
                level=2, wide=True),
        Section("Complications by group", (
            measures_table(results, "complications", "Complications, by unit of analysis",
                           shown_at(Place.HARM_ALL_UNITS)),
            *_by_group(results, "complications", "Complications", Place.HARM_BY_GROUP)),
                level=2, wide=True),
        Section("Function by group", _by_group(
            results, "function", "Function", Place.FUNCTION_BY_GROUP),
                level=2, wide=True),
        *(replace(section, level=2, wide=True) for section in (
            complication_detail_section(results, events), haemorrhage_section(results),
            over_time_section(results), procedures_section(results, results.limits),
            resection_section(results), function_section(results),
            *(() if results.hidden else (comparisons_section(results, pooled),)),
            missing_section(results))),
        *(replace(section, level=2, wide=True) for section in models),
    ]
    used = {b.name for section in main for b in section.blocks if isinstance(b, (Table, Picture))}
    found = []
    for section in parts:
        kept = tuple(b for b in section.blocks if _first_time(b, used))
        used |= {b.name for b in kept if isinstance(b, (Table, Picture))}
        found.append(replace(section, blocks=kept, supplement=True))
    return found


def _first_time(block: Block, used: set[str]) -> bool:
    return not isinstance(block, (Table, Picture)) or (
        block.name not in used and block.name not in NOT_AGAIN)


def _by_group(
    results: Results, name: str, caption: str, place: Place,
) -> tuple[Table, ...]:
    return tuple(
        grouped_table(results, f"{name}-by-{column}",
                      f"{caption} by {COLUMN_WORDS.get(column, column)}", shown_at(place), column,
                      folded=True)
        for column in COLUMNS)
