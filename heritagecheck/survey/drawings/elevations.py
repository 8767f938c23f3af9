"""An elevation of a survey by its code, and its drawing."""

from __future__ import annotations

from copy import deepcopy
from xml.etree import ElementTree as ET

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.drawings.drawing import fault, look_at
from heritagecheck.survey.records import Elevation
from heritagecheck.survey.survey import Survey


def elevation_of(survey: Survey, code: str) -> Elevation:
    """Elevation by its code."""
    for item in survey.all(Elevation):
        if item.elevation == code:
            return item
    known = ", ".join(item.elevation for item in survey.all(Elevation))
    raise SurveyError(
        [Fault("elevations", None, "elevation", code, f"there is none. Known: {known}")]
    )


def read_drawing(survey: Survey, item: Elevation) -> ET.Element:
    """Drawing of an elevation, of nothing but known shapes, words and colours."""
    found = look_at(survey.file(item.drawing))
    if found.faults:
        raise SurveyError([fault(item, said) for said in found.faults])
    return deepcopy(found.root)
