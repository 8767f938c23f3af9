"""The pictures from photographs show what was computed, and say what they are."""

import tracemalloc
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from matplotlib import pyplot as plt
from matplotlib.axes import Axes
from matplotlib.offsetbox import AnchoredOffsetbox, TextArea
from matplotlib.patches import Rectangle

from heritagecheck.figures import (
    draw_cover,
    draw_difference_map,
    draw_photograph,
    draw_preview,
)
from heritagecheck.figures.photograph import reduced

SQUARE = {"N06": [[(10, 10), (50, 10), (50, 50), (10, 50)]]}
STONE = np.full((60, 100, 3), 120, dtype=np.uint8)


@pytest.fixture(autouse=True)
def _closed_figures() -> Iterator[None]:
    """No figure outlives its test."""
    yield
    plt.close("all")


def texts(ax: Axes) -> list[str]:
    """Words within a picture."""
    return [text.get_text() for text in ax.texts]


def key(ax: Axes) -> list[str]:
    """Words of the legend over a picture; none without one."""
    legend = ax.get_legend()
    return [] if legend is None else [text.get_text() for text in legend.get_texts()]


def bars(ax: Axes) -> list[str]:
    """Words under the scale bars of a picture."""
    plates = [one for one in ax.artists if isinstance(one, AnchoredOffsetbox)]
    return [part.get_text() for plate in plates for part in plate.findobj(TextArea)]


# -- Difference map ----------------------------------------------------------------------------


def test_differences_are_drawn_as_they_were_computed() -> None:
    """Values, scale and unit are those of the map; nothing is clipped below its limit."""
    difference = np.linspace(0, 12, 6000).reshape(60, 100)
    ax = draw_difference_map(difference, limit=15)
    image = ax.images[0]

    assert np.array_equal(image.get_array(), difference)
    assert image.get_clim() == (0, 15)
    assert image.get_cmap().name == "cividis"
    assert image.colorbar.ax.get_ylabel() == "colour difference [ΔE00]"
    assert image.colorbar.extend == "neither"
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("across [pixel]", "down [pixel]")
    assert key(ax) == []


def test_clipped_differences_are_said_to_be() -> None:
    """Beyond the limit the colour bar has a point, and the picture its last colour."""
    difference = np.full((20, 20), 4.0)
    difference[0, 0], difference[0, 1] = 30, 10
    image = draw_difference_map(difference, limit=10).images[0]

    assert image.colorbar.extend == "max"
    assert np.array_equal(image.cmap(image.norm(30.0)), image.cmap(image.norm(10.0)))
    assert not np.array_equal(image.cmap(image.norm(4.0)), image.cmap(image.norm(10.0)))


def test_the_scale_without_a_limit_holds_ninety_nine_in_a_hundred() -> None:
    """By hand: of 0.01, 0.02 … 20.00 the 99th percentile is 19.8, rounded up to 20."""
    difference = (np.arange(1, 2001) / 100).reshape(40, 50)
    image = draw_difference_map(difference).images[0]

    assert image.get_clim() == (0, 20)


def test_what_was_not_seen_is_hatched_not_coloured() -> None:
    """NaN is transparent in the map, over a hatched ground that the legend names."""
    difference = np.full((40, 40), 3.0)
    difference[5:15, 5:15] = np.nan
    ax = draw_difference_map(difference)
    grounds = [one for one in ax.patches if isinstance(one, Rectangle) and one.get_hatch()]

    assert np.ma.getmaskarray(ax.images[0].get_array()).sum() == 100
    assert key(ax) == ["not seen"]
    assert grounds[0].get_zorder() < ax.images[0].get_zorder()


def test_a_scale_bar_has_a_round_length_in_metres() -> None:
    """A picture 5 m wide: a fifth is 1 m, and the bar is 500 pixels of 2 mm long."""
    ax = draw_difference_map(np.ones((400, 2500)), pixel_mm=2)
    ax.figure.canvas.draw()
    plate = next(one for one in ax.artists if isinstance(one, AnchoredOffsetbox))
    line = next(part for part in plate.findobj(plt.Line2D))

    assert bars(ax) == ["1 m"]
    assert np.ptp(line.get_xdata()) == 500
    assert (ax.get_xlabel(), len(ax.get_xticks())) == ("", 0)


def test_zones_are_outlined_and_named() -> None:
    """Each ring is closed; the code stands within the zone."""
    ax = draw_difference_map(np.ones((60, 100)), outlines=SQUARE)
    ring = ax.lines[0].get_xydata()
    (x, y), word = ax.texts[0].get_position(), ax.texts[0].get_text()

    assert np.array_equal(ring, [*SQUARE["N06"][0], SQUARE["N06"][0][0]])
    assert word == "N06"
    assert (x, y) == pytest.approx((30, 30), abs=1)


def test_a_name_never_stands_in_a_hole_or_outside_the_picture() -> None:
    """A zone around a window is named on its stone; of one cut off, the part that is seen."""
    frame = [[(0, 0), (100, 0), (100, 60), (0, 60)], [(20, 5), (80, 5), (80, 55), (20, 55)]]
    far = [[(90, -500), (3000, -500), (3000, 500), (90, 500)]]
    beyond = [[(200, 0), (300, 0), (300, 50)]]
    ax = draw_photograph(STONE, outlines={"N01": frame, "N02": far, "N03": beyond})
    places = {text.get_text(): text.get_position() for text in ax.texts}

    assert set(places) == {"N01", "N02"}
    assert places["N01"][0] < 20 or places["N01"][0] > 80
    assert 90 < places["N02"][0] < 100
    assert 0 < places["N02"][1] < 60


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
    shown = draw_difference_map(difference).images[0].get_array()

    assert shown.shape == (5, 1200)
    assert np.ma.getmaskarray(shown)[:, 0].all()
    assert (shown[:, 1:] == 6).all()


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
    ax = draw_cover(STONE, mask, share=0.5, low=0.44, high=0.557, outlines=SQUARE)
    veil = ax.images[1].get_array()

    assert (veil[:, :50, 3] == 0).all()
    assert len(np.unique(veil[:, 50:, 3])) == 2, "tint and stripe"
    assert veil[:, 50:, 3].min() > 0.3
    assert key(ax) == ["soiled: 50 % (44 to 56 %)"]
    assert texts(ax) == ["N06"]
    assert ax.images[0].get_array().min() > STONE.max(), "the photograph is lightened"


def test_cover_without_numbers_has_none_in_its_legend() -> None:
    """Only what was given is written."""
    mask = np.zeros((60, 100), bool)

    assert key(draw_cover(STONE, mask)) == ["soiled"]
    assert key(draw_cover(STONE, mask, share=0.125)) == ["soiled: 12 %"]


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
    """Its corners in a closed line, the first marked by another shape, its patches by crosses."""
    corners = [(60, 5), (95, 5), (95, 30), (60, 30)]
    patches = [(65, 10), (70, 10), (75, 10)]
    ax = draw_photograph(STONE, chart=corners, patches=patches)
    lines = {line.get_label(): line for line in ax.lines}

    assert np.array_equal(lines["chart as found"].get_xydata(), [*corners, corners[0]])
    assert np.array_equal(lines["its first patch"].get_xydata(), [corners[0]])
    assert np.array_equal(lines["middle of a patch"].get_xydata(), patches)
    assert len({line.get_marker() for line in lines.values()}) == 3
    assert key(ax) == list(lines)
    assert np.array_equal(ax.images[0].get_array(), STONE)


def test_a_zone_is_not_named_on_the_chart() -> None:
    """The chart lies in the middle of the zone, and the code beside it."""
    chart = [(35, 20), (65, 20), (65, 40), (35, 40)]
    whole = {"N06": [[(0, 0), (100, 0), (100, 60), (0, 60)]]}
    x, y = draw_photograph(STONE, outlines=whole, chart=chart).texts[0].get_position()

    assert not (35 <= x <= 65 and 20 <= y <= 40)


def test_wrong_photographs_and_charts_are_refused() -> None:
    """Other types than 8-bit sRGB, and charts without four corners, are named."""
    with pytest.raises(ValueError, match=r"photograph_rgb must be 8-bit sRGB .* type float64"):
        draw_photograph(STONE / 255)
    with pytest.raises(ValueError, match=r"shape \(60, 100\) and type uint8"):
        draw_photograph(STONE[..., 0])
    with pytest.raises(ValueError, match="chart has 3 points: a chart has four corners"):
        draw_photograph(STONE, chart=[(0, 0), (1, 0), (1, 1)])


def test_pictures_are_drawn_where_they_are_asked_for() -> None:
    """Axes that are given come back, with the picture in them."""
    _, axes = plt.subplots(1, 3, layout="constrained")
    drawn = (
        draw_photograph(STONE, ax=axes[0]),
        draw_cover(STONE, np.ones((60, 100), bool), ax=axes[1]),
        draw_difference_map(np.ones((60, 100)), ax=axes[2]),
    )

    assert drawn == tuple(axes)
    assert [len(ax.images) for ax in axes] == [1, 2, 1]


# -- Preview -----------------------------------------------------------------------------------


def test_simulations_say_so_within_the_picture() -> None:
    """Only today's is called a photograph; the words lie within the picture that they belong to."""
    axes = draw_preview(STONE, STONE + 40, STONE + 20, years=12)
    axes[0].figure.canvas.draw()

    assert [texts(ax) for ax in axes] == [
        ["photograph, today"],
        ["simulation: as agreed", "simulation"],
        ["simulation: 12 years later", "simulation"],
    ]
    for ax in axes:
        frame = ax.get_window_extent()
        for text in ax.texts:
            box = text.get_window_extent()
            assert frame.x0 <= box.x0 < box.x1 <= frame.x1
            assert frame.y0 <= box.y0 < box.y1 <= frame.y1
    assert [int(ax.images[0].get_array().max()) for ax in axes] == [120, 160, 140]


def test_a_preview_without_years_has_two_pictures() -> None:
    """Today and as agreed, in axes of the caller."""
    _, given = plt.subplots(1, 2)
    axes = draw_preview(STONE, STONE, axes=tuple(given))

    assert axes == tuple(given)


@pytest.mark.parametrize(
    ("after", "settings", "message"),
    [
        (STONE, {"years": 12}, "later_rgb and years belong together"),
        (STONE, {"later_rgb": STONE}, "later_rgb and years belong together"),
        (STONE, {"later_rgb": STONE, "years": -3}, "years = -3 must be a time above 0"),
        (STONE[:50], {}, "all must be the same view"),
        (STONE.astype(float), {}, "after_rgb must be 8-bit sRGB"),
        (STONE, {"axes": ()}, "0 axes were given for 2 pictures"),
    ],
)
def test_wrong_previews_are_refused(
    after: np.ndarray, settings: dict[str, object], message: str
) -> None:
    """Pictures of other views, and years without a picture, are named."""
    with pytest.raises(ValueError, match=message):
        draw_preview(STONE, after, **settings)
