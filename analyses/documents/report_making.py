"""From results to a report's folder: build the documents, write all of it or nothing.

One function an audience gives the folder's files (name → writer); nothing is written before all
of them are ready to be.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from analyses.renderers.report_folder import (
    ReportError,
    Writer,
    kept_words,
    results_text,
    text_writer,
    write_folder,
)
from analyses.renderers.written_record import RECORD

if TYPE_CHECKING:
    from analyses.content.blocks import Document
    from analyses.literature.published import PublishedSeries
    from analyses.measures.results import Results
    from analyses.models.model_plan import Plan
    from analyses.statistics.estimate import Estimate

Progress = Callable[..., None]

SHOW, HIDE = "show", "hide"
"""What becomes of small cells."""


@dataclass(frozen=True)
class Wish:
    """What was asked for beside the results.

    cases: study codes for a conference, each in a file of its own; event: which of the case's
    events (None: the gravest); template: a hospital's slides; digest: a quarter, in the place of
    a case; a plan of models, a project's words, own published series; figures: the formats and
    widths of the figures' files; small_cells: "show", or "hide" for files that are published as
    data.
    """

    cases: tuple[str, ...] = ()
    event: int | None = None
    template: Path | None = None
    digest: str | None = None
    plan: Path | None = None
    project: Path | None = None
    published: tuple[PublishedSeries, ...] | None = None
    figures: tuple[str, ...] = ()
    small_cells: str = SHOW


def wish_of(
    *, case: str | Iterable[str] | None = None, event: int | None = None,
    template: str | Path | None = None, digest: str | None = None,
    plan: str | Path | None = None, project: str | Path | None = None,
    published: str | Path | None = None, figures: str | Iterable[str] = (),
    small_cells: str = SHOW,
) -> Wish:
    """What was asked for, from cases, words and the paths of files; published series are read.

    Raises SentenceError where that file is wrong.
    """
    from analyses.literature.published import read_series

    codes = (case,) if isinstance(case, str) else tuple(case or ())
    return Wish(tuple(dict.fromkeys(codes)), event, Path(template) if template else None,
                digest, Path(plan) if plan else None, Path(project) if project else None,
                read_series(Path(published)) if published else None,
                (figures,) if isinstance(figures, str) else tuple(figures), small_cells)


def check_audience(audience: str) -> None:
    """Raises ReportError where there is no report for an audience."""
    if audience not in AUDIENCES:
        raise ReportError(f"There is no report for {audience}; choose {', '.join(AUDIENCES)}.")


OWN = {"cases": ("case", "conference"), "event": ("event", "conference"),
       "template": ("template", "conference"), "digest": ("digest", "conference"),
       "plan": ("plan", "series"), "figures": ("figures", "series"),
       "project": ("project", "quality")}
"""What can be asked for beside the results → its option, and the audience it is for."""


def check_wish(audience: str, wish: Wish) -> None:
    """Raises ReportError where something asked for would be ignored, or is wrong.

    Before anything is worked out: who forgets the audience is told at once.
    """
    from analyses.renderers.figure_files import figures_wanted

    for name, (option, owner) in OWN.items():
        if getattr(wish, name) not in (None, ()) and audience != owner:
            raise ReportError(f"--{option} is for the report for {owner}, and this one is for "
                              f"{audience}; add --for {owner}, or leave --{option} out.")
    if wish.digest is not None and (wish.cases or wish.event or wish.template):
        raise ReportError("--digest is a paper about a quarter, not about a case; leave --case, "
                          "--event and --template out.")
    if wish.event is not None and len(wish.cases) != 1:
        raise ReportError("--event names an event of one case; give one --case with it.")
    figures_wanted(wish.figures)
    _check_small_cells(audience, wish)
    _plan(wish.plan)


def _check_small_cells(audience: str, wish: Wish) -> None:
    """Raises ReportError where small cells are to be hidden in what cannot do without them."""
    if wish.small_cells not in (SHOW, HIDE):
        raise ReportError(f"Small cells cannot be made to {wish.small_cells}; give --small-cells "
                          f"{SHOW} or --small-cells {HIDE}.")
    if wish.small_cells == SHOW:
        return
    if audience == "conference":
        raise ReportError(
            "Small cells cannot be hidden in a report for conference: it is about one patient, or "
            "a quarter's few, and stays in confidential peer review. Leave --small-cells out, or "
            "ask for another report with --for.")
    if wish.plan is not None:
        raise ReportError(
            "Where small cells are hidden no question of a plan is answered, since it compares "
            "groups; leave --plan out, or make the report without --small-cells hide.")


def write_report(
    results: Results, out: Path, *, audience: str = "series", wish: Wish | None = None,
    progress: Progress | None = None,
) -> list[str]:
    """Write the report of a study's results into `out`; returns lines that say what to open.

    audience: series, conference (of the wish's case) or quality. Raises ReportError and its kin
    where the call or the folder is wrong; then nothing has been written, and an older report in
    `out` stays as it was.
    """
    tell = progress or (lambda *words: None)
    check_audience(audience)
    check_wish(audience, wish or Wish())
    makers = AUDIENCES if (wish or Wish()).small_cells == SHOW else HIDDEN_AUDIENCES
    files, first = makers[audience](results, wish or Wish(), tell)
    if makers is HIDDEN_AUDIENCES:
        refuse_other_files(out, files)
    places = write_folder(out, _told(files, tell))
    asked = said_of_cases(results, wish or Wish()) if audience == "conference" else []
    return [f"Report for {audience}: {out / places[first]}", *asked, *kept_words(out, places)]


def series_files(results: Results, wish: Wish, tell: Progress) -> tuple[dict[str, Writer], str]:
    """The case series: pages, a manuscript to go on writing in, figures and tables apart."""
    from analyses.documents.series.series_report import (
        checklists_document,
        manuscript_document,
        series_document,
        series_work,
    )
    from analyses.renderers.figure_files import figure_writers
    from analyses.renderers.table_files import table_writers

    work = series_work(results, plan=_plan(wish.plan), progress=tell,
                       published=wish.published)
    tell("building the case series")
    inside, outside = series_document(work), manuscript_document(work)
    return {
        **_numbers(_with(results, work.estimates)),
        **_page(inside),
        **_docx(outside),
        **_docx(checklists_document(outside)),
        **table_writers(outside),
        **figure_writers(outside, wish.figures),
    }, f"{inside.name}.html"


def hidden_series_files(
    results: Results, wish: Wish, tell: Progress,
) -> tuple[dict[str, Writer], str]:
    """The case series with small cells hidden: only files that may leave."""
    from analyses.documents.series.series_hidden import hidden_document, hidden_work
    from analyses.documents.series.series_report import checklists_document
    from analyses.renderers.figure_files import figure_writers
    from analyses.renderers.table_files import table_writers

    work = hidden_work(results, published=wish.published, progress=tell)
    tell("building the case series")
    document = hidden_document(work)
    return {
        **_shared_numbers(_with(work.results, work.estimates)),
        **_page(document),
        **_docx(document),
        **_docx(checklists_document(document)),
        **table_writers(document),
        **figure_writers(document, wish.figures),
    }, f"{document.name}.html"


def refuse_other_files(out: Path, files: Iterable[str]) -> None:
    """Raises ReportError where a folder that is to leave holds what this report does not write.

    An older file beside it could tell what is hidden here.
    """
    mine = {*files, RECORD}
    others = sorted(
        name for path in out.rglob("*") if path.is_file()
        and (name := path.relative_to(out).as_posix()) not in mine) if out.is_dir() else []
    if others:
        raise ReportError(
            f"{out} holds {others[0]}{' and other files' if others[1:] else ''}, which a report "
            "with small cells hidden does not write and which could tell what it hides. Give "
            "another --out: a folder of its own. Nothing was written.")


def _plan(path: Path | None) -> Plan | None:
    """The plan file of the technique models.

    Raises ReportError where it cannot be read, or names what no table has.
    """
    from analyses.models.model_plan import read_plan
    from analyses.models.plan_columns import plan_problems

    if path is None:
        return None
    try:
        plan = read_plan(path)
    except ValueError as problem:
        raise ReportError(str(problem)) from None
    problems = plan_problems(plan)
    if problems:
        raise ReportError(f"{path.name}: {'; '.join(problems)}. Nothing was written.")
    return plan


def conference_files(
    results: Results, wish: Wish, tell: Progress,
) -> tuple[dict[str, Writer], str]:
    """Each case for the conference: slides, and the same as a page; numbered where several.

    With a quarter asked for, its digest alone.
    """
    if wish.digest is not None:
        return _digest_files(results, wish.digest, tell)
    from analyses.documents.conference.conference_slides import conference_talk

    tell("building the conference")
    talks = [conference_talk(results, code, wish.event) for code in _codes(results, wish)]
    names = _talk_names(len(talks))
    files = _numbers(_with(results, tuple(e for talk in talks for e in talk.estimates)))
    for name, talk in zip(names, talks, strict=True):
        files |= _page(replace(talk.page, name=name))
        files[f"{name}.pptx"] = _slides(talk.slides, wish.template)
    return files, f"{names[0]}.pptx"


def _digest_files(
    results: Results, quarter: str, tell: Progress,
) -> tuple[dict[str, Writer], str]:
    from analyses.documents.conference.quarter_digest import digest_document

    tell("building the digest")
    document, more = digest_document(results, quarter)
    return {**_numbers(_with(results, more)), **_docx(document)}, f"{document.name}.docx"


def _codes(results: Results, wish: Wish) -> tuple[str, ...]:
    """The study codes asked for; the gravest case of the freeze where none was."""
    from analyses.cases.case_choice import gravest_case

    return wish.cases or (gravest_case(results.units),)


def _talk_names(count: int) -> list[str]:
    """The files' names without their endings: numbered where there are several."""
    return ["conference"] if count == 1 else [
        f"conference-{number}" for number in range(1, count + 1)]


def _slides(document: Document, template: Path | None) -> Writer:
    from analyses.renderers.pptx_slides import write_pptx

    return lambda path: write_pptx(document, path, template)


def said_of_cases(results: Results, wish: Wish) -> list[str]:
    """Which event of each case the slides are about, and why; for the screen, with study codes."""
    from analyses.cases.one_case import one_case
    from analyses.documents.conference.case_tables import choice_words

    if wish.digest is not None:
        return []
    found = []
    codes = _codes(results, wish)
    for name, code in zip(_talk_names(len(codes)), codes, strict=True):
        case = one_case(results.units, code, wish.event)
        kind = "" if case.index_event is None else f": {case.index_event['kind']}"
        several = wish.event is None and len(case.all_events) > 1
        more = "; --event N takes another" if several else ""
        which = "Case of the conference" if len(codes) == 1 else f"{name}.pptx"
        found.append(f"{which}: {code}{kind} ({choice_words(case)}{more}).")
    if not wish.cases:
        found.append("No --case was given: it is the gravest of the freeze. nidusbook cases lists "
                     "the others.")
    return found


def quality_files(results: Results, wish: Wish, tell: Progress) -> tuple[dict[str, Writer], str]:
    """The quality report: a page for inside the service, and a document to share."""
    from analyses.documents.quality.quality_report import quality_document, quality_work
    from analyses.monitoring.project import read_project

    tell("working out the charts")
    words = read_project(wish.project) if wish.project else None
    work = quality_work(results, project=words)
    inside = quality_document(work, inside=True)
    found = _with(results, (*work.estimates, *inside.estimates()))
    named = tuple(e for e in found.estimates if _by_operator(e))
    return {
        **_numbers(replace(found, estimates=tuple(
            e for e in found.estimates if not _by_operator(e)))),
        **({OPERATORS: text_writer(results_text(replace(found, estimates=named), INSIDE))}
           if named else {}),
        **_page(inside),
        **_docx(quality_document(work, inside=False)),
    }, f"{inside.name}.html"


def hidden_quality_files(
    results: Results, wish: Wish, tell: Progress,
) -> tuple[dict[str, Writer], str]:
    """The quality report with small cells hidden: only the document to share, without charts."""
    from analyses.documents.quality.quality_hidden import hidden_quality, limits_kept
    from analyses.documents.quality.quality_report import quality_work
    from analyses.monitoring.project import read_project

    tell("hiding small cells")
    words = read_project(wish.project) if wish.project else None
    work = quality_work(results.outside(), project=words)
    document = hidden_quality(work)
    return {
        **_shared_numbers(_with(work.results, limits_kept(work))), **_docx(document),
    }, f"{document.name}.docx"


OPERATORS = "by-operator-stays-inside.json"
INSIDE = "Stays inside the service: numbers by operator code."


def _by_operator(estimate: Estimate) -> bool:
    """Whether an estimate names an operator code: such numbers never leave the service."""
    return "operator" in (estimate.group or {})


Maker = Callable[["Results", Wish, Progress], tuple[dict[str, Writer], str]]

AUDIENCES: dict[str, Maker] = {
    "series": series_files, "conference": conference_files, "quality": quality_files,
}
HIDDEN_AUDIENCES: dict[str, Maker] = {
    "series": hidden_series_files, "quality": hidden_quality_files,
}
"""Those whose report can do without small cells."""


def _numbers(results: Results) -> dict[str, Writer]:
    from analyses.renderers.counted_cases import write_cases

    return {
        **_shared_numbers(results),
        "cases.parquet": lambda path: write_cases(results.estimates, path),
    }


def _shared_numbers(results: Results) -> dict[str, Writer]:
    """The numbers without the list of the rows they counted."""
    from analyses.renderers.results_schema import schema_text

    return {
        "results.json": text_writer(results_text(results)),
        "results.schema.json": text_writer(schema_text()),
    }


def _page(document: Document) -> dict[str, Writer]:
    from analyses.renderers.html_page import page

    return {f"{document.name}.html": lambda path: text_writer(page(document))(path)}


def _docx(document: Document) -> dict[str, Writer]:
    from analyses.renderers.docx_document import write_docx

    return {f"{document.name}.docx": lambda path: write_docx(document, path)}


def _with(results: Results, more: tuple[Estimate, ...]) -> Results:
    """The results with the estimates of one more document among them."""
    held = {(e.id, e.unit, tuple(sorted((e.group or {}).items()))) for e in results.estimates}
    new = [e for e in more
           if (e.id, e.unit, tuple(sorted((e.group or {}).items()))) not in held]
    return replace(results, estimates=(*results.estimates, *new))


def _told(files: dict[str, Writer], tell: Progress) -> dict[str, Writer]:
    """The same writers, each saying its file's name as it starts."""
    total = len(files)

    def telling(number: int, name: str, writer: Writer) -> Writer:
        def write(path: Path) -> None:
            tell(f"writing {name}", number, total)
            writer(path)
        return write

    return {name: telling(number, name, writer)
            for number, (name, writer) in enumerate(files.items(), start=1)}
