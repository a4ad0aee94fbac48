"""Two readers of the same units: how far they agree beyond what chance would give.

Cohen's kappa (1960, Educ Psychol Meas 20:37) falls towards nothing where nearly all units are of
one class, however well the readers agree; Gwet's AC1 (2008, Br J Math Stat Psychol 61:29) does
not. Both are (observed - chance) / (1 - chance), with another chance: kappa's is the product of
the readers' own shares, AC1's the sum of π(1 - π) over the classes divided by their number less
one, π the mean share of the two readers. The variance is that of the linearised values (Fleiss,
Cohen and Everitt 1969, Psychol Bull 72:323; Gwet 2008), summed by patient, with t on patients
less one. Formulas confirmed in the source of the R package irrCAC by Gwet; its worked table of 100
pregnancies is the check in tests/analyses/test_two_readers.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from analyses.statistics.arguments import check_level, codes, same_length
from analyses.statistics.arrays import Floats
from analyses.statistics.estimate import Estimate, replaced
from analyses.words.flags import NO_INTERVAL, NOTHING_COUNTED, ONE_CLUSTER

KAPPA = "Cohen's kappa, linearised variance by patient"
AC1 = "Gwet's AC1, linearised variance by patient"


def cohen_kappa(
    first: Sequence[Any], second: Sequence[Any], cluster: Sequence[Any] | ArrayLike, *,
    classes: Sequence[Any], level: float = 0.95, id: str = "kappa", unit: str = "",
) -> Estimate:
    """Cohen's kappa of two readers, from -1 to 1.

    first, second: the class that each reader gave each unit; cluster: the patient of each unit;
    classes: all that could be given. No value where both readers gave all units the same one
    class: nothing is left for chance to miss. No interval where no patient differs from another.
    Raises ValueError for a class that is not listed, or columns of different length.
    """
    return _coefficient(_shares(first, second, classes), _kappa_chance, cluster, KAPPA, level,
                        id, unit)


def gwet_ac1(
    first: Sequence[Any], second: Sequence[Any], cluster: Sequence[Any] | ArrayLike, *,
    classes: Sequence[Any], level: float = 0.95, id: str = "ac1", unit: str = "",
) -> Estimate:
    """Gwet's AC1 of two readers; otherwise as `cohen_kappa`. At least two classes are wanted."""
    if len(set(classes)) < 2:
        raise ValueError("Agreement needs at least two classes to choose from.")
    return _coefficient(_shares(first, second, classes), _ac1_chance, cluster, AC1, level, id,
                        unit)


def _shares(
    first: Sequence[Any], second: Sequence[Any], classes: Sequence[Any],
) -> tuple[Floats, Floats]:
    """Each reader's answers as a row of zeros and a one, a column a class: (units, classes)."""
    place = {name: number for number, name in enumerate(dict.fromkeys(classes))}
    unknown = sorted({str(name) for name in (*first, *second) if name not in place})
    if unknown:
        raise ValueError(f"{', '.join(unknown)}: no class of {', '.join(map(str, place))}.")
    same_length(first=np.asarray(first, dtype=object), second=np.asarray(second, dtype=object))
    one = np.eye(len(place))
    return (one[[place[name] for name in first]].reshape(-1, len(place)),
            one[[place[name] for name in second]].reshape(-1, len(place)))


def _kappa_chance(a: Floats, b: Floats) -> tuple[float, Floats]:
    """The agreement by chance, and what each unit moves it by (0 on average)."""
    share_a, share_b = a.mean(axis=0), b.mean(axis=0)
    chance = float(share_a @ share_b)
    return chance, a @ share_b + b @ share_a - 2 * chance


def _ac1_chance(a: Floats, b: Floats) -> tuple[float, Floats]:
    mean = (a.mean(axis=0) + b.mean(axis=0)) / 2
    spread = a.shape[1] - 1
    chance = float((mean * (1 - mean)).sum() / spread)
    return chance, ((a + b) / 2 - mean) @ (1 - 2 * mean) / spread


def _coefficient(
    answers: tuple[Floats, Floats], chance_of: Any, cluster: Sequence[Any] | ArrayLike,
    method: str, level: float, id: str, unit: str,
) -> Estimate:
    a, b = answers
    patient, names = codes(cluster)
    same_length(units=a[:, 0] if a.size else np.array([]), cluster=patient)
    found = Estimate(id=id, kind="coefficient", value=None, unit=unit, level=check_level(level),
                     method=method, n=len(a), clusters=len(names))
    if not len(a):
        return replaced(found, flags=(NOTHING_COUNTED,))
    agree = (a * b).sum(axis=1)
    observed = float(agree.mean())
    chance, moved = chance_of(a, b)
    if np.isclose(chance, 1):
        return replaced(found, flags=(NO_INTERVAL,))
    value = (observed - chance) / (1 - chance)
    found = replaced(found, value=value)
    if len(names) == 1:
        return replaced(found, flags=(ONE_CLUSTER,))
    linear = (agree - observed - (1 - value) * moved) / (1 - chance)
    error = standard_error(linear, patient, len(names))
    if np.isclose(error, 0):
        return replaced(found, flags=(NO_INTERVAL,))
    reach = float(stats.t.ppf((1 + level) / 2, len(names) - 1)) * error
    return replaced(found, low=max(-1.0, value - reach), high=min(1.0, value + reach))


def standard_error(linear: Floats, patient: ArrayLike, patients: int) -> float:
    """The standard error of a mean of linearised values, summed by patient: C/(C - 1) Σ u² / n²."""
    totals = np.bincount(np.asarray(patient), weights=linear, minlength=patients)
    spread = float((totals**2).sum()) * patients / (patients - 1)
    return float(np.sqrt(spread)) / len(linear)
