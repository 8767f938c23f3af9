"""Measures and zones of the engine house: its north front and its east flank."""

import itertools
from collections.abc import Sequence

from .pen import Box, Point, Polygon, arc, arch, both_sides, mirrored, rect, turned

# --- what both fronts share [m] -------------------------------------------------------------------

PLINTH = 1.5
STRING = (2.45, 2.75)
EAVES = 7.4
CORNICE = 8.1
COURSES_LOW = [PLINTH + 0.475 * i for i in range(3)]
COURSES_HIGH = [STRING[1] + 0.465 * i for i in range(11)]
QUOIN = (0.75, 1.1)  # short and long stones
SILL_TOP, WINDOW_SPRING, WINDOW_HALF = 2.98, 5.35, 0.58


def _teeth(courses: Sequence[float]) -> Polygon:
    """Edge of a quoin seen from below to above, alternately long and short."""
    edge: Polygon = []
    for i, (low, high) in enumerate(itertools.pairwise(courses)):
        x = QUOIN[i % 2 == 0]
        edge += [(x, low), (x, high)]
    return edge


# --- north front ----------------------------------------------------------------------------------

DOOR = 8.0  # axis of the great door
DOOR_SPRING = 3.55
DOOR_RADII = (1.15, 1.45, 2.2)  # leaf; reveal; outside of the voussoirs
DOOR_JAMB, DOOR_SHAFT = DOOR - DOOR_RADII[2], DOOR - DOOR_RADII[1] - 0.22  # left edges
KEY_TOP = 6.1
WINDOWS_NORTH = (2.1, 4.1, 11.9, 13.9)
HOOD = (0.78, 0.92, 5.05)  # inner and outer radius, foot of the label stops
SILL_NORTH = 0.95  # half its length
DATESTONE: Box = (7.0, KEY_TOP, 9.0, 6.98)
LANTERN_PANEL: Box = (5.15, STRING[1], 5.8, DOOR_SPRING)
PAINT_NORTH: Polygon = [
    *((10.2, 0), (11.85, 0), (11.9, 0.62), (11.45, 1.12), (10.8, 1.22), (10.2, 1.05)),
]
CORNICE_PROFILE: Polygon = [
    *((0.0, EAVES), (-0.08, 7.42), (-0.08, 7.55), (-0.14, 7.72)),
    *((-0.34, 7.75), (-0.34, 7.92), (-0.46, CORNICE)),
]


def north_zones() -> dict[str, list[Polygon]]:
    """Zones of the north front."""
    _, reveal, _ = DOOR_RADII
    sills = [rect(x - SILL_NORTH, STRING[1], x + SILL_NORTH, SILL_TOP) for x in WINDOWS_NORTH]
    return {
        "N01": [rect(-0.12, 0, DOOR_JAMB, PLINTH)],
        "N02": [[*PAINT_NORTH[1:], (10.2, PLINTH), (16.12, PLINTH), (16.12, 0)]],
        "N03": both_sides(rect(DOOR_SHAFT, 0.75, DOOR - reveal, 3.3), DOOR),
        "N04": _field_north(with_panel=True),
        "N05": [mirrored(each, DOOR) for each in _field_north(with_panel=False)],
        "N06": [door_reveal()],
        "N07": [voussoir_ring()],
        "N08": both_sides(rect(-0.07, STRING[0], DOOR_JAMB, STRING[1]), DOOR),
        "N09": [cornice(DOOR)],
        "N10": [mirrored(cornice(DOOR), DOOR)],
        "N11": [rect(*DATESTONE)],
        "N12": [parapet()],
        "N13": sills[:2],
        "N14": sills[2:],
        "N15": [PAINT_NORTH],
        "N16": both_sides(rect(DOOR_JAMB, 0.3, DOOR_SHAFT, 2.1), DOOR),
        "N17": [rect(*LANTERN_PANEL)],
        "N18": [hood(x) for x in WINDOWS_NORTH],
    }


def door_reveal() -> Polygon:
    """Reveal of the great door, an inverted U."""
    leaf, reveal, _ = DOOR_RADII
    return [
        *arch(DOOR, 0.3, DOOR_SPRING, reveal)[1:],
        (DOOR - reveal, 0.3),
        (DOOR - leaf, 0.3),
        *arc((DOOR, DOOR_SPRING), leaf, 180, 0),
        (DOOR + leaf, 0.3),
    ]


def voussoir_ring() -> Polygon:
    """Arch of the great door with its key stone."""
    centre, (_, inner, outer) = (DOOR, DOOR_SPRING), DOOR_RADII
    return [
        *arc(centre, outer, 0, 83),
        (DOOR + 0.3, KEY_TOP),
        (DOOR - 0.3, KEY_TOP),
        *arc(centre, outer, 97, 180),
        *arc(centre, inner, 180, 0),
    ]


def hood(centre: float) -> Polygon:
    """Hood mould of a window with its label stops."""
    inner, outer, foot = HOOD
    return [
        (centre + inner, foot),
        (centre + outer, foot),
        *arc((centre, WINDOW_SPRING), outer, 0, 180),
        (centre - outer, foot),
        (centre - inner, foot),
        *arc((centre, WINDOW_SPRING), inner, 180, 0),
    ]


def cornice(axis: float) -> Polygon:
    """Left half of the cornice, up to the axis of a front, with its moulded return."""
    return [(axis, CORNICE), (axis, EAVES), *CORNICE_PROFILE]


def parapet() -> Polygon:
    """Parapet with its raised centre."""
    gable = [
        (x, 9.45 + 0.65 * (1 - ((x - DOOR) / 2.1) ** 2))
        for x in [DOOR + 2.1 - 4.2 * i / 24 for i in range(25)]
    ]
    right = [(10.6, 9.1), (10.6, 9.6), (10.1, 9.6)]
    left = [(5.9, 9.6), (5.4, 9.6), (5.4, 9.1)]
    return [(0, CORNICE), (16, CORNICE), (16, 9.1), *right, *gable, *left, (0, 9.1)]


def _hood_notch(centre: float) -> Polygon:
    """Notch that a window with sill and hood mould cuts from the field above the string."""
    inner, outer, foot = HOOD
    left = [
        (centre - SILL_NORTH, STRING[1]),
        (centre - SILL_NORTH, SILL_TOP),
        (centre - inner, SILL_TOP),
        (centre - inner, foot),
        (centre - outer, foot),
    ]
    return [*left, *arc((centre, WINDOW_SPRING), outer, 180, 0), *mirrored(left, centre)]


def _field_north(with_panel: bool) -> list[Polygon]:
    """Left ashlar field: a strip below the string course, a comb around the windows above it."""
    strip = [(DOOR_JAMB, PLINTH), (DOOR_JAMB, STRING[0]), *reversed(_teeth(COURSES_LOW))]
    left, bottom, right, top = LANTERN_PANEL
    panel = [(left, bottom), (left, top), (right, top)] if with_panel else [(right, bottom)]
    comb = [
        (QUOIN[1], STRING[1]),
        *_hood_notch(WINDOWS_NORTH[0]),
        *_hood_notch(WINDOWS_NORTH[1]),
        *panel,
        *arc((DOOR, DOOR_SPRING), DOOR_RADII[2], 180, 97),
        (DOOR - 0.3, KEY_TOP),
        (DATESTONE[0], KEY_TOP),
        (DATESTONE[0], DATESTONE[3]),
        (DOOR, DATESTONE[3]),
        (DOOR, EAVES),
        *reversed(_teeth(COURSES_HIGH)),
    ]
    return [strip, comb]


# --- east flank -----------------------------------------------------------------------------------

FLANK = 20.0  # length of the east flank
CHIMNEY = (1.5, 5.5)
CHIMNEY_UPPER = (CHIMNEY[0] + 0.25, CHIMNEY[1] - 0.25)  # above the set-off
SET_OFF = (4.2, 4.4)
BASE_TOP = 8.7
WINDOWS_EAST = (7.0, 10.3)
SURROUND = 0.86
SILL_EAST = 1.02  # half its length
RUN_OFF = (8.1, 9.2)
SILL_COURSE = 7.15
COURSES_EAST = [*COURSES_HIGH[:-1], SILL_COURSE]
OVER_PORCH: Box = (11.9, 4.42, 18.9, 6.3)
PORCH_COLUMNS = (12.5, 13.75, 17.05, 18.3)
PORCH = (PORCH_COLUMNS[0] - 0.45, PORCH_COLUMNS[-1] + 0.45)
DATE_PANEL: Box = (14.85, 4.42, 15.95, 5.15)
PAINT_EAST: Polygon = [(3.7, 0.75), (5.5, 0.75), (5.5, 1.7), (5.0, 1.95), (4.2, 1.9), (3.75, 1.5)]
LIME_RUN: Polygon = [
    *((12.7, SILL_COURSE), (12.74, 6.75), (12.8, 6.3), (12.81, 5.98), (12.85, 5.79), (12.9, 5.78)),
    *((12.95, 5.97), (12.97, 5.45), (13.02, 5.1), (13.06, 5.04), (13.11, 5.06), (13.15, 5.35)),
    *((13.19, 5.98), (13.25, 6.06), (13.3, 5.86), (13.34, 5.68), (13.4, 5.66), (13.45, 5.9)),
    *((13.47, 6.3), (13.52, 6.72), (13.55, SILL_COURSE)),
]
COLUMN_PROFILE: Polygon = [
    *((0.19, 0.0), (0.19, 0.3), (0.14, 0.36), (0.115, 0.5), (0.085, 2.15)),
    *((0.12, 2.2), (0.1, 2.26), (0.17, 2.42), (0.17, 2.47)),
]


def east_zones() -> dict[str, list[Polygon]]:
    """Zones of the east flank."""
    left, right = CHIMNEY
    lower_stage = [PAINT_EAST[0], *reversed(PAINT_EAST[2:]), (right, SET_OFF[0])]
    columns = [column(x) for x in PORCH_COLUMNS]
    flank_end = FLANK + 0.12
    return {
        "E01": [[(left, 0.75), *lower_stage, (left, SET_OFF[0])]],
        "E02": [rect(CHIMNEY_UPPER[0], SET_OFF[1], CHIMNEY_UPPER[1], BASE_TOP)],
        "E03": [rect(left - 0.06, 0.15, right + 0.06, 0.75)],
        "E04": [rect(RUN_OFF[0], 0, RUN_OFF[1], SILL_COURSE)],
        "E05": _upper_band(),
        "E06": _east_quoins(),
        "E07": [each for x in WINDOWS_EAST for each in surround(x)],
        "E08": [LIME_RUN],
        "E09": columns[:2],
        "E10": columns[2:],
        "E11": [porch_gutter()],
        "E12": [_over_porch()],
        "E13": [
            rect(-0.12, 0, left - 0.15, PLINTH),
            rect(right + 0.15, 0, RUN_OFF[0], STRING[0]),
            rect(RUN_OFF[1], 0, PORCH[0], STRING[0]),
            rect(PORCH[1], 0, flank_end, PLINTH),
        ],
        "E14": [rect(CHIMNEY_UPPER[1], SILL_COURSE, FLANK, EAVES)],
        "E15": [rect(*DATE_PANEL)],
        "E16": [PAINT_EAST],
    }


def surround(centre: float) -> list[Polygon]:
    """Limestone surround of a flank window, and its sill."""
    arch_of = (centre, WINDOW_SPRING)
    outer = [
        (centre - SURROUND, SILL_TOP),
        *arc(arch_of, SURROUND, 180, 0),
        (centre + SURROUND, SILL_TOP),
    ]
    opening = [
        (centre + WINDOW_HALF, SILL_TOP),
        *arc(arch_of, WINDOW_HALF, 0, 180),
        (centre - WINDOW_HALF, SILL_TOP),
    ]
    return [outer + opening, rect(centre - SILL_EAST, STRING[1], centre + SILL_EAST, SILL_TOP)]


def column(centre: float) -> Polygon:
    """Cast-iron column with base, tapering shaft and capital."""
    foot, *rest = turned(centre, COLUMN_PROFILE)
    return [*rest, foot]


def porch_gutter() -> Polygon:
    """Gutter and fascia with a bracket on either side of each column."""
    underside: Polygon = []
    for x in PORCH_COLUMNS:
        reach, spring = 0.36, 2.66
        underside += arc((x - 0.09 - reach, spring), reach, 90, 0, 10)
        underside += [(x - 0.09, 2.47), (x + 0.09, 2.47)]
        underside += arc((x + 0.09 + reach, spring), reach, 180, 90, 10)
    return [*underside, (PORCH[1] + 0.12, 3.38), (PORCH[0] - 0.12, 3.38)]


def _east_quoins() -> list[Polygon]:
    """Sandstone quoins at both corners, parted by the string course."""
    left = [
        [(0, courses[0]), *_teeth(courses), (0, courses[-1])]
        for courses in (COURSES_LOW, COURSES_EAST)
    ]
    return left + [mirrored(each, FLANK / 2) for each in left]


def _surround_notch(centre: float) -> Polygon:
    """Notch that a window with surround and sill cuts from the field above the string."""
    ring, _ = surround(centre)
    around = ring[: len(ring) // 2]
    return [
        (centre - SILL_EAST, STRING[1]),
        (centre - SILL_EAST, SILL_TOP),
        *around,
        (centre + SILL_EAST, SILL_TOP),
        (centre + SILL_EAST, STRING[1]),
    ]


def _upper_band() -> list[Polygon]:
    """Rain-washed granite above the string: around the windows, and over the porch panel."""
    left, _, right, top = OVER_PORCH
    return [
        [
            (CHIMNEY[1], STRING[1]),
            *_surround_notch(WINDOWS_EAST[0]),
            (RUN_OFF[0], STRING[1]),
            (RUN_OFF[0], SILL_COURSE),
            (CHIMNEY[1], SILL_COURSE),
        ],
        [
            (RUN_OFF[1], STRING[1]),
            *_surround_notch(WINDOWS_EAST[1]),
            (left, STRING[1]),
            (left, top),
            *reversed(LIME_RUN[:3]),
            (RUN_OFF[1], SILL_COURSE),
        ],
        [*LIME_RUN[-3:], (right, SILL_COURSE), (right, top)],
    ]


def _over_porch() -> Polygon:
    """Pale granite over the porch, around the date panel and below the lime run."""
    left, bottom, right, top = OVER_PORCH
    x0, _, x1, panel_top = DATE_PANEL
    date_panel: list[Point] = [(x0, bottom), (x0, panel_top), (x1, panel_top), (x1, bottom)]
    corners = [(left, bottom), *date_panel, (right, bottom), (right, top)]
    return [*corners, *reversed(LIME_RUN[2:-2]), (left, top)]
