"""How a result object shows itself: a small table in a notebook, the same as text elsewhere.

The object's class inherits from `Displayed` and says in `summary` what is shown. Figures are drawn
on demand, by the functions of the figures' room.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from html import escape


@dataclass(frozen=True)
class Summary:
    """A title, a table of texts (which may be empty), and notes below it."""

    title: str
    headings: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    notes: tuple[str, ...] = ()

    def html(self) -> str:
        """A piece of HTML: a table with marked headings, every text escaped."""
        notes = "".join(f"<p>{escape(note)}</p>" for note in self.notes)
        if not self.rows:
            return f"<div><p><b>{escape(self.title)}</b></p>{notes}</div>"
        head = "".join(f'<th scope="col" style="{LEFT}">{escape(h)}</th>' for h in self.headings)
        body = "".join(f"<tr>{''.join(map(_cell, row))}</tr>" for row in self.rows)
        return (f'<div><table><caption style="{LEFT}"><b>{escape(self.title)}</b></caption>'
                f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{notes}</div>")

    def text(self) -> str:
        """The same as lines of text."""
        lines = [self.title]
        if self.rows:
            rows = [self.headings, *self.rows]
            widths = [max(len(row[at]) for row in rows) for at in range(len(self.headings))]
            lines += ["  ".join(t.ljust(w) for t, w in zip(row, widths, strict=True)).rstrip()
                      for row in rows]
        return "\n".join([*lines, *self.notes])


LEFT = "text-align: left"


class Displayed(ABC):
    """A result that shows itself, in a notebook and in print, by its own summary."""

    @abstractmethod
    def summary(self) -> Summary:
        """The object in a title, a small table and notes."""

    def _repr_html_(self) -> str:
        return self.summary().html()

    def __str__(self) -> str:
        return self.summary().text()


def _cell(text: str) -> str:
    return f'<td style="{LEFT}">{escape(text)}</td>'
