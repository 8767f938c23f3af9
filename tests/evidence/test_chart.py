"""The colour chart was found where there is one, and never where there is none."""

from __future__ import annotations

import re

import numpy as np
import pytest
from charts import Scene, known_lab, srgb_levels, varied, xyz_of
from skimage import data
from skimage.transform import ProjectiveTransform
from tiers import some_of

from heritagecheck.evidence.photograph.chart import (
    find_chart,
    mapped,
    patch_places,
    steps_to_pixels,
)
from heritagecheck.survey.instruments.photo_file import srgb_light


def found(levels: np.ndarray) -> np.ndarray:
    """Corners in a picture of sRGB levels."""
    decode = srgb_light(8 * levels.dtype.itemsize)
    return find_chart(levels, lambda part: decode[part], xyz_of(known_lab()))


def missed_px(scene: Scene, levels: np.ndarray) -> float:
    """How far the worst corner lies from the true one."""
    return float(np.linalg.norm(found(levels) - scene.corners(), axis=1).max())


@pytest.mark.parametrize("seed", some_of(range(10), short=(2, 7)))
def test_the_chart_is_found_in_varied_photographs(seed: int) -> None:
    """
    A tenth of the width and more, any angle, slanted, noisy, JPEG, beside a second leaf.

    Ten more are found in test_calibration.py, where their colours are looked at as well.
    """
    scene = varied(seed)
    quality = (None, 92, 75)[seed % 3]

    assert missed_px(scene, scene.photograph(quality=quality)) < 2


@pytest.mark.parametrize("angle", some_of([0, 90, 180, 270], short=[0, 180]))
def test_an_upright_chart_is_not_mistaken_for_one_upside_down(angle: float) -> None:
    """The first corner is that of dark skin, whichever way up."""
    scene = Scene(angle=angle)

    assert missed_px(scene, scene.photograph()) < 2


HARD = {
    "tiny": Scene(pitch=11, noise=0.003),
    "filling the picture": Scene(pitch=190),
    "slanted": Scene(tilt=(0.06, 0.04), squeeze=0.6, angle=77),
    "out of focus": Scene(blur=4, angle=12),
    "noisy": Scene(noise=0.04, angle=200),
    "dark": Scene(exposure=0.06),
    "folding case": Scene(second_leaf=True, pitch=40, angle=131),
}


@pytest.mark.parametrize("how", some_of(HARD, short=["tiny", "slanted", "dark"]))
def test_the_chart_is_found_where_it_is_hard_to_see(how: str) -> None:
    """Each of these once made a chart hard to tell from stone."""
    assert missed_px(HARD[how], HARD[how].photograph()) < 2.5


def test_sixteen_bits_and_large_pictures_are_read_alike() -> None:
    """The same corners whether or not the levels are fine; 5000 pixels are reduced first."""
    scene = Scene(angle=33)
    large = np.kron(scene.photograph(bits=16), np.ones((4, 4, 1), dtype=np.uint16))

    assert np.abs(found(large) / 4 - scene.corners()).max() < 2


@pytest.mark.parametrize("name", ["brick", "gravel", "grass"])
@pytest.mark.parametrize("times", some_of([1, 3], short=[1]))
def test_no_chart_is_seen_in_textures(name: str, times: int) -> None:
    """Photographs of real textures that scikit-image brings along."""
    grey = np.tile(getattr(data, name)(), (times, times))

    with pytest.raises(ValueError, match=r"No 24-patch colour chart was found .* chart_corners: x"):
        found(np.repeat(grey[..., None], 3, axis=2))


@pytest.mark.parametrize("seed", some_of(range(3), short=(0,)))
def test_no_chart_is_seen_in_patches_of_other_colours(seed: int) -> None:
    """Two hundred patches by chance in a dark frame, in a perfect lattice."""
    chance = np.random.default_rng(seed)
    patches = np.kron(chance.integers(20, 235, (12, 18, 3)), np.ones((36, 36, 1)))
    frame = np.kron(np.ones((12, 18)), np.pad(np.ones((28, 28)), 4))

    with pytest.raises(ValueError, match="No 24-patch colour chart was found"):
        found((patches * frame[..., None]).astype(np.uint8))


def test_a_mirrored_chart_is_no_chart() -> None:
    """A photograph turned over left to right shows no lattice in the right order."""
    with pytest.raises(ValueError, match="No 24-patch colour chart was found"):
        found(np.ascontiguousarray(Scene(angle=10).photograph()[:, ::-1]))


def test_two_charts_are_one_too_many() -> None:
    """Both places are named, so that one can be covered or the corners given."""
    scene = Scene(charts=2, centre=(300, 400))

    with pytest.raises(ValueError, match="2 colour charts are in the photograph") as said:
        found(scene.photograph())

    places = sorted(int(word) for word in re.findall(r"x = (\d+), y = 4", str(said.value)))
    assert places == pytest.approx([300, 682], abs=2)


@pytest.mark.parametrize(
    ("centre", "angle"),
    some_of(
        [((100, 400), 0), ((70, 400), 30), ((600, 20), 90), ((1150, 420), 180), ((500, 770), 10)],
        short=[((70, 400), 30), ((600, 20), 90), ((1150, 420), 180)],
    ),
)
def test_a_chart_cut_off_by_the_edge_is_called_so(
    centre: tuple[float, float], angle: float
) -> None:
    """It is not calibrated by the patches that are left."""
    with pytest.raises(ValueError, match=r"cut off by the edge .* All 24 patches must be seen"):
        found(Scene(centre=centre, angle=angle).photograph())


def test_an_overexposed_photograph_is_called_so() -> None:
    """Where most of it is white, that may be why no chart is seen; corners are offered too."""
    with pytest.raises(ValueError, match=r"No 24-patch .* \d\d % .* overexposed.* chart_corners"):
        found(Scene(exposure=5).photograph())


@pytest.mark.parametrize("burnt", [0.0, 0.02, 0.3])
def test_a_photograph_without_a_chart_says_so_whatever_is_burnt(burnt: float) -> None:
    """A white sky is no reason to take it again: chart_corners are offered all the same."""
    picture = np.full((300, 400, 3), 120, dtype=np.uint8)
    picture[: round(300 * burnt)] = 255

    with pytest.raises(ValueError, match="No 24-patch colour chart was found") as caught:
        found(picture)

    assert "If it is there, give chart_corners" in str(caught.value)
    assert ("overexposed" in str(caught.value)) == (burnt > 0)


def test_a_picture_of_nothing_holds_no_chart() -> None:
    """An even grey, and a picture of one pixel."""
    for shape in ((300, 400, 3), (1, 1, 3)):
        with pytest.raises(ValueError, match="No 24-patch colour chart was found"):
            found(np.full(shape, 128, dtype=np.uint8))


def test_a_picture_that_is_flat_nowhere_holds_no_chart() -> None:
    """Noise in every pixel: no region is flat at any of the sizes searched."""
    noise = np.random.default_rng(0).integers(0, 256, (60, 80, 3), dtype=np.uint8)

    with pytest.raises(ValueError, match="No 24-patch colour chart was found"):
        found(noise)


def test_the_homography_is_that_of_a_general_library() -> None:
    """Against `ProjectiveTransform` of scikit-image, by the corners of a slanted chart."""
    corners = Scene(tilt=(0.03, 0.02), angle=50).corners()
    right, bottom = 5.42, 3.42
    field = np.array([[-0.42, -0.42], [right, -0.42], [right, bottom], [-0.42, bottom]])
    theirs = ProjectiveTransform.from_estimate(field, corners)

    ours = mapped(steps_to_pixels(corners), patch_places())

    assert ours == pytest.approx(theirs(patch_places()), abs=1e-8)


def test_the_scene_shows_what_it_says() -> None:
    """Guards the truth of these tests: the patches stand at the corners that the scene names."""
    scene = Scene(angle=25, noise=0, blur=0.01)
    levels = scene.photograph()
    places = np.floor(mapped(steps_to_pixels(scene.corners()), patch_places())).astype(int)

    expected = srgb_levels(scene.linear(xyz_of(known_lab())))

    assert (levels[places[:, 1], places[:, 0]] == expected).all()
