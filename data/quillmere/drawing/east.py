"""East flank: granite walls, limestone surrounds, the brick chimney base and the porch door."""

from .engine_house import (
    ball_finial,
    chimney_shaft,
    moulded_cornice,
    plinth,
    quoins,
    reveal_shadow,
    roof_lantern,
    sill,
    slates,
    string_course,
    window,
)
from .engine_house_zones import (
    BASE_TOP,
    CHIMNEY,
    CHIMNEY_UPPER,
    CORNICE,
    COURSES_EAST,
    COURSES_HIGH,
    COURSES_LOW,
    DATE_PANEL,
    EAVES,
    FLANK,
    OVER_PORCH,
    PLINTH,
    PORCH,
    RUN_OFF,
    SET_OFF,
    SILL_COURSE,
    SILL_EAST,
    SILL_TOP,
    STRING,
    SURROUND,
    WINDOW_HALF,
    WINDOW_SPRING,
    WINDOWS_EAST,
    surround,
)
from .ironwork import GLASS, eaves_gutter, porch_iron, porch_roof
from .masonry import (
    BRICK,
    GRANITE,
    LIMESTONE,
    LIMEWASHED,
    PALE_GRANITE,
    SANDSTONE,
    ashlar,
    bricks,
    course,
    jamb,
    rock_faced,
    tinted,
    wedges,
)
from .pen import (
    WHITE,
    Box,
    Sheet,
    across,
    arc,
    arch,
    inset,
    moved,
    rect,
    spaced,
    spokes,
    turned,
    upright,
)
from .soiling import lime_run, spray_paint, streaks


def east_fabric(sheet: Sheet) -> None:
    """Draw the east flank, from what lies behind to what stands in front."""
    roof = [(0.1, 8.3), (19.7, 8.3), (15.9, 11.3), (3.9, 11.3)]
    slates(sheet, roof, ((3.9, 11.3), (15.9, 11.3)))
    roof_lantern(sheet, 11.2, 11.25, 0.95)
    _walls(sheet)
    for x in WINDOWS_EAST:
        _surrounded_window(sheet, x)
    tinted(sheet, course(0, FLANK, (SILL_COURSE, EAVES), 1.4), LIMESTONE, 0.9)
    moulded_cornice(sheet, FLANK / 2)
    eaves_gutter(sheet)
    _parapet_end(sheet)
    middle = sum(RUN_OFF) / 2
    sheet.shade(turned(middle, [(0.25, 8.08), (0.4, EAVES)]), alpha=0.1)
    streaks(sheet, (RUN_OFF[0] + 0.08, RUN_OFF[1] - 0.08), (SILL_COURSE, 0.1), 26, "#6b6961")
    streaks(sheet, (OVER_PORCH[0], OVER_PORCH[2]), (SILL_COURSE, 6.4), 14, "#8a8880")
    lime_run(sheet)
    _date_panel(sheet)
    _porch_door(sheet)
    porch_roof(sheet)
    porch_iron(sheet)
    _chimney(sheet)
    sheet.line(upright(PLINTH, EAVES, (0, FLANK)), 1.6)


# --- walls and windows ----------------------------------------------------------------------------


def _walls(sheet: Sheet) -> None:
    """Ashlar above the string course, rock-faced granite below, quoins, plinth."""
    ashlar(sheet, (0, STRING[1], FLANK, SILL_COURSE), COURSES_EAST)
    _, bottom, _, top = OVER_PORCH
    courses = [bottom, *[y for y in COURSES_HIGH if bottom + 0.2 < y < top], top]
    ashlar(sheet, OVER_PORCH, courses, PALE_GRANITE, (0.7, 1.1))
    sheet.outline(rect(*OVER_PORCH), 1)
    rock_faced(sheet, (CHIMNEY[1] - 0.4, PLINTH, FLANK - 0.6, STRING[0]), COURSES_LOW)
    rock_faced(sheet, (0.5, PLINTH, CHIMNEY[0] + 0.2, STRING[0]), COURSES_LOW)
    quoins(sheet, FLANK / 2, COURSES_EAST)
    plinth(sheet, -0.12, FLANK + 0.12)
    string_course(sheet, -0.07, FLANK + 0.07)


def _surrounded_window(sheet: Sheet, centre: float) -> None:
    """Round-arched window with a moulded limestone surround."""
    ring, _ = surround(centre)
    sheet.shade(moved(ring, 0.05, -0.06), alpha=0.12)
    sheet.fill([ring], LIMESTONE[0], weight=1.2)
    head, rolls = (centre, WINDOW_SPRING), (0.64, 0.8)
    tinted(sheet, wedges(head, (WINDOW_HALF, SURROUND), 11), LIMESTONE, 0.8)
    for side in (-1, 1):
        left, right = sorted((centre + side * WINDOW_HALF, centre + side * SURROUND))
        tinted(sheet, jamb(left, right, (SILL_TOP, WINDOW_SPRING), 0.48), LIMESTONE, 0.8)
        places = [centre + side * radius for radius in rolls]
        sheet.line(upright(SILL_TOP, WINDOW_SPRING, places), 0.6, alpha=0.8)
    sheet.line([arc(head, radius, 0, 180) for radius in rolls], 0.6, alpha=0.8)
    key_top = WINDOW_SPRING + SURROUND
    key = [*arc(head, WINDOW_HALF, 98, 82, 3), (centre + 0.15, key_top), (centre - 0.15, key_top)]
    sheet.fill([key], LIMESTONE[2], weight=1)
    window(sheet, centre)
    sill(sheet, centre, SILL_EAST, LIMESTONE[1])
    for side in (-1, 1):
        x = centre + side * 0.82
        sheet.fill([turned(x, [(0.09, STRING[1]), (0.06, 2.55)])], SANDSTONE[2], weight=0.9)


def _parapet_end(sheet: Sheet) -> None:
    """End of the parapet of the north front, seen from its side."""
    for low, high, left in ((CORNICE, 8.95, 19.2), (8.95, 9.1, 19.1)):
        sheet.fill([rect(left, low, FLANK, high)], GRANITE[0], weight=1.2)
    ball_finial(sheet, 19.55)


def _date_panel(sheet: Sheet) -> None:
    """Polished granite panel over the porch."""
    left, _, right, top = DATE_PANEL
    sheet.fill([rect(*DATE_PANEL)], "#d8d4d1", weight=1.2)
    sheet.outline(inset(DATE_PANEL, 0.06))
    edge, head = left + 0.06, top - 0.06
    gleam = [(edge, 4.9), (left + 0.3, head), (left + 0.55, head), (edge, 4.65)]
    sheet.fill([gleam], WHITE, weight=0, alpha=0.4)
    sheet.text("1887", ((left + right) / 2, 4.69), 0.3)


def _porch_door(sheet: Sheet) -> None:
    """Half-glazed door in the shadow of the porch, and the paving before it."""
    left, right = PORCH
    sheet.shade(rect(left, 0, right, 3.05), alpha=0.13)
    sheet.shade(rect(left, 2.3, right, 3.05), alpha=0.1)
    middle = (left + right) / 2
    sheet.fill([rect(middle - 1.2, 0.2, middle + 1.2, 2.98)], LIMESTONE[3], weight=1.1)
    sheet.fill([rect(middle - 0.95, 0.2, middle + 0.95, 2.75)], "#cfcdc6", weight=1.3)
    for a, b in ((middle - 0.95, middle), (middle, middle + 0.95)):
        sheet.fill([rect(a + 0.12, 0.35, b - 0.12, 1.2)], "#c4c2bb", weight=0.8)
        sheet.fill([rect(a + 0.12, 1.35, b - 0.12, 2.6)], GLASS, weight=0.8)
        bars = across(a + 0.12, b - 0.12, (1.77, 2.18)) + upright(1.35, 2.6, [(a + b) / 2])
        sheet.line(bars, 2.6, ink="#f4f3f0")
    sheet.line(upright(0.2, 2.75, [middle]), 1.2)
    paving = [rect(left + 0.1, 0, right - 0.1, 0.1), rect(middle - 1.5, 0.1, middle + 1.5, 0.2)]
    sheet.fill(paving, PALE_GRANITE[0], weight=1)


# --- chimney base ---------------------------------------------------------------------------------


def _chimney(sheet: Sheet) -> None:
    """Brick chimney base in two stages under a stone slab, with the foot of the shaft."""
    (_, right), (_, upper_right) = CHIMNEY, CHIMNEY_UPPER
    lower_shadow = rect(right, 0, right + 0.35, 4.1)
    sheet.shade(lower_shadow, rect(upper_right, 4.4, right + 0.1, 8.6), alpha=0.13)
    _lower_stage(sheet)
    _upper_stage(sheet)
    _chimney_head(sheet)
    spray_paint(sheet, (3.85, 0.95, 5.35, 1.8))
    corners = upright(0.75, SET_OFF[0], CHIMNEY) + upright(SET_OFF[1], BASE_TOP, CHIMNEY_UPPER)
    sheet.line(corners, 1.5)


def _lower_stage(sheet: Sheet) -> None:
    """Footing, damp-course band and body with a blind arch."""
    left, right = CHIMNEY
    bricks(sheet, (left, 0.75, right, SET_OFF[0]), BRICK)
    bricks(sheet, (left - 0.06, 0.15, right + 0.06, 0.75), BRICK[1:])
    sheet.fill([rect(left - 0.15, 0, right + 0.15, 0.15)], GRANITE[1], weight=1.1)
    for y, weight in ((0.75, 1.2), (0.45, 2.4)):
        sheet.line(across(left - 0.06, right + 0.06, [y]), weight, alpha=0.75)
    sheet.shade(rect(left - 0.06, 0.15, right + 0.06, 0.5), alpha=0.05)
    _blind_arch(sheet, (left + right) / 2)


def _upper_stage(sheet: Sheet) -> None:
    """Limewashed stage with two sunk panels above a weathered set-off."""
    (left, right), (upper_left, upper_right) = CHIMNEY, CHIMNEY_UPPER
    bricks(sheet, (upper_left, SET_OFF[1], upper_right, BASE_TOP), LIMEWASHED)
    foot, head = SET_OFF
    weathering = [(left, foot), (right, foot), (upper_right, head), (upper_left, head)]
    sheet.fill([weathering], SANDSTONE[2], weight=1.2)
    sheet.shade(rect(left, foot - 0.1, right, foot), alpha=0.14)
    for panel in ((2.05, 4.9, 3.2, 8.2), (3.8, 4.9, 4.95, 8.2)):
        _sunk_panel(sheet, panel)
    streaks(sheet, (left + 0.35, right - 0.35), (BASE_TOP, 4.5), 40, WHITE)


def _chimney_head(sheet: Sheet) -> None:
    """Three oversailing courses, the sandstone slab and the foot of the shaft."""
    for i, out in enumerate((0.08, 0.16, 0.24)):
        level = BASE_TOP + 0.15 * i
        left, right = CHIMNEY_UPPER[0] - out, CHIMNEY_UPPER[1] + out
        bricks(sheet, (left, level, right, level + 0.15), BRICK)
        sheet.line(across(left, right, [level]), 1)
    middle = sum(CHIMNEY) / 2
    sheet.fill([turned(middle, [(2.1, 9.15), (2.1, 9.33), (1.1, 9.62)])], SANDSTONE[2], weight=1.3)
    sheet.line(across(middle - 2.1, middle + 2.1, [9.33]), 0.7)
    chimney_shaft(sheet, middle, 9.62, 13.4)


def _blind_arch(sheet: Sheet, centre: float) -> None:
    """Blind arch with an iron soot door in the lower stage."""
    spring, half = 2.75, 0.8
    sheet.fill([arch(centre, 0.75, spring, half)], "#dccabd", weight=1.1, alpha=0.5)
    tinted(sheet, wedges((centre, spring), (half, 1.04), 23), BRICK, 0.6)
    sheet.line([arc((centre, spring), 1.04, 0, 180)], 1)
    sheet.shade(reveal_shadow(centre, 0.75, spring, half, 0.1), alpha=0.2)
    door = (centre - 0.45, 0.95, centre + 0.15, 1.85)
    left, bottom, right, top = door
    sheet.fill([rect(*door)], "#d0d1d0", weight=1.3)
    sheet.outline(inset(door, 0.06), 0.8)
    levels = spaced(bottom + 0.06, top - 0.06, 0.2)
    sheet.discs([(x, y) for x in (left + 0.03, right - 0.03) for y in levels], 0.012, "#f0f0ee")
    sheet.line(across(left, right, (bottom + 0.25, top - 0.25)), 1.4)


def _sunk_panel(sheet: Sheet, box: Box) -> None:
    """Tall recess in the brickwork with a round head."""
    left, bottom, right, top = box
    half, x = (right - left) / 2, (left + right) / 2
    head = (x, top - half)
    sheet.fill([arch(x, bottom, top - half, half)], "#d9cdc3", weight=1.1, alpha=0.28)
    sheet.line([arc(head, half + r, 0, 180) for r in (0.11, 0.22)], 0.7, alpha=0.8)
    sheet.line(spokes(head, (half, half + 0.22), range(0, 181, 9)), 0.5, alpha=0.7)
    sheet.shade(reveal_shadow(x, bottom, top - half, half, 0.08), alpha=0.16)
    sheet.fill([rect(left - 0.06, bottom - 0.09, right + 0.06, bottom)], SANDSTONE[2], weight=0.9)
