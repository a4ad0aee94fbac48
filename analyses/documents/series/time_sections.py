"""The case series' sections on haemorrhage, and on what happened over time."""

from __future__ import annotations

from collections.abc import Sequence

from analyses.content.blocks import (
    Block,
    Cell,
    Paragraph,
    Picture,
    Section,
    Sentence,
    Table,
    plain,
)
from analyses.documents.tables.measure_tables import definitions, number_cell
from analyses.figures.figures_rates import rate_figure
from analyses.figures.figures_survival import incidence_figure, survival_figure
from analyses.measures import haemorrhage as bleeds
from analyses.measures import over_time as time
from analyses.measures import over_time_compared as compared
from analyses.measures.declared import about
from analyses.measures.durations import (
    bleed_durations,
    obliteration_durations,
    recurrence_durations,
)
from analyses.measures.group_words import GROUP_LABELS, level_label
from analyses.measures.results import Results
from analyses.statistics.estimate import Estimate, replaced
from analyses.words.numerals import whole

MOST_CURVES = 4
LESION_YEARS, PATIENT_YEARS = "Years from the lesion's first treatment", (
    "Years from the first treatment")
CURVES = (
    (time.OBLITERATION, "lesion"), (time.WEIGHTED, "lesion"), (time.BRACKETED, "lesion"),
    (time.DEATH_FIRST, "lesion"), (time.RECURRENCE, "lesion"),
    (time.RECURRENCE_BRACKETED, "lesion"), (time.BLEED_FREE, "patient"),
    (time.FIRST_BLEED, "patient"),
)


def haemorrhage_section(results: Results) -> Section:
    """Haemorrhages per 100 patient-years by stage, with their ratios."""
    return Section("Haemorrhage", (
        plain(
            "Bleeds of a patient within 7 days are one, a bleed that is also a complication is "
            "one, and the presenting bleed does not count.",
            "Under treatment runs from the first treatment to the catheter angiogram that "
            "confirmed the closure of every treated lesion; the days from a treatment to day 30, "
            "which hold the bleeds of procedures, are also shown apart.",
            "Before treatment, by presentation and not by rupture: whether a lesion had bled "
            "before treatment is only known afterwards. Patients enter mostly because they were "
            "treated, so those who died of a bleed first may be missing and that rate be too "
            "low; those recorded and never treated stay in it to their last contact.",
        ),
        rates_table(results), rates_picture(results), ratios_table(results),
    ))


def rates_table(results: Results) -> Table:
    """Every rate: stage, group, events, person-time, rate."""
    rows = []
    for e in _of(results, bleeds.ID):
        group = dict(e.group or {"stage": "since the first treatment"})
        stage = group.pop("stage")
        rows.append((Cell(stage, heading=True), Cell(_group_words(group) or "all"),
                     _noted(e), _patients(e), Cell("; ".join(e.notes()))))
    return Table("haemorrhage-rates", "Haemorrhages per 100 patient-years", (
        "Stage", "Patients who", "Haemorrhages in person-time (rate, 95 % interval)", "Patients",
        "Notes"), tuple(rows), (
            *definitions([(bleeds.ID, bleeds.UNIT)]),
            "Exact Poisson limits (Garwood 1936), widened where a patient bled more than once "
            "(Ulm 1990)."))


def rates_picture(results: Results) -> Picture:
    """The rates of the stages of the main text; the parts stand in the supplement's table."""
    found = [e for e in _of(results, bleeds.ID) if e.group and tuple(e.group) == ("stage",)
             and e.group["stage"] in bleeds.IN_MAIN_TEXT]
    labels = [_wrapped(e.group["stage"]) for e in found if e.group]
    caption = "Haemorrhages per 100 patient-years by stage, with 95 % intervals"
    alt = f"{caption}: " + "; ".join(
        f"{e.group['stage']} {e.number_text()}" for e in found if e.group)
    return Picture("haemorrhage-rates-by-stage", caption, alt, lambda width: rate_figure(
        found, labels, width, "Haemorrhages per 100 patient-years (log scale)"), tuple(found),
                   rows_seen=False)


def ratios_table(results: Results) -> Table:
    """Rate ratios between stages, and between ruptured and not."""
    rows = []
    for e in _of(results, bleeds.RATIO):
        group = dict(e.group or {})
        stage = group.pop("stage")
        rows.append((Cell(stage, heading=True), Cell(_group_words(group)), _noted(e),
                     Cell("; ".join(e.notes()))))
    return Table("haemorrhage-ratios", "Ratios of haemorrhage rates", (
        "Stages", "Patients who", "Ratio (95 % interval)", "Notes"), tuple(rows), (
        "First rate over the second; exact interval given all events, widened because the same "
        "patients stand in both. Stages differ in more than the treatment: who bled early was "
        "treated early, and the longest under treatment are those hardest to close.",))


def over_time_section(results: Results) -> Section:
    """Curves with their numbers, comparisons, and what imaging dates leave open."""
    blocks: list[Block] = [
        plain(
            "Time runs from the first treatment. Confirmed obliteration dates from the catheter "
            "angiogram that first showed it; a patient who dies first can no longer have it, and "
            "one lost to follow-up is censored.",
            "A lesion that opened again keeps its first day of confirmation: what came later is "
            "its recurrence, watched to its last image.",
            "A closure or a bleed makes its own contact and its absence does not: curves censored "
            "at the last contact run a little high."),
        _follow_up(results), curves_table(results), *obliteration_pictures(results),
        *bleed_free_pictures(results), *_recurrence_picture(results),
        grouped_time_table(results), differences_over_time(results),
    ]
    return Section("Over time", tuple(blocks))


def obliteration_pictures(results: Results) -> list[Block]:
    """Confirmed obliteration over time, and by intent; what imaging dates leave open beside it."""
    if results.hidden:  # Each step of a curve is a patient.
        return [Paragraph((_bracketed_sentence(results),))]
    if not len(obliteration_durations(results.units)):
        return []
    return [_obliteration_picture(results), *_by_group_picture(results, "intent"),
            Paragraph((_bracketed_sentence(results),))]


def bleed_free_pictures(results: Results) -> list[Block]:
    """Life without haemorrhage since the first treatment."""
    if results.hidden or not len(bleed_durations(results.units)):
        return []
    return [_bleed_free_picture(results)]


def curves_table(results: Results) -> Table:
    """Every curve a row, the horizons across."""
    rows = [
        (Cell(about(id).label, heading=True), Cell(f"per {unit}"),
         *(number_cell(results.one(id, unit, {"years": str(year)})) for year in time.HORIZONS))
        for id, unit in CURVES]
    years = [f"{year} year" if year == 1 else f"{year} years" for year in time.HORIZONS]
    return Table("over-time", "Probabilities over time", (
        "Measure", "Unit", *(f"At {words} (95 % interval)" for words in years)), tuple(rows), (
        *definitions(CURVES),
        "Aalen–Johansen estimates with death competing, and Kaplan–Meier; limits log–log; where "
        "a patient has several lesions the variance is by patient."))


def grouped_time_table(results: Results) -> Table:
    """Obliteration and life without haemorrhage by group."""
    rows = []
    for id in (time.OBLITERATION, time.BLEED_FREE):
        for e in _of(results, id):
            group = dict(e.group or {})
            years = group.pop("years")
            if group:
                rows.append((Cell(about(id).label, heading=True), Cell(_group_words(group)),
                             Cell(years), number_cell(e), _patients(e)))
    return Table("over-time-by-group", "Probabilities over time by group", (
        "Measure", "Group", "Years", "Probability (95 % interval)", "Patients"), tuple(rows),
        folded=True)


def differences_over_time(results: Results) -> Table:
    """Differences with the test of all groups beside them, never the test alone."""
    rows = []
    for id in (compared.DIFFERENCE, compared.MEAN_DIFFERENCE):
        for e in _of(results, id):
            group = dict(e.group or {})
            years = group.pop("years")
            rows.append((Cell(about(id).label, heading=True), Cell(_group_words(group)),
                         Cell(years), _noted(e), Cell("; ".join(e.notes()))))
    return Table("over-time-differences", "Groups compared over time", (
        "Measure", "Groups", "Years", "Difference (95 % interval)", "Test of all the groups"),
        tuple(rows), (
        "Groups of an observational series differ in more than what names them. Gray's test "
        "(1988) of cumulative incidence; log-rank test of life without haemorrhage; each is of "
        "all the groups of its kind together.",), folded=True)


def _follow_up(results: Results) -> Paragraph:
    median = results.one(time.FOLLOW_UP, "patient")
    mean = _of(results, time.RESTRICTED)[0]
    said = [Sentence(median.sentence(about(time.FOLLOW_UP).subject), (median,))]
    if mean.value is not None:
        said.append(_within(mean))
    return Paragraph(tuple(said))


def _obliteration_picture(results: Results) -> Picture:
    rows = obliteration_durations(results.units)
    curves = time.incidence(rows, time.OBLITERATION, "lesion")
    assert curves is not None
    at_two = results.one(time.OBLITERATION, "lesion", {"years": str(time.GROUPED_AT)})
    caption = ("Cumulative incidence of confirmed obliteration and of death before it, lesions, "
               "with 95 % intervals and the numbers still followed")
    return Picture(
        "confirmed-obliteration", caption,
        f"{caption}: obliteration confirmed by {time.GROUPED_AT} years {at_two.number_text()}.",
        lambda width: incidence_figure(
            curves, width, time_label=LESION_YEARS, value_label="Cumulative incidence",
            cause_labels={1: "confirmed", 2: "died first"}), (at_two,))


def _by_group_picture(results: Results, column: str) -> list[Picture]:
    """The curves of the largest groups, where there are two or more to show."""
    rows = obliteration_durations(results.units)
    names = time.large_groups(rows, column)
    largest = sorted(names, key=lambda name: -int((rows[column] == name).sum()))[:MOST_CURVES]
    names = [name for name in names if name in largest]
    if len(names) < 2:
        return []
    shown = rows[rows[column].isin(names)].reset_index(drop=True)
    curves = time.incidence(shown, time.OBLITERATION, "lesion", column)
    assert curves is not None
    found = [e for e in _of(results, time.OBLITERATION) if e.group and e.group.get(column) in names]
    heading = GROUP_LABELS[column].lower()
    caption = (f"Cumulative incidence of confirmed obliteration by {heading}, lesions; the "
               f"{len(names)} largest groups, no other drawn")
    alt = f"{caption}: " + "; ".join(
        f"{e.group[column]} {e.number_text()}" for e in found if e.group)
    return [Picture(
        f"confirmed-obliteration-by-{column}", caption, alt, lambda width: incidence_figure(
            curves, width, time_label=LESION_YEARS, value_label="Confirmed obliteration"),
        tuple(found))]


def _bleed_free_picture(results: Results) -> Picture:
    curves = time.bleed_free(bleed_durations(results.units))
    assert curves is not None
    at_two = results.one(time.BLEED_FREE, "patient", {"years": str(time.GROUPED_AT)})
    caption = ("Alive without haemorrhage since the first treatment, patients, with 95 % "
               "interval and the numbers still followed")
    return Picture(
        "haemorrhage-free", caption,
        f"{caption}: at {time.GROUPED_AT} years {at_two.number_text()}.",
        lambda width: survival_figure(curves, width, time_label=PATIENT_YEARS,
                                      value_label="Alive without haemorrhage"), (at_two,))


def _recurrence_picture(results: Results) -> Sequence[Block]:
    rows = recurrence_durations(results.units)
    at_two = results.one(time.RECURRENCE, "lesion", {"years": str(time.GROUPED_AT)})
    if rows.empty or not rows["event"].any():
        return [Paragraph((_within(at_two),))]
    curves = time.incidence(rows, time.RECURRENCE, "lesion")
    assert curves is not None
    caption = ("Recurrence after confirmed obliteration, lesions, watched to the last image, "
               "with 95 % interval")
    return [Picture(
        "recurrence", caption, f"{caption}: by {time.GROUPED_AT} years {at_two.number_text()}.",
        lambda width: incidence_figure(
            curves, width, time_label="Years from confirmed obliteration",
            value_label="Seen again", cause_labels={1: "recurrence"}), (at_two,))]


def _bracketed_sentence(results: Results) -> Sentence:
    """How far imaging dates leave the day of closure open, and what that changes."""
    width = results.one(time.WIDTH, "lesion")
    plain_result, turnbull = (
        results.one(id, "lesion", {"years": str(time.GROUPED_AT)})
        for id in (time.OBLITERATION, time.BRACKETED))
    if width.value is None:
        return Sentence("No closure was confirmed, so none lies between two images.", (width,))
    widest = next((e.value for e in width.beside if e.kind == "maximum"), None)
    at_most = "" if widest is None else f" (at most {whole(widest)})"
    said = (f"Imaging only brackets a closure: the median time between the last image or "
            f"treatment with an open nidus and its confirmation is {whole(width.value)} "
            f"days{at_most}. Dated by confirmation, {plain_result.number_text()} by "
            f"{time.GROUPED_AT} years; by Turnbull's estimate of closure itself, "
            f"{turnbull.number_text()}.")
    return Sentence(said, (width, plain_result, turnbull))


def _within(e: Estimate) -> Sentence:
    """A sentence that says the years of its estimate in words."""
    years = (e.group or {}).get("years", "")
    ungrouped = replaced(e, group=None)
    return Sentence(ungrouped.sentence(f"{about(e.id).subject} within {years} years"), (e,))


def _noted(e: Estimate) -> Cell:
    """The numbers without a mark, for tables whose last column holds the notes."""
    return Cell(e.number_text(), e)


def _of(results: Results, id: str) -> list[Estimate]:
    return [e for e in results.estimates if e.id == id]


def _group_words(group: dict[str, str]) -> str:
    return ", ".join(f"{GROUP_LABELS.get(k, k)}: {level_label(k, v)}" for k, v in group.items())


def _patients(e: Estimate) -> Cell:
    return Cell("" if e.clusters is None else f"{e.clusters:,}")


def _wrapped(stage: str) -> str:
    """A part of a stage on two lines, set in below the whole."""
    return stage.replace(", ", ",\n") if "," in stage else stage
