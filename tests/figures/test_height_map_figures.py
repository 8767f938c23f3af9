"""Pictures of height maps show what was measured: light, depth, profile, and the scale of each."""

import numpy as np
import pytest
from seen_pictures import images, named, parsed, paths, words

import heritagecheck as hc
from heritagecheck.figures.height_map import draw_edge, draw_profile, draw_relief

SQUARE = np.pad(np.ones((26, 26), bool), 12)


def grey(picture) -> np.ndarray:
    """Brightness of each pixel, 0 to 255, and -1 where the picture is open."""
    rgba = np.asarray(images(parsed(picture))[0].convert("RGBA")).astype(int)
    return np.where(rgba[..., 3] > 0, rgba[..., 0], -1)


def said(picture) -> list[str]:
    """All words of a picture."""
    return [one.words for one in words(parsed(picture))]


def test_light_comes_from_the_left_top() -> None:
    """A wedge that faces the light is bright, one that faces away dark, flat stone between them."""
    rise = np.concatenate([np.zeros(20), np.arange(20.0), np.arange(20.0)[::-1], np.zeros(20)])
    wedge = 2.0 * rise * np.ones((60, 1))

    found = grey(draw_relief(wedge, 5.0))

    flat, towards, away = found[30, 10], found[30, 30], found[30, 50]
    assert away < flat < towards


def test_holes_are_open_and_named() -> None:
    """Where nothing was seen the picture lets the crossed strokes through, and the key says so."""
    heights = np.random.default_rng(1).normal(size=(40, 50))
    heights[5:15, 10:20] = np.nan
    picture = draw_relief(heights, 5.0)

    assert (grey(picture)[7:13, 12:18] == -1).all()
    assert "not seen" in said(picture)
    assert "not seen" not in said(draw_relief(heights[20:], 5.0))


@pytest.mark.parametrize(
    ("pixel_um", "bar"), [(2.0, "20 µm"), (11.0, "100 µm"), (60.0, "500 µm"), (400.0, "5 mm")]
)
def test_the_scale_bar_is_a_round_length(pixel_um, bar) -> None:
    """About a fifth of the field or less, in µm or mm."""
    heights = np.random.default_rng(1).normal(size=(40, 70))

    assert bar in said(draw_relief(heights, pixel_um))


def test_oblong_pixels_are_drawn_as_they_lie() -> None:
    """Twice as long down as across: the picture is as high as the field."""
    heights = np.random.default_rng(1).normal(size=(40, 80))

    assert grey(draw_relief(heights, (1.0, 2.0))).shape == (80, 80)


def test_depth_has_its_colour_on_a_scale_with_nothing_lost() -> None:
    """Frame and square differ in colour; the scale runs from 0 to 8 µm."""
    found = hc.surface.depth_removed(8.0 * SQUARE, np.zeros(SQUARE.shape), pixel_um=5)
    picture = hc.figures.draw_depth(found, 5.0)
    shown = grey(picture)

    assert shown[2, 2] < shown[25, 25]
    assert {"0", "8", "depth removed [µm]"} <= set(said(picture))
    assert picture.alt.startswith("Depth removed, from 0 to 8 µm.")


def test_an_edge_is_drawn_with_border_and_interval() -> None:
    """The line falls from the untreated level on the left to the square on the right."""
    noise = np.random.default_rng(2).normal(0, 0.2, SQUARE.shape)
    found = hc.surface.edge_profile(noise - 9 * SQUARE, 5.0, SQUARE)
    picture = draw_edge(found)
    (drawn,) = named(parsed(picture), "mean height")
    points = paths(drawn)[0]

    assert points[0, 1] < points[-1, 1]  # down on a screen
    assert np.diff(points[:, 0]).min() > 0
    assert {"mean height", "its 95 % interval", "border", "height [µm]"} <= set(said(picture))
    assert "The square lies" in picture.alt


def test_a_long_profile_keeps_its_scratch_and_its_gap() -> None:
    """Of 20,000 points one lies 30 µm down: it is drawn, and the line stops at the gap."""
    heights = np.zeros(20_000)
    heights[12_345] = -30
    heights[5000:7000] = np.nan
    picture = draw_profile(heights, 1.0)
    (drawn,) = named(parsed(picture), "height")
    pieces = paths(drawn)
    heights_drawn = np.concatenate([piece[:, 1] for piece in pieces])

    assert len(pieces) == 2
    assert np.ptp(heights_drawn) > 200
    assert "along the line [mm]" in said(picture)
    assert picture.alt == "Profile over 20 mm, from −30 to 0 µm."
