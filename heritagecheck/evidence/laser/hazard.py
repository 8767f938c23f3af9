"""How far a laser beam can injure eyes, from a limit that the laser safety officer supplies."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal, get_args

from heritagecheck.evidence.laser.beam import angles, single, single_positive, three_digits
from heritagecheck.tables.row_types import CautionRow

Edge = Literal["1/e2", "1/e"]

_OFFICER = (
    "This is a sum, not a clearance. The laser safety officer supplies the exposure limit for the "
    "wavelength, pulse and time, from the edition in force. The officer also checks single pulses "
    "and pulse trains as well as the mean power, and sets the controlled area."
)
_MEAN_POWER = (
    "For the mean power only: the single pulses of a pulsed laser may reach many times farther."
)
# How much a Gaussian beam's width must grow, as named by its edge, for the middle to meet a limit.
_WIDER = {"1/e": 1.0, "1/e2": math.sqrt(2)}


def laser_caution() -> str:
    """Cautions for every laser setting, from `tables/cautions.csv`."""
    return CautionRow.named("CA04").words


@dataclass(frozen=True, slots=True)
class HazardDistance:
    """Distance within which a beam may exceed the exposure limit, with its caution."""

    distance_m: float
    path: str
    beam: str
    mpe_w_cm2: float
    caution: str

    def __str__(self) -> str:
        """Say it with the beam and the caution; the distance is rounded up."""
        per_m2 = 10_000 * self.mpe_w_cm2
        limit = f"the supplied limit of {self.mpe_w_cm2:g} W/cm² ({per_m2:g} W/m²)"
        if self.distance_m == 0:
            found = f"at no distance does the mean power exceed {limit}"
        else:
            found = f"up to {_rounded_up(self.distance_m)} m the beam may exceed {limit}"
        return f"{self.path} ({self.beam}): {found}. {self.caution}"


@dataclass(frozen=True, slots=True)
class OpticalDensity:
    """Optical density that eyewear must reach at the wavelength, with its caution."""

    density: float
    times_limit: float
    caution: str

    def __str__(self) -> str:
        """Say it with the caution; the density is rounded up."""
        return (
            f"Optical density {math.ceil(10 * self.density) / 10:g} or more at the wavelength of "
            f"the laser, for {three_digits(self.times_limit)} times the supplied limit. "
            f"{self.caution}"
        )


def hazard_distance(
    power_w: float,
    mpe_w_cm2: float,
    *,
    divergence_rad: float | None = None,
    aperture_cm: float | None = None,
    focal_length_cm: float | None = None,
    beam_at_lens_cm: float | None = None,
    reflectance: float | None = None,
    viewing_deg: float | None = None,
    edge: Edge = "1/e2",
) -> HazardDistance:
    """
    Distance within which a laser may injure an eye: direct beam (NOHD), lens or matt wall.

    Parameters
    ----------
    power_w : float
        Mean power of the beam. [W]
    mpe_w_cm2 : float
        Exposure limit (MPE) that the laser safety officer supplies. [W/cm²]
    divergence_rad, aperture_cm : float
        For the direct beam: the full angle within which it spreads, and its full diameter where it
        leaves the laser, both to its edge. [rad], [cm]
    focal_length_cm, beam_at_lens_cm : float
        For the beam beyond the focus of a lens: the focal length, and the full diameter of the beam
        at the lens, to its edge. [cm]
    reflectance : float
        For light scattered by a matt wall: the share that the wall throws back; 1 is the worst
        case. [0 to 1]
    viewing_deg : float, optional
        With `reflectance`: angle of the view to the normal of the wall. Left out, it is 0, the
        worst case. [degrees]
    edge : {"1/e2", "1/e"}
        Where both diameter and angle put the edge of the beam. "1/e2": at 13.5 % of the peak
        irradiance, as beam standards [2]_ and most data sheets do, and all of `laser`. "1/e": at
        37 % of it, as laser safety standards [1]_ do; also for a flat-topped beam by its full
        width. Scattered light has no edge.

    Returns
    -------
    HazardDistance
        Distance, 0 where the beam is below the limit, from the exit of the laser, the focus of the
        lens or the spot on the wall [m]; path; the beam as it was given; limit; caution.

    Raises
    ------
    ValueError
        The settings do not describe one of the three paths; a value is not a single finite number
        above 0; the limit is above 1 W/cm², the divergence 0.1 rad or more, the reflectance above
        1, the angle not from 0 to below 90; the edge is another.

    Notes
    -----
    For power P and limit MPE [1]_. Direct beam of divergence phi and aperture a at 1/e:
    (1 / phi) (sqrt(4 P / (pi MPE)) - a). Lens of focal length f, beam of width b at 1/e:
    (f / b) sqrt(4 P / (pi MPE)). A Gaussian beam is sqrt(2) wider at 1/e², so that data at 1/e²
    need sqrt(8 P / (pi MPE)): taken for 1/e they would give a distance 1.41 times too short. Where
    the sheet does not say which, keep "1/e2", which never gives the shorter one. Matt wall of
    reflectance rho, for an eye far from the spot beside its size: sqrt(rho P cos(angle) /
    (pi MPE)). Polished stone, wet stone, glass and bright steel mirror: there the direct beam's
    distance holds. So it does for a beam that misses the wall.

    The direct formula lets the beam widen from its exit on. Where it is narrowest there it stays
    narrow at first, and reaches up to a / phi farther, as the caution says. All hold for the mean
    power: a pulse of nanoseconds at 10 Hz may reach more than ten times as far. Hot spots or a
    telescope in the path also ask for more. No limit is part of the package: editions differ by
    more than a factor of two.

    References
    ----------
    .. [1] ANSI Z136.1 (use of lasers), beam diameter at 1/e, Appendix B; IEC TR 60825-14, A user's
       guide.
    .. [2] ISO 11146-1:2021, Beam widths, divergence angles and beam propagation ratios.

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> given = {"divergence_rad": 0.002, "aperture_cm": 0.2}
    >>> round(laser.hazard_distance(100, 0.0016, **given).distance_m)
    1994
    >>> round(laser.hazard_distance(100, 0.0016, edge="1/e", **given).distance_m)
    1409
    >>> lens = laser.hazard_distance(100, 0.0016, focal_length_cm=2.54, beam_at_lens_cm=0.63)
    >>> round(lens.distance_m, 1)
    16.1
    >>> round(laser.hazard_distance(100, 0.0016, reflectance=1).distance_m, 2)
    1.41
    """
    asked = {
        "divergence_rad": divergence_rad, "aperture_cm": aperture_cm,
        "focal_length_cm": focal_length_cm, "beam_at_lens_cm": beam_at_lens_cm,
        "reflectance": reflectance, "viewing_deg": viewing_deg,
    }  # fmt: skip
    given = {name: value for name, value in asked.items() if value is not None}
    _check_edge(edge)
    return _path_of(given)(power_w, mpe_w_cm2, edge, **given)


def _path_of(given: Mapping[str, float]) -> Callable[..., HazardDistance]:
    """The sum of the one path that these settings describe."""
    paths: dict[frozenset[str], Callable[..., HazardDistance]] = {
        frozenset({"divergence_rad", "aperture_cm"}): _direct,
        frozenset({"focal_length_cm", "beam_at_lens_cm"}): _beyond_lens,
        frozenset({"reflectance"}): _scattered,
        frozenset({"reflectance", "viewing_deg"}): _scattered,
    }
    found = paths.get(frozenset(given))
    if found is None:
        raise ValueError(
            f"{', '.join(given) or 'No setting'} given: that is not one path of the light. Give "
            "divergence_rad and aperture_cm for the direct beam, focal_length_cm and "
            "beam_at_lens_cm beyond a lens, or reflectance for light scattered by a matt wall."
        )
    return found


def _direct(
    power_w: float, mpe_w_cm2: float, edge: Edge, *, divergence_rad: float, aperture_cm: float
) -> HazardDistance:
    """Distance along the direct beam."""
    power, limit, divergence, aperture = single_positive(
        power_w=power_w,
        mpe_w_cm2=mpe_w_cm2,
        divergence_rad=divergence_rad,
        aperture_cm=aperture_cm,
    )
    if divergence >= 0.1:
        raise ValueError(
            f"divergence_rad = {divergence:g}: a laser beam spreads by far less than 0.1 rad. Was "
            "it given in mrad? Divide by 1000. Behind a lens, give focal_length_cm and "
            "beam_at_lens_cm instead."
        )
    reach_cm = (_limit_diameter_cm(power, limit, edge) - aperture) / divergence
    narrow_m = _rounded_up(aperture / divergence / 100)
    caution = (
        f"If the beam is narrowest at its exit, add up to {narrow_m} m; if further out, that "
        "distance too. "
    )
    return _distance(
        "Direct beam",
        f"{power:g} W mean power; {aperture:g} cm wide at its exit, spreading by a full angle of "
        f"{1000 * divergence:g} mrad, {_edge_words(edge)}",
        reach_cm,
        limit,
        caution if reach_cm > 0 else "",
    )


def _beyond_lens(
    power_w: float, mpe_w_cm2: float, edge: Edge, *, focal_length_cm: float, beam_at_lens_cm: float
) -> HazardDistance:
    """Distance from the focus of a lens; from the lens it is one focal length more."""
    power, limit, focal, beam = single_positive(
        power_w=power_w,
        mpe_w_cm2=mpe_w_cm2,
        focal_length_cm=focal_length_cm,
        beam_at_lens_cm=beam_at_lens_cm,
    )
    return _distance(
        f"Beam beyond the focus of a lens, {focal:g} cm from the lens",
        f"{power:g} W mean power; {beam:g} cm wide at the lens, {_edge_words(edge)}",
        focal / beam * _limit_diameter_cm(power, limit, edge),
        limit,
    )


def _scattered(
    power_w: float, mpe_w_cm2: float, edge: Edge, *, reflectance: float, viewing_deg: float = 0
) -> HazardDistance:
    """Distance from a matt wall; how the beam is spread over the spot does not matter."""
    power, limit, share = single_positive(
        power_w=power_w, mpe_w_cm2=mpe_w_cm2, reflectance=reflectance
    )
    if share > 1:
        raise ValueError(f"reflectance = {share:g}: it runs from 0 to 1. Was it given in %?")
    angle = float(angles("viewing_deg", single("viewing_deg", viewing_deg)))
    seen_w = share * power * math.cos(math.radians(angle))
    return _distance(
        "Light scattered by a matt wall",
        f"{power:g} W mean power, reflectance {share:g}, seen {angle:g}° from the normal",
        _limit_diameter_cm(seen_w, limit, "1/e") / 2,
        limit,
    )


def optical_density(exposure: float, limit: float) -> OpticalDensity:
    """
    Optical density that eyewear needs at the wavelength of the laser.

    Parameters
    ----------
    exposure, limit : float
        Greatest exposure that may reach the eye, in the middle of the beam, and the exposure limit
        that the laser safety officer supplies, both in one unit. [W/cm²] or [J/cm²]

    Returns
    -------
    OpticalDensity
        log10(exposure / limit), 0 where the limit is kept; exposure as a multiple of the limit;
        caution.

    Raises
    ------
    ValueError
        A value is not a single finite number above 0.

    Notes
    -----
    Both for the mean power [W/cm²] and for one pulse [J/cm²], the greater density counts. The peak
    of the beam is meant, not its mean over the 1/e² circle, which is half of it. Density alone does
    not make eyewear fit: it must also withstand the beam [1]_, and it is the last of the measures,
    after enclosure and a controlled area.

    References
    ----------
    .. [1] ANSI Z136.1 (use of lasers); EN 207, Personal eye-protection against laser radiation.

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> round(laser.optical_density(4.0, 0.0016).density, 1)
    3.4
    """
    reaches, allowed = single_positive(exposure=exposure, limit=limit)
    times = reaches / allowed
    return OpticalDensity(max(0.0, math.log10(times)), times, f"{_OFFICER} {laser_caution()}")


def _limit_diameter_cm(power_w: float, mpe_w_cm2: float, edge: Edge) -> float:
    """Diameter, to its edge, of a Gaussian beam whose middle just meets the limit."""
    if mpe_w_cm2 > 1:
        raise ValueError(
            f"mpe_w_cm2 = {mpe_w_cm2:g}: limits of the eye for a second or longer lie at "
            "1 W/cm² or below. Was it given in W/m² (divide by 10 000) or in mW/cm² (divide by "
            "1000), or is it that of a single pulse?"
        )
    return _WIDER[edge] * math.sqrt(4 * power_w / (math.pi * mpe_w_cm2))


def _check_edge(edge: Edge) -> None:
    """Refuse an edge that is neither of the two."""
    if edge not in get_args(Edge):
        raise ValueError(
            f'edge = {edge!r}: it is "1/e2" (13.5 % of the peak, as most data sheets give '
            'diameter and divergence) or "1/e" (37 %, as laser safety standards take them). Not '
            'known? Keep "1/e2", which gives the longer distance.'
        )


def _edge_words(edge: Edge) -> str:
    """Words for the edge to which a width or an angle was given."""
    return {"1/e2": "to 1/e² (13.5 %) of the peak", "1/e": "to 1/e (37 %) of the peak"}[edge]


def _rounded_up(distance_m: float) -> str:
    """Distance in words, never shorter than it is: tenths of a metre, from 100 m whole ones."""
    if distance_m < 100:
        return f"{math.ceil(10 * distance_m) / 10:g}"
    return f"{math.ceil(distance_m)}"


def _distance(
    path: str, beam: str, distance_cm: float, mpe_w_cm2: float, caution: str = ""
) -> HazardDistance:
    """Record of a distance, never below 0, with the caution that goes with every one."""
    return HazardDistance(
        max(0.0, distance_cm / 100),
        path,
        beam,
        mpe_w_cm2,
        f"{caution}{_MEAN_POWER} {_OFFICER} {laser_caution()}",
    )
