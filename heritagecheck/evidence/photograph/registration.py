"""Registration of a photograph on the drawing of its elevation, with its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.colour.colour_difference import FloatArray

LIMIT_MM = 25.0  # common practice: about a joint's width
LINE = 0.02  # common practice: points nearer to a line than this share of their spread lie on it
MISFIT = 0.1  # common practice: points that miss by such a share of their spread are mixed up
SLANT = 2.0  # common practice: pixels may be so many times larger at one point than at another
UNSEEN = 2.0  # common practice: a point left out may miss by so many times the limit
NAMEABLE = 6  # with fewer points none can be identified as the wrong one


@dataclass(frozen=True, slots=True, eq=False)
class Registration:
    """
    Homography from a photograph to the drawing of an elevation, and what its points say of it.

    `matrix` takes x, y in the picture [pixel] to metres from the top left of the drawing.
    `residuals_mm` is how far each point misses, `left_out_mm` how far it misses where the others
    alone decide (NaN where they can't). `rms_mm` is the error of a point as far as the points
    themselves show it; None for four, which always fit.
    """

    matrix: FloatArray
    residuals_mm: FloatArray
    left_out_mm: FloatArray
    rms_mm: float | None
    pixel_mm: float
    cautions: tuple[str, ...]

    def __str__(self) -> str:
        fit = "not checked" if self.rms_mm is None else f"good to {self.rms_mm:.0f} mm"
        return f"{len(self.residuals_mm)} points, {fit}; a pixel is {self.pixel_mm:.2g} mm wide"

    def to_drawing(self, points_px: ArrayLike) -> FloatArray:
        """Places on the drawing that points of the picture show."""
        return _taken(self.matrix, points_px)

    def to_photograph(self, points_m: ArrayLike) -> FloatArray:
        """Places in the picture where points of the drawing are seen."""
        return _taken(np.asarray(np.linalg.inv(self.matrix)), points_m)


def register(
    points_px: ArrayLike, points_m: ArrayLike, *, limit_mm: float = LIMIT_MM
) -> Registration:
    """Tie a photograph to the drawing of an elevation by points that both show."""
    # A homography by the normalised direct linear transform (Hartley, IEEE Trans. Pattern Anal.
    # Mach. Intell. 19, 580, 1997), then refined so that the squared distances on the drawing are
    # least. Eight numbers are fitted, so n points leave 2 n - 8 to judge by. It holds for one plane
    # and a lens without distortion.
    pixels, metres = _checked(points_px, points_m)
    if not limit_mm > 0:
        raise ValueError(f"limit_mm = {limit_mm:g}: it must be above 0, such as 25.")
    matrix = _fitted(pixels, metres)
    _check_side(matrix, pixels)
    residuals = _missed(matrix, pixels, metres)
    rms = _rms(residuals)
    spread = 1000 * _spread(metres)
    if rms is not None and rms > MISFIT * spread:
        raise ValueError(
            f"The points miss by {rms:.0f} mm, which is {rms / spread:.0%} of their spread. Were "
            "two of them swapped, or a number mistyped?"
        )
    scales = _pixel_mm(matrix, pixels)
    left_out, named = _left_out(pixels, metres, rms, limit_mm)
    worst = float(np.nan_to_num(left_out).max())
    return Registration(
        matrix, residuals, left_out, rms,
        float(_pixel_mm(matrix, (pixels.min(axis=0) + pixels.max(axis=0))[np.newaxis] / 2)[0]),
        tuple(_cautions(rms, worst, named, scales, limit_mm)),
    )  # fmt: skip


def _checked(points_px: ArrayLike, points_m: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Both sets of points, or why no photograph can be tied by them."""
    pixels, metres = np.asarray(points_px, dtype=float), np.asarray(points_m, dtype=float)
    for name, points in (("points_px", pixels), ("points_m", metres)):
        if points.ndim != 2 or points.shape[1] != 2:
            raise ValueError(f"{name} has shape {points.shape}: give one row x, y for each point.")
    if len(pixels) != len(metres):
        raise ValueError(
            f"{len(pixels)} points in the picture and {len(metres)} on the drawing: each point is "
            "given in both."
        )
    if len(pixels) < 4:
        raise ValueError(f"{len(pixels)} points were given; four or more are needed.")
    for where, points in (("in the picture", pixels), ("on the drawing", metres)):
        if not np.isfinite(points).all():
            row = int(np.flatnonzero(~np.isfinite(points).all(axis=1))[0]) + 1
            raise ValueError(f"Point {row} {where} is not finite.")
        _, first, counts = np.unique(points, axis=0, return_index=True, return_counts=True)
        if (counts > 1).any():
            one = int(first[counts > 1].min())
            other = int(np.flatnonzero((points[one + 1 :] == points[one]).all(axis=1))[0]) + one + 1
            raise ValueError(f"Points {one + 1} and {other + 1} are the same {where}.")
        if not _spans(points):
            raise ValueError(
                f"All points but one lie in a line {where}, or all do. Choose four that span a "
                "field, no three of them in a line."
            )
    return pixels, metres


def _spread(points: FloatArray) -> float:
    """Diagonal of the box around points."""
    return float(np.hypot(*np.ptp(points, axis=0)))


def _spans(points: FloatArray) -> bool:
    """Whether two points or more lie off every line through two others."""
    apart = points[np.newaxis] - points[:, np.newaxis]  # from the first index to the second
    lengths = np.hypot(apart[..., 0], apart[..., 1])
    for first in range(len(points) - 1):
        along, length = apart[first, first + 1 :], lengths[first, first + 1 :]
        to = apart[first]
        across = along[:, :1] * to[:, 1] - along[:, 1:] * to[:, 0]
        off = (np.abs(across) > LINE * _spread(points) * length[:, np.newaxis]).sum(axis=1)
        if (off < 2).any():
            return False
    return True


def _fitted(pixels: FloatArray, metres: FloatArray) -> FloatArray:
    """Homography of points, scaled so that its third row is positive where they lie."""
    from scipy.optimize import least_squares

    to_unit, unit_px = _normalised(pixels)
    from_unit, unit_m = _normalised(metres)
    start = _linear(unit_px, unit_m)
    if len(pixels) > 4:

        def misses(numbers: FloatArray) -> FloatArray:
            moved = np.c_[unit_px, np.ones(len(unit_px))] @ np.append(numbers, 1).reshape(3, 3).T
            return np.asarray(moved[:, :2] / moved[:, 2:] - unit_m).ravel()

        start = np.append(
            least_squares(misses, start.ravel()[:8], method="lm", xtol=1e-12, ftol=1e-12).x, 1
        ).reshape(3, 3)
    return np.asarray(np.linalg.inv(from_unit) @ start @ to_unit)


def _normalised(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Shift and scale that bring points to mean 0 and mean distance √2, and the points so moved."""
    mean = points.mean(axis=0)
    scale = np.sqrt(2) / np.hypot(*(points - mean).T).mean()
    matrix = np.array([[scale, 0, -scale * mean[0]], [0, scale, -scale * mean[1]], [0, 0, 1.0]])
    return matrix, (points - mean) * scale


def _linear(pixels: FloatArray, metres: FloatArray) -> FloatArray:
    """Homography by the direct linear transform, 1 in its last place."""
    found = direct_linear(pixels, metres)
    if abs(found[2, 2]) < 1e-9 * np.abs(found).max():
        raise ValueError(_MIXED)
    return np.asarray(found / found[2, 2])


def direct_linear(source: FloatArray, target: FloatArray) -> FloatArray:
    """Homography of least algebraic error, of length 1, from points to points of shape (n, 2)."""
    (x, y), (u, v) = source.T, target.T
    one, none = np.ones_like(x), np.zeros_like(x)
    rows = np.concatenate([
        np.stack([x, y, one, none, none, none, -u * x, -u * y, -u], axis=-1),
        np.stack([none, none, none, x, y, one, -v * x, -v * y, -v], axis=-1),
    ])  # fmt: skip
    return np.asarray(np.linalg.svd(rows)[2][-1].reshape(3, 3))


_MIXED = (
    "The points do not show one wall from its front. Was their order mixed up between picture and "
    "drawing?"
)


def _check_side(matrix: FloatArray, pixels: FloatArray) -> None:
    """Refuse a wall seen from behind, or points on both sides of its horizon."""
    if (_third(matrix, pixels) <= 0).any():
        raise ValueError(_MIXED)
    if np.linalg.det(matrix) <= 0:
        raise ValueError(
            "The points show the wall mirrored. Metres count to the right from the left and down "
            "from the top of the drawing, pixels likewise."
        )


def _third(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """Third coordinate of points after a homography: positive on the near side of the horizon."""
    return np.asarray(points @ matrix[2, :2] + matrix[2, 2])


def _taken(matrix: FloatArray, given: ArrayLike) -> FloatArray:
    """Points after a homography; NaN where they lie beyond the horizon."""
    points = np.asarray(given, dtype=float)
    if points.shape[-1:] != (2,):
        raise ValueError(f"The points have shape {points.shape}: the last axis must hold x, y.")
    third = _third(matrix, points)
    with np.errstate(invalid="ignore", divide="ignore"):
        moved = (points @ matrix[:2, :2].T + matrix[:2, 2]) / third[..., np.newaxis]
    return np.where(third[..., np.newaxis] > 0, moved, np.nan)


def _missed(matrix: FloatArray, pixels: FloatArray, metres: FloatArray) -> FloatArray:
    """How many millimetres points miss by on the drawing."""
    return np.asarray(1000 * np.hypot(*(_taken(matrix, pixels) - metres).T))


def _rms(residuals_mm: FloatArray) -> float | None:
    """Error of a point in millimetres as the residuals show it, both directions together."""
    free = 2 * len(residuals_mm) - 8
    return float(np.sqrt(2 * (residuals_mm**2).sum() / free)) if free else None


def _pixel_mm(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """Side in millimetres of a square as large as a pixel's field on the wall, at some points."""
    area = np.linalg.det(matrix) / _third(matrix, points) ** 3
    return np.asarray(1000 * np.sqrt(area))


def _left_out(
    pixels: FloatArray, metres: FloatArray, rms: float | None, limit_mm: float
) -> tuple[FloatArray, tuple[int, float] | None]:
    """How far each point misses where the others decide; the one that does not fit, and by what."""
    count = len(pixels)
    missed, rest = np.full(count, np.nan), np.full(count, np.inf)
    for one in range(count if count > 4 else 0):
        kept = np.arange(count) != one
        if _spans(pixels[kept]) and _spans(metres[kept]):
            matrix = _fitted(pixels[kept], metres[kept])
            missed[one] = _missed(matrix, pixels[~kept], metres[~kept])[0]
            rest[one] = np.nan_to_num(
                _rms(_missed(matrix, pixels[kept], metres[kept])) or 0.0, nan=np.inf
            )
    if count < NAMEABLE or rms is None:
        return missed, None
    one = int(np.argmin(rest))
    alone = missed[one] > max(limit_mm, 3 * rest[one]) and rest[one] < rms / 2
    return missed, (one, float(missed[one])) if alone else None


def _cautions(
    rms: float | None,
    worst: float,
    named: tuple[int, float] | None,
    scales: FloatArray,
    limit_mm: float,
) -> list[str]:
    """What to look at before the photograph is measured."""
    found = []
    if rms is None:
        found.append("Four points always fit, so nothing checks them. Give a fifth and a sixth")
    elif rms > limit_mm:
        found.append(f"The points miss the drawing by {rms:.0f} mm, more than {limit_mm:g} mm")
    if named is not None:
        found.append(
            f"Point {named[0] + 1} lies {named[1]:.0f} mm off where the others put it. Check it "
            "in picture and drawing"
        )
    elif worst > UNSEEN * limit_mm:
        found.append(
            f"Left out in turn, a point misses by {worst:.0f} mm: the points hardly check one "
            "another, or one is wrong. Add points far from the others and from lines between them"
        )
    if scales.max() > SLANT * scales.min():
        found.append(
            f"The photograph is taken at a slant: a pixel is {scales.min():.2g} mm wide at one "
            f"point and {scales.max():.2g} mm at another"
        )
    return found
