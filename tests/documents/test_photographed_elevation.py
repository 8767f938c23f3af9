"""Reports of an elevation that is a photograph, and of one without a drawing."""

import subprocess
from pathlib import Path

import pytest
from pictured_wall import OUTLINES, on_a_wall, saved, wall
from pypdf import PdfReader
from small_report import close_up

import heritagecheck as hc
from heritagecheck.documents.contents import plain_text
from heritagecheck.documents.field_sheet import write_field_sheets
from heritagecheck.documents.zone_sheet import zone_sheet

HALF = ("N04", "N09")


def words_of(path: Path) -> str:
    """Words of a PDF, read by a tool that had no part in writing it, without their gaps."""
    command = ["pdftotext", "-raw", str(path), "-"]
    return close_up(subprocess.run(command, capture_output=True, check=True, text=True).stdout)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the report of three zones on a photograph, one of which is not outlined."""
    folder = tmp_path_factory.mktemp("wall")
    survey = on_a_wall(folder, drawing=saved(wall(3000, 2000)), outlined=HALF)
    hc.write_report(hc.assess(survey, zones=list(OUTLINES)), folder)
    write_field_sheets(survey, folder / "sheets.pdf", zones=list(OUTLINES))
    return folder


def test_the_pdf_shows_the_photograph_large_once(folder: Path) -> None:
    """Small for the maps, cut for the details: the file stays below 2 MB."""
    reader = PdfReader(folder / "report.pdf")
    sizes = [
        image.image.size for page in reader.pages for image in page.images if image.image
    ]  # fmt: skip

    assert sizes.count((2000, 1333)) == 1
    assert sizes.count((400, 267)) >= 1 + len(HALF)
    assert [size for size in sizes if 600 < size[0] <= 700] != []
    assert (folder / "report.pdf").stat().st_size < 2_000_000
    assert PdfReader(folder / "sheets.pdf").pages[0].images[0].image.size == (400, 267)  # type: ignore[union-attr]


def test_a_zone_without_an_outline_is_named_where_it_is_missed(folder: Path) -> None:
    """Under the picture of the elevation, and on its own page, on screen and on paper."""
    page = plain_text((folder / "report.html").read_text("utf-8"))
    paper = words_of(folder / "report.pdf")

    for said in (
        "Not outlined on the drawing: N12.",
        "No picture: the drawing of this elevation shows no outline of N12.",
    ):
        assert said in page
        assert close_up(said) in paper


def test_without_a_drawing_everything_is_written(tmp_path: Path) -> None:
    """Card, report and sheets; the zones are listed, and the reason is given."""
    survey = on_a_wall(tmp_path, drawing=None)
    assessment = hc.assess(survey, zones=list(OUTLINES))
    html, pdf, _ = hc.write_report(assessment, tmp_path)
    write_field_sheets(survey, tmp_path / "sheets.pdf", zones=["N09"])
    said = "No picture: this elevation has no drawing."
    page = plain_text(html.read_text("utf-8"))

    assert page.count(said) == 1 + len(OUTLINES)
    assert words_of(pdf).count(close_up(said)) == 1 + len(OUTLINES)
    assert "No picture. " not in page  # in the table of outcomes, beside the zones it lists
    assert said in plain_text(zone_sheet(assessment, "N09").html)
    assert "N09" in words_of(tmp_path / "sheets.pdf")
