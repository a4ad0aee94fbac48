"""What the columns of a study's frames are: their words, types and units, worked-out ones too."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import pandas as pd

from analyses.models.technique_declared import all_terms
from registry.clinical.technique import AGENT_GROUPS
from registry.freeze.worked_out import worked_out_tables
from registry.schema import TABLES, FieldSpec, Injections, Sessions

if TYPE_CHECKING:
    from collections.abc import Sequence

WORKED_OUT, ADDED = "worked out", "added to this study"

TREATMENT, SESSION, RESECTION, RADIOSURGERY = (
    "treatment", "session", "resection", "radiosurgery")
"""What a column may need of its unit to have a value."""

UNIT_NAMES = ("patient", "lesion", "session", "injection", "catheter", "resection")
"""The units of a study's frames; `study.patients` is the frame of "patient", and so on."""

GRADE_LEVELS: dict[str, Sequence[int | str]] = {
    "sm_grade": range(1, 6), "ponce_class": ("A", "B", "C"), "lawton_young": range(1, 6),
    "lawton_young_sum": range(2, 11),
}
"""Grades and their levels in order, from the mildest."""

DTYPES = {"text": pd.StringDtype(), "int": pd.Int64Dtype(), "number": pd.Float64Dtype(),
          "yes/no": pd.BooleanDtype()}
"""Types whose blanks stay blank when they are compared; a day is `datetime64[ns]`."""


@dataclass(frozen=True)
class Column:
    """A column: its type (text, choice, grade, int, number, yes/no, date), words and source.

    needs: what a unit must have for it to have a value ("treatment", "session" …); a blank of a
    unit without one is not a missing record.
    """

    name: str
    type: str
    label: str
    definition: str
    unit: str = ""
    values: tuple[int | str, ...] = ()
    source: str = WORKED_OUT
    needs: str = ""

    def typed(self, values: pd.Series) -> pd.Series:
        """The values in this column's one type; blanks stay blank."""
        if self.type == "grade":
            wanted = values.astype("Int64" if isinstance(self.values[0], int) else "string")
            return _categories(wanted, self.values, ordered=True)
        if self.type == "choice":
            return _categories(values.astype("string"), self.values, ordered=False)
        if self.type == "date":
            return values.astype("datetime64[ns]")
        return values.astype(DTYPES[self.type])


def of_field(spec: FieldSpec, table: str) -> Column:
    """The column of a field of a table."""
    return Column(spec.name, spec.type, spec.label, spec.definition, spec.unit, spec.values,
                  f"field {table}.{spec.name}")


def fields_of(table: str) -> list[Column]:
    """The columns of a table's fields, in order."""
    return [of_field(spec, table) for spec in TABLES[table].fields]


def grades() -> list[Column]:
    """The columns of the worked-out grades and scores of a lesion."""
    return [_graded(spec) for spec in worked_out_tables()["grades"].fields if not spec.key]


def _graded(spec: FieldSpec) -> Column:
    levels = tuple(GRADE_LEVELS.get(spec.name, ()))
    return Column(spec.name, "grade" if levels else spec.type, spec.label, spec.definition,
                  spec.unit, levels)


def _categories(
    values: pd.Series, listed: Sequence[int | str], *, ordered: bool,
) -> pd.Series:
    """The values as categories in the order of the list; a word outside it comes after."""
    others = sorted(set(values.dropna()) - set(listed))
    dtype = pd.CategoricalDtype([*listed, *others], ordered=ordered)
    return pd.Series(pd.Categorical(list(values.astype("object").where(values.notna(), None)),
                                    dtype=dtype), index=values.index)


INTENTS = TABLES["sessions"].by_name[Sessions.intent].values
AGENTS = (*AGENT_GROUPS, "not embolized")
AGENT_FIELD = TABLES["injections"].by_name[Injections.agent]

GROUPS = (
    Column("sm_grade", "grade", "Spetzler–Martin grade", "Spetzler and Martin 1986; of the "
           "highest lesion where there are several.", values=tuple(range(1, 6))),
    Column("ponce_class", "grade", "Three-tier class", "Spetzler and Ponce 2011.",
           values=("A", "B", "C")),
    Column("ruptured", "yes/no", "Bled before treatment", "Whether a lesion bled before its "
           "first treatment."),
    Column("agent", "choice", "Agent group", "The liquids used, of the whole unit; of an "
           "injection or a catheter: of its session.", values=AGENTS),
    Column("period", "int", "Year", "Calendar year of the (first) session, or of the first "
           "treatment.", needs=TREATMENT),
)
"""The groupings that every unit has."""

INTENT = Column("intent", "choice", "Intent", "Intent of the first session.",
                values=(*INTENTS, "not embolized"), needs=SESSION)

PUSH_MIN = Column("push_min", "number", "Push time", "Injection time less pauses, added up.",
                  "min", needs=SESSION)

TECHNIQUE = (
    *(Column(one.id, one.kind.value, one.label, one.definition, one.unit, one.levels,
             needs=SESSION) for one in all_terms().values()),
    PUSH_MIN,
    Column("case_number", "int", "Case number", "Procedures the operator had done before the "
           "(first) one, counted before anybody was left out.", "procedures", needs=SESSION),
)
"""Worked-out technique of a session, a lesion or a patient."""

OF_INJECTIONS = (
    Column("agent_used", "choice", AGENT_FIELD.label, AGENT_FIELD.definition,
           values=AGENT_FIELD.values, source="field injections.agent"),
    replace(PUSH_MIN, definition="Injection time less pauses."),
    *(Column(one.id, one.kind.value, one.label, one.of_injection, one.unit, one.levels)
      for one in all_terms().values() if one.of_injection),
)
"""Worked-out technique of one injection."""

DATES = (
    Column("treated", "yes/no", "Treated", "Treated in any way."),
    Column("embolized", "yes/no", "Embolized", "Embolized at least once."),
    Column("first_treatment", "date", "First treatment", "Day of the first treatment of any "
           "kind.", needs=TREATMENT),
    Column("last_treatment", "date", "Last treatment", "Day of the last treatment of any kind.",
           needs=TREATMENT),
    Column("first_session", "date", "First session", "Day of the first embolization.",
           needs=SESSION),
)
OPERATED = (
    Column("first_resection", "date", "First resection", "Day of the first resection.",
           needs=RESECTION),
    Column("first_radiosurgery", "date", "First radiosurgery", "Day of the first radiosurgery.",
           needs=RADIOSURGERY),
)
AGE = Column("age_at_treatment", "number", "Age at treatment",
             "Age at the first treatment, capped at 90.", "years", needs=TREATMENT)
LESIONS = Column("lesions", "int", "Lesions", "Lesions of the patient, or treated in the session.",
                 "lesions")
INJECTIONS = Column("injections", "int", "Injections", "Injections of any agent.", "injections")
SESSIONS = Column("sessions", "int", "Sessions", "Embolization procedures.", "sessions")
RETAINED = Column("retained", "yes/no", "Retained", "Part of the catheter was left behind, not by "
                  "design.")
