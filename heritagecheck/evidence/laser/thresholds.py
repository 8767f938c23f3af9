"""From which fluence a pulse damages: thresholds by craters, by many pulses, in print; depth."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck import tables
from heritagecheck.evidence.laser.beam import FloatArray, positive, single

if TYPE_CHECKING:
    import pandas as pd

_FEW_CRATERS = 6  # below this a caution says that the uncertainty itself is poorly known
_BEND_LEVEL = 0.01  # how unlikely a bend must be by chance before it is spoken of


@dataclass(frozen=True, slots=True)
class CraterThreshold:
    """Threshold and spot radius from the craters of single settings, each with its interval."""

    threshold_peak_j_cm2: float
    threshold_peak_low_j_cm2: float
    threshold_peak_high_j_cm2: float
    threshold_energy_uj: float
    threshold_energy_low_uj: float
    threshold_energy_high_uj: float
    radius_um: float
    radius_low_um: float
    radius_high_um: float
    slope_um2: float
    slope_se_um2: float
    craters: int
    level: float
    cautions: tuple[str, ...]

    def __str__(self) -> str:
        """Say it in a sentence, with the cautions."""
        return (
            f"Threshold {self.threshold_peak_j_cm2:.3g} J/cm² peak fluence "
            f"({100 * self.level:g} % confidence interval {self.threshold_peak_low_j_cm2:.3g} to "
            f"{self.threshold_peak_high_j_cm2:.3g} J/cm²), from {self.craters} craters; "
            f"1/e² spot radius {self.radius_um:.3g} µm "
            f"({self.radius_low_um:.3g} to {self.radius_high_um:.3g} µm). {' '.join(self.cautions)}"
        )


def crater_threshold(
    pulse_energy_uj: ArrayLike, diameter_um: ArrayLike, level: float = 0.95
) -> CraterThreshold:
    """
    Threshold and spot radius from crater diameters at several pulse energies (D² line).

    Parameters
    ----------
    pulse_energy_uj : array_like, shape (n,) with n of at least 3
        Energy of the pulse that left each crater, at the wall. [µJ]
    diameter_um : array_like, shape (n,)
        Diameter of each crater. [µm]
    level : float
        Confidence of the intervals. [0 to 1]

    Returns
    -------
    CraterThreshold
        Threshold as peak fluence [J/cm²] and as pulse energy [µJ], the 1/e² radius [µm], each with
        `low` and `high`; slope of the line and its standard error [µm²]; number of craters; level;
        cautions.

    Raises
    ------
    ValueError
        Fewer than 3 craters, one energy only, a line that does not rise, a diameter of 0
        (a pulse without a crater is not a point of the line), or a value that is not a finite
        number above 0.

    Notes
    -----
    Ordinary least squares of D² = 2 w² ln(E / E_th) [1]_: slope 2 w², foot E_th, threshold peak
    fluence 2 E_th / (pi w²). All intervals are the extremes over one ellipse of slopes and
    heights that the craters allow (profile likelihood with Student's t). For the slope this is
    the usual t interval and for ln E_th that of Fieller for a ratio [2]_; where the slope may be 0
    they are open, 0 to infinity. Shots without a crater are left out, which is right for the
    line but loses what they say: use the damage probability for those. The line holds for one
    pulse a place (or one fixed number of pulses), a Gaussian beam, one mineral, and craters
    that are the pulse's own and no plucked grain. It gives no value for another stone.

    References
    ----------
    .. [1] J. M. Liu, "Simple technique for measurements of pulsed Gaussian-beam spot sizes,"
       Opt. Lett. 7(5), 196-198 (1982). DOI 10.1364/OL.7.000196
    .. [2] E. C. Fieller, "Some problems in interval estimation," J. R. Stat. Soc. B 16(2),
       175-185 (1954).

    Examples
    --------
    Seven craters of single pulses on a steel plate:

    >>> from heritagecheck.evidence import laser
    >>> found = laser.crater_threshold(
    ...     [15, 20, 30, 45, 70, 110, 160], [23.5, 39.0, 52.1, 64.8, 73.5, 83.7, 89.9]
    ... )
    >>> print(found)  # doctest: +NORMALIZE_WHITESPACE
    Threshold 0.5 J/cm² peak fluence (95 % confidence interval 0.486 to 0.514 J/cm²), from 7
    craters; 1/e² spot radius 39.9 µm (39.3 to 40.6 µm). Holds for this stone, mineral, wavelength,
    pulse and number of pulses only; it is not a working setting.
    """
    from scipy.special import stdtrit

    level = single("level", level)
    if not 0 < level < 1:
        raise ValueError(f"level = {level:g}: it lies between 0 and 1, such as 0.95.")
    energy, diameter = _craters(pulse_energy_uj, diameter_um)
    log_energy, square = np.log(energy), diameter**2
    count, centre, height = energy.size, float(log_energy.mean()), float(square.mean())
    off = log_energy - centre
    spread = float((off**2).sum())
    slope = float((off * square).sum()) / spread
    if slope <= 0:
        raise ValueError(
            "Higher pulse energy left no wider craters, so there is no D² line. Were energies "
            "and diameters put in the same order, and are all craters on one mineral?"
        )
    residual = square - height - slope * off
    sd = math.sqrt(float((residual**2).sum()) / (count - 2))
    slope_se = sd / math.sqrt(spread)
    reach = float(stdtrit(count - 2, (1 + level) / 2))
    energies, peaks = _allowed(
        centre, height, slope, reach * sd / math.sqrt(count), reach * slope_se
    )
    foot = math.exp(centre - height / slope)
    return CraterThreshold(
        threshold_peak_j_cm2=float(_peak_of(foot, slope)),
        threshold_peak_low_j_cm2=float(peaks.min()),
        threshold_peak_high_j_cm2=float(peaks.max()),
        threshold_energy_uj=foot,
        threshold_energy_low_uj=float(energies.min()),
        threshold_energy_high_uj=float(energies.max()),
        radius_um=math.sqrt(slope / 2),
        radius_low_um=math.sqrt(max(slope - reach * slope_se, 0) / 2),
        radius_high_um=math.sqrt((slope + reach * slope_se) / 2),
        slope_um2=slope,
        slope_se_um2=slope_se,
        craters=count,
        level=level,
        cautions=tuple(
            _crater_cautions(energy, foot, math.isfinite(energies.max()), _bends(off, square))
        ),
    )


def _craters(pulse_energy_uj: ArrayLike, diameter_um: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Energies and diameters of craters from which a line can be drawn."""
    diameters = np.asarray(diameter_um, dtype=float)
    if np.any(diameters == 0):
        raise ValueError(
            "diameter_um holds 0: a pulse without a crater is not a point of the D² line. Leave "
            "such pulses out here; hc.trials.dose_response counts them."
        )
    energy, diameter = positive(pulse_energy_uj=pulse_energy_uj, diameter_um=diameters)
    if energy.ndim != 1 or energy.shape != diameter.shape:
        raise ValueError(
            f"pulse_energy_uj has shape {energy.shape} and diameter_um {diameter.shape}: give one "
            "energy and one diameter for each crater."
        )
    if energy.size < 3:
        raise ValueError(
            f"{energy.size} craters: at least 3 are needed for an interval, and {_FEW_CRATERS} or "
            "more for a useful one."
        )
    if np.ptp(np.log(energy)) < 1e-9:
        raise ValueError(
            "All craters have the same pulse energy, so no line can be drawn. Use at least three "
            "energies, best twice or more the lowest that leaves a mark."
        )
    return energy, diameter


def _allowed(
    centre: float, height: float, slope: float, height_reach: float, slope_reach: float
) -> tuple[FloatArray, FloatArray]:
    """Threshold energies [µJ] and peak fluences [J/cm²] of all lines that are just allowed."""
    # Slope and mean height err independently; a full turn visits every such line.
    turn = np.linspace(0, 2 * np.pi, 20_001)
    slopes = slope + slope_reach * np.sin(turn)
    heights = height + height_reach * np.cos(turn)
    if slopes.min() <= 0:
        anything = np.array([0.0, math.inf])
        return anything, anything
    # A line that hardly rises meets the foot beyond all numbers: infinity is then the answer.
    with np.errstate(over="ignore"):
        energies = np.exp(centre - heights / slopes)
        return energies, _peak_of(energies, slopes)


def _peak_of(energy_uj: ArrayLike, slope_um2: ArrayLike) -> FloatArray:
    """Peak fluence of a pulse [J/cm²], from its energy [µJ] and twice the squared radius [µm²]."""
    peak: FloatArray = 400 / np.pi * np.asarray(energy_uj) / np.asarray(slope_um2)
    return peak


def _bends(off: FloatArray, square: FloatArray) -> bool:
    """Whether a curve fits clearly better than the line, by the F test of its square term."""
    from scipy.special import fdtrc

    free = off.size - 3
    if free < 2 or np.unique(off).size < 4:
        return False
    line, curve = (
        float(((square - np.polyval(np.polyfit(off, square, degree), off)) ** 2).sum())
        for degree in (1, 2)
    )
    # Craters that lie on a line but for rounding would else be tested on their last digits.
    if line <= 1e-12 * float((square**2).sum()):
        return False
    return curve == 0 or bool(fdtrc(1, free, (line - curve) / (curve / free)) < _BEND_LEVEL)


def _crater_cautions(energy: FloatArray, foot_uj: float, rises: bool, bends: bool) -> list[str]:
    """What a reader must know before using the threshold."""
    found = [
        "Holds for this stone, mineral, wavelength, pulse and number of pulses only; it is not a "
        "working setting."
    ]
    if energy.size < _FEW_CRATERS:
        found.append(f"Only {energy.size} craters: too few to know how uncertain the threshold is.")
    if not rises:
        found.append("The line may be flat: these craters give no limits for the threshold.")
    if foot_uj > energy.min():
        found.append(
            f"A crater was left at {energy.min():.3g} µJ, below the threshold energy "
            f"{foot_uj:.3g} µJ: read the small craters again."
        )
    if bends:
        found.append(
            "The points bend away from a line: beam not Gaussian, two ways of removal, or craters "
            "misread. The lowest energies alone may give another threshold."
        )
    return found


def incubated_threshold(
    threshold_1_j_cm2: ArrayLike,
    pulses: ArrayLike,
    s: float,
    *,
    threshold_inf_j_cm2: float = 0,
) -> FloatArray:
    """
    Threshold after many pulses on one place, from that of a single pulse.

    Parameters
    ----------
    threshold_1_j_cm2 : array_like, shape (...)
        Threshold of one pulse, as peak fluence. [J/cm²]
    pulses : array_like, shape (...)
        Number of pulses on one place, 1 or more.
    s : float
        Incubation coefficient S: 1 where pulses do not add up, lower where they do. [0 to 1]
    threshold_inf_j_cm2 : float
        Threshold that is left after any number of pulses; 0 gives the plain law. [J/cm²]

    Returns
    -------
    numpy.ndarray, shape (...)
        F_inf + (F_1 - F_inf) N^(S - 1). [J/cm²]

    Raises
    ------
    ValueError
        Thresholds not above 0, fewer pulses than 1, S outside 0 to 1, or a final threshold that
        is negative or above the first.

    Notes
    -----
    The plain law was found on metal crystals [1]_ and sinks to 0 for endless pulses; a final
    threshold keeps it from that [2]_. S must come from trials on the very material: it is not
    known for most minerals, and it changes with pulse rate where heat builds up. Beyond the number
    of pulses that was tried the law is a guess; for very many pulses the plain one errs low, on the
    careful side.

    References
    ----------
    .. [1] Y. Jee, M. F. Becker, R. M. Walser, "Laser-induced damage on single-crystal metal
       surfaces," J. Opt. Soc. Am. B 5(3), 648-659 (1988). DOI 10.1364/JOSAB.5.000648
    .. [2] F. Di Niso et al., "Role of heat accumulation on the incubation effect in multi-shot
       laser ablation of stainless steel at high repetition rates," Opt. Express 22(10),
       12200-12210 (2014). DOI 10.1364/OE.22.012200

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> print(laser.incubated_threshold(1.1, [1, 10, 100], 0.85).round(2))
    [1.1  0.78 0.55]
    """
    first, number = positive(threshold_1_j_cm2=threshold_1_j_cm2, pulses=pulses)
    s = single("s", s)
    final = single("threshold_inf_j_cm2", threshold_inf_j_cm2)
    if np.any(number < 1):
        raise ValueError(f"pulses = {number.min():g}: a place receives one pulse or more.")
    if not 0 < s <= 1:
        raise ValueError(
            f"s = {s:g}: the incubation coefficient lies above 0 and is 1 at most. Where the "
            "threshold rises with pulses, use 1."
        )
    if not (final >= 0 and np.all(final <= first)):
        raise ValueError(
            f"threshold_inf_j_cm2 = {final:g}: it runs from 0 to the threshold of "
            "one pulse, as more pulses can only lower it."
        )
    threshold: FloatArray = final + (first - final) * number ** (s - 1)
    return threshold


def ablation_depth(
    fluence_j_cm2: ArrayLike, threshold_j_cm2: ArrayLike, penetration_um: ArrayLike
) -> FloatArray:
    """
    Depth that one pulse removes at a place that receives a given fluence.

    Parameters
    ----------
    fluence_j_cm2 : array_like, shape (...)
        Fluence at that place; in the middle of the spot the peak fluence. [J/cm²]
    threshold_j_cm2 : array_like, shape (...)
        Ablation threshold. [J/cm²]
    penetration_um : array_like, shape (...)
        Depth within which the energy falls to 1/e, from depths measured in trials. [µm]

    Returns
    -------
    numpy.ndarray, shape (...)
        Penetration times ln(F / threshold), and 0 below the threshold. [µm]

    Raises
    ------
    ValueError
        A value is not a finite number above 0.

    Notes
    -----
    The logarithmic law holds for ultrashort pulses, within one regime of fluence [1]_. For
    nanosecond pulses melt, plasma and vapour change it: take depths from trials instead. A depth
    of 0 means below the threshold given, not that nothing happens.

    References
    ----------
    .. [1] S. Nolte et al., "Ablation of metals by ultrashort laser pulses," J. Opt. Soc. Am. B
       14(10), 2716-2722 (1997). DOI 10.1364/JOSAB.14.002716

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> print(laser.ablation_depth([0.9, 2.0], 1.1, 0.2).round(2))
    [0.   0.12]
    """
    fluence, threshold, penetration = positive(
        fluence_j_cm2=fluence_j_cm2,
        threshold_j_cm2=threshold_j_cm2,
        penetration_um=penetration_um,
    )
    depth: FloatArray = penetration * np.log(np.maximum(fluence / threshold, 1))
    return depth


def published_thresholds() -> pd.DataFrame:
    """Thresholds of minerals, steel and soilings from papers, one row a value."""
    # Never a site value: other stones, one wavelength and pulse, and most sources do not say
    # whether they print the peak or the mean. They show a lost decimal point or a wrong unit.
    import pandas as pd

    found = pd.DataFrame(list(tables.rows("laser_thresholds")))
    for name in ("value", "plus_minus", "wavelength_nm"):
        found[name] = pd.to_numeric(found[name])
    found["source"] = [tables.citation(source_id) for source_id in found["source_id"]]
    return found.drop(columns=["source_id", "source_seen"])
