"""A freeze as a small table, for a notebook or a terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

Frozen = Mapping[str, "pd.DataFrame"]

def facts(
    tables: Frozen, manifest: Mapping[str, Any], opening: Sequence[str] = (),
) -> list[tuple[str, str]]:
    """What a freeze of these tables is, as pairs of a heading and its words.

    `opening`: sentences on how it was read (`Freeze.opening`).
    """
    from registry.schema import TABLES

    rows = ", ".join(f"{len(tables[name]):,} {name.replace('_', '-')}"
                     for name in TABLES if len(tables[name]))
    return [
        ("Made", str(manifest.get("purpose_in_words", manifest["purpose"]))),
        ("Day", str(manifest["date"])), ("Hash", str(manifest["freeze_hash"])[:12]),
        ("Holds", rows), ("Left out", _left_out(manifest)),
        ("Stays", "inside the service: it lists study codes"),
        *(("Read", sentence) for sentence in opening),
    ]


def html(tables: Frozen, manifest: Mapping[str, Any], opening: Sequence[str] = ()) -> str:
    """The facts as a piece of HTML."""
    left = "text-align: left"
    rows = "".join(
        f'<tr><th scope="row" style="{left}">{escape(name)}</th>'
        f'<td style="{left}">{escape(words)}</td></tr>'
        for name, words in facts(tables, manifest, opening))
    return (f'<table><caption style="{left}"><b>Freeze</b></caption>'
            f"<tbody>{rows}</tbody></table>")


def text(tables: Frozen, manifest: Mapping[str, Any], opening: Sequence[str] = ()) -> str:
    """The facts as lines."""
    return "\n".join(f"{name}: {words}" for name, words in facts(tables, manifest, opening))


def _left_out(manifest: Mapping[str, Any]) -> str:
    out = manifest.get("left_out", {})
    errors = int(out.get("errors", {}).get("patients", 0))
    use = sum(int(n) for n in out.get("research_use", {}).get("patients", {}).values())
    return (f"{errors} patients because of errors, {use} for want of agreement to research use")
