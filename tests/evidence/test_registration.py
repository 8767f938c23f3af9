"""Photographs tied to a drawing: known homographies, noisy points, and points that mislead."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from skimage.transform import ProjectiveTransform
from tiers import two_sizes

from heritagecheck.evidence.photograph.registration import register

# Pixels of a 6000 by 4000 photograph to metres, taken from the left and a little from below.
TRUE = np.array([[3.4e-3, 1.1e-4, 1.2], [-6e-5, 3.3e-3, 0.8], [2.5e-5, -1.2e-5, 1.0]])
CORNERS = np.array([[200, 250], [5700, 150], [5800, 3900], [150, 3700]], dtype=float)
MORE = np.array([[3000, 400], [2900, 3600], [700, 2000], [5200, 1900]], dtype=float)
BAD = [("picture", np.nan), ("drawing", np.inf)]


def seen(points: np.ndarray, matrix: np.ndarray = TRUE) -> np.ndarray:
    """Take points through a homography, by scikit-image."""
    return np.asarray(ProjectiveTransform(matrix)(np.asarray(points, dtype=float)))


def square(x: float, y: float, side: float) -> np.ndarray:
    """Give the corners of a square."""
    return np.array([[x, y], [x + side, y], [x + side, y + side], [x, y + side]], dtype=float)


# -- The homography ----------------------------------------------------------------------------


@pytest.mark.parametrize("points", [CORNERS, np.vstack([CORNERS, MORE])])
def test_a_known_homography_is_found_again(points: np.ndarray) -> None:
    """Exact points give it back, there and back; scikit-image moves the points."""
    found = register(points, seen(points))
    others = np.random.default_rng(1).uniform((0, 0), (6000, 4000), (500, 2))

    assert np.abs(found.to_drawing(others) - seen(others)).max() < 1e-8
    assert np.abs(found.to_photograph(seen(others)) - others).max() < 1e-5
    assert found.residuals_mm.max() < 1e-6
    assert found.matrix / found.matrix[2, 2] == pytest.approx(TRUE, rel=1e-6, abs=1e-9)


def test_it_is_as_good_as_another_library_and_no_worse_in_millimetres() -> None:
    """The sum of squares on the drawing is least here; the linear fit of scikit-image is near."""
    rng = np.random.default_rng(2)
    pixels = np.vstack([CORNERS, MORE])
    metres = seen(pixels) + rng.normal(0, 0.01, (8, 2))
    found = register(pixels, metres)
    other = ProjectiveTransform.from_estimate(pixels, metres)
    missed = 1000 * np.hypot(*(other(pixels) - metres).T)

    assert (found.residuals_mm**2).sum() <= (missed**2).sum() * (1 + 1e-9)
    assert np.abs(found.to_drawing(MORE) - other(MORE)).max() < 0.01


def test_no_small_change_of_the_homography_fits_better() -> None:
    """The least squares are a minimum in each of the eight numbers."""
    rng = np.random.default_rng(3)
    pixels = np.vstack([CORNERS, MORE])
    metres = seen(pixels) + rng.normal(0, 0.02, (8, 2))
    found = register(pixels, metres)
    best = (found.residuals_mm**2).sum()

    for row, column, sign in itertools.product(range(3), range(3), (-1, 1)):
        changed = found.matrix / found.matrix[2, 2]
        if (row, column) != (2, 2):
            changed[row, column] *= 1 + sign * 1e-4
            missed = 1000 * (seen(pixels, changed) - metres)
            assert (missed**2).sum() > best


@pytest.mark.parametrize("photographs", two_sizes(25, 80))
def test_the_error_shown_is_the_error_made(photographs: int) -> None:
    """Points off by 10 mm in each direction show 14.1 mm on average, for six as for twelve."""
    rng = np.random.default_rng(4)
    extra = rng.uniform((300, 300), (5700, 3700), (8, 2))
    for count in (2, 8):
        pixels = np.vstack([CORNERS, extra[:count]])
        shown = [
            register(pixels, seen(pixels) + rng.normal(0, 0.01, (len(pixels), 2))).rms_mm
            for _ in range(photographs)
        ]
        # Three standard errors: six points leave four degrees of freedom a photograph.
        allowed = 3 / np.sqrt(2 * 4 * photographs)
        assert np.sqrt(np.mean(np.square(shown))) == pytest.approx(10 * np.sqrt(2), rel=allowed)


def test_a_pixel_is_as_wide_as_its_field_on_the_wall() -> None:
    """Side of the square as large as the quadrangle of one pixel, by its four corners."""
    found = register(CORNERS, seen(CORNERS))
    middle = (CORNERS.min(axis=0) + CORNERS.max(axis=0)) / 2
    x, y = seen(square(*(middle - 0.5), 1)).T
    area = abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2

    assert found.pixel_mm == pytest.approx(1000 * np.sqrt(area), rel=1e-3)


def test_a_turned_photograph_is_no_mirrored_one() -> None:
    """A camera held upright gives pixels turned by a quarter."""
    turned = np.stack([CORNERS[:, 1], 6000 - CORNERS[:, 0]], axis=-1)
    found = register(turned, seen(CORNERS))

    assert found.to_drawing(turned) == pytest.approx(seen(CORNERS))


def test_points_beyond_the_horizon_lie_nowhere() -> None:
    """Along a steep view some pixels show no wall, and some of the wall is behind the camera."""
    steep = np.array([[1e-3, 0, 0], [0, 1e-3, 0], [1e-3, 0, 1.0]])
    pixels = np.array([[0, 0], [1000, 0], [1000, 1000], [0, 1000]])
    found = register(pixels, seen(pixels, steep))

    assert np.isnan(found.to_drawing([-1500, 0])).all()
    assert np.isfinite(found.to_drawing([[-500, 0], [9e5, 0]])).all()
    assert np.isnan(found.to_photograph([1.5, 0])).all()


# -- What the points say of themselves ---------------------------------------------------------


def test_four_points_are_taken_with_a_caution() -> None:
    """They always fit: no error can be told from them."""
    found = register(CORNERS, seen(CORNERS))

    assert found.rms_mm is None
    assert np.isnan(found.left_out_mm).all()
    assert "nothing checks them" in found.cautions[0]
    assert "not checked" in str(found)


def test_good_points_carry_no_caution() -> None:
    """Eight points off by 3 mm are well tied."""
    rng = np.random.default_rng(5)
    pixels = np.vstack([CORNERS, MORE])
    found = register(pixels, seen(pixels) + rng.normal(0, 0.003, (8, 2)))

    assert found.cautions == ()
    assert np.isfinite(found.left_out_mm).all()


@pytest.mark.parametrize("wrong", range(8))
def test_one_wrong_point_is_named(wrong: int) -> None:
    """A point mistaken by 30 cm among seven good to 3 mm, whichever it is, and by how much."""
    rng = np.random.default_rng(6)
    pixels = np.vstack([CORNERS, MORE])
    metres = seen(pixels) + rng.normal(0, 0.003, (8, 2))
    metres[wrong] += (0.24, -0.18)
    found = register(pixels, metres)
    [named] = [caution for caution in found.cautions if caution.startswith("Point")]

    assert named.startswith(f"Point {wrong + 1} lies ")
    assert found.left_out_mm[wrong] == pytest.approx(300, abs=30)
    assert any("miss the drawing by" in caution for caution in found.cautions)


def test_of_five_points_none_is_blamed() -> None:
    """
    Any of five can be left out and the others fit: the error is told, no culprit.

    The fifth lies nearly in a line with two others, so that the residuals hide 30 cm: only points
    left out in turn show it.
    """
    pixels = np.vstack([CORNERS, MORE[:1]])
    metres = seen(pixels)
    metres[2] += (0.3, 0)
    found = register(pixels, metres)
    [caution] = found.cautions

    assert found.rms_mm < 10
    assert np.nanmax(found.left_out_mm) > 299
    assert caution.startswith(f"Left out in turn, a point misses by {found.left_out_mm.max():.0f}")


def test_points_that_decide_alone_cannot_be_left_out() -> None:
    """Of three in a line and two beside it, each of the two is needed."""
    pixels = np.array([(0, 0), (1000, 0), (2000, 0), (0, 1500), (2000, 1500.0)])
    found = register(pixels, seen(pixels))

    assert np.isnan(found.left_out_mm).tolist() == [False, False, False, True, True]


def test_a_limit_of_one_s_own_is_kept() -> None:
    """Six points off by 10 mm pass at 25 mm and not at 5 mm."""
    rng = np.random.default_rng(7)
    pixels = np.vstack([CORNERS, MORE])
    metres = seen(pixels) + rng.normal(0, 0.007, (8, 2))

    assert register(pixels, metres).cautions == ()
    assert "more than 5 mm" in register(pixels, metres, limit_mm=5).cautions[0]


def test_a_slanting_view_is_told() -> None:
    """Pixels of 1.1 mm near by and 4.4 mm far away do not measure alike."""
    slant = np.array([[1e-3, 0, 0], [0, 1e-3, 0], [-1e-4, 0, 1.0]])
    pixels = np.array([[0, 0], [6000, 0], [6000, 4000], [0, 4000]])
    found = register(pixels, seen(pixels, slant))

    assert "taken at a slant: a pixel is 1 mm wide at one point and 4 mm" in found.cautions[1]


# -- Points that can't tie a photograph --------------------------------------------------------


def refused(pixels: object, metres: object, said: str) -> None:
    """Expect that points are refused."""
    with pytest.raises(ValueError, match=said):
        register(pixels, metres)


def test_too_few_or_unequal_points_are_refused() -> None:
    """Four is the least, and each is given twice."""
    metres = seen(CORNERS)

    refused(CORNERS[:3], metres[:3], "3 points were given; four or more")
    refused(CORNERS, metres[:3], "4 points in the picture and 3 on the drawing")
    refused(CORNERS.ravel(), metres, r"points_px has shape \(8,\): give one row x, y")
    refused(CORNERS, np.c_[metres, metres], r"points_m has shape \(4, 4\)")


@pytest.mark.parametrize(("where", "value"), BAD)
def test_numbers_that_are_none_are_refused(where: str, value: float) -> None:
    """The point is named as its user counts it."""
    points = {"picture": CORNERS.copy(), "drawing": seen(CORNERS)}
    points[where][2, 1] = value

    refused(points["picture"], points["drawing"], f"Point 3 (in|on) the {where} is not finite")


def test_a_point_given_twice_is_refused() -> None:
    """Both are named, in the picture and on the drawing."""
    pixels = np.vstack([CORNERS, MORE])
    metres = seen(pixels)
    pixels[5], metres[6] = pixels[1], metres[2]

    refused(pixels, seen(np.vstack([CORNERS, MORE])), "Points 2 and 6 are the same in the picture")
    refused(np.vstack([CORNERS, MORE]), metres, "Points 3 and 7 are the same on the drawing")


@pytest.mark.parametrize(
    "pixels",
    [
        [(0, 0), (10, 10), (20, 20), (30, 30)],
        [(0, 0), (10, 10), (20, 20), (30, 0)],
        [(0, 0), (10, 10), (20, 20.1), (30, 30), (40, 40), (0, 40)],
    ],
)
def test_points_in_a_line_are_refused(pixels: list[tuple[float, float]]) -> None:
    """A string course alone does not tie a photograph; nor with one point beside it."""
    metres = seen(np.vstack([CORNERS, MORE])[: len(pixels)])

    refused(pixels, metres, "All points but one lie in a line in the picture")
    refused(metres, pixels, "All points but one lie in a line on the drawing")


def test_three_in_a_line_and_two_beside_it_are_taken() -> None:
    """Two of the three, and those beside it, span a field."""
    pixels = np.array([(0, 0), (1000, 0), (2000, 0), (0, 1500), (2000, 1500.0)])

    assert register(pixels, seen(pixels)).residuals_mm.max() < 1e-6


def test_mirrored_points_are_refused() -> None:
    """Metres counted up from the ground, or a slide put in the wrong way round."""
    metres = seen(CORNERS)

    refused(CORNERS, metres * (1, -1) + (0, 16), "show the wall mirrored. Metres count to the")
    refused(CORNERS * (-1, 1) + (6000, 0), metres, "mirrored")
    refused(CORNERS[:, ::-1], metres, "mirrored")


@pytest.mark.parametrize("order", [(1, 0, 2, 3), (0, 2, 1, 3), (0, 1, 3, 2)])
def test_four_points_in_another_order_are_refused(order: tuple[int, ...]) -> None:
    """Two swapped corners put the horizon through the middle of the wall."""
    refused(CORNERS[list(order)], seen(CORNERS), "order mixed up")


def test_eight_points_of_which_two_are_swapped_are_refused_or_told() -> None:
    """They miss by a large share of their spread."""
    pixels = np.vstack([CORNERS, MORE])
    order = [4, 1, 2, 3, 0, 5, 6, 7]

    refused(pixels[order], seen(pixels), "mixed up|Were two of them swapped")


def test_a_limit_of_nothing_is_refused() -> None:
    """No point is placed without error."""
    with pytest.raises(ValueError, match="limit_mm = 0: it must be above 0"):
        register(CORNERS, seen(CORNERS), limit_mm=0)


def test_points_without_two_numbers_each_are_refused() -> None:
    """X and y are needed."""
    photo = register(CORNERS, seen(CORNERS))

    with pytest.raises(ValueError, match="the last axis must hold x, y"):
        photo.to_drawing([1, 2, 3])
