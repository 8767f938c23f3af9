"""The elevations, each zone coloured and hatched by its outcome."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from copy import deepcopy
from functools import cache
from xml.etree import ElementTree as ET

import numpy as np
from defusedxml import ElementTree as SafeET

from heritagecheck.cards import Picture
from heritagecheck.errors import Fault, SurveyError
from heritagecheck.figures.svg import FACE
from heritagecheck.judgement.recommendation import OUTCOMES, Assessment, Recommendation
from heritagecheck.survey.drawing import (
    SVG,
    Box,
    FloatArray,
    elevation_of,
    followed,
    placements,
    read_drawing,
    view_box,
)
from heritagecheck.survey.records import Elevation, Zone
from heritagecheck.survey.store import Survey

# Four hues that colour-blind readers tell apart by lightness, and four hatches for grey print.
FILLS = {
    "clean": "#1f6f8b",
    "trial first": "#d9a441",
    "leave and monitor": "#9a86b8",
    "leave": "#e4dfd3",
}
HATCHES = {
    "clean": '<path d="M0 24L24 0M-6 6L6 -6M18 30L30 18" stroke="#fff" stroke-width="3"/>',
    "trial first": '<circle cx="6" cy="6" r="2.6" fill="#3b2c08"/>'
    '<circle cx="18" cy="18" r="2.6" fill="#3b2c08"/>',
    "leave and monitor": '<path d="M0 6H24M0 18H24" stroke="#2f2145" stroke-width="1.8"/>',
    "leave": "",
}
CARRIED = ("fill", "stroke", "stroke-width", "stroke-linecap", "stroke-linejoin", "font-family")
LABELS_A_WIDTH = 70
MARGIN = 0.35
WIDEST = 0.34
COARSE = 1.0  # units: near enough for the box around an outline
# Most of a drawing is straight lines, rectangles and rivets, whose box needs no step followed.
_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)"
_NUMBERS = re.compile(_NUMBER)
_LINES = re.compile(r"M[-+.,\s\d]+(?:L[-+.,\s\d]+)+[zZ]?\s*")
_RECTANGLE = re.compile(rf"M({_NUMBER}) ({_NUMBER})h({_NUMBER})v({_NUMBER})h-\3z\s*")
_RIVET = re.compile(
    rf"M({_NUMBER}) ({_NUMBER})a({_NUMBER}) \3 0 1 0 ({_NUMBER}) 0a\3 \3 0 1 0 -\4 0z\s*"
)


def draw_elevation(
    assessment: Assessment, elevation: str, zone: str | None = None, *, link: str = ""
) -> Picture:
    """
    One elevation, coloured and hatched by outcome.

    Parameters
    ----------
    assessment : Assessment
        What was recommended.
    elevation : str
        Code of the elevation.
    zone : str, optional
        Zone to be lit; the others then fade.
    link : str
        Where a click on a zone leads, before its code, such as ``"#sheet-"``.

    Returns
    -------
    Picture

    Raises
    ------
    SurveyError
        There is no such elevation, or its drawing is missing or no SVG.
    """
    item = elevation_of(assessment.survey, elevation)
    root = read_drawing(assessment.survey, item)
    found = {one.zone: one for one in assessment.recommendations}
    parents = {child: parent for parent in root.iter() for child in parent}
    size = max(24.0, view_box(root, item)[2] / LABELS_A_WIDTH)
    plates: list[ET.Element] = []
    for path, matrix in placements(root, item).items():
        code = path.get("data-zone", "")
        if code not in found:
            continue
        shown = _coloured(path, found[code], elevation, zone)
        _replace(parents[path], path, shown, f"{link}{code}" if link else "")
        if zone is None or code == zone:
            x, y = _mark(path, matrix)
            plates.extend(_label(code, x, y, size, urgent=bool(found[code].urgency)))
    # On top of all zones, and transparent to a click, which is meant for the zone beneath.
    over = ET.SubElement(root, f"{{{SVG}}}g", {"pointer-events": "none"})
    over.extend(plates)
    root.insert(0, _hatches(elevation))
    counts = ", ".join(
        f"{outcome}: {' '.join(codes)}"
        for outcome in OUTCOMES
        if (codes := [c for c, one in found.items() if one.outcome == outcome
                      and one.evidence.zone.elevation == elevation])
    )  # fmt: skip
    return Picture(_text(root), f"{item.name}. {counts}")


def draw_locator(survey: Survey, zone: str) -> Picture:
    """
    Outlines of an elevation with one zone filled, small enough for the head of a page.

    Parameters
    ----------
    survey : Survey
        The survey.
    zone : str
        Code of the zone.

    Returns
    -------
    Picture

    Raises
    ------
    SurveyError
        The zone has no elevation with a drawing.
    """
    item = elevation_of(survey, _zone(survey, zone).elevation)
    return Picture(_outlines(survey, item, {zone}), f"{zone} on {item.name}")


def draw_outcome(assessment: Assessment, elevation: str, outcome: str) -> Picture:
    """
    Outlines of an elevation with the zones of one outcome filled.

    Parameters
    ----------
    assessment : Assessment
        What was recommended.
    elevation : str
        Code of the elevation.
    outcome : str
        One of the four outcomes.

    Returns
    -------
    Picture

    Raises
    ------
    SurveyError
        There is no such elevation, or its drawing is missing or no SVG.
    """
    item = elevation_of(assessment.survey, elevation)
    codes = [
        one.zone
        for one in assessment.recommendations
        if one.outcome == outcome and one.evidence.zone.elevation == elevation
    ]
    return Picture(
        _outlines(assessment.survey, item, codes),
        f"{item.name}, {outcome}: {' '.join(codes) or 'no zone'}",
    )


def draw_detail(survey: Survey, zone: str, *, ground: str = "") -> Picture:
    """
    The drawing around one zone, with its outline.

    Parameters
    ----------
    survey : Survey
        The survey.
    zone : str
        Code of the zone.
    ground : str
        Name under which the page holds the bare drawing already (see `draw_ground`); it is then
        pointed to, not repeated.

    Returns
    -------
    Picture
        The part of the drawing that holds the zone, in the shape of four by three.

    Raises
    ------
    SurveyError
        The zone has no elevation with a drawing.
    """
    item = elevation_of(survey, _zone(survey, zone).elevation)
    root = read_drawing(survey, item)
    window = _window(root, item, zone)
    outlines = "".join(
        f'<path d="{path.get("d")}" fill="none" fill-rule="evenodd" stroke="#1d1d1b" '
        f"{_stroke(window[2] / 90, matrix)}/>"
        for path, matrix in placements(root, item).items()
        if path.get("data-zone") == zone
    )
    if ground:
        inner = f'<use href="#{ground}"/>'
    else:
        _crop_all(root, window)
        inner = _inner(root)
    box = " ".join(f"{number:g}" for number in window)
    return Picture(
        f'<svg xmlns="{SVG}" viewBox="{box}">{inner}{outlines}</svg>',
        f"{zone} as drawn, with its outline",
    )


def draw_ground(survey: Survey, elevation: str, name: str) -> Picture:
    """
    The bare drawing of an elevation under a name, for `draw_detail` to point to.

    Parameters
    ----------
    survey : Survey
        The survey.
    elevation : str
        Code of the elevation.
    name : str
        Name under which the page holds it.

    Returns
    -------
    Picture
        It takes no room itself.

    Raises
    ------
    SurveyError
        There is no such elevation, or its drawing is missing or no SVG.
    """
    item = elevation_of(survey, elevation)
    inner = _inner(read_drawing(survey, item))
    return Picture(
        f'<svg xmlns="{SVG}" width="0" height="0" style="position:absolute" aria-hidden="true">'
        f'<g id="{name}">{inner}</g></svg>',
        "",
    )


def draw_key(outcome: str) -> Picture:
    """
    Key of one outcome: its colour and hatch.

    Parameters
    ----------
    outcome : str
        One of the four outcomes.

    Returns
    -------
    Picture
    """
    # A drawing in the drawing cuts the hatch off at the edge; it needs no name, which a page
    # with many keys would repeat.
    return Picture(
        f'<svg xmlns="{SVG}" viewBox="0 0 48 30" width="30" height="19">'
        f'<svg x="1" y="1" width="46" height="28" viewBox="0 0 46 28" overflow="hidden">'
        f'<rect width="46" height="28" fill="{FILLS[outcome]}"/>{_tiles(outcome)}</svg>'
        f'<rect x="1" y="1" width="46" height="28" fill="none" stroke="#1d1d1b" '
        f'stroke-width="1.5"/></svg>',
        outcome,
    )


def _tiles(outcome: str) -> str:
    """Hatch of an outcome over a field of two tiles by two."""
    if not HATCHES[outcome]:
        return ""
    places = ((0, 0), (24, 0), (0, 24), (24, 24))
    return "".join(f'<g transform="translate({x} {y})">{HATCHES[outcome]}</g>' for x, y in places)


def _zone(survey: Survey, code: str) -> Zone:
    """Zone by its code."""
    for zone in survey.all(Zone):
        if zone.zone == code:
            return zone
    raise SurveyError([Fault("zones", None, "zone", code, "there is none")])


def _coloured(
    path: ET.Element, one: Recommendation, elevation: str, zone: str | None
) -> list[ET.Element]:
    """Outline of a zone in the colour of its outcome, and the same outline in its hatch."""
    lit = zone is None or one.zone == zone
    hatch = deepcopy(path)
    path.set("fill", FILLS[one.outcome])
    path.set("fill-opacity", "0.66" if lit else "0.15")
    path.set("stroke", "#1d1d1b")
    path.set("stroke-width", "5" if one.zone == zone else "2")
    urgent = f", {one.urgency}" if one.urgency else ""
    title = ET.SubElement(path, f"{{{SVG}}}title")
    title.text = f"{one.zone} {one.name}: {one.outcome}{urgent}"
    # The hatch lies apart from the colour: tiles that carry both show seams in print.
    hatch.attrib.pop("id", None)
    hatch.attrib.pop("data-zone", None)
    hatch.set("fill", f"url(#{elevation}-{one.outcome.replace(' ', '-')})")
    hatch.set("fill-opacity", "0.8" if lit else "0.2")
    hatch.set("stroke", "none")
    hatch.set("pointer-events", "none")
    return [path, hatch] if HATCHES[one.outcome] else [path]


def _replace(
    parent: ET.Element, path: ET.Element, shown: Iterable[ET.Element], address: str
) -> None:
    """Put what is shown of a zone where its outline was, as a link where one is asked."""
    place = list(parent).index(path)
    tag, given = ("a", {"href": address}) if address else ("g", {})
    group = ET.Element(f"{{{SVG}}}{tag}", given)
    group.extend(shown)
    parent.remove(path)
    parent.insert(place, group)


def _mark(path: ET.Element, matrix: FloatArray) -> tuple[float, float]:
    """Where the code of a zone is written, in units of the drawing."""
    x, y, _ = matrix @ (
        float(path.get("data-label-x", "0")),
        float(path.get("data-label-y", "0")),
        1,
    )
    return float(x), float(y)


def _stroke(width: float, matrix: FloatArray) -> str:
    """Width of an outline's stroke, and its place where groups that held it moved it."""
    if (matrix == np.eye(3)).all():
        return f'stroke-width="{width:.3g}"'
    moved = " ".join(f"{number:.9g}" for number in matrix[:2].T.ravel())
    width /= float(np.sqrt(abs(np.linalg.det(matrix)))) or 1.0
    return f'stroke-width="{width:.3g}" transform="matrix({moved})"'


def _label(code: str, x: float, y: float, size: float, *, urgent: bool) -> Iterable[ET.Element]:
    """Code of a zone on a light plate; an urgent one stands in a dark ring with a mark."""
    plate = ET.Element(
        f"{{{SVG}}}rect",
        {
            "x": f"{x - 1.2 * size:g}", "y": f"{y - 0.7 * size:g}", "width": f"{2.4 * size:g}",
            "height": f"{1.25 * size:g}", "rx": "4", "fill": "#fff", "fill-opacity": "0.92",
            "stroke": "#1d1d1b" if urgent else "none", "stroke-width": "4",
        },
    )  # fmt: skip
    text = ET.Element(
        f"{{{SVG}}}text",
        {
            "x": f"{x:g}", "y": f"{y + 0.28 * size:g}", "font-size": f"{size:g}",
            "font-family": FACE, "text-anchor": "middle",
            "fill": "#1d1d1b",
        },
    )  # fmt: skip
    text.text = f"{code}!" if urgent else code
    return (plate, text)


def _outlines(survey: Survey, item: Elevation, lit: Collection[str]) -> str:
    """Outlines of all zones of an elevation, some of them filled."""
    root = read_drawing(survey, item)
    paths = [
        f'<path d="{path.get("d")}" fill="{"#1d1d1b" if path.get("data-zone") in lit else "#fff"}"'
        f' fill-rule="evenodd" stroke="#8b877e" {_stroke(6, matrix)}/>'
        for path, matrix in placements(root, item).items()
    ]
    box = " ".join(f"{number:g}" for number in view_box(root, item))
    return f'<svg xmlns="{SVG}" viewBox="{box}">{"".join(paths)}</svg>'


def _window(root: ET.Element, item: Elevation, zone: str) -> Box:
    """Part of a drawing around a zone: left, top, width, height; never beyond its edges."""
    left, top, width, height = view_box(root, item)
    path, matrix = next(
        (path, matrix)
        for path, matrix in placements(root, item).items()
        if path.get("data-zone") == zone
    )
    try:
        rings = followed(path.get("d", ""), COARSE)
    except (
        ValueError
    ):  # the picture is drawn whole; `heritagecheck.survey.geometry` says what ails it
        return left, top, width, height
    if not rings:
        return left, top, width, height
    points = np.concatenate(rings) @ matrix[:2, :2].T + matrix[:2, 2]
    (x1, y1), (x2, y2) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    wide = max((1 + MARGIN) * (x2 - x1), (1 + MARGIN) * (y2 - y1) * 4 / 3, width / 5)
    # A zone that runs far is shown in part, around its mark; the locator shows all of it.
    x, y = (x1 + x2) / 2, (y1 + y2) / 2
    if wide > WIDEST * width and path.get("data-label-x") and path.get("data-label-y"):
        x, y = _mark(path, matrix)
    wide = min(wide, WIDEST * width, height * 4 / 3)
    high = wide * 3 / 4
    x = min(max(x - wide / 2, left), left + width - wide)
    y = min(max(y - high / 2, top), top + height - high)
    return x, y, wide, high


@cache
def _parts(outline: str) -> tuple[tuple[str, Box], ...]:
    """Parts of an outline, each with its box; none where it holds steps that are not followed."""
    found = []
    for part in re.findall(r"^[^M]+|M[^M]*", outline.strip()):
        try:
            box = _box_of_plain(part) or _box_of_rings(part)
        except ValueError:
            return ()
        if box:
            found.append((part, box))
    return tuple(found)


def _box_of_plain(part: str) -> Box | None:
    """Ends of a part that is straight lines, one rectangle or one rivet; None of any other."""
    if _LINES.fullmatch(part):
        numbers = [float(number) for number in _NUMBERS.findall(part)]
        if len(numbers) % 2:
            return None
        across, down = numbers[::2], numbers[1::2]
        return min(across), min(down), max(across), max(down)
    if found := _RECTANGLE.fullmatch(part):
        x, y, wide, high = map(float, found.groups())
        return min(x, x + wide), min(y, y + high), max(x, x + wide), max(y, y + high)
    if found := _RIVET.fullmatch(part):
        x, y, radius, wide = map(float, found.groups())
        if wide == 2 * radius:
            return x, y - radius, x + wide, y + radius
    return None


def _box_of_rings(part: str) -> Box | None:
    """Ends of a part whose steps are followed; None where it shows nothing."""
    rings = followed(part, COARSE)
    if not rings:
        return None
    points = np.concatenate(rings)
    (x1, y1), (x2, y2) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return x1, y1, x2, y2


def _crop(element: ET.Element, window: Box) -> str | None:
    """Those parts of an outline that touch a window; None where its parts are not known."""
    parts = _parts(element.get("d", ""))
    if not parts or element.get("transform") is not None:
        return None
    left, top, width, height = window
    return "".join(
        part
        for part, (x1, y1, x2, y2) in parts
        if x2 >= left and x1 <= left + width and y2 >= top and y1 <= top + height
    )


def _crop_all(root: ET.Element, window: Box) -> None:
    """Leave out what lies outside a window, so that it need not be carried."""
    if any(element.get("transform") for element in root.iter()):
        return  # what its groups move is not followed
    for parent in list(root.iter()):
        for child in list(parent):
            outline = _crop(child, window)
            if outline == "":
                parent.remove(child)
            elif outline is not None:
                child.set("d", outline)


def _inner(root: ET.Element) -> str:
    """What a drawing shows, without its zones, title and names that nothing uses."""
    used = set(re.findall(r"#([^\s\"')]+)", _text(root)))
    for parent in list(root.iter()):
        if parent.get("id") not in used:
            parent.attrib.pop("id", None)
        for child in list(parent):
            if child.get("data-zone") or child.tag in {f"{{{SVG}}}title", f"{{{SVG}}}desc"}:
                parent.remove(child)
    caps = {name: root.attrib[name] for name in CARRIED if name in root.attrib}
    group = ET.Element(f"{{{SVG}}}g", caps)
    group.extend(list(root))
    return _text(group).replace(f' xmlns="{SVG}"', "")


def _hatches(prefix: str) -> ET.Element:
    """Hatches of the outcomes as fill patterns."""
    patterns = "".join(
        f'<pattern id="{prefix}-{outcome.replace(" ", "-")}" width="24" height="24" '
        f'patternUnits="userSpaceOnUse">{hatch}</pattern>'
        for outcome, hatch in HATCHES.items()
        if hatch
    )
    element: ET.Element = SafeET.fromstring(f'<defs xmlns="{SVG}">{patterns}</defs>')
    return element


def _text(root: ET.Element) -> str:
    """SVG as text, in the plain namespace that HTML takes inline."""
    ET.register_namespace("", SVG)
    return ET.tostring(root, encoding="unicode")
