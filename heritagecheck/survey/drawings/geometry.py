"""Zones as they are drawn on an elevation: outlines in metres, areas, the borders they share."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.errors import SurveyError
from heritagecheck.survey.drawings.drawing import fault, look_at, placements, view_box
from heritagecheck.survey.drawings.elevations import elevation_of
from heritagecheck.survey.drawings.path_data import FloatArray, followed
from heritagecheck.survey.drawings.self_crossing import BoolArray, self_crossing
from heritagecheck.survey.records import Elevation, Zone
from heritagecheck.survey.survey import Survey

if TYPE_CHECKING:
    from heritagecheck.sentence_table import Table


FLAT_M = 0.001  # how far a straight step may lie from its curve
STRETCH = 0.02  # common practice: by so much may width and height of a drawing disagree
SMALLEST_M2 = 1e-6
MOST_TOGETHER = 100_000  # points of all outlines of a drawing, with curves cut
OVERLAP = 0.02  # common practice: a pen's width between neighbours is no overlap
SAMPLES = 200  # a side of the grid on which overlaps are counted
PARALLEL = 0.87  # cosine of 30 degrees: a border that only meets another shares no length with it


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """
    Outline of one zone, in metres to the right of and down from the drawing's left top.

    A point belongs to the zone where an odd number of its rings hold it, so that a ring in a ring
    is a hole. Rings are closed: their first point is not repeated.
    """

    zone: str
    rings: tuple[FloatArray, ...]

    @property
    def area_m2(self) -> float:
        """Area without its holes, in square metres."""
        return float(sum(ring_signs(self.rings) * [abs(signed_area(one)) for one in self.rings]))

    def contains(self, points: ArrayLike) -> BoolArray:
        """
        Which points lie in the zone.

        Parameters
        ----------
        points : array_like, shape (n, 2)
            In the units of the rings. [m]

        Returns
        -------
        numpy.ndarray, shape (n,)
            True for those that do; false where a point is not finite.
        """
        places = np.asarray(points, dtype=float)
        order = np.argsort(places[:, 1], kind="stable")
        x, y = places[order].T
        inside = np.zeros(len(places), dtype=bool)
        for ring in self.rings:
            ends = np.roll(ring, -1, axis=0)
            low, high = np.minimum(ring[:, 1], ends[:, 1]), np.maximum(ring[:, 1], ends[:, 1])
            first, last = np.searchsorted(y, low), np.searchsorted(y, high)
            for edge in np.flatnonzero(first < last):
                span = slice(first[edge], last[edge])
                (x1, y1), (x2, y2) = ring[edge], ends[edge]
                inside[span] ^= x[span] < x1 + (y[span] - y1) * ((x2 - x1) / (y2 - y1))
        found = np.empty_like(inside)
        found[order] = inside
        return found


def outlines(survey: Survey, elevation: str) -> dict[str, Outline]:
    """
    Outlines of the zones of an elevation, as its drawing gives them.

    Parameters
    ----------
    survey : Survey
        The survey.
    elevation : str
        Code of the elevation.

    Returns
    -------
    dict of str to Outline
        Code of a zone to its outline, in the order of the drawing; a zone that lies on another
        comes after it. What is not drawn is absent.

    Raises
    ------
    SurveyError
        There is no such elevation, its drawing is missing or no SVG; its width and height are not
        in the proportion of its drawing; an outline is drawn twice, crosses itself, encloses
        nothing or holds steps that can't be followed. Everything at once.

    Notes
    -----
    Curves are cut into straight steps that lie within a millimetre of them. Two lines that pass
    each other by no more than 2 mm count as touching, which a drawing's rounding may do.

    Examples
    --------
    >>> import heritagecheck as hc
    >>> drawn = outlines(hc.demo_survey(), "north")
    >>> print(f"{drawn['N01'].area_m2:.2f} m²")
    8.88 m²
    """
    item = elevation_of(survey, elevation)
    drawing = look_at(survey.file(item.drawing))
    faults = [fault(item, said) for said in drawing.faults]
    if faults and not len(drawing.root):
        raise SurveyError(faults)
    left, top, width, height = view_box(drawing.root, item)
    scale = item.width_m / width
    faults += _stretched(item, scale, item.height_m / height)
    count = 0
    found: dict[str, Outline] = {}
    for path, matrix in placements(drawing.root, item).items():
        code, drawn = path.get("data-zone", ""), path.get("d")
        if drawn is None:
            continue  # the drawing's own faults say why
        if code in found:
            faults.append(fault(item, f"zone {code} is drawn twice. Draw its parts as one outline"))
        into_metres = np.diag([scale, scale, 1.0]) @ _moved(-left, -top) @ matrix
        try:
            found[code] = _outline(code, drawn, into_metres)
        except ValueError as error:
            faults.append(fault(item, f"zone {code}: {error}"))
            continue
        count += sum(map(len, found[code].rings))
        if count > MOST_TOGETHER:
            said = f"its outlines take more than {MOST_TOGETHER:,} points. Simplify them"
            raise SurveyError([*faults, fault(item, said)])
    if faults:
        raise SurveyError(faults)
    return found


def areas(survey: Survey, elevation: str) -> Table:
    """
    Areas of the zones of an elevation, as drawn and as recorded.

    Parameters
    ----------
    survey : Survey
        The survey.
    elevation : str
        Code of the elevation.

    Returns
    -------
    Table
        One row a zone: zone, drawn_m2 (empty where it is not drawn), recorded_m2, ratio of both.

    Raises
    ------
    SurveyError
        As for `outlines`.

    Notes
    -----
    A drawing shows a wall from the front. Reveals, mouldings and rivets add surface that a record
    may count and a drawing doesn't.

    Examples
    --------
    >>> import heritagecheck as hc
    >>> list(areas(hc.demo_survey(), "north").columns)
    ['zone', 'drawn_m2', 'recorded_m2', 'ratio']
    """
    from heritagecheck.sentence_table import Table

    drawn = outlines(survey, elevation)
    rows = []
    for zone in survey.all(Zone):
        if zone.elevation == elevation:
            area = drawn[zone.zone].area_m2 if zone.zone in drawn else np.nan
            rows.append((zone.zone, area, zone.area_m2, area / zone.area_m2))
    return Table(rows, columns=["zone", "drawn_m2", "recorded_m2", "ratio"])


def shared_edges(drawn: Mapping[str, Outline], *, gap_m: float = 0.02) -> Table:
    """
    Length of border that zones share.

    Parameters
    ----------
    drawn : mapping of str to Outline
        Outlines of one elevation.
    gap_m : float
        How far apart two borders may lie and still be one; a joint's width (common practice). [m]

    Returns
    -------
    Table
        One row a pair: zone, neighbour, length_m. Pairs that only meet at a corner are absent.

    Raises
    ------
    ValueError
        The gap is not above 0.

    Notes
    -----
    Each border is walked in steps of half the gap; a step counts where the other's border runs
    beside it within the gap and in its direction, to 30 degrees. The mean of both ways is given.

    Examples
    --------
    >>> bay = Outline("A", (np.array([[0, 0], [3, 0], [3, 2], [0, 2.0]]),))
    >>> next_bay = Outline("B", (np.array([[3, 0.5], [5, 0.5], [5, 2], [3, 2.0]]),))
    >>> shared_edges({"A": bay, "B": next_bay}).round(2).values.tolist()
    [['A', 'B', 1.5]]
    """
    from scipy.spatial import cKDTree

    from heritagecheck.sentence_table import Table

    if not gap_m > 0:
        raise ValueError(f"gap_m = {gap_m:g}: it must be above 0, such as 0.02.")
    borders = {code: _border(one, gap_m / 2) for code, one in drawn.items()}
    trees = {code: cKDTree(places) for code, (places, _, _) in borders.items()}
    rows = []
    for one, other in _near(drawn, gap_m):
        length = (
            _beside(borders[one], borders[other], trees[other], gap_m)
            + _beside(borders[other], borders[one], trees[one], gap_m)
        ) / 2
        if length > gap_m:
            rows.append((one, other, length))
    return Table(rows, columns=["zone", "neighbour", "length_m"])


def overlaps(drawn: Mapping[str, Outline]) -> Table:
    """
    Zones that lie on one another by more than a pen's width.

    Parameters
    ----------
    drawn : mapping of str to Outline
        Outlines of one elevation.

    Returns
    -------
    Table
        One row a pair that shares more than 2 % of the smaller's area (common practice): zone
        (the smaller), other, share [0 to 1]. Counted on a grid, to about 1 % of the area.

    Examples
    --------
    >>> wall = Outline("A", (np.array([[0, 0], [4, 0], [4, 4], [0, 4.0]]),))
    >>> window = Outline("B", (np.array([[3, 1], [5, 1], [5, 2], [3, 2.0]]),))
    >>> overlaps({"A": wall, "B": window}).round(2).values.tolist()
    [['B', 'A', 0.5]]
    """
    from heritagecheck.sentence_table import Table

    sizes = {code: one.area_m2 for code, one in drawn.items()}
    grids = {code: _grid_in(one) for code, one in drawn.items()}
    rows = []
    for pair in _near(drawn, 0.0):
        smaller, other = sorted(pair, key=sizes.__getitem__)
        share = float(drawn[other].contains(grids[smaller]).mean())
        if share > OVERLAP:
            rows.append((smaller, other, share))
    return Table(rows, columns=["zone", "other", "share"])


def signed_area(ring: FloatArray) -> float:
    """
    Area of a ring that does not cross itself, by the shoelace formula.

    Parameters
    ----------
    ring : numpy.ndarray, shape (n, 2)
        Its points in order.

    Returns
    -------
    float
        Positive where they run clockwise on a page whose y runs down.
    """
    x, y = (ring - ring[:1]).T  # taken from its first point, or far from the origin digits are lost
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


def ring_signs(rings: Sequence[FloatArray]) -> FloatArray:
    """
    Which rings add to a zone and which are holes in it.

    Parameters
    ----------
    rings : sequence of numpy.ndarray, shape (n, 2)
        Rings that do not cross one another.

    Returns
    -------
    numpy.ndarray, shape (len(rings),)
        1 for those that an even number of larger rings hold, -1 for the others.
    """
    order = np.argsort([-abs(signed_area(ring)) for ring in rings], kind="stable")
    signs = np.ones(len(rings))
    ends = np.concatenate([np.roll(rings[place], -1, axis=0) for place in order])
    starts = np.concatenate([rings[place] for place in order])
    larger = 0  # edges of the rings that were seen before
    for place in order:
        x, y = _point_in(rings[place])[0]
        (x1, y1), (x2, y2) = starts[:larger].T, ends[:larger].T
        cut = np.flatnonzero((y1 > y) != (y2 > y))
        share = (y - y1[cut]) / (y2[cut] - y1[cut])
        if np.count_nonzero(x < x1[cut] + share * (x2[cut] - x1[cut])) % 2:
            signs[place] = -1
        larger += len(rings[place])
    return signs


def _point_in(ring: FloatArray) -> FloatArray:
    """Find a point well inside a ring, shape (1, 2)."""
    levels = np.unique(ring[:, 1])
    if len(levels) < 2:
        return ring[:1]
    widest = int(np.argmax(np.diff(levels)))
    y = (levels[widest] + levels[widest + 1]) / 2
    ends = np.roll(ring, -1, axis=0)
    cut = (ring[:, 1] > y) != (ends[:, 1] > y)
    (x1, y1), (x2, y2) = ring[cut].T, ends[cut].T
    x = np.sort(x1 + (y - y1) * (x2 - x1) / (y2 - y1))
    spans = x[1::2] - x[::2]
    best = 2 * int(np.argmax(spans))
    return np.array([[(x[best] + x[best + 1]) / 2, y]])


def _moved(right: float, down: float) -> FloatArray:
    """Matrix of a shift."""
    return np.array([[1, 0, right], [0, 1, down], [0, 0, 1.0]])


def _stretched(item: Elevation, across: float, down: float) -> list[Any]:
    """Fault where width and height of an elevation do not fit its drawing."""
    if abs(down / across - 1) <= STRETCH:
        return []
    fits = item.height_m * across / down
    return [
        fault(
            item,
            f"with width_m = {item.width_m:g} its height is {fits:.3g} m, but height_m = "
            f"{item.height_m:g}. Correct one of them, or the drawing's viewBox",
        )
    ]


def _outline(code: str, drawn: str, into_metres: FloatArray) -> Outline:
    """One outline in metres, or why it will not do."""
    scale = float(np.linalg.norm(into_metres[:2, :2], 2))
    if not scale:
        raise ValueError("its transform leaves nothing of it")
    rings = [
        ring @ into_metres[:2, :2].T + into_metres[:2, 2]
        for ring in followed(drawn, FLAT_M / scale)
    ]
    if not rings:
        raise ValueError("nothing is drawn. Give its outline three points or more")
    for ring in rings:
        if len(ring) < 3:
            x, y = ring[0]
            raise ValueError(
                f"its part at {x:.2f} m from the left, {y:.2f} m from the top has {len(ring)} "
                "points. An outline needs three or more"
            )
    crossing = self_crossing(rings)
    if crossing is not None:
        x, y = crossing
        raise ValueError(
            f"its outline crosses itself at {x:.2f} m from the left, {y:.2f} m from the top. "
            "Draw it again there"
        )
    found = Outline(code, tuple(rings))
    if found.area_m2 < SMALLEST_M2:
        raise ValueError("its outline encloses nothing")
    return found


def _near(drawn: Mapping[str, Outline], gap_m: float) -> Iterator[tuple[str, str]]:
    """Pairs of outlines whose boxes meet."""
    boxes = {}
    for code, outline in drawn.items():
        points = np.concatenate(outline.rings)
        boxes[code] = (points.min(axis=0) - gap_m, points.max(axis=0))
    for one, other in combinations(drawn, 2):
        (low, high), (other_low, other_high) = boxes[one], boxes[other]
        if (low <= other_high).all() and (other_low <= high).all():
            yield one, other


Border = tuple[FloatArray, FloatArray, FloatArray]


def _border(outline: Outline, step_m: float) -> Border:
    """Steps along a border: their middles, directions and lengths."""
    start = np.concatenate(outline.rings)
    along = np.concatenate([np.roll(ring, -1, axis=0) - ring for ring in outline.rings])
    lengths = np.hypot(*along.T)
    counts = np.maximum(1, np.ceil(lengths / step_m)).astype(int)
    edge = np.repeat(np.arange(len(start)), counts)
    place = np.arange(len(edge)) - np.repeat(np.cumsum(counts) - counts, counts)
    middles = start[edge] + ((place + 0.5) / counts[edge])[:, np.newaxis] * along[edge]
    return middles, (along / lengths[:, np.newaxis])[edge], (lengths / counts)[edge]


def _beside(border: Border, other: Border, tree: Any, gap_m: float) -> float:
    """Length of a border that runs beside another."""
    middles, directions, lengths = border
    apart, nearest = tree.query(middles, distance_upper_bound=1.25 * gap_m)
    found = np.flatnonzero(np.isfinite(apart))
    same = np.abs((directions[found] * other[1][nearest[found]]).sum(axis=1)) > PARALLEL
    # The other's steps are short of the gap: what lies between their middles is allowed for.
    to, along = middles[found] - other[0][nearest[found]], other[1][nearest[found]]
    across = np.abs(to[:, 0] * along[:, 1] - to[:, 1] * along[:, 0])
    return float(lengths[found[same & (across <= gap_m)]].sum())


def _grid_in(outline: Outline) -> FloatArray:
    """Points of an even grid that lie in an outline."""
    points = np.concatenate(outline.rings)
    low, high = points.min(axis=0), points.max(axis=0)
    share = (np.arange(SAMPLES) + 0.5) / SAMPLES
    x, y = np.meshgrid(*(low[:, np.newaxis] + share * (high - low)[:, np.newaxis]))
    grid = np.stack([x.ravel(), y.ravel()], axis=-1)
    found: FloatArray = grid[outline.contains(grid)]
    return found
