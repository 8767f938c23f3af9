"""Profiles of styluses: one line by hand in text, spreadsheet, X3P and SDF, and files that err."""

from __future__ import annotations

import datetime
import runpy
from pathlib import Path

import numpy as np
import pytest
from openpyxl import Workbook

from heritagecheck.errors import SurveyError
from heritagecheck.survey.instruments import HeightFile, read_height_map, read_profile
from heritagecheck.survey.records import Attachment

FORMATS = runpy.run_path(str(Path(__file__).parent / "test_height_files.py"))
# By hand: nine heights every half a micrometre, one of them missing.
HEIGHTS_UM = np.array([0.25, 1.5, -0.75, 0.5, np.nan, 1.25, -0.25, 0.125, 0.375])
POINTS = list(zip(0.5 * np.arange(9), HEIGHTS_UM, strict=True))


def written(folder: Path, content: str | bytes, name: str = "line.txt", **told) -> HeightFile:
    """Read a file of this content."""
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return read_profile(path, **told)


def lines(separator: str, heading: str = "", decimal: str = ".", missing: str = "") -> str:
    """Both columns as text."""
    rows = [
        separator.join(
            missing if np.isnan(value) else f"{value:g}".replace(".", decimal) for value in point
        )
        for point in POINTS
    ]
    return "\n".join([heading, *rows] if heading else rows)


def same(found: HeightFile, *, step: float = 0.5) -> None:
    """Check that these are the heights, and this their step."""
    assert found.rows == 1
    assert found.pixel_um == pytest.approx((step, step))
    assert np.allclose(found.heights_um[0], HEIGHTS_UM, equal_nan=True)


@pytest.mark.parametrize(
    "content",
    [
        lines(";", "X [µm];Z [µm]"),
        lines("\t", "Lateral um\tRaw Micrometer", missing="nan"),
        lines(";", "Weg in µm;Höhe in µm", decimal=","),
        lines(",", "x (um),z (um)"),
        lines("  ", "x/µm  z/µm", decimal=",", missing="---"),
        "Profile 7\nStylus 2 µm\n\n" + lines(";", "Place [microns];Height [microns]"),
    ],
    ids=["semicolons", "tabs", "decimal commas", "commas", "blanks", "words above"],
)
def test_text_is_read_with_its_units(tmp_path: Path, content: str) -> None:
    """Whatever separates columns and decimals, place and height come out in µm."""
    found = written(tmp_path, content)

    same(found)
    assert found.unit_in_file == "µm"
    assert found.unseen == pytest.approx(1 / 9)


def test_units_of_place_and_height_may_differ(tmp_path: Path) -> None:
    """Places in mm, heights in nm, as many instruments write."""
    rows = [f"{x / 1000:g};{1000 * z:g}" for x, z in POINTS if not np.isnan(z)]
    with pytest.raises(SurveyError, match=r"steps = 0\.0005 to 0\.001: must be even"):
        written(tmp_path, "\n".join(["X [mm];Z [nm]", *rows]))

    rows.insert(4, "0.002;")
    same(written(tmp_path, "\n".join(["X [mm];Z [nm]", *rows])))


def test_one_column_takes_its_step_from_the_heading_or_from_whoever_knows(tmp_path: Path) -> None:
    """Heights alone say nothing of the step between them."""
    column = "\n".join(["Z [µm]", *("nan" if np.isnan(z) else f"{z:g}" for z in HEIGHTS_UM)])

    same(written(tmp_path, f"Step: 0.5 µm\n{column}"))
    same(written(tmp_path, column, step_um=0.5))
    with pytest.raises(SurveyError, match="step_um is empty: give step_um="):
        written(tmp_path, column)


def test_words_above_a_table_give_it_no_unit(tmp_path: Path) -> None:
    """The tip of the stylus is in µm; that says nothing of the heights below."""
    column = "\n".join(f"{z:g}" for z in HEIGHTS_UM if not np.isnan(z))

    with pytest.raises(SurveyError, match="height_unit is empty"):
        written(tmp_path, f"Stylus of 2 µm\n{column}", step_um=0.5)


def test_a_spreadsheet_is_read_like_text(tmp_path: Path) -> None:
    """The first sheet, with words above the columns."""
    book = Workbook()
    book.active.append(["Measured by hand"])
    book.active.append(["x (µm)", "z (µm)"])
    for x, z in POINTS:
        book.active.append([float(x), None if np.isnan(z) else float(z)])
    book.save(tmp_path / "line.xlsx")

    found = read_profile(tmp_path / "line.xlsx")

    same(found)
    assert found.kind == "XLSX"


@pytest.mark.parametrize("kind", ["x3p", "sdf"])
def test_instrument_formats_are_read(tmp_path: Path, kind: str) -> None:
    """A surface of one row is a profile, in metres by the standard."""
    found = written(tmp_path, FORMATS[kind](HEIGHTS_UM[np.newaxis], step="0.5e-6"), f"line.{kind}")

    same(found)
    assert found.unit_in_file == "m"


def test_a_line_drawn_backwards_is_turned_round(tmp_path: Path) -> None:
    """Places that fall are those of the way back."""
    turned = [f"{x:g};{z:g}" for x, z in POINTS[::-1]]

    same(written(tmp_path, "\n".join(["X [µm];Z [µm]", *turned])))


def test_it_says_what_is_to_be_confirmed(tmp_path: Path) -> None:
    """A line has steps and a length, no pixels; its record is a map of one row."""
    found = written(tmp_path, lines(";", "X [µm];Z [µm]"))
    record = found.confirmed(
        Attachment(attachment="A1", kind="height_map", file="line.txt", sha256=found.sha256,
                   bytes=9, zone="T06"),
        height_map="H1", moment="before", instrument="stylus, 2 µm",
        measured_on=datetime.date(2026, 5, 13), confirmed_by="metallurgist",
    )  # fmt: skip

    assert "steps of 0.5 µm; 9 heights, 0.0045 mm long; 11.1% not seen" in str(found)
    assert (record.rows, record.columns, record.pixel_x_um) == (1, 9, 0.5)


def test_a_unit_that_is_given_is_told(tmp_path: Path) -> None:
    """Whoever overrides the file sees both."""
    found = written(tmp_path, lines(";", "X [mm];Z [mm]"), height_unit="nm")

    assert found.cautions == ("Heights were read in nm, as given; the file says mm",)


@pytest.mark.parametrize(
    ("content", "told", "why"),
    [
        (lines(";"), {"step_um": 0.5}, "height_unit is empty: give height_unit="),
        (lines(";", "X [µm];Z"), {}, "height_unit is empty"),
        (lines(";", "X;Z [µm]"), {}, "step_um is empty"),
        (lines(";", "X [µm];Z [mm]"), {}, "run over 2,250 µm on a line of 4.5 µm, read in mm"),
        ("\n".join(f"{k},{k}" for k in range(9)), {}, "“0,0” the comma may be a decimal sign"),
        (lines(";", "X [µm];Z [µm]").replace("1;-0.75", "1;oops"), {}, "oops"),
        (lines(";", "X [µm];Z [µm]").replace("\n1.5;", "\n1;"), {}, "must be even"),
        ("\n".join("1 2 3" for _ in range(9)), {}, "holds 3 columns of numbers"),
        ("words\nalone", {}, "holds no lines of numbers"),
        ("1 2\n3 4", {}, "heights = 2: a profile has 8 or more"),
        ("", {}, "this file is empty"),
    ],
)
def test_a_file_that_is_not_clear_is_refused(tmp_path: Path, content: str, told, why: str) -> None:
    """Nothing is guessed: the sentence names what came and what to do."""
    with pytest.raises(SurveyError) as refused:
        written(tmp_path, content, **told)

    assert why in str(refused.value)


def test_thousands_are_not_taken_for_decimals(tmp_path: Path) -> None:
    """1,234 may be either where no other number shows which."""
    rows = [f"{k};{k},{200 + k}" for k in range(1, 10)]

    with pytest.raises(SurveyError, match=r"1\.201 or 1201"):
        written(tmp_path, "\n".join(["X [µm];Z [nm]", *rows]))


def test_every_damaged_line_is_counted(tmp_path: Path) -> None:
    """Five are shown, the others counted."""
    damaged = lines(";", "X [µm];Z [µm]") + "\nlost;1" * 8

    with pytest.raises(SurveyError, match="3 more lines like these"):
        written(tmp_path, damaged)


def test_an_area_is_no_profile_and_a_profile_no_area(tmp_path: Path) -> None:
    """Each reader says which one to take."""
    with pytest.raises(SurveyError, match="Read an area as a height map"):
        written(tmp_path, FORMATS["x3p"](np.ones((4, 5))), "area.x3p")

    path = tmp_path / "line.txt"
    path.write_text(lines(" ", missing="nan"), encoding="utf-8")
    with pytest.raises(SurveyError, match="holds a profile, not a height map"):
        read_height_map(path, height_unit="µm")


@pytest.mark.parametrize("step", [0, -1, float("nan")])
def test_a_step_is_above_0(tmp_path: Path, step: float) -> None:
    """A wrong argument is no fault of the file."""
    with pytest.raises(ValueError, match="the step is above 0"):
        written(tmp_path, lines(";"), step_um=step)
