"""Readings from a colour meter's file: computed from spectra, checked, nothing assumed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from pydantic import ValidationError

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.evidence.colour.spectra import covers_visible, lab_from_reflectance
from heritagecheck.survey.instruments.meter_file import Measured, MeterColour, MeterFile
from heritagecheck.survey.records import Reading
from heritagecheck.survey.records.row_reading import row_faults

LAB = ("L_star", "a_star", "b_star")
LIGHTS = ("D65/10", "D65/2", "D50/2", "C/2")
DECIMALS = 4  # two more than meters show, so that a record reads the same on every machine


def readings_from(
    meter_file: MeterFile,
    *,
    zone: str,
    set_name: str,
    target: str,
    state: str,
    read_by: str,
    instrument: str,
    panel: str | None = None,
    geometry: str | None = None,
    aperture_mm: float | None = None,
    illuminant: str | None = None,
    read_on: date | str | None = None,
    session: str | None = None,
    file: str | None = None,
    prefix: str | None = None,
    agree_delta_e: float = 0.1,
) -> tuple[Reading, ...]:
    """
    Records of readings from all measurements of a meter's file, as one set.

    Parameters
    ----------
    meter_file : MeterFile
        As `survey.read_meter_file` gave it; `MeterFile.picked` takes only some of its measurements.
    zone, set_name, target, state, read_by, instrument, panel, session, file
        As `Reading` has them; `file` is the attachment that holds the meter's file.
    geometry : {"SCI", "SCE", "45/0"}, optional
        Needed where the file does not say it; as likewise the next three.
    aperture_mm : float, optional
        Aperture. [mm]
    illuminant : {"D65/10", "D65/2", "D50/2", "C/2"}, optional
        Illuminant and observer that are asked for. A file with spectra answers any; needed where
        it has nothing else, or colours for several.
    read_on : date or str, optional
        Day.
    prefix : str, optional
        What the codes of the readings begin with, in place of `set_name`.
    agree_delta_e : float
        How far the L*, a*, b* of the file may lie from those of its own spectrum. [ΔE*ab]

    Returns
    -------
    tuple of Reading
        In the order of the file, with codes such as ``"N09-dry-01"``.

    Raises
    ------
    ValueError
        Something is neither in the file nor given, or they contradict one another.
    SurveyError
        A spectrum and its L*, a*, b* disagree, or a reading is none that can be kept; every fault
        at once.

    Notes
    -----
    L*, a*, b* come from the spectrum where there is one that covers 400 to 700 nm [1]_, to four
    decimals; else they are the file's own for that light, unchecked. The two may differ by 0.1:
    L*, a*, b* printed to one decimal lie within √3 · 0.05 = 0.09 of what they were. 0/45 is taken
    as 45/0, as ISO 13655:2017 takes either.

    References
    ----------
    .. [1] As `lab_from_reflectance`; difference by ISO/CIE 11664-4:2019.

    Examples
    --------
    >>> grey = Measured("a", 2, (), tuple(range(400, 701, 10)), (0.2,) * 31, geometry="SCI")
    >>> found = readings_from(
    ...     MeterFile("grey.txt", "0" * 64, "CGATS.17", (grey,)), zone="N09", set_name="N09-dry",
    ...     target="soiled", state="dry", read_by="conservator", instrument="sphere meter",
    ...     illuminant="D65/10", aperture_mm=8, read_on=date(2026, 5, 13),
    ... )
    >>> found[0].reading, round(found[0].L_star, 1)
    ('N09-dry-01', 51.8)
    """
    asked = _light(meter_file, illuminant)
    day = date.fromisoformat(read_on) if isinstance(read_on, str) else read_on
    given = {"geometry": geometry, "aperture_mm": aperture_mm, "read_on": day}
    set_up = _set_up(meter_file, given)
    shared = {
        "zone": zone, "set_name": set_name, "set_size": len(set_up), "target": target,
        "state": state, "read_by": read_by, "instrument": instrument, "panel": panel,
        "session": session, "file": file, "illuminant": asked,
    }  # fmt: skip
    faults: list[Fault] = []
    readings: list[Reading] = []
    for number, (one, said) in enumerate(zip(meter_file.measured, set_up, strict=True), 1):
        lab = _lab(meter_file.file, one, asked, agree_delta_e, faults)
        key = {"reading": f"{prefix or set_name}-{number:02d}"}
        values = shared | said | key | dict(zip(LAB, lab, strict=True))
        try:
            readings.append(Reading.model_validate(values))
        except ValidationError as error:
            faults.extend(row_faults(error, meter_file.file, one.row, values))
    if faults:
        raise SurveyError(faults, nothing="taken")
    return tuple(readings)


def _set_up(meter_file: MeterFile, given: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Geometry, aperture and day of each measurement, as the file or the caller says them."""
    said: dict[str, list[Any]] = {
        # Readings write 45/0 for either.
        "geometry": ["45/0" if one.geometry == "0/45" else one.geometry
                     for one in meter_file.measured],
        "aperture_mm": [one.aperture_mm for one in meter_file.measured],
        "read_on": [one.measured_on for one in meter_file.measured],
    }  # fmt: skip
    settled = {name: _settled(meter_file, name, said[name], given[name]) for name in said}
    for name in ("geometry", "aperture_mm"):
        both = sorted({str(value) for value in settled[name]})
        if len(both) > 1:
            raise ValueError(
                f"{meter_file.file} holds measurements with {name} = {' and '.join(both)}, so "
                "they are not one set. Take some of them by meter_file.picked(…)."
            )
    return [dict(zip(settled, values, strict=True))
            for values in zip(*settled.values(), strict=True)]  # fmt: skip


def _settled(meter_file: MeterFile, name: str, said: Sequence[Any], given: Any) -> Sequence[Any]:
    """One item of the set-up for each measurement; nothing is assumed."""
    if given is None:
        silent = [one.name for one, value in zip(meter_file.measured, said, strict=True)
                  if value is None]  # fmt: skip
        if silent:
            raise ValueError(
                f"{meter_file.file} does not say {name} for {len(silent)} of {len(said)} "
                f'measurements, such as "{silent[0]}". Give {name}=.'
            )
        return said
    for one, value in zip(meter_file.measured, said, strict=True):
        if value not in {None, given}:
            raise ValueError(
                f'{meter_file.file} says {name} = {value} for "{one.name}", and {name} = {given} '
                "was given. Correct which is wrong, or take others by meter_file.picked(…)."
            )
    return [given] * len(said)


def _light(meter_file: MeterFile, given: str | None) -> str:
    """Illuminant and observer of the set."""
    told = {_name_of(colour) for one in meter_file.measured for colour in one.colours}
    if given is None:
        if not all(one.colours for one in meter_file.measured) or None in told:
            raise ValueError(
                f"{meter_file.file} does not say illuminant and observer of every L*, a*, b*, or "
                f"holds spectra alone. Give illuminant=, one of {', '.join(LIGHTS)}."
            )
        names = sorted(name for name in told if name)
        if len(names) > 1:
            raise ValueError(
                f"{meter_file.file} holds L*, a*, b* for {' and '.join(names)}. "
                "Give illuminant=, the one you want."
            )
        given = names[0]
    if given not in LIGHTS:
        raise ValueError(
            f'illuminant = "{given}" is not one that readings are kept for; give illuminant=, one '
            f"of {', '.join(LIGHTS)}."
        )
    return given


def _name_of(colour: MeterColour) -> str | None:
    """Illuminant and observer, if both are given."""
    if colour.illuminant is None or colour.observer_deg is None:
        return None
    return f"{colour.illuminant}/{colour.observer_deg}"


def _lab(
    file: str, one: Measured, light: str, agree_delta_e: float, faults: list[Fault]
) -> tuple[float, ...]:
    """L*, a*, b* of a measurement for a light, by its spectrum where it has one."""
    stated = _stated(one, light)
    try:
        computed = _computed(one, light)
    except ValueError as error:
        faults.append(Fault(file, one.row, f'spectrum of "{one.name}"', "", str(error)))
        return 0.0, 0.0, 0.0
    if computed is None:
        if stated is None:
            told = " and ".join(
                _name_of(colour) or "an illuminant it does not say" for colour in one.colours
            )
            raise ValueError(
                f'{file} has L*, a*, b* for {told or "no light"} at "{one.name}", but illuminant = '
                f'"{light}" is required. Without a spectrum from 400 to 700 nm it cannot be '
                "computed."
            )
        return stated.lab
    if stated is not None and _name_of(stated):
        apart = math.dist(stated.lab, computed)
        if apart > agree_delta_e:
            came = ", ".join(f"{value:.2f}" for value in stated.lab)
            faults.append(
                Fault(file, one.row, f'L*, a*, b* of "{one.name}"', came,
                      f"its own spectrum gives {', '.join(f'{value:.2f}' for value in computed)} "
                      f"for {light}, {apart:.2f} ΔE*ab away; {agree_delta_e:g} is the limit")
            )  # fmt: skip
    return computed


def _stated(one: Measured, light: str) -> MeterColour | None:
    """The file's own colour for a light; what it does not say of it, the caller has said."""
    exact = [colour for colour in one.colours if _name_of(colour) == light]
    illuminant, degrees = light.split("/")
    fitting = exact or [
        colour for colour in one.colours
        if colour.illuminant in {None, illuminant}
        and colour.observer_deg in {None, int(degrees)}
    ]  # fmt: skip
    return fitting[0] if len(fitting) == 1 else None


def _computed(one: Measured, light: str) -> tuple[float, ...] | None:
    """L*, a*, b* by the spectrum; None where there is none that covers the visible."""
    if one.wavelengths_nm is None or one.reflectance is None:
        return None
    if not covers_visible(one.wavelengths_nm):
        return None
    illuminant, degrees = light.split("/")
    lab = lab_from_reflectance(
        one.wavelengths_nm, one.reflectance, illuminant=illuminant, observer_deg=int(degrees)
    )
    return tuple(round(float(value), DECIMALS) for value in lab)
