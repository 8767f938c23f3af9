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
    root = parsed(draw_difference_map(difference, limit=15))
    _, numbers = scale_of(root)

    assert np.allclose(differences(root), difference, atol=15 / 50)  # of 64 fields of the scale
    assert (numbers.min(), numbers.max()) == pytest.approx((0, 15), abs=15 / 64)
    assert {"colour difference [ΔE00]", "across [pixel]", "down [pixel]"} <= set(said(root))
    assert not named(root, "larger")
    assert key(root) == []


def test_clipped_differences_are_said_to_be() -> None:
    """Beyond the limit the scale has a point, and the picture its last colour."""
    difference = np.full((20, 20), 4.0)
    difference[0, 0], difference[0, 1] = 30, 10
    root = parsed(draw_difference_map(difference, limit=10))
    pixels = colours(root)

    assert named(root, "larger")
    assert np.array_equal(pixels[0, 0], pixels[0, 1])
    assert not np.array_equal(pixels[1, 1], pixels[0, 1])


def test_the_scale_without_a_limit_holds_ninety_nine_in_a_hundred() -> None:
    """By hand: of 0.01, 0.02 … 20.00 the 99th percentile is 19.8, rounded up to 20."""
    difference = (np.arange(1, 2001) / 100).reshape(40, 50)
    shown = draw_difference_map(difference)
    _, numbers = scale_of(parsed(shown))

    assert numbers.max() == pytest.approx(20, abs=20 / 64)
    assert "from 0 to 20 ΔE00" in shown.alt


def test_what_was_not_seen_is_hatched_not_coloured() -> None:
    """NaN is transparent in the map, over a hatched ground that the legend names."""
    difference = np.full((40, 40), 3.0)
    difference[5:15, 5:15] = np.nan
    root = parsed(draw_difference_map(difference))
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
    root = parsed(draw_difference_map(np.ones((60, 100)), outlines=SQUARE))
    ring = paths(named(root, "outline of N06")[0])[0] * 100 / float(framed(root).attrib["width"])

    assert np.allclose(ring, [*SQUARE["N06"][0], SQUARE["N06"][0][0]], atol=0.01)
    assert place_of(root, 100, "N06") == pytest.approx((30, 30), abs=1)


def test_a_name_never_stands_in_a_hole_or_outside_the_picture() -> None:
    """A zone around a window is named on its stone; of one cut off, the part that is seen."""
    frame = [[(0, 0), (100, 0), (100, 60), (0, 60)], [(20, 5), (80, 5), (80, 55), (20, 55)]]
    far = [[(90, -500), (3000, -500), (3000, 500), (90, 500)]]
    beyond = [[(200, 0), (300, 0), (300, 50)]]
    root = parsed(draw_photograph(STONE, outlines={"N01": frame, "N02": far, "N03": beyond}))
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
    difference[:, :2] = np.nan
    shown = differences(parsed(draw_difference_map(difference)))

    assert shown.shape == (5, 1200)
    assert np.isnan(shown[:, 0]).all()
    assert np.allclose(shown[:, 1:], 6, atol=0.1)


@pytest.mark.parametrize(
    ("difference", "settings", "message"),
    [
        (np.ones(5), {}, r"shape \(5,\): one number a pixel"),
        (np.full((3, 3), np.nan), {}, "nothing to compare"),
        (np.full((3, 3), -2.0), {}, "holds -2: a colour difference is 0 or more"),
        (np.ones((3, 3)), {"limit": 0.0}, "limit = 0 must be a finite number above 0"),
        (np.ones((3, 3)), {"pixel_mm": -1.0}, "pixel_mm = -1 must be"),
        (np.ones((3, 3)), {"outlines": {"N1": [[1, 2, 3]]}}, "outline of N1 has shape"),
        (np.ones((3, 3)), {"outlines": {"N1": [[(1, np.nan)]]}}, "outline of N1 holds a point"),
    ],
)
def test_wrong_maps_are_refused(
    difference: np.ndarray, settings: dict[str, object], message: str
) -> None:
    """What is no map, no limit or no outline is named."""
    with pytest.raises(ValueError, match=message):
        draw_difference_map(difference, **settings)


# -- Cover and photograph ----------------------------------------------------------------------


def test_cover_is_tinted_where_it_is_soiled_only() -> None:
    """The veil is clear off the mask and striped on it; the legend gives share and interval."""
    mask = np.zeros((60, 100), bool)
    mask[:, 50:] = True
    root = parsed(draw_cover(STONE, mask, share=0.5, low=0.44, high=0.557, outlines=SQUARE))
    veil = colours(root, 1)[..., 3] / 255

    assert (veil[:, :50] == 0).all()
    assert len(np.unique(veil[:, 50:])) == 2, "tint and stripe"
    assert veil[:, 50:].min() > 0.3
    assert key(root) == ["soiled: 50 % (44 to 56 %)"]
    assert "N06" in said(root)
    assert colours(root)[..., :3].min() > STONE.max(), "the photograph is lightened"


def test_cover_without_numbers_has_none_in_its_legend() -> None:
    """Only what was given is written."""
    mask = np.zeros((60, 100), bool)

    assert key(parsed(draw_cover(STONE, mask))) == ["soiled"]
    assert key(parsed(draw_cover(STONE, mask, share=0.125))) == ["soiled: 12 %"]


@pytest.mark.parametrize(
    ("mask", "settings", "message"),
    [
        (np.zeros((60, 99), bool), {}, r"shape \(60, 100\); it has shape \(60, 99\)"),
        (np.zeros((60, 100)), {}, "type float64"),
        (np.zeros((60, 100), bool), {"low": 0.1, "high": 0.2}, "An interval needs its share"),
        (np.zeros((60, 100), bool), {"share": 0.2, "low": 0.1}, "both ends"),
        (np.zeros((60, 100), bool), {"share": 42.0}, "shares run from 0 to 1"),
        (np.zeros((60, 100), bool), {"share": 0.5, "low": 0.6, "high": 0.7}, "within its interval"),
    ],
)
def test_wrong_covers_are_refused(
    mask: np.ndarray, settings: dict[str, float], message: str
) -> None:
    """A mask of other pixels, and an interval that is none, are named."""
    with pytest.raises(ValueError, match=message):
        draw_cover(STONE, mask, **settings)


def test_the_chart_is_shown_as_it_was_found() -> None:
    """Its corners in a closed line, the first marked by another shape."""
    corners = [(60, 5), (95, 5), (95, 30), (60, 30)]
    root = parsed(draw_photograph(STONE, chart=corners))
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
    x, y = place_of(parsed(draw_photograph(STONE, outlines=whole, chart=chart)), 100, "N06")

    assert not (35 <= x <= 65 and 20 <= y <= 40)


def test_wrong_photographs_and_charts_are_refused() -> None:
    """Other types than 8-bit sRGB, and charts without four corners, are named."""
    with pytest.raises(ValueError, match=r"photograph_rgb must be 8-bit sRGB .* type float64"):
        draw_photograph(STONE / 255)
    with pytest.raises(ValueError, match=r"shape \(60, 100\) and type uint8"):
        draw_photograph(STONE[..., 0])
    with pytest.raises(ValueError, match="chart has 3 points: a chart has four corners"):
        draw_photograph(STONE, chart=[(0, 0), (1, 0), (1, 1)])


# -- Preview -----------------------------------------------------------------------------------


def test_simulations_say_so_within_the_picture() -> None:
    """Only today's is called a photograph; the words lie within the picture that they belong to."""
    root = parsed(draw_preview(STONE, STONE + 40, STONE + 20, years=12))
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
    root = parsed(draw_preview(STONE, STONE + 40, STONE + 20, years=12))
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
    simulated = colours(parsed(draw_preview(STONE, light)), 1)[..., :3]

    assert (simulated < 220).sum() > 50


def test_a_preview_without_years_has_two_pictures() -> None:
    """Today and as agreed."""
    root = parsed(draw_preview(STONE, STONE))

    assert said(root) == ["photograph, today", "simulation: as agreed"]
    assert len(images(root)) == 2


def test_differences_have_the_colours_that_colour_blind_readers_tell_apart() -> None:
    """Level by level near the published scale cividis, as an outside library has it."""
    from matplotlib import colormaps

    published = 255 * np.array([colormaps["cividis"](level)[:3] for level in range(256)])

    assert np.abs(false_colours() - published).max() < 3


@pytest.mark.parametrize(
    ("after", "settings", "message"),
    [
        (STONE, {"years": 12}, "later_rgb and years belong together"),
        (STONE, {"later_rgb": STONE}, "later_rgb and years belong together"),
        (STONE, {"later_rgb": STONE, "years": -3}, "years = -3 must be a time above 0"),
        (STONE[:50], {}, "all must be the same view"),
        (STONE.astype(float), {}, "after_rgb must be 8-bit sRGB"),
    ],
)
def test_wrong_previews_are_refused(
    after: np.ndarray, settings: dict[str, object], message: str
) -> None:
    """Pictures of other views, and years without a picture, are named."""
    with pytest.raises(ValueError, match=message):
        draw_preview(STONE, after, **settings)
