"""Content and results in a notebook, through the same HTML writer as the documents.

`show(...)` as the last line of a cell; what it returns also reads as plain text. Nothing is
worked out here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from functools import cached_property
from importlib.resources import files
from itertools import count
from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

from analyses.content.blocks import (
    Caution,
    Cell,
    Document,
    Paragraph,
    Picture,
    Points,
    Section,
    Sentence,
    Table,
)
from analyses.content.plain_text import sections_text
from analyses.population.exclusions import exclusions_of, hash_words
from analyses.statistics.estimate import Estimate

if TYPE_CHECKING:

    from registry.freeze.freeze_reading import Freeze

TABLE_OR_FIGURE = re.compile(r"(<caption>|<figcaption>|<summary>|=\")(?:Table|Figure) S?\d+\. ")


@runtime_checkable
class HasContent(Protocol):
    """Something that shows itself as sections: a study, an answer."""

    def content(self) -> tuple[Section, ...]:
        """What is shown."""


class Shown:
    """Sections as a notebook shows them; as plain text anywhere else."""

    def __init__(self, sections: Iterable[Section]) -> None:
        self.sections = tuple(sections)

    @cached_property
    def html(self) -> str:
        """The sections as a piece of HTML with its own style."""
        from analyses.renderers.html_page import page

        whole = page(Document("shown", "", "", _distinct(self.sections), stays_inside=False))
        inner = whole[whole.index('<main id="main">'):whole.index("</main>")]
        inner = TABLE_OR_FIGURE.sub(r"\1", inner.partition(">")[2])
        css = (files("analyses.renderers") / "page" / "notebook.css").read_text(encoding="utf-8")
        return f'<div class="nidusbook"><style>{css}</style>{_without_empty(inner)}</div>'

    def _repr_html_(self) -> str:
        return self.html

    def __repr__(self) -> str:
        return sections_text(self.sections)


def show(*things: Any) -> Shown:
    """Show sections, blocks, estimates, a study, its answers or a freeze, in the order given.

    Raises TypeError for anything else.
    """
    return Shown(_sections(things))


def show_section(document: Document, title: str, *, otherwise: str = "") -> Shown:
    """One section of a document (and its parts), tables and figures numbered as in it.

    otherwise: what to say where this freeze gives no such section. Raises KeyError, naming the
    titles there are, where the document has none of that title and nothing is to be said.
    """
    from analyses.content.numbering import labels_of

    titles = [section.title for section in document.sections]
    if title not in titles and otherwise:
        return show(otherwise)
    if title not in titles:
        raise KeyError(f"{document.title} has no section {title!r}; it has {', '.join(titles)}.")
    first = titles.index(title)
    last = first + 1
    while last < len(titles) and document.sections[last].level > document.sections[first].level:
        last += 1
    labels = labels_of(document)
    return Shown(
        replace(section, blocks=tuple(_labelled(block, labels) for block in section.blocks))
        for section in document.sections[first:last])


def show_cases(estimate: Estimate) -> Shown:
    """The units that an estimate counted as events, and how many others it counted.

    They are study codes: they stay inside the service.
    """
    from analyses.renderers.counted_cases import title

    events = [row.key for row in estimate.counted if row.event]
    others = len(estimate.counted) - len(events)
    rows = tuple((Cell(key, heading=True),) for key in events)
    table = Table("cases", f"{title(estimate)}: {estimate.number_text()}",
                  ("Study code, then numbers of lesion, session …",), rows,
                  (f"{others:,} more were counted without the event. Study codes stay inside the "
                   "service.",))
    return show(table)


def freeze_section(freeze: Freeze) -> Section:
    """What a freeze is, in a few lines: of what day, for what, how many, who was left out."""
    from analyses.documents.always_said import left_out
    from analyses.documents.fictional import is_demo

    manifest = freeze.manifest
    rows = ", ".join(
        f"{len(freeze.tables[name]):,} {name.replace('_', '-')}"
        for name in ("patients", "lesions", "sessions", "injections", "complications",
                     "resections", "follow_ups"))
    blocks: list[Any] = [] if not is_demo(freeze.path) else [Caution(
        "A fictional service", (Sentence("Nothing here is real: these are the demo's data."),))]
    blocks += [Paragraph((
        Sentence(f"Freeze {manifest.get('purpose_in_words', 'of a purpose not recorded')}, "
                 f"written on {manifest.get('date', 'a day not recorded')}; "
                 f"{hash_words(manifest)}."),
        Sentence(f"{'This study' if exclusions_of(manifest) else 'It'} holds {rows}."),
        *left_out(manifest),
        Sentence("It lists study codes and stays inside the service."),
        *map(Sentence, freeze.opening),
    ))]
    return Section("The freeze", tuple(blocks))


def _sections(things: Iterable[Any]) -> list[Section]:
    found: list[Section] = []
    loose: list[Any] = []
    for thing in things:
        parts = _taken(thing)
        if parts and isinstance(parts[0], Section):
            found += [Section("", tuple(loose))] if loose else []
            found += parts
            loose = []
        else:
            loose += parts
    return [*found, Section("", tuple(loose))] if loose else found


def _taken(thing: Any) -> list[Any]:
    """Anything that can be shown, as sections or as blocks."""
    from analyses.measures.declared import about
    from registry.freeze.freeze_reading import Freeze

    if isinstance(thing, Freeze):
        return [freeze_section(thing)]
    if isinstance(thing, HasContent):
        return list(thing.content())
    if isinstance(thing, Estimate):
        sentence = Sentence(thing.sentence(about(thing.id).subject), (thing,))
        return [Paragraph((sentence,))]
    if isinstance(thing, (tuple, list)):
        return [part for one in thing for part in _taken(one)]
    if isinstance(thing, str):
        return [Paragraph((Sentence(thing),))]
    if isinstance(thing, (Section, Paragraph, Points, Caution, Table, Picture)) or (
            type(thing).__module__ == Section.__module__):
        return [thing]
    raise TypeError(f"No way to show a {type(thing).__name__} here.")


def _distinct(sections: Iterable[Section]) -> tuple[Section, ...]:
    """The same sections, each table and figure under a name of its own (one may come twice)."""
    number = count(1)
    return tuple(
        replace(section, blocks=tuple(
            replace(block, name=f"{block.name}-{next(number)}")
            if isinstance(block, (Table, Picture)) else block for block in section.blocks))
        for section in sections)


def _labelled(block: Any, labels: Any) -> Any:
    """A block with its number in front of its caption, and references written out."""
    from analyses.content.numbering import numbered

    if isinstance(block, (Table, Picture)):
        return replace(block, caption=f"{labels[block.name].text}. {block.caption}")
    if isinstance(block, Points):
        return replace(block, items=_numbered(block.items, labels, numbered))
    if isinstance(block, (Paragraph, Caution)):
        return replace(block, sentences=_numbered(block.sentences, labels, numbered))
    return block


def _numbered(sentences: tuple[Sentence, ...], labels: Any, numbered: Any) -> tuple[Sentence, ...]:
    return tuple(replace(s, text=numbered(s.text, labels)) for s in sentences)


def _without_empty(html: str) -> str:
    """Headings of loose blocks have no words: they are taken out."""
    return re.sub(r"<h(\d)></h\1>", "", html)
