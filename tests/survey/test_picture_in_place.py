"""A photograph of a wall is turned upright, levelled and scaled; what is no picture is refused."""

from __future__ import annotations

import io
import re
import resource
import subprocess
import sys
import zlib

import numpy as np
import pytest
from pictured_wall import saved, wall
from PIL import Image

from heritagecheck.survey.drawings.pictures import PlacedPicture, place_picture

LEVEL = ((100, 400), (1100, 400))  # both marks of the wall, 10 m apart
TEN_M = {"length": LEVEL, "length_m": 10.0}


def placed(data: bytes, **given: object) -> PlacedPicture:
    """Put a picture in place by the marks of the wall, or as is said."""
    return place_picture(data, **({"level": LEVEL, "upright": False} | TEN_M | given))  # type: ignore[arg-type]


def marks(picture: PlacedPicture) -> list[tuple[float, float]]:
    """Places of the red marks, left and right, in metres."""
    rgb = np.asarray(Image.open(io.BytesIO(picture.jpeg)).convert("RGB")).astype(int)
    rows, columns = np.nonzero((rgb[..., 0] > 160) & (rgb[..., 1] < 90))
    metres = picture.width_m / rgb.shape[1]
    middle = columns.mean()
    return [
        (columns[side].mean() * metres, rows[side].mean() * metres)
        for side in (columns < middle, columns >= middle)
    ]


def test_a_level_picture_is_only_scaled() -> None:
    """Ten metres are 1000 of its 1200 pixels: it shows 12 m by 8 m."""
    found = placed(saved(wall()))

    assert (found.width_m, found.height_m, found.turned_deg) == (12, 8, 0)
    assert Image.open(io.BytesIO(found.jpeg)).size == (1200, 800)
    assert str(found).startswith("Picture of 12.00 m by 8.00 m")


@pytest.mark.parametrize("turned", [-20.0, -3.0, 3.0, 12.5])
@pytest.mark.parametrize("swapped", [False, True])
def test_a_tilted_picture_is_levelled(turned: float, *, swapped: bool) -> None:
    """The marks lie level and 10 m apart afterwards, whichever was chosen first."""
    image = wall(turned=turned)
    angle = np.radians(turned)
    half = np.array([500 * np.cos(angle), -500 * np.sin(angle)])
    middle = np.array(image.size) / 2
    line = (tuple(middle - half), tuple(middle + half))
    line = line[::-1] if swapped else line
    found = placed(saved(image), level=line, length=line)
    (x1, y1), (x2, y2) = marks(found)

    assert found.turned_deg == pytest.approx(-turned, abs=0.01)
    assert y1 == pytest.approx(y2, abs=0.02)
    assert x2 - x1 == pytest.approx(10, abs=0.02)


def test_an_upright_line_levels_as_well() -> None:
    """A plumb line that leans 3° to the right is set upright."""
    lean = 800 * np.tan(np.radians(3))
    found = placed(saved(wall()), level=((600, 800), (600 + lean, 0)), upright=True)

    assert found.turned_deg == pytest.approx(3, abs=0.01)


def test_the_camera_s_own_turn_is_followed() -> None:
    """Points count in the picture as it is displayed; nothing that the camera noted is kept."""
    exif = Image.Exif()
    exif[0x0112] = 6  # stored lying on its side
    data = saved(wall().rotate(90, expand=True), exif=exif)
    found = placed(data)

    assert (found.width_m, found.height_m) == (12, 8)
    assert marks(found)[0] == pytest.approx((1, 4), abs=0.02)
    assert not Image.open(io.BytesIO(found.jpeg)).getexif()


def test_a_large_picture_is_reduced() -> None:
    """To 4000 pixels, with the same size in metres."""
    large = saved(wall().resize((6000, 4000)))
    line = ((500, 2000), (5500, 2000))
    found = placed(large, level=line, length=line)

    assert Image.open(io.BytesIO(found.jpeg)).size == (4000, 2667)
    assert (found.width_m, found.height_m) == pytest.approx((12, 8), abs=0.01)


@pytest.mark.parametrize("mode", ["1", "L", "P", "RGBA", "LA", "I;16", "CMYK"])
def test_scans_of_every_kind_are_taken(mode: str) -> None:
    """Black and white, grey, of few colours, transparent, deep and for print."""
    given = wall().convert("L")
    image = (
        Image.fromarray(np.asarray(given).astype(np.uint16) * 257)
        if mode == "I;16"
        else given.convert("RGB").convert(mode)
    )
    found = placed(saved(image, "JPEG" if mode == "CMYK" else "PNG"))
    shown = np.asarray(Image.open(io.BytesIO(found.jpeg)).convert("L")).astype(float)

    assert shown.mean() == pytest.approx(np.asarray(given).mean(), abs=8)


def test_what_is_transparent_is_white() -> None:
    """A cut-out wall does not turn black."""
    found = placed(saved(Image.new("RGBA", (1200, 800), (0, 0, 0, 0)), "PNG"))

    assert np.asarray(Image.open(io.BytesIO(found.jpeg)).convert("L")).min() > 250


def test_corners_that_turning_leaves_empty_are_white() -> None:
    """And nothing of the wall is lost."""
    found = placed(saved(wall()), level=((100, 400), (1100, 450)))
    pixels = np.asarray(Image.open(io.BytesIO(found.jpeg)).convert("L"))

    assert pixels[0, 0] > 250
    assert found.width_m > 12


GOOD = saved(wall())


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "The file is empty. Copy it again from the camera."),
        (b"%PDF-1.7 ...", "This is a PDF. Export its page as JPEG or PNG."),
        (b"II*\0....", "This is a TIFF. Save it as JPEG or PNG."),
        (b"\0\0\0\x18ftypheic", "This is a video or a phone's own format (HEIC)."),
        (b"<svg/>", "This is an SVG drawing or a text. An SVG is taken in as it is."),
        (b"some words", "This is neither JPEG nor PNG."),
        (GOOD[: len(GOOD) // 2], "The picture can't be read: it is broken or cut off"),
        (GOOD[:40], "The picture can't be read: it is broken or cut off"),
        (saved(Image.new("RGB", (20, 20))), "The picture has 20 × 20 pixels. Take one of at least"),
        (saved(Image.new("RGB", (6000, 50))), "The picture has 6000 × 50 pixels. Take one of at"),
    ],
)
def test_what_is_no_picture_is_refused(data: bytes, said: str) -> None:
    """In a sentence that says what it is and what to do."""
    with pytest.raises(ValueError, match=re.escape(said)):
        placed(data)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"length_m": 0}, "The known length is 0 m. Give it in metres, above 0."),
        ({"length_m": float("nan")}, "The known length is nan m."),
        ({"level": ((5, 5), (5, 5))}, "The two points that lie level are the same, or nearly so."),
        ({"length": ((5, 5), (8, 5))}, "The two points of the known length are the same, or near"),
        ({"level": ((5, 5), (1300, 5))}, "A point that lie level lies at 1300, 5, outside the"),
        ({"length": ((5, -1), (900, 5))}, "A point of the known length lies at 5, -1, outside"),
        ({"length_m": 2000}, "With 2000 m between the two points, the picture would show a wall of "
         "2,400 m by 1,600 m. Walls from 0.1 m to 1,000 m are taken."),
        ({"length_m": 0.05}, "With 0.05 m between the two points, the picture would show a wall of "
         "0.0600 m by 0.0400 m."),
    ],
)  # fmt: skip
def test_points_and_lengths_that_cannot_be_are_refused(given: dict[str, object], said: str) -> None:
    """With what was understood."""
    with pytest.raises(ValueError, match=re.escape(said)):
        placed(GOOD, **given)


def bomb() -> bytes:
    """Give a PNG of 900 million pixels in a megabyte."""
    head = b"\x89PNG\r\n\x1a\n"

    def chunk(name: bytes, body: bytes) -> bytes:
        sum_ = zlib.crc32(name + body).to_bytes(4)
        return len(body).to_bytes(4) + name + body + sum_

    size = (30_000).to_bytes(4) * 2
    rows = zlib.compress(bytes(10**8))
    return (
        head + chunk(b"IHDR", size + b"\x08\0\0\0\0") + chunk(b"IDAT", rows) + chunk(b"IEND", b"")
    )


def test_a_bomb_is_refused_before_it_unfolds() -> None:
    """In a child process that may take 1.5 GB of addresses: it needs none of the 900 MB."""
    code = (
        "import sys; from heritagecheck.survey.drawings.pictures import place_picture\n"
        "try:\n    place_picture(sys.stdin.buffer.read(), level=((0,0),(9,0)), upright=False, "
        "length=((0,0),(9,0)), length_m=1)\nexcept ValueError as error:\n    print(error)\n"
    )
    limit = 3 * 2**29
    found = subprocess.run(
        [sys.executable, "-c", code], input=bomb(), capture_output=True, check=True,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (limit, limit)),
    )  # fmt: skip

    assert "more than 178 million pixels" in found.stdout.decode()
