"""Outlines that records hold are put on the drawing of their elevation."""

from __future__ import annotations

from collections.abc import Iterable
from copy import deepcopy
from xml.etree import ElementTree as ET

import numpy as np

from heritagecheck.errors import SurveyError
from heritagecheck.survey.drawings.drawing import view_box, zone_paths
from heritagecheck.survey.drawings.outline_edits import label_point
from heritagecheck.survey.drawings.path_data import FloatArray
from heritagecheck.survey.drawings.plain_svg import SVG, PlainDrawing
from heritagecheck.survey.records import Elevation, Zone


def with_recorded(drawing: PlainDrawing, item: Elevation, zones: Iterable[Zone]) -> PlainDrawing:
    """A drawing with the outlines of records on it; they replace what it draws of these zones."""
    recorded = [zone for zone in zones if zone.outline is not None]
    if not recorded or item.width_m is None or item.height_m is None:
        return drawing
    try:
        left, top, width, height = view_box(drawing.root, item)
    except SurveyError:  # its own faults say what is wrong with the frame
        return drawing
    root = deepcopy(drawing.root)
    parents = {child: parent for parent in root.iter() for child in parent}
    codes = {zone.zone for zone in recorded}
    for path in zone_paths(root):
        if path.get("data-zone") in codes:
            parents[path].remove(path)
    scale, corner = np.array([width / item.width_m, height / item.height_m]), np.array([left, top])
    for zone in recorded:
        x, y = label_point(zone.rings) * scale + corner
        ET.SubElement(
            root,
            f"{{{SVG}}}path",
            {
                "data-zone": zone.zone,
                "data-label-x": f"{x:.9g}",
                "data-label-y": f"{y:.9g}",
                "d": "".join(_closed(ring * scale + corner) for ring in zone.rings),
                "fill": "none",
                "fill-rule": "evenodd",
                "stroke": "#1d1d1b",
            },
        )
    return PlainDrawing(root, drawing.faults, drawing.left_out)


def _closed(ring: FloatArray) -> str:
    """A ring as the steps of an outline."""
    return f"M{'L'.join(f'{x:.9g} {y:.9g}' for x, y in ring)}z"
