"""What weather and people left on the fabric: run-off, rust, lime, spray paint and scratches."""

import math

from .engine_house_zones import LIME_RUN, SILL_COURSE
from .pen import Box, Sheet, arc, spaced

RUST = "#a57f62"
SCRATCHES = (
    ((0, 0), (0, 1), (1, 0), (1, 1)),
    ((1, 1), (0, 1), (0, 0), (1, 0)),
    ((0, 0), (0.5, 1), (1, 0)),
    ((0, 1), (0, 0), (1, 0)),
    ((0, 0), (0, 1), (1, 0.7), (0, 0.5), (1, 0)),
    ((1, 1), (0, 0.7), (1, 0.3), (0, 0)),
)


def streaks(
    sheet: Sheet, span: tuple[float, float], fall: tuple[float, float], count: int, colour: str
) -> None:
    """Run-off: faint tongues of uneven length that hang from one level."""
    top, bottom = fall
    tongues = []
    for _ in range(count):
        x, width = sheet.rng.uniform(*span), sheet.rng.uniform(0.03, 0.14)
        end = bottom + (top - bottom) * sheet.rng.uniform(0, 0.55)
        lean = sheet.rng.uniform(-0.03, 0.03)
        half, middle = width / 2, (top + end) / 2
        left = [(x - half, top), (x - half * 0.8 + lean / 2, middle)]
        right = [(x + half * 0.8 + lean / 2, middle), (x + half, top)]
        tongues.append([*left, (x + lean, end), *right])
    for tongue in tongues:
        sheet.fill([tongue], colour, weight=0, alpha=0.1)


def rust_blisters(sheet: Sheet, box: Box, count: int) -> None:
    """Blisters of rust on a plate."""
    left, bottom, right, top = box
    for _ in range(count):
        at = (sheet.rng.uniform(left, right), sheet.rng.uniform(bottom, top))
        size = sheet.rng.uniform(0.008, 0.03)
        blister = arc(at, size * sheet.rng.uniform(0.7, 1.2), 0, 320, 8)
        sheet.fill([blister], "#dccdbe", "#9a8674", 0.5, 0.7)


def lime_run(sheet: Sheet) -> None:
    """White tongue below a leaking joint."""
    sheet.fill([LIME_RUN], "#fcfbf8", "#a8a49b", 0.8)
    for scale in (0.8, 0.6):
        inner = [
            (13.08 + (x - 13.08) * scale, SILL_COURSE + (y - SILL_COURSE) * (0.3 + 0.6 * scale))
            for x, y in LIME_RUN
        ]
        sheet.line([inner[1:-1]], 0.6, alpha=0.35)
    sheet.line([[(12.6, SILL_COURSE + 0.01), (13.65, SILL_COURSE + 0.01)]], 1.6)


def spray_paint(sheet: Sheet, box: Box) -> None:
    """Hint of spray paint: three loops and a stroke under them."""
    left, bottom, right, top = box
    width, height = right - left, top - bottom
    loops = [
        (
            left + width * (0.14 + 0.68 * t / 90) + width * 0.09 * math.cos(t / 4),
            bottom + height * (0.58 + 0.24 * math.sin(t / 4) + 0.06 * math.sin(t / 9)),
        )
        for t in range(91)
    ]
    under = [
        (left + width * 0.12, bottom + height * 0.15),
        (right - width * 0.1, bottom + height * 0.2),
    ]
    sheet.line([loops, under], 4.5, ink="#8d8a94", alpha=0.28)


def scratched_names(sheet: Sheet, box: Box) -> None:
    """Scratched names, too fine to read."""
    left, bottom, right, top = box
    marks = []
    for y in spaced(bottom, top, 0.22):
        x = left + sheet.rng.uniform(0, 0.08)
        while x < right - 0.08:
            height = sheet.rng.uniform(0.05, 0.09)
            strokes = sheet.rng.choice(SCRATCHES)
            marks.append([(x + 0.036 * a, y + height * b) for a, b in strokes])
            x += sheet.rng.uniform(0.055, 0.09)
    sheet.line(marks, 0.7, alpha=0.4)
