"""One set of readings: its spread, its places, outlying readings, how many more it needs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.colour.colour_difference import (
    FloatArray,
    checked_lab,
    checked_level,
    checked_readings,
    ciede2000,
    covariance,
)
from heritagecheck.survey.records.readings import FEWEST_COMPARED

# -- Natural variation -----------------------------------------------------------------------------

_NATURAL_LEVEL = 0.95


def three(values: FloatArray) -> tuple[float, float, float]:
    """L*, a*, b* as plain numbers."""
    return float(values[0]), float(values[1]), float(values[2])


def reach(n_reference: int) -> float:
    """How far one further reading may lie from the reference, in squared spreads."""
    from scipy.special import fdtri

    rest = n_reference - 3
    furthest = 3 * (n_reference**2 - 1) / (n_reference * rest)
    return float(furthest * fdtri(3, rest, _NATURAL_LEVEL))


def natural_outline(
    lab_reference: ArrayLike, channels: tuple[int, int] = (1, 2), points: int = 121
) -> FloatArray:
    """Outline of the natural spread of a reference, as its shadow on one plane of CIELAB."""
    # What lies outside this shadow lies outside the body in which 95 % of single further readings
    # are expected; what lies inside both shadows may still lie outside the body.
    reference = checked_readings(lab_reference, "lab_reference")
    pair = list(channels)
    spread = covariance(reference)[np.ix_(pair, pair)]
    turn = np.linspace(0, 2 * np.pi, points)
    circle = np.stack([np.cos(turn), np.sin(turn)])
    shadow = math.sqrt(reach(len(reference))) * np.linalg.cholesky(spread) @ circle
    return np.asarray(reference.mean(axis=0)[pair] + shadow.T, dtype=float)


def readings_needed(sd: float, half_width: float, level: float = 0.95) -> int:
    """Smallest count of readings after which a mean is known to within a given half-width."""
    # Student's t, as the spread is itself estimated: NIST/SEMATECH e-Handbook, section 7.2.2.2.
    from scipy.special import ndtri, stdtrit

    for name, value in (("sd", sd), ("half_width", half_width)):
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} = {value:g}: it must be a finite number above 0.")
    tail = 1 - (1 - checked_level(level)) / 2
    normal = float(ndtri(tail)) * sd / half_width
    if not normal * normal < 1e9:
        raise ValueError(
            f"A half-width of {half_width:g} with sd = {sd:g} needs more than a thousand "
            "million readings. Was a decimal point lost?"
        )
    # The normal form never asks for more than the t form, so counting up from it misses nothing.
    count = max(2, math.ceil(normal**2))
    while stdtrit(count - 1, tail) * sd / math.sqrt(count) > half_width:
        count += 1
    return count


# -- Places ----------------------------------------------------------------------------------------


def by_place(values: FloatArray, places: Sequence[str], name: str) -> FloatArray:
    """One row a place, with the same mean as the readings, whose spread is that of places."""
    if len(places) != len(values):
        raise ValueError(
            f"{name} holds {len(values)} readings and {len(places)} places: name the place of each."
        )
    named, which = np.unique(np.array(places, dtype=str), return_inverse=True)
    count = len(named)
    if count < FEWEST_COMPARED:
        raise ValueError(
            f"{name}: the {len(values)} readings come from {count} places, and readings of one "
            f"place are alike. Read at {FEWEST_COMPARED} places or more."
        )
    # Taken as independent readings, these rows give the cluster-robust error of the mean with the
    # factor G / (G - 1) and G - 1 degrees of freedom (Liang, Zeger, Biometrika 73, 13-22, 1986).
    # Few places of very different numbers of readings make the error too small still.
    mean = values.mean(axis=0)
    pulls = np.zeros((count, values.shape[1]))
    np.add.at(pulls, which, values - mean)
    rows: FloatArray = mean + pulls * (count / len(values))
    widths = np.linalg.eigvalsh(covariance(rows))
    if widths[0] <= 1e-9 * widths[-1]:
        raise ValueError(f"{name}: the {count} places differ in one plane only. Read more places.")
    return rows


# -- Readings that lie apart -----------------------------------------------------------------------

FEWEST_ROBUST = 10
# Largest squared robust distance that one set in twenty reaches without any outlying reading, by
# number of readings: 1,000 sets of normal readings each, by benchmarks/colour_interval.py.
_CLEAN_SETS = (
    (10, 582.2), (12, 368.9), (15, 168.3), (20, 159.9), (30, 74.7), (50, 37.0), (100, 23.8),
    (200, 22.3),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Outlying:
    """Readings that lie apart from the others, to be looked at."""

    rows: tuple[int, ...]
    critical: float
    distance: FloatArray = field(repr=False, compare=False)

    def __str__(self) -> str:
        if not self.rows:
            return f"None of {len(self.distance)} readings is an outlier."
        named = ", ".join(f"{row + 1} ({self.distance[row]:.1f})" for row in self.rows)
        return (
            f"Readings that lie apart, with their distance ({self.critical:.1f} is usual at most): "
            f"{named}. Look at their spots before leaving any out."
        )


def outlying(lab: ArrayLike) -> Outlying:
    """Readings that lie apart from the bulk of their set: shown, never dropped."""
    # The bulk is the half with the narrowest spread (minimum covariance determinant: Rousseeuw, Van
    # Driessen, Technometrics 41, 212-223, 1999; as in scikit-learn), so that a few readings on a
    # vein or a wet spot do not hide each other. The usual chi-squared limit names readings in most
    # small sets; this limit was simulated for sets of normal readings.
    values = checked_lab(lab, "lab")
    if values.ndim != 2:
        raise ValueError(f"lab has shape {values.shape}: one row a reading is expected, (n, 3).")
    n = len(values)
    if n < FEWEST_ROBUST:
        raise ValueError(
            f"lab holds {n} readings: at least {FEWEST_ROBUST} are needed to tell the bulk of "
            "them from those that lie apart. Look at the spots instead."
        )
    widths = np.linalg.eigvalsh(covariance(values))
    if widths[0] <= 1e-12 * widths[-1]:
        raise ValueError("lab: the readings do not vary in some direction, so none is an outlier.")
    distance = robust_distance(values)
    numbers, squares = np.array(_CLEAN_SETS).T
    critical = math.exp(np.interp(math.log(n), np.log(numbers), np.log(squares)) / 2)
    return Outlying(
        tuple(int(row) for row in np.flatnonzero(distance > critical)), critical, distance
    )


def robust_distance(values: FloatArray) -> FloatArray:
    """Distance of each reading from the centre of the bulk, in its spreads."""
    from sklearn.covariance import MinCovDet

    bulk = MinCovDet(random_state=0).fit(values)
    distance: FloatArray = np.sqrt(np.asarray(bulk.mahalanobis(values), dtype=float))
    return distance


# -- A set while it is taken -----------------------------------------------------------------------

ASKED = 10  # readings of a side, as the checks of a survey ask for


@dataclass(frozen=True, slots=True)
class SetSoFar:
    """
    What the readings of one set say so far.

    `spread` is the mean CIEDE2000 of the readings from their mean (ASTM E2214), as
    `ColourDifference.natural_variation`. `needed` is how many readings in all give the mean to
    ±1 CIELAB unit in the direction that varies most, never fewer than ten; None while too few
    were taken to tell.
    """

    count: int
    mean: tuple[float, float, float]
    spread: float
    needed: int | None


def set_so_far(lab: ArrayLike) -> SetSoFar:
    """What the readings of one set say so far; one is enough to begin with."""
    values = checked_lab(lab, "lab")
    mean = values.mean(axis=0)
    spread = float(ciede2000(mean, values, 1).mean())
    try:
        largest = float(np.linalg.eigvalsh(covariance(checked_readings(lab, "lab")))[-1])
    except ValueError:
        return SetSoFar(len(values), three(mean), spread, None)
    needed = max(ASKED, readings_needed(math.sqrt(largest), half_width=1.0))
    return SetSoFar(len(values), three(mean), spread, needed)


def lying_apart(lab: ArrayLike) -> tuple[int, ...]:
    """Indices of outlying readings; none if they are too few or too alike to say."""
    values = checked_lab(lab, "lab")
    if len(values) < FEWEST_ROBUST:
        return ()
    try:
        return outlying(values).rows
    except ValueError:
        return ()
