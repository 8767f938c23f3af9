"""An elevation of a survey by its code, and its drawing."""

from __future__ import annotations

from copy import deepcopy
from xml.etree import ElementTree as ET

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.drawings.drawing import fault, look_at
from heritagecheck.survey.drawings.plain_svg import PlainDrawing
from heritagecheck.survey.drawings.recorded_outlines import with_recorded
from heritagecheck.survey.records import Elevation, Zone
from heritagecheck.survey.survey import Survey

NO_DRAWING = (
    "this elevation has no drawing. Give it a photograph, a scanned drawing or an SVG, with its "
    "width and height in metres"
)


def elevation_of(survey: Survey, code: str) -> Elevation:
    """Elevation by its code."""
    for item in survey.all(Elevation):
        if item.elevation == code:
            return item
    known = ", ".join(item.elevation for item in survey.all(Elevation))
    raise SurveyError(
        [Fault("elevations", None, "elevation", code, f"there is none. Known: {known}")]
    )


def size_m(item: Elevation) -> tuple[float, float]:
    """Width and height of the drawing of an elevation, which must have one."""
    if item.width_m is None or item.height_m is None:
        raise SurveyError([fault(item, NO_DRAWING)])
    return item.width_m, item.height_m


def drawing_of(survey: Survey, item: Elevation) -> PlainDrawing:
    """Drawing of an elevation with the outlines of records on it, and what is wrong in it."""
    if item.drawing is None:
        return PlainDrawing(ET.Element("svg"), (NO_DRAWING,), ())
    zones = [zone for zone in survey.all(Zone) if zone.elevation == item.elevation]
    return with_recorded(look_at(survey.file(item.drawing)), item, zones)


def read_drawing(survey: Survey, item: Elevation) -> ET.Element:
    """Drawing of an elevation, of nothing but known shapes, words and colours."""
    found = drawing_of(survey, item)
    if found.faults:
        raise SurveyError([fault(item, said) for said in found.faults])
    return deepcopy(found.root)
