"""A document as one self-contained HTML page, with the cases behind each number."""

from __future__ import annotations

import json
import re
from functools import singledispatchmethod
from html import escape
from importlib.resources import files

from analyses.content.blocks import (
    Caution,
    Cell,
    Document,
    Paragraph,
    Picture,
    PicturePlaces,
    Points,
    Sentence,
    Table,
    Verbatim,
)
from analyses.content.marks import lettered
from analyses.content.numbering import Labels, labels_of, pieces
from analyses.content.unbroken import unbroken
from analyses.renderers.counted_cases import embedded
from analyses.renderers.drawn_figure import figure_bytes
from analyses.statistics.estimate import Estimate
from analyses.words.numerals import whole


def page(document: Document) -> str:
    """The whole page as text. Everything it needs is inside it."""
    import jinja2
    from markupsafe import Markup

    folder = files("analyses.renderers") / "page"
    writer = _Writer(document.stays_inside, labels_of(document))
    sections = [
        {"title": section.title, "anchor": _anchor(section.title), "level": section.level,
         "blocks": [Markup(writer.block(block)) for block in section.blocks]}
        for section in document.sections
    ]
    environment = jinja2.Environment(autoescape=True)
    template = environment.from_string((folder / "page.html").read_text(encoding="utf-8"))
    cases = json.dumps(embedded(writer.shown), ensure_ascii=False, separators=(",", ":"))
    return template.render(
        document=document, sections=sections, has_cases=bool(writer.shown),
        css=Markup((folder / "page.css").read_text(encoding="utf-8")),
        script=Markup((folder / "page.js").read_text(encoding="utf-8")),
        cases=Markup(cases.replace("</", "<\\/")),
    )


def svg_text(picture: Picture) -> str:
    """A figure as SVG text, the same byte for byte each time, with its words for screen readers."""
    drawn = figure_bytes(picture, "svg").decode("utf-8")
    drawn = drawn[drawn.index("<svg"):]
    prefix = _anchor(picture.name)
    drawn = re.sub(r'id="([^"]+)"', rf'id="{prefix}-\1"', drawn)
    drawn = re.sub(r'(href="#|url\(#)', rf"\g<1>{prefix}-", drawn)
    label = f'role="img" aria-label="{escape(picture.alt, quote=True)}"'
    return drawn.replace("<svg ", f"<svg {label} ", 1)


class _Writer:
    """Turns blocks into HTML and keeps the estimates shown, in order, for their case lists."""

    def __init__(self, with_cases: bool, labels: Labels) -> None:
        self.with_cases = with_cases
        self.labels = labels
        self.shown: list[Estimate] = []

    @singledispatchmethod
    def block(self, block: object) -> str:
        raise TypeError(f"No way to write a {type(block).__name__} as HTML.")

    @block.register
    def _(self, block: Paragraph) -> str:
        return f"<p>{' '.join(map(self._sentence, block.sentences))}</p>"

    @block.register
    def _(self, block: Points) -> str:
        items = "".join(f"<li>{self._sentence(item)}</li>" for item in block.items)
        return f'<ul class="points">{items}</ul>'

    @block.register
    def _(self, block: Caution) -> str:
        lines = "".join(f"<p>{self._sentence(s)}</p>" for s in block.sentences)
        return f'<div class="caution" role="note"><h3>{escape(block.title)}</h3>{lines}</div>'

    @block.register
    def _(self, block: Table) -> str:
        block = lettered(block)
        head = "".join(f'<th scope="col">{_words(text)}</th>' for text in block.columns)
        body = "".join(f"<tr>{''.join(map(self._cell, row))}</tr>" for row in block.rows)
        below = "".join(f'<p class="notes">{_words(note)}</p>' for note in block.notes)
        caption = f"{self.labels[block.name].text}. {block.caption}"
        # A table that can be scrolled must be reachable by keyboard; one with buttons in it is.
        reach = "" if 'class="n"' in body else ' tabindex="0"'
        table = (
            f'<div class="scroll" role="region" aria-label="{escape(caption, quote=True)}"{reach} '
            f'id="{_anchor(block.name)}-shown"><table>'
            f"<caption>{_words(caption)}</caption><thead><tr>{head}"
            f"</tr></thead><tbody>{body}</tbody></table></div>{below}"
        )
        if not block.folded:
            return table
        return f"<details><summary>{_words(caption)}</summary>{table}</details>"

    @block.register
    def _(self, block: Picture) -> str:
        caption = f"{self.labels[block.name].text}. {block.caption}"
        label = escape(f"{self.labels[block.name].text}, to scroll", quote=True)
        return (f'<figure id="{_anchor(block.name)}-shown"><div class="drawn" role="region" '
                f'tabindex="0" aria-label="{label}">{svg_text(block)}</div>'
                f"<figcaption>{_words(caption)}</figcaption></figure>")

    @block.register
    def _(self, block: PicturePlaces) -> str:
        return f'<p class="notes">Places on the slide for: {_words("; ".join(block.labels))}.</p>'

    @block.register
    def _(self, block: Verbatim) -> str:
        return f'<pre class="verbatim">{escape(block.text)}</pre>'

    def _sentence(self, sentence: Sentence) -> str:
        """The sentence as it is, its numbers as buttons that list the cases counted."""
        if not self.with_cases:
            return self._linked(sentence.text)
        marked, more = _numbers_in(sentence)
        text = sentence.text
        parts, done = [], 0
        for start, stop, estimate in marked:
            parts += [self._linked(text[done:start]),
                      self._button(_words(text[start:stop]), estimate)]
            done = stop
        parts.append(self._linked(text[done:]))
        return "".join(parts) + "".join(f" {self._button('[cases]', e)}" for e in more)

    def _linked(self, text: str) -> str:
        """The text with references to tables and figures as links to them."""
        return "".join(
            f'<a href="#{_anchor(name)}-shown">{self.labels[name].text}</a>' if name
            else _words(words) for words, name in pieces(text, self.labels))

    def _cell(self, cell: Cell) -> str:
        text = _words(cell.text)
        if cell.heading:
            return f'<th scope="row">{text}</th>'
        if self.with_cases and cell.estimate is not None and cell.estimate.counted:
            text = self._button(text, cell.estimate)
        return f"<td>{text}</td>"

    def _button(self, text: str, estimate: Estimate) -> str:
        self.shown.append(estimate)
        return (f'<button type="button" class="n" data-cases="{len(self.shown) - 1}" '
                f'title="List the cases counted">{text}</button>')


def _numbers_in(sentence: Sentence) -> tuple[list[tuple[int, int, Estimate]], list[Estimate]]:
    """Where each estimate's own numbers stand in its sentence, and those that were not found.

    Only estimates that know their rows are looked for; places are in order and never overlap.
    """
    found: list[tuple[int, int, Estimate]] = []
    more: list[Estimate] = []
    for estimate in (e for e in sentence.estimates if e.counted):
        counts = (whole(estimate.events or 0), whole(estimate.n or 0))
        forms = (estimate.number_text(), " of ".join(counts), "/".join(counts))
        places = [(at, at + len(form)) for form in forms
                  if (at := sentence.text.find(form)) >= 0]
        place = next((p for p in places if all(p[1] <= a or p[0] >= b for a, b, _ in found)), None)
        if place is None:
            more.append(estimate)
        else:
            found.append((*place, estimate))
    return sorted(found, key=lambda one: one[0]), more


def _words(text: str) -> str:
    """Text that is shown: numbers stay with their units."""
    return escape(unbroken(text))


def _anchor(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")
