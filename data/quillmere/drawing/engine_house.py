"""Parts that the north front and the east flank share: windows, mouldings, roof and chimney."""

import itertools

from .engine_house_zones import (
    CORNICE,
    COURSES_LOW,
    EAVES,
    PLINTH,
    QUOIN,
    SILL_TOP,
    STRING,
    WINDOW_HALF,
    WINDOW_SPRING,
    cornice,
)
from .ironwork import GLASS, IRON, WHITE_PAINT
from .masonry import (
    BRICK,
    BRICK_JOINT,
    GRANITE,
    JOINT,
    LIMESTONE,
    SANDSTONE,
    course,
    dressed_blocks,
    rock_faced,
    tinted,
)
from .pen import (
    INK,
    WHITE,
    Box,
    Point,
    Polygon,
    Sheet,
    across,
    arc,
    arch,
    both_sides,
    rect,
    spaced,
    spokes,
    turned,
    upright,
)

# --- wall -----------------------------------------------------------------------------------------


def plinth(sheet: Sheet, left: float, right: float) -> None:
    """Three rock-faced courses under a weathered top."""
    rock_faced(sheet, (left, 0, right, 1.4), (0, 0.5, 0.97, 1.4))
    cap = [(left, 1.4), (right, 1.4), (right - 0.03, PLINTH), (left + 0.03, PLINTH)]
    sheet.fill([cap], "#f2f1ee", weight=1)
    sheet.shade(rect(left, 1.34, right, 1.4), alpha=0.14)
    sheet.outline(rect(left, 0, right, PLINTH), 1.2)


def quoins(sheet: Sheet, axis: float, top_courses: list[float]) -> None:
    """Sandstone quoins at both ends of a front, long and short in turn."""
    for courses in (COURSES_LOW, top_courses):
        blocks: list[Box] = [
            (0, low, QUOIN[i % 2 == 0], high)
            for i, (low, high) in enumerate(itertools.pairwise(courses))
        ]
        dressed_blocks(sheet, blocks, SANDSTONE)
        opposite = [(2 * axis - c, b, 2 * axis - a, d) for a, b, c, d in blocks]
        dressed_blocks(sheet, opposite, SANDSTONE)


def string_course(sheet: Sheet, left: float, right: float) -> None:
    """Sandstone string course: fillet, roll and drip, with its shadow on the wall."""
    low, high = STRING
    sheet.shade(rect(left, low - 0.1, right, low), alpha=0.16)
    tinted(sheet, course(left, right, STRING, 1.15), SANDSTONE)
    sheet.line(across(left, right, (2.52, 2.66)), 0.8, alpha=0.7)
    sheet.shade(rect(left, low, right, 2.52), alpha=0.14)
    sheet.outline(rect(left, low, right, high), 1.2)


def moulded_cornice(sheet: Sheet, axis: float) -> None:
    """Moulded limestone cornice with dentils, and the shadow below it."""
    profile, end = cornice(axis), 2 * axis
    sheet.shade(rect(0, 7.12, end, EAVES), alpha=0.1)
    sheet.shade(rect(0, 7.25, end, EAVES), alpha=0.1)
    sheet.fill(both_sides(profile, axis), LIMESTONE[0], weight=0)
    tinted(sheet, course(0, end, (EAVES, CORNICE), 1.0), LIMESTONE, 0.5)
    for low, high, reach, alpha in (
        (7.55, 7.75, 0.12, 0.17),
        (7.72, 7.78, 0.34, 0.16),
        (7.92, 7.96, 0.34, 0.12),
    ):
        sheet.shade(rect(-reach, low, end + reach, high), alpha=alpha)
    dentils = [rect(x, 7.56, x + 0.11, 7.7) for x in spaced(-0.06, end - 0.05, 0.2)]
    sheet.fill(dentils, "#fbf9f1", weight=0.6)
    levels = ((7.48, 0.06), (7.55, 0.08), (7.75, 0.34), (7.92, 0.34), (7.98, 0.38), (8.04, 0.43))
    sheet.line([[(-reach, y), (end + reach, y)] for y, reach in levels], 0.8)
    edge = [(axis, EAVES), *profile[2:], (axis, CORNICE)]
    sheet.line(both_sides(edge, axis), 1.3)


def ball_finial(sheet: Sheet, x: float) -> None:
    """Granite ball on its foot, at a corner of the parapet."""
    sheet.fill([turned(x, [(0.3, 9.1), (0.12, 9.35)])], GRANITE[1], weight=1)
    sheet.discs([(x, 9.57)], 0.24, GRANITE[3], 1.1)


# --- windows --------------------------------------------------------------------------------------


def reveal_shadow(centre: float, bottom: float, spring: float, half: float, lip: float) -> Polygon:
    """Shadow that a round-arched opening throws on what is set back in it."""
    return [
        (centre - half, bottom),
        *arc((centre, spring), half, 180, 0),
        *arc((centre + lip * 0.4, spring - lip), half - lip * 0.4, 0, 152),
        (centre - half + lip, spring - lip * 0.4),
        (centre - half + lip, bottom),
    ]


def window(sheet: Sheet, centre: float) -> None:
    """Glazing of a round-arched window, with the shadow of its reveal."""
    half, spring = WINDOW_HALF, WINDOW_SPRING
    opening = arch(centre, SILL_TOP, spring, half)
    sheet.fill([opening], GLASS, weight=1.4)
    gleam = [(centre - half, 4.1), (centre + half, 5.3), (centre + half, 4.5), (centre - half, 3.3)]
    sheet.fill([gleam], WHITE, weight=0, alpha=0.28)
    sheet.shade(reveal_shadow(centre, SILL_TOP, spring, half, 0.1), alpha=0.3)
    sheet.line([arch(centre, SILL_TOP, spring, half - 0.05)], 4.5, ink=WHITE_PAINT)
    left, right = centre - half + 0.03, centre + half - 0.03
    rails = spaced(SILL_TOP, spring, 0.4)
    bars = upright(SILL_TOP + 0.03, spring, (centre - 0.19, centre + 0.19))
    bars += across(left, right, rails[1:])
    bars += spokes((centre, spring), (0.22, half - 0.03), (36, 72, 108, 144))
    bars.append(arc((centre, spring), 0.22, 0, 180, 12))
    sheet.bar(bars, (4.2, 3), WHITE_PAINT, edge=JOINT)
    sheet.line(across(left, right, [rails[3]]), 5.5, ink=WHITE_PAINT)
    sheet.line([opening], 1.6)


def sill(sheet: Sheet, centre: float, half: float, tint: str) -> None:
    """Weathered sill with a sunk top and a drip."""
    left, right = centre - half, centre + half
    sheet.fill([rect(left, STRING[1], right, SILL_TOP)], tint, weight=1)
    sheet.line(across(left, right, [2.92]), 0.6, alpha=0.7)
    sheet.shade(rect(left, STRING[1], right, STRING[1] + 0.05), alpha=0.12)


# --- roof and chimney -----------------------------------------------------------------------------


def slates(sheet: Sheet, outline: Polygon, ridge: tuple[Point, Point]) -> None:
    """Hipped slate roof: courses, lead rolls on the ridge."""
    sheet.fill([outline], "#dcdee0", weight=0)
    (x0, y0), (x1, _) = ridge
    left, right, foot = outline[0][0], outline[1][0], outline[0][1]
    levels = spaced(foot, y0, 0.17)
    rise = levels[1] - levels[0]
    courses, joints = [], []
    for row, y in enumerate(levels[:-1]):
        t = (y - foot) / (y0 - foot)
        a, b = left + (x0 - left) * t, right + (x1 - right) * t
        courses.append([(a, y), (b, y)])
        places = spaced(a + 0.1 + 0.12 * (row % 2), b - 0.1, 0.3)[1:-1]
        joints += upright(y, y + rise, [x for x in places if sheet.rng.random() < 0.5])
    sheet.line(courses, 0.6, alpha=0.55)
    sheet.line(joints, 0.5, alpha=0.35)
    sheet.outline(outline, 1.2)
    sheet.line([ridge], 5, ink="#9a9b9b")


def roof_lantern(sheet: Sheet, centre: float, foot: float, half: float) -> None:
    """Louvred ventilator with a leaded cap and a finial."""
    top = foot + 1.15
    sheet.fill([rect(centre - half - 0.12, foot - 0.18, centre + half + 0.12, foot)], "#e6e6e4")
    sheet.fill([rect(centre - half, foot, centre + half, top)], "#eceae5", weight=1)
    for a, b in itertools.pairwise(spaced(centre - half, centre + half, half * 2 / 3)):
        sheet.fill([rect(a + 0.06, foot + 0.1, b - 0.06, top - 0.12)], "#c9cbca", weight=0.7)
        slats = across(a + 0.06, b - 0.06, spaced(foot + 0.1, top - 0.12, 0.085))
        sheet.line(slats, 1.2, ink="#f4f3f0")
        sheet.line(slats, 0.5, alpha=0.6)
    eave = half + 0.2
    cap = [(eave, top), (eave - 0.06, top + 0.09), (0.3 * half, top + 0.5), (0.06, top + 0.85)]
    sheet.fill([turned(centre, cap)], IRON, weight=1.1)
    sheet.line(upright(top + 0.85, top + 1.45, [centre]), 1.8)
    sheet.discs([(centre, top + 0.95)], 0.07, "#e8e8e6", 1)
    sheet.discs([(centre, top + 1.42)], 0.04, "#e8e8e6", 1)


def chimney_shaft(sheet: Sheet, centre: float, foot: float, top: float, ink: str = INK) -> None:
    """Octagonal brick shaft, broken off as drawings do."""
    low, high = 1.15, 1.0  # half widths at foot and top
    breaks = ((-high, 0), (-0.4, 0.12), (-0.15, -0.22), (0.2, 0.28), (0.42, -0.08), (high, 0))
    zigzag = [(centre + x, top + y) for x, y in breaks]
    outline = [(centre + low, foot), *reversed(zigzag), (centre - low, foot)]
    sheet.fill([outline], BRICK[2], weight=0)
    rows = []
    for y in spaced(foot, top - 0.3, 0.075):
        half = low + (high - low) * (y - foot) / (top - foot)
        rows.append([(centre - half, y), (centre + half, y)])
    sheet.line(rows, 0.5, ink=BRICK_JOINT)
    edge_left, left, right, edge_right = (
        [(centre + at * low, foot), (centre + at * high, top)] for at in (-1, -0.45, 0.45, 1)
    )
    for arris in (left, right):
        sheet.line([arris], 0.8, ink)
    sheet.shade([right[0], *edge_right, right[1]], alpha=0.1)
    sheet.line([edge_left, edge_right], 1.3, ink)
    sheet.line([[(centre - high - 0.35, top), *zigzag, (centre + high + 0.35, top)]], 1, ink)
