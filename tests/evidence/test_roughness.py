"""Roughness of maps and profiles: closed forms, a general library's filter, holes and faults."""

import math

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, gaussian_filter1d

from heritagecheck.evidence import surface
from heritagecheck.evidence.surface.height_map import high_pass, take_off_form

# Standard deviation of the Gaussian of ISO 16610-21 over its cut-off: alpha/sqrt(2 pi), where
# alpha = sqrt(ln 2/pi), so that sqrt(ln 2/2)/pi.
SD_PER_CUTOFF = math.sqrt(math.log(2) / 2) / math.pi


def rough(shape=(120, 150), seed=0, smooth=2.0):
    """Normally distributed heights with a scatter of about 5 µm."""
    noise = np.random.default_rng(seed).normal(size=shape)
    return 5 * gaussian_filter(noise, smooth) / 0.14


@pytest.mark.parametrize(
    ("dtype", "tolerance"), [(np.float64, 1e-9), (np.float32, 1e-6)], ids=["float64", "float32"]
)
@pytest.mark.parametrize("cutoff", [20.0, 45.0, 110.0])
def test_filter_is_that_of_a_general_library(cutoff, dtype, tolerance) -> None:
    """scipy.ndimage.gaussian_filter, mirrored and cut off at eight deviations, gives the same."""
    heights = rough()
    waviness = gaussian_filter(heights, cutoff * SD_PER_CUTOFF, truncate=8, mode="reflect")
    expected = heights - waviness

    found = surface.roughness(heights.astype(dtype), 1.0, cutoff, form="mean")

    assert found.filtered_um.dtype == dtype
    assert np.abs(found.filtered_um - expected).max() <= tolerance * np.ptp(heights)
    assert found.Sa == pytest.approx(np.abs(expected).mean(), rel=tolerance)
    assert found.Sq == pytest.approx(np.sqrt((expected**2).mean()), rel=tolerance)
    assert found.Sz == pytest.approx(np.ptp(expected), rel=tolerance)


def test_pixels_need_not_be_square() -> None:
    """The cut-off is a length: its pixels differ along a row and along a column."""
    heights = rough()
    deviations = [40 * SD_PER_CUTOFF / size for size in (2.0, 1.25)]
    expected = heights - gaussian_filter(heights, deviations, truncate=8, mode="reflect")

    found = surface.roughness(heights, (1.25, 2.0), 40.0, form="mean")

    assert np.allclose(found.filtered_um, expected, atol=1e-9)


def test_filter_of_a_profile_is_that_of_a_general_library() -> None:
    """scipy.ndimage.gaussian_filter1d gives the same in the middle that is evaluated."""
    heights = rough((1, 2100))[0]
    expected = heights - gaussian_filter1d(heights, 400 * SD_PER_CUTOFF, truncate=8, mode="reflect")

    found = surface.profile_roughness(heights, 1.0, 400.0, form="mean")

    assert found.sections == 5
    assert np.allclose(found.filtered_um, expected[50:2050], atol=1e-9)
    assert found.Rz == pytest.approx(np.ptp(expected[50:2050].reshape(5, 400), axis=1).mean())


def test_normal_heights_have_the_ratios_of_the_normal_distribution() -> None:
    """Sa/Sq = sqrt(2/pi), Ssk = 0 and Sku = 3, within four standard errors of 160,000 heights."""
    found = surface.roughness(np.random.default_rng(3).normal(0, 4, (400, 400)), 30.0)
    count = 160_000

    assert found.Sa / found.Sq == pytest.approx(math.sqrt(2 / math.pi), abs=4 * 0.3 / count**0.5)
    assert found.Ssk == pytest.approx(0, abs=4 * math.sqrt(6 / count))
    assert found.Sku == pytest.approx(3, abs=4 * math.sqrt(24 / count))
    assert found.spikes == 0


def test_a_plane_has_slope_and_area_of_its_own() -> None:
    """A ramp of 3 in 4 gains sqrt(1 + (3/4)²) - 1 = 1/4 of area, and levelled it is flat."""
    ramp = 3.0 * np.arange(40) * np.ones((30, 1))

    as_it_is = surface.roughness(ramp, 4.0, form="mean")
    levelled = surface.roughness(ramp, 4.0)

    assert as_it_is.Sdq == pytest.approx(0.75)
    assert as_it_is.Sdr == pytest.approx(0.25)
    assert levelled.Sz == pytest.approx(0, abs=1e-9)


def test_a_saw_tooth_has_the_values_of_an_even_distribution() -> None:
    """Between -6 and 6 µm evenly: Ra 3, Rq 6/sqrt 3, Rku 9/5, and Rz of each tooth 12 µm."""
    tooth = 12 * ((np.arange(5000) + 0.5) % 1000 / 1000 - 0.5)

    found = surface.profile_roughness(tooth, 1.0, math.inf, form="mean")

    assert (found.Ra, found.Rq) == pytest.approx((3, 6 / math.sqrt(3)), rel=1e-5)
    assert (found.Rku, found.Rz) == pytest.approx((1.8, 12), rel=2e-3)


def test_a_curved_face_is_taken_off_whole() -> None:
    """A second-order surface with holes leaves nothing, and its coefficients are found."""
    y, x = np.meshgrid(np.linspace(-1, 1, 50), np.linspace(-1, 1, 70), indexing="ij")
    bowl = 7 + 2 * x - 3 * y + 5 * x * y + 4 * x**2 - 6 * y**2
    bowl[20:30, 10:25] = np.nan

    found = take_off_form(bowl, "curved")

    assert np.nanmax(np.abs(bowl)) < 1e-12
    assert found == pytest.approx(np.array([[7, 2, 4], [-3, 5, 0], [-6, 0, 0]]), abs=1e-10)


def test_what_a_hole_hides_does_not_move_the_rest() -> None:
    """The filter over holes is the mean of what was seen, by the same weights, at each place."""
    heights = rough((40, 30))
    heights[10:18, 5:12] = np.nan
    seen = np.isfinite(heights)
    weights = {"sigma": 12 * SD_PER_CUTOFF, "truncate": 8, "mode": "reflect"}
    expected = heights - gaussian_filter(np.where(seen, heights, 0), **weights) / gaussian_filter(
        seen.astype(float), **weights
    )
    found = heights.copy()

    high_pass(found, (1.0, 1.0), 12.0)

    assert np.allclose(found, expected, equal_nan=True, atol=1e-9)


def test_holes_are_told_and_most_of_a_map_must_be_seen() -> None:
    """A tenth unseen is a caution; three fifths unseen are refused."""
    heights = rough((60, 60))
    heights[:6] = np.nan
    found = surface.roughness(heights, 10.0)

    assert found.unseen == pytest.approx(0.1)
    assert any("10% was not seen" in caution for caution in found.cautions)

    heights[:36] = np.nan
    with pytest.raises(ValueError, match=r"heights_um: 60% was not seen\. At most 50%"):
        surface.roughness(heights, 10.0)


def test_spikes_are_counted_and_told_but_not_taken_out() -> None:
    """Two lone heights of 300 µm on a surface of 5 µm: Sz holds them, and the caution says so."""
    heights = rough()
    heights[50, 60], heights[80, 20] = 300, -300

    found = surface.roughness(heights, 10.0)

    assert found.spikes == 2
    assert found.Sz > 590
    assert any(c.startswith("2 spikes") and "600 µm" in c for c in found.cautions)


def test_a_ridge_is_no_spike() -> None:
    """A line of high pixels stands out, but not alone."""
    heights = rough()
    heights[50] = 300

    assert surface.roughness(heights, 10.0).spikes == 0


@pytest.mark.parametrize(
    ("heights", "pixel", "settings", "said"),
    [
        (rough() * 1000, 1.0, {}, r"on a field of 150 µm\. Heights or pixels are in another unit"),
        (rough(), 0.0, {}, r"pixel_um = 0\.0: .* above 0 µm"),
        (rough(), (1.0, 2.0, 3.0), {}, "pixel_um ="),
        (rough(), 1.0, {"cutoff_um": 130}, r"from 5 pixels, 5 µm, to its shorter side, 120 µm"),
        (rough(), 1.0, {"cutoff_um": 4}, r"cutoff_um = 4: "),
        (rough(), 1.0, {"cutoff_um": math.nan}, r"cutoff_um = nan: "),
        (rough(), 1.0, {"form": "sphere"}, "form = 'sphere': take one of mean, plane, curved"),
        (rough()[0], 1.0, {}, r"shape \(150,\): give rows and columns"),
        (np.full((9, 9), np.inf), 1.0, {}, "infinite heights"),
        (np.full((9, 9), "1"), 1.0, {}, "give heights as numbers"),
    ],
)
def test_a_map_that_cannot_be_measured_is_refused(heights, pixel, settings, said) -> None:
    """The message names what came and what is allowed."""
    with pytest.raises(ValueError, match=said):
        surface.roughness(heights, pixel, **settings)


def test_a_map_in_millimetres_is_noticed() -> None:
    """Nothing worked is so flat: the caution says which unit it may be."""
    found = surface.roughness(rough() / 1000, 10.0)

    assert any("may be in mm" in caution for caution in found.cautions)


def test_a_flat_map_has_no_skewness() -> None:
    """What has no heights has no shape of their distribution either."""
    found = surface.roughness(np.zeros((9, 9)), 1.0)

    assert (found.Sq, found.Sdr) == (0, 0)
    assert math.isnan(found.Ssk)


# -- Profiles --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("height", "cutoff"), [(0.05, 250.0), (1.0, 800.0), (12.0, 2500.0)])
def test_the_cutoff_follows_the_roughness(height, cutoff) -> None:
    """ISO 21920-3: up to Ra 0.1 µm 0.25 mm, up to 2 µm 0.8 mm, up to 10 µm 2.5 mm."""
    wave = height * np.sin(2 * np.pi * np.arange(13_000) / 50)

    found = surface.profile_roughness(wave, 1.0)

    assert found.cutoff_um == cutoff
    assert found.Ra == pytest.approx(2 * height / math.pi, rel=2e-3)
    assert found.sections >= 5


def test_a_short_line_says_what_it_lacks() -> None:
    """Rough steel over 3 mm: neither the cut-off nor five section lengths fit."""
    wave = 60 * np.sin(2 * np.pi * np.arange(3000) / 200)

    found = surface.profile_roughness(wave, 1.0)

    assert found.sections == 1
    assert any("requires a longer cut-off" in caution for caution in found.cautions)
    assert any("requires five" in caution for caution in found.cautions)


@pytest.mark.parametrize(
    ("tall", "abrasive", "grade"),
    [(24, "grit", "finer than fine"), (25, "grit", "fine"), (60, "grit", "medium"),
     (60, "shot", "medium"), (40, "shot", "medium"), (39, "shot", "fine"), (99, "shot", "coarse"),
     (100, "shot", "coarser than coarse"), (150, "grit", "coarser than coarse")],
)  # fmt: skip
def test_a_grade_runs_from_its_segment_up_to_the_next(tall, abrasive, grade) -> None:
    """ISO 8503-2: equal to a segment belongs to the grade above it, the next one does not."""
    teeth = tall * (np.arange(5000) % 100 == 0).astype(float)
    found = surface.profile_roughness(teeth, 1.0, math.inf, form="mean")

    assert found.Rz == pytest.approx(tall)
    assert found.comparator(abrasive) == grade
    with pytest.raises(ValueError, match="take grit or shot"):
        found.comparator("sand")


@pytest.mark.parametrize(
    ("heights", "step", "settings", "said"),
    [
        (np.zeros(5), 1.0, {}, r"shape \(5,\): give one row of heights, at least 8"),
        (rough((1, 500))[0], -1.0, {}, r"step_um = -1: the step is above 0"),
        (rough((1, 500))[0], 1.0, {"form": "plane"}, "take one of mean, line, curved"),
        (rough((1, 60))[0] / 9, 1.0, {}, "no cut-off of ISO 21920-3 fits it"),
        (rough((1, 500))[0], 0.01, {}, "in another unit"),
        (rough((1, 500))[0], 1.0, {"cutoff_um": 900.0}, "cutoff_um = 900: "),
    ],
)
def test_a_profile_that_cannot_be_measured_is_refused(heights, step, settings, said) -> None:
    """The message names what came and what is allowed."""
    with pytest.raises(ValueError, match=said):
        surface.profile_roughness(heights, step, **settings)
