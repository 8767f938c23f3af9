"""A photograph or a scanned drawing is opened: upright, on white, no larger than is needed."""

from __future__ import annotations

import io
import warnings
from typing import TYPE_CHECKING

from heritagecheck.survey.exchange.archives import BROKEN
from heritagecheck.survey.instruments.photo_file import LARGEST, check_size, whole_files_only

if TYPE_CHECKING:
    from PIL.Image import Image

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
    """A picture that was understood and is not taken; it keeps its own words."""


def _size(image: Image, file_bytes: int) -> tuple[int, int]:
    """Width and height as shown, where they can be used."""
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
    """Why a file is not taken, with what to do."""
    if not data:
        return "The file is empty. Copy it again from the camera."
    if data[4:8] == b"ftyp":
        return "This is a film or a telephone's own format (HEIC). Export it as JPEG or PNG."
    for head, said in OTHERS:
        if data.lstrip().startswith(head):
            return f"This is {said}."
    return "This is neither JPEG nor PNG. Save the photograph or scan as one of these."
