"""Water tower: riveted legs on granite, bracing rods, girder, tank, walkway and ladder."""

import math

from .ironwork import BASE_PLATE, LEG_RIVET, RIVET, RIVET_M, STEEL, STEEL_DARK, STEEL_LIGHT
from .masonry import GRANITE, rough, specks
from .pen import (
    WHITE,
    Point,
    Polygon,
    Sheet,
    across,
    arc,
    inset,
    moved,
    rect,
    row,
    spaced,
    stack,
    turned,
    upright,
)
from .soiling import RUST, streaks
from .tower_zones import (
    AXIS,
    BAY,
    GIRDER,
    GIRDER_LEVELS,
    LADDER,
    LEG_FOOT,
    LEGS_BEHIND,
    LEGS_FRONT,
    MAKERS_PLATE,
    RAIL_TOP,
    REPAIR_PLATE,
    RING_RADIUS,
    SPLICES,
    STRUT,
    TANK,
    TANK_LEVELS,
    WALKWAY,
    rod_lines,
    rods,
)


def tower_fabric(sheet: Sheet) -> None:
    """Draw the water tower, from what stands behind to what stands in front."""
    lattice = GIRDER_LEVELS[0]
    for x0, x1 in LEGS_BEHIND:
        _footing(sheet, x0 - 0.15, x1 + 0.15, LEG_FOOT - 0.06)
        _box_leg(sheet, x0, x1, "#eceeef", 0.7)
    sheet.shade(*[rect(x0, 7.9, x1, lattice) for x0, x1 in LEGS_BEHIND], alpha=0.1)
    _riser(sheet, 4.55)
    _strut(sheet)
    _bracing(sheet)
    for x0, x1 in LEGS_FRONT:
        _footing(sheet, x0 - 0.25, x1 + 0.25, LEG_FOOT - 0.08)
        _box_leg(sheet, x0, x1, STEEL[0], 1.1)
    sheet.shade(*[rect(x0, 8.3, x1, lattice) for x0, x1 in LEGS_FRONT], alpha=0.12)
    _tank_roof(sheet)
    _tank(sheet)
    _repair_plate(sheet)
    _makers_plate(sheet)
    _level_board(sheet, 7.05)
    _lattice(sheet)
    _girder(sheet)
    _walkway(sheet)
    _ladder(sheet)


# --- legs and bracing -----------------------------------------------------------------------------


def _footing(sheet: Sheet, left: float, right: float, top: float) -> None:
    """Granite block under a leg, with the base plate and its bolts."""
    below = rough(sheet, (left - 0.12, 0, right + 0.12, top * 0.55), 0.03, 0)
    sheet.fill([below], GRANITE[2], weight=1)
    sheet.fill([rect(left, top * 0.55, right, top)], GRANITE[0], weight=1)
    specks(sheet, (left, 0.03, right, top - 0.03), 30)
    sheet.fill([rect(left + 0.06, top, right - 0.06, LEG_FOOT)], BASE_PLATE, weight=1)
    for x in (left + 0.12, right - 0.12):
        sheet.fill([rect(x - 0.025, LEG_FOOT, x + 0.025, LEG_FOOT + 0.09)], BASE_PLATE, weight=0.8)


def _box_leg(sheet: Sheet, left: float, right: float, colour: str, weight: float) -> None:
    """Riveted box leg: corner angles, splice plates, rows of rivets."""
    top, bottom = GIRDER_LEVELS[0], LEG_FOOT
    flange = 0.13 * (right - left) / 0.85
    sheet.fill([rect(left, bottom, right, top)], colour, weight=weight + 0.4)
    sheet.shade(rect(right - flange, bottom, right, top), alpha=0.1)
    sheet.shade(rect(right - 2.2 * flange, bottom, right, top), alpha=0.05)
    sheet.line(upright(bottom, top, (left + flange, right - flange)), weight * 0.8)
    rivets = []
    for x in (left + flange / 2, right - flange / 2):
        rivets += stack(x, bottom + 0.08, top - 0.08)
    for y in SPLICES:
        sheet.fill([rect(left, y - 0.28, right, y + 0.28)], STEEL[2], weight=weight)
        sheet.shade(rect(left, y - 0.33, right, y - 0.28), alpha=0.14)
        columns = spaced(left + flange * 0.5, right - flange * 0.5, 0.14)
        rivets += [(x, y + d) for x in columns for d in (-0.2, -0.07, 0.07, 0.2)]
    sheet.fill([rect(left, bottom, right, bottom + 0.28)], STEEL[1], weight=weight)
    for y in (bottom + 0.08, bottom + 0.2):
        rivets += row(y, left + 0.08, right - 0.08)
    sheet.discs(rivets, 0.021 if weight > 1 else 0.017, LEG_RIVET)
    streaks(sheet, (left + 0.1, right - 0.1), (2.3, 0.6), 7, RUST)
    streaks(sheet, (left + 0.1, right - 0.1), (top, 7.2), 5, RUST)


def _riser(sheet: Sheet, x: float) -> None:
    """Riser main behind the bracing."""
    sheet.fill([rect(x - 0.13, 0, x + 0.13, GIRDER_LEVELS[0])], "#eeefef", weight=0.9)
    sheet.shade(rect(x + 0.04, 0, x + 0.13, GIRDER_LEVELS[0]), alpha=0.1)
    for y in spaced(0.4, 8.4, 2.0):
        flanges = [rect(x - 0.2, y + a, x + 0.2, y + b) for a, b in ((0, 0.06), (0.07, 0.13))]
        sheet.fill(flanges, "#e3e5e5", weight=0.8)


def _strut(sheet: Sheet) -> None:
    """Riveted strut between the two tiers of rods."""
    (left, right), (low, high) = BAY, STRUT
    sheet.fill([rect(left, low, right, high)], STEEL[1], weight=1.1)
    sheet.line(across(left, right, (low + 0.06, high - 0.06)), 0.7)
    for y in (high - 0.03, low + 0.03):
        sheet.discs(row(y, left + 0.1, right - 0.1, 0.16), 0.015, LEG_RIVET)


def _bracing(sheet: Sheet) -> None:
    """Rods with turnbuckles, eyes at the legs and a ring in the middle."""
    left, right = BAY
    *half_rods, lower_ring, upper_ring = rods()
    sheet.fill(half_rods, "#cfd2d3", weight=1)
    for slope, height in rod_lines():
        for x in (left + 0.95, right - 0.95):
            turnbuckle = [[(end, slope * end + height) for end in (x - 0.16, x + 0.16)]]
            sheet.bar(turnbuckle, (10, 8.4), "#e6e8e8")
            sheet.line(turnbuckle, 0.8)
        for x in (left + 0.14, right - 0.14):
            sheet.discs([(x, slope * x + height)], 0.1, STEEL[1], 1)
            sheet.discs([(x, slope * x + height)], 0.035, "#b9bdbe", 0.8)
    for ring in (lower_ring, upper_ring):
        middle = (AXIS, sum(y for _, y in ring) / len(ring))
        sheet.discs([middle], RING_RADIUS, STEEL[2], 1.3)
        sheet.discs([middle], 0.1, WHITE, 1)
        sheet.discs(arc(middle, 0.16, 0, 315, 7), 0.018, LEG_RIVET, 0.6)


# --- tank -----------------------------------------------------------------------------------------


def _tank_roof(sheet: Sheet) -> None:
    """Low conical roof in standing seams."""
    half, foot, apex, neck = (TANK[1] - TANK[0]) / 2 + 0.05, WALKWAY[1], 15.95, 0.25
    sheet.fill([turned(AXIS, [(half, foot), (neck, apex)])], "#eceeef", weight=1.2)
    sines = [math.sin(math.radians(degrees)) for degrees in range(-80, 81, 10)]
    sheet.line([[(AXIS + half * s, foot), (AXIS + neck * s, apex)] for s in sines], 0.8, alpha=0.7)
    for reach in (0.25, 0.5):
        edge = [(AXIS + half, foot), (AXIS + neck, apex)]
        sheet.shade([(AXIS + half * reach, foot), *edge, (AXIS + neck * reach, apex)], alpha=0.07)
    _vent(sheet, apex)


def _vent(sheet: Sheet, foot: float) -> None:
    """Louvred vent with its cap and a vane."""
    left, right, top = AXIS - 0.25, AXIS + 0.25, foot + 0.35
    sheet.fill([rect(left, foot, right, top)], "#e1e4e5", weight=1.1)
    sheet.line(across(left, right, spaced(foot + 0.05, foot + 0.3, 0.06)), 0.6)
    sheet.fill([turned(AXIS, [(0.4, top), (0.05, foot + 0.7)])], "#eceeef", weight=1.1)
    pole = [(AXIS, foot + 0.7), (AXIS, foot + 1.2)]
    tip = AXIS + 0.42
    vane = [(AXIS, foot + 1.15), (tip, foot + 1.08), (tip, foot + 0.98), (AXIS, foot + 0.95)]
    sheet.line([pole, vane], 1.2)
    sheet.discs([(AXIS, foot + 0.78)], 0.06, "#eceeef", 1)


def _around(degrees: float) -> float:
    """Where a place on the round shell stands in the drawing; 0 faces the onlooker."""
    return AXIS + (TANK[1] - TANK[0]) / 2 * math.sin(math.radians(degrees))


def _tank(sheet: Sheet) -> None:
    """Cylindrical shell: three rows of plates with lapped, double-riveted seams."""
    left, right = TANK
    ring, middle, upper, top = TANK_LEVELS
    radius = (right - left) / 2
    plates = ((ring, middle, STEEL[1]), (middle, upper, STEEL[0]), (upper, top, STEEL[2]))
    for low, high, tint in plates:
        sheet.fill([rect(left, low, right, high)], tint, weight=0)
    for a, b in ((-0.55, -0.3), (-0.48, -0.37)):
        gleam = rect(AXIS + radius * a, ring, AXIS + radius * b, top)
        sheet.fill([gleam], WHITE, weight=0, alpha=0.4)
    seams, rivets = _seams()
    sheet.line(seams, 0.9)
    sheet.line(across(left, right, (ring, middle, upper)), 1.2)
    sheet.line(across(left, right, (ring + 0.25, middle + 0.15, upper + 0.15)), 0.6)
    sheet.discs(rivets, RIVET_M, RIVET)
    for reach in (0.3, 0.5, 0.66, 0.8, 0.9, 0.96):
        sheet.shade(rect(AXIS + radius * reach, ring, right, top), alpha=0.045)
    for reach in (0.8, 0.92, 0.97):
        sheet.shade(rect(left, ring, AXIS - radius * reach, top), alpha=0.04)
    sheet.shade(rect(left, 13.75, right, top), rect(left, 13.95, right, top), alpha=0.1)
    streaks(sheet, (left + 0.2, right - 0.3), (middle, ring + 0.05), 22, RUST)
    streaks(sheet, (left + 0.2, right - 0.3), (upper, middle + 0.3), 18, RUST)
    streaks(sheet, (left + 0.2, right - 0.3), (top, upper + 0.3), 10, "#7b776f")
    sheet.outline(rect(left, ring, right, top), 1.6)


def _seams() -> tuple[list[Polygon], list[Point]]:
    """Upright seams of the shell, and the rivets of all seams; they crowd towards its edges."""
    ring, middle, upper, top = TANK_LEVELS
    seams: list[Polygon] = []
    rivets: list[Point] = []
    for i, (low, high) in enumerate(((ring, middle), (middle, upper), (upper, top))):
        for degrees in range(-84 + 12 * (i % 2), 85, 24):
            x, squeeze = _around(degrees), math.cos(math.radians(degrees))
            seams += upright(low, high, [x + 0.1 * squeeze])
            for shift in (-0.05, 0.05):
                rivets += stack(x + shift * squeeze, low + 0.2, high - 0.14)
    levels = [ring + 0.06, ring + 0.18, middle - 0.06, middle + 0.07, upper - 0.06, upper + 0.07]
    for y in [*levels, top - 0.07]:
        rivets += [(_around(half_degrees / 2), y) for half_degrees in range(-172, 173, 5)]
    return seams, rivets


def _repair_plate(sheet: Sheet) -> None:
    """Bolted repair plate."""
    x0, y0, x1, y1 = REPAIR_PLATE
    sheet.shade(moved(rect(*REPAIR_PLATE), 0.05, -0.05), alpha=0.16)
    sheet.fill([rect(*REPAIR_PLATE)], "#f0f1f1", weight=1.3)
    studs = []
    for y in (y0 + 0.07, y1 - 0.07):
        studs += row(y, x0 + 0.07, x1 - 0.07, 0.14)
    for x in (x0 + 0.07, x1 - 0.07):
        studs += stack(x, y0 + 0.2, y1 - 0.2, 0.14)
    sheet.discs(studs, 0.027, "#dfe2e3", 0.7)


def _makers_plate(sheet: Sheet) -> None:
    """Maker's plate with its four screws."""
    x0, y0, x1, y1 = MAKERS_PLATE
    sheet.shade(moved(rect(*MAKERS_PLATE), 0.04, -0.04), alpha=0.18)
    sheet.fill([rect(*MAKERS_PLATE)], "#d9dbd9", weight=1.3)
    sheet.outline(inset(MAKERS_PLATE, 0.05), 0.8)
    middle = (x0 + x1) / 2
    sheet.text("QUILLMERE", (middle, y0 + 0.3), 0.125)
    sheet.text("No. 7 · 1889", (middle, y0 + 0.13), 0.11)
    screws = [(x, y) for x in (x0 + 0.085, x1 - 0.085) for y in (y0 + 0.085, y1 - 0.085)]
    sheet.discs(screws, 0.02, LEG_RIVET, 0.6)


def _level_board(sheet: Sheet, x: float) -> None:
    """Board with a pointer that shows how full the tank is."""
    sheet.fill([rect(x - 0.1, 10.95, x + 0.1, 13.7)], "#f7f7f5", weight=1)
    ticks = [
        [(x - 0.1, y), (x + (0.06 if i % 5 else 0.1), y)]
        for i, y in enumerate(spaced(11.05, 13.6, 0.1))
    ]
    sheet.line(ticks, 0.7)
    pointer = [(x + 0.1, 12.85), (x + 0.26, 12.93), (x + 0.26, 12.77)]
    sheet.fill([pointer], "#8f8d88", weight=0.8)


# --- girder, walkway, ladder ----------------------------------------------------------------------


def _lattice(sheet: Sheet) -> None:
    """Lattice between two chords, below the plate girder."""
    (left, right), (low, high, _) = GIRDER, GIRDER_LEVELS
    sheet.fill([rect(left, low, right, high)], STEEL_DARK, weight=1.2)
    bars = [[(x, 8.86), (x + 0.36, 9.14)] for x in spaced(left + 0.12, right - 0.48, 0.36)]
    bars += [[(b[0], a[1]), (a[0], b[1])] for a, b in bars]
    sheet.bar(bars, (5.4, 4), STEEL_LIGHT)
    sheet.fill([rect(left, low, right, 8.85), rect(left, 9.13, right, high)], STEEL[2], weight=1)
    rivets = [each for y in (8.8, 9.19) for each in row(y, left + 0.12, right - 0.12, 0.18)]
    sheet.discs(rivets, RIVET_M, RIVET)


def _girder(sheet: Sheet) -> None:
    """Plate girder with stiffeners, and the flange that carries the tank."""
    (left, right), (_, web, top) = GIRDER, GIRDER_LEVELS
    places = spaced(left + 0.15, right - 0.15, 0.9)
    sheet.fill([rect(left, web, right, top)], STEEL[0], weight=1.3)
    stiffeners = [rect(x - 0.06, web + 0.1, x + 0.06, top - 0.1) for x in places]
    sheet.fill(stiffeners, STEEL[2], weight=0.9)
    shadows = [[*moved(each[1:3], 0.12, 0), each[2], each[1]] for each in stiffeners]
    sheet.shade(*shadows, alpha=0.12)
    sheet.line(across(left, right, (web + 0.1, top - 0.1)), 0.9)
    rivets = []
    for y in (web + 0.05, top - 0.05):
        rivets += row(y, left + 0.08, right - 0.08)
    for x in places:
        rivets += stack(x, web + 0.17, top - 0.17, 0.09)
    sheet.discs(rivets, RIVET_M, RIVET)
    sheet.fill([rect(left - 0.06, top, right + 0.06, TANK_LEVELS[0])], STEEL_DARK, weight=1.2)
    sheet.shade(rect(left, top - 0.16, right, top), alpha=0.13)
    streaks(sheet, (left, right), (top, web), 24, RUST)


def _walkway(sheet: Sheet) -> None:
    """Walkway on brackets, and its rail."""
    left, right, (low, high) = GIRDER[0], LADDER[0], WALKWAY
    brackets = [
        [(x, low), (x + d, low), (x, low - 0.42)] for x, d in ((TANK[0], -0.35), (TANK[1], 0.6))
    ]
    sheet.fill(brackets, STEEL[1], weight=1)
    sheet.fill([rect(left, low, right, high)], "#dcdfe0", weight=1.3)
    sheet.line(across(left, right, [low + 0.07]), 0.7)
    sheet.discs(row(low + 0.13, left + 0.1, right - 0.1, 0.2), 0.018, RIVET)
    rail = RAIL_TOP - 0.03
    places = spaced(left + 0.04, right - 0.04, 0.93)
    posts, rails = upright(high, rail, places), across(left, right, (rail, 14.95, 14.62))
    sheet.bar(posts + rails, (4.2, 2.6), STEEL_LIGHT)
    sheet.discs([(x, rail) for x in places], 0.035, STEEL_LIGHT, 0.8)


def _ladder(sheet: Sheet) -> None:
    """Ladder to the walkway on its stone, with stays to the leg and the tank."""
    left, right = LADDER
    stays = across(LEGS_FRONT[1][1], left, SPLICES) + across(TANK[1], left, (11.6, 13.3))
    sheet.bar(stays, (4, 2.4), STEEL_LIGHT)
    sheet.bar(across(left + 0.03, right - 0.03, spaced(0.55, 15.15, 0.28)), (2.6, 1.3), STEEL_LIGHT)
    sheet.bar(upright(0.3, RAIL_TOP, (left + 0.03, right - 0.03)), (6, 4.4), "#e6e8e9")
    stone = rough(sheet, (left - 0.15, 0, right + 0.15, 0.3), 0.02, 0)
    sheet.fill([stone], GRANITE[0], weight=1)
