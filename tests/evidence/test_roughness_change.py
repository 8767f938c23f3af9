"""Change of roughness between two maps: made stone whose fine heights grow by a known factor."""

from functools import cache

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.stats import binom
from tiers import two_sizes

from heritagecheck.evidence import surface

SIDE = 120
SQUARE = np.zeros((SIDE, SIDE), bool)
SQUARE[30:90, 30:90] = True
FACTOR = 1.2  # heights of the square after over before, so that Sa grows by 20 % exactly


@cache
def stone(seed: int) -> np.ndarray:
    """Rough heights with a scatter of some 5 µm, and long waves of 20 µm beneath."""
    rng = np.random.default_rng(seed)
    fine = gaussian_filter(rng.normal(size=(SIDE, SIDE)), 1.2)
    long = gaussian_filter(rng.normal(size=(SIDE, SIDE)), 25)
    return 5 * fine / fine.std() + 20 * long / long.std()


def pair(seed: int, *, factor: float = FACTOR, noise: float = 0.3, step: float = 0.0):
    """A map, and one in which the square has grown rougher and lies deeper."""
    rng = np.random.default_rng(seed + 1000)
    before = stone(seed)
    after = np.where(SQUARE, factor * before - step, before)
    return tuple(z + noise * rng.normal(size=z.shape) for z in (before, after))


def found(maps, **settings):
    """What is found in a pair with pixels of 2 µm that was not moved."""
    return surface.roughness_change(
        *maps, treated=SQUARE, pixel_um=2.0, **({"registered": True} | settings)
    )


def test_a_known_factor_is_found() -> None:
    """Plane and filter are linear: heights that grow by a fifth make Sa a fifth larger."""
    one = found(pair(0, noise=1e-6))

    assert one.percent == pytest.approx(20, abs=1e-4)
    assert one.cutoff_um == pytest.approx(60 * 2.0 / 5)
    assert "20 % rougher" in str(one)


def test_before_and_after_are_those_of_a_general_library() -> None:
    """Sa of the square without its border: lstsq, scipy's Gaussian filter, mean deviation."""
    before, after = pair(3, noise=0.0)
    deviation = 12 * np.sqrt(np.log(2) / 2) / np.pi  # of a cut-off of 12 pixels, ISO 16610-21
    y, x = np.mgrid[:54, :54]
    plane = np.stack([np.ones(54**2), x.ravel(), y.ravel()], axis=1)
    expected = []
    for heights in (before, after):
        part = heights[33:87, 33:87]
        fit = np.linalg.lstsq(plane, part.ravel(), rcond=None)[0]
        rest = part - (plane @ fit).reshape(54, 54)
        fine = rest - gaussian_filter(rest, deviation, truncate=8, mode="reflect")
        expected.append(np.abs(fine - fine.mean()).mean())

    one = found((before, after + 1e-9 * before))

    # Outside the square nothing weighs, where the library mirrors: a border of half a cut-off.
    assert (one.before_um, one.after_um) == pytest.approx(expected, rel=0.01)


def test_a_step_at_the_border_is_no_roughness() -> None:
    """Each part is filtered alone, so that 40 µm of loss add nothing."""
    deep, flat = (found(pair(1, factor=1.0, step=step)) for step in (40.0, 0.0))

    assert deep.percent == pytest.approx(flat.percent, abs=1e-6)


def test_a_sheer_wall_between_pixels_is_no_roughness() -> None:
    """Sampled from one finer surface 1.5 and 3.25 pixels apart, 20 µm lost: no change is found."""
    side, fine = 110, 4
    rng = np.random.default_rng(5)
    wide = gaussian_filter(np.kron(rng.normal(0, 60, (120, 120)), np.ones((fine, fine))), 2 * fine)
    lost = np.zeros_like(wide)
    lost[30 * fine : 80 * fine, 35 * fine : 85 * fine] = 20

    def sampled(heights: np.ndarray, down: int, right: int) -> np.ndarray:
        part = heights[down : down + side * fine, right : right + side * fine]
        return part.reshape(side, fine, side, fine).mean(axis=(1, 3))

    treated = np.zeros((side, side), bool)
    treated[30:80, 35:85] = True
    before, after = sampled(wide, 0, 0), sampled(wide - lost, 6, 13)
    noisy = [one + 0.3 * rng.normal(size=one.shape) for one in (before, after)]

    one = surface.roughness_change(*noisy, treated=treated, pixel_um=4, cutoff_um=80)

    assert one.percent == pytest.approx(0, abs=1)
    assert one.low < 0 < one.high


def test_smoother_is_found_and_said() -> None:
    """A fifth less is a change with its sign, and both ends of the interval are below zero."""
    one = found(pair(2, factor=0.8))

    assert one.low < -20 < one.high < 0
    assert "% smoother" in str(one)


def test_what_changes_the_frame_too_is_the_instrument() -> None:
    """Heights read 10 % too large on the second day make nothing rougher."""
    before, after = pair(4, factor=1.0)

    one = found((before, 1.1 * after))

    assert not one.measurable
    assert one.untreated == pytest.approx(10, abs=1)
    assert "The untreated frame is 10 % rougher" in one.cautions[0]


def test_no_change_says_what_would_have_been_found() -> None:
    """A change half as large again as that is found in another pair like it."""
    none = found(pair(5, factor=1.0))
    larger = found(pair(5, factor=1 + 1.5 * none.detectable / 100))

    assert f"{none.detectable:.2g} % would have been found" in str(none)
    assert larger.measurable


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    """Of 60 pairs at 80 %: at least as many as chance leaves at 1 in 1,000."""
    hits = sum(
        one.low <= 20 <= one.high
        for one in (found(pair(seed % 12, noise=0.5 + seed % 2), level=0.8) for seed in range(60))
    )

    assert hits >= binom.ppf(0.001, 60, 0.8)


@pytest.mark.parametrize("count", two_sizes(8, 150))
def test_the_interval_holds_in_maps_that_lie_beside_one_another(count) -> None:
    """Read between pixels as far as three away; fewer hits at 95 % are rarer than 1 in 1,000."""
    hits = 0
    for seed in range(count):
        rng = np.random.default_rng(seed)
        fine = gaussian_filter(rng.normal(size=(SIDE + 40, SIDE + 40)), 2)
        wide = 5 * fine / fine.std()
        rougher = wide * np.where(np.pad(SQUARE, 20), FACTOR, 1.0)
        y, x = np.mgrid[:SIDE, :SIDE] + rng.uniform(17, 23, (2, 1, 1))
        noise = rng.normal(0, 0.4, (2, SIDE, SIDE))
        before = wide[20:-20, 20:-20] + noise[0]
        one = found((before, map_coordinates(rougher, (y, x)) + noise[1]), registered=False)
        hits += one.low <= 20 <= one.high

    assert hits >= binom.ppf(0.001, count, 0.95)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"treated": np.zeros((SIDE, SIDE), bool)}, "The treated area is 0 × 0 pixels"),
        ({"cutoff_um": 400.0}, "cutoff_um = 400: on this field it runs from 5 pixels"),
        ({"cutoff_um": 110.0}, "places of 110 µm a side, and 8 are needed"),
        ({"level": 95.0}, "a confidence lies between 0 and 1"),
    ],
)
def test_what_can_not_be_measured_is_refused(wrong, said) -> None:
    """No area, a cut-off that does not fit area or frame, a level in percent."""
    with pytest.raises(ValueError, match=said):
        found(pair(7), **wrong) if "treated" not in wrong else surface.roughness_change(
            *pair(7), pixel_um=2.0, registered=True, **wrong
        )


def test_a_flat_map_has_no_roughness_to_compare() -> None:
    """Nothing divides by zero."""
    flat = np.zeros((SIDE, SIDE))

    with pytest.raises(ValueError, match="wholly flat"):
        found((flat, flat))
