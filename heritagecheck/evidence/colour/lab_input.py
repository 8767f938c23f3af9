"""What colours and sets of readings must be before anything is computed from them."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

FEWEST = 5  # readings a side: three spreads and their slants need more than four
_CHANNELS = ("L*", "a*", "b*")


def checked_lab(lab: ArrayLike, name: str) -> FloatArray:
    """Colours as an array whose last axis is L*, a*, b*, all finite."""
    values = np.asarray(lab, dtype=np.float64)
    if values.ndim == 0 or values.shape[-1] != 3:
        raise ValueError(
            f"{name} has shape {values.shape}: its last axis must hold the three L*, a*, b*."
        )
    odd = ~np.isfinite(values)
    if odd.any():
        first = tuple(int(place) for place in np.argwhere(odd)[0])
        raise ValueError(
            f"{name} holds {int(odd.sum())} values that are not finite numbers, the first at "
            f"{first}. Leave such readings out."
        )
    return values


def checked_pair(lab_1: ArrayLike, lab_2: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Two arrays of colours whose shapes can be broadcast."""
    first, second = checked_lab(lab_1, "lab_1"), checked_lab(lab_2, "lab_2")
    try:
        np.broadcast_shapes(first.shape, second.shape)
    except ValueError:
        raise ValueError(
            f"lab_1 has shape {first.shape} but lab_2 has {second.shape}: give as many colours "
            "on both sides, or a single colour on one."
        ) from None
    return first, second


def checked_readings(lab: ArrayLike, name: str) -> FloatArray:
    """Single readings of one area, enough of them and with a spread in every direction."""
    values = checked_lab(lab, name)
    if values.ndim != 2:
        raise ValueError(f"{name} has shape {values.shape}: one row a reading is expected, (n, 3).")
    count = len(values)
    if count < FEWEST:
        raise ValueError(f"{name} holds {count} readings: at least {FEWEST} are needed.")
    lightness = values[:, 0]
    wrong = np.flatnonzero((lightness < 0) | (lightness > 100))
    if wrong.size:
        rows = ", ".join(f"reading {row + 1} has L* = {lightness[row]:g}" for row in wrong)
        raise ValueError(
            f"{name}: {rows}. L* runs from 0 (black) to 100 (white). Was a decimal point lost?"
        )
    same = [_CHANNELS[column] for column in range(3) if np.ptp(values[:, column]) == 0]
    if len(same) == 3:
        raise ValueError(
            f"{name}: all {count} readings are identical, and identical readings carry no spread. "
            "Give the single readings, each from its own place."
        )
    widths = np.linalg.eigvalsh(covariance(values))
    if same or widths[0] <= 1e-9 * widths[-1]:
        where = f"never change in {' and '.join(same)}" if same else "lie in one plane"
        raise ValueError(
            f"{name}: the {count} readings {where}, so that a part of their spread is unknown. "
            "Give all decimals of the instrument, or readings from more places."
        )
    return values


def checked_level(level: float) -> float:
    """A confidence between 0 and 1."""
    if not 0 < level < 1:
        raise ValueError(f"level = {level:g}: a confidence lies between 0 and 1, such as 0.95.")
    return level


def covariance(readings: FloatArray, others: FloatArray | None = None) -> FloatArray:
    """Covariance of readings with divisor n - 1, or of readings with others of the same spots."""
    centred = readings - readings.mean(axis=0)
    beside = centred if others is None else others - others.mean(axis=0)
    products: FloatArray = (centred[:, :, None] * beside[:, None, :]).sum(axis=0)
    return products / (len(readings) - 1)
