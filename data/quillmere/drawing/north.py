"""North front: ashlar, hooded windows, parapet, datestone; the east flank faintly beyond."""

import math

from .engine_house import (
    ball_finial,
    chimney_shaft,
    moulded_cornice,
    plinth,
    quoins,
    roof_lantern,
    sill,
    slates,
    string_course,
    window,
)
from .engine_house_zones import (
    CORNICE,
    COURSES_HIGH,
    COURSES_LOW,
    DATESTONE,
    DOOR,
    DOOR_JAMB,
    DOOR_RADII,
    EAVES,
    HOOD,
    PLINTH,
    SILL_NORTH,
    SILL_TOP,
    STRING,
    WINDOW_HALF,
    WINDOW_SPRING,
    WINDOWS_NORTH,
    column,
    hood,
    parapet,
)
from .ironwork import downpipe, lantern
from .masonry import (
    COPING,
    GRANITE,
    LIMESTONE,
    PALE_GRANITE,
    SANDSTONE,
    ashlar,
    jamb,
    specks,
    tinted,
    wedges,
)
from .pen import (
    Point,
    Polygon,
    Sheet,
    across,
    arc,
    inset,
    moved,
    rect,
    spaced,
    spokes,
    upright,
)
from .portal import great_door, portal
from .soiling import spray_paint, streaks

GHOST = "#b9b5ad"  # ink for what stands behind


def north_fabric(sheet: Sheet) -> None:
    """Draw the north front, from what lies behind to what stands in front."""
    _beyond(sheet)
    roof = [(0.5, 8.9), (15.5, 8.9), (8.25, 11.35), (7.75, 11.35)]
    slates(sheet, roof, ((7.75, 11.35), (8.25, 11.35)))
    roof_lantern(sheet, DOOR, 11.3, 0.62)
    ashlar(sheet, (0, STRING[1], 16, EAVES), COURSES_HIGH)
    ashlar(sheet, (0, PLINTH, 16, STRING[0]), COURSES_LOW)
    quoins(sheet, DOOR, COURSES_HIGH)
    plinth(sheet, -0.12, DOOR_JAMB)
    plinth(sheet, DOOR + DOOR_RADII[2], 16.12)
    string_course(sheet, -0.07, DOOR_JAMB)
    string_course(sheet, DOOR + DOOR_RADII[2], 16.07)
    for x in WINDOWS_NORTH:
        _hooded_window(sheet, x)
    moulded_cornice(sheet, DOOR)
    _parapet(sheet)
    portal(sheet)
    great_door(sheet)
    _datestone(sheet)
    lantern(sheet)
    downpipe(sheet, 15.35, 7.3)
    spray_paint(sheet, (10.35, 0.15, 11.75, 1.1))
    streaks(sheet, (15.1, 15.75), (PLINTH, 0.05), 12, "#6f7462")
    for x in WINDOWS_NORTH:
        streaks(sheet, (x - SILL_NORTH, x + SILL_NORTH), (STRING[0], 1.55), 7, "#5f5c55")
    sheet.line(upright(PLINTH, EAVES, (0, 16)), 1.6)


def _beyond(sheet: Sheet) -> None:
    """Parts that stand behind at the left: chimney base and porch, faintly."""
    start = len(sheet.parts)
    sheet.fill([rect(-2.5, 0, 0, 4.2)], "#f8f3ef", GHOST, 1)
    sheet.fill([rect(-2.3, 4.4, 0, 8.7)], "#f8f5f2", GHOST, 1)
    sheet.fill([[(-2.5, 4.2), (0, 4.2), (0, 4.4), (-2.3, 4.4)]], "#f6f4ee", GHOST, 1)
    courses = across(-2.5, 0, spaced(0.1, 4.1, 0.15)) + across(-2.3, 0, spaced(4.5, 8.6, 0.15))
    sheet.line(courses, 0.5, ink="#ddd3ca")
    for low, high, out in ((8.7, 8.85, 0.1), (8.85, 9.0, 0.2), (9.0, 9.25, 0.3)):
        sheet.fill([rect(-2.3 - out, low, 0, high)], "#f6f4ee", GHOST, 0.9)
    chimney_shaft(sheet, -1.15, 9.25, 12.7, GHOST)
    sheet.fill([[(-1.9, 3.38), (0, 4.42), (0, 3.38)]], "#eef1f1", GHOST, 0.9)
    sheet.fill([rect(-1.9, 3.05, 0, 3.38)], "#f1f1f0", GHOST, 0.9)
    sheet.fill([[(-2.02, 3.38), (-1.86, 3.38), (-1.86, 3.2), (-1.96, 3.2)]], "#ffffff", GHOST, 0.9)
    bracket = [(-1.6, 2.47), *arc((-1.1, 2.47), 0.5, 162, 90, 8), (-1.7, 3.05), (-1.7, 2.47)]
    sheet.fill([bracket], "#f1f1f0", GHOST, 0.9)
    sheet.fill([moved(column(0), -1.65, 0)], "#f1f1f0", GHOST, 0.9)
    sheet.parts[start:] = ['<g opacity="0.75">', *sheet.parts[start:], "</g>"]


def _hooded_window(sheet: Sheet, centre: float) -> None:
    """Round-arched window with dressed granite margins and a sandstone hood mould."""
    inner, outer, foot = HOOD
    for side in (-1, 1):
        left, right = sorted((centre + side * inner, centre + side * WINDOW_HALF))
        tinted(sheet, jamb(left, right, (SILL_TOP, WINDOW_SPRING), 0.47), PALE_GRANITE, 0.8)
    arch = (centre, WINDOW_SPRING)
    tinted(sheet, wedges(arch, (WINDOW_HALF, inner), 11), PALE_GRANITE, 0.8)
    sheet.shade(moved(hood(centre), 0.05, -0.07), alpha=0.14)
    tinted(sheet, [hood(centre)], SANDSTONE, 1.1)
    middle = (inner + outer) / 2
    rolls = [arc(arch, middle, 0, 180), arc(arch, middle + 0.04, 0, 180)]
    joints = spokes(arch, (inner, outer), (30, 60, 90, 120, 150))
    sheet.line(rolls + joints, 0.6, alpha=0.7)
    for side in (-1, 1):
        left, right = sorted((centre + side * inner, centre + side * outer))
        sheet.fill([rect(left, foot, right, foot + 0.16)], SANDSTONE[1], weight=1)
    window(sheet, centre)
    sheet.shade(rect(centre - 0.95, 2.66, centre + 0.98, STRING[1]), alpha=0.12)
    sill(sheet, centre, SILL_NORTH, PALE_GRANITE[2])


# --- parapet and datestone ------------------------------------------------------------------------


def _parapet(sheet: Sheet) -> None:
    """Granite parapet with sunk panels, a raised centre with a water roundel, ball finials."""
    outline = parapet()
    sheet.fill([outline], GRANITE[0], weight=0)
    ashlar(sheet, (0, CORNICE, 16, 8.95), [CORNICE, 8.5, 8.95], GRANITE, (0.9, 1.3))
    gable = [point for point in outline if 5.4 <= point[0] <= 10.6 and point[1] > 9]
    sheet.fill([[(5.4, CORNICE), (10.6, CORNICE), *gable]], GRANITE[3], weight=1)
    _sunk_panel(sheet, 1.2, 5.0)
    _sunk_panel(sheet, 11.0, 14.8)
    for left, right in ((0, 5.4), (10.6, 16)):
        sheet.fill([rect(left, 8.95, right, 9.1)], COPING, weight=1)
        sheet.shade(rect(left, 8.87, right, 8.95), alpha=0.14)
    _raised_centre(sheet, gable)
    for x in (0.45, 15.55):
        ball_finial(sheet, x)
        sheet.shade(
            arc((x, 9.57), 0.24, -115, 40) + arc((x - 0.06, 9.62), 0.2, 30, -100), alpha=0.16
        )
    sheet.outline(outline, 1.4)


def _sunk_panel(sheet: Sheet, left: float, right: float) -> None:
    """Long panel sunk into the parapet."""
    bottom, top, lip = 8.3, 8.8, 0.06
    sheet.fill([rect(left, bottom, right, top)], "#e2e1dd", weight=0.8)
    outer = [(left, bottom), (left, top), (right, top)]
    inner = [(right, top - lip), (left + lip, top - lip), (left + lip, bottom)]
    sheet.shade(outer + inner, alpha=0.2)


def _raised_centre(sheet: Sheet, gable: Polygon) -> None:
    """Curved gable between two piers, with the roundel."""
    curve = [point for point in gable if 5.9 <= point[0] <= 10.1 and point[1] >= 9.45]
    sheet.line([[(DOOR + (x - DOOR) * 0.97, y - 0.14) for x, y in curve[1:-1]]], 0.9)
    for left in (5.4, 10.1):
        sheet.fill([rect(left, CORNICE, left + 0.5, 9.6)], GRANITE[1], weight=1)
        sheet.fill([rect(left, 9.45, left + 0.5, 9.6)], COPING, weight=0.9)
        sheet.outline(rect(left + 0.1, 8.3, left + 0.4, 9.3), 0.6)
    _roundel(sheet, (DOOR, 9.12), 0.62)
    specks(sheet, (5.5, 8.2, 10.5, 9.4), 14)


def _roundel(sheet: Sheet, centre: Point, radius: float) -> None:
    """Carved roundel: three waves within a wreath of beads."""
    sheet.discs([centre], radius, "#f4f2ed", 1.1)
    sheet.discs([centre], radius - 0.13, "#e6e5e0", 0.9)
    sheet.discs(arc(centre, radius - 0.065, 0, 352, 35), 0.035, "#f8f6f1", 0.6)
    waves = []
    for level in (-0.2, -0.02, 0.16):
        half = math.sqrt((radius - 0.16) ** 2 - level**2)
        wave = [(x, level + 0.055 * math.sin(x * 19)) for x in spaced(-half, half, 0.03)]
        waves.append(moved(wave, *centre))
    sheet.line(waves, 2.6, ink="#fbfaf6")
    sheet.line([moved(wave, 0, -0.02) for wave in waves], 0.9)
    sheet.line([moved(wave, 0, 0.02) for wave in waves], 0.6, alpha=0.7)


def _datestone(sheet: Sheet) -> None:
    """Inscribed limestone tablet with a moulded frame."""
    left, bottom, right, top = DATESTONE
    sheet.shade(rect(left + 0.07, bottom - 0.08, right + 0.07, top - 0.06), alpha=0.13)
    sheet.fill([rect(*DATESTONE)], LIMESTONE[2], weight=1.3)
    for margin in (0.06, 0.1):
        sheet.outline(inset(DATESTONE, margin))
    sheet.text("QUILLMERE", (DOOR, 6.62), 0.235)
    sheet.text("1887", (DOOR, 6.28), 0.29)
    for x in (7.32, 8.68):
        sheet.outline([(x - 0.13, 6.38), (x, 6.45), (x + 0.13, 6.38), (x, 6.31)], 0.8)
