"""Difference maps and zones: the same as general libraries give, from strips, files and threads."""

import csv
from dataclasses import dataclass
from pathlib import Path

import numba
import numpy as np
import pytest
from scipy import ndimage
from skimage.color import deltaE_ciede2000, rgb2lab, xyz2lab

from heritagecheck.evidence.photograph import pixels as _pixels
from heritagecheck.evidence.photograph.differences import (
    ColourModel,
    difference_map,
    srgb,
    to_lab,
    zone_statistics,
)

PUBLISHED = Path(__file__).parents[1] / "published" / "colour_ciede2000.csv"
# Rows as of a least-squares fit of a camera; a colour model to X/Xn, Y/Yn, Z/Zn.
CAMERA = np.array([[0.52, 0.31, 0.14], [0.27, 0.69, 0.05], [0.02, 0.12, 0.86]])
ROOTS = np.hstack([CAMERA, np.array([[0.04, -0.03, 0.02], [0.01, 0.02, -0.03], [0.03, 0.05, 0.1]])])


@dataclass(frozen=True)
class Calibrated:
    """Stands for what `calibrate` gives."""

    model: ColourModel


def colour_pairs(count: int, levels: int = 256) -> tuple[np.ndarray, np.ndarray]:
    """Random colours and partners: most of them near, some identical, some grey, some unrelated."""
    rng = np.random.default_rng(5)
    first = rng.integers(0, levels, (count, 3))
    second = np.clip(first + rng.integers(-levels // 6, levels // 6, first.shape), 0, levels - 1)
    tenth = count // 10
    second[:tenth] = first[:tenth]
    for image in (first, second):
        image[tenth : 2 * tenth] = image[tenth : 2 * tenth, :1]
    second[2 * tenth : 3 * tenth] = levels - 1 - first[2 * tenth : 3 * tenth]
    second[3 * tenth : 4 * tenth] = rng.integers(0, levels, (tenth, 3))
    stored = np.uint8 if levels == 256 else np.uint16
    return tuple(image.reshape(-1, 250, 3).astype(stored) for image in (first, second))


def labelled(shape: tuple[int, int], zones: int) -> np.ndarray:
    """Random labels, some pixels without; every zone occurs."""
    labels = np.random.default_rng(8).integers(0, zones + 1, shape)
    labels.flat[: zones + 1] = np.arange(zones + 1)
    return labels.astype(np.int32)


@pytest.mark.parametrize("levels", [256, 65536])
def test_a_map_of_stored_pixels_is_that_of_scikit_image(levels: int) -> None:
    """To 1e-9, also for greys, equal pixels and complements, whose hues are nearly opposite."""
    first, second = colour_pairs(100_000, levels)
    expected = deltaE_ciede2000(rgb2lab(first), rgb2lab(second))

    assert np.abs(difference_map(first, second) - expected).max() <= 1e-9


def test_a_single_precision_map_is_near_the_exact_one() -> None:
    """Within 0.0005, and within 0.03 where hues are within a degree of opposite."""
    first, second = colour_pairs(100_000)
    labs = [rgb2lab(image) for image in (first, second)]
    hues = [np.degrees(np.arctan2(lab[..., 2], lab[..., 1])) for lab in labs]
    opposite = np.abs(np.abs((hues[1] - hues[0] + 180) % 360 - 180) - 180) < 1
    found = difference_map(first, second, dtype="float32")
    error = np.abs(found - deltaE_ciede2000(*labs))

    assert found.dtype == np.float32
    assert error[~opposite].max() <= 5e-4
    assert error.max() <= 0.03


def test_equal_pixels_differ_by_nothing_at_all() -> None:
    """Not even by rounding, black and white included."""
    image = np.random.default_rng(1).integers(0, 256, (60, 50, 3)).astype(np.uint8)
    image[0, 0], image[0, 1] = 0, 255

    assert not difference_map(image, image.copy()).any()


@pytest.mark.parametrize("precision", ["float64", "float32"])
def test_the_kernel_gives_the_published_pairs(precision: str) -> None:
    """Sharma, Wu and Dalal 2005, table 1, to the printed digits."""
    with PUBLISHED.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    first, second = (
        np.array([[float(row[f"{name}{side}"]) for row in rows] for name in "Lab"], precision)
        for side in (1, 2)
    )
    found = np.empty(len(rows), precision)
    _pixels.differences(len(rows), first, second, found, 0)
    tolerance = np.array([float(row["tolerance"]) for row in rows])

    assert len(rows) == 20
    assert (np.abs(found - [float(row["expected"]) for row in rows]) <= tolerance).all()


def test_opposite_hues_are_turned_as_the_formula_says() -> None:
    """Sharma's pairs 7 to 14 lie on either side; exactly opposite ones, too, must agree."""
    angle = np.radians(np.random.default_rng(2).uniform(0, 360, 20_000))
    tiny = np.repeat([1e-4, -1e-4, 1e-6, -1e-6], 5000)
    first = np.array([50 + 0 * angle, 20 * np.cos(angle), 20 * np.sin(angle)])
    second = np.array([52 + 0 * angle, -30 * np.cos(angle + tiny), -30 * np.sin(angle + tiny)])
    found = np.empty(len(angle))
    _pixels.differences(len(angle), first, second, found, 0)

    assert np.abs(found - deltaE_ciede2000(first.T, second.T)).max() <= 1e-9


def test_lab_of_an_image_is_that_of_scikit_image() -> None:
    """For whole images as for rows too short to fill a block."""
    image, _ = colour_pairs(20_000)

    assert np.abs(to_lab(image) - rgb2lab(image)).max() <= 1e-11
    assert np.abs(to_lab(image[:1, :3], dtype="float32") - rgb2lab(image[:1, :3])).max() <= 1e-4


def test_one_reference_colour_is_held_against_every_pixel() -> None:
    """As if an image of that colour had been given."""
    image, _ = colour_pairs(20_000)
    colour = [68.0, 2.5, 14.0]
    expected = deltaE_ciede2000(rgb2lab(image), np.broadcast_to(colour, image.shape))

    assert np.abs(difference_map(image, colour) - expected).max() <= 1e-9


@pytest.mark.parametrize("stored", [np.float32, np.float64])
def test_linear_light_goes_through_the_calibration(stored: type) -> None:
    """Against numpy and scikit-image's `xyz2lab`, with light below 0 and above 1."""
    rng = np.random.default_rng(4)
    images = [rng.uniform(-0.02, 1.3, (60, 70, 3)).astype(stored) for _ in range(2)]
    white = np.array([0.95047, 1, 1.08883])
    labs = [xyz2lab(image.astype(float) @ CAMERA.T * white) for image in images]
    found = difference_map(*images, calibration=Calibrated(ColourModel(None, CAMERA)))

    assert np.abs(found - deltaE_ciede2000(*labs)).max() <= 1e-9


def test_root_terms_are_those_of_the_paper() -> None:
    """Root polynomials of degree 2 and 3 (Finlayson, Mackiewicz and Hurlbert 2015) by numpy."""
    light = np.random.default_rng(6).uniform(0, 1, (40, 30, 3))
    light[0, 0] = 0
    r, g, b = np.moveaxis(light, -1, 0)
    terms = [r, g, b, np.sqrt(r * g), np.sqrt(g * b), np.sqrt(r * b)]
    cubes = [r * g**2, g * b**2, r * b**2, g * r**2, b * g**2, b * r**2, r * g * b]
    terms += [np.cbrt(cube) for cube in cubes]
    matrix = np.hstack([ROOTS, np.random.default_rng(7).normal(0, 0.02, (3, 7))])
    for count in (6, 13):
        xyz = np.einsum("ck,kij->ijc", matrix[:, :count], np.array(terms[:count]))
        expected = xyz2lab(xyz * [0.95047, 1, 1.08883])
        found = to_lab(light, ColourModel(None, matrix[:, :count]))

        assert np.abs(found - expected).max() <= 1e-9


def test_light_below_nothing_counts_as_none_under_a_root() -> None:
    """Noise about the black level takes only the linear terms below 0."""
    found = to_lab(np.array([[[-0.01, 0.5, 0.5], [0.0, 0.5, 0.5]]]), ColourModel(None, ROOTS))
    step = to_lab(np.array([[[-0.01, 0.5, 0.5], [0.0, 0.5, 0.5]]]), ColourModel(None, CAMERA))

    assert np.isfinite(found).all()
    assert np.sign(found[0, 0] - found[0, 1]).tolist() == np.sign(step[0, 0] - step[0, 1]).tolist()


def test_uneven_light_is_divided_out() -> None:
    """A grey wall under scipy's bilinear picture of the light comes out even."""
    gain = np.array([[1.0, 0.8, 0.5], [0.9, 0.7, 0.6]])
    rows, columns = np.arange(300) + 0.5, np.arange(400) + 0.5
    where = np.meshgrid(rows * 2 / 300 - 0.5, columns * 3 / 400 - 0.5, indexing="ij")
    light = ndimage.map_coordinates(gain, where, order=1, mode="nearest")
    wall = np.repeat(0.4 * light[..., np.newaxis], 3, axis=-1)
    found = to_lab(wall, ColourModel(None, CAMERA, gain))
    even = to_lab(np.full((1, 1, 3), 0.4), ColourModel(None, CAMERA))

    assert np.abs(found - even).max() <= 1e-9


def test_pixels_that_are_not_finite_have_no_difference() -> None:
    """NaN and infinity of a raw converter stay visible as NaN."""
    image = np.full((2, 3, 3), 0.3)
    image[0, 1, 2], image[1, 2, 0] = np.nan, np.inf
    calibration = Calibrated(ColourModel(None, CAMERA))
    found = difference_map(image, [60.0, 0.0, 0.0], calibration=calibration)

    assert np.isnan(found).tolist() == [[False, True, False], [False, False, True]]


def test_a_map_is_the_same_from_a_file_to_a_file(tmp_path: Path) -> None:
    """Mapped files in, another byte order, a mapped file out, and a cut-out in no order."""
    first, second = colour_pairs(100_000)
    expected = difference_map(first, second)
    np.save(tmp_path / "first.npy", first)
    np.save(tmp_path / "second.npy", second)
    mapped = [np.load(tmp_path / f"{name}.npy", mmap_mode="r") for name in ("first", "second")]
    out = np.memmap(tmp_path / "map", np.float64, "w+", shape=first.shape[:2])
    returned = difference_map(*mapped, out=out)
    out.flush()

    assert returned is out
    assert np.array_equal(np.fromfile(tmp_path / "map").reshape(out.shape), expected)
    assert np.array_equal(
        difference_map(first[5:90:2, ::-3], second[5:90:2, ::-3]), expected[5:90:2, ::-3]
    )
    swapped = [image.astype(">u2") * 257 for image in (first, second)]
    assert np.abs(difference_map(*swapped) - expected).max() <= 1e-9


def test_what_was_changed_in_a_private_map_of_a_file_is_kept(tmp_path: Path) -> None:
    """A copy-on-write map holds changes in memory alone, which must not be let go."""
    np.save(tmp_path / "image.npy", np.zeros((300, 400, 3), np.uint8))
    image = np.load(tmp_path / "image.npy", mmap_mode="c")
    image[:] = 255
    difference_map(image, [100.0, 0.0, 0.0])

    assert (image == 255).all()


def test_threads_change_no_bit_of_any_result() -> None:
    """Map and table, by one thread and by two."""
    first, second = colour_pairs(100_000)
    first, second = (np.tile(image, (3, 1, 1)) for image in (first, second))
    labels = labelled(first.shape[:2], 70)
    before = numba.get_num_threads()
    results = []
    for threads in (1, 2):
        numba.set_num_threads(threads)
        difference = difference_map(first, second)
        results.append(
            [
                difference,
                zone_statistics(difference, labels).to_numpy(),
            ]
        )
    numba.set_num_threads(before)

    assert all(np.array_equal(one, two) for one, two in zip(*results, strict=True))


def zones_by_numpy(difference: np.ndarray, labels: np.ndarray) -> np.ndarray:
    """What numpy and scipy.ndimage say of each zone."""
    zones = np.unique(labels[labels > 0])
    seen = np.isfinite(difference)
    values, own = difference[seen].astype(float), labels[seen]
    found = [
        zones,
        ndimage.sum_labels(np.ones_like(values), own, zones),
        ndimage.mean(values, own, zones),
        ndimage.labeled_comprehension(values, own, zones, np.std, float, np.nan),
        ndimage.minimum(values, own, zones),
        ndimage.maximum(values, own, zones),
        ndimage.labeled_comprehension(values, own, zones, np.median, float, np.nan),
        ndimage.labeled_comprehension(
            values, own, zones, lambda zone: np.percentile(zone, 95), float, np.nan
        ),
        ndimage.sum_labels(~seen, labels, zones),
    ]
    return np.array(found, float).T


@pytest.mark.parametrize("kind", ["plain", "ties", "two peaks", "one far off", "all over"])
@pytest.mark.parametrize("stored", [np.float32, np.float64])
def test_zones_are_those_of_numpy_and_scipy(kind: str, stored: type) -> None:
    """Odd and even counts, ties, gaps at the median, outliers, single pixels, unseen ones."""
    rng = np.random.default_rng(3)
    shape = (400, 300)
    difference = np.abs(rng.normal(12, 5, shape))
    if kind == "ties":
        difference = np.round(difference / 8)
    elif kind == "two peaks":
        difference = np.where(rng.random(shape) < 0.5, 2, 40) + rng.normal(0, 0.1, shape)
    elif kind == "one far off":
        difference[::97, ::89] = 1e6
    elif kind == "all over":
        difference = 10 ** rng.uniform(-30, 30, shape)
    labels = labelled(shape, 9)
    labels[:, :100] = 3  # a zone of many pixels
    labels[7, 7], labels[8, 8:10] = 11, 14
    difference = difference.astype(stored)
    difference[20, 30:60] = np.nan
    difference[21, 30] = np.inf
    found = zone_statistics(difference, labels).to_numpy()
    expected = zones_by_numpy(difference, labels)

    assert found[:, [0, 1, 4, 5, 8]].tolist() == expected[:, [0, 1, 4, 5, 8]].tolist()
    assert found == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_zones_of_one_value_have_no_spread() -> None:
    """Two pictures of the same thing: every number of every zone is 0."""
    found = zone_statistics(np.zeros((100, 200)), labelled((100, 200), 4))

    assert not found[["mean", "sd", "min", "max", "median", "p95", "unseen"]].to_numpy().any()


@pytest.mark.parametrize("stored", [np.uint8, np.int16, np.uint32, np.int64, ">i4"])
def test_labels_may_be_any_whole_numbers(stored: type | str) -> None:
    """Also in another byte order, and with gaps in their numbering."""
    labels = labelled((50, 60), 3) * 40
    difference = np.random.default_rng(9).uniform(0, 30, labels.shape)

    assert zone_statistics(difference, labels.astype(stored)).equals(
        zone_statistics(difference, labels)
    )


IMAGE = np.zeros((4, 5, 3), np.uint8)
LIGHT = np.zeros((4, 5, 3))
LABELS = np.ones((4, 5), np.int32)
MAP = np.zeros((4, 5))


@pytest.mark.parametrize(
    ("image", "reference", "settings", "said"),
    [
        (IMAGE[..., 0], IMAGE, {}, r"shape \(4, 5\); it must be an array \(rows, columns, 3\)"),
        (np.zeros((4, 5, 4), np.uint8), IMAGE, {}, "Drop an alpha channel"),
        ([[[1, 2, 3]]], IMAGE, {}, "must be an array"),
        (IMAGE[:0], IMAGE[:0], {}, "holds no pixel"),
        (IMAGE.astype(np.int32), IMAGE, {}, "int32 pixels; it must be uint8 or uint16"),
        (LIGHT, LIGHT, {}, "unknown camera. Give the calibration"),
        (IMAGE, IMAGE[:3], {}, r"reference is uint8 of shape \(3, 5, 3\)"),
        (IMAGE, IMAGE.astype(np.uint16), {}, "reference is uint16"),
        (IMAGE, [50.0, np.nan, 0.0], {}, "reference holds a value that is not finite"),
        (IMAGE, IMAGE, {"dtype": "float16"}, '\'float16\': take "float64" or "float32"'),
        (IMAGE, IMAGE, {"out": np.zeros((4, 4))}, r"the map is float64 of shape \(4, 5\)"),
        (IMAGE, IMAGE, {"out": np.zeros((4, 5), np.float32)}, "or choose the other dtype"),
        (IMAGE, IMAGE, {"out": np.zeros((5, 4)).T}, "in C order"),
        (
            IMAGE,
            IMAGE,
            {"calibration": Calibrated(ColourModel(None, CAMERA))},
            r"its calibration is for linear light \(float32 or float64\)",
        ),
        (
            IMAGE.astype(np.uint16),
            IMAGE.astype(np.uint16),
            {"calibration": Calibrated(srgb(256))},
            "uint16 pixels, but its calibration is for 256 levels",
        ),
    ],
)
def test_images_that_do_not_fit_are_refused(
    image: np.ndarray, reference: object, settings: dict, said: str
) -> None:
    """With what came and what to do."""
    with pytest.raises(ValueError, match=said):
        difference_map(image, reference, **settings)


@pytest.mark.parametrize(
    ("difference", "labels", "said"),
    [
        (MAP[0], LABELS, r"shape \(5,\); it must be a map"),
        (MAP.astype(int), LABELS, "int64; it must be float32 or float64"),
        (MAP, LABELS[:3], r"labels has shape \(3, 5\) but the picture has \(4, 5\)"),
        (MAP, LABELS.astype(float), "float64; it must be whole numbers"),
        (MAP, LABELS > 0, "bool; it must be whole numbers"),
        (MAP, -LABELS, "labels reaches -1; number the zones from 1 up"),
        (MAP, LABELS * 0, "no zone: every pixel is 0"),
        (MAP[:0], LABELS[:0], "no zone: every pixel is 0"),
        (np.where(LABELS == 1, np.nan, MAP), LABELS, "zone 1: no pixel has a finite value"),
    ],
)
def test_zones_that_do_not_fit_are_refused(
    difference: np.ndarray, labels: np.ndarray, said: str
) -> None:
    """With what came and what to do."""
    with pytest.raises(ValueError, match=said):
        zone_statistics(difference, labels)


@pytest.mark.parametrize(
    ("decode", "matrix", "gain", "said"),
    [
        (np.zeros(100), CAMERA, None, r"decode has shape \(100,\)"),
        (None, CAMERA[:2], None, r"matrix has shape \(2, 3\); it must be \(3, 3\)"),
        (None, CAMERA * np.nan, None, "matrix holds a value that is not finite"),
        (None, CAMERA, np.ones(3), r"gain has shape \(3,\)"),
        (None, CAMERA, np.zeros((2, 2)), "gain reaches 0: light is divided by it"),
    ],
)
def test_colour_models_that_give_no_colour_are_refused(
    decode: np.ndarray | None, matrix: np.ndarray, gain: np.ndarray | None, said: str
) -> None:
    """Before a pixel is touched."""
    with pytest.raises(ValueError, match=said):
        ColourModel(decode, matrix, gain)


def test_a_fault_in_one_strip_reaches_the_caller(monkeypatch: pytest.MonkeyPatch) -> None:
    """What goes wrong in a thread isn't lost with it."""

    def broken(*_: object) -> None:
        raise MemoryError("no room for a strip")

    monkeypatch.setattr(_pixels, "follow_strip", broken)
    image = np.zeros((2000, 100, 3), np.uint8)
    with pytest.raises(MemoryError, match="no room for a strip"):
        difference_map(image, image)


def test_sixteen_bits_hold_the_same_colours_as_eight() -> None:
    """Level 257 n of 65535 is level n of 255 (IEC 61966-2-1)."""
    assert srgb(65536).decode[::257] == pytest.approx(srgb(256).decode, abs=1e-15)
