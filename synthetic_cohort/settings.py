"""What a fictional service is like: every setting, its default and where the number is from."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class CohortSettings:
    """Settings of a fictional service; `demo()` is the one that the demonstration shows.

    Risks and shares lie between 0 and 1; odds ratios are marginal (population-averaged), each
    with the other terms of the complication model held fixed; rates are events a 100
    patient-years. The defaults keep every nuisance independent of outcome (no change in risk,
    loss and missing values at random), so that the analyses' own estimates should find the
    truth; the demonstration switches the nuisances on.
    """

    site_id: str = "LARCH"
    code_prefix: str = "L"

    # Case mix
    two_lesions: float = 0.04          # plausible, no source
    not_embolized: float = 0.05        # resected only; plausible, no source
    ruptured_share: float = 0.45       # of lesions at presentation, about; plausible, no source

    # Complications, a procedure: 29/377 any new deficit in Starke 2009 (Stroke), 23/130 any
    # complication in Pan 2014 (AJNR 35:354); between them.
    complication_risk: float = 0.10
    icc: float = 0.15                  # correlation of two procedures of a patient; no source
    odds_pedicle: float = 1.25         # a further pedicle this procedure
    odds_rate: float = 1.30            # 0.1 mL/min more (mean rate of the procedure)
    odds_reflux: float = 1.80          # reflux past the agreed limit at least once
    odds_venous: float = 1.50          # agent in the draining vein at least once
    odds_grade: float = 1.25           # one Spetzler–Martin grade more
    odds_ruptured: float = 0.90
    odds_first_case: float = 1.60      # an operator's first procedure against the plateau
    learning_cases: float = 30.0       # procedures in which that excess falls to 37 %
    operators: int = 4
    operator_spread: float = 0.0       # SD of the operators' own log-odds
    change_at: int | None = None       # the service's procedure from which the risk changes
    change_odds: float = 1.0
    reflux_share: float = 0.25         # procedures with reflux past the limit

    # Haemorrhage: before treatment as untreated in Kim 2014 (Neurology; ruptured 4.8, unruptured
    # 1.3); under treatment as in van Beijnum 2011 (JAMA 306:2011; 1.7 after embolization).
    bleed_before_ruptured: float = 4.8
    bleed_before_unruptured: float = 1.3
    bleed_under: float = 1.7
    bleed_after: float = 0.15          # plausible, no source

    # Observation
    loss_per_year: float = 0.04        # plausible, no source
    loss_log_hazard_young: float = 0.0     # under 30 at treatment
    loss_log_hazard_unruptured: float = 0.0
    missing_share: float = 0.04        # of each optional field that may be blank
    missing_mechanism: str = "MCAR"    # or "MAR": more in the early years and in busy sessions
    missing_log_odds_early: float = 1.2
    missing_log_odds_ruptured: float = 0.7
    chart_grade_errors: float = 0.01
    part_dates: float = 0.03           # bleeds (and twice as many presentations) to a month only

    def __post_init__(self) -> None:
        if self.missing_mechanism not in ("MCAR", "MAR"):
            raise ValueError("missing_mechanism is MCAR or MAR")
        if not 0 < self.complication_risk < 1 or not 0 <= self.icc < 0.9:
            raise ValueError("complication_risk lies between 0 and 1, icc from 0 to below 0.9")
        if not 1 <= self.operators <= 99:
            raise ValueError("operators lies from 1 to 99")

    @classmethod
    def demo(cls) -> CohortSettings:
        """The demonstration: a change in risk, informative loss, values missing by year."""
        return cls(
            change_at=170, change_odds=0.5, odds_first_case=2.0, operator_spread=0.25,
            loss_log_hazard_young=0.7, loss_log_hazard_unruptured=0.4, missing_share=0.03,
            missing_mechanism="MAR",
        )

    @classmethod
    def plain(cls, risk: float, icc: float) -> CohortSettings:
        """One risk for every procedure: no term of the complication model has an effect."""
        return cls(
            complication_risk=risk, icc=icc, odds_pedicle=1.0, odds_rate=1.0, odds_reflux=1.0,
            odds_venous=1.0, odds_grade=1.0, odds_ruptured=1.0, odds_first_case=1.0,
        )

    def but(self, **changes: object) -> CohortSettings:
        """These settings with some changed."""
        return replace(self, **changes)
