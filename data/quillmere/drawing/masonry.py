"""How stone and brick are drawn: coursed, rock-faced and dressed blocks, arches, brickwork."""

import itertools
from collections.abc import Iterable, Sequence

from .pen import (
    UNITS_PER_M,
    WHITE,
    Box,
    Point,
    Polygon,
    Sheet,
    arc,
    inset,
    number,
    rect,
    spaced,
)

GRANITE = ("#ecebe8", "#e6e5e1", "#e1e0dc", "#efeeeb", "#e8e6e1")
PALE_GRANITE = ("#f3f0ea", "#efebe4", "#f5f2ed", "#f1ede7")
COPING = "#f3f2ef"
SANDSTONE = ("#efe4cf", "#ebdec6", "#f2e9d8", "#ede0cb")
LIMESTONE = ("#f7f3e7", "#f5f0e3", "#f9f6ed", "#f4efe2")
BRICK = ("#ecdcd1", "#e6d2c6", "#f0e2d8", "#e3cec1", "#ead6c9")
LIMEWASHED = ("#f3ece6", "#efe5dd", "#f6f1ec", "#eadfd6", "#f4eee8")
JOINT = "#8b877e"
BRICK_JOINT = "#b3a498"


# --- blocks ---------------------------------------------------------------------------------------


def tinted(
    sheet: Sheet, polygons: Iterable[Polygon], tints: Sequence[str], weight: float = 0.7
) -> None:
    """Fill each polygon with one of the tints, at random."""
    heaps: dict[str, list[Polygon]] = {tint: [] for tint in tints}
    for polygon in polygons:
        heaps[sheet.rng.choice(tints)].append(polygon)
    for tint, heap in heaps.items():
        sheet.fill(heap, tint, ink=JOINT, weight=weight)


def course(left: float, right: float, bed: tuple[float, float], length: float) -> list[Polygon]:
    """Stones of equal length side by side on one bed."""
    return [rect(a, bed[0], b, bed[1]) for a, b in itertools.pairwise(spaced(left, right, length))]


def jamb(left: float, right: float, rise: tuple[float, float], height: float) -> list[Polygon]:
    """Stones of equal height one above the other."""
    levels = spaced(*rise, height)
    return [rect(left, low, right, high) for low, high in itertools.pairwise(levels)]


def wedges(
    centre: Point, radii: tuple[float, float], count: int, sweep: tuple[float, float] = (0, 180)
) -> list[Polygon]:
    """Voussoirs of an arch."""
    step = (sweep[1] - sweep[0]) / count
    stones = []
    for i in range(count):
        a, b = sweep[0] + i * step, sweep[0] + (i + 1) * step
        stones.append(arc(centre, radii[1], a, b, 3) + arc(centre, radii[0], b, a, 3))
    return stones


def dressed_blocks(sheet: Sheet, boxes: Iterable[Box], tints: Sequence[str]) -> None:
    """Dressed blocks with a sunk margin, lit from the upper left."""
    blocks = list(boxes)
    tinted(sheet, [rect(*block) for block in blocks], tints, 0.9)
    faces = [inset(block, 0.045) for block in blocks]
    sheet.fill(faces, WHITE, JOINT, 0.5, 0.25)
    sheet.line([face[:3] for face in faces], 1.3, alpha=0.6)
    pecks = []
    for (left, bottom), _, (right, top), _ in faces:
        for _ in range(round(26 * (right - left) * (top - bottom) * 2)):
            x = sheet.rng.uniform(left + 0.03, right - 0.05)
            y = sheet.rng.uniform(bottom + 0.03, top - 0.03)
            pecks.append([(x, y), (x + 0.02, y - 0.02)])
    sheet.line(pecks, 0.7, alpha=0.4)


# --- walls ----------------------------------------------------------------------------------------


def _stones(
    sheet: Sheet, box: Box, courses: Sequence[float], lengths: tuple[float, float]
) -> list[Box]:
    """Stones of a coursed wall with broken joints."""
    left, _, right, _ = box
    stones = []
    for row, (low, high) in enumerate(itertools.pairwise(courses)):
        x = left
        first = lengths[0] * (0.55 if row % 2 else 1.0)
        while x < right - 1e-6:
            length = first if x == left else sheet.rng.uniform(*lengths)
            end = x + length if right - x - length > 0.6 * lengths[0] else right
            stones.append((x, low, end, high))
            x = end
    return stones


def specks(sheet: Sheet, box: Box, per_m2: float, alpha: float = 0.4) -> None:
    """Grain of granite: short strokes."""
    left, bottom, right, top = box
    strokes = []
    for _ in range(round((right - left) * (top - bottom) * per_m2)):
        x, y = sheet.rng.uniform(left, right), sheet.rng.uniform(bottom, top)
        strokes.append([(x, y), (x + 0.012, y + sheet.rng.uniform(-0.01, 0.012))])
    sheet.line(strokes, 0.9, alpha=alpha)


def ashlar(
    sheet: Sheet,
    box: Box,
    courses: Sequence[float],
    tints: Sequence[str] = GRANITE,
    lengths: tuple[float, float] = (0.75, 1.25),
) -> None:
    """Fine-jointed wall of squared granite."""
    stones = _stones(sheet, box, courses, lengths)
    tinted(sheet, [rect(*stone) for stone in stones], tints)
    specks(sheet, box, 13)


def rough(sheet: Sheet, stone: Box, swing: float = 0.022, gap: float = 0.012) -> Polygon:
    """Irregular outline of a rock-faced stone."""
    (left, bottom), _, (right, top), _ = inset(stone, gap)
    cut = min(0.05, (right - left) / 4)
    wobble = sheet.rng.uniform
    along = spaced(left + cut, right - cut, 0.16)
    upright = spaced(bottom + cut, top - cut, 0.16)
    return (
        [(x, bottom + wobble(0, swing)) for x in along]
        + [(right - wobble(0, swing), y) for y in upright]
        + [(x, top - wobble(0, swing)) for x in reversed(along)]
        + [(left + wobble(0, swing), y) for y in reversed(upright)]
    )


def rock_faced(sheet: Sheet, box: Box, courses: Sequence[float]) -> None:
    """Rock-faced granite: rough outlines on a bed of mortar, facets, a shaded lower edge."""
    sheet.fill([rect(*box)], "#d3d1cb", weight=0)
    stones = _stones(sheet, box, courses, (0.6, 1.05))
    tinted(sheet, [rough(sheet, stone) for stone in stones], GRANITE, 0.8)
    edges, facets, glints = [], [], []
    for stone in stones:
        edges.append(_shaded_edge(sheet, stone))
        facets += _facets(sheet, stone)
        left, _, right, top = stone
        shoulder = [(left + 0.05, top - 0.12), (left + 0.07, top - 0.06)]
        glints.append([*shoulder, (left + 0.4 * (right - left), top - 0.05)])
    sheet.line(edges, 1.0, alpha=0.45)
    sheet.line(facets, 0.7, alpha=0.45)
    sheet.line(glints, 1.4, ink=WHITE, alpha=0.9)


def _shaded_edge(sheet: Sheet, stone: Box) -> Polygon:
    """Line where the face of a stone turns away, below and at the right."""
    left, bottom, right, top = stone
    roll = sheet.rng.uniform
    return (
        [(left + 0.07, bottom + 0.05 + roll(0, 0.03))]
        + [(x, bottom + 0.05 + roll(0, 0.05)) for x in spaced(left + 0.12, right - 0.1, 0.15)]
        + [(right - 0.06 - roll(0, 0.04), y) for y in spaced(bottom + 0.1, top - 0.08, 0.12)]
    )


def _facets(sheet: Sheet, stone: Box) -> list[Polygon]:
    """Marks of the pitching tool."""
    left, bottom, right, top = stone
    width, height = right - left, top - bottom
    roll = sheet.rng.uniform
    facets = []
    for _ in range(round(4 + 9 * width * height)):
        x, y = left + width * roll(0.12, 0.88), bottom + height * roll(0.15, 0.85)
        run, rise = roll(0.03, 0.13), roll(-0.05, 0.05)
        x2, y2 = min(x + run, right - 0.05), min(max(y + rise, bottom + 0.05), top - 0.05)
        facets.append([(x, y), (x2, y2), (x2 + roll(-0.02, 0.03), y2 - roll(0.02, 0.06))])
    return facets


# --- brick ----------------------------------------------------------------------------------------


def bricks(sheet: Sheet, box: Box, tints: Sequence[str]) -> None:
    """English bond: a course of stretchers, a course of headers, closers beside the corners."""
    left, bottom, right, top = box
    length, height = 0.225, 0.075
    heaps: dict[str, list[str]] = {tint: [] for tint in tints}
    for row, (low, high) in enumerate(itertools.pairwise(spaced(bottom, top, height))):
        joints = spaced(left, right, length)
        if row % 2:
            joints = [left, *spaced(left + length / 4, right - length / 4, length / 2), right]
        for a, b in itertools.pairwise(joints):
            across, up = number((b - a) * UNITS_PER_M), number((high - low) * UNITS_PER_M)
            brick = f"M{sheet.at((a, low))}h{across}v-{up}h-{across}z"
            heaps[sheet.rng.choice(tints)].append(brick)
    for tint, heap in heaps.items():
        sheet.parts.append(
            f'<path d="{"".join(heap)}" fill="{tint}" stroke="{BRICK_JOINT}" stroke-width="0.5"/>'
        )
