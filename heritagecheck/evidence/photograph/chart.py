"""
Find the 24-patch colour chart in a photograph: flat squares that form a lattice.

It is our own because a photograph is a measurement only with a chart in it, and neither Pillow nor
scikit-image finds one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations, product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heritagecheck.evidence.colour.colour_difference import FloatArray, ciede2000
from heritagecheck.evidence.colour.spectra import lab_from_xyz, white_point
from heritagecheck.evidence.photograph.registration import direct_linear

COLUMNS, ROWS = 6, 4
HALF = 0.42  # half a patch, in steps from patch to patch, where nothing better is known
# At one of three sizes a patch of 10 to 200 pixels is larger than stone grain and smaller than a
# wall.
_LONG_SIDE = 1600  # pixels of the finest picture; two more have a half and a quarter of it
_SHORTEST = 100  # pixels of the smallest picture that is searched
_FLAT = (0.008, 0.016, 0.032)  # steepest slope of cube-root light in a patch, per pixel
_LEAST_PIXELS = 12
_SEEN_MIN = 8  # patches of a lattice; fewer could be anything
_WHOLE_MIN = 11  # patches that settle the steps of a lattice, and its corners by their edges
_ACCEPT = 6.0  # median CIEDE2000 of the patches; wrong places and turns lie above 10
_ACCEPT_PART = 4.0  # stricter where the edge hides patches: fewer colours fit by chance
_ALL_ALIKE = 1e-6  # range of light below which a 3 × 3 matrix could make any colour of noise
_LOOK_CLOSER = 15.0  # a lamp mirrored in some patches raises a plain fit up to this
_AROUND = ((1, 0), (-1, 0), (0, 1), (0, -1))  # neighbours of a place in a lattice
_BURNT, _MUCH_BURNT = 0.98, 0.005  # of full light; of the photograph

Light = Callable[[NDArray[Any]], FloatArray]
_Place = tuple[int, int]
_Node = tuple[int, FloatArray, FloatArray]


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    """A place where 24 colours fit: matrix from chart steps to pixels, and the colour error."""

    matrix: FloatArray
    error: float
    whole: bool

    @property
    def middle(self) -> FloatArray:
        """Middle of the chart in the photograph."""
        found: FloatArray = mapped(self.matrix, np.array([[2.5, 1.5]]))[0]
        return found

    @property
    def size(self) -> float:
        """Shorter side of the chart in the photograph."""
        ends = mapped(self.matrix, np.array([[2.5, 0.0], [2.5, 3.0]]))
        return float(np.linalg.norm(ends[1] - ends[0]))


def find_chart(pixels: NDArray[Any], light: Light, known_xyz: FloatArray) -> FloatArray:
    """
    Corners of the one 24-patch chart in a photograph, from dark skin clockwise, shape (4, 2).

    `light` makes linear light of stored pixels, 1 for the brightest that can be stored; `known_xyz`
    are X/Xn, Y/Yn, Z/Zn of the patches. No chart, several, or one cut off by the edge is refused.
    """
    # At three sizes of the picture, regions without texture that are as compact as a parallelogram
    # are linked into lattices. Six by four places of a lattice are the chart if, in one of four
    # orientations, a 3 × 3 matrix maps the colours of the camera to those of the chart. Other
    # charts in the same case fit in no orientation. Finally the edges of the patches are measured.
    # The frame between the patches must be dark; the view may be slanted but not grazing.
    found: list[_Found] = []
    for picture, factor in _ladder(pixels, light):
        for one in _in_level(picture, known_xyz):
            scale = np.diag([factor, factor, 1.0])
            _merge(found, _Found(scale @ one.matrix, one.error, one.whole))
    whole = [one for one in found if one.whole]
    if len(whole) > 1:
        places = "; ".join(f"x = {x:.0f}, y = {y:.0f}" for x, y in (one.middle for one in whole))
        raise ValueError(
            f"{len(whole)} colour charts are in the photograph, around {places} [pixel]. Which one "
            "is meant? Crop the photograph, or give chart_corners."
        )
    if not whole:
        raise ValueError(_why_none(pixels, light, cut=bool(found)))
    return _refined(pixels, light, whole[0].matrix)


def mapped(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """Points moved by a homography, shape (..., 2)."""
    found = points @ matrix[:, :2].T + matrix[:, 2]
    moved: FloatArray = found[..., :2] / found[..., 2:]
    return moved


def steps_to_pixels(corners: FloatArray) -> FloatArray:
    """Homography from chart steps (0, 0 the middle of dark skin) to pixels, by the corners."""
    right, bottom = COLUMNS - 1 + HALF, ROWS - 1 + HALF
    field = np.array([[-HALF, -HALF], [right, -HALF], [right, bottom], [-HALF, bottom]])
    return _homography(field, corners)


def colour_error(light: FloatArray, known_xyz: FloatArray) -> float:
    """Median CIEDE2000 of patches after the best 3 × 3 matrix."""
    every = np.ones((1, len(light)), dtype=bool)
    return float(_colour_errors(light[None], every, known_xyz)[0])


def _colour_errors(
    light: FloatArray, inside: NDArray[np.bool_], known_xyz: FloatArray, *, robust: bool = False
) -> FloatArray:
    """
    Median colour error of many sets of patches at once, over the patches inside the picture.

    With `robust`, patches that fit badly count less, so that a lamp mirrored in some of them does
    not hide the chart.
    """
    # Lightness errors of dark patches are visible at smaller differences of light.
    known_weight = inside[..., None] / (known_xyz[:, 1:2] + 0.05)
    weight = known_weight
    white = white_point()
    known = lab_from_xyz(known_xyz * white)
    error = np.zeros(inside.shape)
    for _ in range(5 if robust else 1):
        # Patches outside have weight 0, so their rows do not change the least squares.
        matrix = np.linalg.pinv(light * weight) @ (known_xyz * weight)
        error = ciede2000(known, lab_from_xyz(np.clip(light @ matrix, 0, 2) * white), 1)
        weight = known_weight / (2 + error[..., None])
    return np.asarray(np.nanmedian(np.where(inside, error, np.nan), axis=1))


def _why_none(pixels: NDArray[Any], light: Light, *, cut: bool) -> str:
    """Explanation why no usable chart was found, as far as the photograph shows it."""
    if cut:
        return (
            "The colour chart is cut off by the edge of the photograph. "
            "All 24 patches must be seen: take the photograph again."
        )
    step = max(1, max(pixels.shape[:2]) // 1000)
    burnt = float((light(pixels[::step, ::step]) >= _BURNT).any(axis=-1).mean())
    # The sky may be overexposed where the chart is not, so the sentence leaves that open.
    burnt_too = (
        f"{100 * burnt:.0f} % of the photograph is overexposed. If the chart is too, take the "
        "photograph again with less light, so that its white patch is not clipped. "
    )
    return (
        "No 24-patch colour chart was found in the photograph. It must be whole, not too slanted, "
        "and at least a twentieth of the photograph wide. "
        f"{burnt_too if burnt > _MUCH_BURNT else ''}If it is there, give "
        "chart_corners: x and y of the four outer corners of its patches, from the dark-skin "
        "patch clockwise."
    )


def _merge(found: list[_Found], new: _Found) -> None:
    """Keep one of several that overlap: whole before cut off, then the better fit."""
    for number, one in enumerate(found):
        if np.linalg.norm(one.middle - new.middle) < 0.7 * max(one.size, new.size):
            if (not new.whole, new.error) < (not one.whole, one.error):
                found[number] = new
            return
    found.append(new)


# -- The picture at several sizes ---------------------------------------------------------------


def _ladder(pixels: NDArray[Any], light: Light) -> Iterator[tuple[FloatArray, int]]:
    """Pictures in linear light, coarse to fine, each with its factor of reduction."""
    factor = max(1, -(-max(pixels.shape[:2]) // _LONG_SIDE))
    finest = reduced(pixels, light, factor)
    for more in (4, 2):
        if max(finest.shape[:2]) >= more * _SHORTEST:
            yield reduced(finest, np.asarray, more), more * factor
    yield finest, factor


def reduced(pixels: NDArray[Any], light: Light, factor: int) -> FloatArray:
    """Mean linear light of squares of so many pixels, read strip by strip."""
    rows, columns = (length // factor for length in pixels.shape[:2])
    found = np.empty((rows, columns, 3))
    strip = max(1, 2**22 // (factor * factor * max(columns, 1)))
    for top in range(0, rows, strip):
        bottom = min(top + strip, rows)
        part = light(pixels[top * factor : bottom * factor, : columns * factor])
        squares = part.reshape(bottom - top, factor, columns, factor, 3)
        # numpy's mean over two inner axes takes five times as long as these sums.
        total = found[top:bottom]
        total[:] = 0
        for down, across in product(range(factor), repeat=2):
            total += squares[:, down, :, across]
    found /= factor**2
    return found


# -- Flat squares -------------------------------------------------------------------------------


def _squares(picture: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Middles [pixel] and sides [pixel] of regions that are flat and shaped like patches."""
    from scipy.ndimage import gaussian_gradient_magnitude

    seen = np.cbrt(np.clip(picture, 0, None)).astype(np.float32)
    slope = np.max([gaussian_gradient_magnitude(seen[..., k], 1.0) for k in range(3)], axis=0)
    parts = [_compact(slope < flat) for flat in _FLAT]
    middles = np.concatenate([part[0] for part in parts])
    sides = np.concatenate([part[1] for part in parts])
    return _distinct(middles, sides)


def _compact(flat: NDArray[np.bool_]) -> tuple[FloatArray, FloatArray]:
    """Middles and sides of the regions that are as compact as parallelograms."""
    from scipy.ndimage import label

    if not flat.any():  # of a picture that is sharp all over, such as noise
        return np.empty((0, 2)), np.empty(0)
    numbers: NDArray[np.int32] = label(flat)[0]
    y, x = np.nonzero(numbers)
    which = numbers[y, x]
    count = np.bincount(which)
    count[0] = 0
    area = np.maximum(count, 1).astype(float)
    mean_x, mean_y = (np.bincount(which, part) / area for part in (x, y))
    xx, yy, xy = (
        np.bincount(which, a * b) / area - ma * mb
        for a, b, ma, mb in (
            (x, x, mean_x, mean_x), (y, y, mean_y, mean_y), (x, y, mean_x, mean_y),
        )
    )  # fmt: skip
    # The variance of a pixel's own extent; without it small regions look too compact.
    xx, yy = xx + 1 / 12, yy + 1 / 12
    spread = np.sqrt(np.maximum(xx * yy - xy * xy, 1e-9))
    # area / (12 · spread) is 1 for every parallelogram and 1.05 for an ellipse.
    form = area / (12 * spread)
    lean = np.sqrt((xx - yy) ** 2 / 4 + xy**2) / ((xx + yy) / 2)
    good = (count >= _LEAST_PIXELS) & (form > 0.88) & (form < 1.1) & (lean < 0.7)
    good &= area < flat.size / 25
    middles = np.stack([mean_x[good], mean_y[good]], axis=-1) + 0.5
    # The steep edge cuts about a pixel and a half from each side of a patch.
    return middles, np.sqrt(area[good]) + 3.0


def _distinct(middles: FloatArray, sides: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Squares without duplicates: of those found at several limits of flatness, the largest."""
    from scipy.spatial import cKDTree

    if not len(middles):
        return middles, sides
    order = np.argsort(-sides, kind="stable")
    middles, sides = middles[order], sides[order]
    tree = cKDTree(middles)
    keep = np.ones(len(middles), dtype=bool)
    for number in range(len(middles)):
        if keep[number]:
            near = np.array(tree.query_ball_point(middles[number], 0.4 * sides[number]))
            keep[near[near > number]] = False
    return middles[keep], sides[keep]


# -- Lattices -----------------------------------------------------------------------------------


def _lattices(middles: FloatArray, sides: FloatArray) -> Iterator[dict[_Place, int]]:
    """Sets of squares in rows and columns, as place in the lattice → number of the square."""
    from scipy.spatial import cKDTree

    if len(middles) < _SEEN_MIN:
        return
    tree = cKDTree(middles)
    used: set[int] = set()
    for seed in range(len(middles)):
        if seed in used:
            continue
        best: dict[_Place, int] = {}
        for across, down in _bases(seed, middles, sides, tree):
            grown = _grown(seed, across, down, middles, sides, tree)
            best = max(best, grown, key=len)
            if len(best) >= _WHOLE_MIN:
                break
        if len(best) >= _SEEN_MIN:
            used.update(best.values())
            yield best


def _bases(
    seed: int, middles: FloatArray, sides: FloatArray, tree: Any
) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Pairs of steps to neighbours that could be a row and a column."""
    side = sides[seed]
    near = [
        other
        for other in tree.query_ball_point(middles[seed], 2.0 * side)
        if other != seed and 0.6 < sides[other] / side < 1.67
    ]
    near.sort(key=lambda other: float(np.linalg.norm(middles[other] - middles[seed])))
    steps = middles[near[:8]] - middles[seed]
    for one, other in combinations(steps, 2):
        turn = one[0] * other[1] - one[1] * other[0]
        long, short = sorted((float(np.hypot(*one)), float(np.hypot(*other))))[::-1]
        if short > 0.8 * side and long < 1.7 * short and abs(turn) > 0.75 * long * short:
            # Across, then down, so that no lattice is mirrored.
            yield (one, other) if turn > 0 else (other, one)


def _grown(
    seed: int, across: FloatArray, down: FloatArray, middles: FloatArray, sides: FloatArray,
    tree: Any,
) -> dict[_Place, int]:  # fmt: skip
    """Grow a lattice from a seed, following the steps from square to square."""
    found: dict[_Place, int] = {(0, 0): seed}
    taken = {seed}
    queue: list[tuple[_Place, _Node]] = [((0, 0), (seed, across, down))]
    while queue:
        (column, row), (here, across, down) = queue.pop(0)
        steps = np.array([across, -across, down, -down])
        # One query for all four, as most of the time of a query is its overhead.
        away, others = tree.query(middles[here] + steps)
        near = (away <= 0.22 * np.hypot(*steps.T)).tolist()
        for (d_column, d_row), close, other in zip(_AROUND, near, others.tolist(), strict=True):
            place = (column + d_column, row + d_row)
            if not close or other in taken or place in found or max(map(abs, place)) > 12:
                continue
            if not 0.6 < sides[other] / sides[here] < 1.67:
                continue
            found[place] = other
            taken.add(other)
            real = (middles[other] - middles[here]) * (d_column + d_row)
            # In perspective the steps change from patch to patch, so each square passes on its own.
            turned = ((across + real) / 2, down) if d_column else (across, (down + real) / 2)
            queue.append((place, (other, *turned)))
    return found


def _homography(source: FloatArray, target: FloatArray) -> FloatArray:
    """Homography between points of two planes by the direct linear transform, both centred."""
    points, from_source = _centred(source)
    images, from_target = _centred(target)
    found = np.linalg.inv(from_target) @ direct_linear(points, images) @ from_source
    scaled: FloatArray = found / found[2, 2]
    return scaled


def _centred(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Points around 0 with a spread of 1, and the matrix that makes them so."""
    middle, spread = points.mean(axis=0), float(points.std()) or 1.0
    matrix = np.array(
        [[1 / spread, 0, -middle[0] / spread], [0, 1 / spread, -middle[1] / spread], [0, 0, 1]]
    )
    return (points - middle) / spread, matrix


# -- Which six by four of a lattice -------------------------------------------------------------


def _in_level(picture: FloatArray, known_xyz: FloatArray) -> Iterator[_Found]:
    """Places of one picture where the colours of the chart fit."""
    middles, sides = _squares(picture)
    for lattice in _lattices(middles, sides):
        places = np.array(list(lattice), dtype=float)
        points = middles[list(lattice.values())]
        matrix, good = _robust(places, points)
        if good.sum() >= _SEEN_MIN:
            yield from _best_windows(picture, matrix, places[good], known_xyz)


def _robust(places: FloatArray, points: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Homography of a lattice, and which of its squares fit it."""
    good = np.ones(len(places), dtype=bool)
    matrix = _homography(places, points)
    pitch = np.sqrt(abs(np.linalg.det(matrix[:2, :2])))
    for _ in range(5):
        away = np.linalg.norm(mapped(matrix, places) - points, axis=1)
        now = away < max(0.12 * pitch, 2 * float(np.median(away)))
        if now.sum() < _SEEN_MIN or np.linalg.matrix_rank(places[now] - places[now][0]) < 2:
            return matrix, np.zeros(len(places), dtype=bool)
        if (now == good).all():
            break
        good, matrix = now, _homography(places[now], points[now])
    return matrix, good


def _best_windows(
    picture: FloatArray, matrix: FloatArray, places: FloatArray, known_xyz: FloatArray
) -> Iterator[_Found]:
    """The windows of a lattice that fit, none of which overlap."""
    found: list[_Found] = []
    for to_lattice in _windows(places):
        charts = matrix @ to_lattice
        light, inside = _sampled(picture, charts)
        told = inside.sum(axis=1) >= _SEEN_MIN
        charts, light, inside = charts[told], light[told], inside[told]
        whole = inside.all(axis=1)
        error = _colour_errors(light, inside, known_xyz)
        closer = whole & (error >= _ACCEPT) & (error < _LOOK_CLOSER)
        error[closer] = _colour_errors(light[closer], inside[closer], known_xyz, robust=True)
        for way in np.flatnonzero(error < np.where(whole, _ACCEPT, _ACCEPT_PART)):
            if np.ptp(light[way, inside[way]], axis=0).min() >= _ALL_ALIKE:
                found.append(_Found(charts[way], float(error[way]), bool(whole[way])))
    found.sort(key=lambda one: (not one.whole, one.error))
    kept: list[_Found] = []
    for one in found:
        if all(np.linalg.norm(one.middle - other.middle) > one.size for other in kept):
            kept.append(one)
            yield one


def _windows(places: FloatArray) -> Iterator[FloatArray]:
    """
    Positions of the chart on a lattice in four orientations, wherever enough squares were seen.

    Yields those of each orientation together, shape (positions, 3, 3).
    """
    low, high = places.min(axis=0).astype(int), places.max(axis=0).astype(int)
    for turn in range(4):
        c, s = ((1, 0), (0, 1), (-1, 0), (0, -1))[turn]
        rotation = np.array([[c, -s], [s, c]], dtype=float)
        ends = rotation @ np.array([[0, COLUMNS - 1], [0, ROWS - 1]], dtype=float)
        least, most = ends.min(axis=1).astype(int), ends.max(axis=1).astype(int)
        first, last = low - most, high - least + 1
        start = np.stack(np.meshgrid(*map(np.arange, first, last), indexing="ij"), axis=-1).reshape(
            -1, 1, 2
        )
        covered = ((places >= start + least) & (places <= start + most)).all(axis=2)
        start = start[covered.sum(axis=1) >= _SEEN_MIN, 0]
        to_lattice = np.tile(np.eye(3), (len(start), 1, 1))
        to_lattice[:, :2, :2], to_lattice[:, :2, 2] = rotation, start
        yield to_lattice


def _sampled(picture: FloatArray, charts: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Mean light in the middle of the 24 patches of each chart, and which are in the picture."""
    offset = np.linspace(-0.2, 0.2, 5)
    around = np.stack(np.meshgrid(offset, offset), axis=-1).reshape(-1, 2)
    points = (patch_places()[:, None] + around).reshape(-1, 2)
    moved = charts[:, :, :2] @ points.T + charts[:, :, 2:]
    x, y = np.floor(np.moveaxis(moved[:, :2] / moved[:, 2:], 1, 0)).astype(int)
    rows, columns = picture.shape[:2]
    shape = (len(charts), COLUMNS * ROWS, len(around))
    inside = ((x >= 0) & (x < columns) & (y >= 0) & (y < rows)).reshape(shape).all(axis=2)
    seen = picture[np.clip(y, 0, rows - 1), np.clip(x, 0, columns - 1)].reshape(*shape, 3)
    return seen.mean(axis=2), inside


def patch_places() -> FloatArray:
    """Middles of the patches in chart steps, in the order of the table, shape (24, 2)."""
    row, column = np.divmod(np.arange(COLUMNS * ROWS), COLUMNS)
    return np.stack([column, row], axis=-1).astype(float)


# -- Where the patches end ----------------------------------------------------------------------


def _refined(pixels: NDArray[Any], light: Light, chart: FloatArray) -> FloatArray:
    """Outer corners from the edges of all patches, where the frame is dark."""
    places = patch_places()
    half = np.array([HALF, HALF])
    for _ in range(2):
        ends, strength = _edges(pixels, light, chart)
        seen = (strength > 0.1 * np.median(strength)).all(axis=1)
        if seen.sum() < _WHOLE_MIN:
            break
        half = np.median((ends[seen, :, 1] - ends[seen, :, 0]) / 2, axis=0)
        shift = ends.mean(axis=2)
        seen &= (np.abs(shift - np.median(shift[seen], axis=0)) < 0.08).all(axis=1)
        points = mapped(chart, places + shift)
        chart = _homography(places[seen], points[seen])
    right, bottom = COLUMNS - 1 + half[0], ROWS - 1 + half[1]
    field = np.array([[-half[0], -half[1]], [right, -half[1]], [right, bottom], [-half[0], bottom]])
    corners = mapped(chart, field)
    if (corners < -1).any() or (corners > np.array(pixels.shape[1::-1]) + 1).any():
        raise ValueError(_why_none(pixels, light, cut=True))
    return corners


def _edges(pixels: NDArray[Any], light: Light, chart: FloatArray) -> tuple[FloatArray, FloatArray]:
    """
    Edges of each patch, across and down, and the steepness of the fainter of each pair.

    Shapes (24, 2, 2), in steps from the middle of the patch, and (24, 2).
    """
    from scipy.ndimage import map_coordinates

    picture, to_picture = _cut_out(pixels, light, chart)
    along, beside = np.linspace(-0.62, 0.62, 125), np.linspace(-0.25, 0.25, 13)
    ends, strength = np.empty((24, 2, 2)), np.empty((24, 2))
    for axis in range(2):
        grid = np.stack(np.meshgrid(along, beside, indexing="ij"), axis=-1)[..., :: 1 - 2 * axis]
        points = mapped(to_picture, patch_places()[:, None, None] + grid) - 0.5
        x, y = np.moveaxis(points, -1, 0)
        profile = map_coordinates(picture, [y, x], order=1, mode="nearest").mean(axis=2)
        rise = np.gradient(profile, along, axis=1)
        for side, (low, high) in enumerate(((-0.6, -0.28), (0.28, 0.6))):
            part = (along >= low) & (along <= high)
            # Outside a patch the frame is darker: light rises at its left end, falls at its right.
            steep = np.clip(rise[:, part] * (1 - 2 * side), 0, None)
            peak = steep.argmax(axis=1)
            near = np.abs(np.arange(part.sum()) - peak[:, None]) <= 4
            weight = steep * near + 1e-12
            ends[:, axis, side] = (weight * along[part]).sum(axis=1) / weight.sum(axis=1)
            faint = steep.max(axis=1)
            strength[:, axis] = faint if side == 0 else np.minimum(strength[:, axis], faint)
    return ends, strength


def _cut_out(
    pixels: NDArray[Any], light: Light, chart: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The chart in linear light at some 50 pixels a patch, and its matrix from chart steps."""
    reach = np.array([[-1.0, -1.0], [COLUMNS, -1.0], [COLUMNS, ROWS], [-1.0, ROWS]])
    outline = mapped(chart, reach)
    left, top = np.maximum(np.floor(outline.min(axis=0)), 0).astype(int)
    right, bottom = np.ceil(outline.max(axis=0)).astype(int)
    ends = mapped(chart, np.array([[0.0, 0.0], [COLUMNS - 1.0, 0.0]]))
    pitch = float(np.linalg.norm(ends[1] - ends[0])) / (COLUMNS - 1)
    factor = max(1, int(pitch / 50))
    part = reduced(pixels[top:bottom, left:right], light, factor)
    move = np.array([[1, 0, -left], [0, 1, -top], [0, 0, factor]], dtype=float)
    # Blur does not move an edge in linear light, as it would after a gamma curve.
    return part.mean(axis=2), move @ chart
