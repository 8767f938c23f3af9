"""Dark minerals on boards of squares, whose share, size and independence are known."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from scipy.stats import binomtest

from heritagecheck.evidence.photograph.minerals import mineral_fractions

DARK_Y, LIGHT_Y = 0.05, 0.40  # luminance of mica and feldspar, about


def chosen_squares(seed: int, share: float, side: int = 30) -> np.ndarray:
    """Which squares of a board are dark, each by itself."""
    return np.random.default_rng(seed).random((side, side)) < share


def board(chosen: np.ndarray, width: int = 8, blur_px: float = 0.0) -> np.ndarray:
    """Photograph of a board, L*, a*, b*; blur acts on light."""
    light = np.where(np.kron(chosen, np.ones((width, width))) > 0, DARK_Y, LIGHT_Y)
    lab = np.zeros((*light.shape, 3))
    lab[..., 0] = 116 * np.cbrt(gaussian_filter(light, blur_px)) - 16  # ISO/CIE 11664-4
    return lab


def noisy(lab: np.ndarray, seed: int = 5) -> np.ndarray:
    """The same with noise of 1.5 L*."""
    return lab + [1.5, 0.0, 0.0] * np.random.default_rng(seed).standard_normal(lab.shape)


@pytest.mark.parametrize("blur_px", [0.0, 1.0, 2.0])
@pytest.mark.parametrize("share", [0.05, 0.15, 0.4])
def test_blur_does_not_move_the_share(share: float, blur_px: float) -> None:
    """The truth is the share of dark squares; grains must not swell or shrink by the lens."""
    chosen = chosen_squares(1, share)
    found = mineral_fractions(noisy(board(chosen, 8, blur_px)), pixel_mm=0.2)

    assert found.dark == pytest.approx(chosen.mean(), abs=0.01)


def test_grains_of_a_checked_width_are_measured() -> None:
    """Lone squares of nine pixels are nine pixels wide, at 0.2 mm 1.8 mm."""
    chosen = np.zeros((30, 30), dtype=bool)
    chosen[1::4, 1::4] = True
    found = mineral_fractions(board(chosen, 9), pixel_mm=0.2)

    assert found.grain_px == pytest.approx(9, abs=0.5)
    assert found.grain_mm == pytest.approx(1.8, abs=0.1)
    assert found.n_grains == chosen.sum()


@pytest.mark.parametrize("width", [6, 12])
def test_independent_squares_count_as_independent_points(width: int) -> None:
    """
    A board of n independent squares is worth n points.

    The integral range of a mosaic of independent squares is the area of one of them
    (Lantuéjoul 1991); the estimate from one board scatters, so ten are averaged.
    """
    found = [
        mineral_fractions(board(chosen_squares(seed, 0.15), width), pixel_mm=0.2).n_effective
        for seed in range(10)
    ]

    assert np.mean(found) == pytest.approx(900, rel=0.15)


def test_limits_are_those_of_the_exact_binomial_interval() -> None:
    """Against scipy's Clopper-Pearson interval for the same count of points."""
    found = mineral_fractions(board(chosen_squares(3, 0.15)), pixel_mm=0.2)
    points = round(found.n_effective)
    exact = binomtest(round(found.dark * points), points).proportion_ci(0.95, "exact")

    assert (found.low, found.high) == pytest.approx((exact.low, exact.high), abs=0.002)


def test_interval_holds_the_share_of_the_stone() -> None:
    """Sixty boards of one stone: at 95 %, seven or more misses come by chance once in forty."""
    missed = 0
    for seed in range(60):
        found = mineral_fractions(board(chosen_squares(seed, 0.1, 24), 6), pixel_mm=0.2)
        missed += not found.low <= 0.1 <= found.high

    assert missed <= 6


def test_a_higher_confidence_asks_for_a_wider_interval() -> None:
    """And both hold the share itself."""
    narrow, wide = (
        mineral_fractions(board(chosen_squares(3, 0.15)), pixel_mm=0.2, level=level)
        for level in (0.8, 0.99)
    )

    assert wide.low < narrow.low < narrow.dark < narrow.high < wide.high


def test_only_the_patch_counts() -> None:
    """What the mask or missing values leave out is not looked at."""
    chosen = chosen_squares(4, 0.1)
    lab = board(chosen)
    mask = np.zeros(lab.shape[:2], dtype=bool)
    mask[:, :120] = True
    lab[:, 120:, 0] = 5.0
    by_mask = mineral_fractions(lab, pixel_mm=0.2, mask=mask)
    by_nan = mineral_fractions(np.where(mask[..., None], lab, np.nan), pixel_mm=0.2)

    assert by_mask.dark == by_nan.dark == pytest.approx(chosen[:, :15].mean(), abs=0.01)


def test_few_grains_are_cautioned() -> None:
    """Twelve dark squares are too few for a share to rely on."""
    chosen = np.zeros((30, 30), dtype=bool)
    chosen.ravel()[37:850:70] = True
    found = mineral_fractions(board(chosen), pixel_mm=0.2)

    assert found.cautions[0].startswith("The patch holds only 12 dark grains: at least 30")


@pytest.mark.parametrize(
    "lab",
    [
        noisy(board(np.zeros((30, 30), dtype=bool))),
        noisy(board(~chosen_squares(1, 0.1))),
        np.full((200, 200, 3), 60.0),
        # A stone of greys without a gap, from 20 to 80.
        np.linspace(20, 80, 200)[:, None, None] + np.zeros((200, 200, 3)),
    ],
    ids=["no dark grain", "mostly dark", "one colour", "no gap"],
)
def test_stone_without_a_dark_class_is_refused(lab: np.ndarray) -> None:
    """None found is not none there: the message says so."""
    with pytest.raises(ValueError, match="does not show that there are none"):
        mineral_fractions(lab, pixel_mm=0.2)


def test_too_small_grains_are_refused() -> None:
    """Three pixels are mostly border."""
    with pytest.raises(ValueError, match=r"Dark grains are [23]\.\d pixels wide on average"):
        mineral_fractions(board(chosen_squares(1, 0.05, 80), 3), pixel_mm=0.5)


@pytest.mark.parametrize(
    ("lab", "settings", "said"),
    [
        (np.ones((60, 60)), {}, r"lab has shape \(60, 60\)"),
        (board(chosen_squares(1, 0.1)), {"mask": np.ones((2, 2))}, r"mask has shape \(2, 2\)"),
        (board(chosen_squares(1, 0.1, 5)), {}, "Only 1600 pixels of the patch are known"),
        (board(chosen_squares(1, 0.1)), {"level": 0}, "level = 0: a confidence lies between"),
        (board(chosen_squares(1, 0.1)), {"pixel_mm": -1}, "pixel_mm = -1: the width of a pixel"),
    ],
)
def test_what_is_no_patch_is_refused(lab: np.ndarray, settings: dict, said: str) -> None:
    """The message names what came and what is allowed."""
    with pytest.raises(ValueError, match=said):
        mineral_fractions(lab, **{"pixel_mm": 0.2, **settings})
