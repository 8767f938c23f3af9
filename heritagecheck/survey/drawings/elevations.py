"""An elevation of a survey: its drawing with all outlines, and its zones in metres."""

from __future__ import annotations

from collections.abc import Iterable
from copy import deepcopy
from functools import lru_cache
from xml.etree import ElementTree as ET

import numpy as np

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.drawings.drawing import (
    fault,
    open_drawing,
    placements,
    size_fault,
    view_box,
    zone_paths,
)
from heritagecheck.survey.drawings.outline import Outline
from heritagecheck.survey.drawings.outline_edits import label_point, outline_faults, rings_of
from heritagecheck.survey.drawings.path_data import FloatArray, followed
from heritagecheck.survey.drawings.plain_svg import SVG, PlainDrawing
from heritagecheck.survey.records import Elevation, Zone
from heritagecheck.survey.survey import Survey

# -- Its drawing -----------------------------------------------------------------------------------

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
    """Width and height of the drawing of an elevation; SurveyError if it has none."""
    if item.width_m is None or item.height_m is None:
        raise SurveyError([fault(item, NO_DRAWING)])
    return item.width_m, item.height_m


def drawing_of(survey: Survey, item: Elevation) -> PlainDrawing:
    """Drawing of an elevation with the recorded outlines on it, and its faults."""
    if item.drawing is None:
        return PlainDrawing(ET.Element("svg"), (NO_DRAWING,), ())
    zones = [zone for zone in survey.all(Zone) if zone.elevation == item.elevation]
    return with_recorded(open_drawing(survey.file(item.drawing)), item, zones)


def read_drawing(survey: Survey, item: Elevation) -> ET.Element:
    """Drawing of an elevation, made only of known shapes, words and colours."""
    found = drawing_of(survey, item)
    if found.faults:
        raise SurveyError([fault(item, said) for said in found.faults])
    return deepcopy(found.root)


# -- Outlines that records hold --------------------------------------------------------------------

Place = dict[str, str]


def with_recorded(drawing: PlainDrawing, item: Elevation, zones: Iterable[Zone]) -> PlainDrawing:
    """A drawing with the recorded outlines, which replace its own of these zones."""
    recorded = [zone for zone in zones if zone.outline is not None]
    if not recorded or item.width_m is None or item.height_m is None:
        return drawing
    try:
        left, top, width, _ = view_box(drawing.root, item)
    except SurveyError:  # its own faults say what is wrong with the frame
        return drawing
    root = deepcopy(drawing.root)
    parents = {child: parent for parent in root.iter() for child in parent}
    codes = {zone.zone for zone in recorded}
    for path in zone_paths(root):
        if path.get("data-zone") in codes:
            parents[path].remove(path)
    scale = width / item.width_m  # as `geometry.outlines` has it: one for both directions
    for zone in recorded:
        place = _placed(zone.outline or "", scale, (left, top))
        look = {"fill": "none", "fill-rule": "evenodd", "stroke": "#1d1d1b"}
        ET.SubElement(root, f"{{{SVG}}}path", {"data-zone": zone.zone} | place | look)
    return PlainDrawing(root, drawing.faults, drawing.left_out)


@lru_cache(maxsize=4096)  # a report draws each elevation some times for each of its zones
def _placed(outline: str, scale: float, corner: tuple[float, float]) -> Place:
    """Position of an outline and of its code, in units of the drawing."""
    rings = rings_of(outline)
    x, y = label_point(rings) * scale + corner
    steps = "".join(_closed(ring * scale + corner) for ring in rings)
    return {"data-label-x": f"{x:.9g}", "data-label-y": f"{y:.9g}", "d": steps}


def _closed(ring: FloatArray) -> str:
    """A ring as SVG path data."""
    return f"M{'L'.join(f'{x:.9g} {y:.9g}' for x, y in ring)}z"


# -- Zones in metres -------------------------------------------------------------------------------

FLAT_M = 0.001  # how far a straight step may lie from its curve
MOST_TOGETHER = 100_000  # points of all outlines of a drawing, with curves cut


def outlines(survey: Survey, elevation: str) -> dict[str, Outline]:
    """Outlines of the zones of an elevation, from its drawing."""
    item = elevation_of(survey, elevation)
    drawing = drawing_of(survey, item)
    faults = [fault(item, said) for said in drawing.faults]
    if faults and not len(drawing.root):
        raise SurveyError(faults)
    left, top, width, height = view_box(drawing.root, item)
    scale = size_m(item)[0] / width
    if said := size_fault(item, (left, top, width, height)):
        faults.append(fault(item, said))
    count = 0
    found: dict[str, Outline] = {}
    for path, matrix in placements(drawing.root, item).items():
        code, drawn = path.get("data-zone", ""), path.get("d")
        if drawn is None:
            continue  # the drawing's own faults say why
        if code in found:
            faults.append(fault(item, f"zone {code} is drawn twice. Draw its parts as one outline"))
        into_metres = np.diag([scale, scale, 1.0]) @ _moved(-left, -top) @ matrix
        try:
            found[code] = _outline(code, drawn, into_metres)
        except ValueError as error:
            faults.append(fault(item, f"zone {code}: {error}"))
            continue
        count += sum(map(len, found[code].rings))
        if count > MOST_TOGETHER:
            said = f"its outlines take more than {MOST_TOGETHER:,} points. Simplify them"
            raise SurveyError([*faults, fault(item, said)])
    if faults:
        raise SurveyError(faults)
    return found


def _moved(right: float, down: float) -> FloatArray:
    """Matrix of a shift."""
    return np.array([[1, 0, right], [0, 1, down], [0, 0, 1.0]])


def _outline(code: str, drawn: str, into_metres: FloatArray) -> Outline:
    """One outline in metres; ValueError if it is not valid."""
    scale = float(np.linalg.norm(into_metres[:2, :2], 2))
    if not scale:
        raise ValueError("its transform leaves nothing of it")
    rings = [
        ring @ into_metres[:2, :2].T + into_metres[:2, 2]
        for ring in followed(drawn, FLAT_M / scale)
    ]
    if fault_found := outline_faults(rings):
        raise ValueError(fault_found)
    return Outline(code, tuple(rings))
