"""The drawing of an elevation: read so that nothing in it runs, its outlines followed by a pen."""

from __future__ import annotations

import cmath
import math
import re
from collections.abc import Iterator
from copy import deepcopy
from functools import lru_cache
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
from defusedxml import DefusedXmlException
from defusedxml import ElementTree as SafeET

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.records import Elevation
from heritagecheck.survey.store import Survey

FloatArray = np.ndarray[Any, np.dtype[np.float64]]
Box = tuple[float, float, float, float]

SVG = "http://www.w3.org/2000/svg"
# A style sheet in a drawing would reach beyond it: it would dress, or hide, the page around it.
RUNS_OR_LOADS = {
    "script", "style", "foreignObject", "image", "feImage", "animate", "animateMotion",
    "animateTransform", "set",
}  # fmt: skip
LOADS = re.compile(r"url\(\s*['\"]?(?!#)|javascript:|@import", re.IGNORECASE)
LENGTH = re.compile(r"\s*(\d+\.?\d*|\.\d+)\s*(px)?\s*")
NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
GAP = re.compile(r"[\s,]*")
TRANSFORM = re.compile(r"[\s,]*(\w+)\s*\(([^()]*)\)")
# How many numbers each step of an outline takes (SVG 2, section 9.3).
STEPS = {"m": 2, "l": 2, "h": 1, "v": 1, "c": 6, "s": 4, "q": 4, "t": 2, "a": 7, "z": 0}
FLAGS = (3, 4)  # of an arc: one digit each, after which no gap need stand
FARTHEST = 1e7  # units; beyond it a number is a slip, and curves would take endless points


def elevation_of(survey: Survey, code: str) -> Elevation:
    """
    Elevation by its code.

    Parameters
    ----------
    survey : Survey
        The survey.
    code : str
        Code of the elevation.

    Returns
    -------
    Elevation

    Raises
    ------
    SurveyError
        There is no such elevation; the known ones are named.
    """
    for item in survey.all(Elevation):
        if item.elevation == code:
            return item
    known = ", ".join(item.elevation for item in survey.all(Elevation))
    raise SurveyError(
        [Fault("elevations", None, "elevation", code, f"there is none. Known: {known}")]
    )


def read_drawing(survey: Survey, item: Elevation) -> ET.Element:
    """
    Drawing of an elevation, without anything that could run or load.

    Parameters
    ----------
    survey : Survey
        The survey.
    item : Elevation
        One of its elevations.

    Returns
    -------
    xml.etree.ElementTree.Element
        Its root, to be changed at will.

    Raises
    ------
    SurveyError
        The drawing is missing or no plain SVG.
    """
    path = survey.file(item.drawing)
    if path is None:
        raise SurveyError([fault(item, "this drawing is missing")])
    try:
        return deepcopy(_harmless(path.read_bytes()))
    except (ET.ParseError, DefusedXmlException, LookupError, ValueError) as error:
        raise SurveyError([fault(item, f"this is no plain SVG: {error}")]) from error


@lru_cache(maxsize=16)
def _harmless(content: bytes) -> ET.Element:
    """Read a drawing once, without what runs or loads: each zone of an elevation shows it."""
    root: ET.Element = SafeET.fromstring(content)
    for parent in list(root.iter()):
        for name in [name for name in parent.attrib if _runs_or_loads(name, parent.attrib[name])]:
            del parent.attrib[name]
        for child in list(parent):
            if isinstance(child.tag, str) and child.tag.rpartition("}")[2] in RUNS_OR_LOADS:
                parent.remove(child)
    return root


def _runs_or_loads(name: str, value: str) -> bool:
    """Whether an attribute runs a script or loads from elsewhere."""
    name = name.rpartition("}")[2].lower()
    elsewhere = name in {"href", "src"} and not value.startswith("#")
    return name.startswith("on") or elsewhere or bool(LOADS.search(value))


def fault(item: Elevation, allowed: str) -> Fault:
    """
    What is wrong with the drawing of an elevation.

    Parameters
    ----------
    item : Elevation
        The elevation.
    allowed : str
        What is wrong and what is allowed, in words.

    Returns
    -------
    Fault
    """
    return Fault("elevations", None, "drawing", item.drawing, allowed)


def view_box(root: ET.Element, item: Elevation) -> Box:
    """
    What a drawing shows: left, top, width, height in its own units.

    Parameters
    ----------
    root : xml.etree.ElementTree.Element
        Root of the drawing.
    item : Elevation
        Its elevation, for the message.

    Returns
    -------
    tuple of float
        From its viewBox, or from plain numbers or pixels as its width and height.

    Raises
    ------
    SurveyError
        It says neither, or nothing of any size.
    """
    said = root.get("viewBox")
    if said is None:
        sizes = [LENGTH.fullmatch(root.get(name, "")) for name in ("width", "height")]
        numbers = ["0", "0", *(size[1] for size in sizes if size)]
    else:
        numbers = [part for part in re.split(r"[\s,]+", said) if part]
    if len(numbers) == 4 and all(NUMBER.fullmatch(number) for number in numbers):
        left, top, width, height = (float(number) for number in numbers)
        if 0 < width < math.inf and 0 < height < math.inf:
            return left, top, width, height
    raise SurveyError(
        [fault(item, f'viewBox = "{said or ""}": it must give left, top, width and height of the '
                     'drawing in its own units, such as "0 0 2060 1600"')]
    )  # fmt: skip


def zone_paths(root: ET.Element) -> list[ET.Element]:
    """
    Outlines of the zones, in the order in which they are drawn.

    Parameters
    ----------
    root : xml.etree.ElementTree.Element
        Root of a drawing.

    Returns
    -------
    list of xml.etree.ElementTree.Element
        Its paths that name a zone.
    """
    return [path for path in root.iter(f"{{{SVG}}}path") if path.get("data-zone")]


def placements(root: ET.Element, item: Elevation) -> dict[ET.Element, FloatArray]:
    """
    Where the outlines of the zones lie: what their groups and layers do to them.

    Parameters
    ----------
    root : xml.etree.ElementTree.Element
        Root of a drawing.
    item : Elevation
        Its elevation, for the message.

    Returns
    -------
    dict of xml.etree.ElementTree.Element to numpy.ndarray, shape (3, 3)
        For each outline the matrix from its own numbers to the units of the drawing.

    Raises
    ------
    SurveyError
        An outline is moved in a way that is not followed; every one is named.
    """
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
    """Matrix of an outline: its own transform, then those of all that holds it."""
    matrix, element = np.eye(3), path
    while element is not root:
        tag = element.tag.rpartition("}")[2]
        if element is not path and tag not in {"g", "a"}:
            raise ValueError(
                f"its outline lies within <{tag}>. Let it lie in the drawing itself or in groups"
            )
        matrix = _matrix(element) @ matrix
        element = parents[element]
    if root.get("transform") is not None or "transform" in root.get("style", ""):
        raise ValueError("the whole drawing is transformed, which is not followed. Remove that")
    return matrix


def _matrix(element: ET.Element) -> FloatArray:
    """Matrix of the transform of one element."""
    if "transform" in element.get("style", ""):
        raise ValueError(
            "it is transformed by a style, which is not followed. Use the attribute transform"
        )
    said = element.get("transform", "")
    matrix, place = np.eye(3), 0
    while found := TRANSFORM.match(said, place):
        one = _one_matrix(found[1], [float(number) for number in NUMBER.findall(found[2])])
        if one is None or NUMBER.sub("", found[2]).strip(" \t\r\n,"):
            break
        matrix, place = matrix @ one, found.end()
    if said[place:].strip(" \t\r\n,") or not np.isfinite(matrix).all():
        raise ValueError(
            f'transform = "{said}" is not followed: matrix, translate, scale, rotate, skewX and '
            "skewY are"
        )
    return matrix


def _one_matrix(name: str, values: list[float]) -> FloatArray | None:
    """Matrix of one named transform (CSS Transforms 1, section 11); None for anything else."""
    angle = math.radians(values[0]) if values else 0.0
    a, b, c, d, e, f = 1.0, 0.0, 0.0, 1.0, 0.0, 0.0
    match name, values:
        case "matrix", [a, b, c, d, e, f]:
            pass
        case "translate", [e]:
            pass
        case "translate", [e, f]:
            pass
        case "scale", [a]:
            d = a
        case "scale", [a, d]:
            pass
        case "rotate", [_] | [_, _, _]:
            a, b, c, d = math.cos(angle), math.sin(angle), -math.sin(angle), math.cos(angle)
            x, y = values[1:] or (0.0, 0.0)
            e, f = x - a * x - c * y, y - b * x - d * y
        case "skewX", [_]:
            c = math.tan(angle)
        case "skewY", [_]:
            b = math.tan(angle)
        case _:
            return None
    return np.array([[a, c, e], [b, d, f], [0.0, 0.0, 1.0]])


def followed(outline: str, tolerance: float) -> list[FloatArray]:
    """
    Rings of an outline, its curves as short straight steps.

    Parameters
    ----------
    outline : str
        The attribute d of a path.
    tolerance : float
        How far a straight step may lie from its curve. [units of the drawing]

    Returns
    -------
    list of numpy.ndarray, shape (n, 2)
        One array a ring: x and y of its points in order; where it closes, the first point is not
        repeated.

    Raises
    ------
    ValueError
        The outline holds something that is no step, or a step without its numbers.

    Notes
    -----
    All steps of SVG 2 are followed, elliptical arcs by its section B.2.4. A cubic or quadratic
    curve of degree n is cut into k steps such that n (n - 1) D / (8 k²) is within the tolerance,
    D being the greatest second difference of its control points.

    Examples
    --------
    >>> [ring.tolist() for ring in followed("M0 0H2V1z", 0.01)]
    [[[0.0, 0.0], [2.0, 0.0], [2.0, 1.0]]]
    """
    rings: list[list[complex]] = []
    at = start = mirror = 0j
    before = ""
    for letter, values in _steps(outline):
        kind = letter.lower()
        if kind == "z":
            at, before = start, "z"
            continue
        base = at if letter.islower() else 0j
        if kind == "m":
            at = start = base + complex(*values)
            rings.append([at])
            before = "m"
            continue
        if before == "z":
            rings.append([at])
        # A smooth curve goes on from the last control point only after a curve of its own kind.
        held = mirror if before and before in {"s": "cs", "t": "qt"}.get(kind, "") else at
        drawn, mirror = _drawn(kind, values, at, base, held, tolerance)
        rings[-1].extend(drawn)
        at, before = drawn[-1], kind
    return [_ring(points) for points in rings if len(points) > 1]


def _ring(points: list[complex]) -> FloatArray:
    """Points as x and y; what repeats its neighbour is left out."""
    ring = np.array(points)
    ring = ring[ring != np.roll(ring, -1)] if len(set(points)) > 1 else ring[:1]
    return np.stack([ring.real, ring.imag], axis=-1)


def _drawn(
    kind: str, values: list[float], at: complex, base: complex, held: complex, tolerance: float
) -> tuple[list[complex], complex]:
    """Points that one step draws, and where the control point of a next smooth curve lies."""
    if kind == "h":
        return [complex(base.real + values[0], at.imag)], 0j
    if kind == "v":
        return [complex(at.real, base.imag + values[0])], 0j
    if kind == "a":
        end = base + complex(*values[5:])
        return _arc(at, end, values[:5], tolerance), 0j
    given = [base + complex(*values[place : place + 2]) for place in range(0, len(values), 2)]
    if kind == "l":
        return given, 0j
    controls = [at, held, *given] if kind in "st" else [at, *given]
    return _curve(controls, tolerance), 2 * controls[-1] - controls[-2]


def _curve(controls: list[complex], tolerance: float) -> list[complex]:
    """Points of a Bézier curve after its first (de Casteljau's construction)."""
    degree = len(controls) - 1
    bend = float(np.abs(np.diff(controls, 2)).max())
    count = max(1, math.ceil(math.sqrt(degree * (degree - 1) * bend / (8 * tolerance))))
    share = np.arange(1, count + 1) / count
    points = np.repeat(np.array(controls)[:, np.newaxis], count, axis=1)
    for _ in range(degree):
        points = points[:-1] * (1 - share) + points[1:] * share
    return [*points[0][:-1].tolist(), controls[-1]]


def _arc(at: complex, end: complex, values: list[float], tolerance: float) -> list[complex]:
    """Points of an elliptical arc after its first; on the unit circle of its own axes."""
    across, down, degrees, large, sweep = values
    across, down = abs(across), abs(down)
    if at == end or not across or not down:
        return [end]
    turn = cmath.rect(1, math.radians(degrees))
    half = (at - end) / 2 / turn
    unit = complex(half.real / across, half.imag / down)
    wide = abs(unit)
    if wide > 1:  # radii too short to reach are stretched until they do
        across, down, unit, wide = across * wide, down * wide, unit / wide, 1.0
    side = 1 if bool(large) != bool(sweep) else -1
    centre = side * math.sqrt(max(0.0, 1 / wide**2 - 1)) * -1j * unit
    first = cmath.phase(unit - centre)
    angle = (cmath.phase(-unit - centre) - first) % (2 * math.pi)
    angle -= 0 if sweep else 2 * math.pi
    # A chord of the angle v lies r (1 - cos(v / 2)) from its arc, which is less than r v² / 8.
    step = math.sqrt(8 * tolerance / max(across, down))
    count = max(1, math.ceil(abs(angle) / step))
    turned = np.exp(1j * (first + angle * np.arange(1, count) / count)) + centre
    points = (at + end) / 2 + turn * (turned.real * across + 1j * turned.imag * down)
    return [*points.tolist(), end]


def _steps(outline: str) -> Iterator[tuple[str, list[float]]]:
    """Steps of an outline one by one: letter and numbers."""
    place, letter = _after_gap(outline, 0), ""
    if outline[place : place + 1] not in {"M", "m"}:
        raise ValueError(f'it begins with "{outline[place : place + 12]}", not with a move M or m')
    while place < len(outline):
        if outline[place].isalpha():
            letter = outline[place]
            place = _after_gap(outline, place + 1)
        elif letter in {"Z", "z"}:
            raise ValueError(f'"{outline[place : place + 12]}" stands where a step should begin')
        elif letter in {"M", "m"}:
            letter = "L" if letter == "M" else "l"  # more points after a move are lines
        if letter.lower() not in STEPS:
            raise ValueError(f'"{letter}" is no step: {" ".join(STEPS).upper()} are followed')
        values: list[float] = []
        for number in range(STEPS[letter.lower()]):
            value, place = _number(outline, place, flag=letter in "aA" and number in FLAGS)
            values.append(value)
        yield letter, values


def _after_gap(outline: str, place: int) -> int:
    """Place after blanks and commas."""
    gap = GAP.match(outline, place)
    return place if gap is None else gap.end()


def _number(outline: str, place: int, *, flag: bool) -> tuple[float, int]:
    """One number of an outline, and the place after it."""
    if flag and outline[place : place + 1] in {"0", "1"}:
        return float(outline[place]), _after_gap(outline, place + 1)
    found = None if flag else NUMBER.match(outline, place)
    if found is None or not abs(float(found[0])) < FARTHEST:
        rest = outline[place : place + 12] or "its end"
        raise ValueError(f'a number of a step is missing or too large at "{rest}"')
    return float(found[0]), _after_gap(outline, found.end())
