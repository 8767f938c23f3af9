"""The pictures from photographs show what was computed, and say what they are."""

import tracemalloc
from pathlib import Path
from xml.etree.ElementTree import Element

import numpy as np
import pytest
from seen_pictures import (
    SVG,
    images,
    middles,
    named,
    parsed,
    paths,
    read_scale,
    said,
    shape,
    size,
    words,
)

from heritagecheck.figures.photo_frame import false_colours, reduced
from heritagecheck.figures.photograph import (
    draw_cover,
    draw_difference_map,
    draw_photograph,
    draw_preview,
)

SQUARE = {"N06": [[(10, 10), (50, 10), (50, 50), (10, 50)]]}
STONE = np.full((60, 100, 3), 120, dtype=np.uint8)
CHART = np.array([(60, 40), (95, 40), (95, 55), (60, 55)])


def framed(root: Element) -> Element:
    """The part of a picture that holds the pixels."""
    return next(one for one in root.iter(f"{SVG}svg") if one.find(f"{SVG}image") is not None)


def key(root: Element) -> list[str]:
    """Words of the key over a picture; none without one."""
    top = float(framed(root).attrib["y"])
    return [one.words for one in words(root) if one.y < top - 3 and one.x < 400]


def places(root: Element, columns: int, name: str) -> np.ndarray:
    """Points of what bears a name, in pixels of the photograph."""
    scale = columns / float(framed(root).attrib["width"])
    return np.concatenate(paths(named(root, name)[0])) * scale


def marks(root: Element, columns: int, name: str) -> np.ndarray:
    """Middles of the last marks of a name, in pixels of the photograph."""
    (found,) = named(root, name)
    return middles([*found][-1:][0]) * columns / float(framed(root).attrib["width"])


def place_of(root: Element, columns: int, word: str) -> tuple[float, float]:
    """Where the middle of a word stands, in pixels of the photograph."""
    (found,) = [one for one in words(root) if one.words == word]
    frame = {name: float(framed(root).attrib[name]) for name in ("x", "y", "width")}
    scale = columns / frame["width"]
    return (found.x - frame["x"]) * scale, (found.y - frame["y"] - 0.34 * 13) * scale


def colours(root: Element, number: int = 0) -> np.ndarray:
    """Red, green, blue and opacity of each pixel of a picture within a picture."""
    return np.asarray(images(root)[number].convert("RGBA")).astype(int)


def scale_of(root: Element) -> tuple[np.ndarray, np.ndarray]:
    """Colours of the scale beside a map, and the differences that they stand for by its ticks."""
    (scale,) = named(root, "scale of colours")
    fields = scale.findall(f"{SVG}rect")
    shown = [list(bytes.fromhex(one.attrib["fill"][1:])) for one in fields]
    numbers = [
        (float(one.attrib["y"]) - 0.34 * 13, one.text or "")
        for one in scale.findall(f"{SVG}text")
        if (one.text or "")[0].isdigit()
    ]
    tops = np.array([float(one.attrib["y"]) for one in fields])
    return np.array(shown), read_scale(numbers)(tops + float(fields[0].attrib["height"]) / 2)


def differences(root: Element) -> np.ndarray:
    """Differences as a reader takes them from a map and its scale; NaN where it is clear."""
    shown, numbers = scale_of(root)
    pixels = colours(root)
    apart = np.abs(pixels[:, :, None, :3] - shown).sum(axis=3)
    return np.where(pixels[..., 3] > 0, numbers[apart.argmin(axis=2)], np.nan)


# -- Difference map ----------------------------------------------------------------------------


def test_differences_are_drawn_as_they_were_computed() -> None:
    """As read off its scale, values and unit are those of the map; nothing is said to be larger."""
    difference = np.linspace(0, 12, 6000).reshape(60, 100)
    root = parsed(draw_difference_map(difference, pixel_mm=2))
    _, numbers = scale_of(root)

    assert np.allclose(differences(root), difference, atol=12 / 50)  # of 64 fields of the scale
    assert (numbers.min(), numbers.max()) == pytest.approx((0, 12), abs=12 / 64)
    assert "colour difference [ΔE00]" in said(root)
    assert not named(root, "larger")
    assert key(root) == []


def test_clipped_differences_are_said_to_be() -> None:
    """Of 400 pixels one lies beyond the scale, which has a point; it has the last colour."""
    difference = np.full((20, 20), 4.0)
    difference[0, :10] = 10
    difference[0, 0] = 30
    root = parsed(draw_difference_map(difference, pixel_mm=2))
    pixels = colours(root)

    assert named(root, "larger")
    assert np.array_equal(pixels[0, 0], pixels[0, 1])
    assert not np.array_equal(pixels[1, 1], pixels[0, 1])


def test_the_scale_holds_ninety_nine_in_a_hundred() -> None:
    """By hand: of 0.01, 0.02 … 20.00 the 99th percentile is 19.8, rounded up to 20."""
    difference = (np.arange(1, 2001) / 100).reshape(40, 50)
    shown = draw_difference_map(difference, pixel_mm=2)
    _, numbers = scale_of(parsed(shown))

    assert numbers.max() == pytest.approx(20, abs=20 / 64)
    assert "from 0 to 20 ΔE00" in shown.alt


def test_what_was_not_seen_is_hatched_not_coloured() -> None:
    """NaN is transparent in the map, over a hatched ground that the legend names."""
    difference = np.full((40, 40), 3.0)
    difference[5:15, 5:15] = np.nan
    root = parsed(draw_difference_map(difference, pixel_mm=2))
    kinds = [one.tag.removeprefix(SVG) for one in framed(root)]

    assert np.isnan(differences(root)).sum() == 100
    assert np.isnan(differences(root)[5:15, 5:15]).all()
    assert key(root) == ["not seen"]
    assert kinds[:2] == ["g", "image"], "the hatched ground lies below the map"
    assert len(paths(named(root, "not seen")[0])) > 20


def test_a_scale_bar_has_a_round_length_in_metres() -> None:
    """A picture 5 m wide: a fifth is 1 m, and the bar is 500 pixels of 2 mm long."""
    root = parsed(draw_difference_map(np.ones((400, 2500)), pixel_mm=2))
    (bar,) = named(root, "scale bar")
    ends = places(root, 2500, "scale bar")

    assert bar.findtext(f"{SVG}text") == "1 m"
    assert np.ptp(ends[:, 0]) == pytest.approx(500, abs=0.1)
    assert "across [pixel]" not in said(root)


def test_zones_are_outlined_and_named() -> None:
    """Each ring is closed; the code stands within the zone."""
    root = parsed(draw_photograph(STONE, SQUARE, CHART))
    ring = paths(named(root, "outline of N06")[0])[0] * 100 / float(framed(root).attrib["width"])

    assert np.allclose(ring, [*SQUARE["N06"][0], SQUARE["N06"][0][0]], atol=0.01)
    assert place_of(root, 100, "N06") == pytest.approx((30, 30), abs=1)
    assert {"across [pixel]", "down [pixel]"} <= set(said(root))


def test_a_name_never_stands_in_a_hole_or_outside_the_picture() -> None:
    """A zone around a window is named on its stone; of one cut off, the part that is seen."""
    frame = [[(0, 0), (100, 0), (100, 60), (0, 60)], [(20, 5), (80, 5), (80, 55), (20, 55)]]
    far = [[(90, -500), (3000, -500), (3000, 500), (90, 500)]]
    beyond = [[(200, 0), (300, 0), (300, 50)]]
    root = parsed(draw_photograph(STONE, {"N01": frame, "N02": far, "N03": beyond}, CHART))
    first, second = (place_of(root, 100, name) for name in ("N01", "N02"))

    assert "N03" not in said(root)
    assert first[0] < 20 or first[0] > 80
    assert 90 < second[0] < 100
    assert 0 < second[1] < 60
    assert framed(root).attrib["overflow"] == "hidden", "what lies beyond is cut off"


def test_a_gigapixel_does_not_reach_the_drawing(tmp_path: Path) -> None:
    """A picture on disk is averaged strip by strip: few pixels drawn, little memory taken."""
    path = tmp_path / "wall.npy"
    pixels = np.lib.format.open_memmap(path, "w+", np.uint8, (6000, 9000, 3))
    pixels[:, 4500:] = 200
    pixels.flush()
    tracemalloc.start()
    picture = reduced(np.load(path, mmap_mode="r"))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()

    assert max(picture.shape) <= 1200
    assert picture.shape[:2] == (750, 1125)
    assert (picture[0, 0].tolist(), picture[-1, -1].tolist()) == ([0, 0, 0], [200, 200, 200])
    assert peak < 60e6, "a third of the picture's own bytes"


def test_pixels_are_averaged_as_light() -> None:
    """
    Half black and half white pixels make level 188, as half the light does.

    IEC 61966-2-1: 255 (1.055 · 0.5^(1 / 2.4) - 0.055) = 187.5, where code alone would say 128.
    """
    board = np.zeros((2400, 2400, 3), np.uint8)
    board[:, ::2] = 255
    small = reduced(board)

    assert small.shape == (1200, 1200, 3)
    assert np.isin(small, (187, 188)).all()


def test_small_pictures_are_drawn_as_they_are() -> None:
    """Every level comes back as it was where nothing is averaged, and in even squares too."""
    levels = np.arange(256, dtype=np.uint8)[None, :, None] * np.ones((1, 1, 3), np.uint8)
    large = np.repeat(np.repeat(levels, 10, axis=0), 10, axis=1)

    assert np.array_equal(reduced(levels), levels)
    assert set(reduced(large).ravel()) >= set(range(0, 256, 2))


def test_means_leave_out_what_was_not_seen() -> None:
    """Of a square half unseen the seen half counts; of one not seen at all nothing is drawn."""
    difference = np.full((10, 2400), 6.0)
    difference[:, ::2] = np.nan
    difference[:, :4] = np.nan
    shown = differences(parsed(draw_difference_map(difference, pixel_mm=2)))

    assert shown.shape == (3, 600)
    assert np.isnan(shown[:, 0]).all()
    assert np.allclose(shown[:, 1:], 6, atol=0.1)


@pytest.mark.parametrize(
    ("ring", "message"),
    [([1, 2, 3], "outline of N1 has shape"), ([(1, np.nan)], "outline of N1 holds a point")],
)
def test_wrong_outlines_are_refused(ring: list[object], message: str) -> None:
    """What is no outline is named."""
    with pytest.raises(ValueError, match=message):
        draw_photograph(STONE, {"N1": [ring]}, CHART)


# -- Cover and photograph ----------------------------------------------------------------------


def test_cover_is_tinted_where_it_is_soiled_only() -> None:
    """The veil is clear off the mask and striped on it; the legend gives share and interval."""
    mask = np.zeros((60, 100), bool)
    mask[:, 50:] = True
    root = parsed(draw_cover(STONE, mask, 0.5, 0.44, 0.557))
    veil = colours(root, 1)[..., 3] / 255

    assert (veil[:, :50] == 0).all()
    assert len(np.unique(veil[:, 50:])) == 2, "tint and stripe"
    assert veil[:, 50:].min() > 0.3
    assert key(root) == ["soiled: 50 % (44 to 56 %)"]
    assert colours(root)[..., :3].min() > STONE.max(), "the photograph is lightened"


def test_the_chart_is_shown_as_it_was_found() -> None:
    """Its corners in a closed line, the first marked by another shape."""
    corners = [(60, 5), (95, 5), (95, 30), (60, 30)]
    root = parsed(draw_photograph(STONE, {}, np.array(corners)))
    names = ["chart as found", "its first patch"]
    shapes = {shape([*named(root, name)[0]][-1].attrib["d"]) for name in names}

    assert np.allclose(places(root, 100, names[0])[:5], [*corners, corners[0]], atol=0.01)
    assert np.allclose(marks(root, 100, names[1]), [corners[0]], atol=0.01)
    assert len(shapes) == 2
    assert key(root) == names
    assert np.abs(colours(root)[..., :3] - STONE).max() <= 1


def test_a_zone_is_not_named_on_the_chart() -> None:
    """The chart lies in the middle of the zone, and the code beside it."""
    chart = [(35, 20), (65, 20), (65, 40), (35, 40)]
    whole = {"N06": [[(0, 0), (100, 0), (100, 60), (0, 60)]]}
    x, y = place_of(parsed(draw_photograph(STONE, whole, np.array(chart))), 100, "N06")

    assert not (35 <= x <= 65 and 20 <= y <= 40)


# -- Preview -----------------------------------------------------------------------------------


def test_simulations_say_so_within_the_picture() -> None:
    """Only today's is called a photograph; the words lie within the picture that they belong to."""
    root = parsed(draw_preview(STONE, STONE + 40, STONE + 20, 12))
    parts = [one for one in root if one.tag == f"{SVG}svg"]
    first, second = (float(one.attrib["x"]) for one in parts[1:])

    assert said(root) == [
        "photograph, today",
        "simulation: as agreed",
        "simulation: 12 years later",
    ]
    for part, word, before in zip(parts, words(root), (0, first, second), strict=True):
        width, height = size(part)
        assert before <= word.box[0] < word.box[2] <= before + width
        assert 0 <= word.box[1] < word.box[3] <= height


def test_a_copy_of_the_pixels_alone_still_says_that_it_is_simulated() -> None:
    """The word runs across the pixels of a simulation, light and with a dark edge; not of today."""
    root = parsed(draw_preview(STONE, STONE + 40, STONE + 20, 12))
    today, *simulated = (colours(root, number)[..., :3] for number in range(3))

    assert np.abs(today - 120).max() <= 1
    for pixels, stone in zip(simulated, (160, 140), strict=True):
        assert np.median(pixels) == pytest.approx(stone, abs=1)
        assert (pixels > stone + 20).any()
        assert (pixels < stone - 5).any()
        across = np.flatnonzero((pixels > stone + 20).any(axis=(0, 2)))
        assert np.ptp(across) > pixels.shape[1] / 2


def test_simulations_of_stone_as_light_as_paper_say_so_too() -> None:
    """White letters would not show on white: their edge does."""
    light = np.full((60, 100, 3), 254, dtype=np.uint8)
    simulated = colours(parsed(draw_preview(STONE, light, STONE, 12)), 1)[..., :3]

    assert (simulated < 220).sum() > 50


def test_differences_have_the_colours_that_colour_blind_readers_tell_apart() -> None:
    """Level by level near the published scale cividis, as an outside library has it."""
    from matplotlib import colormaps

    published = 255 * np.array([colormaps["cividis"](level)[:3] for level in range(256)])

    assert np.abs(false_colours() - published).max() < 3
