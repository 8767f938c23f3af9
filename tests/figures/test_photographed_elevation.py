"""An elevation that is a photograph, or has no drawing: what is drawn in its place."""

import base64
import io
import re
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import numpy as np
import pytest
from pictured_wall import OUTLINES, on_a_wall, saved, wall
from PIL import Image
from seen_pictures import SVG, parsed, said, words

import heritagecheck as hc
from heritagecheck.cards import Picture
from heritagecheck.figures.elevation import draw_key
from heritagecheck.figures.zone_location import draw_detail, draw_ground, draw_locator, draw_outcome
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.survey.survey import Survey


@cache
def assessed(*, drawn: bool = True, outlined: tuple[str, ...] = tuple(OUTLINES)) -> Assessment:
    """Judge three zones on a wall of 12 m by 8 m, drawn from a photograph of 3000 pixels."""
    drawing = saved(wall(3000, 2000)) if drawn else None
    folder = Path(mkdtemp())
    return hc.assess(on_a_wall(folder, drawing=drawing, outlined=outlined), zones=list(OUTLINES))


def images(picture: Picture) -> list[Image.Image]:
    """Pictures within a picture."""
    found = re.findall(r'href="data:image/jpeg;base64,([^"]*)"', picture.svg)
    return [Image.open(io.BytesIO(base64.b64decode(one))) for one in found]


def strokes(picture: Picture) -> list[tuple[str, float]]:
    """Colours and widths of the lines, in the order in which they are drawn."""
    return [
        (path.get("stroke", ""), float(path.get("stroke-width", "0")))
        for path in parsed(picture).iter(f"{SVG}path")
        if path.get("stroke", "none") != "none" and path.get("fill") is not None
    ]


def test_zones_lie_coloured_and_cased_on_a_pale_photograph() -> None:
    """The photograph is grey and pale, so that colour means an outcome; lines are dark on white."""
    picture = hc.figures.draw_elevation(assessed(), "wall")
    (ground,) = images(picture)

    assert (ground.mode, ground.size) == ("L", (2000, 1333))
    assert np.asarray(ground).min() > 255 * 0.4
    assert said(parsed(picture)) == ["N04", "N09", "N12"]
    assert set(strokes(picture)) >= {("#ffffff", 7.2), ("#1d1d1b", 3)}
    assert str(picture) == "Yard wall. clean: N09, leave and monitor: N12, leave: N04"


def test_the_detail_carries_only_its_part_of_the_photograph() -> None:
    """In colour, at the place where it lies, with a cased outline and a bar."""
    picture = draw_detail(assessed().survey, "N12")
    assert picture is not None
    (part,) = images(picture)
    left, top, width, height = map(float, parsed(picture).attrib["viewBox"].split())
    image = next(parsed(picture).iter(f"{SVG}image"))
    x, y, wide, high = (float(image.get(name, "nan")) for name in ("x", "y", "width", "height"))

    assert part.mode == "RGB"
    assert 600 < part.width <= 700
    assert len(picture.svg) < 200_000
    assert x <= left <= x + 1
    assert y <= top <= y + 1
    assert x + wide == pytest.approx(left + width, abs=2)
    assert y + high == pytest.approx(top + height, abs=2)
    assert [colour for colour, _ in strokes(picture)][:2] == ["#ffffff", "#1d1d1b"]
    assert "The zone lies 0.5 to 7.0 m above the foot" in picture.alt


@pytest.mark.parametrize(
    "draw",
    [
        lambda: draw_locator(assessed().survey, "N09"),
        lambda: draw_outcome(assessed(), "wall", "clean"),
    ],
)
def test_small_maps_carry_a_small_photograph(draw) -> None:  # type: ignore[no-untyped-def]
    """So that a report of many zones does not carry the photograph forty times."""
    picture = draw()
    (ground,) = images(picture)

    assert ground.size == (400, 267)
    assert len(picture.svg) < 40_000


def test_a_page_carries_the_photograph_once_for_all_details() -> None:
    """Details point to the bare photograph, whose address no renaming touches."""
    ground = draw_ground(assessed().survey, "wall", "ground-wall")
    detail = draw_detail(assessed().survey, "N09", ground="ground-wall")
    assert detail is not None

    assert [image.size for image in images(ground)] == [(2000, 1333)]
    assert images(detail) == []
    assert '<use href="#ground-wall"/>' in detail.svg
    assert "data-zone" not in ground.svg


@pytest.mark.parametrize(
    ("drawn", "outlined", "why"),
    [
        (False, tuple(OUTLINES), "this elevation has no drawing"),
        (True, (), "no zone is outlined on the drawing wall.jpg"),
    ],
)
def test_zones_that_are_not_drawn_are_listed(
    drawn: bool, outlined: tuple[str, ...], why: str
) -> None:
    """A small table in place of the picture: key, code, name, outcome; and why."""
    found = assessed(drawn=drawn, outlined=outlined)
    picture = hc.figures.draw_elevation(found, "wall")
    written = said(parsed(picture))

    assert written[0] == f"Yard wall: {why}."
    assert written[1:4] == ["N04", "Granite ashlar field, left", "leave"]
    assert all(word.box[2] <= 720 for word in words(parsed(picture)))
    assert [draw_key("leave").svg[70:] in picture.svg, images(picture)] == [True, []]
    assert draw_locator(found.survey, "N09") is None
    assert draw_detail(found.survey, "N09") is None


def test_an_svg_shows_no_picture_of_its_own(tmp_path: Path) -> None:
    """A picture within a drawing from elsewhere is left out, and outlines are drawn as ever."""
    drawing = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1200 800">'
        '<image width="9" height="9" href="data:image/png;base64,AAAA"/>'
        '<path d="M0 0L9 9" stroke="#222"/></svg>'
    )
    survey = on_a_wall(tmp_path, drawing=drawing.encode())
    picture = hc.figures.draw_elevation(hc.assess(survey, zones=["N09"]), "wall")

    assert "<image" not in picture.svg
    assert said(parsed(picture)) == ["N09"]
    assert "left out of the drawing: wall.jpg, <image>" in set(survey.check()["what"])


@pytest.mark.parametrize("size", [3000, 200])
def test_a_broken_photograph_is_named_and_the_rest_goes_on(tmp_path: Path, size: int) -> None:
    """`check` says what is wrong with it; the other elevations are drawn."""
    data = saved(wall())
    survey: Survey = on_a_wall(tmp_path, drawing=data[: len(data) * size // 6000])
    told = [what for what in survey.check()["what"] if what.startswith("drawing not shown")]

    assert len(told) == 1
    assert "wall.jpg, the picture can't be read: it is broken or cut off" in told[0]
