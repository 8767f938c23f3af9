"""What the operator dials: spot, pulse rate, speed and hatch become fluence and pulses per spot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck import tables
from heritagecheck.evidence._laser.beam import (
    FloatArray,
    mean_fluence,
    peak_fluence,
    peak_irradiance,
    positive,
)
from heritagecheck.tables.cautions import CONTROLLED_AREA

if TYPE_CHECKING:
    import pandas as pd

_MM_PER_UM = 1e-3
_CAUTIONS = ("CA04", "CA02", "CA12")  # class 4 beam and fume; lead not known; heat and fire


def pulses_per_spot(radius_um: ArrayLike, rate_hz: ArrayLike, speed_mm_s: ArrayLike) -> FloatArray:
    """
    Pulses that fall within one spot diameter along a scanned line.

    Parameters
    ----------
    radius_um : array_like, shape (...)
        1/e² radius, as in `peak_fluence`. [µm]
    rate_hz : array_like, shape (...)
        Pulses a second; 20 kHz are 20 000. [Hz]
    speed_mm_s : array_like, shape (...)
        Speed of the spot along the line. [mm/s]

    Returns
    -------
    numpy.ndarray, shape (...)
        2 w f / v; below 1 the spots stand apart.

    Raises
    ------
    ValueError
        A value is not a finite number above 0.

    Notes
    -----
    The usual count: the middle of the line lies within the 1/e² circle of that many pulses, most of
    them weaker there than their peak. What they add up to is given by `weighted_pulses_line`, with
    neighbouring lines by `weighted_pulses_area`. Three counts, three numbers: state which is meant.

    References
    ----------
    .. [1] ISO 11146-1:2021, Beam widths, divergence angles and beam propagation ratios.

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> print(laser.pulses_per_spot(60, 20_000, 1200).round(1))
    2.0
    """
    radius, rate, speed = positive(radius_um=radius_um, rate_hz=rate_hz, speed_mm_s=speed_mm_s)
    number: FloatArray = 2 * _MM_PER_UM * radius * rate / speed
    return number


def weighted_pulses_line(
    radius_um: ArrayLike, rate_hz: ArrayLike, speed_mm_s: ArrayLike
) -> FloatArray:
    """
    Full pulses to which the pulses of one scanned line add up in its middle.

    Parameters
    ----------
    radius_um, rate_hz, speed_mm_s : array_like, shape (...)
        As in `pulses_per_spot`. [µm], [Hz], [mm/s]

    Returns
    -------
    numpy.ndarray, shape (...)
        sqrt(pi / 2) w f / v: times the peak fluence, it is the fluence summed up there.

    Raises
    ------
    ValueError
        A value is not a finite number above 0.

    Notes
    -----
    The sum of exp(-2 x² / w²) over pulses a pitch v / f apart, taken as an integral: right to 0.1 %
    while the pitch is below 0.8 w, and too low beyond (1.4 % at a pitch of w), where single
    pulses show. Summed fluence is no substitute for the peak of one pulse.

    References
    ----------
    .. [1] ISO 11146-1:2021, Beam widths, divergence angles and beam propagation ratios.

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> print(laser.weighted_pulses_line(30, 200_000, 2000).round(2))
    3.76
    """
    number: FloatArray = np.sqrt(np.pi / 8) * pulses_per_spot(radius_um, rate_hz, speed_mm_s)
    return number


def weighted_pulses_area(
    radius_um: ArrayLike, rate_hz: ArrayLike, speed_mm_s: ArrayLike, hatch_um: ArrayLike
) -> FloatArray:
    """
    Full pulses to which all pulses of a hatched area add up at one place, in one pass.

    Parameters
    ----------
    radius_um, rate_hz, speed_mm_s : array_like, shape (...)
        As in `pulses_per_spot`. [µm], [Hz], [mm/s]
    hatch_um : array_like, shape (...)
        Distance between neighbouring lines. [µm]

    Returns
    -------
    numpy.ndarray, shape (...)
        pi w² / (2 pitch hatch), with the pitch v / f.

    Raises
    ------
    ValueError
        A value is not a finite number above 0.

    Notes
    -----
    Holds while pitch and hatch are below 0.8 w; beyond, the sum is uneven and this its average.
    Where lines turn or areas meet, a place receives up to twice as much.

    References
    ----------
    .. [1] ISO 11146-1:2021, Beam widths, divergence angles and beam propagation ratios.

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> print(laser.weighted_pulses_area(60, 20_000, 1200, 30).round(2))
    3.14
    """
    radius, rate, speed, hatch = positive(
        radius_um=radius_um, rate_hz=rate_hz, speed_mm_s=speed_mm_s, hatch_um=hatch_um
    )
    pitch_um = speed / rate / _MM_PER_UM
    number: FloatArray = np.pi * radius**2 / (2 * pitch_um * hatch)
    return number


def pulse_overlap(radius_um: ArrayLike, rate_hz: ArrayLike, speed_mm_s: ArrayLike) -> FloatArray:
    """
    Share of the spot diameter that each pulse shares with the next along a line.

    Parameters
    ----------
    radius_um, rate_hz, speed_mm_s : array_like, shape (...)
        As in `pulses_per_spot`. [µm], [Hz], [mm/s]

    Returns
    -------
    numpy.ndarray, shape (...)
        1 - v / (2 w f), and 0 where the spots stand apart. [0 to 1]

    Raises
    ------
    ValueError
        A value is not a finite number above 0.

    References
    ----------
    .. [1] ISO 11146-1:2021, Beam widths, divergence angles and beam propagation ratios.

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> print(laser.pulse_overlap(60, 20_000, 1200).round(2))
    0.5
    """
    share: FloatArray = np.maximum(0, 1 - 1 / pulses_per_spot(radius_um, rate_hz, speed_mm_s))
    return share


def hatch_overlap(radius_um: ArrayLike, hatch_um: ArrayLike) -> FloatArray:
    """
    Share of the spot diameter that each line shares with the next.

    Parameters
    ----------
    radius_um, hatch_um : array_like, shape (...)
        1/e² radius and distance between lines. [µm]

    Returns
    -------
    numpy.ndarray, shape (...)
        1 - hatch / (2 w), and 0 where stripes stay between the lines. [0 to 1]

    Raises
    ------
    ValueError
        A value is not a finite number above 0.

    References
    ----------
    .. [1] ISO 11146-1:2021, Beam widths, divergence angles and beam propagation ratios.

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> print(laser.hatch_overlap(60, 30))
    0.75
    """
    radius, hatch = positive(radius_um=radius_um, hatch_um=hatch_um)
    share: FloatArray = np.maximum(0, 1 - hatch / (2 * radius))
    return share


def area_rate(speed_mm_s: ArrayLike, hatch_um: ArrayLike, passes: ArrayLike = 1) -> FloatArray:
    """
    Area treated in a minute of beam time.

    Parameters
    ----------
    speed_mm_s, hatch_um : array_like, shape (...)
        Speed along the line [mm/s] and distance between lines [µm].
    passes : array_like, shape (...)
        How often the area is gone over.

    Returns
    -------
    numpy.ndarray, shape (...)
        speed × hatch / passes. [cm²/min]

    Raises
    ------
    ValueError
        A value is not a finite number above 0.

    Notes
    -----
    Beam time only. Turning points, moving the head, reading and stopping take longer than the beam
    on most sites, so that the day's area is a fraction of this.

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> print(laser.area_rate(1200, 30, passes=2).round(1))
    10.8
    """
    speed, hatch, number = positive(speed_mm_s=speed_mm_s, hatch_um=hatch_um, passes=passes)
    # mm²/s to cm²/min.
    rate: FloatArray = 0.6 * speed * (_MM_PER_UM * hatch) / number
    return rate


@dataclass(frozen=True, slots=True)
class Dial:
    """What a dialled laser setting means at the wall; None where it was not dialled."""

    pulse_energy_mj: float
    power_w: float
    rate_hz: float
    radius_um: float
    peak_fluence_j_cm2: float
    mean_fluence_j_cm2: float
    speed_mm_s: float | None
    hatch_um: float | None
    pulse_ns: float | None
    pulses_per_spot: float | None
    full_pulses_per_pass: float | None
    pulse_overlap: float | None
    hatch_overlap: float | None
    energy_per_area_j_cm2: float | None
    area_rate_cm2_min: float | None
    peak_irradiance_w_cm2: float | None
    cautions: tuple[str, ...]

    def __str__(self) -> str:
        """Say in a sentence what a pulse brings, the peak and the mean by their names."""
        scan = (
            f"; {self.pulses_per_spot:.3g} pulses per spot along the line"
            if self.pulses_per_spot is not None
            else ""
        )
        return (
            f"A pulse of {self.pulse_energy_mj:.3g} mJ brings a peak fluence of "
            f"{self.peak_fluence_j_cm2:.3g} J/cm² to the middle of the spot (mean fluence over its "
            f"1/e² circle {self.mean_fluence_j_cm2:.3g} J/cm²){scan}. {CONTROLLED_AREA}"
        )

    def table(self) -> pd.DataFrame:
        """Give what is known of the setting as a table: quantity, value, unit."""
        import pandas as pd

        return pd.DataFrame(
            [
                (words, float(f"{value:.4g}"), unit)
                for name, words, unit in _SHOWN
                if (value := getattr(self, name)) is not None
            ],
            columns=["quantity", "value", "unit"],
        )


_SHOWN = (
    ("power_w", "Mean power", "W"),
    ("rate_hz", "Pulse rate", "Hz"),
    ("pulse_energy_mj", "Pulse energy", "mJ"),
    ("pulse_ns", "Pulse duration", "ns"),
    ("radius_um", "Spot radius (1/e²)", "µm"),
    ("peak_fluence_j_cm2", "Peak fluence of one pulse", "J/cm²"),
    ("mean_fluence_j_cm2", "Mean fluence of one pulse over the 1/e² circle", "J/cm²"),
    ("peak_irradiance_w_cm2", "Peak irradiance, pulse taken as square", "W/cm²"),
    ("speed_mm_s", "Speed along the line", "mm/s"),
    ("pulses_per_spot", "Pulses per spot diameter along the line", "1"),
    ("full_pulses_per_pass", "Full pulses to which one pass adds up at each place", "1"),
    ("pulse_overlap", "Overlap of pulses along the line", "1"),
    ("hatch_um", "Distance between lines", "µm"),
    ("hatch_overlap", "Overlap of lines", "1"),
    ("energy_per_area_j_cm2", "Energy per treated area in one pass", "J/cm²"),
    ("area_rate_cm2_min", "Area in a minute of beam time, one pass", "cm²/min"),
)


def settings(
    *,
    power_w: float | None = None,
    rate_hz: float | None = None,
    pulse_energy_mj: float | None = None,
    radius_um: float | None = None,
    diameter_um: float | None = None,
    speed_mm_s: float | None = None,
    hatch_um: float | None = None,
    pulse_ns: float | None = None,
    tolerance: float = 0.05,
) -> Dial:
    """
    Fluence, pulses per spot, overlap and area rate from what the operator dials.

    Parameters
    ----------
    power_w, rate_hz, pulse_energy_mj : float
        Mean power at the wall [W], pulse rate [Hz], pulse energy at the wall [mJ]: two of the
        three, or all three where they agree.
    radius_um, diameter_um : float
        Spot on the wall, by its 1/e² radius or its 1/e² diameter: one of them. [µm]
    speed_mm_s : float, optional
        Speed of the spot along a line; left out where it stands still. [mm/s]
    hatch_um : float, optional
        Distance between neighbouring lines. [µm]
    pulse_ns : float, optional
        Pulse duration. [ns]
    tolerance : float
        Share by which power and pulse energy times rate may differ, as power meters do. [0 to 1]

    Returns
    -------
    Dial
        Everything that follows, in units that the names end with; None where it does not follow;
        cautions.

    Raises
    ------
    ValueError
        A value is not a finite number above 0; fewer than two of power, rate and energy; they
        contradict one another; no spot size, or both radius and diameter.

    Notes
    -----
    What the dial says is not what arrives: losses in fibre and optics, a worn head and another
    stand-off change energy and spot. Measure both at the wall (power meter, D² line or burn
    paper) and enter those. A round Gaussian beam is taken; for a flat-topped one the peak is the
    mean. Energy per area counts each pulse in full, and at high pulse rates it matters beside the
    fluence [1]_.

    References
    ----------
    .. [1] E. Iglesias-Campos, J. L. Prada-Pérez, Mater. Construcc., laser cleaning of a crust on
       siliceous sandstone at 5 to 200 Hz.

    Examples
    --------
    20 W at 20 kHz through a spot 120 µm wide, 1.2 m/s, lines 30 µm apart:

    >>> from heritagecheck.evidence import laser
    >>> dial = laser.settings(
    ...     power_w=20, rate_hz=20_000, diameter_um=120, speed_mm_s=1200, hatch_um=30, pulse_ns=100
    ... )
    >>> print(dial)  # doctest: +NORMALIZE_WHITESPACE
    A pulse of 1 mJ brings a peak fluence of 17.7 J/cm² to the middle of the spot (mean fluence over
    its 1/e² circle 8.84 J/cm²); 2 pulses per spot along the line. Class 4 beam: only in a
    controlled area, under the laser safety officer.
    """
    given = {
        "power_w": power_w,
        "rate_hz": rate_hz,
        "pulse_energy_mj": pulse_energy_mj,
        "radius_um": radius_um,
        "diameter_um": diameter_um,
        "speed_mm_s": speed_mm_s,
        "hatch_um": hatch_um,
        "pulse_ns": pulse_ns,
    }
    positive(**{name: value for name, value in given.items() if value is not None})
    power, rate, energy = _agreeing(power_w, rate_hz, pulse_energy_mj, tolerance)
    radius = _radius(radius_um, diameter_um)
    number = full = shared = per_area = swept = None
    if speed_mm_s is not None:
        number = float(pulses_per_spot(radius, rate, speed_mm_s))
        shared = float(pulse_overlap(radius, rate, speed_mm_s))
        if hatch_um is not None:
            per_area = 1e5 * power / (speed_mm_s * hatch_um)  # 1 J/mm² is 100 J/cm²
            swept = float(area_rate(speed_mm_s, hatch_um))
            full = float(weighted_pulses_area(radius, rate, speed_mm_s, hatch_um))
    return Dial(
        pulse_energy_mj=energy,
        power_w=power,
        rate_hz=rate,
        radius_um=radius,
        peak_fluence_j_cm2=float(peak_fluence(energy, radius)),
        mean_fluence_j_cm2=float(mean_fluence(energy, radius)),
        speed_mm_s=speed_mm_s,
        hatch_um=hatch_um,
        pulse_ns=pulse_ns,
        pulses_per_spot=number,
        full_pulses_per_pass=full,
        pulse_overlap=shared,
        hatch_overlap=None if hatch_um is None else float(hatch_overlap(radius, hatch_um)),
        energy_per_area_j_cm2=per_area,
        area_rate_cm2_min=swept,
        peak_irradiance_w_cm2=(
            None if pulse_ns is None else float(peak_irradiance(energy, radius, pulse_ns))
        ),
        cautions=tuple(_dial_cautions(radius, number, full, hatch_um)),
    )


def _agreeing(
    power_w: float | None, rate_hz: float | None, energy_mj: float | None, tolerance: float
) -> tuple[float, float, float]:
    """Power, rate and pulse energy, the third from two, or all three where they agree."""
    if not 0 <= tolerance < 1:
        raise ValueError(f"tolerance = {tolerance:g}: it is a share from 0 to below 1.")
    if power_w is not None and rate_hz is not None:
        follows = 1000 * power_w / rate_hz
        if energy_mj is None:
            return power_w, rate_hz, follows
        apart = abs(energy_mj / follows - 1)
        if apart > tolerance:
            raise ValueError(
                f"power_w = {power_w:g} at rate_hz = {rate_hz:g} gives {follows:.4g} mJ a pulse, "
                f"but pulse_energy_mj = {energy_mj:g} was given: {100 * apart:.0f} % apart, "
                f"{100 * tolerance:g} % is allowed. Were all three measured at the wall? Leave "
                "out the one that was not."
            )
        return power_w, rate_hz, energy_mj
    if energy_mj is not None and rate_hz is not None:
        return energy_mj * rate_hz / 1000, rate_hz, energy_mj
    if energy_mj is not None and power_w is not None:
        return power_w, 1000 * power_w / energy_mj, energy_mj
    raise ValueError("Give two of power_w, rate_hz and pulse_energy_mj: the third follows.")


def _radius(radius_um: float | None, diameter_um: float | None) -> float:
    """Radius of the spot, from whichever of the two was given."""
    if radius_um is not None and diameter_um is None:
        return radius_um
    if diameter_um is not None and radius_um is None:
        return diameter_um / 2
    came = "neither" if radius_um is None else "both"
    raise ValueError(
        f"Give the spot by radius_um or by diameter_um; {came} came. A radius taken for a "
        "diameter makes the fluence wrong by a factor of four."
    )


def _dial_cautions(
    radius: float, number: float | None, full: float | None, hatch_um: float | None
) -> list[str]:
    """Cautions that always stand beside a laser setting, and those of this one."""
    words = tables.keyed("cautions", "caution")
    found = [words[code]["words"] for code in _CAUTIONS]
    found.append(
        "Worked out for a round Gaussian beam from what was dialled: energy and spot at the wall "
        "are to be measured."
    )
    if full is not None:
        found.append(
            f"One pass adds up to {full:.2g} full pulses at each place, up to twice as many where "
            "lines turn or areas meet: overlap multiplies the dose, and several pulses damage at "
            "a lower fluence than one."
        )
    if number is not None and number < 1:
        found.append("The spots of one line stand apart: what lies between receives little.")
    if hatch_um is not None and hatch_um > 2 * radius:
        found.append("The lines stand apart: stripes stay between them.")
    return found
