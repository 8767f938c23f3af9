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
    peak: FloatArray = _J_PER_MJ * energy * np.cos(np.radians(angle)) / effective_area(radius)
    return peak


def mean_fluence(energy_mj: ArrayLike, radius_um: ArrayLike) -> FloatArray:
    """
    Mean fluence: pulse energy over the area of the 1/e² circle, half of the Gaussian peak.

    Parameters
    ----------
    energy_mj : array_like, shape (...)
        Energy of one pulse at the wall. [mJ]
    radius_um : array_like, shape (...)
        1/e² radius, as in `peak_fluence`. [µm]

    Returns
    -------
    numpy.ndarray, shape (...)
        E / (pi w²). [J/cm²]

    Raises
    ------
    ValueError
        Energy or radius is not a finite number above 0.

    Notes
    -----
    Many reports print this number as "the fluence". Compared with a threshold that was given
    as a peak it hides a factor of two: ask which one is meant.

    References
    ----------
    .. [1] ISO 11146-1:2021, Beam widths, divergence angles and beam propagation ratios.

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> print(laser.mean_fluence(180, 3500).round(2))
    0.47
    """
    energy, radius = positive(energy_mj=energy_mj, radius_um=radius_um)
    return _J_PER_MJ * energy / (np.pi * (_CM_PER_UM * radius) ** 2)


def effective_area(radius_um: ArrayLike) -> FloatArray:
    """
    Effective area of a Gaussian spot: pulse energy divided by peak fluence.

    Parameters
    ----------
    radius_um : array_like, shape (...)
        1/e² radius, as in `peak_fluence`. [µm]

    Returns
    -------
    numpy.ndarray, shape (...)
        pi w² / 2. [cm²]

    Raises
    ------
    ValueError
        The radius is not a finite number above 0.

    References
    ----------
    .. [1] ISO 21254-1:2011, Laser-induced damage threshold, Part 1.

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> print(laser.effective_area(3500).round(3))
    0.192
    """
    (radius,) = positive(radius_um=radius_um)
    area: FloatArray = np.pi * (_CM_PER_UM * radius) ** 2 / 2
    return area


def fluence_at_radius(
    energy_mj: ArrayLike, radius_um: ArrayLike, distance_um: ArrayLike
) -> FloatArray:
    """
    Fluence of one pulse at a distance from the middle of the spot.

    Parameters
    ----------
    energy_mj, radius_um : array_like, shape (...)
        Pulse energy [mJ] and 1/e² radius [µm], as in `peak_fluence`.
    distance_um : array_like, shape (...)
        Distance from the middle of the spot, above 0. [µm]

    Returns
    -------
    numpy.ndarray, shape (...)
        F0 exp(-2 r² / w²), F0 being the peak fluence. [J/cm²]

    Raises
    ------
    ValueError
        A value is not a finite number above 0.

    References
    ----------
    .. [1] ISO 11146-1:2021, Beam widths, divergence angles and beam propagation ratios.

    Examples
    --------
    How little reaches a joint 5 mm beside the middle of a 7 mm spot:

    >>> from heritagecheck.evidence import laser
    >>> print(laser.fluence_at_radius(180, 3500, 5000).round(3))
    0.016
    """
    energy, radius, distance = positive(
        energy_mj=energy_mj, radius_um=radius_um, distance_um=distance_um
    )
    return peak_fluence(energy, radius) * np.exp(-2 * (distance / radius) ** 2)


def energy_inside_radius(radius_um: ArrayLike, distance_um: ArrayLike) -> FloatArray:
    """
    Share of the pulse energy that falls within a distance from the middle of the spot.

    Parameters
    ----------
    radius_um : array_like, shape (...)
        1/e² radius, as in `peak_fluence`. [µm]
    distance_um : array_like, shape (...)
        Radius of the circle around the middle, such as that of a mask. [µm]

    Returns
    -------
    numpy.ndarray, shape (...)
        1 - exp(-2 r² / w²). [0 to 1]

    Raises
    ------
    ValueError
        A value is not a finite number above 0.

    References
    ----------
    .. [1] ISO 11146-1:2021, Beam widths, divergence angles and beam propagation ratios.

    Examples
    --------
    Of a spot 7 mm wide, a mask with a hole of the same width passes

    >>> from heritagecheck.evidence import laser
    >>> print(laser.energy_inside_radius(3500, 3500).round(3))
    0.865
    """
    radius, distance = positive(radius_um=radius_um, distance_um=distance_um)
    share: FloatArray = -np.expm1(-2 * (distance / radius) ** 2)
    return share


def squared_crater_diameter(
    energy_mj: ArrayLike, radius_um: ArrayLike, threshold_j_cm2: ArrayLike
) -> FloatArray:
    """
    Squared diameter of the crater that one pulse leaves: the height of the D² line.

    Parameters
    ----------
    energy_mj, radius_um : array_like, shape (...)
        Pulse energy [mJ] and 1/e² radius [µm], as in `peak_fluence`.
    threshold_j_cm2 : array_like, shape (...)
        Threshold as a peak fluence. [J/cm²]

    Returns
    -------
    numpy.ndarray, shape (...)
        2 w² ln(F0 / threshold), and 0 where the peak stays below the threshold. [µm²]

    Raises
    ------
    ValueError
        A value is not a finite number above 0.

    Notes
    -----
    It supposes that whatever receives the threshold is removed and nothing else: heat that
    spreads, plasma and plucked grains leave wider marks [1]_.

    References
    ----------
    .. [1] J. M. Liu, "Simple technique for measurements of pulsed Gaussian-beam spot sizes,"
       Opt. Lett. 7(5), 196-198 (1982). DOI 10.1364/OL.7.000196

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> print(laser.squared_crater_diameter(0.05, 30, 1.1).round(0))
    2102.0
    """
    energy, radius, threshold = positive(
        energy_mj=energy_mj, radius_um=radius_um, threshold_j_cm2=threshold_j_cm2
    )
    above = np.log(np.maximum(peak_fluence(energy, radius) / threshold, 1))
    square: FloatArray = 2 * radius**2 * above
    return square


def crater_diameter(
    energy_mj: ArrayLike, radius_um: ArrayLike, threshold_j_cm2: ArrayLike
) -> FloatArray:
    """
    Diameter of the crater that one pulse leaves, the root of `squared_crater_diameter`.

    Parameters
    ----------
    energy_mj, radius_um, threshold_j_cm2 : array_like, shape (...)
        As in `squared_crater_diameter`.

    Returns
    -------
    numpy.ndarray, shape (...)
        Diameter, 0 where the peak stays below the threshold. [µm]

    Raises
    ------
    ValueError
        A value is not a finite number above 0.

    References
    ----------
    .. [1] J. M. Liu, Opt. Lett. 7(5), 196-198 (1982). DOI 10.1364/OL.7.000196

    Examples
    --------
    On dark mica at 1.1 J/cm² and on quartz at 1.6 J/cm², one pulse of 50 µJ:

    >>> from heritagecheck.evidence import laser
    >>> print(laser.crater_diameter(0.05, 30, [1.1, 1.6]).round(0))
    [46. 38.]
    """
    diameter: FloatArray = np.sqrt(squared_crater_diameter(energy_mj, radius_um, threshold_j_cm2))
    return diameter


def threshold_pulse_energy(threshold_j_cm2: ArrayLike, radius_um: ArrayLike) -> FloatArray:
    """
    Pulse energy at which the peak fluence reaches a threshold.

    Parameters
    ----------
    threshold_j_cm2 : array_like, shape (...)
        Threshold as a peak fluence. [J/cm²]
    radius_um : array_like, shape (...)
        1/e² radius, as in `peak_fluence`. [µm]

    Returns
    -------
    numpy.ndarray, shape (...)
        Threshold times pi w² / 2. [mJ]

    Raises
    ------
    ValueError
        A value is not a finite number above 0.

    Notes
    -----
    It belongs to one spot size: with half the radius a quarter of the energy does the same.

    References
    ----------
    .. [1] J. M. Liu, Opt. Lett. 7(5), 196-198 (1982). DOI 10.1364/OL.7.000196

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> print(laser.threshold_pulse_energy(0.5, 2000).round(0))
    31.0
    """
    threshold, radius = positive(threshold_j_cm2=threshold_j_cm2, radius_um=radius_um)
    return threshold * effective_area(radius) / _J_PER_MJ


def peak_irradiance(energy_mj: ArrayLike, radius_um: ArrayLike, pulse_ns: ArrayLike) -> FloatArray:
    """
    Peak irradiance in the middle of the spot, the pulse taken as square in time.

    Parameters
    ----------
    energy_mj, radius_um : array_like, shape (...)
        Pulse energy [mJ] and 1/e² radius [µm], as in `peak_fluence`.
    pulse_ns : array_like, shape (...)
        Pulse duration; 275 fs are 0.000275 ns. [ns]

    Returns
    -------
    numpy.ndarray, shape (...)
        2 E / (pi w² duration). [W/cm²]

    Raises
    ------
    ValueError
        A value is not a finite number above 0.

    Notes
    -----
    A bell-shaped pulse of the same width at half height peaks 6 % lower, a ragged one far
    higher. Power per area says little of damage without the duration beside it.

    References
    ----------
    .. [1] ISO 21254-1:2011, Laser-induced damage threshold, Part 1.

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> print(f"{laser.peak_irradiance(180, 3500, 8):.2g}")
    1.2e+08
    """
    energy, radius, duration = positive(energy_mj=energy_mj, radius_um=radius_um, pulse_ns=pulse_ns)
    return peak_fluence(energy, radius) / (1e-9 * duration)
