"""The drawing of an elevation: its frame, and where the outlines of its zones lie."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.drawings.path_data import (
    FARTHEST,
    NEAREST,
    NUMBER,
    Box,
    FloatArray,
    matrix_of,
    within_reach,
)
from heritagecheck.survey.drawings.pictures import is_picture, picture_drawing
from heritagecheck.survey.drawings.plain_svg import MOST_BYTES, SVG, PlainDrawing, plain_drawing
from heritagecheck.survey.records import Elevation

HEAD = 16  # bytes that tell a picture from a drawing
STRETCH = 0.02  # common practice: by so much may width and height of a drawing disagree
SLENDEREST = 200  # a wall of 300 m by 3 m is a hundred times as long as it is high


def open_drawing(path: Path | None) -> PlainDrawing:
    """Drawing or picture in a file, with its faults; a file that is too large is not read."""
    if path is None:
        return PlainDrawing(ET.Element("svg"), ("this drawing is missing",), ())
    with path.open("rb") as file:
        head = file.read(HEAD)
        if not is_picture(head):
            return plain_drawing(head + file.read(MOST_BYTES + 1 - HEAD))
    about = path.stat()
    return picture_drawing(path, about.st_mtime_ns, about.st_size)


def fault(item: Elevation, allowed: str) -> Fault:
    """A fault of the drawing of an elevation."""
    return Fault("elevations", None, "drawing", item.drawing or "", allowed)


def faults_of(drawing: PlainDrawing, item: Elevation) -> list[str]:
    """Everything that prevents a drawing from being shown."""
    found = list(drawing.faults)
    for looked_at in (view_box, placements) if len(drawing.root) else ():
        try:
            looked_at(drawing.root, item)
        except SurveyError as error:
            found.extend(error.faults["allowed"])
    return found


def view_box(root: ET.Element, item: Elevation) -> Box:
    """Frame of a drawing: left, top, width, height in its own units."""
    said = root.get("viewBox", "")
    numbers = [part for part in re.split(r"[ ,]+", said) if part]
    if len(numbers) == 4 and all(
        NUMBER.fullmatch(number) and within_reach(number) for number in numbers
    ):
        left, top, width, height = (float(number) for number in numbers)
        if min(width, height) > max(NEAREST, max(width, height) / SLENDEREST):
            return left, top, width, height
    raise SurveyError(
        [fault(item, f'viewBox = "{said}" must give left, top, width and height of the '
                     'drawing in its own units, such as "0 0 2060 1600"')]
    )  # fmt: skip


def size_fault(item: Elevation, view: Box) -> str:
    """How the size of an elevation disagrees with its drawing, in words; empty if it fits."""
    if item.width_m is None or item.height_m is None:
        return ""
    fits = item.width_m * view[3] / view[2]
    if abs(item.height_m / fits - 1) <= STRETCH:
        return ""
    return (
        f"with width_m = {item.width_m:g} its height is {fits:.3g} m, but height_m = "
        f"{item.height_m:g}. Correct one of them, or the frame of the drawing"
    )


def zone_paths(root: ET.Element) -> list[ET.Element]:
    """Outlines of the zones, in the order in which they are drawn."""
    return [path for path in root.iter(f"{{{SVG}}}path") if path.get("data-zone")]


def placements(root: ET.Element, item: Elevation) -> dict[ET.Element, FloatArray]:
    """Matrix of each zone outline, from the transforms of its groups and layers."""
    parents = {child: parent for parent in root.iter() for child in parent}
    found, faults = {}, []
    for path in zone_paths(root):
        try:
            found[path] = _placement(path, root, parents)
        except ValueError as error:
            faults.append(fault(item, f"zone {path.get('data-zone')}: {error}"))
    if faults:
        raise SurveyError(faults)
    return found


def _placement(
    path: ET.Element, root: ET.Element, parents: dict[ET.Element, ET.Element]
) -> FloatArray:
    """Matrix of an outline: its own transform, then those of its ancestors."""
    matrix, element = np.eye(3), path
    while element is not root:
        tag = element.tag.rpartition("}")[2]
        if element is not path and tag != "g":
            raise ValueError(
                f"its outline lies within <{tag}>. Let it lie in the drawing itself or in groups"
            )
        matrix = matrix_of(element.get("transform", "")) @ matrix
        element = parents[element]
    if not (np.abs(matrix) < FARTHEST).all():
        raise ValueError("its groups move it too far away. Ungroup it")
    return matrix
