"""Location of a zone: its place on the elevation, and the drawing around it, to scale."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Collection, Mapping
from functools import cache, lru_cache
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import numpy as np

from heritagecheck.cards import Picture
from heritagecheck.errors import Fault, SurveyError
from heritagecheck.figures.svg import DARK, FACE, LIGHT, LINE, element, number, path, text
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.survey.drawings.drawing import placements, view_box
from heritagecheck.survey.drawings.elevations import elevation_of, read_drawing, size_m
from heritagecheck.survey.drawings.path_data import Box, FloatArray, box_around, followed
from heritagecheck.survey.drawings.pictures import IMAGE, JPEG_ADDRESS, address_of, as_jpeg
from heritagecheck.survey.drawings.plain_svg import SVG, renamed
from heritagecheck.survey.records import Elevation, Zone
from heritagecheck.survey.survey import Survey

if TYPE_CHECKING:
    from PIL.Image import Image

CARRIED = ("fill", "stroke", "stroke-width", "stroke-linecap", "stroke-linejoin", "font-family")
MARGIN = 0.35
WIDEST, WIDEST_ON_PHOTOGRAPH = 0.34, 0.7  # of a drawing: words and joints of one stay legible
SMALL = 0.16  # of the width of a drawing: a zone below that is ringed, or nobody finds it
BARS_M = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
LONGEST_BAR = 0.3  # of the width of a detail
COARSE = 1.0  # units: near enough for the box around an outline
LETTERS = 14.0  # of them make the width of a detail: on paper they are 9 pt high
Placed = Mapping[ET.Element, FloatArray]


def draw_locator(survey: Survey, zone: str) -> Picture | None:
    """Outlines of an elevation with one zone filled; a small one is ringed."""
    item = elevation_of(survey, _zone(survey, zone).elevation)
    if item.drawing is None:
        return None
    root = read_drawing(survey, item)
    placed = placements(root, item)
    if not _of(placed, zone):
        return None
    view = view_box(root, item)
    box = _box(_of(placed, zone))
    ring = _ring(box, view) if box else ""
    return Picture(_outlines(root, placed, view, {zone}, ring), f"{zone} on {item.name}")


def draw_outcome(assessment: Assessment, elevation: str, outcome: str) -> Picture:
    """Outlines of an elevation with the zones of one outcome filled."""
    item = elevation_of(assessment.survey, elevation)
    codes = [
        one.zone
        for one in assessment.recommendations
        if one.outcome == outcome and one.evidence.zone.elevation == elevation
    ]
    root = read_drawing(assessment.survey, item)
    return Picture(
        _outlines(root, placements(root, item), view_box(root, item), codes),
        f"{item.name}, {outcome}: {' '.join(codes) or 'no zone'}",
    )


def draw_detail(survey: Survey, zone: str, *, ground: str = "") -> Picture | None:
    """The drawing around one zone, with its outline and a bar of known length."""
    item = elevation_of(survey, _zone(survey, zone).elevation)
    if item.drawing is None:
        return None
    root = read_drawing(survey, item)
    placed = _of(placements(root, item), zone)
    if not placed:
        return None
    view, box = view_box(root, item), _box(placed)
    picture = ground_of(root)
    window = _window(placed, view, box, WIDEST if picture is None else WIDEST_ON_PHOTOGRAPH)
    width = window[2] / (90 if picture is None else 130)
    outlines = "".join(
        f'<path d="{outline.get("d")}" fill="none" fill-rule="evenodd" stroke="{colour}" '
        f"{_stroke(wide, matrix)}/>"
        for colour, wide in ([] if picture is None else [(LIGHT, CASING * width)]) + [(DARK, width)]
        for outline, matrix in placed.items()
    )
    if ground:
        inner = f'<use href="#{ground}"/>'
    else:
        crop_all(root, window, window[2] / LETTERS)
        if picture is not None:
            crop(picture, window)
        inner = _inner(root)
    bar, length_m = _bar(window, view[2] / size_m(item)[0])
    corners = " ".join(f"{one:g}" for one in window)
    return Picture(
        f'<svg xmlns="{SVG}" viewBox="{corners}">{inner}{outlines}{bar}</svg>',
        f"{zone} as drawn, with its outline. Bar: {length_m:g} m."
        + (_height(box, view, item) if box else ""),
    )


def draw_ground(survey: Survey, elevation: str, name: str) -> Picture:
    """The bare drawing of an elevation under a name, for `draw_detail` to point to."""
    item = elevation_of(survey, elevation)
    root = read_drawing(survey, item)
    renamed(root, f"{name}-")  # the page holds the drawing a second time, with its outcomes
    inner = _inner(root)
    return Picture(
        f'<svg xmlns="{SVG}" width="0" height="0" style="position:absolute" aria-hidden="true">'
        f'<g id="{name}">{inner}</g></svg>',
        "",
    )


def _zone(survey: Survey, code: str) -> Zone:
    """Zone by its code."""
    for zone in survey.all(Zone):
        if zone.zone == code:
            return zone
    raise SurveyError([Fault("zones", None, "zone", code, "there is none")])


def _of(placed: Placed, zone: str) -> dict[ET.Element, FloatArray]:
    """Outlines of one zone."""
    return {one: matrix for one, matrix in placed.items() if one.get("data-zone") == zone}


def _box(placed: Placed) -> Box | None:
    """Ends of outlines: left, top, right, bottom; None where one can't be followed or is empty."""
    points = []
    for outline, matrix in placed.items():
        try:
            rings = followed(outline.get("d", ""), COARSE)
        except ValueError:  # `heritagecheck.survey.drawings.elevations` says what ails it
            return None
        points += [ring @ matrix[:2, :2].T + matrix[:2, 2] for ring in rings]
    if not points:
        return None
    every = np.concatenate(points)
    (x1, y1), (x2, y2) = every.min(axis=0).tolist(), every.max(axis=0).tolist()
    return x1, y1, x2, y2


def _outlines(
    root: ET.Element, placed: Placed, view: Box, lit: Collection[str], beside: str = ""
) -> str:
    """Outlines of all zones of an elevation, some of them filled, over a photograph if any."""
    ground = ground_of(root)
    empty, edge = ("#fff", LINE) if ground is None else ("none", DARK)
    paths = [
        f'<path d="{one.get("d")}" fill="{DARK if one.get("data-zone") in lit else empty}"'
        f' fill-rule="evenodd" stroke="{edge}" {_stroke(view[2] / 250, matrix)}/>'
        for one, matrix in placed.items()
    ]
    box = " ".join(f"{one:g}" for one in view)
    beneath = small_ground(ground) if ground is not None else ""
    return f'<svg xmlns="{SVG}" viewBox="{box}">{beneath}{"".join(paths)}{beside}</svg>'


def _ring(box: Box, view: Box) -> str:
    """Ring around a zone that is small on its elevation; it stays within the drawing."""
    x1, y1, x2, y2 = box
    left, top, width, height = view
    if max(x2 - x1, y2 - y1) > SMALL * width:
        return ""
    radius = max(0.8 * max(x2 - x1, y2 - y1), SMALL * width / 2)
    x = min(max((x1 + x2) / 2, left + 1.1 * radius), left + width - 1.1 * radius)
    y = min(max((y1 + y2) / 2, top + 1.1 * radius), top + height - 1.1 * radius)
    return element(
        "circle", cx=x, cy=y, r=radius, fill="none", stroke=DARK, stroke_width=width / 100
    )


def _window(placed: Placed, view: Box, box: Box | None, widest: float) -> Box:
    """Part of a drawing around a zone: left, top, width, height; never beyond its edges."""
    left, top, width, height = view
    if box is None:
        return view
    x1, y1, x2, y2 = box
    wide = max((1 + MARGIN) * (x2 - x1), (1 + MARGIN) * (y2 - y1) * 4 / 3, width / 5)
    # A zone that runs far is shown in part, around its mark; the locator shows all of it.
    x, y = (x1 + x2) / 2, (y1 + y2) / 2
    outline, matrix = next(iter(placed.items()))
    if wide > widest * width and outline.get("data-label-x") and outline.get("data-label-y"):
        x, y = mark_of(outline, matrix)
    wide = min(wide, widest * width, height * 4 / 3)
    high = wide * 3 / 4
    x = min(max(x - wide / 2, left), left + width - wide)
    y = min(max(y - high / 2, top), top + height - high)
    return x, y, wide, high


def _bar(window: Box, units_a_metre: float) -> tuple[str, float]:
    """Bar of a round length at the lower left of a window, with its length, and that in metres."""
    left, top, width, height = window
    fitting = [one for one in BARS_M if one * units_a_metre <= LONGEST_BAR * width]
    length_m = max(fitting, default=BARS_M[0])
    long, high = length_m * units_a_metre, width / LETTERS
    x, foot = left + high / 2, top + height - high / 2
    words = f"{length_m:g} m"
    plate = element(
        "rect", x=x - high / 4, y=foot - 1.5 * high, width=max(long, 2.9 * high) + high / 2,
        height=1.75 * high, fill=LIGHT, fill_opacity=0.9,
    )  # fmt: skip
    drawn = path(
        f"M{number(x)} {number(foot - high / 4)}V{number(foot)}H{number(x + long)}"
        f"V{number(foot - high / 4)}",
        stroke=DARK, stroke_width=high / 9,
    )  # fmt: skip
    said = text(x, foot - 0.4 * high, words, font_size=high, font_family=FACE, fill=DARK)
    return plate + drawn + said, length_m


def _height(box: Box, view: Box, item: Elevation) -> str:
    """Height of a zone above the ground, as drawn."""
    metres = size_m(item)[1] / view[3]
    low, high = ((view[1] + view[3] - y) * metres for y in (box[3], box[1]))
    return f" The zone lies {low:.1f} to {high:.1f} m above the foot of the drawing."


def mark_of(outline: ET.Element, matrix: FloatArray) -> tuple[float, float]:
    """Where the code of a zone is written."""
    x, y, _ = matrix @ (
        float(outline.get("data-label-x", "0")),
        float(outline.get("data-label-y", "0")),
        1,
    )
    return float(x), float(y)


def _stroke(width: float, matrix: FloatArray) -> str:
    """Width of an outline's stroke, and its place where groups that held it moved it."""
    if (matrix == np.eye(3)).all():
        return f'stroke-width="{width:.3g}"'
    moved = " ".join(f"{one:.9g}" for one in matrix[:2].T.ravel())
    width /= float(np.sqrt(abs(np.linalg.det(matrix)))) or 1.0
    return f'stroke-width="{width:.3g}" transform="matrix({moved})"'


def _inner(root: ET.Element) -> str:
    """What a drawing shows, without its zones and titles."""
    leave_out_zones(root)
    caps = {name: root.attrib[name] for name in CARRIED if name in root.attrib}
    group = ET.Element(f"{{{SVG}}}g", caps)
    group.extend(list(root))
    return as_text(group).replace(f' xmlns="{SVG}"', "")


def leave_out_zones(root: ET.Element) -> None:
    """Take zones and titles off a drawing."""
    for parent in list(root.iter()):
        for child in list(parent):
            if child.get("data-zone") or child.tag in {f"{{{SVG}}}title", f"{{{SVG}}}desc"}:
                parent.remove(child)


def as_text(root: ET.Element) -> str:
    """SVG as text, in the plain namespace that HTML takes inline."""
    ET.register_namespace("", SVG)
    return ET.tostring(root, encoding="unicode")


# Most of a drawing is straight lines, rectangles and rivets, whose box needs no step followed.
_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)"
_NUMBERS = re.compile(_NUMBER)
_LINES = re.compile(r"M[-+.,\s\d]+(?:L[-+.,\s\d]+)+[zZ]?\s*")
_RECTANGLE = re.compile(rf"M({_NUMBER}) ({_NUMBER})h({_NUMBER})v({_NUMBER})h-\3z\s*")
_RIVET = re.compile(
    rf"M({_NUMBER}) ({_NUMBER})a({_NUMBER}) \3 0 1 0 ({_NUMBER}) 0a\3 \3 0 1 0 -\4 0z\s*"
)


def crop_all(root: ET.Element, window: Box, least: float) -> None:
    """Leave out what is outside a window, or too small to read there."""
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag == f"{{{SVG}}}text" and not _to_be_read(child, window, least):
                parent.remove(child)
    if any(element.get("transform") for element in root.iter()):
        return  # what its groups move is not followed
    for parent in list(root.iter()):
        for child in list(parent):
            outline = _crop(child, window)
            if outline == "":
                parent.remove(child)
            elif outline is not None:
                child.set("d", outline)


def _to_be_read(words: ET.Element, window: Box, least: float) -> bool:
    """Whether words on a drawing are large enough, and begin within a window."""
    left, top, width, height = window
    x, y, high = (_length(words, name) for name in ("x", "y", "font-size"))
    return high >= least and left <= x <= left + width and top <= y <= top + height


def _length(element: ET.Element, name: str) -> float:
    """A plain length of an element; none counts as nothing."""
    found = re.fullmatch(rf"({_NUMBER})(?:px)?", element.get(name, ""))
    return float(found[1]) if found else 0.0


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


@cache
def _parts(outline: str) -> tuple[tuple[str, Box], ...]:
    """Parts of an outline, each with its box; none where it holds steps that are not followed."""
    found = []
    for part in re.findall(r"^[^M]+|M[^M]*", outline.strip()):
        try:
            box = _box_of_plain(part) or box_around(part)
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


# -- A photograph of an elevation beneath its zones ------------------------------------------------

THUMBNAIL = 400  # pixels of the longer side where only the place of a zone is shown
PART = 700  # pixels of the longer side of a part: on paper 60 mm wide, some 300 an inch
PALE = 0.45  # share of white in a pale copy, on which dark lines and hatches show
CASING = 2.4  # of the width of a line: white beneath it, so that it shows on dark stone


def ground_of(root: ET.Element) -> ET.Element | None:
    """Picture beneath the zones of a drawing, where it is a photograph or a scan."""
    return root.find(IMAGE)


def quieten(ground: ET.Element) -> None:
    """Make the picture of a drawing grey and pale, so that colours of outcomes show on it."""
    ground.set("href", _quiet(ground.get("href", ""), None))


def small_ground(ground: ET.Element) -> str:
    """Small grey picture of the same frame."""
    width, height = _size(ground)
    return element(
        "image", x=0.0, y=0.0, width=width, height=height,
        href=_quiet(ground.get("href", ""), THUMBNAIL), preserveAspectRatio="none",
    )  # fmt: skip


def crop(ground: ET.Element, window: Box) -> None:
    """Crop a picture to a window."""
    address, part = _part(ground.get("href", ""), _size(ground), window)
    left, top, width, height = part
    for name, value in (("x", left), ("y", top), ("width", width), ("height", height)):
        ground.set(name, f"{value:g}")
    ground.set("href", address)


def _size(ground: ET.Element) -> tuple[float, float]:
    """Width and height of a picture in units of its drawing."""
    return float(ground.get("width", "0")), float(ground.get("height", "0"))


def _opened(address: str) -> Image:
    """Picture that an address carries: one of our own."""
    from PIL import Image

    return Image.open(io.BytesIO(base64.b64decode(address.removeprefix(JPEG_ADDRESS))))


@lru_cache(maxsize=16)
def _quiet(address: str, most: int | None) -> str:
    """Grey and pale copy of a picture, reduced where that is wanted."""
    image = _opened(address).convert("L")
    if most is not None:
        image.thumbnail((most, most))
    pale = image.point(lambda level: round(255 * PALE + level * (1 - PALE)))
    return address_of(as_jpeg(pale))


@lru_cache(maxsize=64)
def _part(address: str, size: tuple[float, float], window: Box) -> tuple[str, Box]:
    """The pixels that a window shows, and the place that they take."""
    image = _opened(address)
    unit = size[0] / image.width, size[1] / image.height
    left, top, width, height = window
    pixels = (
        max(0, int(left / unit[0])),
        max(0, int(top / unit[1])),
        min(image.width, int((left + width) / unit[0]) + 1),
        min(image.height, int((top + height) / unit[1]) + 1),
    )
    place = (
        pixels[0] * unit[0], pixels[1] * unit[1],
        (pixels[2] - pixels[0]) * unit[0], (pixels[3] - pixels[1]) * unit[1],
    )  # fmt: skip
    part = image.crop(pixels)
    part.thumbnail((PART, PART))
    return address_of(as_jpeg(part)), place
