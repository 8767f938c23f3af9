"""Depth from a pair of maps: made stone whose loss, shift, turn, tilt and scale are known."""

import math
import re
from functools import cache

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, gaussian_filter1d, map_coordinates
from scipy.stats import binom
from tiers import two_sizes

from heritagecheck.evidence import surface
from heritagecheck.evidence.surface.zone_height_maps import inside

SIDE = 110
SQUARE = np.zeros((SIDE, SIDE), bool)
SQUARE[30:80, 35:85] = True


def stone(seed: int, side: int = SIDE) -> np.ndarray:
    """Made granite: random phases, amplitude falling with frequency to the power of 1.8, 12 µm."""
    turns = np.random.default_rng(seed).random((side, side))
    waves = np.hypot(np.fft.fftfreq(side)[:, np.newaxis], np.fft.fftfreq(side))
    size = np.zeros_like(waves)
    size[waves > 0] = waves[waves > 0] ** -1.8
    heights = np.fft.ifft2(size * np.exp(2j * np.pi * turns)).real
    return 12 * heights / heights.std()


def pair(
    seed: int = 0, *, loss: float = 8.0, shift: tuple[float, float] = (0, 0), turn_deg: float = 0,
    noise: float = 0.3, scale: float = 1.0, tilt: tuple[float, float] = (0, 0),
) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """A map and the one after `loss` in the square, moved by `shift` in x and y."""
    rng, margin = np.random.default_rng(seed + 100), 20
    wide = stone(seed, SIDE + 2 * margin)
    lost = np.zeros_like(wide)
    lost[margin:-margin, margin:-margin][SQUARE] = loss
    y, x = np.mgrid[:SIDE, :SIDE].astype(float)
    turn, middle = math.radians(turn_deg), (SIDE - 1) / 2
    from_y, from_x = y - middle - shift[1], x - middle - shift[0]
    at = (
        math.cos(turn) * from_y - math.sin(turn) * from_x + middle + margin,
        math.sin(turn) * from_y + math.cos(turn) * from_x + middle + margin,
    )
    after = scale * map_coordinates(wide - lost, at, order=3) + tilt[0] * x + tilt[1] * y
    before = wide[margin:-margin, margin:-margin]
    return tuple(z + noise * rng.normal(size=z.shape) for z in (before, after))


def measured(before, after, **settings):
    """What is found in a pair, with pixels of 2 µm."""
    return surface.depth_removed(before, after, pixel_um=2.0, treated=SQUARE, **settings)


@cache
def moved():
    """One pair that is shifted, turned, tilted and at another scale, as found."""
    made = pair(shift=(7.3, -4.6), turn_deg=1.2, tilt=(0.06, -0.1), scale=1.03)
    return measured(*made, scale_error=0.05)


def test_shift_turn_and_tilt_are_found() -> None:
    """Shift to a fifth of a pixel, turn to a tenth of a degree, tilt to 1 µm/mm."""
    found = moved()

    assert found.shift_um == pytest.approx((14.6, -9.2), abs=0.4)
    assert found.rotation_deg == pytest.approx(1.2, abs=0.1)
    assert found.magnification == pytest.approx(1, abs=0.002)
    # What was 0.06 µm a pixel of the second map is 30 µm/mm; a scale of 1.03 is taken off too.
    assert found.tilt_um_per_mm == pytest.approx((30 / 1.03, -50 / 1.03), abs=1.5)


def test_loss_is_found_under_shift_turn_tilt_and_scale() -> None:
    """The interval holds the 8 µm, and the larger scale is corrected and told."""
    found = moved()

    assert found.low_um < 8 < found.high_um
    assert found.high_um - found.low_um < 1
    assert found.scale == pytest.approx(1.03, abs=3 * found.scale_error)
    named = f"Heights of the second map are {found.scale - 1:.1%} larger"
    assert any(named in caution for caution in found.cautions)
    assert found.measurable
    assert str(found).startswith(f"{found.mean_um:.3f} µm lost on average (95 %")


@pytest.mark.parametrize("count", two_sizes(12, 150))
@pytest.mark.parametrize("loss", [0.0, 20.0])
def test_intervals_hold_the_loss_as_often_as_they_say(loss, count) -> None:
    """Pairs with noise that is alike over eight pixels; fewer hits are rarer than 1 in 1000."""
    held = 0
    for seed in range(count):
        rng = np.random.default_rng(seed)
        slow = [gaussian_filter(rng.normal(size=(SIDE, SIDE)), 4) for _ in range(2)]
        before, after = pair(seed, loss=loss, shift=tuple(rng.uniform(-8, 8, 2)))
        found = measured(before + 2 * slow[0], after + 2 * slow[1])
        held += found.low_um <= loss <= found.high_um

    assert held >= binom.ppf(0.001, count, 0.95)


def test_no_loss_says_what_would_have_been_found() -> None:
    """Where nothing was lost the sentence names the smallest loss that would show."""
    found = measured(*pair(loss=0.0))

    assert not found.measurable
    assert found.low_um < 0 < found.high_um
    assert 0 < found.detectable_um < 0.5
    assert f"a mean loss of {found.detectable_um:.3f} µm would have been found" in str(found)


def test_a_loss_of_twice_the_detectable_one_is_found() -> None:
    """ISO 11843-1: a loss of that size is missed in one of twenty; twice as much never here."""
    detectable = measured(*pair(loss=0.0)).detectable_um

    assert all(measured(*pair(seed, loss=2 * detectable)).measurable for seed in range(3))


def test_each_mineral_has_its_own_loss() -> None:
    """Mica loses 20 µm, feldspar 4; the border between them is left out where labels are unsure."""
    labels = np.where(np.arange(SIDE) < 60, 1, 2) * np.ones((SIDE, 1), int)
    before, after = pair(loss=0.0)
    lost = gaussian_filter1d(np.where(labels == 1, 20.0, 4.0), 1.5, axis=1)
    after = after - np.where(SQUARE, lost, 0)

    sure = measured(before, after, labels=labels, minerals={1: "mica", 2: "feldspar"},
                    label_error_um=10.0)  # fmt: skip
    mica, feldspar = sure.by_mineral

    assert (mica.mineral, feldspar.mineral) == ("mica", "feldspar")
    assert mica.share + feldspar.share < 1
    assert mica.mean_um == pytest.approx(20, abs=0.6)
    assert feldspar.mean_um == pytest.approx(4, abs=0.6)
    assert mica.low_um < mica.mean_um < mica.high_um


def test_the_border_of_a_sharp_step_is_left_out() -> None:
    """
    Pixels at the border of a sheer step hold both heights; counted, they hid 0.2 of 20 µm lost.

    Both maps are sampled by square pixels from one finer surface, 3.25 and 1.5 pixels apart.
    """
    side, fine = 110, 4
    wide = np.kron(stone(3, side + 10), np.ones((fine, fine)))
    surface_um = gaussian_filter(wide, 2 * fine)
    lost = np.zeros_like(surface_um)
    lost[30 * fine : 80 * fine, 35 * fine : 85 * fine] = 20

    def sampled(heights: np.ndarray, down: int, right: int) -> np.ndarray:
        part = heights[down : down + side * fine, right : right + side * fine]
        return part.reshape(side, fine, side, fine).mean(axis=(1, 3))

    rng = np.random.default_rng(3)
    before = sampled(surface_um, 0, 0) + 0.05 * rng.normal(size=(side, side))
    after = sampled(surface_um - lost, 6, 13) + 0.05 * rng.normal(size=(side, side))

    found = measured(before, after)

    assert found.shift_um == pytest.approx((-6.5, -3.0), abs=0.1)
    assert found.mean_um == pytest.approx(20, abs=0.03)
    assert found.low_um < 20 < found.high_um


def test_holes_are_left_out_and_told() -> None:
    """Of 44 × 44 pixels without the border, 10 × 22 are unseen: that share is said."""
    before, after = pair()
    after[40:50, 35:60] = np.nan

    found = measured(before, after, registered=True)

    assert found.unseen == pytest.approx(220 / 1936)
    assert found.low_um < 8 < found.high_um
    assert np.isnan(found.depth_map_um[45, 45])
    assert any("11% of the treated square has no depth" in one for one in found.cautions)


def test_a_spike_is_told_with_the_loss_it_leaves_out() -> None:
    """One pixel 2000 µm too low among 1936 adds 1 µm to the mean: the caution says so."""
    before, after = pair()
    after[55, 60] -= 2000

    found = measured(before, after, registered=True)

    assert found.mean_um == pytest.approx(9.03, abs=0.1)
    (told,) = [one for one in found.cautions if one.startswith("1 spike in the depth")]
    assert re.search(
        r": (8\.9\d?|9(\.[01]\d?)?) µm on average with, (7\.9\d|8(\.0\d?)?) µm without", told
    )


def test_part_of_the_square_may_lie_outside_the_second_map() -> None:
    """A map cut off to the right is laid where it belongs, and the rest is not seen."""
    before, after = pair()

    found = measured(before, after[:, :78])

    assert found.shift_um == pytest.approx((0, 0), abs=0.3)
    assert found.unseen == pytest.approx(0.14, abs=0.05)
    assert found.mean_um == pytest.approx(8, abs=0.3)


def test_maps_of_other_places_are_refused() -> None:
    """Nothing of one frame lies in the other: no depth is made of it."""
    before, _ = pair(0)
    _, after = pair(1)

    with pytest.raises(ValueError, match="do not show the same place"):
        measured(before, after)


def test_without_a_frame_no_interval_is_given() -> None:
    """Both maps are taken to have one datum, which nothing checks."""
    found = surface.depth_removed([[9.0, 8.0], [7.0, 9.0]], [[5.0, 6.0], [5.0, 7.0]], pixel_um=9)

    assert found.mean_um == 2.5
    assert (found.low_um, found.high_um) == (-math.inf, math.inf)
    assert not found.measurable
    assert "Name the treated square" in found.cautions[0]
    assert str(found) == "2.5 µm lost on average, if both maps have one datum"


def test_a_square_that_grew_is_no_loss() -> None:
    """Residue or swelling: the square lies higher, and the sentence says so."""
    found = measured(*pair(loss=-3.0))

    assert found.high_um < 0
    assert "higher than before" in str(found)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"treated": SQUARE[:50]}, r"treated has shape \(50, 110\)"),
        ({"treated": SQUARE.astype(int)}, "True or False for each"),
        ({"treated": np.ones((SIDE, SIDE), bool)}, "untreated frame holds 0 heights"),
        ({"after_um": pair()[1] / 1000}, "One of them is in another unit"),
        ({"after_um": np.full((SIDE, SIDE), np.nan)}, "after_um: 100% was not seen"),
        ({"labels": np.zeros((3, 3), int)}, r"labels has shape \(3, 3\)"),
        ({"level": 95}, "level = 95: a confidence lies between 0 and 1"),
        ({"scale_error": -0.1}, "scale_error = -0.1"),
        ({"label_error_um": math.nan}, "label_error_um = nan"),
        ({"after_um": pair()[1][:50], "registered": True}, "must show the same pixels"),
    ],
)
def test_a_pair_that_cannot_be_measured_is_refused(change, said) -> None:
    """The message names what came and what is allowed."""
    before, after = pair()
    given = {"before_um": before, "after_um": after, "treated": SQUARE, "pixel_um": 2.0} | change

    with pytest.raises(ValueError, match=said):
        surface.depth_removed(**given)


def test_a_frame_on_one_side_only_carries_no_plane() -> None:
    """Beside the square a strip is left: it says nothing of a tilt across."""
    half = np.zeros((SIDE, SIDE), bool)
    half[:, 6:] = True
    before, after = pair()

    with pytest.raises(ValueError, match="untreated border on all sides"):
        surface.depth_removed(before, after, pixel_um=2.0, treated=half, registered=True)


# -- Corners ---------------------------------------------------------------------------------------


def test_corners_hold_the_pixels_whose_middles_lie_within() -> None:
    """A square from 1.5 to 4.5 holds pixels 2, 3 and 4, as wide as tall."""
    found = inside([(1.5, 0.5), (4.5, 0.5), (4.5, 3.5), (1.5, 3.5)], (6, 8))

    assert np.argwhere(found).tolist() == [[y, x] for y in (1, 2, 3) for x in (2, 3, 4)]


@pytest.mark.parametrize(
    ("corners", "said"),
    [
        ([(1, 1), (2, 2)], "three corners x, y or more"),
        ([(20, 1), (30, 1), (30, 9)], "lie outside"),
    ],
)
def test_corners_that_hold_nothing_are_refused(corners, said) -> None:
    """Too few, or beside the map."""
    with pytest.raises(ValueError, match=said):
        inside(corners, (6, 8))
