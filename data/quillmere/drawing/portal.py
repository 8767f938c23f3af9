"""The great door of the north front: steps, jambs, polished shafts, arch and boarded leaves."""

from .engine_house import reveal_shadow
from .engine_house_zones import (
    DOOR,
    DOOR_JAMB,
    DOOR_RADII,
    DOOR_SHAFT,
    DOOR_SPRING,
    KEY_TOP,
    door_reveal,
    voussoir_ring,
)
from .ironwork import GLASS, WHITE_PAINT
from .masonry import JOINT, LIMESTONE, PALE_GRANITE, jamb, specks, tinted, wedges
from .pen import (
    SHADE,
    WHITE,
    Box,
    Sheet,
    across,
    arc,
    arch,
    mirrored,
    moved,
    rect,
    spaced,
    spokes,
    turned,
)
from .soiling import scratched_names

LEAF, REVEAL, OUTER = DOOR_RADII
ARCH = (DOOR, DOOR_SPRING)  # centre of the arch
STEP_TOP = 0.3


# --- the stone of the portal ----------------------------------------------------------------------


def portal(sheet: Sheet) -> None:
    """Arch, jambs, polished shafts and the steps of the great door."""
    _arch(sheet)
    for mirror in (False, True):
        _jamb(sheet, mirror)
    scratched_names(sheet, (DOOR_JAMB + 0.05, 0.9, DOOR_SHAFT - 0.05, 1.9))
    sheet.fill([rect(DOOR - OUTER, 0.15, DOOR + OUTER, STEP_TOP)], LIMESTONE[1], weight=1)
    for low, half in ((0.0, 2.2), (0.15, 2.05)):
        sheet.fill([rect(DOOR - half, low, DOOR + half, low + 0.15)], PALE_GRANITE[1], weight=1)
        sheet.line(across(DOOR - half, DOOR + half, [low + 0.12]), 0.6, alpha=0.7)


def _arch(sheet: Sheet) -> None:
    """Voussoirs on either side of a key stone with a sunk face."""
    ring = voussoir_ring()
    sheet.shade(moved(ring, 0.09, -0.1), alpha=0.12)
    halves = ((0, 83), (97, 180))
    voussoirs = [stone for half in halves for stone in wedges(ARCH, (REVEAL, OUTER), 10, half)]
    tinted(sheet, voussoirs, PALE_GRANITE, 0.9)
    specks(sheet, (DOOR - 1.4, 5.1, DOOR + 1.4, 5.6), 22)
    key = [*arc(ARCH, REVEAL, 97, 83, 4), (DOOR + 0.3, KEY_TOP), (DOOR - 0.3, KEY_TOP)]
    sheet.fill([key], PALE_GRANITE[2], weight=1.1)
    sheet.outline([(DOOR + (x - DOOR) * 0.72, 5.55 + (y - 5.55) * 0.8) for x, y in key])
    for half in halves:
        sheet.line([arc(ARCH, r, *half) for r in (OUTER - 0.09, OUTER - 0.13)], 0.7, alpha=0.7)
    sheet.outline(ring, 1.3)


def _jamb(sheet: Sheet, mirror: bool) -> None:
    """Limestone jamb, polished shaft and impost on one side of the door."""
    stones = jamb(DOOR_JAMB, DOOR_SHAFT, (STEP_TOP, 3.3), 0.5)
    impost = rect(DOOR_JAMB - 0.04, 3.3, DOOR - REVEAL + 0.02, DOOR_SPRING)
    if mirror:
        stones = [mirrored(stone, DOOR) for stone in stones]
        impost = mirrored(impost, DOOR)
    tinted(sheet, stones, LIMESTONE, 0.9)
    _polished_shaft(sheet, DOOR + (REVEAL + 0.11) * (1 if mirror else -1))
    left, right = min(x for x, _ in impost), max(x for x, _ in impost)
    sheet.shade(rect(left, 3.2, right, 3.3), alpha=0.14)
    sheet.fill([impost], LIMESTONE[2], weight=1.1)
    sheet.line(across(left, right, (3.36, 3.46)), 0.7)


def _polished_shaft(sheet: Sheet, centre: float) -> None:
    """Polished granite shaft between a moulded base and a leafy capital."""
    sheet.fill([rect(centre - 0.11, 0.75, centre + 0.11, 3.3)], "#d8d2ce", weight=1.1)
    for a, b, colour, alpha in (
        (-0.11, -0.07, SHADE, 0.12),
        (0.03, 0.11, SHADE, 0.14),
        (0.07, 0.11, SHADE, 0.14),
        (-0.05, -0.015, WHITE, 0.75),
    ):
        sheet.fill([rect(centre + a, 0.76, centre + b, 3.08)], colour, weight=0, alpha=alpha)
    base = ((0.17, STEP_TOP), (0.17, 0.52), (0.14, 0.56), (0.16, 0.64), (0.12, 0.7), (0.12, 0.75))
    sheet.fill([turned(centre, base)], LIMESTONE[1], weight=1)
    sheet.line(across(centre - 0.16, centre + 0.16, (0.52, 0.64)), 0.7)
    sheet.fill([turned(centre, [(0.1, 3.02), (0.12, 3.14), (0.2, 3.3)])], LIMESTONE[1], weight=1)
    leaves = [
        [
            (centre + x, 3.05),
            (centre + x * 1.3 - 0.02, 3.15),
            (centre + x * 1.7, 3.24),
            (centre + x * 1.9, 3.2),
        ]
        for x in (-0.08, -0.035, 0.035, 0.08)
    ]
    sheet.line(leaves, 0.8)


# --- the door -------------------------------------------------------------------------------------


def great_door(sheet: Sheet) -> None:
    """Reveal, fanlight and the two boarded leaves."""
    _reveal(sheet)
    opening = arch(DOOR, STEP_TOP, DOOR_SPRING, LEAF)
    sheet.fill([opening], "#d5d3cc", weight=1.6)
    _fanlight(sheet)
    for side in (-1, 1):
        _leaf(sheet, side)
    sheet.shade(reveal_shadow(DOOR, STEP_TOP, DOOR_SPRING, LEAF, 0.12), alpha=0.24)
    sheet.outline(opening, 1.8)


def _reveal(sheet: Sheet) -> None:
    """Granite reveal with its joints, darker under the soffit."""
    sheet.fill([door_reveal()], "#dcdad4", weight=1)
    joints = spokes(ARCH, (LEAF, REVEAL), range(15, 180, 15))
    levels = spaced(STEP_TOP, DOOR_SPRING, 0.5)
    for side in (-1, 1):
        joints += across(DOOR + side * LEAF, DOOR + side * REVEAL, levels)
    sheet.line(joints, 0.7, alpha=0.7)
    sheet.shade([*arc(ARCH, REVEAL, 180, 0), *arc(ARCH, LEAF, 0, 180)], alpha=0.16)
    sheet.shade(rect(DOOR - REVEAL, STEP_TOP, DOOR - LEAF, DOOR_SPRING), alpha=0.12)


def _fanlight(sheet: Sheet) -> None:
    """Fanlight and the transom under it."""
    fan = [(DOOR + LEAF, 3.4), *arc(ARCH, LEAF, 0, 180), (DOOR - LEAF, 3.4)]
    sheet.fill([fan], GLASS, weight=1)
    bars = spokes(ARCH, (0.3, LEAF - 0.03), (22.5, 45, 67.5, 90, 112.5, 135, 157.5))
    bars += [arc(ARCH, 0.3, 0, 180, 14), arc(ARCH, 0.75, 0, 180)]
    sheet.bar(bars, (4.6, 3.2), WHITE_PAINT, edge=JOINT)
    sheet.fill([rect(DOOR - LEAF, 3.3, DOOR + LEAF, DOOR_SPRING)], "#e6e4de", weight=1)
    sheet.line(across(DOOR - LEAF, DOOR + LEAF, [3.42]), 0.7)


def _leaf(sheet: Sheet, side: int) -> None:
    """One leaf: three panels with slanting boards, strap hinges, a ring."""
    hinge = DOOR + side * LEAF
    a, b = sorted((DOOR, hinge))
    sheet.fill([rect(a, STEP_TOP, b, 3.3)], "#d0cec7", weight=1.2)
    for low, high in ((0.45, 1.15), (1.3, 2.25), (2.4, 3.18)):
        _boarded_panel(sheet, (a + 0.13, low, b - 0.13, high), side)
    for y in (0.75, 2.9):
        tail, end = hinge - side * 0.75, hinge - side * 0.82
        strap = [(hinge, y - 0.035), (hinge, y + 0.035), (tail, y + 0.015), (end, y)]
        sheet.fill([[*strap, (tail, y - 0.015)]], "#8f8d88", weight=0.8)
        sheet.discs([(hinge - side * d, y) for d in (0.12, 0.35, 0.58)], 0.014, "#e8e7e3", 0.4)
    sheet.discs([(DOOR + side * 0.2, 1.78)], 0.06, "none", 1.6)


def _boarded_panel(sheet: Sheet, panel: Box, side: int) -> None:
    """Panel of boards that slant towards the middle of the door."""
    left, low, right, high = panel
    sheet.fill([rect(*panel)], "#c6c4bd", weight=0.9)
    boards = []
    for start in spaced(-1.2, 1.2, 0.11):
        t0, t1 = max(0.0, -start), min(right - left, high - low - start)
        if t1 > t0:
            x0, x1 = (right - t0, right - t1) if side > 0 else (left + t0, left + t1)
            boards.append([(x0, low + start + t0), (x1, low + start + t1)])
    sheet.line(boards, 0.6, alpha=0.6)
    sheet.shade(rect(left, high - 0.05, right, high), alpha=0.22)
