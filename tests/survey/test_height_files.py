"""Height maps: one surface by hand in X3P and SDF, and files that are broken or set to harm."""

from __future__ import annotations

import hashlib
import io
import struct
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest

from heritagecheck.errors import SurveyError
from heritagecheck.survey.instruments.height_files import HeightFile, read_height_map

# By hand: three pixels along a row, two rows; the instrument saw nothing at one.
HEIGHTS_UM = np.array([[1.5, -2.0, 3.0], [0.25, np.nan, 7.0]])
MAIN = """<?xml version="1.0" encoding="UTF-8"?>{before}
<p:ISO5436_2 xmlns:p="http://www.opengps.eu/2008/ISO5436_2">
<Record1><Revision>ISO5436 - 2000</Revision><FeatureType>SUR</FeatureType><Axes>
<CX><AxisType>I</AxisType><DataType>D</DataType><Increment>{step}</Increment></CX>
<CY><AxisType>I</AxisType><DataType>D</DataType><Increment>5e-6</Increment></CY>
<CZ><AxisType>A</AxisType><DataType>{kind}</DataType>{scale}</CZ></Axes></Record1>
<Record3><MatrixDimension><SizeX>{columns}</SizeX><SizeY>{rows}</SizeY><SizeZ>1</SizeZ>
</MatrixDimension><DataLink><PointDataLink>{to}</PointDataLink>{link}</DataLink>
</Record3><Record4><ChecksumFile>md5checksum.hex</ChecksumFile></Record4></p:ISO5436_2>
"""
HEADER = """aISO-1.0
ManufacID   = invented
CreateDate  = 130520260930
ModDate     = 130520260930
NumPoints   = {columns}
NumProfiles = {rows}
Xscale      = {step}
Yscale      = 5e-6
Zscale      = {scale}
Zresolution = -1
Compression = 0
DataType    = {kind}
CheckType   = 0
*
"""


def sdf(
    heights_um: np.ndarray = HEIGHTS_UM,
    step: str = "2.5e-6",
    scale: str = "1e-6",
    kind: int = 7,
    more: str = "",
) -> bytes:
    """An SDF text as ISO 25178-71 writes it: heights in units of its Zscale, in metres."""
    rows, columns = heights_um.shape
    lines = (" ".join("BAD" if np.isnan(z) else repr(float(z)) for z in row) for row in heights_um)
    header = HEADER.format(rows=rows, columns=columns, step=step, scale=scale, kind=kind)
    return (header + "\n".join(lines) + f"\n{more}*\n").encode()


def x3p(
    heights_um: np.ndarray = HEIGHTS_UM,
    *,
    data: bytes | None = None,
    more: dict[str, bytes] | None = None,
    checksum: str | None = None,
    **main: object,
) -> bytes:
    """An X3P as ISO 25178-72 writes it: heights in metres, its parts in a zip."""
    rows, columns = heights_um.shape
    form = {
        "before": "",
        "to": "bindata/data.bin",
        "step": "2.5e-6",
        "kind": "D",
        "scale": "",
        "link": "",
    }
    described = MAIN.format(**{**form, "rows": rows, "columns": columns, **main}).encode()
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("main.xml", described)
        archive.writestr(
            "bindata/data.bin",
            (heights_um * 1e-6).astype("<f8").tobytes() if data is None else data,
        )
        found = checksum or hashlib.md5(described).hexdigest()
        archive.writestr("md5checksum.hex", f"{found} *main.xml\n")
        for name, content in (more or {}).items():
            archive.writestr(name, content)
    return packed.getvalue()


def read(tmp_path: Path, content: bytes, name: str = "spot", **more: object) -> HeightFile:
    """Read a file with some content."""
    path = tmp_path / name
    path.write_bytes(content)
    return read_height_map(path, **more)


# -- Known answers ------------------------------------------------------------------------------


@pytest.mark.parametrize("content", [x3p(), sdf()], ids=["X3P", "SDF"])
def test_heights_pixels_and_extent_come_out_as_written(tmp_path: Path, content: bytes) -> None:
    """Metres in the file are µm in the map; rows stay rows; what was not seen is NaN."""
    found = read(tmp_path, content)

    np.testing.assert_allclose(found.heights_um, HEIGHTS_UM, atol=1e-9, rtol=0)
    assert (found.rows, found.columns, found.unit_in_file) == (2, 3, "m")
    assert found.pixel_um == pytest.approx((2.5, 5.0))
    assert found.extent_mm == pytest.approx((0.0075, 0.01))
    assert (found.lowest_um, found.highest_um) == pytest.approx((-2, 7))
    assert found.unseen == pytest.approx(1 / 6)
    assert found.cautions == ()
    assert not found.heights_um.flags.writeable


@pytest.mark.parametrize("shape", [(1, 1), (1, 5), (4, 4), (7, 2), (64, 33)])
def test_x3p_and_sdf_give_the_same_map(tmp_path: Path, shape: tuple[int, int]) -> None:
    """Odd and even sizes with holes: both formats agree to a billionth of a µm."""
    drawn = np.random.default_rng(5)
    heights = drawn.normal(0, 40, shape).round(6)
    heights[drawn.random(shape) < 0.1] = np.nan
    heights[0, 0] = 12.5

    by_x3p = read(tmp_path, x3p(heights)).heights_um
    by_sdf = read(tmp_path, sdf(heights)).heights_um

    np.testing.assert_allclose(by_x3p, by_sdf, atol=1e-9, rtol=0)
    np.testing.assert_allclose(by_x3p, heights, atol=1e-9, rtol=0)


def test_whole_numbers_with_a_scale_and_a_list_of_gaps_are_read(tmp_path: Path) -> None:
    """X3P may count in steps and list its gaps bit by bit; SDF marks them by the lowest number."""
    # By hand: steps of 0.25 µm above 10 µm; the fifth point is not valid: bits 1, 1, 1, 1, 0, 1.
    steps = np.array([[-34, -48, -28], [-39, 0, -12]])
    content = x3p(
        data=steps.astype("<i2").tobytes(),
        more={"bindata/valid.bin": bytes([0b101111])},
        kind="I",
        scale="<Increment>2.5e-7</Increment><Offset>1e-5</Offset>",
        link="<ValidPointsLink>bindata/valid.bin</ValidPointsLink>",
    )
    counted = np.array([[6, -8, 12], [1, -32768, 28]], dtype=float)

    by_x3p = read(tmp_path, content).heights_um
    by_sdf = read(tmp_path, sdf(counted, scale="2.5e-7", kind=5)).heights_um

    np.testing.assert_allclose(by_x3p, HEIGHTS_UM, atol=1e-9, rtol=0)
    np.testing.assert_allclose(by_sdf, HEIGHTS_UM, atol=1e-9, rtol=0)


def test_the_binary_kind_of_sdf_is_read(tmp_path: Path) -> None:
    """ISO 25178-71 has a binary kind too: the same header, field by field, then the heights."""
    header = struct.pack(
        "<8s10s12s12sHHddddBBB", b"bISO-1.0", b"invented", b"130520260930", b"130520260930",
        3, 2, 2.5e-6, 5e-6, 1e-6, -1.0, 0, 7, 0,
    )  # fmt: skip
    found = read(tmp_path, header + HEIGHTS_UM.astype("<f8").tobytes())

    np.testing.assert_allclose(found.heights_um, HEIGHTS_UM, atol=1e-9, rtol=0)
    assert found.pixel_um == pytest.approx((2.5, 5.0))
    with pytest.raises(SurveyError, match=r"its heights can't be read|can't be read as SDF"):
        read(tmp_path, header + bytes(40))


def test_a_map_shows_what_has_to_be_confirmed(tmp_path: Path) -> None:
    """Unit, range, pixel size and extent stand in one sentence, before anything is computed."""
    said = str(read(tmp_path, x3p(), "spot.x3p"))

    assert said == (
        "spot.x3p (X3P), for confirmation: heights in m, from -2 to 7 µm; pixels of 2.5 × 5 µm; "
        "3 × 2 pixels, 0.0075 × 0.01 mm; 16.7% not seen"
    )


# -- What the file leaves open ------------------------------------------------------------------


def array_file() -> bytes:
    """A numpy file: numbers alone, without unit or pixel size."""
    packed = io.BytesIO()
    np.save(packed, np.array([[1.0, 2.0], [3.0, 4.0]]))
    return packed.getvalue()


def test_unit_and_pixel_size_are_asked_for(tmp_path: Path) -> None:
    """A format without them says what to give; with both the map comes with a caution."""
    with pytest.raises(SurveyError, match=r"(?s)give height_unit=, one of m, mm, µm.*pixel_um="):
        read(tmp_path, array_file())
    found = read(tmp_path, array_file(), height_unit="mm", pixel_um=20)

    assert sorted(found.heights_um.ravel()) == [1000, 2000, 3000, 4000]
    assert (found.pixel_um, found.extent_mm, found.unit_in_file) == ((20, 20), (0.04, 0.04), "mm")
    assert "comes out of some libraries a thousand times higher" in found.cautions[0]
    assert found.cautions[1] == "Heights were read in mm, as given; the file says nothing"


@pytest.mark.parametrize("content", [x3p(step="0"), sdf(step="0")], ids=["X3P", "SDF"])
def test_a_pixel_size_of_zero_is_asked_for(tmp_path: Path, content: bytes) -> None:
    """A file that writes 0 for what it does not know leaves it open."""
    with pytest.raises(SurveyError, match="pixel_um is empty: give pixel_um="):
        read(tmp_path, content)

    assert read(tmp_path, content, pixel_um=(2.5, 5)).pixel_um == (2.5, 5)


def test_what_a_standard_fixes_can_not_be_told_otherwise(tmp_path: Path) -> None:
    """X3P is in metres and says its pixels: another answer is refused, the same one taken."""
    with pytest.raises(SurveyError, match=r"height_unit = mm: X3P is in m$"):
        read(tmp_path, x3p(), height_unit="mm")
    with pytest.raises(SurveyError, match=r"pixel_um = 5 × 5: the file says 2\.5 × 5 µm"):
        read(tmp_path, x3p(), pixel_um=5)

    assert read(tmp_path, x3p(), height_unit="m", pixel_um=(2.5, 5)).highest_um == pytest.approx(7)


@pytest.mark.parametrize("pixel_um", [0, -1, float("nan"), (1, 2, 3)])
def test_arguments_that_are_none_are_refused(tmp_path: Path, pixel_um: object) -> None:
    """A pixel has a size above nothing, and a unit is one of four."""
    with pytest.raises(ValueError, match="is not a pixel size; give one or two numbers above 0"):
        read(tmp_path, x3p(), pixel_um=pixel_um)
    with pytest.raises(ValueError, match=r'"inch" is not offered; take one of m, mm, µm, nm'):
        read(tmp_path, x3p(), height_unit="inch")


# -- Broken files -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (sdf()[:-30], r"heights = \d: the header says 6\. Was the file cut off"),
        (sdf(more="1 2 3\n"), r"heights = 9: the header says 6"),
        (sdf().replace(b"NumPoints   = 3", b"NumPoints   = x"), "NumPoints: is missing, or no cou"),
        (sdf().replace(b"7.0", b"7,0"), "can't be read as SDF: .*not a number"),
        (sdf(np.full((2, 2), np.nan)), "no pixel has a height"),
        (x3p(checksum="0" * 32), "file = main.xml: its checksum is not the one in md5checksum.hex"),
        (x3p(link="<MD5ChecksumPointData>00</MD5ChecksumPointData>"),
         "file = bindata/data.bin: its checksum is not the one in main.xml"),
        (x3p(data=b"\0" * 40), "bindata/data.bin: holds 40 B, and main.xml requires 48 B"),
        (x3p(columns=10**8, rows=10**8), "main.xml requires 80,000,000,000,000,000 B"),
        (x3p(columns="x"), "MatrixDimension = x × 2 × 1: must be three counts"),
        (x3p(kind="Q"), "DataType of CZ one of I, L, F, D"),
        (x3p(to="bindata/none.bin"), "PointDataLink = bindata/none.bin: is not in the archive"),
        (x3p(to=""), "can't be read as X3P"),
        (x3p()[:-40], "can't be unpacked"),
        (b"", "this file is empty"),
        (b"\x89PNG\r\n\x1a\n" + bytes(64), "this is not a height map that can be"),
        (bytes(range(256)) * 8, "this is not a height map that can be"),
    ],
)  # fmt: skip
def test_files_that_are_not_whole_are_refused(tmp_path: Path, content: bytes, said: str) -> None:
    """Cut off, counted wrong, checksums that differ, other files: nothing is half read."""
    with pytest.raises(SurveyError, match=said):
        read(tmp_path, content)


def test_a_reader_that_prints_stays_silent(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What a library prints while it tries a foreign file does not reach the notebook."""
    with pytest.raises(SurveyError, match="this is not a height map that can be"):
        read(tmp_path, bytes(range(256)) * 8)

    assert capsys.readouterr().out == ""


def test_missing_and_huge_files_are_refused(tmp_path: Path) -> None:
    """A file that is too large is not even opened."""
    huge = tmp_path / "huge.x3p"
    with huge.open("wb") as file:
        file.truncate(2 * 2**30 + 1)

    with pytest.raises(SurveyError, match=r"at most 268,435,456 B are read"):
        read_height_map(huge)
    with pytest.raises(SurveyError, match="there is no such file"):
        read_height_map(tmp_path / "none.x3p")


# -- Hostile files ------------------------------------------------------------------------------

BOMB = "".join(f'<!ENTITY b{at} "{f"&b{at - 1};" * 10}">' for at in range(1, 8))


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (x3p(before=f'<!DOCTYPE p [<!ENTITY b0 "x">{BOMB}]>', link="&b7;"),
         "main.xml: holds a document type or entities, which no height map needs"),
        (x3p(before='<!DOCTYPE p SYSTEM "file:///etc/passwd">'), "document type or entities"),
        (x3p(more={"../../escaped.bin": b"x"}), r"file = \.\./\.\./escaped\.bin: points outside"),
        (x3p(more={"/etc/escaped.bin": b"x"}), "points outside the archive"),
        (x3p(more={"bindata/zeros.bin": bytes(3 * 2**20)}), r"zeros\.bin: would grow from .* 200"),
        (x3p(more={f"bindata/{at}": b"" for at in range(1000)}), "at most 1000 files of"),
        (x3p(link="<"), "this XML is broken"),
        (b"<?xml version='1.0'?><!DOCTYPE a [<!ENTITY b 'c'>]><a>&b;</a>", "defines entities"),
    ],
)  # fmt: skip
def test_files_set_to_harm_are_refused_before_they_are_read(
    tmp_path: Path, content: bytes, said: str
) -> None:
    """Bombs of XML and zip, ways out of the archive: refused by what they are, not by luck."""
    with pytest.raises(SurveyError, match=said):
        read(tmp_path, content)


def test_a_zip_with_one_name_twice_is_refused(tmp_path: Path) -> None:
    """Which of two descriptions is meant, two readers may see differently."""
    with pytest.warns(UserWarning, match="Duplicate name"):
        content = x3p(more={"main.xml": b"<other/>"})

    with pytest.raises(SurveyError, match=r"file = main\.xml: occurs twice"):
        read(tmp_path, content)


def test_foreign_xml_in_a_zip_is_refused(tmp_path: Path) -> None:
    """A zip that has a main.xml of another kind is no X3P."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("main.xml", "<page/>")

    with pytest.raises(SurveyError, match=r"main\.xml = page: this XML must describe X3P"):
        read(tmp_path, packed.getvalue())


def test_without_the_library_it_says_which_extra_brings_it(tmp_path: Path) -> None:
    """A small install says what height maps need."""
    path = tmp_path / "spot.x3p"
    path.write_bytes(x3p())
    code = (
        "import sys; sys.modules['SurfaceTopography'] = None\n"
        "from heritagecheck.survey.instruments.height_files import read_height_map\n"
        "try: read_height_map(sys.argv[1])\nexcept ImportError as missing: print(missing)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, path], capture_output=True, text=True, check=True
    )

    assert "pip install 'heritagecheck[surface]'" in done.stdout


# -- Text, profiles, and files that would unpack without measure --------------------------------

UNIT = {"height_unit": "µm", "pixel_um": (2.5, 5.0)}
CLOUD = [f"{x * 2.5} {y * 5.0} {x * y % 7}" for y in range(6) for x in range(4)]


def only_reason(tmp_path: Path, content: bytes, **more: object) -> tuple[object, str]:
    """Row and words of the one fault of a file."""
    with pytest.raises(SurveyError, match=r"1 thing to correct\. Nothing was read") as caught:
        read(tmp_path, content, **more)
    fault = caught.value.faults.iloc[0]
    return fault["row"], fault["allowed"]


def test_points_of_a_regular_grid_are_a_height_map(tmp_path: Path) -> None:
    """Three numbers a line are x, y and height."""
    found = read(tmp_path, "\n".join(CLOUD).encode(), **UNIT)

    assert (found.kind, found.rows, found.columns) == ("XYZ", 6, 4)
    assert found.heights_um[3, 2] == 6


@pytest.mark.parametrize("damage", ["7.5 1O.0 3", "7.5 10.0", "7.5 10.0 3 4", "###"])
def test_a_damaged_line_of_a_point_cloud_is_named(tmp_path: Path, damage: str) -> None:
    """It is not read as a matrix of three columns, nor without that line."""
    lines = [*CLOUD[:11], damage, *CLOUD[12:]]

    row, why = only_reason(tmp_path, "\n".join(lines).encode(), **UNIT)

    assert row == 12
    assert why == "is damaged: the others hold 3 numbers each. Export the file again"


def test_a_damaged_line_of_a_matrix_is_named(tmp_path: Path) -> None:
    """Left out, it would make the field one row shorter."""
    lines = [" ".join(str(x * y) for x in range(8)) for y in range(9)]
    lines[4] = lines[4].replace("8", "B", 1)

    row, why = only_reason(tmp_path, "\n".join(lines).encode(), **UNIT)

    assert (row, why.split(":")[0]) == (5, "is damaged")


def test_points_without_a_grid_are_refused_before_one_is_made(tmp_path: Path) -> None:
    """One point far away would ask for a grid of many gigabytes."""
    _, why = only_reason(tmp_path, "\n".join([*CLOUD, "1e9 1e9 1"]).encode(), **UNIT)

    assert "its 25 points do not fill a regular grid" in why


@pytest.mark.parametrize("lines", [
    [f"{x * 0.5},{x % 5}" for x in range(30)],
    ["Scan Parameters", "Scan Data", "", "Lateral um,Raw Micrometer,",
     *(f"{x * 0.5},{x % 5}," for x in range(30))],
], ids=["two columns", "a stylus instrument"])  # fmt: skip
def test_a_profile_is_refused_in_a_sentence(tmp_path: Path, lines: list[str]) -> None:
    """A stylus drew a line; there is no area in it."""
    _, why = only_reason(tmp_path, "\n".join(lines).encode(), height_unit="µm")

    assert why.startswith("holds a profile, not a height map")


@pytest.mark.parametrize(
    ("shape", "why"),
    [((5,), "holds no heights that can be read. Export X3P"),
     ((28_000, 28_000),
      "at most 16,777,216 are read. Export a part of the field, or larger pixels")],
)  # fmt: skip
def test_a_file_without_heights_or_with_too_many_is_refused(
    tmp_path: Path, shape: tuple[int, ...], why: str
) -> None:
    """An HDF5 of a few kilobytes may ask for gigabytes; one of profiles holds no field."""
    h5py = pytest.importorskip("h5py")
    with h5py.File(tmp_path / "made.h5", "w") as file:
        file.create_dataset("z", shape=shape, dtype="f8", chunks=True, compression="gzip")

    _, said = only_reason(tmp_path, (tmp_path / "made.h5").read_bytes(), **UNIT)

    assert said == why


def test_a_text_of_too_many_lines_is_refused(tmp_path: Path) -> None:
    """They would take longer than anybody waits."""
    _, why = only_reason(tmp_path, b"1 2 3\n" * 500_001, **UNIT)

    assert why.startswith("holds 500,001 lines of numbers; at most 500,000 are read")
