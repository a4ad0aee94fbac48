"""Grades and scores against their papers, cut by cut, and on whole tables."""

from __future__ import annotations

import itertools

import pandas as pd
import pytest

from registry.clinical import grading

# Spetzler and Martin 1986, J Neurosurg 65:476: (size class, eloquent, deep drainage) -> grade.
SPETZLER_MARTIN = {
    ("small", False, "none"): 1, ("small", False, "deep"): 2,
    ("small", True, "none"): 2, ("small", True, "deep"): 3,
    ("medium", False, "none"): 2, ("medium", False, "deep"): 3,
    ("medium", True, "none"): 3, ("medium", True, "deep"): 4,
    ("large", False, "none"): 3, ("large", False, "deep"): 4,
    ("large", True, "none"): 4, ("large", True, "deep"): 5,
}
DIAMETERS = {"small": (5, 29.9), "medium": (30, 60), "large": (60.1, 110)}


@pytest.mark.parametrize(("parts", "grade"), SPETZLER_MARTIN.items())
def test_all_twelve_spetzler_martin_combinations(parts, grade):
    size, eloquent, drainage = parts
    words = ("part", "exclusive") if drainage == "deep" else ("none",)
    for diameter, word in itertools.product(DIAMETERS[size], words):
        assert grading.sm_grade(diameter, eloquent, word) == grade


def test_a_column_gives_what_its_single_values_give():
    rows = [
        (DIAMETERS[size][0], eloquent, "part" if drainage == "deep" else "none", grade)
        for (size, eloquent, drainage), grade in SPETZLER_MARTIN.items()
    ]
    table = pd.DataFrame(rows, columns=["mm", "eloquent", "deep", "grade"], index=range(40, 52))
    grades = grading.sm_grade(table["mm"], table["eloquent"], table["deep"])
    assert grades.dtype == "Int64"
    assert grades.index.equals(table.index)
    assert grades.tolist() == table["grade"].tolist()


@pytest.mark.parametrize("missing", [None, float("nan"), pd.NA])
def test_a_missing_part_leaves_every_score_blank(missing):
    whole = {
        grading.nidus_volume_ml: (30, 20, 20),
        grading.sm_grade: (30, True, "none"),
        grading.ponce_class: (3,),
        grading.lawton_young: (30, True, "diffuse"),
        grading.buffalo_score: (3, "mostly over 1 mm", True),
        grading.avmes: (3, 2, 25, False),
        grading.embolization_risk: (2, "part", False, 40),
        grading.rbas: (3, 40, "thalamus"),
        grading.vras: (3, True, False),
    }
    for score, parts in whole.items():
        assert not pd.isna(score(*parts))
        for position in range(len(parts)):
            gap = [missing if i == position else part for i, part in enumerate(parts)]
            assert score(*gap) is pd.NA, (score.__name__, position)


def test_a_word_that_is_not_of_the_list_is_refused():
    with pytest.raises(ValueError, match="deep_drainage: found 'deep'; wanted one of: none"):
        grading.sm_grade(20, True, "deep")


def test_columns_of_two_tables_are_not_mixed():
    with pytest.raises(ValueError, match="same rows"):
        grading.nidus_volume_ml(pd.Series([1, 2]), pd.Series([1, 2], index=[5, 6]), 3)


def test_ellipsoid_volume():
    # Geometry: π/6 · 30 · 20 · 20 mm³.
    assert grading.nidus_volume_ml(30, 20, 20) == pytest.approx(6.283, abs=5e-4)


def test_three_tier_class():
    # Spetzler and Ponce 2011, J Neurosurg 114:842: A is I and II, B is III, C is IV and V.
    assert [grading.ponce_class(g) for g in (1, 2, 3, 4, 5)] == ["A", "A", "B", "C", "C"]
    assert grading.ponce_class(6) is pd.NA


@pytest.mark.parametrize(("age", "points"), [
    (0, 1), (19.9, 1), (20, 2), (40, 2), (40.1, 3), (88, 3),
])
def test_supplementary_grade_age_cuts(age, points):
    # Lawton 2010, Neurosurgery 66:702: under 20 1, 20–40 2, over 40 3.
    assert grading.lawton_young(age, True, "compact") == points


def test_supplementary_grade_adds_unruptured_and_diffuse():
    # Lawton 2010: the scale runs from 1 to 5.
    assert grading.lawton_young(10, True, "compact") == 1
    assert grading.lawton_young(10, False, "compact") == 2
    assert grading.lawton_young(10, True, "diffuse") == 2
    assert grading.lawton_young(50, False, "diffuse") == 5


@pytest.mark.parametrize(("count", "points"), [(1, 1), (3, 1), (4, 2), (6, 2), (7, 3), (20, 3)])
def test_avmes_cuts_of_pedicles_and_veins(count, points):
    # Lopes 2016, J NeuroIntervent Surg 8:685: ≤3, 4–6, >6.
    assert grading.avmes(count, 1, 20, False) == points + 2
    assert grading.avmes(1, count, 20, False) == points + 2


@pytest.mark.parametrize(("mm", "points"), [
    (30, 1), (30.1, 2), (35, 2), (40, 2), (60, 2), (60.1, 3), (70, 3),
])
def test_avmes_size_between_two_classes_takes_the_higher(mm, points):
    assert grading.avmes(1, 1, mm, False) == points + 2


def test_avmes_runs_from_three_to_ten():
    # Lopes 2016: "ranges from 3 to 10".
    assert grading.avmes(1, 1, 10, False) == 3
    assert grading.avmes(7, 7, 70, True) == 10


def test_embolization_risk_factor_by_factor():
    # Starke 2009, Stroke, PMC2745321: more than one session planned, deep, eloquent 1 each;
    # under 3 cm 1, over 6 cm 2.
    assert grading.embolization_risk(1, "none", False, 30) == 0
    assert grading.embolization_risk(2, "none", False, 30) == 1
    assert grading.embolization_risk(1, "part", False, 30) == 1
    assert grading.embolization_risk(1, "none", True, 60) == 1
    assert grading.embolization_risk(1, "none", False, 29.9) == 1
    assert grading.embolization_risk(1, "none", False, 60.1) == 2
    assert grading.embolization_risk(3, "exclusive", True, 61) == 5


def test_modified_radiosurgery_score():
    # Formula as in Int J Radiat Oncol Biol Phys 2011;79:1147; worked by hand:
    # 0.1 · 3.3 + 0.02 · 38 = 1.09, and 0.5 more in the thalamus.
    assert grading.rbas(3.3, 38, "frontal") == pytest.approx(1.09)
    for deep in ("thalamus", "basal ganglia", "brainstem"):
        assert grading.rbas(3.3, 38, deep) == pytest.approx(1.59)
    for site in ("corpus callosum", "cerebellum", "intraventricular", "insula", "other"):
        assert grading.rbas(3.3, 38, site) == pytest.approx(1.09)


@pytest.mark.parametrize(("volume", "points"), [
    (0.5, 0), (1.99, 0), (2, 1), (4, 1), (4.01, 2), (30, 2),
])
def test_virginia_scale_volume_cuts(volume, points):
    # Starke 2013, J Neurosurg 119:981: under 2 mL 0, 2–4 mL 1, over 4 mL 2.
    assert grading.vras(volume, False, False) == points
    assert grading.vras(volume, True, False) == points + 1
    assert grading.vras(volume, True, True) == points + 2


@pytest.mark.parametrize(("pedicles", "points"), [(1, 1), (2, 1), (3, 2), (4, 2), (5, 3), (9, 3)])
def test_buffalo_score(pedicles, points):
    # Dumont 2015, Surg Neurol Int 6:3; the points are from memory.
    assert grading.buffalo_score(pedicles, "mostly over 1 mm", False) == points
    assert grading.buffalo_score(pedicles, "mostly up to 1 mm", True) == points + 2


def test_every_score_names_its_paper_and_the_caution_is_at_hand():
    for name in ("sm_grade", "ponce_class", "lawton_young", "buffalo_score", "avmes",
                 "embolization_risk", "rbas", "vras"):
        assert "Source:" in getattr(grading, name).__doc__
    assert grading.SCORE_CAUTION == "describes groups, does not decide treatment"


@pytest.fixture
def tables():
    patients = pd.DataFrame({
        "patient_id": ["AB-001", "AB-002", "AB-003"], "age_y": [39.5, 19.0, 70.0],
        "presentation_date": pd.to_datetime(["2020-01-01", "2021-06-01", "2022-01-01"]),
    }).astype({"patient_id": "string"})
    lesions = pd.DataFrame({
        "patient_id": ["AB-001", "AB-001", "AB-002", "AB-003"], "lesion_no": [1, 2, 1, 1],
        "location": ["frontal", "thalamus", "cerebellum", "temporal"],
        "haemorrhage_before": [False, True, True, False],
        "eloquent": [True, True, False, False],
        "nidus_length_mm": [30.0, 10.0, 65.0, 20.0],
        "nidus_width_mm": [20.0, 10.0, 50.0, None],
        "nidus_height_mm": [20.0, 10.0, 40.0, 20.0],
        "deep_drainage": ["none", "exclusive", "part", "none"],
        "draining_veins": [2, 1, 4, None],
        "nidus_border": ["diffuse", "compact", None, "compact"],
        "feeding_pedicles": [4, 1, 7, 2],
        "feeder_calibre": "mostly over 1 mm",
        "vascular_eloquence": [False, False, True, False],
    }, index=[7, 5, 3, 1]).astype({
        "patient_id": "string", "lesion_no": "Int64", "haemorrhage_before": "boolean",
        "eloquent": "boolean", "draining_veins": "Int64", "feeding_pedicles": "Int64",
        "deep_drainage": "string", "nidus_border": "string", "location": "string",
        "feeder_calibre": "string", "vascular_eloquence": "boolean",
    })
    sessions = pd.DataFrame({
        "patient_id": ["AB-001", "AB-001", "AB-002"], "lesion_no": [1, 1, 1],
        "session_no": [2, 1, 1],
        "session_date": pd.to_datetime(["2021-03-01", "2021-01-01", "2021-06-02"]),
        "sessions_planned": [1, 2, None],
    }).astype({"patient_id": "string", "lesion_no": "Int64", "sessions_planned": "Int64"})
    radiosurgeries = pd.DataFrame({
        "patient_id": ["AB-001", "AB-002"], "lesion_no": [2, 1], "radiosurgery_no": [1, 1],
        "radiosurgery_date": pd.to_datetime(["2022-01-01", "2023-06-01"]),
        "target_volume_ml": [4.5, None],
    }).astype({"patient_id": "string", "lesion_no": "Int64"})
    return patients, lesions, sessions, radiosurgeries


def test_grades_of_a_whole_registry(tables):
    graded = grading.add_grades(*tables)
    assert graded.index.tolist() == [7, 5, 3, 1]
    assert {name: str(graded[name].dtype) for name in grading.GRADE_COLUMNS} \
        == grading.GRADE_COLUMNS
    first, second, third, fourth = (graded.loc[row] for row in (7, 5, 3, 1))
    assert first["nidus_volume_ml"] == pytest.approx(6.283, abs=5e-4)
    # 366 days from 2020-01-01 to 2021-01-01, the first session by number.
    assert first["age_at_treatment"] == pytest.approx(39.5 + 366 / 365.25)
    assert (first["sm_grade"], first["ponce_class"]) == (3, "B")
    assert (first["lawton_young"], first["lawton_young_sum"]) == (5, 8)
    assert first["avmes"] == 2 + 1 + 1 + 0
    assert first["embolization_risk"] == 1 + 0 + 1 + 0
    assert first["radiosurgery_basis"] == grading.FROM_NIDUS
    assert first["rbas"] == pytest.approx(0.6283185 + 0.02 * (39.5 + 366 / 365.25))
    assert first["vras"] == 2 + 1
    assert second["age_at_treatment"] == pytest.approx(39.5 + 731 / 365.25)
    assert second["radiosurgery_basis"] == grading.FROM_RADIOSURGERY
    assert second["rbas"] == pytest.approx(0.45 + 0.02 * (39.5 + 731 / 365.25) + 0.5)
    assert second["vras"] == 4
    assert pd.isna(second["embolization_risk"])  # never embolized: no plan was recorded
    assert third["sm_grade"] == 4
    assert pd.isna(third["lawton_young"]) and pd.isna(third["lawton_young_sum"])
    assert third["avmes"] == 10 - 1
    assert pd.isna(third["embolization_risk"])  # the plan is blank, and not read from sessions
    assert pd.isna(third["rbas"]) and pd.isna(third["vras"])  # target volume not recorded
    assert pd.isna(fourth["nidus_volume_ml"]) and fourth["sm_grade"] == 1
    assert pd.isna(fourth["age_at_treatment"]) and pd.isna(fourth["lawton_young"])


def test_an_unconfirmed_score_stays_out_of_the_tables(tables):
    assert grading.add_grades(*tables)["buffalo_score"].isna().all()
    assert "buffalo_score" in grading.UNCONFIRMED_SCORES


def test_a_resection_before_any_session_is_the_first_treatment(tables):
    resections = pd.DataFrame({
        "patient_id": ["AB-003"], "lesion_no": [1], "resection_no": [1],
        "resection_date": pd.to_datetime(["2023-01-01"]),
    })
    graded = grading.add_grades(*tables, resections=resections)
    assert graded.loc[1, "age_at_treatment"] == pytest.approx(70 + 365 / 365.25)
    assert graded.loc[1, "lawton_young"] == 4


def test_age_is_not_capped_and_never_runs_backwards():
    treated = pd.Series(pd.to_datetime(["2021-01-01", "2020-03-01"]))
    presented = pd.Series(pd.to_datetime(["2020-01-01", "2020-07-01"]))
    ages = grading.age_at(pd.Series([89.5, 30.0]), presented, treated)
    assert ages.tolist() == pytest.approx([89.5 + 366 / 365.25, 30.0])


def test_grades_of_empty_tables(tables):
    patients, lesions, sessions, radiosurgeries = (table.iloc[:0] for table in tables)
    graded = grading.add_grades(patients, lesions, sessions, radiosurgeries)
    assert graded.empty and set(grading.GRADE_COLUMNS) <= set(graded.columns)
    graded = grading.add_grades(tables[0], tables[1], sessions, radiosurgeries)
    assert graded["sm_grade"].tolist() == [3, 3, 4, 1]


def test_grading_twice_changes_nothing(tables):
    patients, _, sessions, radiosurgeries = tables
    once = grading.add_grades(*tables)
    again = grading.add_grades(patients, once, sessions, radiosurgeries)
    pd.testing.assert_frame_equal(once, again)


def test_the_scores_know_the_words_the_registry_records():
    from registry.clinical import scores
    from registry.schema.lesions import Lesions

    recorded = Lesions.spec.by_name
    for field, known in {
        "deep_drainage": scores.DRAINAGE, "nidus_border": scores.BORDERS,
        "feeder_calibre": scores.CALIBRES, "location": scores.LOCATIONS,
    }.items():
        assert set(recorded[field].values) == set(known)
    assert set(scores.DEEP_LOCATIONS) <= set(scores.LOCATIONS)
