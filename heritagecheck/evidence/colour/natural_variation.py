"""How a clean reference varies by itself, and how many readings it takes to know a mean."""

import math

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.colour.lab_input import (
    FloatArray,
    checked_level,
    checked_readings,
    covariance,
)

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
