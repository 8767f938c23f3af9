"""Measures and zones of the water tower: as it stands, and its closed legs cut open."""

import math

from .pen import Box, Polygon, rect, ring

# --- the tower, seen from the north, so that east is at the left [m] ------------------------------

AXIS = 5.2  # axis of the tower
TANK = (2.0, 8.4)
TANK_LEVELS = (10.05, 10.75, 12.4, 14.1)  # feet of ring, middle and upper plates; top
GIRDER = (1.6, 8.8)
GIRDER_LEVELS = (8.75, 9.25, 9.95)  # lattice, web, top flange
LEGS_FRONT = ((1.9, 2.75), (7.65, 8.5))
LEGS_BEHIND = ((3.15, 3.7), (6.7, 7.25))
BAY = (LEGS_FRONT[0][1], LEGS_FRONT[1][0])  # between the legs in front
LEG_FOOT = 0.5
SPLICES = (2.6, 4.85, 6.9)  # middles of the splice plates
STRUT = (4.72, 4.98)
ROD_TIERS = ((0.95, 4.6), (5.1, 8.65))
ROD_HALF = 0.035
RING_RADIUS = 0.22
LADDER = (9.1, 9.55)
WALKWAY = (14.1, 14.3)
RAIL_TOP = 15.3
MAKERS_PLATE: Box = (4.72, 10.75, 5.68, 11.28)
REPAIR_PLATE: Box = (2.85, 11.95, 3.85, 12.9)


def tower_zones() -> dict[str, list[Polygon]]:
    """Zones of the water tower."""
    lattice, web, flange = GIRDER_LEVELS
    north_east, north_west = (rect(x0, LEG_FOOT, x1, lattice) for x0, x1 in LEGS_FRONT)
    south_east, south_west = LEGS_BEHIND
    rail = rect(GIRDER[0], WALKWAY[1], LADDER[0], RAIL_TOP)
    return {
        "T01": [_upper_plates()],
        "T02": [_middle_plates()],
        "T03": [rect(TANK[0], TANK_LEVELS[0], TANK[1], TANK_LEVELS[1])],
        "T04": [rect(GIRDER[0], web, GIRDER[1], flange)],
        "T05": [rect(GIRDER[0], lattice, GIRDER[1], web)],
        "T06": [north_east],
        "T07": [north_west],
        "T08": _leg_behind(*south_east),
        "T09": _leg_behind(*south_west),
        "T10": [rect(LADDER[0], 0.3, LADDER[1], RAIL_TOP), rail],
        "T11": [rect(*MAKERS_PLATE)],
        "T12": rods(),
        "T13": [rect(*REPAIR_PLATE)],
        "T14": [rect(GIRDER[0], WALKWAY[0], LADDER[0], WALKWAY[1])],
    }


def rod_lines() -> list[tuple[float, float]]:
    """Rods as lines: slope, and height where x is 0."""
    left, right = BAY
    lines = []
    for low, high in ROD_TIERS:
        slope = (high - low) / (right - left)
        lines += [(slope, low - slope * left), (-slope, high + slope * left)]
    return lines


def rods() -> list[Polygon]:
    """Eight half rods and the two rings they meet at."""
    left, right = BAY
    polygons = []
    for slope, height in rod_lines():
        run = math.hypot(1, slope)
        dx, dy = -slope / run * ROD_HALF, 1 / run * ROD_HALF
        for end, inner in ((left, AXIS - RING_RADIUS / run), (right, AXIS + RING_RADIUS / run)):
            (x0, y0), (x1, y1) = (end, slope * end + height), (inner, slope * inner + height)
            upper, lower = [(x0 + dx, y0 + dy), (x1 + dx, y1 + dy)], [(x1 - dx, y1 - dy)]
            polygons.append([*upper, *lower, (x0 - dx, y0 - dy)])
    return polygons + [ring((AXIS, (low + high) / 2), RING_RADIUS) for low, high in ROD_TIERS]


def _leg_behind(left: float, right: float) -> list[Polygon]:
    """Visible pieces of a leg behind: the rods and the strut in front cut it."""
    cuts = [(slope, height, ROD_HALF * math.hypot(1, slope)) for slope, height in rod_lines()]
    cuts.append((0.0, sum(STRUT) / 2, (STRUT[1] - STRUT[0]) / 2))
    cuts.sort(key=lambda cut: cut[0] * (left + right) / 2 + cut[1])
    pieces, foot = [], ((left, LEG_FOOT), (right, LEG_FOOT))
    for slope, height, half in cuts:
        at = (slope * left + height, slope * right + height)
        pieces.append([*foot, (right, at[1] - half), (left, at[0] - half)])
        foot = ((left, at[0] + half), (right, at[1] + half))
    return [*pieces, [*foot, (right, GIRDER_LEVELS[0]), (left, GIRDER_LEVELS[0])]]


def _upper_plates() -> Polygon:
    """Upper row of tank plates, around the repair plate."""
    (left, right), (_, _, foot, top) = TANK, TANK_LEVELS
    x0, _, x1, y1 = REPAIR_PLATE
    notch = [(x0, foot), (x0, y1), (x1, y1), (x1, foot)]
    return [(left, foot), *notch, (right, foot), (right, top), (left, top)]


def _middle_plates() -> Polygon:
    """Middle row of tank plates, around the maker's plate and the repair plate."""
    (left, right), (_, foot, top, _) = TANK, TANK_LEVELS
    x0, _, x1, y1 = MAKERS_PLATE
    maker_notch = [(x0, foot), (x0, y1), (x1, y1), (x1, foot)]
    x0, y0, x1, _ = REPAIR_PLATE
    repair_notch = [(x1, top), (x1, y0), (x0, y0), (x0, top)]
    corners = [(right, foot), (right, top)]
    return [(left, foot), *maker_notch, *corners, *repair_notch, (left, top)]


# --- the legs, cut open [m] -----------------------------------------------------------------------

LEG_CUTS = (1.1, 3.7, 6.3, 8.9)  # left outer faces: north-east, north-west, south-east, south-west
LEG_WIDTH = 0.9
PLATE = 0.04  # drawn thicker than it is
LEG_TOP = GIRDER_LEVELS[0]
DIAPHRAGMS = (2.15, 3.8, 5.45, 7.1)
WATER = (0.95, 0.72, 1.22, 0.66)  # level of the ponded water in each leg


def legs_zones() -> dict[str, list[Polygon]]:
    """Zones of the closed legs."""
    return {f"C{i:02d}": [rect(*void(left))] for i, left in enumerate(LEG_CUTS, 1)}


def void(left: float) -> Box:
    """Inside of one leg, closed on all sides."""
    return left + PLATE, LEG_FOOT + 0.06, left + LEG_WIDTH - PLATE, LEG_TOP - 0.06
