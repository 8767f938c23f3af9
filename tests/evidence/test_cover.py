"""Cover of soiling on small walls of known make and on two real photographs."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from heritagecheck.evidence.photograph.cover import soiling_cover

GREY, SOOT, RUST = (64.0, 1.0, 5.0), (30.0, 0.5, 2.0), (45.0, 15.0, 24.0)


def grained(seed: int, rows: int = 120, columns: int = 160, grain: float = 1.5) -> np.ndarray:
    """Stone with a pattern some pixels wide, 6 L* from light to dark grains."""
    rng = np.random.default_rng(seed)
    pattern = gaussian_filter(rng.standard_normal((rows, columns, 3)), (grain, grain, 0))
    return np.array(GREY) + np.array([6.0, 0.6, 1.0]) * pattern / pattern.std()


def film(stone: np.ndarray, where: np.ndarray, soiling: tuple, hides: float = 0.8) -> np.ndarray:
    """The same stone under a film of soiling."""
    return np.where(where[..., None], stone + hides * (np.array(soiling) - stone), stone)


def left_part(stone: np.ndarray, columns: int) -> np.ndarray:
    """Where the left of a wall is."""
    where = np.zeros(stone.shape[:2], dtype=bool)
    where[:, :columns] = True
    return where


@pytest.mark.parametrize("soiling", [SOOT, RUST])
@pytest.mark.parametrize("columns", [0, 40, 80, 140, 160])
def test_a_straight_border_is_found(columns: int, soiling: tuple) -> None:
    """The truth is the share of columns; a neighbourhood of grains must not swell it."""
    wall = grained(1)
    found = soiling_cover(film(wall, left_part(wall, columns), soiling), grained(2))

    assert found.share == pytest.approx(columns / 160, abs=0.015)
    assert found.low <= columns / 160 <= found.high


def test_mask_and_missing_pixels_mark_the_zone_alike() -> None:
    """What lies outside the zone does not count, however it is said, and is never marked."""
    wall = film(grained(1), left_part(grained(1), 60), SOOT)
    zone = left_part(wall, 100)
    by_mask = soiling_cover(wall, grained(2), mask=zone)
    by_nan = soiling_cover(np.where(zone[..., None], wall, np.nan), grained(2))

    assert by_mask.share == by_nan.share == pytest.approx(0.6, abs=0.02)
    assert by_mask.mask.shape == zone.shape
    assert not by_mask.mask[~zone].any()
    assert by_mask.mask[:, :50].all()


def test_a_lighter_deposit_is_found_too() -> None:
    """Salt and lime lighten the stone: any shift counts, not only a darker one."""
    wall = film(grained(1), left_part(grained(1), 80), (92.0, 0.0, 2.0))

    assert soiling_cover(wall, grained(2)).share == pytest.approx(0.5, abs=0.02)


def test_the_same_pixels_give_the_same_answer() -> None:
    """Nothing is left to chance between two calls."""
    wall = film(grained(1), left_part(grained(1), 60), RUST)
    first, again = (soiling_cover(wall, grained(2)) for _ in range(2))

    assert (first.share, first.low, first.high) == (again.share, again.low, again.high)


def test_the_scale_follows_the_grain() -> None:
    """Coarser grains ask for wider neighbourhoods; millimetres come from the pixel."""
    scales = [
        soiling_cover(grained(1, 200, 300, grain), grained(2, 200, 300, grain), pixel_mm=0.5)
        for grain in (1.0, 3.0)
    ]

    assert scales[1].scale_px > 2 * scales[0].scale_px
    assert scales[1].scale_mm == pytest.approx(scales[1].scale_px / 2)


def test_a_large_picture_is_reduced_and_keeps_its_share() -> None:
    """Cells grow with the picture; the share and the size of the mask stay."""
    wall = np.tile(grained(1), (6, 6, 1))
    found = soiling_cover(film(wall, left_part(wall, 240), SOOT), grained(2))

    assert found.share == pytest.approx(0.25, abs=0.01)
    assert found.mask.shape == wall.shape[:2]


def test_a_list_of_colours_is_taken_with_a_caution() -> None:
    """Without their places the grains can't be averaged, and the result says so."""
    wall = film(grained(1), left_part(grained(1), 80), RUST)
    found = soiling_cover(wall, grained(2).reshape(-1, 3))

    assert found.share == pytest.approx(0.5, abs=0.05)
    assert any("list of colours" in caution for caution in found.cautions)


def test_a_small_reference_is_cautioned() -> None:
    """Ten pixels by twelve hold few neighbourhoods."""
    found = soiling_cover(grained(1), grained(2, 10, 12))

    assert any("natural variation is poorly known" in caution for caution in found.cautions)


def test_a_slight_change_is_named_and_widens_the_interval() -> None:
    """A shift at the edge of natural variation is not counted, but not passed over either."""
    even = np.array(GREY) + np.random.default_rng(1).normal(0, 0.5, (120, 160, 3))
    dulled = even.copy()
    dulled[20:40, 20:40] -= [4.4, 0.0, 0.0]
    found = soiling_cover(dulled, even)

    assert found.share == 0
    assert found.faint == pytest.approx(400 / 19200, abs=0.01)
    assert found.high >= found.faint


@pytest.mark.parametrize("name", ["brick", "gravel"])
def test_halves_of_a_real_photograph_are_the_same_material(name: str) -> None:
    """One half against the other shows little soiling, and the interval reaches to none."""
    wall = real(name)
    for zone, clean in ((wall[:, :256], wall[:, 256:]), (wall[256:], wall[:256])):
        found = soiling_cover(zone, clean)

        assert found.share < 0.03
        assert found.low == pytest.approx(0, abs=0.005)


@pytest.mark.parametrize("name", ["brick", "gravel"])
def test_a_darkened_part_of_a_real_photograph_is_found(name: str) -> None:
    """Half of the light is lost over the upper half of the zone."""
    wall = real(name)
    zone = wall[:, :256].copy()
    zone[:256, :, 0] = 116 * np.cbrt(0.5) * (zone[:256, :, 0] + 16) / 116 - 16
    found = soiling_cover(zone, wall[:, 256:])

    assert found.share == pytest.approx(0.5, abs=0.06)
    assert found.low <= 0.5 <= found.high


def real(name: str) -> np.ndarray:
    """Real photograph that scikit-image ships with, as grey L*, a*, b*."""
    data = pytest.importorskip("skimage.data")
    color = pytest.importorskip("skimage.color")
    return color.rgb2lab(color.gray2rgb(getattr(data, name)()))


@pytest.mark.parametrize(
    ("lab", "reference", "settings", "said"),
    [
        (np.ones((40, 40)), grained(2), {}, r"lab has shape \(40, 40\)"),
        (grained(1), np.ones((40, 2)), {}, r"lab_reference has shape \(40, 2\)"),
        (grained(1), grained(2), {"mask": np.ones((3, 3))}, r"mask has shape \(3, 3\) and the pic"),
        (grained(1), grained(2), {"mask": np.zeros((120, 160))}, "No pixel of the zone is known"),
        (np.full((40, 40, 3), np.nan), grained(2), {}, "No pixel of the zone is known"),
        (grained(1), grained(2, 9, 9), {}, "holds 81 known pixels: at least 100"),
        (grained(1), grained(2), {"level": 95}, "level = 95: a confidence lies between 0 and 1"),
        (grained(1), grained(2), {"pixel_mm": 0}, "pixel_mm = 0: the width of a pixel"),
    ],
)
def test_what_is_no_zone_or_no_stone_is_refused(
    lab: np.ndarray, reference: np.ndarray, settings: dict, said: str
) -> None:
    """The message names what came and what is allowed."""
    with pytest.raises(ValueError, match=said):
        soiling_cover(lab, reference, **settings)
