"""Technique and outcome: first what the data cannot carry, then what they show."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from analyses.content.blocks import (
    Block,
    Cell,
    Paragraph,
    Section,
    Sentence,
    Table,
    Verbatim,
    plain,
)
from analyses.documents.series.model_pictures import imputed_pictures
from analyses.documents.series.model_tables import short_words, subgroup_table
from analyses.documents.series.said import listed
from analyses.documents.series.technique_lines import Line
from analyses.documents.series.technique_sections import (
    counted_text,
    lines_of,
    outcome_section,
)
from analyses.measures.null_findings import NullFindings
from analyses.measures.resection import CONFOUNDED
from analyses.models.model_estimates import ModelNumbers, events_per_coefficient, seen_text
from analyses.models.model_wording import ratio_text
from analyses.models.planned_result import PlannedResult
from analyses.models.planned_run import OBSERVATIONAL
from analyses.models.technique_models import TechniqueModels
from analyses.models.technique_outcomes import outcome_label
from analyses.models.technique_plan import ADJUST
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import plural
from analyses.words.numerals import percent, ratio

MAIN = ("event", "session")
IMPUTED_BESIDE = (
    "Values put into gaps are shown beside those recorded. They need not agree, since what is "
    "missing may differ in all that is known of it; where they differ much, ask why it was not "
    "recorded.")
COMFORTABLE = 10
"""Events a coefficient that a model carries comfortably (Peduzzi and others 1996)."""


def technique_blocks(models: TechniqueModels | None, answered: int) -> tuple[Block, ...]:
    """The main text: what the models were asked and of how many events, never a ratio.

    answered: how many models answer a question that the plan names; their ratios stand among
    those questions. All other models are exploratory, and stand in the supplement.
    """
    if models is None:
        return ()
    without = sum(not r.answered for r in models.results)
    cannot = Sentence(
        f"{without} of the {len(models.results)} models cannot be carried by these data and give "
        "no ratio." if without else
        f"Every one of the {len(models.results)} models could be fitted.")
    return (Paragraph((
        cannot, Sentence(f"Asked were {listed(_counts(models, pair) for pair in _outcomes(models))}"
                         ", each by one technique variable a model."),
        _where_they_stand(models, answered))), plain(OBSERVATIONAL, CONFOUNDED))


def _counts(models: TechniqueModels, pair: tuple[str, str]) -> str:
    """`any complication, per session (10 models, 24 to 26 events in 240 to 254 sessions)`."""
    mine = _of(models, pair)
    fits = [shown for r in mine if (shown := r.imputed or r.fit) is not None]
    told = [f"{len(mine)} model{'' if len(mine) == 1 else 's'}"]
    if fits:
        rows = f"{_range([one.n for one in fits])} {plural(pair[1])}"
        events = [one.events for one in fits if one.events is not None]
        told.append(f"{_range(events)} events in {rows}" if events else rows)
    return f"{_lower(_outcome(pair))} ({', '.join(told)})"


def _range(counts: Sequence[int]) -> str:
    low, high = min(counts), max(counts)
    return f"{low:,}" if low == high else f"{low:,} to {high:,}"


def _where_they_stand(models: TechniqueModels, answered: int) -> Sentence:
    """Which of the models the paper shows, and where the others are."""
    there = "@technique-side-by-side" if MAIN in _outcomes(models) else "the supplement"
    if not answered:
        return Sentence("No model of these is a question named beforehand: they are exploratory, "
                        f"and their ratios stand in the supplement alone ({there}).")
    if answered == len(models.results):
        return Sentence("Each answers a question named beforehand, and its ratio stands among "
                        "these.")
    return Sentence(f"{answered} of them answer{'s' if answered == 1 else ''} a question named "
                    "beforehand, with the ratio among these; the others are exploratory, and "
                    f"their ratios stand in the supplement alone ({there}).")


def technique_supplement(
    models: TechniqueModels | None, numbers: ModelNumbers, chance: NullFindings | None,
) -> list[Section]:
    """Every model with its risks and diagnosis, the raw numbers behind it, and E-values."""
    if models is None:
        return []
    pairs = _outcomes(models)
    lines = {pair: [line for r in _of(models, pair) for line in lines_of(r)] for pair in pairs}
    found = [_every_model(models, numbers, lines, chance)]
    found += [outcome_section(models, *pair) for pair in pairs]
    more: list[Block] = [e_value_table(numbers, lines), *subgroup_table(models.results)]
    gaps = imputed_pictures(models.results)
    if gaps:
        more += [plain(IMPUTED_BESIDE), *gaps]
    return [*found, Section("Beside the models", tuple(more))]


def _every_model(
    models: TechniqueModels, numbers: ModelNumbers, lines: dict[tuple[str, str], list[Line]],
    chance: NullFindings | None,
) -> Section:
    """What cannot be carried, what was declared, each outcome in sentences, and the ratios."""
    found: list[Block] = [
        Paragraph(tuple(_cannot(models, lines))), Paragraph(tuple(_declared(models)))]
    told = (tuple(_told(pair, mine)) for pair, mine in lines.items())
    found += [Paragraph(sentences) for sentences in told if sentences]
    found.append(plain(*models.cautions, CONFOUNDED))
    if chance is not None and chance.printed:
        found.append(Paragraph((_by_chance(models, chance),)))
    if MAIN in lines:
        found.append(side_by_side(numbers, lines, [MAIN], "technique-side-by-side"))
    others = [pair for pair in lines if pair != MAIN]
    if others:
        found.append(side_by_side(numbers, lines, others, "technique-other-side-by-side"))
    return Section("Technique models: each variable alone, and adjusted", tuple(found))


def _by_chance(models: TechniqueModels, found: NullFindings) -> Sentence:
    """What the models of this report would show if no outcome went with anything."""
    held = (" Values put into gaps were kept as in the first completed set, not drawn again."
            if any(r.imputed is not None for r in models.results) else "")
    return Sentence(
        f"Of {found.printed} ratios shown here {found.seen} leave out 1. With the outcomes of "
        f"this report exchanged between patients {found.exchanges} times (each time all of these "
        "models are fitted again), so that nothing went with anything, "
        f"{found.average:.1f} did so on average, and at least one did in "
        f"{percent(found.any)} % of the exchanges.{held}", found.estimates)


def plan_sections(models: TechniqueModels | None) -> tuple[Section, ...]:
    """The plan file as it was run, with its date and hash; none without models."""
    if models is None:
        return ()
    from tempfile import TemporaryDirectory

    from analyses.models.model_plan import write_plan

    with TemporaryDirectory() as folder:
        from pathlib import Path

        path = Path(folder) / "plan.toml"
        write_plan(models.plan, path)
        text = path.read_text(encoding="utf-8")
    planned = sum(r.status == "planned" for r in models.results)
    return (Section("Plan of the technique models", (
        plain(f"{models.heading}.", f"SHA-256 of its content: {models.plan.hash}.",
              f"{planned} of the {len(models.results)} models run were planned before the data "
              "were frozen; every other result is exploratory and marked so."),
        Verbatim(text))),)


def side_by_side(
    numbers: ModelNumbers, lines: dict[tuple[str, str], list[Line]],
    pairs: Sequence[tuple[str, str]], name: str,
) -> Table:
    """Each variable alone and adjusted, on the same rows, with what was seen behind it."""
    rows: list[tuple[Cell, ...]] = []
    for pair in pairs:
        if len(pairs) > 1:
            rows.append((Cell(_outcome(pair), heading=True), *(Cell("") for _ in range(5))))
        rows += [_row(line, numbers) for line in lines[pair]]
    title = _outcome(pairs[0]) if len(pairs) == 1 else "Other outcomes"
    return Table(name, f"{title} and technique: each variable alone, and adjusted", (
        "Technique", "Seen", "Alone (95 % interval)", "Adjusted (95 % interval)", "Events/rows",
        "Declared"), tuple(rows), (
        "Ratios of odds (of geometric means for blood loss and time). Seen: events of rows with "
        "and without, or the median in rows with and without the event, as recorded. Alone and "
        "adjusted on the same rows; where gaps were imputed, on the completed ones (the ratios of "
        "complete rows are in the supplement). Intervals clustered on the patient.",))


def e_value_table(numbers: ModelNumbers, lines: dict[tuple[str, str], list[Line]]) -> Table:
    """How strong an unmeasured confounder would have to be, where an interval excludes 1."""
    rows = []
    for pair, mine in lines.items():
        for line in mine:
            found = line.ratio and numbers.line(line.ratio)
            if found and found.e_values:
                value, bound = found.e_values
                rows.append((
                    Cell(_outcome(pair), heading=True), Cell(line.label),
                    Cell(_ratio(found.adjusted), found.adjusted),
                    *(Cell(ratio(e.value or 1), e) for e in (value, bound))))
    return Table("e-values", "How strong an unmeasured confounder would have to be", (
        "Outcome", "Technique", "Adjusted ratio", "E-value", "E-value of the interval's end"),
        tuple(rows), (
        "Risk ratio that an unmeasured factor would need with both the technique and the outcome, "
        "beyond what is adjusted for, to explain the ratio away, or to move its interval to 1 "
        "(VanderWeele and Ding 2017). Shown where the interval excludes 1; elsewhere there is "
        "nothing to explain away.",))


def model_limits(models: TechniqueModels | None) -> tuple[Sentence, ...]:
    """Limitations of the models: events a coefficient, models without an answer."""
    frame = events_per_coefficient(models)
    if models is None or frame.empty:
        return ()
    each = frame["events"] / frame["coefficients"]
    few = int((each < COMFORTABLE).sum())
    said = [Sentence(
        f"Models on technique rest on few events: {int(frame['events'].min())} to "
        f"{int(frame['events'].max())} for {int(frame['coefficients'].min())} to "
        f"{int(frame['coefficients'].max())} coefficients ({each.min():.1f} to {each.max():.1f} "
        f"each); {few} of {len(frame)} have fewer than {COMFORTABLE} a coefficient.")]
    if any(r.status != "planned" for r in models.results):
        said.append(Sentence("Models that no plan declared before the data were frozen are "
                             "exploratory."))
    return tuple(said)


def _of(models: TechniqueModels, pair: tuple[str, str]) -> list[PlannedResult]:
    return [r for r in models.results if (r.model.outcome, r.model.unit) == pair]


def _outcomes(models: TechniqueModels) -> list[tuple[str, str]]:
    return list(dict.fromkeys((r.model.outcome, r.model.unit) for r in models.results))


def _outcome(pair: tuple[str, str]) -> str:
    outcome, unit = pair
    return f"{outcome_label(outcome).replace('_', ' ')}, per {unit}"


def _cannot(
    models: TechniqueModels, lines: dict[tuple[str, str], list[Line]],
) -> Iterable[Sentence]:
    """What the data cannot carry, before anything is shown."""
    without = [r for r in models.results if not r.answered]
    if not without:
        yield Sentence(f"Every one of the {len(models.results)} models could be fitted.")
        return
    yield Sentence(
        f"{len(without)} of the {len(models.results)} models cannot be carried by these data and "
        "give no ratio: " + "; ".join(
            f"{_outcome(pair)} by {listed(_short(r) for r in without if r in _of(models, pair))} "
            f"({_why(without, pair)})"
            for pair in lines if any(r in _of(models, pair) for r in without)) + ".")


def _short(result: PlannedResult) -> str:
    words = short_words(result.model.exposure.name)
    return words[:1].lower() + words[1:]


def _why(without: Sequence[PlannedResult], pair: tuple[str, str]) -> str:
    mine = [r for r in without if (r.model.outcome, r.model.unit) == pair]
    events = [r.fit.events or 0 for r in mine if r.fit is not None]
    if not events:
        return mine[0].refusal
    low, high = min(events), max(events)
    return f"{low} events" if low == high else f"{low} to {high} events"


def _declared(models: TechniqueModels) -> Iterable[Sentence]:
    yield Sentence(f"{models.heading}.")
    yield Sentence("Each model asks for one technique variable, adjusted for "
                   f"{listed(one.said for one in ADJUST)} where the plan does not say otherwise.")
    if any(r.imputed is not None for r in models.results):
        yield Sentence("Where a technique was used but not recorded the gaps were imputed; the "
                       "ratios of rows with everything recorded are in the supplement.")


def _told(pair: tuple[str, str], lines: Sequence[Line]) -> Iterable[Sentence]:
    """One outcome: the associations with their numbers, then what stays open."""
    given = [line for line in lines if line.ratio is not None and line.ratio.value is not None]
    if not given:
        return
    shown = [line for line in given if not _open(line.ratio)]
    opened = [line for line in given if _open(line.ratio)]
    for line in shown:
        e = line.ratio
        assert e is not None
        way = "higher" if (e.low or 0) > 1 else "lower"
        what = "level" if e.kind.startswith("ratio") else "frequency"
        mark = "" if line.result.status == "planned" else " (exploratory)"
        yield Sentence(
            f"{line.label} was associated with a {way} {what} of {_lower(_outcome(pair))}{mark}: "
            f"{e.kind} {_ratio(e)}, {_behind(e)}.", (e,))
    if opened:
        yield Sentence(
            f"{_outcome(pair)}: the question stays open, in both directions, for "
            + listed(f"{_lower(line.label)} ({_ratio(line.ratio)})" for line in opened)
            + ".", tuple(line.ratio for line in opened if line.ratio is not None))


def _open(e: Estimate | None) -> bool:
    return e is not None and (e.low or 0) <= 1 <= (e.high or 1)


def _ratio(e: Estimate | None) -> str:
    if e is None or e.value is None or e.low is None or e.high is None:
        return "–"
    return ratio_text(e)


def _behind(e: Estimate) -> str:
    events = "" if e.events is None else f"{e.events:,} events in "
    return f"{events}{e.n:,} {plural(e.unit)} of {e.clusters:,} patients"


def _lower(words: str) -> str:
    return words if words[:2].isupper() else words[:1].lower() + words[1:]


def _row(line: Line, numbers: ModelNumbers) -> tuple[Cell, ...]:
    found = numbers.line(line.ratio) if line.ratio is not None else None
    planned = "yes" if line.result.status == "planned" else "no: exploratory"
    counted = counted_text(line).partition(";")[0]
    if found is None:
        why = "too few to compare" if "too few" in line.note else "not answered by these data"
        return (Cell(line.label, heading=True), Cell(""), Cell("–"), Cell(why), Cell(counted),
                Cell(planned))
    return (Cell(line.label, heading=True), Cell(seen_text(found.seen), found.seen[0]),
            Cell(_ratio(found.alone), found.alone), Cell(_ratio(found.adjusted), found.adjusted),
            Cell(counted), Cell(planned))


def model_methods(models: TechniqueModels | None) -> tuple[Block, ...]:
    """How the models were fitted, for the methods."""
    if models is None:
        return ()
    return (plain(
        f"{models.heading}; the plan is printed whole in the supplement. Each model asks for one "
        "technique variable; a later step of the same chain of causes is never adjusted for.",
        "Ratios are marginal, averaged over patients. With one row a patient they come from "
        "penalised likelihood (Firth 1993) with profile intervals (Heinze and Schemper 2002); "
        "with several from penalised estimating equations (Mondol and Rahman 2019), which stay "
        "finite where a variable tells events and non-events apart without fail; their variance "
        "is the larger of the model's own and that of Mancl and DeRouen (2001), clustered on the "
        "patient, with degrees of freedom after Bell and McCaffrey (2002).",
        "Blood loss and operation time are modelled on their logarithms, with the same degrees "
        "of freedom and clustered on the patient. With fewer than 8 events no ratio is given.",
        *_gaps_methods(models),
        "Each model is shown with its events per coefficient, separation, variance inflation, "
        "the ratio refitted without each patient in turn, the c statistic (or variation "
        "explained) and calibration slope less their optimism from bootstrap samples of patients "
        "(Harrell and others 1996), and how the variable runs as a curve.",
        "Resections with and without embolization before them were compared with overlap weights "
        "(Li and others 2018), balance told by standardised differences (Austin 2009). The effect "
        "of the operator's case number is adjusted, clustered on the patient.",
        "Risks at a setting are standardised over the rows from the intercept-corrected fit (Puhr "
        "and others 2017). How strong an unmeasured confounder would have to be is told by "
        "E-values (VanderWeele and Ding 2017)."),)


def _gaps_methods(models: TechniqueModels) -> tuple[str, ...]:
    """How gaps were filled, where any model asked for it."""
    if not any(r.model.missing == "imputation" for r in models.results):
        return ()
    return ("Gaps in technique that was there but not recorded were filled 20 times by chained "
            "equations with predictive mean matching that keep a patient's rows together and "
            "hold the outcome (van Buuren 2018), and pooled by Rubin's rules with the degrees of "
            "freedom of Barnard and Rubin (1999); ratios of rows with everything recorded stand "
            "beside. Outcomes were not imputed.",)
