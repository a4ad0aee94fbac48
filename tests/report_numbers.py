"""Reading numbers back: from documents, and from the entries of results.json.

Two ways: whole numbers-with-interval as they are printed (`29/377 (7.7 %, 5.2–10.9)`), and every
single number. What is compared is text, so that rounding and signs are checked too.
"""

from __future__ import annotations

import re
import zipfile
from collections import defaultdict
from collections.abc import Iterable, Mapping
from html import unescape
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from analyses.statistics.estimate import Estimate
from analyses.words.numerals import measured, percent, points, quantity, ratio, span, whole
from analyses.words.wording_of_p import p_text

W = "{http://schemas.openxmlformats.org/wordprocessingml/2006/main}"
NUMBER = re.compile(r"(?<![\w.,–−])−?\d[\d,]*(?:\.\d+)?(?![\w.]*\d)")
PRINTED = (
    re.compile(r"\d[\d,]*/\d[\d,]* \(\d[^()]*%[^()]*\)"),
    re.compile(r"(?:odds|risk|rate|hazard) ratio [\d.,]+ \([^()]*\)"),
    re.compile(r"\d[\d,]* in [\d.,]+ patient-years \([^()]*\)"),
    re.compile(r"−?[\d.]+ percentage points \([^()]*\)"),
)
"""How numbers with their interval are printed."""

MEASURES = ("", "mL", "min", "mGy", "Gy·cm²", "nights", "mL/min", "s", "mm", "years", "days")


def docx_texts(path: Path) -> list[str]:
    """The text of every paragraph of a .docx, table cells among them, marks left out."""
    with zipfile.ZipFile(path) as package:
        root = ElementTree.fromstring(package.read("word/document.xml"))
    found = []
    for paragraph in root.iter(f"{W}p"):
        runs = [run for run in paragraph.iter(f"{W}r") if run.find(f".//{W}vertAlign") is None]
        found.append("".join(t.text or "" for run in runs for t in run.iter(f"{W}t")))
    return [text.replace("\u00a0", " ") for text in found if text]


def html_texts(page: str) -> list[str]:
    """The text of a page's paragraphs, list items, cells, captions, and words of its figures."""
    body = page[page.index("<main"):page.index("</main>")]
    words = re.findall(r'aria-label="([^"]*)"', body)
    body = re.sub(r"<svg.*?</svg>", " ", body, flags=re.DOTALL)
    parts = re.split(r"</?(?:p|li|td|th|caption|h\d|figcaption|summary|pre|section)\b[^>]*>", body)
    plain = [unescape(re.sub(r"<[^>]+>", "", part)).strip() for part in parts]
    return [re.sub(r" \[[a-z]+\]$", "", text).replace("\u00a0", " ")
            for text in (*plain, *map(unescape, words)) if text]


def printed(texts: Iterable[str]) -> list[str]:
    """Every number with its interval, as it is printed."""
    return [found for text in texts for form in PRINTED for found in form.findall(text)]


def single(texts: Iterable[str]) -> set[str]:
    """Every single number of the texts, as it is printed."""
    return {found.strip(",") for text in texts for found in NUMBER.findall(text)}


def rebuilt(entries: Iterable[Mapping[str, Any]]) -> list[Estimate]:
    """The entries of results.json as estimates, with what is compared and what stands beside."""
    plain = [Estimate(**{**e, "flags": tuple(e["flags"])}) for e in entries]
    by_id: dict[tuple[str, str], list[Estimate]] = defaultdict(list)
    for e in plain:
        by_id[e.id, e.unit].append(e)
    found = []
    for e in plain:
        arms = [_part(e, f"{e.id}{word}{n}", by_id) for n in (1, 2) for word in (".", ".arm_")]
        known = tuple(arm for arm in arms if arm is not None)
        if e.kind == "bounds":
            cases = [_part(e, f"{e.id}.bounds.{case}", by_id)
                     for case in ("missing_none", "missing_all")]
            e = Estimate(**{**_fields(e), "beside": tuple(filter(None, cases))})
        found.append(Estimate(**{**_fields(e), "arms": known}) if len(known) == 2 else e)
    return found


def all_printed(estimates: Iterable[Estimate]) -> set[str]:
    """Every number with its interval that these estimates can print."""
    texts: set[str] = set()
    for e in estimates:
        said = [e.number_text()]
        if e.kind in ("proportion", "rate") or e.kind.endswith("ratio"):
            said.append(e.sentence("x"))
        texts |= set(printed([*said, *(arm.number_text() for arm in e.arms)]))
    return texts


def all_single(estimates: Iterable[Estimate]) -> set[str]:
    """Every single number that these estimates, their words and their flags can print."""
    found: set[str] = set()
    quartiles = _quartiles(estimates)
    for e in estimates:
        numbers = [n for n in (e.value, e.low, e.high) if n is not None]
        found |= {form(n).replace(">", "") for n in numbers
                  for form in (percent, points, quantity, ratio, whole) if abs(n) < 1e9}
        found |= set(measured(e.value, e.low, e.high)) | set(measured(e.value, *quartiles(e)))
        found |= {whole(n) for n in (e.events, e.n, e.clusters, e.denominator) if n is not None}
        found |= single([e.number_text(), *e.notes(), e.sentence("x"),
                         *map(str, (e.group or {}).values())])
        if e.kind == "chi-squared" and e.value is not None:
            found.add(f"{e.value:.2f}")
        if e.kind == "P value" and e.value is not None:
            found |= single([p_text(e.value)])
        if e.low is not None:
            found |= single([span(*measured(e.value, e.low, e.high)[1:])])
        found |= {f"{float(v):.3g}" for v in (e.group or {}).values() if _is_number(v)}
    return found


def _is_number(text: str) -> bool:
    return re.fullmatch(r"-?\d+(?:\.\d+)?(?:e-?\d+)?", text) is not None


def _quartiles(estimates: Iterable[Estimate]) -> Any:
    every = {(e.id, e.unit, str(e.group)): e.value for e in estimates}

    def of(e: Estimate) -> tuple[float | None, ...]:
        return tuple(every.get((f"{e.id}.{word}", e.unit, str(e.group))) for word in (
            "lower_quartile", "upper_quartile", "smallest", "largest", "sd"))
    return of


def _part(
    e: Estimate, id: str, by_id: Mapping[tuple[str, str], list[Estimate]],
) -> Estimate | None:
    group = (e.group or {}).items()
    mine = [part for part in by_id.get((id, e.unit), [])
            if group <= (part.group or {}).items()]
    return mine[0] if mine else None


def _fields(e: Estimate) -> dict[str, Any]:
    return {name: getattr(e, name) for name in Estimate.__dataclass_fields__}
