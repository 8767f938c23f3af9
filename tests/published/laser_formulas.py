"""
Laser formulas that published tables print and no result of the package is made of.

Each is written on what the package offers, so that their rows test that too.
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence import laser

FloatArray = NDArray[np.float64]


def effective_area(radius_um: ArrayLike) -> FloatArray:
    """Pulse energy over peak fluence, pi w²/2 [cm²] (ISO 21254-1:2011)."""
    return 1e-3 / laser.peak_fluence(1, radius_um)


def fluence_at_radius(
    energy_mj: ArrayLike, radius_um: ArrayLike, distance_um: ArrayLike
) -> FloatArray:
    """Fluence of one pulse beside the middle, F0 exp(-2 r²/w²) [J/cm²] (ISO 11146-1:2021)."""
    away = np.divide(distance_um, radius_um)
    return laser.peak_fluence(energy_mj, radius_um) * np.exp(-2 * away**2)


def energy_inside_radius(radius_um: ArrayLike, distance_um: ArrayLike) -> FloatArray:
    """Share of the energy within a circle, 1 - exp(-2 r²/w²) (ISO 11146-1:2021)."""
    return -np.expm1(-2 * np.divide(distance_um, radius_um) ** 2)


def squared_crater_diameter(
    energy_mj: ArrayLike, radius_um: ArrayLike, threshold_j_cm2: ArrayLike
) -> FloatArray:
    """2 w² ln(F0/F_th) [µm²] (J. M. Liu, Opt. Lett. 7(5), 196-198, 1982)."""
    peak = laser.peak_fluence(energy_mj, radius_um)
    return 2 * np.square(radius_um) * laser.ablation_depth(peak, threshold_j_cm2, 1)


def crater_diameter(
    energy_mj: ArrayLike, radius_um: ArrayLike, threshold_j_cm2: ArrayLike
) -> FloatArray:
    """Root of `squared_crater_diameter` [µm] (Liu 1982)."""
    return np.sqrt(squared_crater_diameter(energy_mj, radius_um, threshold_j_cm2))


def threshold_pulse_energy(threshold_j_cm2: ArrayLike, radius_um: ArrayLike) -> FloatArray:
    """Pulse energy whose peak meets a threshold [mJ] (Liu 1982)."""
    return np.asarray(threshold_j_cm2) / laser.peak_fluence(1, radius_um)


def weighted_pulses_line(
    radius_um: ArrayLike, rate_hz: ArrayLike, speed_mm_s: ArrayLike
) -> FloatArray:
    """Full pulses along a line on average, sqrt(pi/2) w f/v (Gaussian beam of ISO 11146-1)."""
    return np.sqrt(np.pi / 8) * laser.pulses_per_spot(radius_um, rate_hz, speed_mm_s)


def weighted_pulses_area(
    radius_um: ArrayLike, rate_hz: ArrayLike, speed_mm_s: ArrayLike, hatch_um: ArrayLike
) -> FloatArray:
    """Full pulses of a hatched area on average, pi w² f/(2 v hatch) (beam of ISO 11146-1)."""
    across = np.pi / 4 * np.divide(radius_um, hatch_um)
    return across * laser.pulses_per_spot(radius_um, rate_hz, speed_mm_s)


def incubation(threshold_1_j_cm2: float, threshold_n_j_cm2: float, pulses: float) -> float:
    """S = 1 + ln(F_N/F_1)/ln N (Jee, Becker, Walser, J. Opt. Soc. Am. B 5(3), 648-659, 1988)."""
    return 1 + math.log(threshold_n_j_cm2 / threshold_1_j_cm2) / math.log(pulses)


def crater_volume(
    peak_fluence_j_cm2: ArrayLike,
    threshold_j_cm2: ArrayLike,
    penetration_um: ArrayLike,
    radius_um: ArrayLike,
) -> FloatArray:
    """Volume pi w² delta/4 ln²(F0/F_th) [µm³] (Neuenschwander et al., Proc. SPIE 7584, 2010)."""
    logarithm = laser.ablation_depth(peak_fluence_j_cm2, threshold_j_cm2, 1)
    return np.pi / 4 * np.square(radius_um) * np.asarray(penetration_um) * logarithm**2


def removal_per_energy(
    peak_fluence_j_cm2: ArrayLike, threshold_j_cm2: ArrayLike, penetration_um: ArrayLike
) -> FloatArray:
    """Delta ln²(F0/F_th)/(2 F0) [mm³/J] (Neuenschwander et al. 2010); µm over J/cm² is 0.1."""
    logarithm = laser.ablation_depth(peak_fluence_j_cm2, threshold_j_cm2, 1)
    return 0.05 * np.asarray(penetration_um) * logarithm**2 / np.asarray(peak_fluence_j_cm2)


def most_efficient_fluence(threshold_j_cm2: ArrayLike) -> FloatArray:
    """e² F_th [J/cm²] (Raciukaitis et al., J. Laser Micro/Nanoeng. 4(3), 186-191, 2009)."""
    return math.e**2 * np.asarray(threshold_j_cm2, dtype=float)


def greatest_removal_per_energy(
    threshold_j_cm2: ArrayLike, penetration_um: ArrayLike
) -> FloatArray:
    """Removal per joule at the most efficient fluence [mm³/J] (Neuenschwander et al. 2010)."""
    best = most_efficient_fluence(threshold_j_cm2)
    return removal_per_energy(best, threshold_j_cm2, penetration_um)
