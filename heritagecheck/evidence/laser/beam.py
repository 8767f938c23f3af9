"""One pulse on the wall: how a round Gaussian beam spreads its energy over the spot."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

_CM_PER_UM = 1e-4
_J_PER_MJ = 1e-3


def positive(**given: ArrayLike) -> list[FloatArray]:
    """Check that every value is a finite number above 0 and that the shapes fit one another."""
    found = []
    for name, value in given.items():
        array = _numbers(name, value, "a number above 0")
        bad = array[~(np.isfinite(array) & (array > 0))]
        if bad.size:
            raise ValueError(f"{name} = {bad.flat[0]:g}: it must be a finite number above 0.")
        found.append(array)
    try:
        np.broadcast_shapes(*(array.shape for array in found))
    except ValueError:
        shapes = ", ".join(
            f"{name} {array.shape}" for name, array in zip(given, found, strict=True)
        )
        raise ValueError(
            f"The shapes do not fit one another: {shapes}. Give single values, or rows of "
            "one length."
        ) from None
    return found


def single_positive(**given: float) -> list[float]:
    """Check that every value is one finite number above 0."""
    positive(**{name: single(name, value) for name, value in given.items()})
    return [float(value) for value in given.values()]


def single(name: str, value: float) -> float:
    """Check that a value is one number; its range is for the caller to check."""
    array = _numbers(name, value, "a single number")
    if array.ndim:
        raise ValueError(f"{name} = {value!r}: it must be a single number, not a row of them.")
    return float(array)


def three_digits(value: float) -> str:
    """Write a number to three digits, large ones without a power of ten."""
    return f"{float(f'{value:.3g}'):g}"


def angles(name: str, value: ArrayLike) -> FloatArray:
    """Check that angles to the normal of the wall lie from 0 to below 90 degrees."""
    array = _numbers(name, value, "a number of degrees")
    if not np.all((array >= 0) & (array < 90)):
        raise ValueError(
            f"{name} = {value!r}: it runs from 0 (square to the wall) to below 90 degrees."
        )
    return array


def _numbers(name: str, value: ArrayLike, wanted: str) -> FloatArray:
    """Values as numbers; text and yes or no are refused, though numpy would read "1" and True."""
    try:
        if (given := np.asarray(value)).dtype.kind in "iufO":
            return np.asarray(given, dtype=float)
    except (TypeError, ValueError):  # rows of different length, or no numbers at all
        pass
    raise ValueError(f"{name} = {value!r}: it must be {wanted}.")


def peak_fluence(
    energy_mj: ArrayLike, radius_um: ArrayLike, *, incidence_deg: ArrayLike = 0
) -> FloatArray:
    """
    Peak fluence: energy per area in the very middle of a Gaussian spot, for one pulse.

    Parameters
    ----------
    energy_mj : array_like, shape (...)
        Energy of one pulse at the wall. [mJ]
    radius_um : array_like, shape (...)
        Radius at which the fluence is 1/e² (13.5 %) of its peak; half the spot diameter. [µm]
    incidence_deg : array_like, shape (...)
        Angle between beam and surface normal, 0 where the beam meets the wall squarely. [degrees]

    Returns
    -------
    numpy.ndarray, shape (...)
        2 E cos(angle) / (pi w²). [J/cm²]

    Raises
    ------
    ValueError
        Energy or radius is not a finite number above 0; the angle lies outside 0 to 90.

    Notes
    -----
    The peak is twice the mean over the 1/e² circle [1]_: damage begins where the peak falls,
    so thresholds are compared with the peak. A beam with hot spots has a higher peak than this,
    a flat-topped one a lower. At an angle the footprint grows by 1/cos; what more the stone
    absorbs there is not in it.

    References
    ----------
    .. [1] ISO 21254-1:2011, Laser-induced damage threshold, Part 1 (effective area pi w²/2);
       ISO 11146-1:2021, Beam widths, divergence angles and beam propagation ratios.

    Examples
    --------
    A pulse of 180 mJ through a spot of 7 mm on a black crust:

    >>> from heritagecheck.evidence import laser
    >>> print(laser.peak_fluence(180, 3500).round(2))
    0.94
    """
    energy, radius = positive(energy_mj=energy_mj, radius_um=radius_um)
    angle = angles("incidence_deg", incidence_deg)
    area_cm2 = np.pi * (_CM_PER_UM * radius) ** 2 / 2  # effective area of ISO 21254-1
    peak: FloatArray = _J_PER_MJ * energy * np.cos(np.radians(angle)) / area_cm2
    return peak


def mean_fluence(energy_mj: ArrayLike, radius_um: ArrayLike) -> FloatArray:
    """Mean fluence: pulse energy over the area of the 1/e² circle, half of the Gaussian peak."""
    energy, radius = positive(energy_mj=energy_mj, radius_um=radius_um)
    return _J_PER_MJ * energy / (np.pi * (_CM_PER_UM * radius) ** 2)


def peak_irradiance(energy_mj: ArrayLike, radius_um: ArrayLike, pulse_ns: ArrayLike) -> FloatArray:
    """Peak irradiance in the middle of the spot, the pulse taken as square in time."""
    energy, radius, duration = positive(energy_mj=energy_mj, radius_um=radius_um, pulse_ns=pulse_ns)
    return peak_fluence(energy, radius) / (1e-9 * duration)
