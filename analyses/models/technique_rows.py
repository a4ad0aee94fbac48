"""What technique is worked out from: the sessions of a procedure, a lesion or a patient.

A part that was not recorded leaves the whole blank, unless it is settled by the others.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from analyses.population.counted_events import LESION, SESSION, unit_key
from analyses.population.procedure_rows import case_numbers_of, formulation
from analyses.population.unit_frames import Units, once
from registry.clinical.scores import nidus_volume_ml
from registry.clinical.technique import VENOUS_PASSAGE, session_technique
from registry.schema import Injections, Sessions

if TYPE_CHECKING:
    from pandas.core.groupby import DataFrameGroupBy


@once
def session_rows(units: Units) -> pd.DataFrame:
    """Sessions rows with their technique, `nidus_ml`, `procedure` (its key) and `case_number`.

    `venous_passage` is the worst that was not intended.
    """
    sessions = units.tables["sessions"].reset_index(drop=True)
    worked = session_technique(
        sessions, not_on_purpose(units.tables["injections"]), units.tables["lesions"])
    keys = unit_key(sessions, SESSION)
    procedures = units.sessions[["key", "rows"]].explode("rows").set_index("rows")["key"]
    lesions = units.tables["lesions"]
    nidus = nidus_volume_ml(*(lesions[f"nidus_{side}_mm"] for side in (
        "length", "width", "height")))
    volumes = pd.Series(np.asarray(nidus, float), index=unit_key(lesions, LESION))
    return worked.assign(
        session_date=sessions[Sessions.session_date], key=keys, lesion=unit_key(sessions, LESION),
        procedure=keys.map(procedures), case_number=keys.map(case_numbers_of(units)),
        nidus_ml=unit_key(sessions, LESION).map(volumes).astype(float))


def not_on_purpose(injections: pd.DataFrame) -> pd.DataFrame:
    """The injections with no agent in a vein that was to be closed.

    Intended closure of a vein is neither a complication nor an exposure of one (analysis plan).
    """
    meant = injections[Injections.venous_occlusion_intended].fillna(False).astype(bool)
    passage = injections[Injections.venous_passage].mask(meant, VENOUS_PASSAGE[0])
    return injections.assign(**{Injections.venous_passage: passage})


@dataclass(frozen=True, eq=False)
class TechniqueRows:
    """The sessions rows of units and their injections; a series drawn from it has a row a unit.

    rows: as `session_rows`; by: the column that names the unit; injections: the units'
    injections of those rows, with the column `by`.
    """

    rows: pd.DataFrame
    by: str
    injections: pd.DataFrame

    @cached_property
    def units(self) -> pd.Index:
        """The units, in order: the index of every series of them."""
        return self.rows.groupby(self.by).size().index

    @cached_property
    def liquid(self) -> pd.DataFrame:
        """The rows in which a liquid was injected, or in which that is not known."""
        return self.rows[self.rows["agent_group"].ne("no liquid").fillna(True)]

    @cached_property
    def with_liquid(self) -> pd.Series:
        """Whether a liquid was injected (or it is not known)."""
        return pd.Series(self.units.isin(self.liquid[self.by]), index=self.units)

    @cached_property
    def agent_ml(self) -> pd.Series:
        """The volume of all liquids, mL."""
        return whole(self.rows.groupby(self.by), Injections.agent_ml, "sum")

    @cached_property
    def push_min(self) -> pd.Series:
        """The time in which a liquid was pushed, min."""
        return whole(self.liquid.groupby(self.by), "push_min", "sum")

    @cached_property
    def nidus_ml(self) -> pd.Series:
        """The volume of the lesions treated, mL."""
        lesions = self.rows.drop_duplicates([self.by, "lesion"])
        return lesions.groupby(self.by)["nidus_ml"].agg(lambda part: part.sum(skipna=False))

    @cached_property
    def formulation(self) -> pd.Series:
        """The liquid used, "several liquids" where more than one."""
        return formulation(self.injections, self.by).reindex(self.units)

    @cached_property
    def case_number(self) -> pd.Series:
        """Procedures the operator had done before the (first) one."""
        first = self.rows.groupby(self.by)["case_number"].min()
        return first.astype("Float64").astype(float)


def whole(grouped: DataFrameGroupBy[Any, Any], name: str, how: str) -> pd.Series:
    """A sum (or the largest), blank where one of the parts is."""
    found: pd.Series = grouped[name].agg(how).astype("Float64").astype(float)
    return found.where(grouped[name].count() == grouped.size())
