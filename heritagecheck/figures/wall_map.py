"""An elevation on the screen: the bare drawing or photograph, and the zones as shapes over it."""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass
from xml.etree import ElementTree as ET

import numpy as np

from heritagecheck.figures.svg import number
from heritagecheck.figures.zone_location import as_text
from heritagecheck.survey.drawings.drawing import view_box
from heritagecheck.survey.drawings.elevations import read_drawing
from heritagecheck.survey.drawings.outline_edits import Rings, label_point
from heritagecheck.survey.drawings.path_data import FloatArray
from heritagecheck.survey.drawings.plain_svg import SVG
from heritagecheck.survey.records import Elevation
from heritagecheck.survey.survey import Survey

LETTERS_WIDE = 3.2  # a code and the sign of its state, in heights of their letters
UNITS_A_METRE = 100.0  # a corner that is sent to a hundredth of a unit is known to 0.1 mm


@dataclass(frozen=True, slots=True)
class Shape:
    """
    A zone on the map: its outline as SVG steps, and where its code is written, in units.

    `letters` is the size of letters with which the code finds room in the zone.
    """

    zone: str
    d: str
    x: float
    y: float
    letters: float


def shape_of(zone: str, rings: Rings) -> Shape:
    """
    A zone as it is drawn over the map.

    Parameters
    ----------
    zone : str
        Its code.
    rings : sequence of array_like, each of shape (n, 2)
        Its outline, in metres on the drawing.

    Returns
    -------
    Shape
    """
    x, y = label_point(rings) * UNITS_A_METRE
    widest = max(_units(rings), key=lambda ring: float(np.ptp(ring[:, 0])))
    letters = min(np.ptp(widest[:, 0]) / LETTERS_WIDE, np.ptp(widest[:, 1]))
    return Shape(zone, steps_of(rings), *(round(float(one), 1) for one in (x, y, letters)))


def steps_of(rings: Rings) -> str:
    """Rings in metres as the steps of an SVG path."""
    return "".join(
        f"M{'L'.join(f'{number(x)} {number(y)}' for x, y in one)}z" for one in _units(rings)
    )


def _units(rings: Rings) -> Sequence[FloatArray]:
    """Rings in units of the map."""
    return [np.asarray(ring, dtype=float) * UNITS_A_METRE for ring in rings]


def bare_drawing(survey: Survey, item: Elevation) -> bytes:
    """
    The drawing of an elevation without its zones, as an SVG of its own.

    Parameters
    ----------
    survey : Survey
        The survey.
    item : Elevation
        The elevation, which has a drawing.

    Returns
    -------
    bytes

    Raises
    ------
    SurveyError
        Its drawing is missing, or can't be shown.
    """
    return bare_svg(read_drawing(survey, item), item)


def bare_svg(root: ET.Element, item: Elevation) -> bytes:
    """
    A drawing without zones and titles, as an SVG of its own.

    Parameters
    ----------
    root : Element
        The drawing.
    item : Elevation
        The elevation of which it is, or is to be, the drawing.

    Returns
    -------
    bytes
    """
    left, top, width, height = view_box(root, item)
    root = deepcopy(root)
    for parent in list(root.iter()):
        for child in list(parent):
            if child.get("data-zone") or child.tag in {f"{{{SVG}}}title", f"{{{SVG}}}desc"}:
                parent.remove(child)
    root.set("viewBox", f"{left:g} {top:g} {width:g} {height:g}")
    # A picture in a picture has no size of its own where none is said.
    root.set("width", f"{width:g}")
    root.set("height", f"{height:g}")
    root.set("preserveAspectRatio", "none")
    return as_text(root).encode()
