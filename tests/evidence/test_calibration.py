"""A photograph with a chart gives the colours that were photographed, or is refused."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from charts import CAMERA, Scene, known_lab, srgb_levels, through_jpeg, varied, xyz_of
from PIL import Image
from tiers import some_of

from heritagecheck.evidence import colour
from heritagecheck.evidence.photograph.calibration import Calibration, calibrate
from heritagecheck.evidence.photograph.differences import to_lab
from heritagecheck.survey.instruments.photo_file import open_photograph
from heritagecheck.tables import rows


def stone_like() -> np.ndarray:
    """Colours that are not in the chart: greys to chroma 30, of every hue, shape (60, 3)."""
    chance = np.random.default_rng(5)
    hue, chroma = chance.uniform(0, 2 * np.pi, 60), chance.uniform(0, 30, 60)
    light = chance.uniform(25, 85, 60)
    return np.stack([light, chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1)


def got(calibration: Calibration, light: np.ndarray) -> np.ndarray:
    """What a calibration makes of a camera's light, as the mean of many noisy pixels would be."""
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    decode = calibration.model.decode
    linear = np.interp(coded * (len(decode) - 1), np.arange(len(decode)), decode)
    return to_lab(linear[None], replace(calibration.model, decode=None, gain=None))[0]


def error(calibration: Calibration, scene: Scene) -> float:
    """Mean CIEDE2000 of colours not in the chart, in the light at its middle."""
    x, y = scene.centre
    even = 1 + scene.slope[0] * (x / scene.columns - 0.5) + scene.slope[1] * (y / scene.rows - 0.5)
    light = scene.linear(xyz_of(stone_like()) * even)
    return float(colour.delta_e(stone_like(), got(calibration, light)).mean())


@cache
def plain() -> np.ndarray:
    """Photograph of the plainest scene, taken once."""
    return Scene().photograph()


# -- What comes out -----------------------------------------------------------------------------


@pytest.mark.parametrize("seed", some_of(range(20, 30), short=(21, 23, 26)))
def test_colours_not_in_the_chart_come_out_right(seed: int) -> None:
    """
    Known truth of varied scenes: cameras whose tones are a little bent, noise, JPEG, slopes.

    The chart is found within two pixels, as in test_chart.py.
    """
    scene = replace(varied(seed), power=(1, 1.05, 0.95)[seed % 3])
    quality = (None, 92, 75, None)[seed % 4]
    calibration = calibrate(scene.photograph(quality=quality))

    assert np.linalg.norm(calibration.corners - scene.corners(), axis=1).max() < 2
    assert error(calibration, scene) < (0.2 if quality is None else 1.5)
    assert calibration.mean_error < (0.4 if quality is None else 2)


@pytest.mark.parametrize("bits", [8, 16])
def test_a_camera_that_a_matrix_describes_is_undone_by_its_inverse(bits: int) -> None:
    """The fit must be degree 1 and its matrix the inverse of the invented camera's."""
    scene = Scene()
    calibration = calibrate(scene.photograph(bits=bits), scene.corners())

    assert calibration.degree == 1
    assert calibration.model.matrix * scene.exposure == pytest.approx(
        np.linalg.inv(CAMERA), abs=0.03
    )
    assert calibration.mean_error < 0.3
    assert calibration.lab == pytest.approx(known_lab(), abs=0.6)


def test_linear_light_is_taken_as_such() -> None:
    """Decimals are not decoded; the same scene gives the same colours."""
    scene = Scene(noise=0)
    light = np.clip(scene.linear(scene.light()), 0, 1)
    calibration = calibrate(light, scene.corners())

    assert calibration.model.decode is None
    assert calibration.mean_error < 0.05
    assert calibration.to_lab(light[:50]).shape == (50, 1200, 3)


def test_a_camera_that_no_matrix_describes_takes_roots() -> None:
    """Invented: a blue channel that also takes the root of red times green."""
    xyz = xyz_of(known_lab())
    plain = 0.8 * xyz @ CAMERA.T
    plain[:, 2] += 0.5 * np.sqrt(plain[:, 0] * plain[:, 1]) - 0.2 * plain[:, 2]
    # The 24 lights are laid out flat: only the fit is looked at.
    light = np.full((4 * 40, 6 * 40, 3), 0.02)
    for number, one in enumerate(plain / plain.max() * 0.9):
        row, column = np.divmod(number, 6)
        light[row * 40 + 4 : row * 40 + 36, column * 40 + 4 : column * 40 + 36] = one
    corners = np.array([[4, 4], [236, 4], [236, 156], [4, 156]])
    calibration = calibrate(light, corners)

    assert calibration.degree == 2
    assert calibration.model.matrix.shape == (3, 6)
    assert calibration.mean_error < 0.1


def test_an_error_of_a_patch_is_that_of_a_fit_without_it() -> None:
    """One patch of another colour than the table says: its own error is the whole difference."""
    lab = known_lab()
    lab[13] += (0, 8, 0)
    scene = Scene(noise=0.001, lab=lab)
    calibration = calibrate(scene.photograph(), scene.corners())

    whole = float(colour.delta_e(known_lab()[13], lab[13]))
    assert calibration.errors[13] == pytest.approx(whole, abs=1)
    assert calibration.errors[13] == calibration.max_error
    assert colour.delta_e(calibration.lab[13], known_lab()[13]) < whole - 0.4


def test_the_surveys_own_readings_of_the_chart_are_used() -> None:
    """A chart that faded, each patch in its own way, calibrates by its readings as a new one."""
    faded = known_lab() + np.random.default_rng(3).normal(0, 5, (24, 3)) * (known_lab() < 90)
    faded[18:] = known_lab()[18:]
    scene = Scene(lab=faded)
    levels = scene.photograph()

    assert error(calibrate(levels, scene.corners(), chart=faded), scene) < 0.3
    with pytest.raises(ValueError, match=r"wrong by CIEDE2000 \d\.\d on average, .* 3 is allowed"):
        calibrate(levels, scene.corners())


def test_the_published_colours_are_those_of_the_published_reflectances() -> None:
    """N. Ohta's reflectances as colour-science 0.4.7 ships them, for D65 and 10°."""
    with np.printoptions():
        import colour as science
    charts = science.SDS_COLOURCHECKERS["cc_ohta"]

    assert [row["name"] for row in rows("chart_patches")] == [
        name.split(" (")[0] for name in charts
    ]
    assert known_lab() == pytest.approx(
        np.array([colour.lab_from_reflectance(one.wavelengths, one.values)
                  for one in charts.values()]),
        abs=5.1e-5,
    )  # fmt: skip


def test_covariance_is_the_mean_square_of_what_was_left_out() -> None:
    """Its diagonal is about the square of the errors of L*, a* and b* (JPEG makes them plain)."""
    scene = Scene(angle=20)
    calibration = calibrate(scene.photograph(quality=80), scene.corners())
    spread = np.sqrt(np.diag(calibration.error_covariance))

    assert calibration.error_covariance == pytest.approx(calibration.error_covariance.T)
    assert 0.1 < spread[0] < calibration.mean_error * 2
    assert np.linalg.eigvalsh(calibration.error_covariance).min() > 0


def test_calibration_says_itself_in_a_sentence_and_a_table() -> None:
    """Names, known and fitted colours, error: a row a patch."""
    calibration = calibrate(plain(), Scene().corners())
    table = calibration.table()

    assert str(calibration).startswith("Calibrated by the chart's patches (degree 1): a colour")
    assert list(table["name"][[0, 18, 23]]) == ["dark skin", "white 9.5", "black 2"]
    assert table["known_L_star"].to_numpy() == pytest.approx(known_lab()[:, 0])
    assert table["got_b_star"].to_numpy() == pytest.approx(calibration.lab[:, 2])
    assert table["delta_e_2000"].mean() == pytest.approx(calibration.mean_error)


def test_a_file_its_photograph_and_its_pixels_calibrate_alike(tmp_path: Path) -> None:
    """The path, what `open_photograph` makes of it, and the levels themselves."""
    path = tmp_path / "wall.png"
    Image.fromarray(plain()).save(path)
    corners = Scene().corners()
    found = [calibrate(one, corners).errors for one in (path, open_photograph(path), plain())]

    assert found[0] == pytest.approx(found[1], abs=1e-12)
    assert found[0] == pytest.approx(found[2], abs=1e-12)


def test_nothing_depends_on_exposure() -> None:
    """Half the light gives the same colours, as the white patch says how much there is."""
    full, half = (Scene(exposure=exposure, noise=0.001) for exposure in (0.8, 0.4))
    for scene in (full, half):
        assert error(calibrate(scene.photograph(bits=16), scene.corners()), scene) < 0.05


# -- Light --------------------------------------------------------------------------------------


def test_light_that_slopes_over_the_chart_is_taken_out_and_said() -> None:
    """A quarter across the chart: colours stay right in its middle, and a caution is carried."""
    scene = Scene(slope=(1.2, 0), noise=0.001)
    calibration = calibrate(scene.photograph(bits=16), scene.corners())

    assert error(calibration, scene) < 0.5
    assert "The light changes by 2" in calibration.cautions[0]


def test_an_even_board_takes_uneven_light_out_of_the_whole_photograph() -> None:
    """Stone far from the chart comes out as under it: here a grey wall, to CIEDE2000 0.5."""
    scene = Scene(slope=(0.5, -0.3), noise=0.001, exposure=0.6)
    y, x = np.mgrid[-0.5:0.5:800j, -0.5:0.5:1200j]
    even = (1 + 0.5 * x - 0.3 * y)[..., None]
    grey = xyz_of(np.array([60.0, 1.0, 5.0]))
    wall = srgb_levels(scene.linear(grey * even), 65535)
    board = srgb_levels(0.7 * np.repeat(even, 3, axis=2) * 0.8, 65535)
    calibration = calibrate(scene.photograph(bits=16), scene.corners(), flat_field=board)

    assert calibration.cautions == ()
    assert calibration.mean_error < 0.3
    assert colour.delta_e(calibration.to_lab(wall), [60.0, 1.0, 5.0]).max() < 0.5
    assert calibration.model.gain.mean() == pytest.approx(1)
    assert max(calibration.model.gain.shape) == 64


def test_bent_tones_are_straightened_and_said() -> None:
    """A program that left an exponent of 0.9 in the picture; chart and stone bend alike."""
    scene = Scene(power=0.9, noise=0.001)
    calibration = calibrate(scene.photograph(bits=16), scene.corners())

    assert error(calibration, scene) < 0.2
    assert calibration.cautions == (
        "The tones are bent (exponent 0.90), which was taken out: the camera or the program that "
        "developed the photograph did not keep to its profile.",
    )


def test_empty_channels_leave_a_patch_out() -> None:
    """A camera's sRGB has no cyan so strong: its red is nought there, and says nothing."""
    scene = Scene(noise=0.001)
    levels = scene.photograph()
    corners = scene.corners()
    x, y = np.floor(corners.min(axis=0)).astype(int)
    column = x + 5 * 45
    levels[y + 2 * 45 : y + 3 * 45 - 4, column : column + 40, 0] = 0
    calibration = calibrate(levels, corners)

    assert calibration.cautions[0].startswith("A channel is empty in cyan; they were left out")
    assert calibration.errors[17] > 3
    assert calibration.mean_error < 0.4


# -- What is refused ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("scene", "said"),
    [
        (Scene(exposure=1.3), "The chart is overexposed in these patches: .*white 9.5"),
        (Scene(spot=0.3), "There is glare, a shadow or dirt on the chart: .*bluish green"),
        (Scene(veil=0.03), r"The dark grey patches are too light, by [345] % of white"),
        (
            Scene(slope=(1.9, 0), pitch=100),
            r"The light changes by \d\d % across the chart; at most",
        ),
        (Scene(exposure=0.6, veil=-0.03), "The shadows are crushed in these patches: .*black 2"),
        (Scene(pitch=6), "patches of the chart are 5 pixels wide; at least 6 are needed"),
    ],
    ids=["overexposed", "glare", "veil", "steep light", "crushed", "small"],
)
def test_a_chart_that_can_t_be_trusted_is_refused(scene: Scene, said: str) -> None:
    """With the patches it shows in, and what to do."""
    with pytest.raises(ValueError, match=said):
        calibrate(scene.photograph(), scene.corners())


def test_a_patch_of_which_a_fiftieth_is_clipped_is_refused() -> None:
    """More than one pixel in a hundred; fewer are dust or a hot pixel."""
    scene = Scene(noise=0)
    levels = scene.photograph()
    x, y = scene.corners()[3]
    white = levels[int(y) - 30 : int(y) - 8, int(x) + 8 : int(x) + 30]
    white[::7, ::7] = 255

    with pytest.raises(ValueError, match=r"overexposed in these patches: white 9\.5\. Expose"):
        calibrate(levels, scene.corners())


@pytest.mark.parametrize("quality", [None, 90], ids=["as it is", "as JPEG"])
def test_a_picture_clipped_and_then_darkened_is_refused(quality: int | None) -> None:
    """Its white is cut off at one level below the top, and has lost the grain of the greys."""
    scene = Scene(exposure=1.3, noise=0.01)
    darkened = (0.9 * scene.photograph()).astype(np.uint8)
    seen = darkened if quality is None else through_jpeg(darkened, quality)

    with pytest.raises(ValueError, match=r"overexposed and darkened later: white 9\.5 were"):
        calibrate(seen, scene.corners())


@pytest.mark.parametrize("noise", [0, 0.001, 0.004, 0.01])
@pytest.mark.parametrize("quality", [None, 60])
def test_a_smooth_or_dark_picture_is_not_called_clipped(noise: float, quality: int | None) -> None:
    """Without grain nothing is piled up, and darkening alone cuts nothing off."""
    scene = Scene(noise=noise)
    darkened = (0.9 * scene.photograph()).astype(np.uint8)
    seen = darkened if quality is None else through_jpeg(darkened, quality)

    assert calibrate(seen, scene.corners()).mean_error < 3


def test_a_picture_style_is_refused() -> None:
    """An S-shaped curve over each channel, as a lively style draws it."""
    scene = Scene(noise=0.001)
    light = scene.linear(scene.light())
    bent = light**2.2 / (light**2.2 + 0.25 * (1 - light) ** 2.2)

    with pytest.raises(ValueError, match=r"tones are bent by an exponent of 2\.\d: this is a pict"):
        calibrate(srgb_levels(bent), scene.corners())


def test_through_a_bad_jpeg_the_error_grows_and_is_told() -> None:
    """What compression does to colours shows in the patches left out."""
    scene = Scene(angle=15)
    levels = scene.photograph()
    fine, coarse = (calibrate(one, scene.corners()) for one in (levels, through_jpeg(levels, 60)))

    assert coarse.mean_error > fine.mean_error + 0.5


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda c: c[:3], r"chart_corners has shape \(3, 2\)"),
        (lambda c: c * np.nan, "must hold x and y of four corners"),
        (lambda c: c[::-1], "must go round the chart clockwise"),
        (lambda c: c[[0, 2, 1, 3]], "without crossing or lying in a line"),
        (lambda c: np.stack([c[:, 0], c[:, 0]], axis=-1) / 2, "lying in a line"),
        (lambda c: c + np.array([900, 0]), "outside the photograph of 1200 × 800 pixels"),
        (lambda c: np.roll(c, 2, axis=0), "begin at the wrong corner: .* turned by half"),
        (lambda c: c + 14, "Or the corners lie beside the patches"),
    ],
)
def test_corners_by_hand_that_can_t_be_right_are_refused(change: object, said: str) -> None:
    """Each slip of the hand has its own words."""
    with pytest.raises(ValueError, match=said):
        calibrate(plain(), change(Scene().corners()))


def test_corners_by_hand_need_not_be_exact() -> None:
    """A patch in thirty off changes nothing that matters."""
    scene = Scene(noise=0.002)
    shaken = scene.corners() + np.array([[2, -2], [-2, 1], [1, 2], [-2, -2]])

    assert error(calibrate(scene.photograph(bits=16), shaken), scene) < 0.1


@pytest.mark.parametrize(
    ("image", "said"),
    [
        (
            np.zeros((30, 40), dtype=np.uint8),
            r"has shape \(30, 40\); it must be \(rows, columns, 3",
        ),
        (np.zeros((30, 40, 4), dtype=np.uint8), r"has shape \(30, 40, 4\)"),
        (np.zeros((0, 40, 3), dtype=np.uint8), r"has shape \(0, 40, 3\)"),
        (np.zeros((30, 40, 3), dtype=np.int64), "holds int64; it must be uint8 or uint16"),
        (np.full((30, 40, 3), 128.0), "decimals up to 128: linear light runs from 0 to 1"),
        (np.full((30, 40, 3), np.nan), "values that are not finite"),
    ],
)
def test_arrays_that_are_no_photograph_are_refused(image: np.ndarray, said: str) -> None:
    """Grey, transparent, empty, or with values nobody can interpret."""
    with pytest.raises(ValueError, match=said):
        calibrate(image)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda lab: lab[:23], r"chart has shape \(23, 3\)"),
        (lambda lab: lab[::-1], "fall along the last six patches, from white to black"),
        (lambda lab: lab / 100 - 1, "L\\* must lie between 0 and 100"),
        (lambda lab: lab * np.nan, "finite L"),
    ],
)
def test_readings_of_the_chart_that_can_t_be_right_are_refused(change: object, said: str) -> None:
    """Too few, in another order, on another scale."""
    with pytest.raises(ValueError, match=said):
        calibrate(np.zeros((30, 40, 3), dtype=np.uint8), chart=change(known_lab()))


@pytest.mark.parametrize(
    ("board", "said"),
    [
        (
            np.full((80, 120, 3), 150, dtype=np.uint8),
            "120 × 80 pixels and the photograph 1200 × 800",
        ),
        (np.full((800, 1200, 3), 255, dtype=np.uint8), "flat_field is overexposed"),
        (np.zeros((800, 1200, 3), dtype=np.uint8), "does not show an even board: it is too dark"),
        (plain(), "or shows something else"),
    ],
    ids=["size", "burnt", "dark", "no board"],
)
def test_a_photograph_that_shows_no_even_board_is_refused(board: np.ndarray, said: str) -> None:
    """Dividing by it would put its own faults into the stone."""
    with pytest.raises(ValueError, match=said):
        calibrate(plain(), Scene().corners(), flat_field=board)
