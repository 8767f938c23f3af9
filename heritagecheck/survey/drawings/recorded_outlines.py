"""Outlines that records hold are put on the drawing of their elevation."""

from __future__ import annotations

from collections.abc import Iterable
from copy import deepcopy
from functools import lru_cache
from xml.etree import ElementTree as ET

from heritagecheck.errors import SurveyError
from heritagecheck.survey.drawings.drawing import view_box, zone_paths
from heritagecheck.survey.drawings.outline_edits import label_point, rings_of
from heritagecheck.survey.drawings.path_data import FloatArray
from heritagecheck.survey.drawings.plain_svg import SVG, PlainDrawing
from heritagecheck.survey.records import Elevation, Zone

Place = dict[str, str]


def with_recorded(drawing: PlainDrawing, item: Elevation, zones: Iterable[Zone]) -> PlainDrawing:
    """A drawing with the outlines of records on it; they replace what it draws of these zones."""
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
    """Where an outline and its code lie, in units of the drawing."""
    rings = rings_of(outline)
    x, y = label_point(rings) * scale + corner
    steps = "".join(_closed(ring * scale + corner) for ring in rings)
    return {"data-label-x": f"{x:.9g}", "data-label-y": f"{y:.9g}", "d": steps}


def _closed(ring: FloatArray) -> str:
    """A ring as the steps of an outline."""
    return f"M{'L'.join(f'{x:.9g} {y:.9g}' for x, y in ring)}z"
