"""Patients and their lesions: case mix and angioarchitecture.

Where a number has a source it is named beside it; the rest is plausible, no source.
"""

from __future__ import annotations

import numpy as np

from registry.schema import Lesions, Patients, vocabulary
from synthetic_cohort.draws import Columns, Streams, group_any, logistic, take, within
from synthetic_cohort.settings import CohortSettings

PRESENTATIONS = ("seizure", "headache", "focal deficit", "incidental", "other")
PRESENTATION_WEIGHTS = (0.45, 0.22, 0.10, 0.20, 0.03)
LOCATION_WEIGHTS = (0.24, 0.19, 0.18, 0.13, 0.03, 0.05, 0.04, 0.03, 0.015, 0.02, 0.07, 0.005)
DEEP_SITES = ("basal ganglia", "thalamus", "corpus callosum", "intraventricular", "brainstem")
# Chance of eloquence by site, in the order of vocabulary.LOCATIONS.
ELOQUENT_BY_SITE = (0.45, 0.45, 0.55, 0.60, 0.70, 0.95, 1.0, 0.40, 0.40, 1.0, 0.35, 0.4)
TERRITORIES = {
    "frontal": ("ACA", "MCA"), "temporal": ("MCA", "PCA"), "parietal": ("MCA", "ACA"),
    "occipital": ("PCA", "MCA"), "insula": ("MCA", "lenticulostriate"),
    "basal ganglia": ("lenticulostriate", "MCA"),
    "thalamus": ("thalamoperforator", "posterior choroidal"),
    "corpus callosum": ("ACA", "PCA"),
    "intraventricular": ("anterior choroidal", "posterior choroidal"),
    "brainstem": ("basilar perforator", "SCA"), "cerebellum": ("SCA", "PICA"),
    "other": ("MCA", "other"),
}


def draw_lesions(s: Streams, cfg: CohortSettings, patients: int) -> Columns:
    """One row a lesion, `patient` being the position of its patient."""
    count = 1 + s.chance("two lesions", cfg.two_lesions, patients)
    lesion: Columns = {"patient": np.repeat(np.arange(patients), count)}
    lesion[Lesions.lesion_no] = within(count)
    _site(s, lesion)
    _size(s, lesion)
    _grade(lesion)
    _rupture(s, cfg, lesion)
    _vessels(s, lesion)
    return lesion


def _site(s: Streams, lesion: Columns) -> None:
    n = len(lesion["patient"])
    site = s.code("site", LOCATION_WEIGHTS, n)
    lesion[Lesions.location] = take(vocabulary.LOCATIONS, site)
    lesion["deep_site"] = np.isin(site, [vocabulary.LOCATIONS.index(x) for x in DEEP_SITES])
    middle = np.isin(site, [7, 8, 9])
    side = s.code("side", (0.5, 0.5), n)
    side = np.where(middle & s.chance("midline", 0.6, n), 2, side)
    lesion[Lesions.side] = take(("left", "right", "midline"), side)
    lesion[Lesions.eloquent] = s.chance("eloquent", np.array(ELOQUENT_BY_SITE)[site], n)


def _size(s: Streams, lesion: Columns) -> None:
    """Three diameters in whole millimetres, falling; half of the nidi under 30 mm."""
    n = len(lesion["patient"])
    length = np.clip(np.rint(s.lognormal("length", 30.5, 0.42, n)), 10, 105)
    width = np.maximum(6, np.rint(length * (0.60 + 0.38 * s.uniform("width", n))))
    height = np.maximum(5, np.rint(width * (0.65 + 0.35 * s.uniform("height", n))))
    lesion[Lesions.nidus_length_mm] = length
    lesion[Lesions.nidus_width_mm] = np.minimum(width, length)
    lesion[Lesions.nidus_height_mm] = np.minimum(height, lesion[Lesions.nidus_width_mm])
    # Ellipsoid.
    lesion["nidus_ml"] = (
        np.pi / 6 * length * lesion[Lesions.nidus_width_mm] * lesion[Lesions.nidus_height_mm] / 1000
    )
    deep = logistic(-1.1 + 0.02 * (length - 30) + 1.9 * lesion["deep_site"])
    part = np.where(lesion["deep_site"], 0.45, 0.75)
    u = s.uniform("deep drainage", n)
    lesion[Lesions.deep_drainage] = take(
        ("none", "part", "exclusive"), (u < deep).astype(int) + (u < deep * (1 - part))
    )
    lesion["deep"] = u < deep
    lesion["exclusive"] = u < deep * (1 - part)


def _grade(lesion: Columns) -> None:
    """Spetzler and Martin 1986."""
    length = lesion[Lesions.nidus_length_mm]
    size = 1 + (length >= 30).astype(int) + (length > 60)
    lesion["size_points"] = size
    lesion["sm_grade"] = size + lesion[Lesions.eloquent] + lesion["deep"]


def _rupture(s: Streams, cfg: CohortSettings, lesion: Columns) -> None:
    """Bled at presentation: more often small, deep and drained by deep veins alone."""
    n = len(lesion["patient"])
    share = cfg.ruptured_share
    linear = (
        np.log(share / (1 - share)) - 0.35
        + 0.5 * (lesion["size_points"] == 1) + 0.6 * lesion["exclusive"]
        + 0.5 * lesion["deep_site"]
    )
    bled = s.chance("ruptured", logistic(linear), n)
    # A second lesion is found beside the first; the presenting bleed is the first one's.
    lesion["ruptured_at_presentation"] = bled & (lesion[Lesions.lesion_no] == 1)


def _vessels(s: Streams, lesion: Columns) -> None:
    n = len(lesion["patient"])
    size, bled = lesion["size_points"], lesion["ruptured_at_presentation"]
    lesion[Lesions.feeding_pedicles] = 1 + s.poisson("feeding pedicles", 1.2 + 1.5 * size, n)
    lesion[Lesions.draining_veins] = 1 + s.poisson("draining veins", 0.2 + 0.5 * size, n)
    lesion[Lesions.vascular_eloquence] = s.chance("vascular eloquence", 0.35, n)
    lesion[Lesions.venous_stenosis] = s.chance("stenosis", 0.16, n)
    lesion[Lesions.venous_ectasia] = s.chance("ectasia", 0.22, n)
    lesion["diffuse"] = s.chance("diffuse", 0.12 + 0.08 * (size - 1), n)
    lesion[Lesions.nidus_border] = take(("compact", "diffuse"), lesion["diffuse"].astype(int))
    lesion[Lesions.feeder_calibre] = s.pick(
        "calibre", ("mostly up to 1 mm", "mostly over 1 mm"), (0.4, 0.6), n
    )
    lesion[Lesions.perforator_supply] = s.chance(
        "perforators", np.where(lesion["deep_site"], 0.7, 0.15), n
    )
    lesion[Lesions.en_passage_supply] = s.chance("en passage", 0.3, n)
    lesion[Lesions.dural_supply] = s.chance("dural", 0.08 + 0.06 * (size - 1), n)
    lesion[Lesions.fistulous_part] = s.chance("fistula", 0.12, n)
    lesion[Lesions.aneurysm] = take(
        ("none", "intranidal", "on a feeder", "both", "unrelated"),
        s.code_by_row("aneurysm", np.where(
            bled[:, None], (0.68, 0.17, 0.10, 0.03, 0.02), (0.80, 0.07, 0.09, 0.02, 0.02)
        )),
    )
    lesion[Lesions.earlier_treatment] = s.pick(
        "earlier", ("none", "embolization", "resection", "radiosurgery", "more than one"),
        (0.92, 0.03, 0.02, 0.025, 0.005), n,
    )


def draw_patients(s: Streams, lesion: Columns, patients: int) -> Columns:
    """One row a patient; `ruptured` is about the presentation."""
    n = patients
    bled = group_any(lesion["ruptured_at_presentation"], lesion["patient"], n)
    other = take(PRESENTATIONS, s.code("presentation", PRESENTATION_WEIGHTS, n))
    patient: Columns = {"ruptured_at_presentation": bled}
    patient[Patients.presentation] = np.where(bled, "haemorrhage", other).astype(object)
    patient[Patients.age_y] = _age(s, n)
    patient[Patients.sex] = s.pick(
        "sex", ("female", "male", "intersex", "not stated"), (0.49, 0.50, 0.002, 0.008), n
    )
    patient[Patients.hht] = s.chance("hht", 0.02, n)
    patient[Patients.mrs_before] = _mrs_before(s, patient, n)
    # Nobody whose lesion was found by chance is disabled.
    disabled = (patient[Patients.presentation] == "incidental") & (
        patient[Patients.mrs_before] > 2)
    patient[Patients.presentation][disabled] = "focal deficit"
    gcs = np.where(bled, 15 - s.poisson("gcs", 2.0, n), 15 - s.poisson("gcs well", 0.05, n))
    awake = np.isin(patient[Patients.presentation], ("incidental", "headache"))
    patient[Patients.gcs] = np.clip(gcs, np.where(awake, 14, 3), 15)
    patient[Patients.research_use] = s.pick(
        "research use", vocabulary.RESEARCH_USE, (0.80, 0.12, 0.03, 0.01, 0.04), n
    )
    return patient


def _age(s: Streams, n: int) -> np.ndarray:
    """Whole years within 3 and 82, mean near 36, SD near 15.

    35.5 ± 14.8 years in 150 embolized patients (Wikholm and others 1996, Neurosurgery, "Part
    II: aspects of complications and late outcome").
    """
    from scipy.special import ndtr, ndtri

    low, high = ndtr((3 - 35.5) / 16), ndtr((82 - 35.5) / 16)
    return np.floor(35.5 + 16 * ndtri(low + (high - low) * s.uniform("age", n)))


def _mrs_before(s: Streams, patient: Columns, n: int) -> np.ndarray:
    bled = patient["ruptured_at_presentation"]
    deficit = patient[Patients.presentation] == "focal deficit"
    weights = np.where(
        bled[:, None], (0.22, 0.30, 0.20, 0.13, 0.10, 0.05), (0.52, 0.35, 0.08, 0.03, 0.015, 0.005)
    )
    weights = np.where(deficit[:, None], (0.05, 0.30, 0.35, 0.20, 0.08, 0.02), weights)
    return s.code_by_row("mrs before", weights)
