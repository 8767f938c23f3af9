"""The four finished drawings: ground, fabric, zones and a scale bar on one sheet of paper each."""

import random
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

from .east import east_fabric
from .legs import legs_fabric
from .masonry import course, tinted
from .north import north_fabric
from .pen import INK, UNITS_PER_M, WHITE, Box, Sheet, across, number, rect, spaced
from .tower import tower_fabric
from .zones import label_point, outlines

SEED = 1887


class Elevation(NamedTuple):
    """One drawing: its title, what it shows, the paper it needs and its zones in order."""

    title: str
    shows: str
    box: Box
    zones: tuple[str, ...]


def _numbered(letter: str, last: int) -> tuple[str, ...]:
    return tuple(f"{letter}{number:02d}" for number in range(1, last + 1))


ELEVATIONS: dict[str, Elevation] = {
    "north": Elevation(
        "Quillmere Pumping Station, north front",
        "Granite engine house: rock-faced plinth, great door between polished shafts, four "
        "round-arched windows, limestone cornice and granite parapet. The chimney and the porch "
        "of the east flank stand faintly behind, at the left.",
        (-3.6, -1.7, 17.0, 14.3),
        _numbered("N", 18),
    ),
    "east": Elevation(
        "Quillmere Pumping Station, east flank",
        "Brick chimney base at the left, two round-arched windows, cast-iron porch at the right; "
        "a run-off band below a leaking gutter and a lime run below a leaking joint.",
        (-1.0, -1.7, 21.0, 14.6),
        _numbered("E", 16),
    ),
    "tower": Elevation(
        "Quillmere Pumping Station, water tower",
        "Seen from the north, so east is at the left. Riveted steel tank on girders and four box "
        "legs: north-east (left) and north-west (right) in front, south-east (left) and south-west "
        "(right) behind; wrought-iron bracing rods, and a ladder at the right.",
        (-0.6, -1.7, 11.2, 17.6),
        _numbered("T", 14),
    ),
    "legs": Elevation(
        "Quillmere Pumping Station, section through the closed legs of the water tower",
        "The four riveted box legs cut lengthwise and set side by side, from the left north-east, "
        "north-west, south-east and south-west: void, diaphragms, ponded water at the foot and "
        "one small hand-hole each. Nobody can enter them.",
        (-0.2, -1.7, 11.2, 10.2),
        _numbered("C", 4),
    ),
}
FABRIC: dict[str, Callable[[Sheet], None]] = {
    "north": north_fabric,
    "east": east_fabric,
    "tower": tower_fabric,
    "legs": legs_fabric,
}


def draw(elevation: str) -> str:
    """
    One elevation as SVG text, the same at every call.

    Parameters
    ----------
    elevation : str
        A name in `ELEVATIONS`.

    Returns
    -------
    str
        A whole SVG document: the groups `north-ground`, `north-fabric`, `north-zones` and
        `north-scale` (or `east-` and so on), in this order, so that one page can hold several
        drawings. A zone is the path `zone-N01`; its label point stands on it as `data-label-x`
        and `data-label-y`, in units of the drawing, as its outline does.

    Raises
    ------
    ValueError
        There is no such elevation.
    """
    if elevation not in ELEVATIONS:
        raise ValueError(f"There is no elevation {elevation!r}. Known: {', '.join(ELEVATIONS)}.")
    title, shows, box, zones = ELEVATIONS[elevation]
    sheet = Sheet(box, random.Random(SEED))
    for group, content in (
        ("ground", _ground),
        ("fabric", FABRIC[elevation]),
        ("zones", lambda paper: _zone_paths(paper, zones)),
        ("scale", _scale_bar),
    ):
        sheet.parts.append(f'<g id="{elevation}-{group}">')
        content(sheet)
        sheet.parts.append("</g>")
    left, bottom, right, top = box
    width, height = number((right - left) * UNITS_PER_M), number((top - bottom) * UNITS_PER_M)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
        f'stroke-linecap="round" stroke-linejoin="round">\n<title>{title}</title>\n'
        f"<desc>{shows}</desc>"
    )
    return "\n".join([head, *sheet.parts, "</svg>", ""])


def write(folder: Path) -> None:
    """Write the four drawings into a folder, which is made if need be."""
    folder.mkdir(parents=True, exist_ok=True)
    for elevation in ELEVATIONS:
        (folder / f"{elevation}.svg").write_bytes(draw(elevation).encode())


def _ground(sheet: Sheet) -> None:
    """Ground line with paving, earth hatching and a few grasses."""
    left, right = sheet.left + 0.25, sheet.right - 0.25
    paving = course(left + 0.5, right - 0.5, (-0.13, 0), 0.62)
    tinted(sheet, paving, ("#efeeea", "#e9e8e3", "#f3f2ee"))
    hatches, blades = [], []
    for x in spaced(left + 0.3, right - 0.5, 0.34):
        x0 = x + sheet.rng.uniform(-0.05, 0.05)
        for i in range(4):
            length = sheet.rng.uniform(0.1, 0.2)
            start = (x0 + 0.055 * i, -0.15 - 0.01 * i)
            hatches.append([start, (start[0] - length, start[1] - length)])
    for x in [*spaced(left, left + 0.55, 0.07), *spaced(right - 0.55, right, 0.07)]:
        height = sheet.rng.uniform(0.05, 0.2)
        blades.append([(x, 0), (x + sheet.rng.uniform(-0.06, 0.06), height)])
    sheet.line(hatches, 0.7, alpha=0.6)
    sheet.line(blades, 0.8, alpha=0.7)
    sheet.line(across(left, right, [0]), 2.6)


def _zone_paths(sheet: Sheet, zones: Sequence[str]) -> None:
    """Outlines of the zones, for a page to fill and to name."""
    every = outlines()
    for zone in zones:
        x, y = sheet.at(label_point(zone, every[zone])).split()
        sheet.parts.append(
            f'<path id="zone-{zone}" class="zone" data-zone="{zone}" data-label-x="{x}" '
            f'data-label-y="{y}" d="{sheet.trace(every[zone], closed=True)}" fill="none" '
            'fill-rule="evenodd" stroke="#222" stroke-width="2"/>'
        )


def _scale_bar(sheet: Sheet) -> None:
    """Five metres, the first one in tenths of two."""
    left, low = sheet.left + 0.7, sheet.bottom + 0.55
    fifths, metres = [(0.2 * i, 0.2 * (i + 1)) for i in range(5)], range(1, 5)
    for i, (a, b) in enumerate([*fifths, *((float(metre), metre + 1.0) for metre in metres)]):
        cell = rect(left + a, low, left + b, low + 0.1)
        sheet.fill([cell], WHITE if i % 2 else INK, weight=1)
    for metre in range(6):
        label = f"{metre} m" if metre == 5 else str(metre)
        sheet.text(label, (left + metre, low - 0.3), 0.24, "Source Sans 3, sans-serif")
