"""
Heat in a half-space of constant properties, by the formulas that printed tables and tests use.

After H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids, 2nd ed. (Oxford 1959), from
memory; the section stands beside each. Rises are in K, lengths in m. The package solves heat in
steps; these hold the answers it must come to.
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import erfc

FloatArray = NDArray[np.float64]


def diffusivity(k: float, density: float, heat_capacity: float) -> float:
    """k/(rho c) [m²/s]."""
    return k / (density * heat_capacity)


def diffusion_length(d: float, time: float) -> float:
    """sqrt(4 D t) [m]; others print sqrt(D t) or sqrt(2 D t)."""
    return math.sqrt(4 * d * time)


def ierfc(x: ArrayLike) -> FloatArray:
    """Integral of erfc from x on: exp(-x²)/sqrt(pi) - x erfc x (Appendix II)."""
    x = np.asarray(x, dtype=float)
    return np.exp(-(x**2)) / math.sqrt(math.pi) - x * erfc(x)


def steady_flux_rise(q: float, time: float, k: float, d: float, depth: float = 0.0) -> float:
    """(2q/k) sqrt(D t) ierfc(z / (2 sqrt(D t))) under a steady flux (2.9, eq. 7)."""
    if time <= 0:
        return 0.0
    reach = math.sqrt(d * time)
    return float(2 * q / k * reach * ierfc(depth / (2 * reach)))


def square_pulse_rise(
    fluence_j_m2: float, pulse: float, time: float, k: float, d: float, depth: float = 0.0
) -> float:
    """The flux of a pulse from 0 on, less the same flux from its end on."""
    q = fluence_j_m2 / pulse
    after = steady_flux_rise(q, time - pulse, k, d, depth)
    return steady_flux_rise(q, time, k, d, depth) - after


def fluence_for_rise(rise: float, pulse: float, k: float, d: float) -> float:
    """Absorbed fluence [J/m²] of a square pulse at whose end the surface has that rise."""
    return rise / square_pulse_rise(1.0, pulse, pulse, k, d)


def heat_left(
    fluence_j_m2: float, pulses: int, rate: float, density_times_c: float, d: float
) -> float:
    """Rise just before the next pulse: plane sources F/(rho c sqrt(pi D t)), added up (10.3)."""
    ages = np.arange(1, pulses + 1) / rate
    return float((fluence_j_m2 / (density_times_c * np.sqrt(math.pi * d * ages))).sum())


def resting_spot_rise(power: float, radius: float, k: float) -> float:
    """Final rise mid-spot of a Gaussian beam that rests: P / (sqrt(2 pi) k w) (10.5)."""
    return power / (math.sqrt(2 * math.pi) * k * radius)


def overstated(d: float, time: float, radius: float) -> float:
    """
    How many times too high heat along the depth alone is, mid-spot of a Gaussian beam.

    Under a steady flux the middle rises by q w/(k sqrt(2 pi)) arctan(z), z = sqrt(8 D t)/w (10.5,
    integrated over the spot); along the depth alone by the same with z for arctan(z).
    """
    z = math.sqrt(8 * d * time) / radius
    return z / math.atan(z)


def layered_rise(
    q: float, time: float, depth: float, layer: float, k: tuple[float, float],
    d: tuple[float, float],
) -> float:  # fmt: skip
    """
    Rise within a layer on a half-space under a steady flux, by a series of images (12.8).

    Of each pair the layer comes first. With e = k/sqrt(D), each image is weaker by
    r = (e1 - e2)/(e1 + e2): (2 q sqrt(D t)/k) sum of r^|n| ierfc(|z + 2 n l| / (2 sqrt(D t))).
    """
    e1, e2 = k[0] / math.sqrt(d[0]), k[1] / math.sqrt(d[1])
    n = np.arange(-300, 301)
    reach = math.sqrt(d[0] * time)
    series = ((e1 - e2) / (e1 + e2)) ** np.abs(n) * ierfc(np.abs(depth + 2 * n * layer) / reach / 2)
    return float(2 * q * reach / k[0] * series.sum())
