"""What the operator dials: spot, pulse rate, speed and hatch become fluence and pulses per spot."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.laser.beam import (
    FloatArray,
    mean_fluence,
    peak_fluence,
    peak_irradiance,
    positive,
    single,
    single_positive,
    three_digits,
)
from heritagecheck.tables.row_types import CautionRow

if TYPE_CHECKING:
    import pandas as pd

_MM_PER_UM = 1e-3
_BY_SCAN = (
    "pulses_per_spot", "pulse_overlap", "full_pulses_per_pass", "energy_per_area_j_cm2",
    "area_rate_cm2_min",
)  # fmt: skip
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
    them weaker there than their peak. What they add up to in the middle of a spot, with
    neighbouring lines, is given by `settings`. State which count is meant.

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


def pulse_overlap(radius_um: ArrayLike, rate_hz: ArrayLike, speed_mm_s: ArrayLike) -> FloatArray:
    """Share of the spot diameter that each pulse shares with the next along a line."""
    share: FloatArray = np.maximum(0, 1 - 1 / pulses_per_spot(radius_um, rate_hz, speed_mm_s))
    return share


def hatch_overlap(radius_um: ArrayLike, hatch_um: ArrayLike) -> FloatArray:
    """Share of the spot diameter that each line shares with the next."""
    radius, hatch = positive(radius_um=radius_um, hatch_um=hatch_um)
    share: FloatArray = np.maximum(0, 1 - hatch / (2 * radius))
    return share


def area_rate(speed_mm_s: ArrayLike, hatch_um: ArrayLike) -> FloatArray:
    """Area treated in a minute of beam time, in one pass."""
    speed, hatch = positive(speed_mm_s=speed_mm_s, hatch_um=hatch_um)
    # mm²/s to cm²/min.
    rate: FloatArray = 0.6 * speed * (_MM_PER_UM * hatch)
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
        """Say what a pulse brings, the peak and the mean by their names; then the cautions."""
        scan = (
            f"; {three_digits(self.pulses_per_spot)} pulses per spot along the line"
            if self.pulses_per_spot is not None
            else ""
        )
        if self.full_pulses_per_pass is not None:
            most = _full_pulses(self.full_pulses_per_pass)
            scan += f", in one pass {most} in the middle of a spot"
        return (
            f"A pulse of {three_digits(self.pulse_energy_mj)} mJ brings a peak fluence of "
            f"{three_digits(self.peak_fluence_j_cm2)} J/cm² to the middle of the spot (mean "
            f"fluence over its 1/e² circle {three_digits(self.mean_fluence_j_cm2)} J/cm²){scan}. "
            f"{' '.join(self.cautions)}"
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
    ("peak_irradiance_w_cm2", "Peak irradiance mid-spot, pulse taken as square", "W/cm²"),
    ("speed_mm_s", "Speed along the line", "mm/s"),
    ("pulses_per_spot", "Pulses per spot diameter (1/e²) along line", "1"),
    ("full_pulses_per_pass", "Full pulses to which one pass adds up, mid-spot", "1"),
    ("pulse_overlap", "Overlap of pulses, share of spot diameter (1/e²)", "1"),
    ("hatch_um", "Distance between lines", "µm"),
    ("hatch_overlap", "Overlap of lines, share of spot diameter (1/e²)", "1"),
    ("energy_per_area_j_cm2", "Mean energy per treated area, one pass", "J/cm²"),
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
        A value is not a single finite number above 0; fewer than two of power, rate and energy;
        they contradict one another; no spot size, or both radius and diameter.

    Notes
    -----
    What the dial says is not what arrives: losses in fibre and optics, a worn head and another
    stand-off change energy and spot. Measure both at the wall (power meter, D² line or burn
    paper) and enter those. A round Gaussian beam is taken; for a flat-topped one the peak is the
    mean. Energy per area counts each pulse in full, and at high pulse rates it matters beside the
    fluence [1]_.

    The full pulses of one pass are the sum of exp(-2 r² / w²) over all its pulses, in the middle of
    a spot whose neighbours in the next lines lie square beside it: the place where most fall, so
    never less than 1. Lines whose pulses are staggered bring somewhat less.

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
    >>> print(dial)  # doctest: +NORMALIZE_WHITESPACE, +ELLIPSIS
    A pulse of 1 mJ brings a peak fluence of 17.7 J/cm² to the middle of the spot (mean fluence over
    its 1/e² circle 8.84 J/cm²); 2 pulses per spot along the line, in one pass 3.19 full pulses
    in the middle of a spot. A class 4 beam injures eyes and skin, direct or scattered, ...
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
    single_positive(**{name: value for name, value in given.items() if value is not None})
    power, rate, energy = _agreeing(power_w, rate_hz, pulse_energy_mj, tolerance)
    radius = _radius(radius_um, diameter_um)
    scan = _scanned(power, rate, radius, speed_mm_s, hatch_um)
    line = None if speed_mm_s is None else _full_pulses_in_line(rate, radius, speed_mm_s)
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
        hatch_overlap=None if hatch_um is None else float(hatch_overlap(radius, hatch_um)),
        peak_irradiance_w_cm2=(
            None if pulse_ns is None else float(peak_irradiance(energy, radius, pulse_ns))
        ),
        cautions=(
            *_standing_cautions(),
            _dose_caution(rate, line, scan["full_pulses_per_pass"]),
            *_gap_cautions(radius, scan["pulses_per_spot"], hatch_um),
        ),
        **scan,
    )


def _scanned(
    power: float, rate: float, radius: float, speed_mm_s: float | None, hatch_um: float | None
) -> dict[str, float | None]:
    """What follows from the speed along a line, and from the distance between lines."""
    found: dict[str, float | None] = dict.fromkeys(_BY_SCAN)
    if speed_mm_s is not None:
        found["pulses_per_spot"] = float(pulses_per_spot(radius, rate, speed_mm_s))
        found["pulse_overlap"] = float(pulse_overlap(radius, rate, speed_mm_s))
        if hatch_um is not None:
            line = _full_pulses_in_line(rate, radius, speed_mm_s)
            found["full_pulses_per_pass"] = line * _full_pulses_in_row(hatch_um, radius)
            # 1 J/mm² is 100 J/cm².
            found["energy_per_area_j_cm2"] = 1e5 * power / (speed_mm_s * hatch_um)
            found["area_rate_cm2_min"] = float(area_rate(speed_mm_s, hatch_um))
    return found


def _full_pulses_in_line(rate: float, radius: float, speed_mm_s: float) -> float:
    """Full pulses to which one line adds up in the middle of a spot."""
    return _full_pulses_in_row(speed_mm_s / rate / _MM_PER_UM, radius)


def _full_pulses_in_row(step_um: float, radius_um: float) -> float:
    """Full pulses to which spots in an endless row add up in the middle of one of them."""
    if step_um < radius_um / 2:  # so close that the sum is its integral, to 8 digits
        return math.sqrt(math.pi / 2) * radius_um / step_um
    away = np.arange(1, 9) * step_um / radius_um  # the ninth spot adds less than 1e-16
    return 1 + 2 * float(np.exp(-2 * away**2).sum())


def _agreeing(
    power_w: float | None, rate_hz: float | None, energy_mj: float | None, tolerance: float
) -> tuple[float, float, float]:
    """Power, rate and pulse energy, the third from two, or all three where they agree."""
    if not 0 <= single("tolerance", tolerance) < 1:
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


def _standing_cautions() -> list[str]:
    """Cautions for every laser setting."""
    return [CautionRow.named(code).words for code in _CAUTIONS] + [
        "Worked out for a round Gaussian beam from what was dialled: measure energy and spot at "
        "the wall."
    ]


def _dose_caution(rate: float, line: float | None, full: float | None) -> str:
    """How many full pulses fall on one place of an area, of a line, or of a spot held still."""
    lower = "pulses on one place add up, and several damage at a lower fluence than one."
    if full is not None:
        return (
            f"One pass adds up to {_full_pulses(full)} in the middle of a spot, twice "
            f"as many or more where lines turn, areas meet or the spot slows: {lower}"
        )
    if line is not None:
        return (
            f"One line alone adds up to {_full_pulses(line)} in the middle of a spot; "
            f"neighbouring lines and turning points bring more: {lower}"
        )
    return (
        f"No speed was given: a spot that rests receives all {three_digits(rate)} pulses "
        f"of a second: {lower}"
    )


def _full_pulses(number: float) -> str:
    """Write a number of full pulses in words."""
    shown = three_digits(number)
    return f"{shown} full pulse" if shown == "1" else f"{shown} full pulses"


def _gap_cautions(radius: float, number: float | None, hatch_um: float | None) -> list[str]:
    """What the spots of a sparse scan leave between them."""
    found = []
    if number is not None and number < 1:
        found.append("The spots of one line do not meet: what lies between them receives little.")
    if hatch_um is not None and hatch_um > 2 * radius:
        found.append("The lines do not meet: stripes stay between them.")
    return found
