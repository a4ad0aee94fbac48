"""Published grades and scores of brain AVMs, each with its paper.

Every function takes single values or columns of one table (see `elementwise`), and gives a
blank (pandas NA) where a part of the score is not recorded: a score is never guessed. A word
that is not of its list raises a ValueError that names the list.
"""

from __future__ import annotations

import math

import pandas as pd

from registry.clinical.elementwise import (
    Values,
    numbers,
    plain,
    points,
    scalar_or_column,
    words,
    yes_no,
)
from registry.schema import Lesions
from registry.schema.vocabulary import LOCATIONS

# Shown beside every score.
SCORE_CAUTION = "describes groups, does not decide treatment"

# Scores whose points could not yet be read in their paper, and what is missing. `add_grades`
# leaves them blank, so that no table or report shows a score nobody has checked. Once the
# points are confirmed, remove the entry.
UNCONFIRMED_SCORES = {
    "buffalo_score": "the points of Dumont 2015 (Surg Neurol Int 6:3) are from memory",
}

DRAINAGE = ("none", "part", "exclusive")
BORDERS = ("compact", "diffuse")
CALIBRES = ("mostly up to 1 mm", "mostly over 1 mm")
DEEP_LOCATIONS = ("basal ganglia", "thalamus", "brainstem")


def _size(millimetres: pd.Series) -> pd.Series:
    """Millimetres or years or millilitres as numbers; below zero is no measurement."""
    values = numbers(millimetres)
    return values.where(values >= 0, pd.NA)


def _steps(values: pd.Series, first: pd.Series, second: pd.Series) -> pd.Series:
    """0 points, 1 more where `first` holds and 1 more where `second` holds."""
    return (points(first) + points(second)).where(values.notna(), pd.NA)


def _deep(drainage: pd.Series) -> pd.Series:
    return words(drainage, DRAINAGE, Lesions.deep_drainage).ne("none").astype("boolean")


@scalar_or_column
def nidus_volume_ml(length_mm: Values, width_mm: Values, height_mm: Values) -> Values:
    """Volume of the nidus as an ellipsoid, in mL: π/6 · length · width · height / 1000.

    Three orthogonal diameters in mm. Example: 30 × 20 × 20 mm is 6.283 mL (geometry).
    Returns numbers ("float64").
    """
    volume = math.pi / 6 * _size(length_mm) * _size(width_mm) * _size(height_mm) / 1000
    return plain(volume)


@scalar_or_column
def sm_grade(length_mm: Values, eloquent: Values, deep_drainage: Values) -> Values:
    """Spetzler–Martin grade, 1–5 ("Int64").

    Largest diameter under 30 mm 1 point, 30–60 mm 2, over 60 mm 3; eloquent brain 1; any deep
    drainage 1 (`deep_drainage`: none, part or exclusive). The paper's grade VI, an inoperable
    AVM, is a judgement and never comes from the three parts.
    Source: Spetzler and Martin 1986, J Neurosurg 65:476 (parts read in its abstract, points in
    several independent secondary sources).
    """
    size = _size(length_mm)
    base = 1 + _steps(size, size >= 30, size > 60)
    return base + points(yes_no(eloquent)) + points(_deep(deep_drainage))


@scalar_or_column
def ponce_class(grade: Values) -> Values:
    """Three-tier class: A for Spetzler–Martin grades 1 and 2, B for 3, C for 4 and 5 ("string").

    Grade 6 is outside the paper's five grades and gives a blank.
    Source: Spetzler and Ponce 2011, J Neurosurg 114:842 (read in its abstract).
    """
    classes = {1: "A", 2: "A", 3: "B", 4: "C", 5: "C"}
    return numbers(grade).map(classes).astype("string")


@scalar_or_column
def lawton_young(age_y: Values, haemorrhage_before: Values, nidus_border: Values) -> Values:
    """Supplementary grade, 1–5 ("Int64"); add it to `sm_grade` for the supplemented grade.

    Age at treatment under 20 years 1 point, 20–40 2, over 40 3 (40.5 years is over 40);
    unruptured 1; diffuse nidus 1 (`nidus_border`: compact or diffuse).
    Source: Lawton and others 2010, Neurosurgery 66:702, PMC2847513 (parts read in its abstract,
    points in independent secondary sources).
    """
    age = _size(age_y)
    base = 1 + _steps(age, age >= 20, age > 40)
    diffuse = words(nidus_border, BORDERS, Lesions.nidus_border).eq("diffuse")
    return base + points(~yes_no(haemorrhage_before)) + points(diffuse)


@scalar_or_column
def buffalo_score(
    feeding_pedicles: Values, feeder_calibre: Values, eloquent: Values,
) -> Values:
    """Buffalo score of the risk of endovascular treatment, 1–5 ("Int64").

    Arterial pedicles 1–2 1 point, 3–4 2, 5 or more 3; pedicles mostly up to 1 mm 1; eloquent
    brain 1. **Items and points are from memory and were not yet confirmed at the paper** (see
    `UNCONFIRMED_SCORES`). Do not report it before they are.
    Source: Dumont and others 2015, Surg Neurol Int 6:3.
    """
    pedicles = numbers(feeding_pedicles)
    pedicles = pedicles.where(pedicles >= 1, pd.NA)
    base = 1 + _steps(pedicles, pedicles >= 3, pedicles >= 5)
    narrow = words(feeder_calibre, CALIBRES, Lesions.feeder_calibre).eq("mostly up to 1 mm")
    return base + points(narrow) + points(yes_no(eloquent))


@scalar_or_column
def avmes(
    feeding_pedicles: Values, draining_veins: Values, length_mm: Values,
    vascular_eloquence: Values,
) -> Values:
    """Score of the risk of a curative embolization, 3–10 ("Int64").

    Arterial pedicles up to 3 1 point, 4–6 2, over 6 3; draining veins the same cuts; largest
    diameter in cm the same cuts; vascular eloquence 1. The paper's size classes leave gaps
    (3 to 4 cm): a size between two classes takes the next higher, so over 30 up to 60 mm is 2.
    Source: Lopes and others 2016, J NeuroIntervent Surg 8:685 (read in its abstract).
    """
    def three(values: pd.Series) -> pd.Series:
        return 1 + _steps(values, values > 3, values > 6)

    pedicles, veins, size = numbers(feeding_pedicles), numbers(draining_veins), _size(length_mm)
    parts = three(pedicles) + three(veins) + three(size / 10)
    return parts + points(yes_no(vascular_eloquence))


@scalar_or_column
def embolization_risk(
    sessions_planned: Values, deep_drainage: Values, eloquent: Values, length_mm: Values,
) -> Values:
    """Score of the risk of a new deficit from adjuvant embolization, 0–5 ("Int64").

    More than one session in the first treatment plan 1 point; deep drainage 1; eloquent 1;
    largest diameter under 30 mm 1, over 60 mm 2. The five factors and their cuts were read in
    the paper's abstract; the points of its table 5 are from memory. The paper's 202 patients
    all scored 0–4; 5 is possible.
    Source: Starke and others 2009, Stroke 40:2783, PMC2745321, table 5.
    """
    size = _size(length_mm)
    base = points(size < 30) + points(size > 60, 2)
    planned = numbers(sessions_planned) > 1
    return base + points(planned) + points(_deep(deep_drainage)) + points(yes_no(eloquent))


@scalar_or_column
def rbas(volume_ml: Values, age_y: Values, location: Values) -> Values:
    """Modified radiosurgery-based AVM score ("float64").

    0.1 · volume in mL + 0.02 · age in years + 0.5 where the site is basal ganglia, thalamus or
    brainstem (0 elsewhere: the paper's two tiers are "deep" and "other"). This is the two-tier
    form with 0.5, not the first form of Pollock and Flickinger 2002 with 0.3 and three tiers.
    Source: Pollock and Flickinger 2008, Neurosurgery 63:239 (from memory); tested in Int J
    Radiat Oncol Biol Phys 2011;79:1147, where the formula was read.
    """
    deep = words(location, LOCATIONS, "location").isin(DEEP_LOCATIONS)
    deep = deep.astype("boolean").where(location.notna())
    score = 0.1 * _size(volume_ml) + 0.02 * _size(age_y) + 0.5 * points(deep).astype("Float64")
    return plain(score)


@scalar_or_column
def vras(volume_ml: Values, eloquent: Values, haemorrhage_before: Values) -> Values:
    """Virginia radiosurgery AVM scale, 0–4 ("Int64").

    Volume under 2 mL 0 points, 2–4 mL 1, over 4 mL 2; eloquent 1; earlier haemorrhage 1.
    Source: Starke and others 2013, J Neurosurg 119:981 (points read in two independent
    secondary sources, not in the paper).
    """
    volume = _size(volume_ml)
    base = _steps(volume, volume >= 2, volume > 4)
    return base + points(yes_no(eloquent)) + points(yes_no(haemorrhage_before))
