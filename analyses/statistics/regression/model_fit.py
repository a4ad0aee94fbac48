"""A fitted model as its reader meets it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate
from analyses.statistics.regression.fitted import SCALES, Fitted
from analyses.statistics.regression.model_rows import ModelRows
from analyses.statistics.regression.predictions import predicted_risk


@dataclass(frozen=True)
class ModelFit:
    """A model, its table, and the words that must go with it.

    table: index `term`; columns estimate, se, low, high and p on the model's own (log) scale;
    A line without numbers is one the data cannot answer; a warning says why.
    estimator: its name; why: one sentence on why that one; warnings: sentences; events: rows
    with the event (None where the outcome is not yes/no); n: rows; clusters: patients.
    """

    table: pd.DataFrame
    estimator: str
    why: str
    warnings: tuple[str, ...]
    events: int | None
    n: int
    clusters: int
    level: float
    rows: ModelRows = field(repr=False)
    fitted: Fitted = field(repr=False)

    @property
    def outcome(self) -> str:
        return self.rows.outcome

    def estimate(self, term: str, unit: str = "row") -> Estimate:
        """The ratio (odds, risk, hazard, geometric means) of one line of the table.

        unit: what a row is called. Raises KeyError for an unknown line.
        """
        line = self.table.loc[term]
        low, high = np.exp(line["low"]), np.exp(line["high"])
        given = np.isfinite(line["estimate"])
        return Estimate(
            id=f"model.{self.outcome}.{term}", kind=SCALES[self.fitted.scale],
            value=float(np.exp(line["estimate"])) if given else None,
            low=float(low), high=float(high), level=self.level,
            method=f"{self.estimator}: {self.fitted.method}", unit=unit, events=self.events,
            n=self.n, clusters=self.clusters, group={"term": term},
        )

    def estimates(self, unit: str = "row") -> tuple[Estimate, ...]:
        """Ratios of every line but the intercept."""
        return tuple(self.estimate(term, unit) for term in self.table.index if term != "intercept")

    def predict(self, frame: pd.DataFrame | None = None) -> Floats:
        """Risks (yes/no outcome) of the rows of `frame`, or of the model's own rows.

        From the intercept-corrected fit (FLIC), so that predicted events sum to observed ones.
        Raises ValueError where the model is not one of risk.
        """
        return predicted_risk(self, self.rows.frame if frame is None else frame)

    def _repr_html_(self) -> str:
        from html import escape

        notes = "".join(f"<li>{escape(sentence)}</li>" for sentence in self.warnings)
        return f"<p>{escape(self.why)}</p><ul>{notes}</ul>{self.table.round(3).to_html()}"


def as_table(fitted: Fitted) -> pd.DataFrame:
    """The table of a fitted model; blank where no number may be shown."""
    shown = ~np.isin(fitted.names, fitted.undetermined)
    return pd.DataFrame(
        {"estimate": np.where(shown, fitted.coefficients, np.nan), "se": fitted.se,
         "low": fitted.low, "high": fitted.high, "p": fitted.p},
        index=pd.Index(fitted.names, name="term"),
    )
