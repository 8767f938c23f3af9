"""Open a photograph's file: its pixels as stored, upright, and the linear light they encode."""

from __future__ import annotations

import logging
import os
import struct
import tempfile
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heritagecheck.sentences import day_in_words
from heritagecheck.survey.exchange.archives import BROKEN

FloatArray = NDArray[np.float64]
_QUIET = logging.NullHandler()
_LARGEST_TIFF = 2 * 10**9  # pixels; beyond, strips of it no longer fit a laptop's disk
LARGEST = 178_000_000  # pixels of JPEG and PNG, which are decoded in one piece; Pillow's own limit
# Above this a photograph stays on the disk and is read strip by strip.
_IN_MEMORY = 2**28
_READ_AHEAD = 2**22  # bytes of a packed TIFF
# Photographs shrink to a tenth, a bad JPEG to a hundredth; a bomb to a thousandth.
_MOST_RATIO = 200
_TO_SRGB = "Save it as an RGB JPEG, PNG or TIFF of 8 or 16 bits a channel and try again."
_EXIF, _DATE_TAKEN, _DATE, _ORIENTATION, _INTEROP = 0x8769, 0x9003, 0x0132, 0x0112, 0xA005
_PROFILE, _INDEX = 34675, 1
_WIDE_GAMMA = 563 / 256  # Exif 2.32, 4.6.4: the optional colour space of cameras
_ALIKE = 2e-3  # between the curves of three channels; rounding of their tables stays below
_MOST_TAGS = 100  # of a profile; real ones hold some twenty


@dataclass(frozen=True, slots=True, eq=False)
class Photograph:
    """
    A photograph as it was stored, upright, with what its levels mean.

    `pixels`, shape (rows, columns, 3), uint8 or uint16, are not decoded and for large TIFF files
    not in memory. `decode[level]` is linear light, 1 for the highest level. `profile` names the
    embedded colour profile, "" where there is none and sRGB is taken. `taken_on` is the day the
    camera noted; `bits` are those of a stored channel.
    """

    pixels: NDArray[Any] = field(repr=False)
    decode: FloatArray = field(repr=False)
    profile: str
    taken_on: date | None
    bits: int

    def __str__(self) -> str:
        rows, columns = self.pixels.shape[:2]
        day = f", taken on {day_in_words(self.taken_on)}" if self.taken_on else ""
        space = self.profile or "no colour profile, taken as sRGB"
        return f"Photograph of {columns} × {rows} pixels, {self.bits} bits a channel, {space}{day}"


@dataclass(frozen=True, slots=True, eq=False)
class _Stored:
    """Pixels of a file as stored, with its metadata."""

    pixels: NDArray[Any]
    orientation: int
    profile: bytes
    taken: str
    wide: bool = False


def open_photograph(path: str | os.PathLike[str]) -> Photograph:
    """
    Open a photograph for measuring.

    Parameters
    ----------
    path : str or path
        JPEG or PNG of up to 178 megapixels, or TIFF of up to 2 gigapixels; RGB with 8 bits a
        channel, PNG and TIFF with 16 as well.

    Returns
    -------
    Photograph
        `pixels` turned upright as its EXIF orientation says; `decode` by the tone curve of its
        embedded profile [1]_, or by sRGB [2]_ where there is none; `profile`, `taken_on`, `bits`.

    Raises
    ------
    ValueError
        The file is no such picture, is broken, grey, CMYK, indexed, animated, partly transparent
        or too large, or its profile has no tone curve; with its name and what is allowed.
    ImportError
        It is a TIFF or a PNG of 16 bits, and the readers for them are not installed.

    Notes
    -----
    Of the profile only the tone curve is used: which red, green and blue it means is found by
    `calibrate` from the chart itself. A camera's JPEG has been through a picture style that no
    profile tells of; photograph in raw and develop without one, into TIFF of 16 bits.

    Nothing large is decoded into memory: an uncompressed TIFF above 256 MB is mapped where it
    lies, a compressed one is unpacked strip by strip into a temporary file, which takes as much
    room on the disk as the picture has in pixels. It vanishes with the photograph.

    References
    ----------
    .. [1] ICC.1:2022, Image technology colour management: profile format.
    .. [2] IEC 61966-2-1:1999, default RGB colour space: sRGB.

    Examples
    --------
    >>> from heritagecheck.evidence.photograph import open_photograph
    >>> open_photograph("notes.txt")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    ValueError: notes.txt: there is no such file.
    """
    path = Path(path)
    if not path.is_file():
        raise ValueError(f"{path.name}: there is no such file.")
    with path.open("rb") as file:
        head = file.read(64)
    if head[:4] in {b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"}:
        stored = _tiff(path)
    elif head[:3] == b"\xff\xd8\xff" or head[:8] == b"\x89PNG\r\n\x1a\n":
        stored = _jpeg_or_png(path, head)
    else:
        if not head:
            raise ValueError(f"{path.name} is empty. Copy it again from the camera.")
        raise ValueError(
            f"{path.name} is neither JPEG, PNG nor TIFF. Develop a raw file, or save the picture "
            "as one of these."
        )
    bits = 8 * stored.pixels.dtype.itemsize
    try:
        name, curve = _curve_of_profile(stored.profile, wide=stored.wide)
    except ValueError as error:
        raise ValueError(f"{path.name}: {error} {_TO_SRGB}") from error
    decode = np.asarray(curve(np.linspace(0, 1, 2**bits)), dtype=float)
    pixels = _upright(stored.pixels, stored.orientation)
    return Photograph(pixels, decode, name, _day(stored.taken), bits)


def camera_day(path: Path) -> date | None:
    """Day that the camera noted in a file, read without its pixels; None where it noted none."""
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of odd tags, which say nothing of the day
            with Image.open(path, formats=["JPEG", "PNG", "TIFF"]) as image:
                exif = image.getexif()
                return _day(str(exif.get_ifd(_EXIF).get(_DATE_TAKEN) or exif.get(_DATE) or ""))
    except BROKEN:
        return None


def _day(taken: str) -> date | None:
    """Day of an EXIF date such as "2026:05:04 10:11:12"; cameras without a clock write noughts."""
    try:
        return datetime.strptime(taken[:10], "%Y:%m:%d").date()
    except ValueError:
        return None


def _upright(pixels: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Turn or mirror pixels as EXIF tag 274 asks, without copying them."""
    if orientation in {5, 6, 7, 8}:
        pixels = pixels.swapaxes(0, 1)
    if orientation in {3, 4, 7, 8}:
        pixels = pixels[::-1]
    if orientation in {2, 3, 6, 7}:
        pixels = pixels[:, ::-1]
    return pixels


@contextmanager
def _readable(path: Path) -> Iterator[None]:
    """Put whatever a library raises over a broken file into our words."""
    try:
        yield
    except (_Refused, ImportError):
        raise
    except BROKEN as error:
        raise ValueError(
            f"{path.name} can't be read: it is broken or cut off ({error}). Copy it again from the "
            "camera, or export it again."
        ) from error


class _Refused(ValueError):
    """A file that was understood and is not taken; it keeps its own words."""


def check_size(
    name: str, file_bytes: int, rows: int, columns: int, pixel_bytes: int, most: int
) -> None:
    """Refuse what is too large, or swells beyond all measure, before it is decoded."""
    if not rows or not columns or rows * columns > most:
        raise _Refused(
            f"{name} has {columns} × {rows} pixels; at most {most // 10**6} million are "
            "taken. Crop it, or save it smaller."
        )
    unpacked = rows * columns * pixel_bytes
    if unpacked > max(_IN_MEMORY // 4, _MOST_RATIO * file_bytes):
        raise _Refused(
            f"{name} would unpack to more than {_MOST_RATIO} times its size, which no "
            "photograph does. It was not opened."
        )


# -- JPEG and PNG -------------------------------------------------------------------------------


def _jpeg_or_png(path: Path, head: bytes) -> _Stored:
    """Read a JPEG or PNG by Pillow, and PNG of 16 bits by imagecodecs."""
    with _readable(path), whole_files_only(), warnings.catch_warnings():
        # Pillow warns of large pictures and odd tags; what matters of it is checked here.
        warnings.simplefilter("ignore")
        with _opened(path) as image:
            deep = image.format == "PNG" and head[24] == 16
            pixel_bytes = 6 if deep else 3
            check_size(
                path.name, path.stat().st_size, image.height, image.width, pixel_bytes, LARGEST
            )
            _check_mode(path, image)
            exif = image.getexif()
            pixels = _deep_png(path) if deep else np.asarray(image)
            profile = image.info.get("icc_profile") or b""
            details = exif.get_ifd(_EXIF)
            taken = str(details.get(_DATE_TAKEN) or exif.get(_DATE) or "")
            # Cameras that write the wider colour space leave out its profile and set this mark.
            wide = str(exif.get_ifd(_INTEROP).get(_INDEX, "")).startswith("R03")
            turn = exif.get(_ORIENTATION, 1)
            return _Stored(_without_alpha(path, pixels), turn, profile, taken, wide)


@contextmanager
def whole_files_only() -> Iterator[None]:
    """Let Pillow refuse a file that was cut off, also where another library let it guess."""
    from PIL import ImageFile

    before = ImageFile.LOAD_TRUNCATED_IMAGES
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        yield
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = before


def _opened(path: Path) -> Any:
    """Open a file by Pillow, which looks at its head only."""
    from PIL import Image

    try:
        return Image.open(path, formats=["JPEG", "PNG"])
    except Image.DecompressionBombError as error:
        raise _Refused(
            f"{path.name} has more than {LARGEST // 10**6} million pixels. Crop it, or save it as "
            "TIFF."
        ) from error


def _check_mode(path: Path, image: Any) -> None:
    """Refuse what holds no three colour channels, by its name."""
    kinds = {
        "1": "black and white only (1 bit)", "L": "grey", "LA": "grey", "I": "grey",
        "I;16": "grey", "I;16B": "grey", "F": "grey", "P": "indexed (a palette of few colours)",
        "PA": "indexed (a palette of few colours)", "CMYK": "CMYK, made for print",
    }  # fmt: skip
    if image.mode not in {"RGB", "RGBA"}:
        kind = kinds.get(image.mode, f"of the kind {image.mode}")
        raise _Refused(f"{path.name} is {kind}. {_TO_SRGB}")
    # An MPO is a camera's JPEG with a preview or a second view behind it: its first is the picture.
    if getattr(image, "n_frames", 1) > 1 and image.format != "MPO":
        raise _Refused(f"{path.name} is animated ({image.n_frames} pictures). {_TO_SRGB}")


def _deep_png(path: Path) -> NDArray[Any]:
    """Pixels of a PNG of 16 bits, of which Pillow keeps only eight."""
    try:
        import imagecodecs
    except ImportError as error:
        raise ImportError(
            f"{path.name} is PNG of 16 bits, for which imagecodecs is needed: "
            "pip install 'heritagecheck[photograph]'."
        ) from error
    try:
        return np.asarray(imagecodecs.png_decode(path.read_bytes()))
    except imagecodecs.PngError as error:  # a RuntimeError, which BROKEN names as well
        raise ValueError(str(error)) from error


def _without_alpha(path: Path, pixels: NDArray[Any]) -> NDArray[Any]:
    """Drop a channel of transparency that says nothing, and refuse one that does."""
    if pixels.shape[2] == 3:
        return pixels
    top = np.iinfo(pixels.dtype).max
    strip = max(1, 2**24 // pixels.shape[1])
    for row in range(0, len(pixels), strip):
        if (pixels[row : row + strip, :, 3] != top).any():
            raise _Refused(
                f"{path.name} is transparent in places, where its colour means nothing. {_TO_SRGB}"
            )
    return pixels[..., :3]


# -- TIFF ---------------------------------------------------------------------------------------


def _tiff(path: Path) -> _Stored:
    """Read a TIFF by tifffile; large ones stay on the disk."""
    try:
        import tifffile
    except ImportError as error:
        raise ImportError(
            f"{path.name} is TIFF, for which tifffile is needed: "
            "pip install 'heritagecheck[photograph]'."
        ) from error
    # Its warnings about tags would only repeat our own message.
    logging.getLogger("tifffile").addHandler(_QUIET)
    with _readable(path), tifffile.TiffFile(path) as file:
        page = _one_page(path, file)
        _check_page(path, page)
        pixels = _pixels_of(path, page)
        if page.planarconfig == tifffile.PLANARCONFIG.SEPARATE:
            pixels = np.moveaxis(pixels, 0, -1)
        orientation = _tag(page, _ORIENTATION, 1)
        details = _tag(page, _EXIF, {})
        taken = details.get("DateTimeOriginal") or _tag(page, _DATE, "")
        profile = bytes(_tag(page, _PROFILE, b""))
        return _Stored(_without_alpha(path, pixels), int(orientation), profile, str(taken))


def _tag(page: Any, code: int, missing: Any) -> Any:
    """Value of a tag, or the default if it is missing."""
    tag = page.tags.get(code)
    return missing if tag is None or tag.value is None else tag.value


def _one_page(path: Path, file: Any) -> Any:
    """The only full picture of the file, which may also hold smaller copies."""
    full = [page for page in file.pages if not getattr(page.aspage(), "is_reduced", False)]
    if len(full) != 1:
        raise _Refused(f"{path.name} holds {len(full)} pictures. Save one alone and try again.")
    return full[0].aspage()


def _check_page(path: Path, page: Any) -> None:
    """Refuse what is no RGB of 8 or 16 bits, too large, or packed too tightly."""
    kinds = {0: "grey", 1: "grey", 3: "indexed (a palette of few colours)",
             5: "CMYK, made for print", 32803: "a raw file", 34892: "a raw file"}  # fmt: skip
    kind = int(page.photometric)
    if page.bitspersample == 1:
        raise _Refused(f"{path.name} is black and white only (1 bit). {_TO_SRGB}")
    # Kind 6 splits brightness from colour, which only JPEG inside a TIFF is turned back from.
    if kind != 2 and not (kind == 6 and page.compression == 7):
        raise _Refused(f"{path.name} is {kinds.get(kind, f'of the kind {kind}')}. {_TO_SRGB}")
    if page.sampleformat != 1 or page.bitspersample not in {8, 16}:
        form = "of decimals" if page.sampleformat == 3 else "of whole numbers"
        raise _Refused(f"{path.name} has {page.bitspersample} bits {form} a channel. {_TO_SRGB}")
    if page.samplesperpixel not in {3, 4} or page.imagedepth != 1:
        raise _Refused(f"{path.name} has {page.samplesperpixel} channels. {_TO_SRGB}")
    size = page.samplesperpixel * page.bitspersample // 8
    check_size(
        path.name, path.stat().st_size, page.imagelength, page.imagewidth, size, _LARGEST_TIFF
    )


def _pixels_of(path: Path, page: Any) -> NDArray[Any]:
    """Pixels in memory; those of a large file memory-mapped, or unpacked to a temporary file."""
    # What is missing would come back black, without a word.
    ends = np.add(page.dataoffsets, page.databytecounts)
    if not len(ends) or min(page.databytecounts) == 0 or ends.max() > path.stat().st_size:
        raise ValueError("parts of the picture are missing")
    large = page.nbytes > _IN_MEMORY
    found: NDArray[Any] = page.asarray(
        out="memmap" if large else None, maxworkers=1, buffersize=_READ_AHEAD
    )
    if found.dtype.isnative:
        return found
    native = found.dtype.newbyteorder("=")
    if not large:
        return found.astype(native)
    with tempfile.TemporaryFile() as file:  # its pages live on in the map
        turned: NDArray[Any] = np.memmap(file, native, "w+", shape=found.shape)
    for row in range(0, len(found), 256):
        turned[row : row + 256] = found[row : row + 256]
    return turned


# -- Colour profiles ----------------------------------------------------------------------------

Curve = Callable[[FloatArray], FloatArray]


def _curve_of_profile(profile: bytes, *, wide: bool) -> tuple[str, Curve]:
    """Name of an ICC profile, and its curve from stored level (0 to 1) to linear light."""
    if not profile:
        return "", (lambda level: level**_WIDE_GAMMA) if wide else _srgb
    if len(profile) < 132 or profile[36:40] != b"acsp":
        raise ValueError("its colour profile is broken.")
    space = profile[16:20].decode("latin-1").strip()
    if space != "RGB":
        raise ValueError(f"its colour profile is for {space}, not for RGB.")
    tags = _tags_of(profile)
    curves = [_curve(tags.get(name, b"")) for name in (b"rTRC", b"gTRC", b"bTRC")]
    if None in curves:
        raise ValueError("its colour profile has no tone curves (it works by a table of colours).")
    red, green, blue = (curve for curve in curves if curve is not None)
    level = np.linspace(0, 1, 256)
    if max(np.abs(red(level) - one(level)).max() for one in (green, blue)) > _ALIKE:
        raise ValueError("its colour profile has another tone curve for each channel.")
    if not (np.diff(red(level)) >= 0).all() or abs(red(level[-1:])[0] - 1) > 0.01:
        raise ValueError("the tone curve of its colour profile does not rise from black to white.")
    return _name_of(tags.get(b"desc", b"")), red


def _tags_of(profile: bytes) -> dict[bytes, bytes]:
    """Tags of an ICC profile by their signature (ICC.1:2022, 7.3)."""
    count = int.from_bytes(profile[128:132])
    if count > _MOST_TAGS or len(profile) < 132 + 12 * count:
        raise ValueError("its colour profile is broken.")
    found = {}
    for signature, start, size in struct.iter_unpack(">4sII", profile[132 : 132 + 12 * count]):
        if start + size > len(profile):
            raise ValueError("its colour profile is cut off.")
        found[signature] = profile[start : start + size]
    return found


def _curve(tag: bytes) -> Curve | None:
    """One tone curve: sampled or a power (10.6), or of parameters (10.18)."""
    kind, count = tag[:4], int.from_bytes(tag[8:12])
    if kind == b"curv" and count == 0:
        return lambda level: level
    if kind == b"curv" and count == 1 and len(tag) >= 14:
        gamma = int.from_bytes(tag[12:14]) / 256
        return lambda level: level**gamma
    if kind == b"curv" and len(tag) >= 12 + 2 * count:
        table = np.frombuffer(tag, ">u2", count, 12) / 65535
        return lambda level: np.interp(level, np.linspace(0, 1, count), table)
    if kind == b"para":
        return _parametric(int.from_bytes(tag[8:10]), tag[12:])
    return None


def _parametric(kind: int, rest: bytes) -> Curve | None:
    """A power above an edge and a line below it; g, a, b, c, d, e, f as ICC.1 names them."""
    count = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}.get(kind)
    if count is None or len(rest) < 4 * count:
        return None
    given = [value / 65536 for value in struct.unpack(f">{count}i", rest[: 4 * count])]
    g = given[0]
    a, b = given[1:3] if kind else (1.0, 0.0)
    edge, c, e, f = -np.inf, 0.0, 0.0, 0.0
    if kind in {1, 2}:
        edge = -b / a if a else np.inf
        e = f = given[3] if kind == 2 else 0.0
    if kind in {3, 4}:
        c, edge = given[3:5]
        e, f = given[5:] if kind == 4 else (0.0, 0.0)
    return lambda level: np.where(
        level >= edge, np.clip(a * level + b, 0, None) ** g + e, c * level + f
    )


def _name_of(tag: bytes) -> str:
    """Name of a profile, of version 2 or 4."""
    if tag[:4] == b"mluc" and len(tag) >= 28:
        size, start = struct.unpack(">II", tag[20:28])
        return tag[start : start + size].decode("utf-16-be", "replace").strip("\0 ")
    size = int.from_bytes(tag[8:12])
    return tag[12 : 12 + size].decode("latin-1").strip("\0 ") or "unnamed profile"


def _srgb(level: FloatArray) -> FloatArray:
    """Linear light of sRGB levels (IEC 61966-2-1)."""
    return np.where(level <= 0.04045, level / 12.92, ((level + 0.055) / 1.055) ** 2.4)


def srgb_light(bits: int) -> FloatArray:
    """Linear light of the levels of an sRGB picture."""
    return _srgb(np.arange(2**bits) / (2**bits - 1))
