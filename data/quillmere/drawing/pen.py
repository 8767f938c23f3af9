"""
A pen that draws in metres, as a surveyor measures, and the shapes it knows.

Metres run to the right and up from the ground; on paper one metre is a hundred units.
"""

import math
import random
from collections.abc import Iterable, Sequence

Point = tuple[float, float]
Polygon = list[Point]
Box = tuple[float, float, float, float]  # left, bottom, right, top [m]

UNITS_PER_M = 100
INK = "#4a4741"
SHADE = "#3a3833"
WHITE = "#ffffff"


# --- shapes ---------------------------------------------------------------------------------------


def rect(left: float, bottom: float, right: float, top: float) -> Polygon:
    """Upright rectangle."""
    return [(left, bottom), (right, bottom), (right, top), (left, top)]


def inset(box: Box, by: float) -> Polygon:
    """Rectangle that keeps the same distance from all four edges of a box."""
    left, bottom, right, top = box
    return rect(left + by, bottom + by, right - by, top - by)


def arc(centre: Point, radius: float, start_deg: float, end_deg: float, steps: int = 24) -> Polygon:
    """Corners along an arc, counter-clockwise from the right when the end exceeds the start."""
    angles = [math.radians(start_deg + (end_deg - start_deg) * i / steps) for i in range(steps + 1)]
    return [(centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a)) for a in angles]


def arch(centre: float, bottom: float, spring: float, half: float) -> Polygon:
    """Outline of a round-arched opening."""
    return [(centre - half, bottom), (centre + half, bottom), *arc((centre, spring), half, 0, 180)]


def ring(centre: Point, radius: float) -> Polygon:
    """Circle of 24 corners."""
    return arc(centre, radius, 0, 345, 23)


def turned(axis: float, profile: Sequence[Point]) -> Polygon:
    """Shape alike on both sides of an upright axis, from its profile: half widths and heights."""
    left = [(axis - half, y) for half, y in profile]
    return [left[0], *((axis + half, y) for half, y in profile), *reversed(left[1:])]


def mirrored(polygon: Polygon, axis: float) -> Polygon:
    """The same shape on the other side of an upright axis."""
    return [(2 * axis - x, y) for x, y in reversed(polygon)]


def both_sides(polygon: Polygon, axis: float) -> list[Polygon]:
    """A shape and its mirror image."""
    return [polygon, mirrored(polygon, axis)]


def moved(polygon: Iterable[Point], right: float, up: float) -> Polygon:
    """The same shape elsewhere."""
    return [(x + right, y + up) for x, y in polygon]


def spaced(start: float, end: float, step: float) -> list[float]:
    """Evenly spaced places from start to end, about one step apart."""
    count = max(1, round(abs(end - start) / step))
    return [start + (end - start) * i / count for i in range(count + 1)]


def row(y: float, start: float, end: float, step: float = 0.13) -> list[Point]:
    """Evenly spaced points on a level."""
    return [(x, y) for x in spaced(start, end, step)]


def stack(x: float, low: float, high: float, step: float = 0.13) -> list[Point]:
    """Evenly spaced points one above the other."""
    return [(x, y) for y in spaced(low, high, step)]


def across(left: float, right: float, heights: Iterable[float]) -> list[Polygon]:
    """Level lines."""
    return [[(left, y), (right, y)] for y in heights]


def upright(low: float, high: float, places: Iterable[float]) -> list[Polygon]:
    """Upright lines."""
    return [[(x, low), (x, high)] for x in places]


def spokes(centre: Point, radii: tuple[float, float], degrees: Iterable[float]) -> list[Polygon]:
    """Lines between two radii: the joints of an arch, the bars of a fanlight."""
    return [[arc(centre, radius, a, a, 1)[0] for radius in radii] for a in degrees]


# --- the sheet ------------------------------------------------------------------------------------


def number(value: float) -> str:
    """Number as the drawings write it, to a tenth of a unit."""
    text = f"{value:.1f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


class Sheet:
    """Sheet of paper in metres that collects SVG elements, one after the other."""

    def __init__(self, box: Box, rng: random.Random) -> None:
        self.left, self.bottom, self.right, self.top = box
        self.rng = rng
        self.parts: list[str] = []

    def at(self, point: Point) -> str:
        """Point in the units of the drawing, which run down from the top left corner."""
        x, y = (point[0] - self.left) * UNITS_PER_M, (self.top - point[1]) * UNITS_PER_M
        return f"{number(x)} {number(y)}"

    def trace(self, lines: Iterable[Sequence[Point]], closed: bool) -> str:
        """Path data of several lines."""
        end = "z" if closed else ""
        return "".join("M" + "L".join(self.at(point) for point in line) + end for line in lines)

    def fill(
        self,
        polygons: Iterable[Sequence[Point]],
        colour: str,
        ink: str = INK,
        weight: float = 0.7,
        alpha: float = 1,
    ) -> None:
        """Fill polygons; a weight of 0 leaves the edge undrawn."""
        opacity = "" if alpha == 1 else f' fill-opacity="{alpha}"'
        stroke = f' stroke="{ink}" stroke-width="{weight}"' if weight else ""
        data = self.trace(polygons, closed=True)
        if data:
            self.parts.append(f'<path d="{data}" fill="{colour}"{opacity}{stroke}/>')

    def shade(self, *polygons: Sequence[Point], alpha: float = 0.12) -> None:
        """Wash of shadow."""
        for polygon in polygons:
            self.fill([polygon], SHADE, weight=0, alpha=alpha)

    def line(
        self,
        lines: Iterable[Sequence[Point]],
        weight: float = 0.7,
        ink: str = INK,
        alpha: float = 1,
        dash: str = "",
    ) -> None:
        """Open lines."""
        opacity = "" if alpha == 1 else f' stroke-opacity="{alpha}"'
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        data = self.trace(lines, closed=False)
        self.parts.append(
            f'<path d="{data}" fill="none" stroke="{ink}" stroke-width="{weight}"'
            f"{opacity}{dashes}/>"
        )

    def outline(self, polygon: Polygon, weight: float = 0.7) -> None:
        """Line around a polygon."""
        self.line([[*polygon, polygon[0]]], weight)

    def bar(
        self,
        lines: Sequence[Sequence[Point]],
        widths: tuple[float, float],
        colour: str,
        edge: str = INK,
    ) -> None:
        """Bars, rods and rails: lines of one width laid on wider ones, which show as their edge."""
        self.line(lines, widths[0], edge)
        self.line(lines, widths[1], colour)

    def discs(
        self, centres: Iterable[Point], radius_m: float, colour: str, weight: float = 0.5
    ) -> None:
        """Small circles: rivets, studs, beads."""
        r = radius_m * UNITS_PER_M
        turn = f"a{number(r)} {number(r)} 0 1 0 "
        span = number(2 * r)
        data = "".join(
            f"M{self.at((x - radius_m, y))}{turn}{span} 0{turn}-{span} 0z" for x, y in centres
        )
        self.parts.append(
            f'<path d="{data}" fill="{colour}" stroke="{INK}" stroke-width="{weight}"/>'
        )

    def text(
        self, words: str, at: Point, size_m: float, family: str = "Literata, serif", ink: str = INK
    ) -> None:
        """Short line of text, centred on a point of its baseline."""
        x, y = self.at(at).split()
        self.parts.append(
            f'<text x="{x}" y="{y}" font-family="{family}" font-size="{number(size_m * 100)}" '
            f'text-anchor="middle" fill="{ink}">{words}</text>'
        )
