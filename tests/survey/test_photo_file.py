"""Photographs are opened as stored, upright, with what their levels mean; the rest is refused."""

from __future__ import annotations

import contextlib
import struct
import tracemalloc
import zlib
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms, TiffImagePlugin

from heritagecheck.survey.instruments import photo_file
from heritagecheck.survey.instruments.photo_file import open_photograph, srgb_light

TAKEN = "2026:05:04 10:11:12"


def picture(rows: int = 40, columns: int = 60, kind: type = np.uint8) -> np.ndarray:
    """Pixels by chance, as wide as their kind."""
    most = np.iinfo(kind).max
    return np.random.default_rng(1).integers(0, most, (rows, columns, 3), dtype=kind)


def icc(curve: bytes, space: bytes = b"RGB ", curves: tuple[bytes, ...] = ()) -> bytes:
    """A profile of version 2 with one tone curve for all channels, or one for each."""
    name = b"desc\0\0\0\0" + struct.pack(">I", 9) + b"Invented\0"
    tags = [(b"desc", name)]
    for tag, one in zip((b"rTRC", b"gTRC", b"bTRC"), curves or (curve,) * 3, strict=True):
        tags += [(tag, one)] if one else []
    place, table, data = 132 + 12 * len(tags), b"", b""
    for tag, one in tags:
        table += struct.pack(">4sII", tag, place + len(data), len(one))
        data += one + bytes(-len(one) % 4)
    head = bytearray(128)
    head[12:20], head[20:24], head[36:40] = b"mntr" + space, b"XYZ ", b"acsp"
    head[8:12] = bytes([2, 64, 0, 0])
    head[0:4] = struct.pack(">I", 132 + len(table) + len(data))
    return bytes(head) + struct.pack(">I", len(tags)) + table + data


def gamma(power: float) -> bytes:
    """Tone curve of a plain power."""
    return b"curv\0\0\0\0" + struct.pack(">IH", 1, round(power * 256))


def parametric(kind: int, *values: float) -> bytes:
    """Tone curve by parameters."""
    numbers = [round(value * 65536) for value in values]
    return b"para\0\0\0\0" + struct.pack(f">HH{len(numbers)}i", kind, 0, *numbers)


def deep_png(path: Path, pixels: np.ndarray) -> None:
    """Write a PNG of 16 bits by hand (RFC 2083), as Pillow can't."""
    rows, columns, channels = pixels.shape
    lines = b"".join(b"\0" + row.astype(">u2").tobytes() for row in pixels)
    head = struct.pack(">IIBBBBB", columns, rows, 16, {3: 2, 4: 6}[channels], 0, 0, 0)
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n"
        + b"".join(
            struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
            for name, data in ((b"IHDR", head), (b"IDAT", zlib.compress(lines)), (b"IEND", b""))
        )
    )


def exif(**tags: object) -> Image.Exif:
    """EXIF with the tags that matter."""
    found = Image.Exif()
    if "orientation" in tags:
        found[0x0112] = tags["orientation"]
    if "taken" in tags:
        found.get_ifd(0x8769)[0x9003] = tags["taken"]
    if "index" in tags:
        found.get_ifd(0x8769)[0xA005] = {1: tags["index"]}
    return found


# -- What is read -------------------------------------------------------------------------------


def test_a_png_comes_back_bit_by_bit(tmp_path: Path) -> None:
    """Stored levels, sRGB where no profile says otherwise, and a sentence."""
    Image.fromarray(picture()).save(tmp_path / "wall.png")
    found = open_photograph(tmp_path / "wall.png")

    assert (found.pixels == picture()).all()
    assert (found.profile, found.taken_on, found.bits) == ("", None, 8)
    assert str(found) == (
        "Photograph of 60 × 40 pixels, 8 bits a channel, no colour profile, taken as sRGB"
    )


def test_srgb_levels_stand_for_the_light_that_the_standard_prints() -> None:
    """IEC 61966-2-1: 0, the end of its line, and 255; 118 of 255 is the 18 % grey of practice."""
    light = srgb_light(8)

    assert light[[0, 10, 255]] == pytest.approx([0, 10 / 255 / 12.92, 1])
    assert light[118] == pytest.approx(0.18, abs=0.002)
    assert srgb_light(16)[::257] == pytest.approx(light)


def test_a_jpeg_is_read_with_the_day_it_was_taken(tmp_path: Path) -> None:
    """From EXIF DateTimeOriginal, whose time of day is left aside."""
    path = tmp_path / "wall.jpg"
    Image.fromarray(np.full((40, 60, 3), 90, dtype=np.uint8)).save(path, exif=exif(taken=TAKEN))
    found = open_photograph(str(path))

    assert found.taken_on == date(2026, 5, 4)
    assert np.abs(found.pixels.astype(int) - 90).max() <= 1
    assert str(found).endswith("taken on 4 May 2026")


@pytest.mark.parametrize("taken", ["0000:00:00 00:00:00", "yesterday", ""])
def test_a_camera_without_a_clock_has_no_day(tmp_path: Path, taken: str) -> None:
    """Noughts and nonsense are no day."""
    path = tmp_path / "wall.jpg"
    Image.fromarray(picture()).save(path, exif=exif(taken=taken))

    assert open_photograph(path).taken_on is None


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("ending", ["png", "tif"])
def test_photographs_stand_upright(tmp_path: Path, orientation: int, ending: str) -> None:
    """Each EXIF orientation, held against Pillow's own `exif_transpose`."""
    from PIL import ImageOps

    path, pixels = tmp_path / f"wall.{ending}", picture(5, 7)
    if ending == "png":
        Image.fromarray(pixels).save(path, exif=exif(orientation=orientation))
    else:
        tifffile.imwrite(path, pixels, photometric="rgb",
                         extratags=[(274, 3, 1, orientation, True)])  # fmt: skip
    with Image.open(path) as image:
        expected = np.asarray(ImageOps.exif_transpose(image))

    assert (open_photograph(path).pixels == expected).all()


def test_sixteen_bits_of_a_png_are_all_kept(tmp_path: Path) -> None:
    """Pillow would hand over eight of them."""
    deep_png(tmp_path / "wall.png", picture(kind=np.uint16))
    found = open_photograph(tmp_path / "wall.png")

    assert found.bits == 16
    assert found.decode.shape == (65536,)
    assert (found.pixels == picture(kind=np.uint16)).all()


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize(
    "how",
    [
        {},
        {"compression": "zlib", "predictor": True},
        {"compression": "lzw"},
        {"tile": (16, 32), "compression": "zlib"},
        {"planarconfig": "separate"},
        {"byteorder": ">"},
        {"bigtiff": True, "rowsperstrip": 7},
    ],
    ids=["plain", "deflate", "LZW", "tiles", "planes", "big-endian", "BigTIFF"],
)
def test_tiff_files_of_every_make_are_read(tmp_path: Path, kind: type, how: dict) -> None:
    """Whatever program wrote them, pixels come back bit by bit, in this machine's order."""
    pixels = picture(kind=kind)
    planes = how.get("planarconfig") == "separate"
    stored = np.moveaxis(pixels, -1, 0) if planes else pixels
    tifffile.imwrite(tmp_path / "wall.tif", stored, photometric="rgb", **how)
    found = open_photograph(tmp_path / "wall.tif")

    assert (found.pixels == pixels).all()
    assert found.pixels.dtype.isnative
    assert found.bits == 8 * np.dtype(kind).itemsize


def test_a_jpeg_inside_a_tiff_is_turned_back_to_rgb(tmp_path: Path) -> None:
    """As scanners write it: held against what Pillow reads of the same file."""
    path = tmp_path / "wall.tif"
    smooth = np.linspace(20, 220, 64 * 64 * 3).reshape(64, 64, 3).astype(np.uint8)
    Image.fromarray(smooth).save(path, compression="jpeg", quality=95)
    with Image.open(path) as image:
        theirs = np.asarray(image.convert("RGB")).astype(int)

    assert np.abs(open_photograph(path).pixels - theirs).max() <= 3


def test_smaller_copies_behind_a_tiff_are_passed_over(tmp_path: Path) -> None:
    """A pyramid holds one photograph."""
    path = tmp_path / "wall.tif"
    with tifffile.TiffWriter(path) as file:
        file.write(picture(), photometric="rgb")
        file.write(picture()[::2, ::2], photometric="rgb", subfiletype=1)

    assert open_photograph(path).pixels.shape == (40, 60, 3)


@pytest.mark.parametrize(
    "how", [{}, {"compression": "zlib"}, {"byteorder": ">"}, {"planarconfig": "separate"}]
)
def test_a_large_tiff_stays_on_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, how: dict
) -> None:
    """What counts as large is lowered here; memory in use stays far below the picture's."""
    monkeypatch.setattr(photo_file, "_IN_MEMORY", 2**20)
    pixels = picture(3000, 2500, np.uint16)
    planes = how.get("planarconfig") == "separate"
    stored = np.moveaxis(pixels, -1, 0) if planes else pixels
    tifffile.imwrite(tmp_path / "wall.tif", stored, photometric="rgb", rowsperstrip=50, **how)
    tracemalloc.start()
    found = open_photograph(tmp_path / "wall.tif")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()

    base = found.pixels
    while isinstance(base, np.ndarray) and not isinstance(base, np.memmap):
        base = base.base
    assert isinstance(base, np.memmap)
    assert peak < pixels.nbytes / 3
    assert (found.pixels[::97, ::89] == pixels[::97, ::89]).all()


@pytest.mark.parametrize("ending", ["png", "tif"])
def test_a_channel_of_transparency_that_says_nothing_is_dropped(
    tmp_path: Path, ending: str
) -> None:
    """Fully opaque everywhere: the colours are whole."""
    path = tmp_path / f"wall.{ending}"
    opaque = np.dstack([picture(), np.full((40, 60), 255, dtype=np.uint8)])
    if ending == "png":
        Image.fromarray(opaque).save(path)
    else:
        tifffile.imwrite(path, opaque, photometric="rgb", extrasamples=["unassalpha"])

    assert (open_photograph(path).pixels == picture()).all()


# -- Profiles -----------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", ["jpg", "png", "tif"])
def test_the_tone_curve_of_the_embedded_profile_is_used(tmp_path: Path, ending: str) -> None:
    """A wide-gamut profile with a power of 2.2: its light is the level to that power."""
    path, profile = tmp_path / f"wall.{ending}", icc(gamma(2.2))
    Image.fromarray(picture()).save(path, icc_profile=profile)
    found = open_photograph(path)

    assert found.profile == "Invented"
    assert found.decode == pytest.approx((np.arange(256) / 255) ** (round(2.2 * 256) / 256))


def test_a_profile_of_srgb_gives_the_curve_of_srgb(tmp_path: Path) -> None:
    """The one that littleCMS writes, whose curve is of parameters, to its last digits."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    Image.fromarray(picture()).save(tmp_path / "wall.png", icc_profile=profile)
    found = open_photograph(tmp_path / "wall.png")

    assert found.decode == pytest.approx(srgb_light(8), abs=2e-5)
    assert "sRGB" in found.profile


LEVEL = np.arange(256) / 255


@pytest.mark.parametrize(
    ("curve", "light"),
    [
        (b"curv\0\0\0\0\0\0\0\0", LEVEL),
        (b"curv\0\0\0\0" + struct.pack(">I3H", 3, 0, 16384, 65535),
         np.interp(LEVEL, [0, 0.5, 1], [0, 16384 / 65535, 1])),
        (parametric(0, 1.8), LEVEL**1.8),
        (parametric(1, 2, 0.9, 0.1), (0.9 * LEVEL + 0.1) ** 2),
        (parametric(2, 2, 0.8, 0.1, 0.19), (0.8 * LEVEL + 0.1) ** 2 + 0.19),
        (parametric(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045), srgb_light(8)),
        (parametric(4, 2, 0.9, 0.0, 0.25, 0.5, 0.19, 0.08),
         np.where(LEVEL >= 0.5, (0.9 * LEVEL) ** 2 + 0.19, 0.25 * LEVEL + 0.08)),
    ],
    ids=["none", "table", "para 0", "para 1", "para 2", "para 3", "para 4"],
)  # fmt: skip
def test_every_kind_of_tone_curve_is_read(tmp_path: Path, curve: bytes, light: np.ndarray) -> None:
    """As ICC.1:2022, 10.6 and 10.18, print them."""
    Image.fromarray(picture()).save(tmp_path / "wall.png", icc_profile=icc(curve))

    assert open_photograph(tmp_path / "wall.png").decode == pytest.approx(light, abs=1e-4)


def test_a_camera_marks_its_wider_colour_space_without_a_profile(tmp_path: Path) -> None:
    """EXIF interoperability index R03: a power of 563 / 256."""
    path = tmp_path / "wall.jpg"
    Image.fromarray(picture()).save(path, exif=exif(index="R03"))

    assert open_photograph(path).decode == pytest.approx(LEVEL ** (563 / 256))


@pytest.mark.parametrize(
    ("profile", "said"),
    [
        (icc(gamma(2.2), b"CMYK"), "its colour profile is for CMYK, not for RGB"),
        (icc(gamma(1), b"GRAY"), "its colour profile is for GRAY"),
        (icc(b""), "has no tone curves .it works by a table of colours"),
        (icc(b"", curves=(gamma(2), gamma(2), gamma(1.8))), "another tone curve for each channel"),
        (
            icc(b"curv\0\0\0\0" + struct.pack(">I3H", 3, 0, 60000, 30000)),
            "does not rise from black",
        ),
        (icc(parametric(9, 1)), "has no tone curves"),
        (icc(gamma(2.2))[:150], "its colour profile is broken|cut off"),
        (b"no profile at all", "its colour profile is broken"),
    ],
)
def test_profiles_that_say_no_linear_light_are_refused(
    tmp_path: Path, profile: bytes, said: str
) -> None:
    """With the file's name and what to save instead."""
    path = tmp_path / "wall.png"
    Image.fromarray(picture()).save(path, icc_profile=profile)

    with pytest.raises(ValueError, match=rf"^wall\.png: .*(?:{said}).* Save it as an RGB JPEG"):
        open_photograph(path)


# -- What is refused ----------------------------------------------------------------------------


def pillow(mode: str) -> Image.Image:
    """A small picture of one of Pillow's kinds."""
    return Image.fromarray(picture()).convert(mode)


@pytest.mark.parametrize(
    ("name", "mode", "said"),
    [
        ("a.jpg", "CMYK", "a.jpg is CMYK, made for print"),
        ("a.jpg", "L", "a.jpg is grey"),
        ("a.png", "1", r"a.png is black and white only \(1 bit\)"),
        ("a.png", "L", "a.png is grey"),
        ("a.png", "LA", "a.png is grey"),
        ("a.png", "P", r"a.png is indexed \(a palette of few colours\)"),
        ("a.tif", "CMYK", "a.tif is CMYK, made for print"),
        ("a.tif", "1", "a.tif is black and white only"),
        ("a.tif", "L", "a.tif is grey"),
        ("a.tif", "P", "a.tif is indexed"),
        ("a.tif", "LAB", "a.tif is of the kind 8"),
    ],
)
def test_pictures_without_three_colour_channels_are_refused(
    tmp_path: Path, name: str, mode: str, said: str
) -> None:
    """By the words a photographer knows, and with what to save instead."""
    pillow(mode).save(tmp_path / name)

    with pytest.raises(ValueError, match=rf"{said}.* Save it as an RGB JPEG, PNG or TIFF"):
        open_photograph(tmp_path / name)


@pytest.mark.parametrize("name", ["a.png", "a.tif"])
def test_transparency_is_refused(tmp_path: Path, name: str) -> None:
    """One pixel that shows through is enough to ask."""
    pixels = np.dstack([picture(), np.full((40, 60), 255, dtype=np.uint8)])
    pixels[3, 4, 3] = 254
    Image.fromarray(pixels).save(tmp_path / name)

    with pytest.raises(ValueError, match=rf"{name} is transparent in places"):
        open_photograph(tmp_path / name)


@pytest.mark.parametrize(
    ("pixels", "said"),
    [
        (picture().astype(np.float32), "32 bits of decimals a channel"),
        (picture().astype(np.uint32), "32 bits of whole numbers a channel"),
        (picture().astype(np.int16), "16 bits of whole numbers a channel"),
    ],
)
def test_a_tiff_of_other_numbers_is_refused(tmp_path: Path, pixels: np.ndarray, said: str) -> None:
    """Nobody wrote down what their 1 means."""
    tifffile.imwrite(tmp_path / "a.tif", pixels, photometric="rgb")

    with pytest.raises(ValueError, match=rf"a\.tif has {said}"):
        open_photograph(tmp_path / "a.tif")


def test_several_pictures_in_one_file_are_refused(tmp_path: Path) -> None:
    """A TIFF of two pages, and a PNG that moves."""
    with tifffile.TiffWriter(tmp_path / "a.tif") as file:
        file.write(picture(), photometric="rgb")
        file.write(picture(), photometric="rgb")
    Image.fromarray(picture()).save(
        tmp_path / "a.png", save_all=True, append_images=[Image.fromarray(picture()[::-1])]
    )

    with pytest.raises(ValueError, match=r"a\.tif holds 2 pictures"):
        open_photograph(tmp_path / "a.tif")
    with pytest.raises(ValueError, match=r"a\.png is animated \(2 pictures\)"):
        open_photograph(tmp_path / "a.png")


@pytest.mark.parametrize("name", ["a.jpg", "a.png", "a.tif", "deep.png", "deflate.tif"])
@pytest.mark.parametrize("kept", [0.05, 0.5, 0.9])
def test_a_file_that_was_cut_off_is_refused(tmp_path: Path, name: str, kept: float) -> None:
    """No grey or black remainder passes for stone."""
    path = tmp_path / name
    if name == "deep.png":
        deep_png(path, picture(200, 300, np.uint16))
    elif name.endswith("tif"):
        how = {"compression": "zlib"} if name == "deflate.tif" else {}
        tifffile.imwrite(path, picture(200, 300), photometric="rgb", rowsperstrip=9, **how)
    else:
        Image.fromarray(picture(200, 300)).save(path)
    whole = path.read_bytes()
    path.write_bytes(whole[: int(kept * len(whole))])

    with pytest.raises(ValueError, match=rf"{name} can't be read: it is broken or cut off"):
        open_photograph(path)


@pytest.mark.parametrize("name", ["a.jpg", "a.png", "a.tif", "deep.png"])
def test_a_file_with_changed_bytes_never_ends_in_another_error(tmp_path: Path, name: str) -> None:
    """Fifty files with three bytes of their heads changed: read, or refused by a ValueError."""
    path, chance = tmp_path / name, np.random.default_rng(2)
    if name == "deep.png":
        deep_png(path, picture(9, 9, np.uint16))
    else:
        Image.fromarray(picture(9, 9)).save(path)
    whole = path.read_bytes()
    for _ in range(50):
        changed = bytearray(whole)
        for place in chance.integers(8, min(len(whole), 400), 3):
            changed[place] = chance.integers(256)
        path.write_bytes(changed)
        with contextlib.suppress(ValueError):
            assert open_photograph(path).pixels.shape[2] == 3


def test_a_bomb_is_not_unpacked(tmp_path: Path) -> None:
    """A PNG of noughts that would swell a thousandfold, a TIFF that would, and one too large."""
    rows, columns = 6000, 5000
    lines = zlib.compressobj(9)
    data = b"".join(lines.compress(bytes(1 + 3 * columns)) for _ in range(rows)) + lines.flush()
    head = struct.pack(">IIBBBBB", columns, rows, 8, 2, 0, 0, 0)
    (tmp_path / "a.png").write_bytes(
        b"\x89PNG\r\n\x1a\n"
        + b"".join(
            struct.pack(">I", len(part)) + name + part + struct.pack(">I", zlib.crc32(name + part))
            for name, part in ((b"IHDR", head), (b"IDAT", data), (b"IEND", b""))
        )
    )
    tracemalloc.start()
    with pytest.raises(ValueError, match=r"a\.png would unpack to more than 200 times its size"):
        open_photograph(tmp_path / "a.png")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()

    assert peak < 2**23


def test_a_picture_too_large_is_refused_before_it_is_read(tmp_path: Path) -> None:
    """Only its head is there: 60,000 × 50,000 pixels of TIFF, 20,000 × 20,000 of PNG."""
    tags = {256: 60000, 257: 50000, 258: (8, 8, 8), 259: 1, 262: 2, 273: 8, 277: 3, 278: 50000,
            279: 100}  # fmt: skip
    head = TiffImagePlugin.ImageFileDirectory_v2()
    for tag, value in tags.items():
        head[tag] = value
    (tmp_path / "a.tif").write_bytes(b"II*\0\x08\0\0\0" + head.tobytes(8))
    size = struct.pack(">IIBBBBB", 20000, 20000, 8, 2, 0, 0, 0)
    (tmp_path / "a.png").write_bytes(
        b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + b"IHDR" + size
        + struct.pack(">I", zlib.crc32(b"IHDR" + size))
        + struct.pack(">I", 0) + b"IDAT" + struct.pack(">I", zlib.crc32(b"IDAT"))
    )  # fmt: skip

    with pytest.raises(ValueError, match=r"a\.tif has 60000 × 50000 pixels; at most 2000 million"):
        open_photograph(tmp_path / "a.tif")
    with pytest.raises(ValueError, match=r"a\.png has more than 178 million pixels"):
        open_photograph(tmp_path / "a.png")


def test_an_empty_file_is_named(tmp_path: Path) -> None:
    """A card that was pulled out too early leaves such files."""
    (tmp_path / "wall.jpg").write_bytes(b"")

    with pytest.raises(ValueError, match=r"wall\.jpg is empty\. Copy it again from the camera"):
        open_photograph(tmp_path / "wall.jpg")


@pytest.mark.parametrize("content", [b"notes", b"GIF89a" + bytes(50), b"RIFF1234WEBP", b"BM"])
def test_a_file_that_is_no_photograph_is_refused(tmp_path: Path, content: bytes) -> None:
    """Told by its content, whatever its name says."""
    (tmp_path / "wall.jpg").write_bytes(content)

    with pytest.raises(ValueError, match=r"wall\.jpg is neither JPEG, PNG nor TIFF"):
        open_photograph(tmp_path / "wall.jpg")


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    """And so is a folder in its place."""
    with pytest.raises(ValueError, match=r"wall\.jpg: there is no such file"):
        open_photograph(tmp_path / "wall.jpg")
    (tmp_path / "wall.jpg").mkdir()
    with pytest.raises(ValueError, match="there is no such file"):
        open_photograph(tmp_path / "wall.jpg")


@pytest.mark.parametrize("package", ["tifffile", "imagecodecs"])
def test_a_missing_reader_is_named_with_its_extra(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, package: str
) -> None:
    """What to install stands in the message."""
    path = tmp_path / ("a.tif" if package == "tifffile" else "a.png")
    if package == "tifffile":
        tifffile.imwrite(path, picture(), photometric="rgb")
    else:
        deep_png(path, picture(kind=np.uint16))
    monkeypatch.setitem(__import__("sys").modules, package, None)

    with pytest.raises(ImportError, match=rf"{package} is needed: pip install 'heritagecheck\[ph"):
        open_photograph(path)
