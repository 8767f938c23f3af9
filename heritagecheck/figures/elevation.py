"""The elevations, each zone coloured and hatched by its outcome."""

from __future__ import annotations

from collections.abc import Iterable
from xml.etree import ElementTree as ET

from defusedxml import DefusedXmlException
from defusedxml import ElementTree as SafeET

from heritagecheck.cards import Picture
from heritagecheck.errors import Fault, SurveyError
from heritagecheck.judgement.recommendation import OUTCOMES, Assessment
from heritagecheck.survey.records import Elevation, Zone
from heritagecheck.survey.store import Survey

SVG = "http://www.w3.org/2000/svg"
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
RUNS_OR_LOADS = {"script", "foreignObject", "image", "animate", "set"}


def draw_elevation(assessment: Assessment, elevation: str, zone: str | None = None) -> Picture:
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

    Returns
    -------
    Picture

    Raises
    ------
    SurveyError
        There is no such elevation, or its drawing is missing or no SVG.
    """
    item = _elevation(assessment.survey, elevation)
    root = _drawing(assessment.survey, item)
    found = {one.zone: one for one in assessment.recommendations}
    root.insert(0, _hatches(elevation))
    marks = ET.Element(f"{{{SVG}}}g", {"font-family": "Georgia, serif", "text-anchor": "middle"})
    for path in _zone_paths(root):
        code = path.get("data-zone", "")
        if code not in found:
            continue
        one = found[code]
        lit = zone is None or code == zone
        path.set("fill", f"url(#{elevation}-{one.outcome.replace(' ', '-')})")
        path.set("fill-opacity", "0.68" if lit else "0.18")
        path.set("stroke", "#1d1d1b")
        path.set("stroke-width", "5" if code == zone else "2")
        label = ET.SubElement(path, f"{{{SVG}}}title")
        label.text = f"{code} {one.name}: {one.outcome}" + (
            f", {one.urgency}" if one.urgency else ""
        )
        if lit:
            marks.extend(_label(path, code, urgent=bool(one.urgency)))
    root.append(marks)
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
    record = next((one for one in survey.all(Zone) if one.zone == zone), None)
    if record is None:
        raise SurveyError([Fault("zones", None, "zone", zone, "there is none")])
    item = _elevation(survey, record.elevation)
    root = _drawing(survey, item)
    paths = [
        f'<path d="{path.get("d")}" fill="{"#1d1d1b" if path.get("data-zone") == zone else "#fff"}"'
        f' fill-rule="evenodd" stroke="#8b877e" stroke-width="6"/>'
        for path in _zone_paths(root)
    ]
    return Picture(
        f'<svg xmlns="{SVG}" viewBox="{root.get("viewBox")}">{"".join(paths)}</svg>',
        f"{zone} on {item.name}",
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
    name = outcome.replace(" ", "-")
    return Picture(
        f'<svg xmlns="{SVG}" viewBox="0 0 48 30" width="30" height="19"><defs>'
        f'{_pattern("key", outcome)}</defs><rect x="1" y="1" width="46" height="28" '
        f'fill="url(#key-{name})" stroke="#1d1d1b" stroke-width="1.5"/></svg>',
        outcome,
    )


def _elevation(survey: Survey, code: str) -> Elevation:
    """Elevation by its code."""
    for item in survey.all(Elevation):
        if item.elevation == code:
            return item
    known = ", ".join(item.elevation for item in survey.all(Elevation))
    raise SurveyError(
        [Fault("elevations", None, "elevation", code, f"there is none. Known: {known}")]
    )


def _drawing(survey: Survey, item: Elevation) -> ET.Element:
    """Drawing of an elevation, without anything that could run or load."""
    if survey.folder is None or not (survey.folder / item.drawing).is_file():
        raise SurveyError(
            [Fault("elevations", None, "drawing", item.drawing, "this drawing is missing")]
        )
    try:
        root: ET.Element = SafeET.fromstring((survey.folder / item.drawing).read_bytes())
    except (ET.ParseError, DefusedXmlException) as error:
        raise SurveyError(
            [Fault("elevations", None, "drawing", item.drawing, f"this is no plain SVG: {error}")]
        ) from error
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
    return name.startswith("on") or (name == "href" and not value.startswith("#"))


def _zone_paths(root: ET.Element) -> list[ET.Element]:
    """Outlines of the zones."""
    return [path for path in root.iter(f"{{{SVG}}}path") if path.get("data-zone")]


def _label(path: ET.Element, code: str, *, urgent: bool) -> Iterable[ET.Element]:
    """Code of a zone on a light plate; an urgent one stands in a dark ring with a mark."""
    x, y = float(path.get("data-label-x", "0")), float(path.get("data-label-y", "0"))
    plate = ET.Element(
        f"{{{SVG}}}rect",
        {
            "x": f"{x - 29:g}", "y": f"{y - 17:g}", "width": "58", "height": "30", "rx": "4",
            "fill": "#fff", "fill-opacity": "0.92",
            "stroke": "#1d1d1b" if urgent else "none", "stroke-width": "4",
        },
    )  # fmt: skip
    text = ET.Element(
        f"{{{SVG}}}text",
        {"x": f"{x:g}", "y": f"{y + 7:g}", "font-size": "24", "fill": "#1d1d1b"},
    )
    text.text = f"{code}!" if urgent else code
    return (plate, text)


def _hatches(prefix: str) -> ET.Element:
    """Fill patterns of the four outcomes."""
    patterns = "".join(_pattern(prefix, outcome) for outcome in OUTCOMES)
    element: ET.Element = SafeET.fromstring(f'<defs xmlns="{SVG}">{patterns}</defs>')
    return element


def _pattern(prefix: str, outcome: str) -> str:
    """Fill pattern of one outcome."""
    return (
        f'<pattern id="{prefix}-{outcome.replace(" ", "-")}" width="24" height="24" '
        f'patternUnits="userSpaceOnUse"><rect width="24" height="24" fill="{FILLS[outcome]}"/>'
        f"{HATCHES[outcome]}</pattern>"
    )


def _text(root: ET.Element) -> str:
    """SVG as text, in the plain namespace that HTML takes inline."""
    ET.register_namespace("", SVG)
    return ET.tostring(root, encoding="unicode")
