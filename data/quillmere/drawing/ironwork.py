"""How metal is drawn: colours of iron and steel; the porch, rainwater goods and copper lantern."""

import math

from .engine_house_zones import (
    COLUMN_PROFILE,
    CORNICE,
    FLANK,
    LANTERN_PANEL,
    PLINTH,
    PORCH,
    PORCH_COLUMNS,
    column,
    porch_gutter,
)
from .masonry import JOINT, LIMESTONE
from .pen import WHITE, Sheet, across, arc, inset, moved, rect, spaced, turned, upright
from .soiling import streaks

IRON = "#dfe1e1"
COPPER = "#c9d6cf"
GLASS = "#c3c9ca"
WHITE_PAINT = "#f7f6f3"
STEEL = ("#e6e9ea", "#e1e4e6", "#e9ebec")
STEEL_DARK = "#d7dadb"
STEEL_LIGHT = "#f1f2f2"
BASE_PLATE = "#d0d3d4"
RIVET, RIVET_M = "#fafbfb", 0.019  # colour and radius
LEG_RIVET = "#f8f9f9"


# --- rainwater and light --------------------------------------------------------------------------


def eaves_gutter(sheet: Sheet) -> None:
    """Cast-iron eaves gutter of the flank, with its brackets."""
    left, right = -0.5, FLANK - 0.9
    trough = [(left, CORNICE), (right, CORNICE), (right, 8.32), (left - 0.05, 8.32)]
    sheet.fill([trough], IRON, weight=1.2)
    sheet.line(across(left, right, (8.15, 8.26)), 0.6)
    for x in spaced(left + 1.3, right - 0.4, 1.83):
        sheet.fill([rect(x - 0.05, 8.08, x + 0.05, 8.34)], "#d3d5d5", weight=0.8)


def downpipe(sheet: Sheet, x: float, top: float, foot: float = PLINTH - 0.12) -> None:
    """Cast-iron rainwater pipe with hopper, ears and shoe."""
    sheet.shade(rect(x + 0.06, foot + 0.1, x + 0.14, top - 0.3), alpha=0.14)
    sheet.fill([rect(x - 0.06, foot + 0.08, x + 0.06, top - 0.3)], IRON, weight=1)
    sheet.shade(rect(x + 0.02, foot + 0.08, x + 0.06, top - 0.3), alpha=0.14)
    for y in spaced(foot + 0.4, top - 0.7, 1.5):
        ears, socket = rect(x - 0.13, y, x + 0.13, y + 0.07), (x - 0.08, y + 0.07)
        sheet.fill([ears, rect(*socket, x + 0.08, y + 0.16)], IRON, weight=0.9)
    hopper = turned(x, [(0.08, top - 0.38), (0.24, top - 0.06), (0.27, top)])
    sheet.fill([hopper], IRON, weight=1.1)
    sheet.line(across(x - 0.24, x + 0.24, [top - 0.06]), 0.7)
    shoe = [(x - 0.06, foot + 0.12), (x + 0.06, foot + 0.12), (x + 0.17, foot - 0.04)]
    sheet.fill([[*shoe, (x + 0.07, foot - 0.1)]], IRON, weight=1)


def lantern(sheet: Sheet) -> None:
    """Copper lantern on its bracket, the limestone panel below, and a green hint of run-off."""
    left, bottom, right, top = LANTERN_PANEL
    sheet.fill([rect(*LANTERN_PANEL)], LIMESTONE[0], weight=1.1)
    sheet.outline(inset(LANTERN_PANEL, 0.05), 0.6)
    streaks(sheet, (left + 0.12, right - 0.12), (top, bottom), 12, "#5f8f7f")
    x = (left + right) / 2
    sheet.fill([rect(x - 0.06, 3.98, x + 0.06, 4.5)], COPPER, weight=1)
    sheet.discs([(x, 4.56)], 0.055, COPPER, 1)
    scroll = arc((0.15, 4.22), 0.1, 250, 560, 18)
    scrolls = [[(x, 4.02), *[(x + side * a, b) for a, b in scroll]] for side in (-1, 1)]
    sheet.line(scrolls, 2.2, ink="#6f8279")
    sheet.line(upright(3.9, 4.02, [x]), 2.2, ink="#6f8279")
    sheet.fill([turned(x, [(0.1, 3.2), (0.17, 3.72)])], "#f4f3ea", weight=1.1)
    sheet.line([[(x, 3.2), (x, 3.72)], [(x - 0.135, 3.46), (x + 0.135, 3.46)]], 0.7)
    for cap in ([(0.22, 3.72), (0.07, 3.92)], [(0.1, 3.2), (0.03, 3.1)]):
        sheet.fill([turned(x, cap)], COPPER, weight=1)


# --- porch ----------------------------------------------------------------------------------------


def porch_roof(sheet: Sheet) -> None:
    """Glazed lean-to, a few panes darker than the others."""
    left, right = PORCH
    roof = [(left - 0.12, 3.38), (right + 0.12, 3.38), (right - 0.2, 4.36), (left + 0.2, 4.36)]
    sheet.fill([roof], "#e3e8e8", weight=1.1)
    bars = [
        [
            (left - 0.12 + (right - left + 0.24) * t, 3.38),
            (left + 0.2 + (right - left - 0.4) * t, 4.36),
        ]
        for t in spaced(0, 1, 1 / 16)
    ]
    sheet.bar(bars, (2.4, 1.2), WHITE_PAINT, edge=JOINT)
    for i in (2, 5, 6, 11, 13):
        sheet.shade([*bars[i], *reversed(bars[i + 1])], alpha=0.07)
    sheet.fill([rect(left + 0.15, 4.34, right - 0.15, 4.42)], "#d6d8d8", weight=1)


def porch_iron(sheet: Sheet) -> None:
    """Gutter with its rosettes, and the four columns that carry it."""
    left, right = PORCH
    gutter = porch_gutter()
    sheet.shade(moved(gutter, 0.06, -0.08), alpha=0.14)
    sheet.fill([gutter], IRON, weight=1.3)
    sheet.line(
        across(left - 0.04, right + 0.04, [3.12]) + across(left - 0.1, right + 0.1, [3.3]), 0.8
    )
    rosettes = [(x, 3.21) for x in spaced(left + 0.12, right - 0.12, 0.24)]
    sheet.discs(rosettes, 0.05, "#eceded", 0.7)
    sheet.discs(rosettes, 0.018, "#c6c8c8", 0.5)
    for x in PORCH_COLUMNS:
        _scrolls(sheet, x)
        _column(sheet, x)


def _scrolls(sheet: Sheet, x: float) -> None:
    """Scrolls that fill the brackets beside a column."""
    for side in (-1, 1):
        scroll = [
            (x + side * (0.17 + 0.09 * math.cos(a / 6)), 2.86 + 0.09 * math.sin(a / 6))
            for a in range(34)
        ]
        sheet.line([scroll], 0.9)
        stem = [(x + side * 0.07, 2.5), (x + side * 0.09, 2.74), (x + side * 0.16, 2.77)]
        sheet.line([stem], 0.9)


def _column(sheet: Sheet, x: float) -> None:
    """Column with mouldings, fluted base and leafy capital."""
    outline = column(x)
    sheet.shade(moved(outline, 0.07, 0), alpha=0.1)
    sheet.fill([outline], "#e4e6e6", weight=1.3)
    dark_side = [(x + 0.035, 0.5), (x + 0.115, 0.5), (x + 0.085, 2.15), (x + 0.025, 2.15)]
    sheet.shade(dark_side, alpha=0.16)
    sheet.line([[(x - 0.045, 0.55), (x - 0.035, 2.12)]], 2, ink=WHITE, alpha=0.9)
    sheet.line([[(x - half, y), (x + half, y)] for half, y in COLUMN_PROFILE[1:-1]], 0.8)
    flutes = upright(0.06, 0.26, (x - 0.11, x, x + 0.11))
    leaves = [
        [(x + d * 0.6, 2.27), (x + d, 2.36), (x + d * 1.3, 2.4)] for d in (-0.1, -0.04, 0.04, 0.1)
    ]
    sheet.line([*flutes, *leaves], 0.7, alpha=0.8)
