"""How far a laser beam can injure eyes, from a limit that the laser safety officer supplies."""

from __future__ import annotations

import math
from dataclasses import dataclass

from heritagecheck import tables
from heritagecheck.evidence._laser.beam import positive

_OFFICER = (
    "A sum, not a clearance: the laser safety officer supplies the exposure limit for the "
    "wavelength, pulse and time from the edition in force, checks single pulses and pulse trains "
    "as well as the mean power, and sets the controlled area."
)


def laser_caution() -> str:
    """Words that stand beside every laser setting, from `tables/cautions.csv`."""
    return tables.keyed("cautions", "caution")["CA04"]["words"]


@dataclass(frozen=True, slots=True)
class HazardDistance:
    """Distance within which a beam may exceed the exposure limit, with its caution."""

    distance_m: float
    path: str
    mpe_w_cm2: float
    caution: str

    def __str__(self) -> str:
        """Say it with the caution; the distance is rounded up."""
        shown = math.ceil(10 * self.distance_m) / 10
        return (
            f"{self.path}: up to {shown:g} m the beam may exceed the supplied limit of "
            f"{self.mpe_w_cm2:g} W/cm². {self.caution}"
        )


@dataclass(frozen=True, slots=True)
class OpticalDensity:
    """Optical density that eyewear must reach at the wavelength, with its caution."""

    density: float
    caution: str

    def __str__(self) -> str:
        """Say it with the caution; the density is rounded up."""
        return f"Optical density {math.ceil(10 * self.density) / 10:g} or more. {self.caution}"


def hazard_distance(
    power_w: float, mpe_w_cm2: float, *, divergence_rad: float, aperture_cm: float
) -> HazardDistance:
    """
    Distance along the direct beam within which it may injure an eye (NOHD).

    Parameters
    ----------
    power_w : float
        Mean power of the beam. [W]
    mpe_w_cm2 : float
        Exposure limit (MPE) that the laser safety officer supplies. [W/cm²]
    divergence_rad : float
        Full angle within which the beam spreads. [rad]
    aperture_cm : float
        Full diameter of the beam where it leaves the laser. [cm]

    Returns
    -------
    HazardDistance
        Distance, 0 where the beam is below the limit as it leaves [m]; path; limit; caution.

    Raises
    ------
    ValueError
        A value is not a finite number above 0, or the divergence is 1 rad or more.

    Notes
    -----
    (1 / phi) (sqrt(4 P / (pi MPE)) - a) [1]_, for the mean power and a round beam of even
    irradiance. Pulses, hot spots or a telescope in the path may ask for more. No limit stands in
    the package: editions differ by more than a factor of two.

    References
    ----------
    .. [1] ANSI Z136.1 (use of lasers), Appendix B; IEC TR 60825-14, A user's guide.

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> found = laser.hazard_distance(100, 0.0016, divergence_rad=0.002, aperture_cm=0.2)
    >>> round(found.distance_m)
    1409
    """
    positive(
        power_w=power_w,
        mpe_w_cm2=mpe_w_cm2,
        divergence_rad=divergence_rad,
        aperture_cm=aperture_cm,
    )
    if divergence_rad >= 1:
        raise ValueError(
            f"divergence_rad = {divergence_rad:g}: a laser beam spreads by far less than 1 rad. "
            "Was it given in mrad? Divide by 1000."
        )
    spread_cm = (_limit_diameter_cm(power_w, mpe_w_cm2) - aperture_cm) / divergence_rad
    return _distance("Direct beam", spread_cm, mpe_w_cm2)


def hazard_distance_lens(
    power_w: float, mpe_w_cm2: float, *, focal_length_cm: float, beam_at_lens_cm: float
) -> HazardDistance:
    """
    Distance beyond a focusing lens within which the beam may injure an eye.

    Parameters
    ----------
    power_w, mpe_w_cm2 : float
        As in `hazard_distance`. [W], [W/cm²]
    focal_length_cm : float
        Focal length of the lens. [cm]
    beam_at_lens_cm : float
        Full diameter of the beam at the lens. [cm]

    Returns
    -------
    HazardDistance
        Distance from the lens [m]; path; limit; caution.

    Raises
    ------
    ValueError
        A value is not a finite number above 0.

    Notes
    -----
    (f / b) sqrt(4 P / (pi MPE)) [1]_. Beyond the focus the beam spreads fast, which is why it is
    shorter than that of the direct beam; a beam that misses the wall goes just as far.

    References
    ----------
    .. [1] ANSI Z136.1 (use of lasers), Appendix B; IEC TR 60825-14, A user's guide.

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> found = laser.hazard_distance_lens(100, 0.0016, focal_length_cm=2.54, beam_at_lens_cm=0.63)
    >>> round(found.distance_m, 1)
    11.4
    """
    positive(
        power_w=power_w,
        mpe_w_cm2=mpe_w_cm2,
        focal_length_cm=focal_length_cm,
        beam_at_lens_cm=beam_at_lens_cm,
    )
    reach_cm = focal_length_cm / beam_at_lens_cm * _limit_diameter_cm(power_w, mpe_w_cm2)
    return _distance("Beam through a lens", reach_cm, mpe_w_cm2)


def hazard_distance_diffuse(
    power_w: float, mpe_w_cm2: float, *, reflectance: float = 1, viewing_deg: float = 0
) -> HazardDistance:
    """
    Distance from a matt wall within which its scattered light may injure an eye.

    Parameters
    ----------
    power_w, mpe_w_cm2 : float
        As in `hazard_distance`. [W], [W/cm²]
    reflectance : float
        Share of the light that the wall throws back; 1 is the worst case. [0 to 1]
    viewing_deg : float
        Angle of the view to the normal of the wall; 0 is the worst case. [degrees]

    Returns
    -------
    HazardDistance
        Distance from the spot [m]; path; limit; caution.

    Raises
    ------
    ValueError
        Power or limit is not a finite number above 0, reflectance is not above 0 and at most 1, or
        the angle is not from 0 to below 90.

    Notes
    -----
    sqrt(rho P cos(angle) / (pi MPE)) [1]_, for an evenly scattering surface. Polished stone, wet
    stone, glass and bright steel mirror: there the direct beam's distance holds.

    References
    ----------
    .. [1] ANSI Z136.1 (use of lasers), Appendix B; IEC TR 60825-14, A user's guide.

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> round(laser.hazard_distance_diffuse(100, 0.0016).distance_m, 2)
    1.41
    """
    positive(power_w=power_w, mpe_w_cm2=mpe_w_cm2, reflectance=reflectance)
    if reflectance > 1:
        raise ValueError(f"reflectance = {reflectance:g}: it runs from 0 to 1. Was it given in %?")
    if not 0 <= viewing_deg < 90:
        raise ValueError(f"viewing_deg = {viewing_deg:g}: it runs from 0 to below 90.")
    seen_w = reflectance * power_w * math.cos(math.radians(viewing_deg))
    return _distance(
        "Light scattered by a matt wall", _limit_diameter_cm(seen_w, mpe_w_cm2) / 2, mpe_w_cm2
    )


def optical_density(exposure: float, limit: float) -> OpticalDensity:
    """
    Optical density that eyewear needs at the wavelength of the laser.

    Parameters
    ----------
    exposure, limit : float
        Greatest exposure that may reach the eye, and the exposure limit that the laser safety
        officer supplies, both in one unit. [W/cm²] or [J/cm²]

    Returns
    -------
    OpticalDensity
        log10(exposure / limit), 0 where the limit is kept; caution.

    Raises
    ------
    ValueError
        A value is not a finite number above 0.

    Notes
    -----
    Density alone does not make eyewear fit: it must also withstand the beam [1]_, and it is the
    last of the measures, after enclosure and a controlled area.

    References
    ----------
    .. [1] ANSI Z136.1 (use of lasers); EN 207, Personal eye-protection against laser radiation.

    Examples
    --------
    >>> from heritagecheck.evidence import laser
    >>> round(laser.optical_density(4.0, 0.0016).density, 1)
    3.4
    """
    positive(exposure=exposure, limit=limit)
    density = max(0.0, math.log10(exposure / limit))
    return OpticalDensity(density, f"{_OFFICER} {laser_caution()}")


def _limit_diameter_cm(power_w: float, mpe_w_cm2: float) -> float:
    """Diameter of the circle over which a power spreads evenly to just the limit."""
    return math.sqrt(4 * power_w / (math.pi * mpe_w_cm2))


def _distance(path: str, distance_cm: float, mpe_w_cm2: float) -> HazardDistance:
    """Record of a distance, never below 0, with the caution that goes with every one."""
    return HazardDistance(
        max(0.0, distance_cm / 100), path, mpe_w_cm2, f"{_OFFICER} {laser_caution()}"
    )
