"""Grains outlined in a photograph, laid on a height map: place, error, and depth by mineral."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.stats import binom
from tiers import two_sizes

from heritagecheck.evidence import surface
from heritagecheck.evidence.surface.zone_height_maps import grains_on_map, inside

SHAPE, PIXEL = (120, 120), 2.0
SQUARE = np.zeros(SHAPE, bool)
SQUARE[20:100, 20:100] = True
# Corners in the map: one large flake, one that is a few pixels wide.
BIOTITE = np.array([[30, 30], [62, 34], [58, 60], [28, 56]], float)
SLIVER = np.array([[70, 70], [80, 70], [80, 73], [70, 73]], float)
QUARTZ = np.array([[66, 30], [96, 30], [96, 66], [66, 66]], float)
TIES = np.array([[8, 8], [110, 10], [112, 108], [9, 111], [60, 12], [14, 60], [62, 60]], float)


def in_photograph(points: np.ndarray) -> np.ndarray:
    """Where places of the map lie in a photograph taken at a slant, 4.3 pixels to one of the map.

    x' = (4.3 x + 0.2 y + 50) / w, y' = (-0.1 x + 4.1 y + 80) / w, w = 1 + 0.0002 x - 0.0001 y.
    """
    x, y = points.T
    w = 1 + 0.0002 * x - 0.0001 * y
    return np.stack([(4.3 * x + 0.2 * y + 50) / w, (-0.1 * x + 4.1 * y + 80) / w], axis=1)


def tied(jitter_px: float = 0.0, seed: int = 0, count: int = 7) -> np.ndarray:
    """Points of the photograph, each pointed at with an error, beside those of the map."""
    wrong = np.random.default_rng(seed).normal(0, jitter_px, (len(TIES), 2))
    return np.concatenate([in_photograph(TIES) + wrong, TIES], axis=1)[:count]


def laid(jitter_px: float = 0.0, seed: int = 0, grains=(("biotite", BIOTITE), ("quartz", QUARTZ))):
    """Grains as they come to lie on the map."""
    outlined = [(name, in_photograph(ring)) for name, ring in grains]
    return grains_on_map(tied(jitter_px, seed), outlined, SHAPE, PIXEL)


def test_exact_points_lay_grains_where_they_are() -> None:
    """A homography takes lines to lines: the same pixels as by the corners in the map."""
    found = laid()

    numbers = {name: number for number, name in found.minerals.items()}
    for name, ring in (("biotite", BIOTITE), ("quartz", QUARTZ)):
        assert np.mean((found.labels == numbers[name]) != inside(ring, SHAPE)) < 1e-3
        assert found.rings_px[name][0] == pytest.approx(ring, abs=1e-6)
    assert found.rms_um < 1e-6
    # No better than a pixel of the photograph, which is some half a micrometre on the surface, and
    # one of the map.
    assert found.error_um == pytest.approx(PIXEL / np.sqrt(4.3 * 4.1) + PIXEL, rel=0.1)


def test_the_error_of_a_point_is_that_with_which_it_was_pointed_at() -> None:
    """3 pixels of the photograph each way are 3 · √2 · 2/4.2 = 2.0 µm, over 24 trials."""
    squares = [laid(3.0, seed).rms_um ** 2 for seed in range(24)]

    assert np.sqrt(np.mean(squares)) == pytest.approx(3 * np.sqrt(2) * PIXEL / 4.2, rel=0.2)


def test_what_is_left_within_a_border_is_the_mineral() -> None:
    """With the border left out, no more than 1 pixel in 200 is another mineral."""
    truth = inside(BIOTITE, SHAPE)
    wrong = total = wrong_before = 0
    for seed in range(8):
        found = laid(3.0, seed)
        surely = surface.depth_removed(
            np.zeros(SHAPE), np.zeros(SHAPE), pixel_um=PIXEL, labels=found.labels,
            minerals=found.minerals, label_error_um=found.error_um,
        ).by_mineral[0]  # fmt: skip
        kept = _inner(found.labels == 1, found.error_um)
        assert surely.pixels == kept.sum()
        wrong, total = wrong + int((kept & ~truth).sum()), total + int(kept.sum())
        wrong_before += int(((found.labels == 1) & ~truth).sum())

    assert wrong < total / 200
    # Without it, it would be so for more than one in a hundred.
    assert wrong_before > total / 100


def _inner(where: np.ndarray, away_um: float) -> np.ndarray:
    """Pixels that lie farther from all others than so much, one by one."""
    # Its own border decides, as the next pixel that is another one lies there.
    near = np.zeros_like(where)
    for step in (-1, 1):
        near |= np.roll(where, step, axis=0) | np.roll(where, step, axis=1)
    rows, columns = np.nonzero(near & ~where)
    found = np.zeros_like(where)
    for row, column in zip(*np.nonzero(where), strict=True):
        found[row, column] = np.min(np.hypot(rows - row, columns - column)) * PIXEL > away_um
    return found


def lost(jitter_px: float):
    """Depth of a pair of maps where biotite lost 6 µm, all else 1 µm."""
    rng = np.random.default_rng(5)
    before = 40 * gaussian_filter(rng.normal(size=SHAPE), 2)
    gone = np.where(inside(BIOTITE, SHAPE) | inside(SLIVER, SHAPE), 6.0, 1.0) * SQUARE
    after = before - gone + rng.normal(0, 0.1, SHAPE)
    grains = (("biotite", BIOTITE), ("quartz", QUARTZ), ("hornblende", SLIVER))
    found = laid(jitter_px, 3, grains)
    return surface.depth_removed(
        before + rng.normal(0, 0.1, SHAPE), after, pixel_um=PIXEL, treated=SQUARE,
        labels=found.labels, minerals=found.minerals, label_error_um=found.error_um,
        scale_error=0.001, registered=True,
    )  # fmt: skip


def test_depth_by_mineral_is_that_of_the_mineral() -> None:
    """The interval of each holds its own loss, 6 µm and 1 µm, though points were off by 3 px."""
    biotite, quartz, hornblende = lost(3.0).by_mineral

    assert biotite.low_um < 6 < biotite.high_um
    assert quartz.low_um < 1 < quartz.high_um
    assert biotite.high_um - biotite.low_um < 0.3
    assert "µm lost on biotite on average" in str(biotite)
    assert not hornblende.known


@pytest.mark.parametrize("count", two_sizes(8, 100))
def test_the_interval_of_a_mineral_holds_its_loss_as_often_as_it_says(count) -> None:
    """Maps beside one another, points off by 3 pixels; fewer hits are rarer than 1 in 1,000."""
    held = np.zeros(2, int)
    for seed in range(count):
        rng = np.random.default_rng(seed)
        wide = 40 * gaussian_filter(rng.normal(size=(160, 160)), 2)
        gone = np.where(inside(BIOTITE, SHAPE), 6.0, 1.0) * SQUARE
        y, x = np.mgrid[:120, :120] + rng.uniform(16, 24, (2, 1, 1))
        noise = rng.normal(0, 0.2, (2, *SHAPE))
        found = laid(3.0, seed)
        depth = surface.depth_removed(
            wide[20:140, 20:140] + noise[0],
            map_coordinates(wide - np.pad(gone, 20), (y, x)) + noise[1],
            pixel_um=PIXEL, treated=SQUARE, labels=found.labels, minerals=found.minerals,
            label_error_um=found.error_um,
        )  # fmt: skip
        held += [
            one.low_um <= lost <= one.high_um
            for one, lost in zip(depth.by_mineral, (6, 1), strict=True)
        ]

    assert held.min() >= binom.ppf(0.001, count, 0.95)


def test_too_little_of_a_mineral_is_said_and_not_guessed() -> None:
    """A sliver three pixels wide has no pixel that is surely its own."""
    sliver = lost(3.0).by_mineral[2]

    assert np.isnan(sliver.mean_um)
    assert str(sliver) == (
        f"Not enough hornblende: {sliver.pixels} pixels surely within its outlines, and 30 are "
        "needed"
    )


def test_a_grain_beside_the_map_has_no_pixel() -> None:
    """It is kept by name, so that nothing of it is known."""
    found = laid(grains=(("biotite", BIOTITE + 300),))

    assert found.minerals == {1: "biotite"}
    assert not found.labels.any()


@pytest.mark.parametrize(
    ("points", "grains", "said"),
    [
        (tied(count=4), [("biotite", BIOTITE)], "4 points tie the photograph to the map, and 5"),
        (tied()[[0, 1, 2, 3, 3]], [("biotite", BIOTITE)], "can't be laid on the height map"),
        (tied()[:, [0, 1, 3, 2]], [("biotite", BIOTITE)], "can't be laid on the height map"),
        (tied(), [("biotite", BIOTITE), ("quartz", BIOTITE + 5)], "quartz lies over one of biotit"),
    ],
    ids=["four", "twice", "mirrored", "overlap"],
)
def test_what_can_not_be_laid_is_refused(points, grains, said) -> None:
    """Four points, one point twice, x and y swapped, one grain over another."""
    outlined = [(name, in_photograph(ring)) for name, ring in grains]

    with pytest.raises(ValueError, match=said):
        grains_on_map(points, outlined, SHAPE, PIXEL)
