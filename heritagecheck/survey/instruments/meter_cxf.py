"""CxF3, the XML of colour meters: looked at before it is read, then taken object by object."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import ParseError

from defusedxml import DefusedXmlException
from defusedxml import ElementTree as SafeET

from heritagecheck.errors import Fault, SurveyError, refused_file
from heritagecheck.survey.exchange.archives import BROKEN, in_one_line
from heritagecheck.survey.instruments.meter_file import (
    Measured,
    MeterColour,
    geometry_said,
    number_said,
)

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

# The schema's own limits of reflectance, of which 1 is the perfect reflecting diffuser.
LOWEST, HIGHEST = -0.1, 3.0
APERTURE = re.compile(r"(\d+(?:\.\d+)?)\s*(?:mm)?")
NUMBERS = {"L": "L*", "A": "a*", "B": "b*", "ReflectanceSpectrum": "ReflectanceSpectrum"}
REFLECTED = {"Spectrum_Reflectance", "Colorimetric_Reflectance"}


@dataclass(frozen=True, slots=True)
class _Place:
    """Position in the file, for faults."""

    file: str
    number: int
    name: str

    def fault(self, field: str, value: object, allowed: str) -> Fault:
        """Say what is wrong there."""
        where = f'object "{self.name}", {field}' if self.name else field
        return Fault(self.file, self.number, where, str(value), allowed)


def read_cxf(file: str, data: bytes) -> tuple[Measured, ...]:
    """Measurements in a CxF3 file."""
    resources = _parsed(file, data).resources
    collection = None if resources is None else resources.object_collection
    objects = [] if collection is None else collection.object_value
    if not objects:
        raise refused_file(file, "holds no object that was measured")
    described = resources.color_specification_collection
    specifications = [] if described is None else described.color_specification
    known = {one.id: one for one in specifications}
    faults: list[Fault] = []
    if len(known) < len(specifications):
        faults.append(Fault(file, None, "ColorSpecification", "", "two have the same Id"))
    found: list[Measured] = []
    for number, one in enumerate(objects, 1):
        place = _Place(file, number, one.name or one.id or "")
        wrong = len(faults)
        taken = _object(place, one, known, faults)
        if not taken and len(faults) == wrong:
            faults.append(place.fault("values", "", "holds neither L*, a*, b* nor a reflectance"))
        found += taken
    if faults:
        raise SurveyError(faults)
    return tuple(found)


def _parsed(file: str, data: bytes) -> Any:
    """The file as colour-cxf reads it, after a look at what it might do to the reader."""
    try:
        import colour_cxf
        from xsdata.exceptions import ConverterWarning
        from xsdata.formats.dataclass.parsers import XmlParser
        from xsdata.formats.dataclass.parsers.config import ParserConfig
        from xsdata.formats.dataclass.parsers.handlers import XmlEventHandler
    except ImportError as missing:
        raise ImportError(
            "reading CxF3 needs colour-cxf: pip install 'heritagecheck[instruments]'"
        ) from missing
    kind = colour_cxf.cxf3.CxF
    try:
        # A document type may hold entities that grow without end; no CxF3 needs one.
        root = SafeET.fromstring(data, forbid_dtd=True)
    except DefusedXmlException:
        raise refused_file(
            file, "holds a document type or entities, which CxF3 does not need"
        ) from None
    except (ParseError, ValueError, LookupError) as error:
        raise refused_file(file, f"this XML is broken: {error}") from None
    if root.tag != f"{{{kind.Meta.namespace}}}CxF":
        raise refused_file(file, f"this XML is not CxF3: it begins with {root.tag}")
    faults = list(_text_faults(file, root, kind.Meta.namespace))
    if faults:
        raise SurveyError(faults)
    config = ParserConfig(fail_on_converter_warnings=True)
    try:
        # The handler is named, else it would depend on what else is installed.
        return XmlParser(config=config, handler=XmlEventHandler).from_bytes(data, kind)
    except (*BROKEN, ConverterWarning) as error:
        raise refused_file(file, f"does not follow CxF3: {in_one_line(error)}") from error


def _text_faults(file: str, root: Element, namespace: str) -> Iterator[Fault]:
    """Texts that the library takes as they are, drops, or reads as Python would: 6_1 as 61."""
    for one in root.iter():
        between = [one.text, *(child.tail for child in one)] if len(one) else []
        stray = "".join(text or "" for text in between).strip()
        if stray and one.tag.startswith(f"{{{namespace}}}"):
            name = one.tag.rpartition("}")[2]
            yield Fault(file, None, name, stray, "holds text where only elements may be")
    for number, one in enumerate(root.iter(f"{{{namespace}}}Object"), 1):
        place = _Place(file, number, one.get("Name") or one.get("Id") or "")
        for value in one.iter():
            name = value.tag.rpartition("}")[2]
            for word in (value.text or "").split() if name in NUMBERS else ():
                try:
                    number_said(word)
                except ValueError as why:
                    yield place.fault(NUMBERS[name], word, str(why))
                    break


def _object(place: _Place, one: Any, known: dict[str, Any], faults: list[Fault]) -> list[Measured]:
    """Measurements of an object: values that agree in geometry and aperture belong together."""
    created = one.creation_date and one.creation_date.value
    found: list[Measured] = []
    for value in [] if one.color_values is None else one.color_values.choice:
        take = TAKEN.get(type(value).__name__)
        if take is None:
            continue
        described = known.get(value.color_specification)
        if described is None or described.measurement_spec is None:
            faults.append(
                place.fault("ColorSpecification", value.color_specification or "nothing",
                            f"must be one of those described: "
                            f"{', '.join(filter(None, known)) or 'none is'}")
            )  # fmt: skip
            continue
        spec = described.measurement_spec
        kind = spec.measurement_type and spec.measurement_type.value
        if kind is None or kind.value not in REFLECTED:
            said = "nothing" if kind is None else kind.value
            faults.append(place.fault("MeasurementType", said, "must be in reflectance"))
            continue
        # By the schema the day of the object is that of its values, unless they have their own.
        day = _day(getattr(value, "measure_date", None) or created, place, faults)
        taken = take(_of(place, spec, day), value, described, place, faults)
        same = next((at for at, old in enumerate(found) if _agree(old, taken)), None)
        if same is None:
            found.append(taken)
        else:
            found[same] = _joined(found[same], taken, place, faults)
    return found


def _of(place: _Place, spec: Any, day: date | None) -> Measured:
    """A measurement that has no value yet."""
    aperture = APERTURE.fullmatch((spec.aperture or "").strip())
    return Measured(
        place.name,
        place.number,
        geometry=_geometry(spec.geometry_choice and spec.geometry_choice.choice),
        aperture_mm=float(aperture[1]) if aperture else None,  # such as MAV, which names no size
        measured_on=day,
    )


def _agree(one: Measured, other: Measured) -> bool:
    """Whether two values may come from one measurement."""
    pairs = ((one.geometry, other.geometry), (one.aperture_mm, other.aperture_mm))
    return all(first == second or None in {first, second} for first, second in pairs)


def _joined(one: Measured, other: Measured, place: _Place, faults: list[Fault]) -> Measured:
    """Values of one measurement as one."""
    lights = [(each.illuminant, each.observer_deg) for each in one.colours]
    if any((each.illuminant, each.observer_deg) in lights for each in other.colours):
        faults.append(place.fault("ColorCIELab", "two", "export one for each light"))
    if one.reflectance is not None and other.reflectance is not None:
        faults.append(place.fault("ReflectanceSpectrum", "two", "export one a measurement"))
    spectrum = one if one.reflectance is not None else other
    return Measured(
        one.name,
        one.row,
        one.colours + other.colours,
        spectrum.wavelengths_nm,
        spectrum.reflectance,
        one.geometry or other.geometry,
        one.aperture_mm or other.aperture_mm,
        spectrum.measured_on,
    )


def _geometry(choice: Any) -> str | None:
    """Geometry of a measurement, where the file says it."""
    if choice is None or isinstance(choice, str):
        return None
    if hasattr(choice, "illumination_angle"):
        angles = (choice.illumination_angle, choice.measurement_angle)
        return "/".join("?" if angle is None else f"{angle:g}" for angle in angles)
    if hasattr(choice, "brdfangle"):
        return "several angles"
    return geometry_said(str(choice.value))


def _day(said: Any, place: _Place, faults: list[Fault]) -> date | None:
    """Day of a point in time, as its own time zone has it."""
    try:
        return None if said is None else date(said.year, said.month, said.day)
    except ValueError:
        faults.append(place.fault("CreationDate", said, "is not a date"))
        return None


def _with_colour(
    measured: Measured, value: Any, described: Any, place: _Place, faults: list[Fault]
) -> Measured:
    """A measurement with one colour more."""
    lab = (value.l, value.a, value.b)
    if None in lab:
        faults.append(place.fault("ColorCIELab", "", "must hold L, A and B"))
        return measured
    spec = described.tristimulus_spec
    light = None if spec is None else spec.illuminant_or_custom_illuminant
    kind = getattr(light, "value", None)
    observer = None if spec is None or spec.observer is None else spec.observer.value
    degrees = {"2_Degree": 2, "10_Degree": 10}.get("" if observer is None else observer.value)
    illuminant = "Custom" if light is not None and kind is None else kind and str(kind.value)
    return replace(measured, colours=(MeterColour(lab, illuminant, degrees),))


def _with_spectrum(
    measured: Measured, value: Any, described: Any, place: _Place, faults: list[Fault]
) -> Measured:
    """A measurement with its spectrum."""
    scale = described.measurement_spec.wavelength_range
    starts = {value.start_wl, None if scale is None else scale.start_wl} - {None}
    increment = None if scale is None else scale.increment
    wrong = list(_spectrum_faults(place, value.value, starts, increment))
    faults += wrong
    if wrong or increment is None:
        return measured
    first = starts.pop()
    return replace(
        measured,
        wavelengths_nm=tuple(float(first + increment * step) for step in range(len(value.value))),
        reflectance=tuple(value.value),
    )


def _spectrum_faults(
    place: _Place, values: list[float], starts: set[int], increment: int | None
) -> Iterator[Fault]:
    """What is wrong with a spectrum."""
    odd = [number for number in values if not LOWEST < number < HIGHEST]
    if not values:
        yield place.fault("ReflectanceSpectrum", "nothing", "must hold numbers")
    if odd:
        yield place.fault(
            "ReflectanceSpectrum", odd[0], f"must lie between {LOWEST:g} and {HIGHEST:g}"
        )
    if len(starts) != 1:
        came = " and ".join(str(start) for start in sorted(starts)) or "nothing"
        yield place.fault("StartWL", came, "give the one wavelength at which the spectrum starts")
    if increment is None or increment <= 0:
        yield place.fault("Increment", increment or "nothing", "give the step of the wavelengths")


# Values that are read; others, such as sRGB, follow from these or say less.
TAKEN: dict[str, Callable[[Measured, Any, Any, _Place, list[Fault]], Measured]] = {
    "ColorCielab": _with_colour,
    "ReflectanceSpectrum": _with_spectrum,
}
