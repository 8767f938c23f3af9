"""What a colour meter's file says: records of it, and words of meters in our own terms."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.records.record import PLAIN_DATE
from heritagecheck.survey.records.row_reading import date_text

SCALES = {"0 to 1": 1.0, "0 to 100": 100.0}
# CxF3 allows for fluorescence up to 3; higher values are in per cent.
MOST_ON_THE_SCALE_TO_1 = 3.0
LIGHT = re.compile(r"([A-Z]{1,2}\d{0,2})(?:\s*[/\- ]\s*(\d+)\s*(?:°|deg\w*)?)?", re.IGNORECASE)
OBSERVER = re.compile(r"(2|10)[ _]?(?:°|deg\w*)?", re.IGNORECASE)
ANGLES = re.compile(r"(45|0)[acx]?/(45|0)[acx]?")
NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
TIME = re.compile(r"[T ]\s*\d{1,2}:\d{2}.*$")
INCLUDED = {"sci", "di/8", "8/di", "d/8sci", "specularincluded"}
EXCLUDED = {"sce", "de/8", "8/de", "d/8sce", "specularexcluded"}
# A sphere that does not say what it does with the gloss.
SPHERE = {"", "d/8", "8/d", "d/0", "0/d", "sphere"}


@dataclass(frozen=True, slots=True)
class MeterColour:
    """L*, a*, b* as the meter gave them, and for which light; None where it does not say."""

    lab: tuple[float, float, float]
    illuminant: str | None = None
    observer_deg: int | None = None


@dataclass(frozen=True, slots=True)
class Measured:
    """
    One measurement of a colour meter, as its file gives it: nothing that it leaves out is added.

    Attributes
    ----------
    name : str
        Name of the sample; several measurements may share it and differ in `row`.
    row : int
        Line of a text file; number of the object in CxF3.
    colours : tuple of MeterColour
        One for each light that the meter computed for.
    wavelengths_nm, reflectance : tuple of float or None
        The spectrum, 1 for the perfect reflecting diffuser. [nm, 1]
    geometry : str or None
        ``"SCI"``, ``"SCE"``, ``"45/0"``, or the words of the file.
    aperture_mm : float or None
        Aperture. [mm]
    measured_on : date or None
        Day.
    """

    name: str
    row: int
    colours: tuple[MeterColour, ...] = ()
    wavelengths_nm: tuple[float, ...] | None = None
    reflectance: tuple[float, ...] | None = None
    geometry: str | None = None
    aperture_mm: float | None = None
    measured_on: date | None = None


@dataclass(frozen=True, slots=True)
class MeterFile:
    """All measurements in one file of a colour meter."""

    file: str
    sha256: str
    kind: str
    measured: tuple[Measured, ...]

    def __str__(self) -> str:
        """Say how much it holds."""
        return f"{self.file} ({self.kind}) holds {len(self.measured)} measurements"

    def picked(self, *, name_begins: str = "", geometry: str | None = None) -> MeterFile:
        """
        Only some of the measurements, as where a file holds several zones, or SCI and SCE.

        Parameters
        ----------
        name_begins : str
            How the names of the samples begin.
        geometry : str, optional
            Geometry of the measurements.

        Returns
        -------
        MeterFile
            The same file with fewer measurements.

        Raises
        ------
        ValueError
            There is none such; names those that there are.
        """
        found = tuple(
            one for one in self.measured
            if one.name.startswith(name_begins) and geometry in {None, one.geometry}
        )  # fmt: skip
        if not found:
            names = sorted({f"{one.name} ({one.geometry or 'no geometry'})"
                            for one in self.measured})  # fmt: skip
            raise ValueError(
                f"{self.file} holds no measurement whose name begins with {name_begins!r}"
                f"{f' and whose geometry is {geometry}' if geometry else ''}. "
                f"It holds: {', '.join(names[:20])}{', …' if len(names) > 20 else ''}."
            )
        return replace(self, measured=found)


def text_of(data: bytes, encoding: str | None = None) -> str:
    """Text of a file, with one kind of line break."""
    if encoding is not None:
        text = data.decode(encoding).removeprefix("\ufeff")
    elif data.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = data.decode("utf-16", errors="replace")
    else:
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = data.decode("cp1252", errors="replace")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def geometry_said(words: str) -> str | None:
    """Geometry in the survey's terms; None for a sphere that leaves the gloss open."""
    # CIE 15:2018 writes di:8° and de:8° for the two spheres, 45°a:0° for a ring of lamps.
    plain = re.sub(r"[°\s_()\-]", "", words.lower()).replace(":", "/")
    if plain in INCLUDED:
        return "SCI"
    if plain in EXCLUDED:
        return "SCE"
    angles = ANGLES.fullmatch(plain)
    if angles and angles[1] != angles[2]:
        return f"{angles[1]}/{angles[2]}"
    return None if plain in SPHERE else words.strip()


def light_said(words: str) -> tuple[str, int | None]:
    """Illuminant, and the observer if it follows."""
    found = LIGHT.fullmatch(words.strip())
    if found is None:
        raise ValueError("write an illuminant such as D65")
    return found[1].upper(), observer_said(found[2]) if found[2] else None


def observer_said(words: str) -> int:
    """Observer in degrees."""
    found = OBSERVER.fullmatch(words.strip())
    if found is None:
        raise ValueError("write 2 or 10, the degrees of the standard observer")
    return int(found[1])


def day_said(words: str) -> date:
    """Day of a measurement, where it is clear which it is; a time of day behind it is left out."""
    text = date_text(TIME.sub("", words.strip()))
    if not PLAIN_DATE.fullmatch(text):
        raise ValueError("write a day as year-month-day")
    return date.fromisoformat(text)


def number_said(words: str) -> float:
    """A number with a decimal point."""
    if not NUMBER.fullmatch(words) or not math.isfinite(float(words)):
        raise ValueError("must be a plain number with a decimal point")
    return float(words)


def on_scale_to_1(
    file: str, measured: Sequence[Measured], scale: str | None
) -> tuple[Measured, ...]:
    """Measurements with their reflectance on the scale from 0 to 1."""
    # Numbers below 3 alone leave it open: a black gloss paint reads 0.4 %. What shows it is a
    # number above that, or the L* beside a spectrum: the Y that follows from it (ISO/CIE 11664-4)
    # is a weighted mean of the reflectance, so it lies between its lowest and highest value.
    spectra = [one for one in measured if one.reflectance is not None]
    if not spectra:
        return tuple(measured)
    values = [value for one in spectra for value in one.reflectance or ()]
    fitting = [name for name, whole in SCALES.items() if _fits(spectra, max(values), whole)]
    asked = fitting if scale is None else [name for name in fitting if name == scale]
    if len(asked) != 1:
        why = (
            f'can\'t be on the scale "{scale}" that was given' if scale else
            "is that 0 to 1 or 0 to 100? A white tile reads about 0.9 on the one and 90 on the "
            'other. Give reflectance_scale="0 to 1" or reflectance_scale="0 to 100"'
        )  # fmt: skip
        came = f"{min(values):g} to {max(values):g}"
        raise SurveyError([Fault(file, None, "reflectance", came, why)])
    whole = SCALES[asked[0]]
    return tuple(
        one if one.reflectance is None else
        replace(one, reflectance=tuple(value / whole for value in one.reflectance))
        for one in measured
    )  # fmt: skip


def _fits(spectra: Sequence[Measured], most: float, whole: float) -> bool:
    """Whether reflectance may be on a scale: by its highest value, and by the L* beside it."""
    if most / whole > MOST_ON_THE_SCALE_TO_1:
        return False
    for one in spectra:
        # Tolerance for light outside the wavelengths of the file, and for rounding.
        low = 0.95 * min(one.reflectance or ()) / whole - 0.002
        high = 1.05 * max(one.reflectance or ()) / whole + 0.002
        if any(not low <= _luminance(colour.lab[0]) <= high for colour in one.colours):
            return False
    return True


def _luminance(l_star: float) -> float:
    """Y of an L*, 1 for the perfect reflecting diffuser."""
    # Beyond a thousand no sum is wanted: it is no L*, and its third power may be no number.
    return ((min(l_star, 1e3) + 16) / 116) ** 3 if l_star > 8 else float(l_star * 27 / 24389)
