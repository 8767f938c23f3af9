"""The closed legs of the water tower cut open: plates, diaphragms, water, silt and rust."""

import itertools
import math

from .ironwork import BASE_PLATE, RIVET, STEEL, STEEL_DARK
from .masonry import GRANITE, JOINT, rough, specks
from .pen import (
    WHITE,
    Box,
    Point,
    Polygon,
    Sheet,
    across,
    arc,
    moved,
    rect,
    ring,
    row,
    spaced,
    stack,
    upright,
)
from .soiling import RUST, rust_blisters, streaks
from .tower_zones import (
    DIAPHRAGMS,
    LEG_CUTS,
    LEG_FOOT,
    LEG_TOP,
    LEG_WIDTH,
    WATER,
    void,
)

CUT = "#77797a"  # steel where it is cut
HAND_HOLE = 1.62  # height of its middle [m]
PERSON: Polygon = [
    *((-0.17, 0.0), (-0.02, 0.0), (-0.02, 0.06), (-0.07, 0.1), (-0.03, 0.45), (0.02, 0.8)),
    *((0.05, 0.45), (0.04, 0.08), (0.03, 0.0), (0.2, 0.0), (0.2, 0.05), (0.13, 0.09)),
    *((0.14, 0.45), (0.16, 0.85), (0.15, 1.1), (0.27, 1.18), (0.31, 1.26), (0.26, 1.3)),
    *((0.14, 1.24), (0.1, 1.38), (0.04, 1.44), (-0.08, 1.44), (-0.16, 1.36), (-0.2, 1.1)),
    *((-0.19, 0.82), (-0.15, 0.8), (-0.15, 0.45), (-0.16, 0.1)),
]


def legs_fabric(sheet: Sheet) -> None:
    """Draw the four legs in section, the girder they carry and a surveyor with a borescope."""
    for left, water in zip(LEG_CUTS, WATER, strict=True):
        _footing_cut(sheet, left)
        _leg_cut(sheet, left, water)
    _girder_foot(sheet)
    _borescope(sheet, LEG_CUTS[0] + LEG_WIDTH / 2)
    _person(sheet, 0.36)


# --- around the legs ------------------------------------------------------------------------------


def _footing_cut(sheet: Sheet, left: float) -> None:
    """Granite footing with anchor bolts, cut."""
    middle, right = left + LEG_WIDTH / 2, left + LEG_WIDTH
    bolts = (left - 0.13, right + 0.13)
    below = rough(sheet, (left - 0.4, -0.75, right + 0.4, 0.1), 0.03, 0)
    sheet.fill([below], GRANITE[2], weight=1.2)
    sheet.fill([rect(left - 0.25, 0.1, right + 0.25, LEG_FOOT - 0.06)], GRANITE[0], weight=1.2)
    specks(sheet, (left - 0.25, -0.65, right + 0.25, LEG_FOOT - 0.1), 40)
    sheet.line(upright(-0.55, LEG_FOOT, bolts), 1.6, dash="7 4")
    base_plate = rect(left - 0.2, LEG_FOOT - 0.06, right + 0.2, LEG_FOOT + 0.06)
    sheet.fill([base_plate], CUT, weight=1.1)
    for x in bolts:
        nut = rect(x - 0.04, LEG_FOOT + 0.06, x + 0.04, LEG_FOOT + 0.14)
        sheet.fill([nut], BASE_PLATE, weight=0.9)
    axis = upright(-1.0, -0.85, [middle]) + upright(8.62, 9.7, [middle])
    sheet.line(axis, 0.7, dash="12 3 2 3")


def _girder_foot(sheet: Sheet) -> None:
    """Lower part of the girder on all four legs, broken off."""
    low, high = LEG_TOP, 9.35
    first, last = LEG_CUTS[0] - 0.55, LEG_CUTS[-1] + LEG_WIDTH + 0.55
    sheet.fill([rect(first, low, last, high - 0.1)], STEEL[2], weight=0)
    sheet.line(across(first, last, [low]), 1.6)
    sheet.fill([rect(first, low, last, low + 0.1)], STEEL_DARK, weight=1)
    sheet.discs(row(low + 0.2, first + 0.1, last - 0.1, 0.16), 0.02, RIVET)
    wave = [(x, high + 0.05 * math.sin(x * 2.4)) for x in spaced(first, last, 0.08)]
    sheet.fill([[(first, high - 0.1), (last, high - 0.1), *reversed(wave)]], STEEL[2], weight=0)
    sheet.line([wave, [(first, low), wave[0]], [(last, low), wave[-1]]], 0.8)


def _borescope(sheet: Sheet, hole: float) -> None:
    """Eye on a cable that a hand-hole admits."""
    outside = [(0.62, 1.32), (0.8, 1.2), (1.0, 1.3), (1.2, 1.5), (1.4, HAND_HOLE)]
    inside = [(hole + 0.1, 1.58), (hole + 0.15, 1.42), (hole + 0.13, 1.25)]
    sheet.bar([[*outside, (hole, HAND_HOLE), *inside]], (2.6, 1.2), WHITE)
    x, y = inside[-1]
    sheet.fill([rect(x - 0.025, y - 0.09, x + 0.025, y)], "#8e8f8d", weight=0.8)


def _person(sheet: Sheet, x: float) -> None:
    """Surveyor, 1.7 m tall, for the eye to measure by."""
    sheet.fill([moved(PERSON, x, 0)], "#d9d6cf", JOINT, 1)
    sheet.fill([ring((x, 1.57), 0.1)], "#d9d6cf", JOINT, 1)
    hat = [(x - 0.11, 1.6), *arc((x, 1.6), 0.11, 180, 0, 12), (x + 0.17, 1.6)]
    sheet.fill([hat], "#efede8", JOINT, 1)
    sheet.fill([rect(x + 0.24, 1.22, x + 0.36, 1.38)], "#efede8", JOINT, 1)


# --- inside a leg ---------------------------------------------------------------------------------


def _leg_cut(sheet: Sheet, left: float, water: float) -> None:
    """One leg: cut plates in dark, the far wall in view, diaphragms, water, silt and hand-hole."""
    inner, foot, outer, top = void(left)
    _far_wall(sheet, void(left))
    rust_blisters(sheet, (inner + 0.04, foot, outer - 0.04, 1.9), 26)
    rust_blisters(sheet, (inner + 0.04, 1.9, outer - 0.04, top), 18)
    _pond(sheet, (inner, foot, outer, water))
    for y in DIAPHRAGMS:
        _diaphragm(sheet, inner, outer, y)
    right = left + LEG_WIDTH
    _hand_hole(sheet, ((left + right) / 2, HAND_HOLE))
    walls = [
        rect(left, foot, inner, LEG_TOP),
        rect(outer, foot, right, LEG_TOP),
        rect(inner, top, outer, LEG_TOP),
    ]
    sheet.fill(walls, CUT, weight=1.1)
    heads = []
    for x in (left - 0.012, right + 0.012):
        heads += stack(x, foot + 0.14, LEG_TOP - 0.14, 0.17)
    sheet.discs(heads, 0.02, STEEL_DARK, 0.6)
    sheet.line(across(left - 0.08, left, DIAPHRAGMS), 0.8)


def _far_wall(sheet: Sheet, box: Box) -> None:
    """Wall at the back of a leg: corner angles, rivets, rust below each diaphragm."""
    inner, foot, outer, top = box
    sheet.fill([rect(*box)], "#eceae6", weight=0)
    for reach in (0.32, 0.16, 0.08):
        sheet.shade(rect(inner, foot, inner + reach, top), alpha=0.05)
    sheet.line(upright(foot, top, (inner + 0.1, outer - 0.1)), 0.8)
    rivets = []
    for x in (inner + 0.05, outer - 0.05):
        rivets += stack(x, foot + 0.1, top - 0.1, 0.17)
    sheet.discs(rivets, 0.018, "#fafafa")
    for low, high in itertools.pairwise([foot, *DIAPHRAGMS, top]):
        sheet.shade(rect(inner, high - 0.22, outer, high), alpha=0.13)
        streaks(sheet, (inner + 0.12, outer - 0.12), (high - 0.03, low + 0.3), 6, RUST)


def _diaphragm(sheet: Sheet, inner: float, outer: float, y: float) -> None:
    """Cross plate with angles; its drain is a slit, often blocked."""
    for x, d in ((inner, 0.11), (outer, -0.11)):
        level_arm = [(x, y - 0.02), (x + d, y - 0.02), (x + d, y - 0.045)]
        hanging_arm = [(x + d * 0.25, y - 0.045), (x + d * 0.25, y - 0.14), (x, y - 0.14)]
        sheet.fill([level_arm + hanging_arm], "#9a9c9c", weight=0.9)
    slit = (inner + outer) / 2
    plates = [
        rect(inner, y - 0.02, slit - 0.04, y + 0.02),
        rect(slit + 0.04, y - 0.02, outer, y + 0.02),
    ]
    sheet.fill(plates, CUT, weight=0.9)
    silt = [
        (x, y + 0.02 + sheet.rng.uniform(0.01, 0.07))
        for x in spaced(inner + 0.02, outer - 0.02, 0.08)
    ]
    sheet.fill([[(inner, y + 0.02), *silt, (outer, y + 0.02)]], "#d9cdbd", weight=0.7)


def _pond(sheet: Sheet, box: Box) -> None:
    """Ponded water over silt, with the mark of a water level."""
    left, bottom, right, top = box
    sheet.fill([rect(*box)], "#c4d3d8", weight=0, alpha=0.85)
    dashes = []
    for y in spaced(bottom + 0.06, top - 0.05, 0.075):
        for x in spaced(left + 0.05, right - 0.2, 0.2):
            start = x + sheet.rng.uniform(0, 0.09)
            end = min(start + sheet.rng.uniform(0.05, 0.14), right - 0.03)
            dashes.append([(start, y), (end, y)])
    sheet.line(dashes, 0.8, ink="#6f848b", alpha=0.8)
    silt = [(x, bottom + sheet.rng.uniform(0.05, 0.12)) for x in spaced(left, right, 0.09)]
    sheet.fill([[(left, bottom), *silt, (right, bottom)]], "#cfc2b0", weight=0.8)
    sheet.line(across(left, right, [top]), 1.3, ink="#4d636b")
    x = right + 0.3
    sheet.fill([[(x, top), (x - 0.07, top + 0.12), (x + 0.07, top + 0.12)]], WHITE, weight=1)
    ripples = across(x - 0.16, x + 0.16, [top]) + across(x - 0.08, x + 0.08, [top - 0.04])
    sheet.line(ripples, 1)


def _hand_hole(sheet: Sheet, centre: Point) -> None:
    """Small oval hole with its studs, the only way in for an eye or a hand."""
    x, _ = centre
    oval, rim = _narrowed(ring(centre, 0.13), 0.7, x), _narrowed(ring(centre, 0.2), 0.85, x)
    sheet.fill([rim], STEEL[2], weight=1)
    sheet.fill([oval], "#8e8f8d", weight=1.2)
    sheet.fill([moved(oval[2:13], 0.02, -0.03)], WHITE, weight=0, alpha=0.35)
    studs = _narrowed(arc(centre, 0.168, 30, 330, 5), 0.8, x)
    sheet.discs(studs, 0.014, "#fafafa", 0.6)


def _narrowed(points: Polygon, by: float, axis: float) -> Polygon:
    """The same points drawn towards an upright axis."""
    return [(axis + (x - axis) * by, y) for x, y in points]
