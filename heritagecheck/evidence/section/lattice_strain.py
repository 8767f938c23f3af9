"""Stress from strains of the crystal lattice, as diffraction measures them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.laser.beam import single, single_positive
from heritagecheck.evidence.section.profile_values import FloatArray, rows_of, share_between

_FEWEST_TILTS = 5  # common practice
_SPLIT_TIMES = 3.0  # standard errors from which a splitting is spoken of; common practice
_MOST_STRAIN = 0.01  # steel yields long before; a larger value is a slip of unit
_GPA = 1e-3  # GPa times microstrain, as MPa


@dataclass(frozen=True, slots=True)
class ResidualStress:
    """Stress along the surface in one direction, with its interval; tension is positive."""

    stress_mpa: float
    standard_error_mpa: float
    low_mpa: float
    high_mpa: float
    shear_mpa: float | None
    shear_standard_error_mpa: float | None
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
    level : float
        Confidence of the interval. [0 to 1]

    Returns
    -------
    ResidualStress
        Stress with its standard error, `low` and `high` [MPa]; shear stress, where both sides were
        tilted to; number of tilts; level; cautions.

    Raises
    ------
    ValueError
        Fewer than 4 tilts or 3 different ones, a tilt of 90 degrees or more, spacings that differ
        by more than a hundredth, or an elastic constant that is not above 0.

    Notes
    -----
    With no stress across the surface, strain = ½S2 (stress sin²ψ + shear sin 2ψ) + constant [1]_.
    Ordinary least squares; the spacing at ψ = 0 stands for the unstressed one, which changes the
    stress by less than a thousandth of itself. The errors of slope and of ½S2 add as squares; the
    interval uses Student's t. A splitting of the two sides is shear, or a section that was not
    flat or not in the centre: it is named, never averaged away. A curve left over means texture
    or a steep gradient, for which one stress has no meaning. A few µm below the surface are seen.

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
    level = share_between("level", level)
    psi, spacing = rows_of(4, psi_deg=psi_deg, spacing_nm=spacing_nm)
    (constant,) = single_positive(half_s2_per_tpa=half_s2_per_tpa)
    error = single("half_s2_error_per_tpa", half_s2_error_per_tpa)
    if error < 0:
        raise ValueError(f"half_s2_error_per_tpa = {error:g}: a standard error is not below 0.")
    _checked(psi, spacing)
    tilted = np.radians(psi)
    strain = spacing / spacing[np.abs(psi).argmin()] - 1
    columns = [np.ones_like(tilted), np.sin(tilted) ** 2]
    both = psi.min() < 0 < psi.max()
    if both:
        columns.append(np.sin(2 * tilted))
    per_mpa = constant * 1e-6
    fit, errors, freedom = _least_squares(np.stack(columns, axis=1), strain)
    stress = fit[1] / per_mpa
    spread = math.hypot(errors[1] / per_mpa, stress * error / constant)
    half = _t(freedom, level) * spread
    return ResidualStress(
        stress_mpa=stress, standard_error_mpa=spread, low_mpa=stress - half,
        high_mpa=stress + half,
        shear_mpa=fit[2] / per_mpa if both else None,
        shear_standard_error_mpa=errors[2] / per_mpa if both else None,
        tilts=psi.size, level=level,
        cautions=tuple(_cautions(psi, fit, errors, strain, freedom)),
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


def _least_squares(columns: FloatArray, strain: FloatArray) -> tuple[list[float], list[float], int]:
    """Coefficients, their standard errors, and degrees of freedom."""
    freedom = strain.size - columns.shape[1]
    if freedom < 1:
        raise ValueError(
            f"{strain.size} tilts: give at least {columns.shape[1] + 1}, or nothing tells how "
            "uncertain the stress is."
        )
    inverse = np.linalg.pinv(columns)
    fit = np.einsum("ij,j->i", inverse, strain)
    left = strain - np.einsum("ij,j->i", columns, fit)
    variance = float((left**2).sum()) / freedom
    errors = np.sqrt(variance * np.einsum("ij,ij->i", inverse, inverse))
    return fit.tolist(), errors.tolist(), freedom


def _t(freedom: int, level: float) -> float:
    """Two-sided quantile of Student's t."""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, (1 + level) / 2))


def _cautions(
    psi: FloatArray, fit: list[float], errors: list[float], strain: FloatArray, freedom: int
) -> list[str]:
    """What keeps a stress from being taken at its word."""
    found = []
    if psi.size < _FEWEST_TILTS:
        found.append(f"Fewer than {_FEWEST_TILTS} tilts.")
    if len(fit) < 3:
        found.append("Tilted to one side only, so that a splitting by shear can't be seen.")
    elif abs(fit[2]) > _SPLIT_TIMES * errors[2] > 0:
        found.append(
            "The two sides split: shear stress, or the section was not flat or not in the centre."
        )
    if _bends(psi, strain, len(fit)):
        found.append("The line over sin²ψ bends: texture or a steep gradient.")
    return found


def _bends(psi: FloatArray, strain: FloatArray, terms: int) -> bool:
    """Whether a square term over sin²ψ is significant at 1 %."""
    tilted = np.radians(psi)
    square = np.sin(tilted) ** 2
    columns = [np.ones_like(square), square, square**2, np.sin(2 * tilted)][: terms + 1]
    if strain.size <= len(columns):
        return False
    fit, errors, freedom = _least_squares(np.stack(columns, axis=1), strain)
    return abs(fit[2]) > _t(freedom, 0.99) * errors[2] > 0


def stress_of_three(
    strain_1e6: ArrayLike,
    *,
    youngs_modulus_gpa: float,
    poisson: float,
    standard_error_1e6: ArrayLike = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """
    Stresses from strains in three directions at right angles, each with its standard error, in MPa.

    Hooke's law in the form of ISO 21432: s1 = E / ((1 + n)(1 - 2n)) ((1 - n) e1 + n (e2 + e3)),
    with the last axis of `strain_1e6` holding the three microstrains. Errors of the three strains
    are taken as independent; one of the unstressed spacing, which all three share, is not in them.
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
    return stress, np.sqrt(np.einsum("ij,...j->...i", stiffness**2, error**2))
