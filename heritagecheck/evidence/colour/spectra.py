"""From reflectance to L*, a*, b*, and from Munsell chips; standard tables by colour-science."""

import warnings
from collections.abc import Sequence
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.colour.colour_difference import FloatArray

_ILLUMINANTS = ("A", "C", "D50", "D55", "D65", "D75")
_OBSERVERS = {
    2: "CIE 1931 2 Degree Standard Observer",
    10: "CIE 1964 10 Degree Standard Observer",
}
_STEPS_NM = (1, 5, 10, 20)
_MUST_COVER_NM = (400, 700)  # common practice: what most meters read
# Common practice: a white tile may pass 1 a little; what passes this was given in per cent.
_MOST_REFLECTANCE = 1.2


def lab_from_reflectance(
    wavelengths_nm: ArrayLike,
    reflectance: ArrayLike,
    illuminant: str = "D65",
    observer_deg: int = 10,
) -> FloatArray:
    """
    L*, a*, b* of a surface from its reflectance.

    Parameters
    ----------
    wavelengths_nm : array_like, shape (n,)
        Wavelengths, rising in equal steps of 1, 5, 10 or 20, from 400 or less to 700 or more. [nm]
    reflectance : array_like, shape (..., n)
        Reflectance factor, 1 for the perfect reflecting diffuser. [1]
    illuminant : {"A", "C", "D50", "D55", "D65", "D75"}
        Standard illuminant.
    observer_deg : {2, 10}
        Standard observer of 1931 or of 1964. [degree]

    Returns
    -------
    numpy.ndarray, shape (..., 3)
        L*, a*, b* relative to that illuminant. [CIELAB units]

    Raises
    ------
    ValueError
        An illuminant or observer that is not listed; wavelengths that do not rise in such steps
        or do not cover the visible; a value that is not finite, negative or above 1.2.

    Notes
    -----
    Tristimulus values by the weights of ASTM E308 for the step of the data [1]_ [2]_, then CIELAB
    [3]_. What lies outside the data is added to its ends, as E308 asks. Fluorescence is not
    covered. Results for another illuminant or observer are other colours: never compare across.

    References
    ----------
    .. [1] ASTM E308-18, computing the colors of objects by using the CIE system; weights by
       colour-science.
    .. [2] ISO/CIE 11664-3:2019, CIE tristimulus values.
    .. [3] ISO/CIE 11664-4:2019, CIE 1976 L*a*b* colour space.

    Examples
    --------
    A grey that reflects a fifth of every wavelength is neutral under any light:

    >>> from heritagecheck.evidence import colour
    >>> lab = colour.lab_from_reflectance(range(400, 701, 10), [0.2] * 31)
    >>> print(f"L* {lab[0]:.1f}")
    L* 51.8
    """
    xyz = xyz_from_reflectance(wavelengths_nm, reflectance, illuminant, observer_deg)
    return lab_from_xyz(xyz, illuminant, observer_deg)


def xyz_from_reflectance(
    wavelengths_nm: ArrayLike,
    reflectance: ArrayLike,
    illuminant: str = "D65",
    observer_deg: int = 10,
) -> FloatArray:
    """Tristimulus values of a surface from its reflectance."""
    grid = _checked_grid(wavelengths_nm)
    values = _checked_reflectance(reflectance, len(grid))
    _check_conditions(illuminant, observer_deg)
    weights = _weights(tuple(grid.tolist()), illuminant, observer_deg)
    # Summed one by one, not by a matrix product, whose last digits differ between machines.
    found: FloatArray = (values[..., np.newaxis] * weights).sum(axis=-2)
    return found


def lab_from_xyz(xyz: ArrayLike, illuminant: str = "D65", observer_deg: int = 10) -> FloatArray:
    """L*, a*, b* from tristimulus values."""
    values = np.asarray(xyz, dtype=float)
    if values.shape[-1:] != (3,) or not np.isfinite(values).all():
        raise ValueError("xyz must hold finite triples X, Y, Z along its last axis.")
    parts = values / white_point(illuminant, observer_deg)
    edge = 6 / 29
    roots = np.where(
        parts > edge**3, np.cbrt(parts), parts / (3 * edge**2) + 4 / 29
    )  # the two branches meet at the edge
    x, y, z = np.moveaxis(roots, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def white_point(illuminant: str = "D65", observer_deg: int = 10) -> FloatArray:
    """Tristimulus values of the perfect reflecting diffuser."""
    _check_conditions(illuminant, observer_deg)
    grid = tuple(float(nm) for nm in range(360, 781, 10))
    found: FloatArray = _weights(grid, illuminant, observer_deg).sum(axis=0)
    return found


def xyy_from_munsell(notation: str) -> FloatArray:
    """Chromaticity and luminance of a Munsell notation, as a field reading by chips gives it."""
    # colour-science asserts what it expects of a notation, and logs nothing else.
    try:
        found = np.asarray(colour_science().munsell_colour_to_xyY(notation), dtype=float)
    except (AssertionError, ValueError) as error:
        raise ValueError(
            f'notation = "{notation}" is not a Munsell colour of the renotation. '
            'Write hue, value and chroma as in "10YR 6/2", or "N6" for a neutral.'
        ) from error
    found[2] *= 100
    return found


def lab_of_munsell(notation: str) -> FloatArray:
    """L*, a*, b* of a Munsell notation, for illuminant C and the observer of 1931."""
    words = notation.strip()
    neutral = words.removeprefix("N").strip(" /")
    x, y, luminance = xyy_from_munsell(f"N{neutral}" if words.startswith("N") else words)
    xyz = np.array([x, y, 1 - x - y]) * luminance / y
    return lab_from_xyz(xyz, "C", 2)


def _checked_grid(wavelengths_nm: ArrayLike) -> FloatArray:
    """Wavelengths as an array, or why they will not do."""
    grid = np.asarray(wavelengths_nm, dtype=float)
    if grid.ndim != 1 or len(grid) < 2 or not np.isfinite(grid).all():
        raise ValueError("wavelengths_nm must be a row of finite wavelengths.")
    steps = np.diff(grid)
    if not any(np.allclose(steps, step, atol=1e-6) for step in _STEPS_NM):
        raise ValueError(
            "wavelengths_nm must rise in equal steps of 1, 5, 10 or 20 nm; "
            f"these go from {steps.min():g} to {steps.max():g} nm."
        )
    if not covers_visible(grid):
        low, high = _MUST_COVER_NM
        raise ValueError(
            f"wavelengths_nm run from {grid[0]:g} to {grid[-1]:g} nm and must cover {low} to "
            f"{high} nm."
        )
    return grid


def covers_visible(wavelengths_nm: Sequence[float] | FloatArray) -> bool:
    """Whether rising wavelengths reach over all that a spectrum must cover."""
    low, high = _MUST_COVER_NM
    return bool(wavelengths_nm[0] <= low and wavelengths_nm[-1] >= high)


def _checked_reflectance(reflectance: ArrayLike, count: int) -> FloatArray:
    """Reflectance as an array, or why it will not do."""
    values = np.asarray(reflectance, dtype=float)
    if values.shape[-1:] != (count,):
        raise ValueError(
            f"reflectance has {values.shape[-1] if values.ndim else 1} values along its last axis "
            f"and wavelengths_nm has {count}."
        )
    if not np.isfinite(values).all() or values.min() < 0:
        raise ValueError("reflectance holds a value that is negative or not finite.")
    if values.max() > _MOST_REFLECTANCE:
        raise ValueError(
            f"reflectance reaches {values.max():g}, but it runs from 0 to 1. Was it given in "
            "per cent? Then divide it by 100."
        )
    return values


def _check_conditions(illuminant: str, observer_deg: int) -> None:
    """Refuse what is not listed."""
    if illuminant not in _ILLUMINANTS:
        raise ValueError(
            f'illuminant = "{illuminant}" is not offered; take one of {", ".join(_ILLUMINANTS)}.'
        )
    if observer_deg not in _OBSERVERS:
        raise ValueError(f"observer_deg = {observer_deg} is not offered; take 2 or 10.")


@cache
def _weights(grid: tuple[float, ...], illuminant: str, observer_deg: int) -> FloatArray:
    """Weight of each wavelength in X, Y and Z, shape (n, 3): what E308 makes of it alone."""
    science = colour_science()
    shape = science.SPECTRAL_SHAPE_ASTME308
    observer = science.MSDS_CMFS[_OBSERVERS[observer_deg]].copy().align(shape)
    light = science.SDS_ILLUMINANTS[illuminant].copy().align(shape)
    alone = science.MultiSpectralDistributions(np.eye(len(grid)), grid)
    # It interpolates its tables to the step of the data, as intended, and warns about it.
    with science.utilities.suppress_warnings(colour_runtime_warnings=True):
        found = science.msds_to_XYZ(alone, cmfs=observer, illuminant=light, method="ASTM E308")
    return np.asarray(found, dtype=float)


def colour_science() -> Any:
    """Load colour-science without what it does to the process that imports it."""
    # It sets numpy's print style of 2017, and warns where matplotlib is not installed.
    with np.printoptions(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", '"Matplotlib" related API features')
        import colour as science
    return science
