"""Every zone as an outline on its elevation, how large it is, and where its name can stand."""

import math

from .engine_house_zones import east_zones, north_zones
from .pen import Point, Polygon
from .tower_zones import legs_zones, tower_zones

# Where the roomiest point would crowd a neighbour's name.
LABELS: dict[str, Point] = {
    "N06": (8.0, 4.85),
    "N07": (8.0, 5.55),
    "N08": (0.5, 2.6),
    "E07": (7.0, 2.87),
    "E11": (15.4, 3.2),
    "E14": (16.5, 7.28),
    "T14": (8.4, 14.2),
}


def outlines() -> dict[str, list[Polygon]]:
    """
    Outline of every zone, drawn on its own elevation.

    Returns
    -------
    dict of str to list of polygons
        Closed polygons (the last corner joins the first), without holes. No two zones of one
        elevation overlap. [m]
    """
    every = {**north_zones(), **east_zones(), **tower_zones(), **legs_zones()}
    return {
        zone: [[(round(x, 3), round(y, 3)) for x, y in polygon] for polygon in polygons]
        for zone, polygons in every.items()
    }


def area_m2(zone: str) -> float:
    """Area of one zone as drawn, in square metres, by the shoelace formula."""
    return sum(abs(_signed_area(polygon)) for polygon in outlines()[zone])


def label_points() -> dict[str, Point]:
    """Points well inside each zone, in metres, where its name can stand."""
    return {zone: label_point(zone, polygons) for zone, polygons in outlines().items()}


def label_point(zone: str, polygons: list[Polygon]) -> Point:
    """Point well inside one zone of these outlines, in metres, where its name can stand."""
    return LABELS.get(zone) or _roomiest_point(polygons)


def _signed_area(polygon: Polygon) -> float:
    following = polygon[1:] + polygon[:1]
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(polygon, following, strict=True)) / 2


def _distance(point: Point, a: Point, b: Point) -> float:
    """Distance of a point from the line between two corners."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    length2 = dx * dx + dy * dy or 1e-12
    t = max(0.0, min(1.0, ((point[0] - a[0]) * dx + (point[1] - a[1]) * dy) / length2))
    return math.hypot(point[0] - a[0] - t * dx, point[1] - a[1] - t * dy)


def _room(point: Point, polygon: Polygon) -> float:
    """Distance to the nearest edge, negative outside."""
    inside, nearest = False, math.inf
    for a, b in zip(polygon, polygon[1:] + polygon[:1], strict=True):
        nearest = min(nearest, _distance(point, a, b))
        if (a[1] > point[1]) != (b[1] > point[1]):
            inside ^= point[0] < a[0] + (point[1] - a[1]) * (b[0] - a[0]) / (b[1] - a[1])
    return nearest if inside else -nearest


def _roomiest_point(polygons: list[Polygon]) -> Point:
    """Roomiest point of a grid over the largest polygon; of equals, the one nearest its middle."""
    polygon = max(polygons, key=lambda each: abs(_signed_area(each)))
    xs, ys = [x for x, _ in polygon], [y for _, y in polygon]
    middle = ((min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2)
    grid = [
        (
            min(xs) + (max(xs) - min(xs)) * (i + 0.5) / 41,
            min(ys) + (max(ys) - min(ys)) * (j + 0.5) / 41,
        )
        for i in range(41)
        for j in range(41)
    ]
    best = max(grid, key=lambda at: round(_room(at, polygon), 2) - 0.004 * math.dist(at, middle))
    return round(best[0], 2), round(best[1], 2)
