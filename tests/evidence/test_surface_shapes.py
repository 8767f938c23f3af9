"""Edge of a treated square and texture of steel: made surfaces whose measures are known."""

import math

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from heritagecheck.evidence import surface

SQUARE = np.zeros((120, 120), bool)
SQUARE[30:90, 30:90] = True


def plate(seed: int = 1) -> np.ndarray:
    """A lapped plate, scattering by 0.3 µm."""
    return np.random.default_rng(seed).normal(0, 0.3, SQUARE.shape)


# -- Edge ------------------------------------------------------------------------------------------


def test_a_straight_wall_has_its_step_and_no_width() -> None:
    """8 µm deep on a tilted plate: the step is found, the wall is as wide as its pixels."""
    tilted = plate() + 0.2 * np.arange(120) - 8 * SQUARE

    found = surface.edge_profile(tilted, 5.0, SQUARE)

    assert found.step.value == pytest.approx(8, abs=0.05)
    assert found.step.low < found.step.value < found.step.high
    assert found.width_um == pytest.approx(0.8 * 5, abs=0.3)
    assert found.rim_um < 0.2
    assert "lower; the step is 4" in str(found)


def test_a_slope_has_its_width() -> None:
    """A wall that falls evenly over 60 µm takes 48 from a tenth to nine tenths of it."""
    y, x = np.abs(np.mgrid[:120, :120] - 59.5)
    from_border = 30 - np.maximum(y, x)  # pixels into the square
    sloped = -8 * np.clip(from_border / 12 + 0.5, 0, 1)

    found = surface.edge_profile(sloped + plate(), 5.0, SQUARE)

    assert found.width_um == pytest.approx(48, abs=3)


def test_a_rim_of_melt_is_seen() -> None:
    """A bead 2 µm high just outside the border of a square 8 µm deep."""
    bead = gaussian_filter(SQUARE.astype(float), 2) * ~SQUARE
    found = surface.edge_profile(plate() - 8 * SQUARE + 2 * bead / bead.max(), 5.0, SQUARE)

    assert found.rim_um == pytest.approx(1.5, abs=0.5)
    assert found.step.value == pytest.approx(8, abs=0.1)


def test_no_step_is_called_none() -> None:
    """An untouched plate: no step, no width, and the sentence says so."""
    found = surface.edge_profile(plate(3), 5.0, SQUARE)

    assert found.step.low < 0 < found.step.high
    assert math.isnan(found.width_um)
    assert str(found).startswith("No step is measurable at the border")


def test_a_raised_square_is_said_to_be_higher() -> None:
    """What swelled or was laid on: the step is below 0."""
    found = surface.edge_profile(plate() + 4 * SQUARE, 5.0, SQUARE)

    assert found.step.high < 0
    assert "higher; the step" in str(found)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"treated": np.zeros(SQUARE.shape, bool)}, "all of the map or nothing"),
        ({"treated": SQUARE[1:]}, r"treated has shape \(119, 120\)"),
        ({"reach_um": 12.0}, "the profile needs 6 pixels to either side, 30 µm"),
        ({"reach_um": 1000.0}, "in too few places"),
        ({"level": 1.0}, "level = 1"),
        ({"heights_um": 5000 * plate()}, "in another unit"),
    ],
)
def test_an_edge_that_cannot_be_measured_is_refused(change, said) -> None:
    """The message names what came and what is allowed."""
    given = {"heights_um": plate(), "pixel_um": 5.0, "treated": SQUARE} | change

    with pytest.raises(ValueError, match=said):
        surface.edge_profile(**given)


# -- Texture ---------------------------------------------------------------------------------------


def grooves(turn_deg: float, depth: float = 40.0, width: float = 70.0) -> np.ndarray:
    """Grooves every 150 µm with walls some 10 µm wide, pixels of 3 µm, scattering by 2 µm."""
    y, x = np.mgrid[:260, :300] * 3.0
    across = x * math.sin(math.radians(turn_deg)) - y * math.cos(math.radians(turn_deg))
    wall = (np.abs(across % 150 - 75) - width / 2) / 2
    noise = np.random.default_rng(2).normal(0, 2, x.shape)
    return noise - depth / (1 + np.exp(np.clip(wall, -50, 50)))


@pytest.mark.parametrize("turn", [0, 25, 90, 130])
def test_grooves_are_measured_in_any_direction(turn) -> None:
    """Pitch to 1 µm, width and depth to 2 µm, direction to half a degree."""
    found = surface.texture(grooves(turn), 3.0)

    assert found.kind == "grooves"
    assert found.count >= 3
    assert found.pitch.value == pytest.approx(150, abs=1)
    assert found.width.value == pytest.approx(70, abs=2)
    assert found.depth.value == pytest.approx(40, abs=2)
    assert abs((found.direction_deg - turn + 90) % 180 - 90) < 0.5


def test_width_and_depth_are_held_against_common_practice() -> None:
    """Grooves 40 µm wide and 20 deep lie below what is said to hold a coating, without a source."""
    found = surface.texture(grooves(0, depth=20, width=40), 3.0)

    assert [words.split(",")[0] for words in found.against] == [
        "Width 40 µm: below the 50 to 100 µm that are common practice",
        "Depth 20 µm: below the 30 to 100 µm that are common practice",
    ]
    assert all("without a source" in words for words in found.against)


def test_dimples_are_measured_one_by_one() -> None:
    """Round pits 70 µm wide and 50 deep every 150 µm; those that the edge cuts are left out."""
    y, x = np.mgrid[:260, :300] * 3.0
    pits = np.hypot(x % 150 - 75, y % 150 - 75) < 35
    heights = np.random.default_rng(4).normal(0, 2, x.shape) - 50 * pits

    found = surface.texture(heights, 3.0)

    assert (found.kind, found.count) == ("dimples", 30)
    assert found.pitch.value == pytest.approx(150, abs=1)
    assert found.width.value == pytest.approx(70, abs=2)
    assert found.depth.value == pytest.approx(50, abs=1.5)
    assert "30 dimples: pitch" in str(found)


@pytest.mark.parametrize("seed", range(3))
def test_rough_steel_has_no_pattern(seed) -> None:
    """Blasted steel repeats nothing, however rough it is."""
    blasted = 60 * gaussian_filter(np.random.default_rng(seed).normal(size=(200, 240)), 5)

    found = surface.texture(blasted, 3.0)

    assert found.kind == "none"
    assert math.isnan(found.pitch.value)
    assert str(found) == "No regular pattern found"


def test_crossed_grooves_are_not_called_dimples() -> None:
    """Two sets of grooves leave islands, and no low place stands alone."""
    crossed = np.minimum(grooves(0), grooves(90))

    found = surface.texture(crossed, 3.0)

    assert found.kind == "none"
    assert "grooves may cross" in found.cautions[0]


def test_too_few_grooves_are_no_pattern() -> None:
    """Two grooves in the field do not show a pitch."""
    assert surface.texture(grooves(90)[:, :100], 3.0).kind == "none"
