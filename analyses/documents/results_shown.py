"""What the results of a freeze show of themselves in a notebook or a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyses.content.blocks import Paragraph, Section, Sentence, plain
from analyses.measures.declared import shown_at
from analyses.measures.places import Place
from analyses.words.estimate_text import plural

if TYPE_CHECKING:
    from analyses.measures.results import Results

COUNTED = (("count.patients", "patient"), ("count.lesions", "lesion"),
           ("count.sessions", "session"), ("count.injections", "injection"))


def overview(results: Results) -> Section:
    """How many are counted, the main measures with units and intervals, and where the rest is."""
    from analyses.documents.tables.measure_tables import measures_table

    held = {(e.id, e.unit) for e in results.estimates if not e.group}
    counts = [results.one(*pair) for pair in COUNTED if pair in held]
    told = ", ".join(f"{e.n or 0:,} {e.unit if e.n == 1 else plural(e.unit)}" for e in counts)
    main = [(id, unit) for id, _ in shown_at(Place.COMPARED) for unit in results.units_of(id)
            if (id, unit) in held]
    stems = dict.fromkeys(e.id.split(".")[0] for e in results.estimates)
    hash_ = str(results.manifest.get("freeze_hash", "without a hash"))[:12]
    return Section("Results", (
        Paragraph((Sentence(f"Freeze {hash_}: {told or 'nobody counted'}.", tuple(counts)),)),
        measures_table(results, "main-measures", "Main measures", main),
        plain(f"{len(results.estimates):,} estimates in all: {', '.join(stems)}.",
              "One of them: results.one(id, unit, group); every group of one: results.by(id, unit, "
              "column)."),
    ))
