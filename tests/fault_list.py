"""The faults that are planted to see whether the tests catch them (`planted_faults.py`)."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """A plausible slip of one line.

    what: the slip in words; file: where, from the project's root; before: the text as it stands,
    found there exactly once; after: the faulty text; caught_by: the tests that are to fail, as
    pytest takes them (a file, or a test of it: `tests/test_x.py::test_y`).
    """

    what: str
    file: str
    before: str
    after: str
    caught_by: tuple[str, ...]

    @property
    def room(self) -> str:
        """The folder of the faulty file."""
        return self.file.rpartition("/")[0]


R, A, C = "tests/registry", "tests/analyses", "analyses/statistics/control_charts"
SMALL, EDGES = f"{A}/test_small_cells.py", f"{A}/test_edges_of_definitions.py"
LEAVING = f"{R}/privacy/test_leaving.py"
FREEZE, GRADING, LIMITS = (f"{R}/test_{name}.py" for name in (
    "freeze", "grading", "practice_limits"))
TRAIL, STORE = f"{R}/test_audit_trail.py", f"{R}/test_store.py"
RULES, QUERIES, FOLLOW_UP = (f"{R}/test_{name}.py" for name in (
    "rule_errors", "rule_queries", "follow_up"))
UNITS, CELLS = f"{R}/intake/mapping/test_units_written.py", f"{R}/intake/test_cells.py"
RUN_LENGTH, RISK, SERVICE, CHARTS = (f"{A}/monitoring/test_{name}.py" for name in (
    "run_length", "risk_and_funnel", "quality_analysis", "monitoring_charts"))
PENCIL = (f"{SMALL}::test_a_reader_with_a_pencil_gets_no_small_count",
          f"{SMALL}::test_no_table_gives_a_small_count_away")
MIGRATIONS, SENSE, SENSE_EDGES = (f"{R}/test_{name}.py" for name in (
    "numbered_migrations", "clinical_sense", "edges_of_sense"))
DECLARED = f"{A}/test_declared_questions.py"
FUNCTION, HAEMORRHAGE = f"{A}/test_function.py", f"{A}/test_haemorrhage.py"

IN_REGISTRY = (
    Fault("counts of 4 are not small", "registry/privacy/suppression.py",
          "SMALLEST = 5", "SMALLEST = 4", (LEAVING,)),
    Fault("ages capped at 99", "registry/privacy/leaving.py",
          "OLDEST = 90", "OLDEST = 99", (LEAVING,)),
    Fault("who waits with a correction is not counted as harm waiting", "registry/freeze/who.py",
          'errors.get("updates_with_death_or_complication", 0)', '0',
          (f"{FREEZE}::test_a_correction_that_waits_with_harm_refuses_a_freeze",)),
    Fault("the purpose is left out of the hash", "registry/freeze/freeze_content.py",
          '{"purpose": self.purpose, ', "{",
          (f"{FREEZE}::test_the_purpose_and_who_was_left_out_stand_in_the_hash",)),
    Fault("all digits in the hash", "registry/freeze/freeze_content.py",
          "DIGITS = 12", "DIGITS = 17",
          (f"{FREEZE}::test_worked_out_numbers_enter_the_hash_with_twelve_digits",)),
    Fault("refused patients enter a freeze for research", "registry/freeze/who.py",
          'if purpose == "research"', 'if purpose == "quality"',
          (f"{FREEZE}::test_only_granted_and_waived_enter_a_freeze_for_research",)),
    Fault("Ponce class B up to grade IV", "registry/clinical/scores.py",
          '4: "C"', '4: "B"', (GRADING,)),
    Fault("30 mm is still small", "registry/clinical/scores.py",
          "size >= 30", "size > 30", (GRADING,)),
    Fault("a sphere's volume for an ellipsoid's", "registry/clinical/scores.py",
          "math.pi / 6", "math.pi / 3", (GRADING,)),
    Fault("a rate at the limit is too fast", "registry/clinical/practice_limits.py",
          "<= numbers(wanted) + TOLERANCE", "< numbers(wanted) - TOLERANCE", (LIMITS,)),
    Fault("reflux without an agreed limit is within it", "registry/clinical/practice_limits.py",
          ".mask(limit.isna(), False)", ".mask(limit.isna(), True)", (LIMITS,)),
    Fault("a score of 6 after the death is a living visit", "registry/rules/deaths_and_life.py",
          "< 6)", "<= 6)", (RULES,)),
    Fault("sessions compared with the one before alone", "registry/rules/order_of_dates.py",
          ".cummax()", ".shift(0)", (RULES,)),
    Fault("a gap in follow-up from a year", "registry/rules/ask_follow_up.py",
          "GAP_MONTHS = 18", "GAP_MONTHS = 12", (QUERIES,)),
    Fault("the end of a month for its beginning", "registry/rules/known_dates.py",
          'return _edge(dates, known_to, "start")', 'return _edge(dates, known_to, "end")',
          (RULES,)),
    Fault("centigray ten times too large", "registry/old_sheets/mapping/units_written.py",
          '"1000", "cgy": "10"', '"1000", "cgy": "100"', (UNITS,)),
    Fault("dose–area product ten times too large",
          "registry/old_sheets/mapping/units_written.py",
          '"µgym2": "0.01"', '"µgym2": "0.1"', (UNITS,)),
    Fault("day and month the wrong way round", "registry/intake/cell_dates.py",
          "return _from_parts(raw, year, first, second, spec, today)",
          "return _from_parts(raw, year, second, first, spec, today)", (CELLS,)),
    Fault("thousands taken for decimals", "registry/intake/cell_numbers.py",
          'text.replace(".", "").replace(",", ".")', 'text.replace(",", "")', (CELLS,)),
    Fault("a visit is late on its last day", "registry/quality/follow_up.py",
          'windows["until"] < day', 'windows["until"] <= day', (FOLLOW_UP,)),
    Fault("an entry of the audit trail does not name the one before", "registry/store/trail.py",
          '"previous_hash": self._hash', '"previous_hash": NO_HASH', (TRAIL,)),
    Fault("the same source clashes with itself, another does not", "registry/store/decide.py",
          "state.source_id != batch.source_id", "state.source_id == batch.source_id", (STORE,)),
    Fault("rows held back are not carried over", "registry/schema/migrations/carried_over.py",
          "if step.table == table:", "if step.table != table:", (MIGRATIONS,)),
    Fault("held text of a changed list must be typed exactly",
          "registry/schema/migrations/change_steps.py",
          'values.get(self.name, "").strip().casefold()', 'values.get(self.name, "")',
          (MIGRATIONS,)),
    Fault("bleeds linked to two events are asked about", "registry/rules/ask_same_bleed.py",
          "& ~each & ~then_procedure]", "& ~then_procedure]", (SENSE,)),
    Fault("an event is late on day 30", "registry/rules/ask_place_of_events.py",
          "sure(days > WINDOW_DAYS)", "sure(days >= WINDOW_DAYS)", (SENSE_EDGES,)),
)
IN_ANALYSES = (
    Fault("Ponce class B up to grade IV", "analyses/population/unit_frames.py",
          '4: "C"', '4: "B"', (f"{EDGES}::test_ponce_classes_of_the_five_grades",)),
    Fault("alive on day 30 is not known to be alive", "analyses/population/vital_status.py",
          ".map(last) >= sessions", ".map(last) > sessions",
          (f"{EDGES}::test_who_was_seen_on_day_30_is_known_to_be_alive",)),
    Fault("a death on day 30 does not count", "analyses/population/vital_status.py",
          'latest["day"] <= latest', 'latest["day"] < latest',
          (f"{EDGES}::test_a_death_on_day_30_counts_and_on_day_31_does_not",)),
    Fault("the 90-day score is dated on day 30", "analyses/population/vital_status.py",
          ", 90)):", ", 30)):",
          (f"{EDGES}::test_the_day_of_a_score_is_counted_from_the_event",)),
    Fault("events up to day 29", "analyses/population/counted_events.py",
          "WINDOW_DAYS = 30", "WINDOW_DAYS = 29",
          (f"{A}/test_small_cohort_counts.py::test_day_30_counts_and_day_31_does_not",)),
    Fault("unrelated events counted", "analyses/population/counted_events.py",
          "related & in_window & ~elsewhere", "in_window & ~elsewhere",
          (f"{A}/test_small_cohort_counts.py::test_day_30_counts_and_day_31_does_not",
           f"{EDGES}::test_the_set_leaves_out_what_was_unrelated")),
    Fault("bleeds eight days apart are one", "analyses/population/bleeding.py",
          "SAME_BLEED_DAYS = 7", "SAME_BLEED_DAYS = 8", (HAEMORRHAGE,)),
    Fault("90 days after treatment is too early", "analyses/measures/function.py",
          "since >= DAYS_AFTER", "since > DAYS_AFTER", (FUNCTION,)),
    Fault("mRS 2 is dependent", "analyses/measures/function.py",
          "INDEPENDENT = 2", "INDEPENDENT = 1", (FUNCTION,)),
    Fault("the 90-day score is not among the worst", "analyses/measures/function.py",
          ", Complications.mrs_90d)\n", ", Complications.mrs_30d)\n",
          (f"{EDGES}::test_the_worst_score_may_be_any_that_was_taken_after_an_event",)),
    Fault("death of the lesion for death of treatment", "analyses/measures/harm.py",
          '.eq("treatment")', '.eq("lesion")',
          (f"{EDGES}::test_a_death_put_down_to_treatment_is_harm_without_any_event",)),
    Fault("the gate lets a flattering point through", "analyses/measures/gate.py",
          "if not (blank & ~lost).any() or known is", "if (blank & ~lost).any() or known is",
          (f"{EDGES}::test_the_gate_gives_no_point_where_only_events_can_be_unknown",)),
    Fault("89 % is nearly complete", "analyses/measures/obliteration.py",
          "NEAR_COMPLETE_PCT = 90.0", "NEAR_COMPLETE_PCT = 95.0",
          (f"{EDGES}::test_nearly_complete_from_90_per_cent",)),
    Fault("a group of four is shown", "analyses/measures/small_cells.py",
          "(e.events, e.n, e.clusters, rest)", "(e.events, e.clusters, rest)",
          (f"{SMALL}::test_the_median_of_a_group_is_told_from_five_patients",)),
    Fault("the few without it told by the number recorded", "analyses/measures/small_cells.py",
          "(e.events, e.n, e.clusters, rest)", "(e.events, e.n, e.clusters)", PENCIL),
    Fault("who is missing in a group told by two of its n", "analyses/measures/small_cells.py",
          "or _small_steps(mine, column)", "or False",
          (f"{SMALL}::test_the_few_missing_in_a_group_are_not_told_by_two_of_its_n",)),
    Fault("a group not told is told by what the others leave",
          "analyses/measures/small_cells.py",
          "or _small_rest(every, mine, column)", "or False",
          (f"{SMALL}::test_the_few_of_no_group_are_not_told_by_the_total",)),
    Fault("the smallest value told where small cells are hidden",
          "analyses/measures/small_cells.py",
          'frozenset({"smallest", "largest", "maximum"})', "frozenset()",
          (f"{SMALL}::test_no_single_value_is_told",)),
    Fault("the earliest of the gravest cases", "analyses/cases/case_choice.py",
          "ascending=[False, False, True]", "ascending=[False, True, True]",
          (f"{EDGES}::test_the_case_shown_is_the_latest_of_the_gravest",)),
    Fault("a signal that is in the log already added again", "analyses/monitoring/watched.py",
          "(c.direction, c.crossed_on) not in logged", "c.crossed_on is not None",
          (f"{A}/monitoring/test_monitoring_plan.py::test_nothing_is_added_twice",)),
    Fault("a limit moved by what came after the baseline",
          "analyses/monitoring/analysis_parts.py",
          'base, later = frame[frame["baseline"]], frame[frame["watched"]]',
          'base, later = frame, frame[frame["watched"]]',
          (f"{A}/monitoring/test_monitoring_plan.py"
           "::test_the_limit_does_not_move_with_what_comes_later",)),
    Fault("a limit from the baseline as if it were certain", f"{C}/cusum_design.py",
          "guarded = base.high if worse else base.low", "guarded = base.observed",
          (f"{A}/monitoring/test_guaranteed_limits.py"
           "::test_fewer_baseline_events_need_a_higher_limit_and_see_less",)),
    Fault("the score without an event has the wrong sign", f"{C}/cusum_scores.py",
          "none = -np.log1p", "none = np.log1p", (RUN_LENGTH,)),
    Fault("two-sigma limits", f"{C}/attribute_charts.py",
          "SIGMAS = 3.0", "SIGMAS = 2.0", (CHARTS,)),
    Fault("flags of the printed level", "analyses/statistics/proportions/independent.py",
          "limits(found, n, 0.95)", "limits(found, n, level)",
          (f"{A}/test_proportions.py",)),
    Fault("one tail for two", "analyses/statistics/proportions/intervals.py",
          "proportion_confint(x, n, alpha=1 - level, method=method)",
          "proportion_confint(x, n, alpha=2 * (1 - level), method=method)",
          (f"{A}/test_proportions.py",)),
    Fault("Newcombe's arms swapped", "analyses/statistics/proportions/difference_limits.py",
          "np.hypot(one - low_1, high_2 - two)", "np.hypot(high_1 - one, two - low_2)",
          (f"{A}/test_proportions.py", f"{A}/test_clustered_difference.py")),
    Fault("Garwood's upper limit a count too low", "analyses/statistics/rates/rates.py",
          "confint_poisson(np.asarray(events, dtype=float), 1, \"exact-c\", alpha=1 - level)",
          "confint_poisson(np.asarray(events, dtype=float) - 0.5, 1, \"exact-c\", alpha=1 - level)",
          (f"{A}/test_rates.py",)),
    Fault("the ranks of a clustered median take rows for patients",
          "analyses/statistics/measurements/medians.py",
          "by_patient.totals(off / n, patient)", "by_patient.totals(off / n, np.arange(n))",
          (f"{A}/test_medians.py",)),
    Fault("at risk on the day of the event no more",
          "analyses/statistics/timetoevent/at_risk.py",
          'np.sort(people.duration), times, side="left")',
          'np.sort(people.duration), times, side="right")',
          (f"{A}/test_timetoevent_survival.py",)),
    Fault("Greenwood without the survivors", "analyses/statistics/timetoevent/kaplan_meier.py",
          "_share(d, n * (n - d), 0.0)", "_share(d, n * n, 0.0)",
          (f"{A}/test_timetoevent_survival.py",)),
    Fault("Rubin's variance between sets not inflated", "analyses/statistics/regression/rubin.py",
          "total = within + (1 + 1 / m) * between", "total = within + between",
          (f"{A}/regression/test_rubin.py",)),
    Fault("maximum likelihood for Firth's", "analyses/statistics/regression/firth.py",
          "penalty: float = 0.5, weights", "penalty: float = 0.0, weights",
          (f"{A}/regression/test_firth.py",)),
    Fault("the mirrored tail of a new series", "analyses/statistics/pooling/predictive.py",
          "self.quantile(0.5 - level / 2)",
          "self.quantile(0.5 - level / 4)",
          (f"{A}/literature/test_pooling_of_proportions.py",)),
    Fault("above and below published series swapped", "analyses/literature/place.py",
          "if ours[0] > theirs[1]:", "if ours[1] < theirs[0]:",
          (f"{A}/literature/test_place_among_series.py",)),
    Fault("a blank answers no", "analyses/study/condition.py",
          "answer = answer.mask(side.isna())", "answer = answer.fillna(False)",
          (f"{A}/study/test_study_where.py::test_a_blank_is_neither_yes_nor_no",)),
    Fault("a small difference is written as zero", "analyses/words/numerals.py",
          "round(size, 1) > 0", "round(size, 1) >= 0", (f"{A}/test_numerals.py",)),
    Fault("who was seen again is the one lost", "analyses/measures/gate.py",
          "& ~seen.astype(bool)", "& seen.astype(bool)",
          (f"{A}/test_small_cohort_counts.py",)),
    Fault("P values adjusted for false discoveries", "analyses/models/questions_answered.py",
          'method="holm"', 'method="fdr_bh"', (DECLARED,)),
    Fault("each declared question at 95 % alone", "analyses/models/questions_answered.py",
          "return 1 - FAMILY / max(pairs + ratios, 1)", "return 1 - FAMILY", (DECLARED,)),
    Fault("shared patients widen a difference",
          "analyses/statistics/proportions/difference_limits.py",
          "- 2 * together * first * second", "+ 2 * together * first * second",
          (f"{A}/test_clustered_difference.py",)),
    Fault("a rare event tells its own correlation", "analyses/statistics/proportions/clusters.py",
          "(WORTH * TYPICAL_CORRELATION + few", "(0.1 * TYPICAL_CORRELATION + few",
          (f"{A}/test_clustered_proportion.py",)),
)
FAULTS: tuple[Fault, ...] = (*IN_REGISTRY, *IN_ANALYSES)
