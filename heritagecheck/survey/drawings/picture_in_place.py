"""A photograph of a wall, or a scanned drawing, is levelled and scaled by one known length."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from heritagecheck.survey.drawings.picture_file import as_jpeg, open_picture

Point = tuple[float, float]
Line = tuple[Point, Point]

SQUARE_ON = (
    "Take the photograph square-on, from the middle of the wall and far away. Only its turn and "
    "its scale are corrected; perspective is not, and lengths away from the known one are then "
    "wrong."
)
MOST_PIXELS = 4000  # on the long side
CLOSEST = 10  # pixels: two points nearer than that give no direction and no scale
# Common practice: what a person surveys as one elevation.
LOWEST_M, HIGHEST_M = 0.1, 1000.0
STRAIGHT_DEG = 0.01  # of a turn; a picture is not calculated again for less


@dataclass(frozen=True, slots=True)
class PlacedPicture:
    """
    A picture put in place.

    `jpeg` is the file, without what the camera noted of place and time. `width_m` and `height_m`
    are what the whole picture measures. [m] `turned_deg` is the turn to the left that it took. [°]
    """

    jpeg: bytes = field(repr=False)
    width_m: float
    height_m: float
    turned_deg: float

    def __str__(self) -> str:
        way = "left" if self.turned_deg > 0 else "right"
        return (
            f"Picture of {self.width_m:.2f} m by {self.height_m:.2f} m, turned by "
            f"{abs(self.turned_deg):.1f}° to the {way}"
        )


def place_picture(
    data: bytes, *, level: Line, upright: bool, length: Line, length_m: float
) -> PlacedPicture:
    """
    Level a picture of an elevation, and scale it.

    Parameters
    ----------
    data : bytes
        Content of a JPEG or PNG file.
    level : two points
        x and y of two points that lie level on the wall, or plumb where `upright` is True. Points
        count in pixels of the picture as it is displayed, from its left and from its top.
    upright : bool
        Whether the two points of `level` lie one above the other.
    length : two points
        x and y of the ends of a known length, likewise.
    length_m : float
        That length. [m]

    Returns
    -------
    PlacedPicture
        At most 4000 pixels on the long side; corners that turning leaves empty are white.

    Raises
    ------
    ValueError
        The file is no JPEG or PNG, is broken, too small or too large; a point lies outside the
        picture; two points are the same; or the length gives a wall that nobody has.

    Notes
    -----
    The picture is turned by less than 90°, whichever of the two points comes first. Perspective is
    not corrected (see `SQUARE_ON`), so that a photograph must be taken square-on.
    """
    from PIL.Image import Resampling

    if not (math.isfinite(length_m) and length_m > 0):
        raise ValueError(f"The known length is {length_m:g} m. Give it in metres, above 0.")
    image, size = open_picture(data, MOST_PIXELS)
    tilt = _angle(level, size, "that lie plumb" if upright else "that lie level")
    turn = _folded(tilt - 90 if upright else tilt)
    _angle(length, size, "of the known length")
    pixel_m = length_m / math.dist(*length)
    _check_scale(size, pixel_m, length_m)
    reduced_m = pixel_m * size[0] / image.width  # what a pixel of the reduced picture measures
    if abs(turn) > STRAIGHT_DEG:
        white = 255 if image.mode == "L" else (255, 255, 255)
        image = image.rotate(turn, resample=Resampling.BICUBIC, expand=True, fillcolor=white)
    width_m, height_m = (round(pixels * reduced_m, 3) for pixels in image.size)
    image.thumbnail((MOST_PIXELS, MOST_PIXELS))
    return PlacedPicture(as_jpeg(image), width_m, height_m, turn)


def _angle(line: Line, size: tuple[int, int], which: str) -> float:
    """How far a line falls to the right [°], where its points can be used."""
    for x, y in line:
        if not (0 <= x <= size[0] and 0 <= y <= size[1]):
            raise ValueError(
                f"A point {which} lies at {x:g}, {y:g}, outside the picture of {size[0]} × "
                f"{size[1]} pixels. Choose it again."
            )
    (x1, y1), (x2, y2) = line
    if math.dist(*line) < CLOSEST:
        raise ValueError(
            f"The two points {which} are the same, or nearly so. Choose them far apart."
        )
    return math.degrees(math.atan2(y2 - y1, x2 - x1))


def _folded(degrees: float) -> float:
    """The same direction of a line, whichever of its ends comes first: from -90° to 90°."""
    return (degrees + 90) % 180 - 90


def _check_scale(size: tuple[int, int], pixel_m: float, length_m: float) -> None:
    """Refuse a scale that no wall has, with what was understood."""
    wide, high = (pixels * pixel_m for pixels in size)
    if not LOWEST_M <= max(wide, high) <= HIGHEST_M:
        raise ValueError(
            f"With {length_m:g} m between the two points, the picture would show a wall of "
            f"{_metres(wide)} by {_metres(high)}. Walls from {LOWEST_M:g} m to {HIGHEST_M:,.0f} m "
            "are taken. Correct the length, or choose its points again."
        )


def _metres(length: float) -> str:
    """A length with as many digits as show what is wrong with it."""
    return f"{length:,.0f} m" if length >= 10 else f"{length:.4f} m"
