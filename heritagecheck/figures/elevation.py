"""The elevations, each zone coloured and hatched by its outcome."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from itertools import zip_longest
from xml.etree import ElementTree as ET

import numpy as np
from defusedxml import ElementTree as SafeET

from heritagecheck.cards import Picture
from heritagecheck.figures.svg import (
    DARK,
    FACE,
    GRID,
    LIGHT,
    element,
    number,
    picture,
    text,
    width_of,
    wrapped,
)
from heritagecheck.figures.zone_location import (
    CASING,
    as_text,
    ground_of,
    leave_out_zones,
    mark_of,
    quieten,
)
from heritagecheck.judgement.recommendation import OUTCOMES, Assessment, Recommendation
from heritagecheck.survey.drawings.drawing import placements, view_box, zone_paths
from heritagecheck.survey.drawings.elevations import drawing_of, elevation_of, read_drawing
from heritagecheck.survey.drawings.outline_edits import Rings, label_point
from heritagecheck.survey.drawings.path_data import FloatArray
from heritagecheck.survey.drawings.plain_svg import SVG
from heritagecheck.survey.records import Elevation
from heritagecheck.survey.survey import Survey

# -- By outcome ------------------------------------------------------------------------------------

# Four hues that differ in lightness, distinct for colour-blind readers and in grey print.
FILLS: Mapping[str, str] = {
    "clean": "#08485f",
    "trial first": "#f0b93a",
    "leave and monitor": "#a97fb5",
    "leave": "#f0ece2",
}
OPACITY = 0.8  # the drawing shows through
HATCHES: Mapping[str, str] = {
    "clean": '<path d="M0 24L24 0M-6 6L6 -6M18 30L30 18" stroke="#fff" stroke-width="3"/>',
    "trial first": '<circle cx="6" cy="6" r="2.6" fill="#3b2c08"/>'
    '<circle cx="18" cy="18" r="2.6" fill="#3b2c08"/>',
    "leave and monitor": '<path d="M0 6H24M0 18H24" stroke="#2f2145" stroke-width="1.8"/>',
    "leave": "",
}
LABELS_A_WIDTH = 60
ON_PHOTOGRAPH = 0.55  # opacity of the colours there
# Pixels of the small table shown in place of a picture.
WIDE, ROW, KEY, CODES, OUTCOME_WORDS = 720.0, 22.0, 42.0, 78.0, 190.0
NAMES = WIDE - KEY - CODES - OUTCOME_WORDS - 12


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
        Where the elevation has no drawing, or the drawing no outline, a small table of its zones.

    Raises
    ------
    SurveyError
        There is no such elevation, or its drawing is missing or can't be shown.
    """
    item = elevation_of(assessment.survey, elevation)
    found = {one.zone: one for one in assessment.recommendations}
    here = [one for one in found.values() if one.evidence.zone.elevation == elevation]
    if why := why_listed(assessment.survey, item):
        return _listed(f"{item.name}: {why}", here)
    root = read_drawing(assessment.survey, item)
    parents = {child: parent for parent in root.iter() for child in parent}
    size = max(28.0, view_box(root, item)[2] / LABELS_A_WIDTH)
    ground = ground_of(root)
    if ground is not None:
        quieten(ground)
    plates: list[ET.Element] = []
    for path, matrix in placements(root, item).items():
        code = path.get("data-zone", "")
        if code not in found:
            continue
        shown = _coloured(path, found[code], elevation, zone, cased=ground is not None)
        _replace(parents[path], path, shown, f"{link}{code}" if link else "")
        if zone is None or code == zone:
            x, y = mark_of(path, matrix)
            plates.extend(_label(code, x, y, size, urgent=bool(found[code].urgency)))
    # On top of all zones, and transparent to a click, which is meant for the zone beneath.
    over = ET.SubElement(root, f"{{{SVG}}}g", {"pointer-events": "none"})
    over.extend(plates)
    root.insert(0, _hatches(elevation))
    return Picture(as_text(root), f"{item.name}. {_counts(here)}")


def why_listed(survey: Survey, item: Elevation) -> str:
    """Why the zones of an elevation are listed and not drawn; empty where they are drawn."""
    if item.drawing is None:
        return "this elevation has no drawing"
    found = drawing_of(survey, item)
    drawn = found.faults or zone_paths(found.root)
    return "" if drawn else f"no zone is outlined on the drawing {item.drawing}"


def _counts(zones: Iterable[Recommendation]) -> str:
    """Codes of zones by their outcomes."""
    return ", ".join(
        f"{outcome}: {' '.join(codes)}"
        for outcome in OUTCOMES
        if (codes := [one.zone for one in zones if one.outcome == outcome])
    )


def _listed(head: str, zones: Sequence[Recommendation]) -> Picture:
    """Zones as a small table: key and code, what each is, outcome."""
    drawn, y = [], ROW
    for words in wrapped(f"{head}.", WIDE):
        drawn.append(text(0, y, words))
        y += ROW
    for one in zones:
        drawn.append(element("path", d=f"M0 {y - 0.7 * ROW:g}H{WIDE:g}", stroke=GRID))
        key = draw_key(one.outcome).svg.replace("<svg ", f'<svg x="0" y="{y - 0.5 * ROW:g}" ', 1)
        urgent = f", {one.urgency}" if one.urgency else ""
        rows = zip_longest(
            [one.zone], wrapped(one.name, NAMES), wrapped(one.outcome + urgent, OUTCOME_WORDS),
            fillvalue="",
        )  # fmt: skip
        drawn.append(key)
        for code, name, outcome in rows:
            for x, words in ((KEY, code), (KEY + CODES, name), (WIDE - OUTCOME_WORDS, outcome)):
                drawn.append(text(x, y, words))
            y += ROW
        y += ROW / 4
    return picture(WIDE, y - ROW / 2, f"{head}. {_counts(zones)}", *drawn)


def draw_key(outcome: str) -> Picture:
    """Key of one outcome: its colour and hatch."""
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


def _coloured(
    path: ET.Element, one: Recommendation, elevation: str, zone: str | None, *, cased: bool
) -> list[ET.Element]:
    """Outline of a zone in the colour of its outcome, in its hatch, and cased on a photograph."""
    lit = zone is None or one.zone == zone
    hatch = deepcopy(path)
    path.set("fill", FILLS[one.outcome])
    path.set("fill-opacity", f"{ON_PHOTOGRAPH if cased else OPACITY:g}" if lit else "0.15")
    path.set("stroke", DARK)
    path.set("stroke-width", "5" if one.zone == zone else "3" if cased else "2")
    edge = deepcopy(path)
    urgent = f", {one.urgency}" if one.urgency else ""
    title = ET.SubElement(path, f"{{{SVG}}}title")
    title.text = f"{one.zone} {one.name}: {one.outcome}{urgent}"
    # The hatch is separate from the colour: tiles with both show seams in print.
    hatch.attrib.pop("id", None)
    hatch.attrib.pop("data-zone", None)
    hatch.set("fill", f"url(#{_hatch_name(elevation, one.outcome)})")
    hatch.set("fill-opacity", "0.8" if lit else "0.2")
    hatch.set("stroke", "none")
    hatch.set("pointer-events", "none")
    shown = [path, hatch] if HATCHES[one.outcome] else [path]
    if cased:
        path.set("stroke", LIGHT)
        path.set("stroke-width", f"{float(edge.get('stroke-width', '0')) * CASING:g}")
        edge.attrib.pop("data-zone", None)
        edge.set("fill", "none")
        edge.set("pointer-events", "none")
        shown.append(edge)
    return shown


def _replace(
    parent: ET.Element, path: ET.Element, shown: Iterable[ET.Element], address: str
) -> None:
    """Replace the outline of a zone by its picture, as a link if one is given."""
    place = list(parent).index(path)
    tag, given = ("a", {"href": address}) if address else ("g", {})
    group = ET.Element(f"{{{SVG}}}{tag}", given)
    group.extend(shown)
    parent.remove(path)
    parent.insert(place, group)


def _label(code: str, x: float, y: float, size: float, *, urgent: bool) -> Iterable[ET.Element]:
    """Code of a zone on a light plate; an urgent one has a dark ring and a mark."""
    words = f"{code}!" if urgent else code
    wide = max(2.4 * size, width_of(words, size) + 0.5 * size)
    plate = ET.Element(
        f"{{{SVG}}}rect",
        {
            "x": f"{x - wide / 2:g}", "y": f"{y - 0.7 * size:g}", "width": f"{wide:g}",
            "height": f"{1.25 * size:g}", "rx": "4", "fill": "#fff", "fill-opacity": "0.92",
            "stroke": DARK if urgent else "none", "stroke-width": "4",
        },
    )  # fmt: skip
    label = ET.Element(
        f"{{{SVG}}}text",
        {
            "x": f"{x:g}", "y": f"{y + 0.28 * size:g}", "font-size": f"{size:g}",
            "font-family": FACE, "text-anchor": "middle",
            "fill": DARK,
        },
    )  # fmt: skip
    label.text = words
    return (plate, label)


def _hatch_name(elevation: str, outcome: str) -> str:
    """Name of a hatch on a page; the code of an elevation may hold any sign."""
    return re.sub(r"[^\w-]", "-", f"{elevation}-{outcome}")


def _hatches(elevation: str) -> ET.Element:
    """Hatches of the outcomes as fill patterns."""
    patterns = "".join(
        f'<pattern id="{_hatch_name(elevation, outcome)}" width="24" height="24" '
        f'patternUnits="userSpaceOnUse">{hatch}</pattern>'
        for outcome, hatch in HATCHES.items()
        if hatch
    )
    element: ET.Element = SafeET.fromstring(f'<defs xmlns="{SVG}">{patterns}</defs>')
    return element


# -- On the screen ---------------------------------------------------------------------------------

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
    leave_out_zones(root)
    root.set("viewBox", f"{left:g} {top:g} {width:g} {height:g}")
    # A picture in a picture has no size of its own where none is said.
    root.set("width", f"{width:g}")
    root.set("height", f"{height:g}")
    root.set("preserveAspectRatio", "none")
    return as_text(root).encode()
