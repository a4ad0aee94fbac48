"""The truth and the analyses count alike: the same cohort, counted by two separate programs.

`synthetic_cohort.tally` counts arrays; `analyses` counts tables. Every numerator and every
denominator must be equal, overall and by grade and rupture.
"""

from __future__ import annotations

import numpy as np
import pytest

from analyses.measures.declared import estimates_of
from analyses.measures.durations import obliteration_durations
from analyses.measures.haemorrhage import haemorrhage_estimates
from analyses.population.unit_frames import units_of
from synthetic_cohort.draws import Streams
from synthetic_cohort.observe import observe
from synthetic_cohort.persontime import obliteration_times
from synthetic_cohort.registry_tables import all_tables
from synthetic_cohort.settings import CohortSettings
from synthetic_cohort.simulate import simulate
from synthetic_cohort.tally import tallies


@pytest.mark.parametrize(("seed", "settings"), [
    (1, CohortSettings(part_dates=0.0)),
    (2, CohortSettings(part_dates=0.0, complication_risk=0.3, two_lesions=0.5)),
    (3, CohortSettings(part_dates=0.0, loss_per_year=1.0, not_embolized=0.3, bleed_under=20.0)),
])
def test_both_count_the_same(seed: int, settings: CohortSettings) -> None:
    s = Streams(seed)
    simulation = simulate(s, settings, 700)
    observe(s, simulation)
    counted = tallies(simulation)
    units = units_of(all_tables(s, settings, simulation))
    estimates = [
        *estimates_of("complications", units), *estimates_of("obliteration", units),
        *estimates_of("function", units), *estimates_of("favourable outcome", units),
        *estimates_of("resection", units),
        *haemorrhage_estimates(units),
    ]
    compared = set()
    for estimate in estimates:
        group = ";".join(f"{k}={v}" for k, v in (estimate.group or {}).items())
        key = (estimate.id, estimate.unit, group)
        if key in counted:
            below = estimate.denominator if estimate.id == "rate.haemorrhage" else estimate.n
            assert counted[key] == pytest.approx((estimate.events, below), rel=1e-9), key
            compared.add(key)
    assert {id for id, _, _ in compared} >= {
        "complication.any", "complication.symptomatic", "complication.haemorrhagic",
        "complication.haemorrhagic_symptomatic", "complication.haemorrhagic_without_navigation",
        "complication.ischaemic", "complication.permanent_deficit", "complication.death_30d",
        "death.all_cause_30d", "complication.retained_catheter",
        "combined.permanent_deficit_or_death", "obliteration.embolization_complete",
        "obliteration.embolization_near_complete", "obliteration.resection_complete",
        "obliteration.final_confirmed", "obliteration.final_presumed", "function.independent",
        "function.worse", "outcome.favourable", "resection.permanent_deficit",
        "resection.complete_by_extent", "rate.haemorrhage",
    }
    time, code = obliteration_times(simulation)
    lesions = obliteration_durations(units).sort_values(["patient_id", "lesion_no"])
    np.testing.assert_allclose(lesions["years"], time, atol=1e-9)
    np.testing.assert_array_equal(lesions["event"], code)
    assert len(compared) > 120
