"""A photograph or scan of an elevation: opened upright, as a drawing, levelled and scaled."""

from __future__ import annotations

import base64
import io
import math
import warnings
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from heritagecheck.sentences import lower_first
from heritagecheck.survey.drawings.plain_svg import SVG, PlainDrawing
from heritagecheck.survey.exchange.archives import BROKEN
from heritagecheck.survey.instruments.photo_file import LARGEST, check_size, whole_files_only

if TYPE_CHECKING:
    from PIL.Image import Image


# -- Opened ----------------------------------------------------------------------------------------

JPEG, PNG = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"
SMALLEST = 32  # pixels of the shorter side: on fewer nothing of a wall is seen
SLENDEREST = 100  # a wall of 300 m by 3 m is a hundred times as long as it is high
QUALITY = 88  # of a JPEG: joints and soiling look as before
ORIENTATION = 0x0112
REDUCED_AS = {"1": "L", "P": "RGBA", "PA": "RGBA"}  # what has no shades between its levels
SIDEWAYS = {5, 6, 7, 8}  # values of it with which width and height change places
# What else people have at hand, by its first bytes, and what to do with it.
OTHERS = (
    (b"%PDF", "a PDF. Export its page as JPEG or PNG"),
    (b"II*\0", "a TIFF. Save it as JPEG or PNG"),
    (b"MM\0*", "a TIFF. Save it as JPEG or PNG"),
    (b"<", "an SVG drawing or a text. An SVG is taken in as it is"),
)


def is_picture(head: bytes) -> bool:
    """Whether a file begins as a JPEG or PNG does."""
    return head.startswith((JPEG, PNG))


def open_picture(data: bytes, most: int) -> tuple[Image, tuple[int, int]]:
    """
    Picture in a file, grey or RGB, and its full size as it is shown: width, height [pixel].

    It is turned upright as EXIF says, laid on white where it is transparent, and reduced to `most`
    pixels on its long side.
    """
    from PIL import Image

    if not is_picture(data):
        raise ValueError(_what_it_is(data))
    try:
        with whole_files_only(), warnings.catch_warnings():
            # Pillow warns of large pictures and odd tags; what matters of it is checked here.
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data), formats=["JPEG", "PNG"]) as image:
                size = _size(image, len(data))
                return _reduced(image, most), size
    except Image.DecompressionBombError as error:
        raise ValueError(
            f"The picture has more than {LARGEST // 10**6} million pixels. Save it smaller."
        ) from error
    except _Refused:
        raise
    except BROKEN as error:
        raise ValueError(
            f"The picture can't be read: it is broken or cut off ({error}). Copy it again from the "
            "camera, or save it again."
        ) from error


class _Refused(ValueError):
    """A picture that can be read but is refused; its message is kept as it is."""


def _size(image: Image, file_bytes: int) -> tuple[int, int]:
    """Width and height as shown; refused if they can't be used."""
    try:
        check_size("The picture", file_bytes, image.height, image.width, 3, LARGEST)
    except ValueError as error:
        raise _Refused(str(error)) from error
    wide, high = image.size
    if min(wide, high) < SMALLEST or max(wide, high) > SLENDEREST * min(wide, high):
        raise _Refused(
            f"The picture has {wide} × {high} pixels. Take one of at least {SMALLEST} pixels each "
            f"way, and at most {SLENDEREST} times as long as wide."
        )
    return (high, wide) if image.getexif().get(ORIENTATION) in SIDEWAYS else (wide, high)


def _reduced(image: Image, most: int) -> Image:
    """A picture upright, in grey or RGB, reduced."""
    from PIL import ImageOps
    from PIL.Image import Resampling

    # Reduced before anything is copied: at full size only one picture is ever in memory.
    image.draft(None, (most, most))
    if image.mode in {"P", "PA"}:  # fourfold in colours, so less is taken of a large one
        image.thumbnail((2 * most, 2 * most), Resampling.NEAREST)
    found = image.convert(REDUCED_AS[image.mode]) if image.mode in REDUCED_AS else image
    found.thumbnail((most, most), reducing_gap=None)
    if found.mode.startswith("I"):  # scans of 16 bits
        found = found.convert("F").point(lambda level: level / 257)
    ImageOps.exif_transpose(found, in_place=True)
    if found.has_transparency_data:
        found = _on_white(found)
    return found.convert("L" if found.mode in {"L", "LA", "F"} else "RGB")


def _on_white(image: Image) -> Image:
    """A transparent picture laid on white."""
    from PIL import Image

    over = image.convert("RGBA")
    return Image.alpha_composite(Image.new("RGBA", over.size, "white"), over)


def as_jpeg(image: Image) -> bytes:
    """A picture as JPEG, without what the camera noted of place and time."""
    file = io.BytesIO()
    image.save(file, "JPEG", quality=QUALITY)
    return file.getvalue()


def _what_it_is(data: bytes) -> str:
    """Why a file is refused, with what to do."""
    if not data:
        return "The file is empty. Copy it again from the camera."
    if data[4:8] == b"ftyp":
        return "This is a video or a phone's own format (HEIC). Export it as JPEG or PNG."
    for head, said in OTHERS:
        if data.lstrip().startswith(head):
            return f"This is {said}."
    return "This is neither JPEG nor PNG. Save the photograph or scan as one of these."


# -- A picture as a drawing ------------------------------------------------------------------------

# Units of the longer side, and pixels of the copy that a report carries: joints stay visible in a
# detail a fifth as wide, and type and hatches are as large as on a drawing of that width.
LONGEST = 2000
MOST_BYTES = 100 * 2**20
IMAGE = f"{{{SVG}}}image"
JPEG_ADDRESS = "data:image/jpeg;base64,"


@lru_cache(maxsize=16)
def picture_drawing(path: Path, changed_ns: int, size: int) -> PlainDrawing:
    """Drawing that shows the picture in a file; the time of change is only a key of the cache."""
    del changed_ns
    try:
        if size > MOST_BYTES:
            raise ValueError(
                f"The picture is larger than {MOST_BYTES // 2**20} MB. Save it smaller."
            )
        image, (wide, high) = open_picture(path.read_bytes(), LONGEST)
    except ValueError as error:
        said = lower_first(str(error).removesuffix("."))
        return PlainDrawing(ET.Element(f"{{{SVG}}}svg"), (said,), ())
    unit = LONGEST / max(wide, high)
    sides = {"width": f"{wide * unit:.9g}", "height": f"{high * unit:.9g}"}
    root = ET.Element(f"{{{SVG}}}svg", {"viewBox": f"0 0 {sides['width']} {sides['height']}"})
    given = {"href": address_of(as_jpeg(image)), "preserveAspectRatio": "none"}
    ET.SubElement(root, IMAGE, {**sides, **given})
    return PlainDrawing(root, (), ())


def address_of(jpeg: bytes) -> str:
    """A picture as a data URL."""
    return JPEG_ADDRESS + base64.b64encode(jpeg).decode("ascii")


# -- A picture put in place ------------------------------------------------------------------------

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

    `jpeg` is the file, without the camera's notes of place and time. `width_m` and `height_m` are
    the size of the whole picture [m]; `turned_deg` is the turn to the left [°].
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
    Level and scale a picture of an elevation, from a JPEG or PNG file.

    `level` and `length` are two points x, y each, in pixels of the picture as displayed. Those of
    `level` lie level on the wall, or plumb if `upright`; those of `length` are `length_m` apart.
    The result has at most 4000 pixels on its long side; corners left empty by turning are white.
    The turn is below 90°, whichever point comes first. Perspective is not corrected (`SQUARE_ON`).
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
    """Slope of a line down to the right [°]; refused if its points can't be used."""
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
    """Direction of a line from -90° to 90°, whichever end comes first."""
    return (degrees + 90) % 180 - 90


def _check_scale(size: tuple[int, int], pixel_m: float, length_m: float) -> None:
    """Refuse a scale that no wall has."""
    wide, high = (pixels * pixel_m for pixels in size)
    if not LOWEST_M <= max(wide, high) <= HIGHEST_M:
        raise ValueError(
            f"With {length_m:g} m between the two points, the picture would show a wall of "
            f"{_metres(wide)} by {_metres(high)}. Walls from {LOWEST_M:g} m to {HIGHEST_M:,.0f} m "
            "are taken. Correct the length, or choose its points again."
        )


def _metres(length: float) -> str:
    """A length with enough digits to show what is wrong with it."""
    return f"{length:,.0f} m" if length >= 10 else f"{length:.4f} m"
