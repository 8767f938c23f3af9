"""Photographs of a zone and of its panels stand on its page; what can't be shown says why."""

import subprocess
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader
from small_report import close_up

import heritagecheck as hc
from heritagecheck.documents import zone_rows as module
from heritagecheck.documents.contents import plain_text
from heritagecheck.documents.zone_rows import Shown, photographs
from heritagecheck.survey.places import example_folder
from heritagecheck.survey.records import Attachment
from heritagecheck.survey.survey import Survey


def attached(name: str, *, panel: str | None = None, day: int = 1) -> Attachment:
    """A photograph of N06, or of one of its panels, that lies among the example's."""
    return Attachment(
        attachment=name, kind="photograph", file=f"photographs/{name}.jpg", sha256="0" * 64,
        bytes=1, zone=None if panel else "N06", panel=panel, taken_on=date(2026, 9, day),
    )  # fmt: skip


def survey_with(folder: Path, *added: Attachment) -> Survey:
    """The example with further photographs, each of an even grey wall of 1600 by 1200 pixels."""
    records = hc.demo_survey().records
    own = (one for one in records["attachments"] if one.attachment != "grains H1")
    for name in ("drawings", "photographs"):
        (folder / name).mkdir()
        for file in (example_folder() / name).iterdir():
            (folder / name / file.name).write_bytes(file.read_bytes())
    for one in added:
        Image.fromarray(np.full((1200, 1600, 3), 120, np.uint8)).save(folder / one.file)
    return Survey({**records, "attachments": (*own, *added)}, folder)


def words(found: list[Shown]) -> list[str]:
    """What stands below each."""
    return [one.words for one in found]


def test_newest_of_the_zone_comes_first_then_one_of_each_panel(tmp_path: Path) -> None:
    """Older ones are counted; the board that only measures light is none of them."""
    survey = survey_with(
        tmp_path, attached("old"), attached("new", day=9),
        attached("p2", panel="N06-pulse-2"), attached("p1", panel="N06-pulse-1", day=3),
    )  # fmt: skip
    found, left = photographs(survey, "N06")

    assert words(found) == [
        "Photograph new, 9 September 2026.",
        "Panel N06-pulse-1, 3 September 2026.",
        "Panel N06-pulse-2, 1 September 2026.",
    ]
    assert left == 1
    assert all(one.picture and "data:image/jpeg" in one.picture for one in found)
    assert [one.words.partition(",")[0] for one in photographs(survey, "E04")[0]] == [
        "Photograph P2"
    ]


def test_page_carries_no_more_than_few_small_pictures(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Four at most, each no larger than a page shows."""
    monkeypatch.setattr(module, "MOST", 2)
    added = [attached(f"p{n}", panel=f"N06-pulse-{n}") for n in (1, 2, 3)]
    found, left = photographs(survey_with(tmp_path, *added), "N06")

    assert [len(found), left] == [2, 1]
    assert all(one.picture and len(one.picture) < 200_000 for one in found)


def test_what_cannot_be_shown_says_why(tmp_path: Path) -> None:
    """A file that is missing or broken leaves its words, and the page is written."""
    survey = survey_with(tmp_path, attached("broken"))
    (tmp_path / "photographs" / "broken.jpg").write_bytes(b"\xff\xd8\xff no picture")
    (broken,), _ = photographs(survey, "N06")
    (tmp_path / "photographs" / "broken.jpg").unlink()
    (missing,), _ = photographs(survey, "N06")

    assert broken.picture is missing.picture is None
    assert broken.words.startswith("Photograph broken, 1 September 2026 can't be shown: broken.jpg")
    assert missing.words.endswith("can't be shown: the file photographs/broken.jpg is missing.")


def test_photograph_stands_on_the_page_and_in_the_report(tmp_path: Path) -> None:
    """On screen within the page, on paper as its own image, with its words."""
    survey = survey_with(tmp_path, attached("wall"))
    assessment = hc.assess(survey, zones=["N06"])
    html, pdf, _ = hc.write_report(assessment, tmp_path / "report")
    said = "Photograph wall, 1 September 2026."
    pages = [page for page in PdfReader(pdf).pages if said in page.extract_text()]

    assert said in plain_text(html.read_text("utf-8"))
    assert "data:image/jpeg" in html.read_text("utf-8")
    assert len(pages) == 1
    assert [image.image.size for image in pages[0].images if image.image] == [(800, 600)]


def test_a_zone_that_no_drawing_shows_has_a_page_that_says_so(tmp_path: Path) -> None:
    """No other zone's picture stands there, on screen or on paper."""
    survey = hc.demo_survey()
    zones = tuple(
        zone.model_copy(update={"elevation": "east"})
        if getattr(zone, "zone", "") == "N06"
        else zone
        for zone in survey.records["zones"]
    )
    altered = Survey({**survey.records, "zones": zones}, example_folder())
    html, pdf, _ = hc.write_report(hc.assess(altered, zones=["N06"]), tmp_path)
    read = subprocess.run(
        ["pdftotext", "-raw", str(pdf), "-"], capture_output=True, check=True, text=True
    )
    said = "No picture: the drawing of this elevation shows no outline of N06."

    assert said in plain_text(html.read_text("utf-8"))
    assert close_up(said) in close_up(read.stdout)
