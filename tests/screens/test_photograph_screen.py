"""Photographs of a zone on their screen: taken in, dated, pointed at, measured or refused."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from hand_at_screen import Hand
from PIL import Image

import heritagecheck as hc
from heritagecheck.screens.app import App
from heritagecheck.screens.live_page import Event, GivenFile
from heritagecheck.screens.routes import screens
from heritagecheck.survey.records import (
    Attachment,
    Elevation,
    Photo,
    Reading,
    SiteTest,
    Structure,
    Zone,
)
from heritagecheck.survey.store.database_survey import DatabaseSurvey

# Points of the example's photograph P1: x y in the picture, then metres on the drawing.
TIES = [
    (24, 27, 4.862, 7.015), (1164, 18, 5.432, 7.008), (1176, 864, 5.438, 7.432),
    (36, 873, 4.866, 7.438), (624, 369, 5.161, 7.186), (372, 702, 5.038, 7.35),
]  # fmt: skip
CLEAN = [[8, 8], [350, 8], [350, 892], [8, 892]]


@pytest.fixture
def survey(tmp_path: Path) -> Iterator[DatabaseSurvey]:
    """The north elevation of the example with its zones and drawing, and nothing else."""
    demo = hc.demo_survey()
    with DatabaseSurvey(tmp_path / "survey.db") as opened:
        north = next(one for one in demo.all(Elevation) if one.elevation == "north")
        drawing = demo.file(str(north.drawing))
        assert drawing is not None
        opened.attach(drawing, kind="drawing", attachment="north", file=north.drawing, who="office")
        zones = [one for one in demo.all(Zone) if one.elevation == "north"]
        bare = [one.changed(colour_sets=None, panels_laid=None) for one in zones]
        opened.save(*demo.all(Structure), north, *bare, who="office")
        yield opened


def at(survey: DatabaseSurvey, route: str = "zone/N04/photographs") -> Hand:
    """Somebody at the photographs of a zone."""
    hand = Hand(App(survey, screens()))
    hand.app.hear(Event("open", arg=route, value="conservator"))
    return hand


def picture(tmp_path: Path, day: str = "", size: tuple[int, int] = (400, 300)) -> Path:
    """A photograph of nothing in particular, with the day of a camera."""
    path = tmp_path / "given.jpg"
    grey = np.random.default_rng(1).integers(90, 160, (*size[::-1], 3), dtype=np.uint8)
    exif = Image.Exif()
    if day:
        exif.get_ifd(0x8769)[0x9003] = f"{day} 10:11:12"
    Image.fromarray(grey).save(path, "JPEG", exif=exif)
    return path


def give(hand: Hand, path: Path, name: str = "IMG_1.JPG", panel: str = "") -> None:
    """Choose a file."""
    hand.app.take(GivenFile(path, name, "photo", panel))


def point(hand: Hand, what: str, points: list[list[float]]) -> None:
    """Put points on a picture."""
    hand.app.hear(Event("points", arg=what, value=json.dumps(points), route=hand.app.route))


def told(hand: Hand) -> str:
    """What the page says, without its marks."""
    return " ".join(re.sub(r"<[^>]+>", " ", hand.page).split())


def pointed(hand: Hand) -> None:
    """Put the points of the example, and say that the stone was dry."""
    point(hand, "picture", [[x, y] for x, y, _, _ in TIES])
    point(hand, "wall", [[100 * x, 100 * y] for _, _, x, y in TIES])
    hand.press("step", "clean")
    point(hand, "clean", CLEAN)
    hand.press("step", "measure")
    hand.press("photo_state", "dry")


def test_a_photograph_is_kept_and_its_day_offered(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """It is there at once; the day that the camera noted is taken only on a yes."""
    hand = at(survey)
    give(hand, picture(tmp_path, "2026:05:04"))

    one = survey.all(Attachment)[-1]
    assert (one.kind, one.zone, one.taken_on) == ("photograph", "N04", None)
    assert f'data-picture="thumb-{one.sha256[:16]}"' in hand.page
    assert hand.app.picture(f"thumb-{one.sha256[:16]}")[0][:3] == b"\xff\xd8\xff"
    hand.press("date", f"{one.attachment}=2026-05-04")
    assert survey.all(Attachment)[-1].taken_on == date(2026, 5, 4)


@pytest.mark.parametrize("typed", ["", "yesterday-ish", "31.02.2026", "3.4.2026", "😀"])
def test_a_day_that_is_none_is_told_beside_it(
    survey: DatabaseSurvey, tmp_path: Path, typed: str
) -> None:
    """No day is guessed, and the photograph stays."""
    hand = at(survey)
    give(hand, picture(tmp_path))
    code = survey.all(Attachment)[-1].attachment
    hand.type(f"date.{code}", typed)
    hand.press("date", code)

    assert f'id="why-date-{code}" class="why wrong"' in hand.page
    assert survey.all(Attachment)[-1].taken_on is None


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "The file is empty."),
        (b"%PDF-1.7 x", "This is a PDF. Export its page as JPEG or PNG."),
        (b"\xff\xd8\xff\xe0 cut off", "it is broken or cut off"),
        (b"\0\0\0\x18ftypheic", "a phone's own format (HEIC)"),
        (b"notes", "This is neither JPEG nor PNG."),
    ],
)
def test_what_is_no_photograph_is_told_in_a_sentence(
    survey: DatabaseSurvey, tmp_path: Path, content: bytes, said: str
) -> None:
    """Nothing is kept of it, and the next file is taken."""
    path = tmp_path / "given"
    path.write_bytes(content)
    hand = at(survey)
    give(hand, path, "IMG_9.JPG")

    words = told(hand).replace("&#39;", "'")
    assert "IMG_9.JPG was not taken." in words
    assert said in words
    assert len(survey.all(Attachment)) == 1
    give(hand, picture(tmp_path))
    assert "was not taken" not in told(hand)


def test_the_same_photograph_is_kept_once(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """Under which code it is there already is said."""
    hand = at(survey)
    give(hand, picture(tmp_path))
    give(hand, picture(tmp_path), "copy.jpg")

    assert "copy.jpg is here already, as P1." in told(hand)
    assert len(survey.all(Attachment)) == 2


def test_points_are_drafts_until_all_are_there(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """What is missing is named; points outlive the program."""
    hand = at(survey)
    give(hand, picture(tmp_path, "2026:05:04"))
    hand.press("date", "P1=2026-05-04")
    hand.press("take_up", "P1")
    point(hand, "picture", [[10, 10], [390, 10], [390, 290]])
    point(hand, "wall", [[486.2, 701.5]])
    again = at(survey)
    again.press("take_up", "P1")
    again.press("step", "measure")
    again.press("measure")

    assert "Points on the wall: 3 in the picture, 1 on the drawing." in told(again)
    assert "Say whether the stone was dry, damp or wet." in told(again)
    assert not survey.all(Photo)


def test_a_photograph_without_a_chart_is_refused_beside_it(
    survey: DatabaseSurvey, tmp_path: Path
) -> None:
    """Its points are saved; the reason is given, and nothing is measured."""
    hand = at(survey)
    give(hand, picture(tmp_path, "2026:05:04"))
    hand.press("date", "P1=2026-05-04")
    hand.press("take_up", "P1")
    pointed(hand)
    hand.press("measure")

    assert "No 24-patch colour chart was found in the photograph." in told(hand)
    assert survey.all(Photo)[0].tie_points == tuple(TIES)
    assert not survey.all(Reading)


def test_without_a_drawing_a_photograph_is_kept_only(
    survey: DatabaseSurvey, tmp_path: Path
) -> None:
    """The screen says why it can't be measured."""
    north = survey.all(Elevation)[0]
    bare = north.changed(drawing=None, width_m=None, height_m=None)
    survey.save(bare, who="office", reason="no drawing")
    hand = at(survey)
    give(hand, picture(tmp_path))
    hand.press("take_up", "P1")

    assert "The elevation of this zone has no drawing" in hand.page


@pytest.mark.long
def test_a_photograph_is_measured_and_kept(survey: DatabaseSurvey) -> None:
    """The example's own photograph, pointed at by hand: its cover and squares, only once."""
    hand = at(survey)
    path = hc.demo_survey().file("photographs/P1.jpg")
    assert path is not None
    give(hand, path)
    hand.type("date.P1", "2026-09-10")
    hand.press("date", "P1")
    hand.press("take_up", "P1")
    pointed(hand)
    for _ in range(2):
        hand.press("measure")
        assert "Soiling covers" in hand.page
        hand.press("keep_found")

    assert {one.quantity for one in survey.all(SiteTest)} == {
        "soiling_cover_pct", "dark_mineral_pct",
    }  # fmt: skip
    assert next(one for one in survey.all(Zone) if one.zone == "N04").colour_sets == 2
    assert survey.all(Photo)[0].chart_error == pytest.approx(0.478, abs=0.01)


def test_a_panel_has_photographs_of_its_own(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """A file given for a panel that is not there is refused in words, and nothing is lost."""
    hand = at(survey)
    give(hand, picture(tmp_path), panel="N04-mist-1")

    assert 'role="alert"' in hand.page
    assert len(survey.all(Attachment)) == 1


def test_who_takes_it_in_is_asked_first(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """A file does not wait: it is said that it must be chosen again."""
    hand = Hand(App(survey, screens()))
    hand.app.hear(Event("open", arg="zone/N04/photographs"))
    give(hand, picture(tmp_path))

    assert "Then choose the file again." in hand.page
    assert len(survey.all(Attachment)) == 1


def test_ten_megabytes_are_taken(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """A photograph as large as cameras make them is kept, and shown small."""
    hand = at(survey)
    path = picture(tmp_path, size=(3000, 2000))
    with path.open("ab") as file:
        file.write(b"\0" * max(0, 10_000_000 - path.stat().st_size))
    give(hand, path)
    one = survey.all(Attachment)[-1]

    shown = hand.app.picture(f"thumb-{one.sha256[:16]}")[0]
    assert one.bytes >= 10_000_000
    assert max(Image.open(io.BytesIO(shown)).size) == 320
