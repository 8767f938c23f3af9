"""Zones as they are drawn on an elevation: their outlines in metres."""

from __future__ import annotations

import numpy as np

from heritagecheck.errors import SurveyError
from heritagecheck.survey.drawings.drawing import fault, placements, stretched, view_box
from heritagecheck.survey.drawings.elevations import drawing_of, elevation_of, size_m
from heritagecheck.survey.drawings.outline import Outline
from heritagecheck.survey.drawings.outline_edits import outline_faults
from heritagecheck.survey.drawings.path_data import FloatArray, followed
from heritagecheck.survey.survey import Survey

FLAT_M = 0.001  # how far a straight step may lie from its curve
MOST_TOGETHER = 100_000  # points of all outlines of a drawing, with curves cut


def outlines(survey: Survey, elevation: str) -> dict[str, Outline]:
    """Outlines of the zones of an elevation, as its drawing gives them."""
    item = elevation_of(survey, elevation)
    drawing = drawing_of(survey, item)
    faults = [fault(item, said) for said in drawing.faults]
    if faults and not len(drawing.root):
        raise SurveyError(faults)
    left, top, width, height = view_box(drawing.root, item)
    scale = size_m(item)[0] / width
    if said := stretched(item, (left, top, width, height)):
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
    """One outline in metres, or why it will not do."""
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
