"""How hot pulses make a surface, and how hot it still is when the next one comes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from heritagecheck.evidence.laser.beam import FloatArray, single, single_positive
from heritagecheck.evidence.laser.heat.conduction import (
    MOST_ARRIVING,
    NotSettledError,
    Train,
    conducted,
    passing_beam,
    resting,
    scanned,
)
from heritagecheck.evidence.laser.heat.heated_surface import (
    HeatCourse,
    NoNumber,
    Span,
    SurfaceTemperature,
)
from heritagecheck.evidence.laser.heat.layers import (
    START_C,
    Layer,
    cells,
    central,
    corners,
    diffusivity_m2_s,
    material,
)
from heritagecheck.sentences import count_of

# Below it electrons and lattice have no common temperature while the pulse lasts (TTM-74).
SHORTEST_NS = 0.01
# Microseconds later, the heat such a pulse leaves is the same as if it had lasted a nanosecond.
_AS_IF_S = 1e-9
# Time up to which the depth alone overstates the middle of a Gaussian spot by 8 % at most, in
# w²/D: z / arctan(z) at z = sqrt(8 D t)/w = 0.5 (CARSLAW-59, 10.5, integrated over the spot).
ALONG_DEPTH = 1 / 32
_MOST_PULSES = 200  # calculated at most: more take long, and the last ones differ little
_THICK_UM = 1e7
# Range of each value for lasers and layers on a wall; beyond it a unit was probably mistaken.
_POSSIBLE = {
    "radius_um": (0.1, 1e5, "µm"),
    "fluence_j_cm2": (1e-6, 1e4, "J/cm²"),
    "pulse_ns": (1e-6, 1e10, "ns"),
    "rate_hz": (1e-3, 1e9, "Hz"),
    "power_w": (1e-6, 1e6, "W"),
    "speed_mm_s": (1e-3, 1e6, "mm/s"),
    "layer_um": (0.01, 5e4, "µm"),
}


def surface_temperature(
    surface: str,
    *,
    radius_um: float,
    fluence_j_cm2: float | None = None,
    pulse_ns: float | None = None,
    pulses: int = 1,
    rate_hz: float | None = None,
    power_w: float | None = None,
    speed_mm_s: float | None = None,
    layer: str | None = None,
    layer_um: float | None = None,
    contact_m2_k_w: float = 0.0,
    measured: Mapping[str, float] | None = None,
) -> SurfaceTemperature:
    """
    Peak temperature of stone or steel over pulses, and what is left between them.

    Parameters
    ----------
    surface : str
        What may be altered, by its code in ``tables/thermal_properties.csv``, such as "biotite".
    radius_um : float
        1/e² radius of the spot, as in `peak_fluence`. [µm]
    fluence_j_cm2 : float, optional
        Peak fluence of one pulse; left out for a continuous beam. [J/cm²]
    pulse_ns : float, optional
        Duration of one pulse, its full width at half maximum. [ns]
    pulses : int
        Pulses on one place, of a spot that rests.
    rate_hz : float, optional
        Pulses a second; required for several pulses and for a spot that moves. [Hz]
    power_w : float, optional
        Power of a continuous beam, in place of fluence and pulse. [W]
    speed_mm_s : float, optional
        Speed of the spot along one line; required for a continuous beam. [mm/s]
    layer : str, optional
        Soiling or paint on the surface, by its code in the same table.
    layer_um : float, optional
        Thickness of the layer. [µm]
    contact_m2_k_w : float
        What hinders heat between layer and surface; 0 where the layer adheres. [m² K/W]
    measured : mapping of str to float, optional
        Properties of the surface measured on site, in the names and units of the table, such as
        ``{"absorbed": 0.55}``; they have no range then.

    Returns
    -------
    SurfaceTemperature
        Peak and heat left, each with the least and most over the ranges of the properties [°C];
        depth of melting [µm]; the temperature of alteration [°C]; why a number is not given.

    Raises
    ------
    ValueError
        A material or property that the table does not have, or a value out of its range; neither
        a pulse nor a continuous beam, or both; a layer without its thickness; several pulses
        without a rate.

    Notes
    -----
    Heat moves along the depth only, in finite volumes with conductivity and heat capacity that
    change with temperature, and with the latent heat of melting [1]_. Light is weakened by 1/e in
    each absorption depth. The range is over the ends of absorbed share, absorption depth, and
    conductivity with heat capacity; the true temperature may also lie outside it.

    No number is given where this ends to be true: below 0.01 ns for the peak, because electrons and
    lattice then have no common temperature [2]_; and from when on heat also leaves sideways, at
    w²/(32 D), where the depth alone overstates the middle of the spot by 8 %. Neighbouring lines
    and further passes come later than this looks.

    References
    ----------
    .. [1] H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, 2nd ed., Oxford (1959).
    .. [2] S. I. Anisimov, B. L. Kapeliovich, T. L. Perel'man, Sov. Phys. JETP 39, 375-377 (1974).

    Examples
    --------
    Steel under one pulse of 100 ns:

    >>> from heritagecheck.evidence import laser
    >>> found = laser.surface_temperature(
    ...     "riveted_steel", fluence_j_cm2=0.5, pulse_ns=100, radius_um=400
    ... )
    >>> print(found.sentences()[0])  # doctest: +NORMALIZE_WHITESPACE
    Calculated peak temperature of riveted steel: 390 °C (260 to 790 °C over the range of its
    properties).
    """
    if (power_w is None) == (fluence_j_cm2 is None):
        raise ValueError("Give fluence_j_cm2 and pulse_ns, or power_w of a continuous beam.")
    (radius,) = _possible(radius_um=radius_um)
    layers = _layers(surface, layer, layer_um, contact_m2_k_w, measured)
    if power_w is not None:
        if pulse_ns is not None or rate_hz is not None or speed_mm_s is None:
            raise ValueError("A continuous beam has power_w and speed_mm_s, and no pulses.")
        power, speed = _possible(power_w=power_w, speed_mm_s=speed_mm_s)
        train, fluence = passing_beam(power, radius, speed)
        return _calculated(layers, train, fluence, radius, short=False)
    if pulse_ns is None or fluence_j_cm2 is None:
        raise ValueError("pulse_ns is required: a shorter pulse of the same fluence is hotter.")
    fluence, pulse = _possible(fluence_j_cm2=fluence_j_cm2, pulse_ns=pulse_ns)
    short = pulse < SHORTEST_NS
    train = _train(_AS_IF_S if short else 1e-9 * pulse, pulses, rate_hz, speed_mm_s, radius)
    return _calculated(layers, train, fluence, radius, short=short)


def _layers(
    surface: str,
    layer: str | None,
    layer_um: float | None,
    contact_m2_k_w: float,
    measured: Mapping[str, float] | None,
) -> list[Layer]:
    """The layer, if there is one, and the surface below it."""
    below = Layer(material(surface).measured(measured or {}), _THICK_UM)
    contact = single("contact_m2_k_w", contact_m2_k_w)
    if not 0 <= contact <= 1:
        raise ValueError(f"contact_m2_k_w = {contact:g}: it is 0 or more, and at most 1 m² K/W.")
    if (layer is None) != (layer_um is None):
        raise ValueError("A layer has both a name and a thickness: give layer and layer_um.")
    if layer is None or layer_um is None:
        return [below]
    (thick,) = _possible(layer_um=layer_um)
    return [Layer(material(layer), thick, contact), below]


def _possible(**given: float) -> list[float]:
    """Check that every value is one that a laser or a layer on a wall may have."""
    found = single_positive(**given)
    for name, value in zip(given, found, strict=True):
        least, most, unit = _POSSIBLE[name]
        if not least <= value <= most:
            raise ValueError(
                f"{name} = {value:g}: on a wall it lies from {least:g} to {most:g} {unit}. Is it "
                "in another unit?"
            )
    return found


def _train(
    pulse_s: float, pulses: int, rate_hz: float | None, speed_mm_s: float | None, radius_um: float
) -> Train:
    """Pulses on one place of a spot that rests or moves."""
    if isinstance(pulses, bool) or not (isinstance(pulses, int) and 1 <= pulses <= MOST_ARRIVING):
        raise ValueError(f"pulses = {pulses!r}: it is a whole number from 1 to {MOST_ARRIVING:,}.")
    if rate_hz is None:
        if pulses > 1 or speed_mm_s is not None:
            raise ValueError("rate_hz is required of several pulses and of a spot that moves.")
        return resting(pulse_s, 1, None)
    (rate,) = _possible(rate_hz=rate_hz)
    if pulse_s * rate > 0.2:
        raise ValueError(
            f"Pulses of {1e9 * pulse_s:g} ns at {rate:g} Hz run into one another: give the beam as "
            "continuous, by power_w and speed_mm_s."
        )
    if speed_mm_s is None:
        return resting(pulse_s, pulses, rate)
    if pulses > 1:
        raise ValueError("pulses is of a spot that rests; speed_mm_s of one that moves. Give one.")
    (speed,) = _possible(speed_mm_s=speed_mm_s)
    return scanned(pulse_s, rate, radius_um, speed)


def _calculated(
    layers: list[Layer], train: Train, fluence_j_cm2: float, radius_um: float, *, short: bool
) -> SurfaceTemperature:
    """Follow the heat as long as it moves along the depth only, and read the result off."""
    below = layers[-1].material
    fast = max(diffusivity_m2_s(below, end) for end in ("low", "value", "high"))
    until = ALONG_DEPTH * (1e-6 * radius_um) ** 2 / fast
    none: dict[NoNumber, str] = {}
    if short:
        none["electrons"] = (
            f"No peak temperature is given: a pulse shorter than {1000 * SHORTEST_NS:g} ps heats "
            "the electrons before the lattice, and no one temperature describes that (TTM-74)."
        )
    if train.width_s > until:
        none["spot"] = (
            f"No temperature is given: from a spot of {radius_um:.3g} µm radius heat also leaves "
            "sideways while the pulse lasts. Only heat along the depth is calculated."
        )
    total = train.at_s.size
    followed = train
    if "spot" not in none:
        followed = _along_the_depth(train, until)
        if reason := _sideways(train, followed, until):
            none["sideways"] = reason
    found = SurfaceTemperature(
        below, layers[0].material if layers[1:] else None, total, 0, None, None, None, None, none,
        None,
    )  # fmt: skip
    nothing_left = short and (train.apart_s is None or "sideways" in none)
    if "spot" in none or nothing_left:
        return found
    return _read_off(found, layers, followed, fluence_j_cm2, until)


def _along_the_depth(train: Train, until_s: float) -> Train:
    """Those pulses of a train during which heat moves along the depth only."""
    inside = min(int((train.at_s + train.width_s <= until_s).sum()), _MOST_PULSES)
    if inside < train.at_s.size and train.strength.min() < 1:
        # A line that passes slowly: of its pulses only the strongest is followed, by itself.
        return Train(train.width_s, np.zeros(1), np.ones(1), train.apart_s)
    return replace(train, at_s=train.at_s[:inside], strength=train.strength[:inside])


def _sideways(train: Train, followed: Train, until_s: float) -> str:
    """Say after which pulse no number is given any more; empty where every one has its number."""
    count = followed.at_s.size
    if count < train.at_s.size:
        why = "heat also leaves sideways" if count < _MOST_PULSES else "no more are followed"
        return (
            f"No temperature is given after {count_of(count, 'pulse')} of {train.at_s.size}: by "
            f"then {why}."
        )
    if train.apart_s is not None and train.at_s[-1] + train.apart_s > until_s:
        return (
            "How much heat is left before the next pulse is not given: by then it also leaves "
            "sideways."
        )
    return ""


def _read_off(
    found: SurfaceTemperature, layers: list[Layer], train: Train, fluence_j_cm2: float, until: float
) -> SurfaceTemperature:
    """Follow the heat of the train, and take peaks, heat left and melting from its course."""
    sets = [central(len(layers)), *corners(len(layers))]
    lasts = _lasts(layers, train, until, left="sideways" not in found.no_number)
    cut, first = cells(layers, sets, train.width_s, lasts)
    time, light = train.steps(lasts)
    try:
        course = conducted(cut, time, 1e4 * fluence_j_cm2 * light, below=first)
    except NotSettledError:
        none = found.no_number | {
            "melting": "No temperature is given: it melts and freezes too fast to be followed."
        }
        return replace(found, no_number=none)
    left = None
    if train.apart_s is not None and "sideways" not in found.no_number:
        left = _span(course.below_k[:, -1])
    found = replace(found, followed=train.at_s.size, left=left)
    if "electrons" in found.no_number:
        # What the course holds of a pulse is as if it were longer; only what is left is true.
        return found
    none, peak = dict(found.no_number), None
    if np.argmax(course.below_k[0]) == time.size - 1:
        none["sideways"] = (
            f"No peak is given under {layers[0].material.name}: before it is reached, heat also "
            "leaves sideways."
        )
    else:
        peak = _span(_peaks(time, course.below_k))
    melted = 1e6 * (course.molten[:, first:] * cut.width_m[first:]).sum(axis=1)
    return replace(
        found, peak=peak, layer_peak=_span(_peaks(time, course.surface_k)) if first else None,
        molten_um=(float(melted[0]), float(melted.max())), no_number=none,
        course=HeatCourse(
            time, _three(course.below_k), 1e6 * (np.cumsum(cut.width_m) - cut.width_m / 2),
            _three(course.hottest_k), layers[0].thickness_um if first else 0.0,
        ),
    )  # fmt: skip


def _lasts(layers: list[Layer], train: Train, until_s: float, *, left: bool) -> float:
    """How long the heat is followed: to the next pulse, or until it has come through the layer."""
    last = float(train.at_s[-1])
    if left and train.apart_s is not None:
        return last + train.apart_s - 2 * train.width_s
    through = [
        (1e-6 * one.thickness_um) ** 2 / diffusivity_m2_s(one.material, "low")
        for one in layers[:-1]
    ]
    return min(last + max(20 * train.width_s, *through, 0.0), until_s)


def _span(rises_k: FloatArray) -> Span:
    """Temperatures of the sets: by the values first, then by the ends of the ranges."""
    return Span(*(START_C + float(one) for one in (rises_k[0], rises_k.min(), rises_k.max())))


def _three(rises_k: FloatArray) -> FloatArray:
    """By the values, least and most, from rises of all sets."""
    return START_C + np.stack([rises_k[0], rises_k.min(axis=0), rises_k.max(axis=0)])


def _peaks(time_s: FloatArray, rises_k: FloatArray) -> FloatArray:
    """Highest rise of each set, between the steps by the quartic through the five nearest."""
    top = rises_k.argmax(axis=1)
    near = np.clip(top - 2, 0, time_s.size - 5)[:, None] + np.arange(5)
    # In the logarithm of time, counted so that steps of any growth are about equally far apart.
    begin = 2 * time_s[near[:, :1]] - time_s[near[:, 1:2]]
    place = np.log((time_s[near] - begin) / (time_s[near[:, 1:2]] - time_s[near[:, :1]]))
    powers = np.arange(5)
    known = np.take_along_axis(rises_k, near, axis=1)
    quartic = np.linalg.solve(place[:, :, None] ** powers, known[:, :, None])[:, :, 0]
    # Between the neighbours of the highest step only: elsewhere it is a smaller one.
    sets, middle = np.arange(top.size), top - near[:, 0]
    before, after = (place[sets, np.clip(middle + side, 0, 4)] for side in (-1, 1))
    at = np.linspace(before, after, 101, axis=1)
    between = np.einsum("smp,sp->sm", at[:, :, None] ** powers, quartic)
    return np.asarray(np.maximum(between.max(axis=1), rises_k.max(axis=1)))
