"""Stress from strains of the crystal lattice, as diffraction measures them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.laser.beam import positive, single, single_positive
from heritagecheck.evidence.section.depth_profiles import FloatArray, checked_level, rows_of

_FEWEST_TILTS = 5  # common practice
_SPLIT_TIMES = 3.0  # standard errors from which a splitting is spoken of; common practice
_MOST_STRAIN = 0.01  # steel yields long before; a larger value is a slip of unit
_GPA = 1e-3  # GPa times microstrain, as MPa


@dataclass(frozen=True, slots=True)
class ResidualStress:
    """
    Stress along the surface in one direction, with its interval; tension is positive.

    `normal_spacing_nm` is the spacing at ψ = 0 by the fitted line.
    """

    stress_mpa: float
    standard_error_mpa: float
    low_mpa: float
    high_mpa: float
    shear_mpa: float | None
    shear_standard_error_mpa: float | None
    normal_spacing_nm: float
    tilts: int
    level: float
    cautions: tuple[str, ...]

    def __str__(self) -> str:
        """Say it in a sentence, with the cautions."""
        said = (
            f"Residual stress {self.stress_mpa:+.0f} MPa ({100 * self.level:g} % confidence "
            f"interval {self.low_mpa:+.0f} to {self.high_mpa:+.0f} MPa) from {self.tilts} tilts."
        )
        return " ".join((said, *self.cautions))


def residual_stress(
    psi_deg: ArrayLike,
    spacing_nm: ArrayLike,
    *,
    half_s2_per_tpa: float,
    half_s2_error_per_tpa: float = 0.0,
    spacing_error_nm: ArrayLike | None = None,
    level: float = 0.95,
) -> ResidualStress:
    """
    Residual stress from lattice spacings at several tilts (sin²ψ method).

    Parameters
    ----------
    psi_deg : array_like, shape (n,) with n of at least 4
        Tilt of each measurement; to the other side it is negative. [degrees]
    spacing_nm : array_like, shape (n,)
        Lattice spacing at each tilt. [nm]
    half_s2_per_tpa : float
        X-ray elastic constant ½S2 of these lattice planes, as the laboratory states it. [1/TPa]
    half_s2_error_per_tpa : float
        Its standard error. [1/TPa]
    spacing_error_nm : array_like, shape (n,), optional
        Standard error of each spacing, where the laboratory states it. [nm]
    level : float
        Confidence of the interval. [0 to 1]

    Returns
    -------
    ResidualStress
        Stress with its standard error, `low` and `high` [MPa]; shear stress, where both sides were
        tilted to; spacing at ψ = 0 by the line [nm]; number of tilts; level; cautions.

    Raises
    ------
    ValueError
        Fewer than 4 tilts or 3 different ones, a tilt of 90 degrees or more, spacings that differ
        by more than a hundredth, an elastic constant or an error of a spacing that is not above 0.

    Notes
    -----
    With no stress across the surface, d = d(ψ=0) (1 + ½S2 (stress sin²ψ + shear sin 2ψ)) [1]_.
    The spacing at ψ = 0 by the line stands for the unstressed one, which changes the stress by
    less than a thousandth of itself. Least squares, with weights where errors are stated; where
    the spacings scatter more about the line than these errors allow, the scatter counts. The
    errors of slope and of ½S2 add as squares; the interval uses Student's t. A splitting of the
    two sides is shear, or a section that was not flat or not in the centre: it is named, never
    averaged away. A curve left over means texture or a steep gradient, for which one stress has
    no meaning. A few µm below the surface are seen.

    References
    ----------
    .. [1] EN 15305, "Non-destructive testing: test method for residual stress analysis by X-ray
       diffraction" (from memory).

    Examples
    --------
    A treated flange, with the constant of the {211} planes of steel as the laboratory states it:

    >>> import heritagecheck as hc
    >>> print(hc.section.residual_stress(
    ...     [-45, -33, -21, 0, 21, 33, 45],
    ...     [0.117094, 0.117069, 0.117041, 0.117021, 0.117040, 0.117068, 0.117096],
    ...     half_s2_per_tpa=5.8,
    ... ))
    Residual stress +219 MPa (95 % confidence interval +199 to +238 MPa) from 7 tilts.
    """
    level = checked_level(level)
    psi, spacing = rows_of(4, psi_deg=psi_deg, spacing_nm=spacing_nm)
    (constant,) = single_positive(half_s2_per_tpa=half_s2_per_tpa)
    error = single("half_s2_error_per_tpa", half_s2_error_per_tpa)
    if error < 0:
        raise ValueError(f"half_s2_error_per_tpa = {error:g}: a standard error is not below 0.")
    _checked(psi, spacing)
    stated = None if spacing_error_nm is None else _errors(spacing_error_nm, psi.size)
    line = _line(psi, spacing, stated, terms=3 if psi.min() < 0 < psi.max() else 2)
    per_mpa = constant * 1e-6 * line.fit[0]  # slope of the spacing for each MPa
    stress = line.fit[1] / per_mpa
    spread = math.hypot(line.errors[1] / per_mpa, stress * error / constant)
    half = _t(line.freedom, level) * spread
    return ResidualStress(
        stress_mpa=stress, standard_error_mpa=spread, low_mpa=stress - half,
        high_mpa=stress + half,
        shear_mpa=line.fit[2] / per_mpa if len(line.fit) > 2 else None,
        shear_standard_error_mpa=line.errors[2] / per_mpa if len(line.fit) > 2 else None,
        normal_spacing_nm=line.fit[0], tilts=psi.size, level=level,
        cautions=tuple(_cautions(psi, spacing, stated, line)),
    )  # fmt: skip


def _checked(psi: FloatArray, spacing: FloatArray) -> None:
    """Refuse tilts and spacings from which no slope can be had."""
    if np.abs(psi).max() >= 90:
        raise ValueError(f"psi_deg = {np.abs(psi).max():g}: a tilt lies below 90 degrees.")
    if np.unique(np.abs(psi).round(3)).size < 3:
        raise ValueError("Fewer than 3 different tilts: a line through them can't be checked.")
    if spacing.min() <= 0 or np.ptp(spacing) > _MOST_STRAIN * spacing.min():
        raise ValueError(
            f"spacing_nm runs from {spacing.min():g} to {spacing.max():g}: spacings of one kind of "
            "lattice plane differ by far less than a hundredth. Was a decimal point lost?"
        )


def _errors(stated: ArrayLike, tilts: int) -> FloatArray:
    """Check the errors of spacings that a laboratory states."""
    (errors,) = positive(spacing_error_nm=stated)
    if errors.shape != (tilts,):
        raise ValueError(f"spacing_error_nm: give one error for each of the {tilts} tilts.")
    return errors


class _Line(NamedTuple):
    """Terms of a spacing over sin²ψ, their standard errors, and degrees of freedom."""

    fit: list[float]
    errors: list[float]
    freedom: int


def _line(
    psi: FloatArray, spacing: FloatArray, stated: FloatArray | None, terms: int, bend: bool = False
) -> _Line:
    """Spacing at ψ = 0, slope over sin²ψ, and over sin 2ψ; last, where wanted, over its square."""
    tilted = np.radians(psi)
    square = np.sin(tilted) ** 2
    columns = [np.ones_like(square), square, np.sin(2 * tilted)][:terms]
    return _least_squares(np.stack(columns + [square**2] * bend, axis=1), spacing, stated)


def _least_squares(columns: FloatArray, spacing: FloatArray, stated: FloatArray | None) -> _Line:
    """Least squares with weights, where errors are stated; a larger scatter widens the errors."""
    freedom = spacing.size - columns.shape[1]
    if freedom < 1:
        raise ValueError(
            f"{spacing.size} tilts: give at least {columns.shape[1] + 1}, or the uncertainty "
            "of the stress is not known."
        )
    weight = np.ones_like(spacing) if stated is None else 1 / stated
    middle = spacing.mean()  # subtracted, so that no digits are lost
    inverse = np.linalg.pinv(columns * weight[:, np.newaxis])
    fit = np.einsum("ij,j->i", inverse, (spacing - middle) * weight)
    left = weight * (spacing - middle - np.einsum("ij,j->i", columns, fit))
    scatter = float((left**2).sum()) / freedom
    variance = scatter if stated is None else max(1.0, scatter)
    errors = np.sqrt(variance * np.einsum("ij,ij->i", inverse, inverse))
    return _Line([float(fit[0] + middle), *fit[1:].tolist()], errors.tolist(), freedom)


def _t(freedom: int, level: float) -> float:
    """Two-sided quantile of Student's t."""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, (1 + level) / 2))


def _cautions(
    psi: FloatArray, spacing: FloatArray, stated: FloatArray | None, line: _Line
) -> list[str]:
    """What keeps a stress from being taken at its word."""
    found = []
    if psi.size < _FEWEST_TILTS:
        found.append(f"Fewer than {_FEWEST_TILTS} tilts.")
    if len(line.fit) < 3:
        found.append("Tilted to one side only, so that a splitting by shear can't be seen.")
    elif abs(line.fit[2]) > _SPLIT_TIMES * line.errors[2] > 0:
        found.append(
            "The two sides split: shear stress, or the section was not flat or not in the centre."
        )
    if _bends(psi, spacing, stated, len(line.fit)):
        found.append("The line over sin²ψ bends: texture or a steep gradient.")
    return found


def _bends(psi: FloatArray, spacing: FloatArray, stated: FloatArray | None, terms: int) -> bool:
    """Whether a square term over sin²ψ is significant at 1 %."""
    if spacing.size <= terms + 1:
        return False
    line = _line(psi, spacing, stated, terms, bend=True)
    return abs(line.fit[-1]) > _t(line.freedom, 0.99) * line.errors[-1] > 0


def stress_of_three(
    strain_1e6: ArrayLike,
    *,
    youngs_modulus_gpa: float,
    poisson: float,
    standard_error_1e6: ArrayLike = 0.0,
    free_error_1e6: float = 0.0,
    youngs_modulus_error_gpa: float = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """
    Stresses from strains in three directions at right angles, each with its standard error, in MPa.

    Hooke's law in the form of ISO 21432: s1 = E / ((1 + n)(1 - 2n)) ((1 - n) e1 + n (e2 + e3)),
    with the last axis of `strain_1e6` holding the three microstrains. Errors of the three strains
    are independent; that of the unstressed spacing is shared by all three and moves each stress by
    E / (1 - 2n) of it, as an even pressure does. That of E moves each stress by its own share.
    """
    (modulus,) = single_positive(youngs_modulus_gpa=youngs_modulus_gpa)
    if not 0 < single("poisson", poisson) < 0.5:
        raise ValueError(f"poisson = {poisson:g}: it lies between 0 and 0.5, such as 0.28.")
    strain = np.asarray(strain_1e6, dtype=float)
    if strain.shape[-1:] != (3,) or not np.all(np.isfinite(strain)):
        raise ValueError("strain_1e6: give three finite microstrains, one for each direction.")
    if np.abs(strain).max() > _MOST_STRAIN * 1e6:
        raise ValueError(
            f"strain_1e6 = {np.abs(strain).max():g}: no metal holds a hundredth. Give microstrains."
        )
    error = np.broadcast_to(np.asarray(standard_error_1e6, dtype=float), strain.shape)
    factor = modulus * _GPA / ((1 + poisson) * (1 - 2 * poisson))
    stiffness = factor * (np.full((3, 3), poisson) + np.eye(3) * (1 - 2 * poisson))
    stress = np.einsum("ij,...j->...i", stiffness, strain)
    variance = np.einsum("ij,...j->...i", stiffness**2, error**2)
    variance = variance + (modulus * _GPA / (1 - 2 * poisson) * free_error_1e6) ** 2
    return stress, np.sqrt(variance + (stress * youngs_modulus_error_gpa / modulus) ** 2)
