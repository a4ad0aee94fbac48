"""What a study is, and its main measures: what it shows of itself."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from analyses.content.blocks import Block, Cell, Section, Table, plain
from analyses.documents.notebook_show import freeze_section
from analyses.documents.tables.measure_tables import number_cell
from analyses.measures.declared import measure, shown_at
from analyses.measures.measure import Share
from analyses.measures.measure_list import measure_list
from analyses.measures.places import Place
from analyses.population.unit_frames import Units
from analyses.study.frame_columns import UNIT_NAMES
from analyses.study.study_frames import StudyFrame
from registry.freeze.freeze_reading import Freeze


def overview(
    units: Units, frames: Mapping[str, StudyFrame], path: Path,
) -> tuple[Section, ...]:
    """The freeze with whom the study left out, what is in the frames, and the main measures."""
    frozen = freeze_section(Freeze(dict(units.tables), dict(units.manifest), path))
    rows = tuple((Cell(f"study.{unit}s", heading=True), Cell(f"{len(frames[unit].frame):,}"),
                  Cell(f"{len(frames[unit].columns):,}")) for unit in UNIT_NAMES)
    held = Table("frames", "Frames", ("Frame", "Rows", "Columns"), rows)
    blocks: tuple[Block, ...] = (held, _main(units), plain(
        "All measures: study.measures(); all columns: study.dictionary(); one answer: "
        "study.ask(\"complication.any\", unit=\"session\")."))
    return (frozen, Section("The study", blocks))


def _main(units: Units) -> Table:
    rows = []
    for id, unit in shown_at(Place.COMPARED):
        share = measure(id)
        assert isinstance(share, Share)
        overall = share.of(share.frame(units, unit), unit)[0]
        rows.append((Cell(share.label, heading=True), Cell(f"per {unit}"), number_cell(overall),
                     Cell("; ".join(overall.notes()))))
    return Table("main-measures", "Main measures",
                 ("Measure", "Unit", "Events/n (%, 95 % interval)", "Notes"), tuple(rows))


def dictionary_of(frames: Mapping[str, StudyFrame]) -> pd.DataFrame:
    """Every column of every frame: frame, column, type, label, definition, unit, source."""
    return pd.DataFrame([
        {"frame": f"{unit}s", "column": name, "type": column.type, "label": column.label,
         "definition": column.definition, "unit": column.unit, "source": column.source}
        for unit in UNIT_NAMES for name, column in frames[unit].columns.items()])


def measures_of() -> pd.DataFrame:
    """Every measure that can be asked: id, label, definition, units (one row a measure)."""
    return measure_list()[["id", "label", "definition", "units"]].astype("object")
