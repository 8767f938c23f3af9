"""
A photographed granite wall of which everything is known: grains, soiling, light and camera.

Nothing here is a real wall. Grains are cells around random points, each cell a mineral; soiling is
a film over them, thick and thin, with hard and soft borders; the camera sees by its own three
colours, through a lens that blurs, with noise, eight bits and JPEG. Tests and the example survey
use it, because of a real wall nobody knows the truth.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.ndimage import distance_transform_edt, gaussian_filter
from scipy.spatial import cKDTree

from heritagecheck.evidence.colour import spectra
from heritagecheck.tables import rows as table_rows

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

QUARTZ, ALKALI_FELDSPAR, PLAGIOCLASE, DARK = range(4)
# L*, a*, b* of each mineral and the spread from grain to grain; invented, of a grey-pink granite.
MINERALS = np.array([[58.0, 0.2, 3.0], [68.0, 4.5, 9.5], [74.0, 0.3, 4.5], [27.0, 0.6, 1.5]])
GRAIN_SPREAD = np.array([[3.5, 0.4, 0.9], [3.0, 1.0, 1.5], [3.0, 0.3, 0.9], [3.0, 0.4, 0.8]])
LIGHT_SHARES = (0.35, 0.38, 0.27)  # of what is not dark
# L*, a*, b* of each soiling where it hides the stone wholly; invented.
SOILINGS = {"black": (22.0, 0.4, 1.8), "rust": (42.0, 18.0, 27.0), "green": (36.0, -8.0, 15.0)}
HIDES = 0.35  # a place is covered where the film hides more than this share of the stone
ZONE_FROM = 0.3  # clean stone fills the left of the picture as far as here, the zone the rest

# How much of each of the eye's channels leaks into each of the camera's, and its white balance.
CROSSTALK = np.array([[0.72, 0.21, 0.07], [0.13, 0.74, 0.13], [0.05, 0.24, 0.71]])
BALANCE = np.array([1.05, 1.0, 0.94])
# IEC 61966-2-1:1999: from X, Y, Z under D65 to the linear red, green and blue of a display.
_TO_LINEAR = np.array(
    [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
)
_DISPLAY_WHITE = np.array([0.9505, 1.0, 1.0890])
EXPOSURE = 0.80  # of full scale, where a perfect white stands in the mean light
PATCH_WIDTH = 0.86  # of the distance from one patch of the chart to the next
FRAME = 0.25  # of that distance: the chart's frame beyond its outermost patches
FRAME_LAB = (14.0, 0.2, -0.4)


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """
    Photograph and truth.

    `pixels` and `flat_field` are what the camera stored, the latter of an even grey board in the
    same light; `truth_lab` L*, a*, b* (D65/10°) of every place before lens and camera; `minerals`
    and `soiling` labels (soiling 0 is none, then in the order asked for); `opacity` the share of
    the stone that the film hides; `covered` where that is more than `HIDES`; `zone` and `clean`
    masks; `light` 1 on average; `chart_corners` x, y of the outermost corners of the field of
    patches, from the first patch along the long side.
    """

    pixels: NDArray[np.uint8] | NDArray[np.uint16]
    flat_field: NDArray[np.uint8] | NDArray[np.uint16]
    truth_lab: FloatArray
    minerals: NDArray[np.int8]
    soiling: NDArray[np.int8]
    opacity: FloatArray
    covered: BoolArray
    zone: BoolArray
    clean: BoolArray
    light: FloatArray
    chart_corners: FloatArray | None
    pixel_mm: float

    @property
    def cover(self) -> float:
        """Share of the zone that is covered."""
        return float(self.covered[self.zone].mean())

    @property
    def dark(self) -> float:
        """Share of dark grains in the clean stone."""
        return float((self.minerals[self.clean] == DARK).mean())


def render(
    seed: int,
    *,
    rows: int = 700,
    columns: int = 1000,
    pixel_mm: float = 0.25,
    grain_mm: float = 3.0,
    cover: float = 0.4,
    soiling: str | tuple[str, ...] = "black",
    streaks: bool = False,
    dark_minerals: float = 0.08,
    light: str = "even",
    blur_px: float = 1.0,
    noise: float = 0.012,
    jpeg_quality: int = 92,
    bits: int = 8,
    chart: tuple[float, float, float, float] | None = None,
) -> Scene:
    """
    Make a photograph of a granite wall.

    Parameters
    ----------
    seed : int
        The same seed and settings give the same scene.
    rows, columns : int
        Size of the photograph. [pixel]
    pixel_mm, grain_mm : float
        Width of a pixel on the wall, and mean width of a grain. [mm]
    cover, dark_minerals : float
        Share of the zone to be covered, nearly, and of dark grains in the whole wall. [0 to 1]
    soiling : str or tuple of str
        Of `SOILINGS`; several lie beside each other.
    streaks : bool
        Whether soiling runs down in streaks rather than lying in patches.
    light : {"even", "uneven"}
        Uneven light falls off by about a quarter from corner to corner.
    blur_px, noise : float
        Standard deviation of the lens' blur [pixel], and of the noise at white [share of white].
    jpeg_quality, bits : int
        Eight bits pass through JPEG; sixteen do not.
    chart : tuple of float, optional
        x and y of the middle of the chart, width of its field of patches [pixel], turn [degrees].

    Returns
    -------
    Scene
        See there.
    """
    rng = np.random.default_rng(seed)
    kinds = (soiling,) if isinstance(soiling, str) else tuple(soiling)
    shape = (rows, columns)
    zone = np.zeros(shape, dtype=bool)
    zone[:, round(ZONE_FROM * columns) :] = True
    clean = ~zone
    minerals, stone = _granite(rng, shape, grain_mm / pixel_mm, dark_minerals)
    opacity, label = _film(rng, shape, zone, pixel_mm, cover, len(kinds), streaks)
    films = _xyz(np.array([SOILINGS[kind] for kind in kinds]))
    surface = stone + opacity[..., None] * (films[np.maximum(label - 1, 0)] - stone)
    corners = None
    if chart is not None:
        corners, hidden = _lay_chart(surface, chart)
        zone &= ~hidden
        clean &= ~hidden
    falloff = _light(shape, uneven=light == "uneven")
    camera = (blur_px, noise, jpeg_quality, bits)
    pixels = _photograph(rng, surface, falloff, *camera)
    board = np.broadcast_to(_xyz(np.array([62.0, 0.0, 0.0])), surface.shape)
    flat_field = _photograph(rng, board, falloff, *camera)
    return Scene(
        pixels, flat_field, spectra.lab_from_xyz(100 * surface * _white()), minerals, label,
        opacity, opacity > HIDES, zone, clean, falloff, corners, pixel_mm,
    )  # fmt: skip


def _white() -> FloatArray:
    """White of D65 and the observer of 10 degrees, Y = 1."""
    return spectra.white_point() / 100


def _xyz(lab: FloatArray) -> FloatArray:
    """X, Y and Z relative to white from L*, a*, b*; the inverse of ISO/CIE 11664-4."""
    middle = (lab[..., 0] + 16) / 116
    root = np.stack([middle + lab[..., 1] / 500, middle, middle - lab[..., 2] / 200], axis=-1)
    found: FloatArray = np.where(root > 6 / 29, root**3, 3 * (6 / 29) ** 2 * (root - 4 / 29))
    return found


def _field(rng: np.random.Generator, shape: tuple[int, int], *scales: float) -> FloatArray:
    """Smooth random field, mean 0 and standard deviation 1, over so many pixels down and across."""
    # Made coarsely and drawn out: a wide blur costs nothing so.
    steps = [max(1, round(scale / 4)) for scale in scales]
    coarse = [length // step + 4 for length, step in zip(shape, steps, strict=True)]
    sigma = [scale / step for scale, step in zip(scales, steps, strict=True)]
    small = gaussian_filter(rng.standard_normal(coarse), sigma, mode="wrap")
    for axis, (length, step) in enumerate(zip(shape, steps, strict=True)):
        places = np.arange(length) / step + 0.5
        whole = places.astype(int)
        part = np.expand_dims(places - whole, 1 - axis)
        first, second = np.take(small, whole, axis), np.take(small, whole + 1, axis)
        small = first + part * (second - first)
    found: FloatArray = (small - small.mean()) / small.std()
    return found


def _granite(
    rng: np.random.Generator, shape: tuple[int, int], grain_px: float, dark: float
) -> tuple[NDArray[np.int8], FloatArray]:
    """Mineral of every pixel and its X, Y, Z."""
    count = max(8, round(shape[0] * shape[1] / grain_px**2))
    points = rng.uniform(-grain_px, np.add(shape, grain_px), (count, 2))
    # A third coordinate makes some cells larger than others: a power diagram by nearest points.
    lift = 0.5 * grain_px * rng.uniform(0, 1, count)
    places = np.stack(np.mgrid[: shape[0], : shape[1]], axis=-1).astype(float)
    for axis in range(2):  # borders of grains are not straight
        places[..., axis] += 0.12 * grain_px * _field(rng, shape, grain_px / 3, grain_px / 3)
    flat = np.concatenate([places.reshape(-1, 2), np.zeros((places.size // 2, 1))], axis=1)
    _, grain = cKDTree(np.column_stack([points, lift])).query(flat)
    area = np.bincount(grain, minlength=count) / grain.size
    mineral = rng.choice(3, size=count, p=LIGHT_SHARES).astype(np.int8)
    order = rng.permutation(count)
    # Grains turn dark one after another until their area is the share asked for.
    mineral[order[: np.searchsorted(np.cumsum(area[order]), dark)]] = DARK
    lab = MINERALS[mineral] + GRAIN_SPREAD[mineral] * rng.standard_normal((count, 3))
    pixels = lab[grain].reshape(*shape, 3)
    pixels[..., 0] += 1.2 * rng.standard_normal(shape)  # cleavage and glints inside a grain
    pixels[..., 0] += 0.8 * _field(rng, shape, 12 * grain_px, 12 * grain_px)  # the bed's own change
    pixels[..., 2] += 0.4 * _field(rng, shape, 12 * grain_px, 12 * grain_px)
    return mineral[grain].reshape(shape), _xyz(pixels)


def _film(
    rng: np.random.Generator, shape: tuple[int, int], zone: BoolArray, pixel_mm: float,
    cover: float, kinds: int, streaks: bool,
) -> tuple[FloatArray, NDArray[np.int8]]:  # fmt: skip
    """Share of the stone that soiling hides at every pixel, and which soiling it is."""
    if cover <= 0:
        return np.zeros(shape), np.zeros(shape, dtype=np.int8)
    down, across = (60.0, 6.0) if streaks else (14.0, 14.0)
    height = _field(rng, shape, down / pixel_mm, across / pixel_mm)
    height += 0.15 * _field(rng, shape, 3 / pixel_mm, 3 / pixel_mm)  # ragged borders
    inside = height > np.quantile(height[zone], 1 - cover)
    distance = distance_transform_edt(inside) - distance_transform_edt(~inside)
    # Some borders are as sharp as a wetting front, others fade over centimetres.
    width_mm = 0.2 * 10 ** (0.5 * np.clip(1 + _field(rng, shape, *(2 * [80 / pixel_mm])), 0, 2))
    thick = np.clip(0.75 + 0.12 * _field(rng, shape, 40 / pixel_mm, 40 / pixel_mm), 0.5, 0.97)
    fade = 1 / (1 + np.exp(-np.clip(distance * pixel_mm / width_mm + 0.5, -40, 40)))
    opacity = thick * fade * zone
    opacity[opacity < 0.02] = 0
    share = [_field(rng, shape, 50 / pixel_mm, 50 / pixel_mm) for _ in range(kinds)]
    label = np.where(opacity > 0, 1 + np.argmax(share, axis=0), 0)
    return opacity, label.astype(np.int8)


def _light(shape: tuple[int, int], *, uneven: bool) -> FloatArray:
    """How much light falls on every pixel, 1 on average."""
    down, across = np.meshgrid(*(np.linspace(-1, 1, length) for length in shape), indexing="ij")
    found: FloatArray = np.ones(shape)
    if uneven:
        found = 1 + 0.07 * across - 0.04 * down - 0.05 * (down**2 + across**2)
    return found / float(found.mean())


def _lay_chart(
    surface: FloatArray, chart: tuple[float, float, float, float]
) -> tuple[FloatArray, BoolArray]:
    """Lay a chart of 24 patches on the wall; where its corners lie, and what it hides."""
    middle_x, middle_y, width, turn_deg = chart
    pitch = width / (5 + PATCH_WIDTH)
    cosine, sine = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    y, x = np.mgrid[: surface.shape[0], : surface.shape[1]]
    x, y = x + 0.5 - middle_x, y + 0.5 - middle_y
    half = np.array([5 + PATCH_WIDTH, 3 + PATCH_WIDTH]) / 2
    along, across = (
        (cosine * x + sine * y) / pitch + half[0],
        (cosine * y - sine * x) / pitch + half[1],
    )
    inside = [
        (place > -FRAME) & (place < 2 * length + FRAME)
        for place, length in zip((along, across), half, strict=True)
    ]
    on_chart = inside[0] & inside[1]
    surface[on_chart] = _xyz(np.array(FRAME_LAB))
    patches = np.array(
        [[float(row[name]) for name in ("L_star", "a_star", "b_star")]
         for row in table_rows("chart_patches")]
    )  # fmt: skip
    on_patch = on_chart & (along > 0) & (across > 0)
    on_patch &= (along % 1 < PATCH_WIDTH) & (across % 1 < PATCH_WIDTH)
    on_patch &= (along < 6) & (across < 4)
    number = 6 * across[on_patch].astype(int) + along[on_patch].astype(int)
    surface[on_patch] = _xyz(patches)[number]
    corner = pitch * half * [[-1, -1], [1, -1], [1, 1], [-1, 1]]
    turned = corner @ np.array([[cosine, sine], [-sine, cosine]])
    # The case around the frame is no stone either.
    hidden = (np.abs(along - half[0]) < half[0] + 3 * FRAME) & (
        np.abs(across - half[1]) < half[1] + 3 * FRAME
    )
    return turned + np.array([middle_x, middle_y]), hidden


def _photograph(
    rng: np.random.Generator, surface: FloatArray, light: FloatArray, blur_px: float,
    noise: float, jpeg_quality: int, bits: int,
) -> NDArray[np.uint8] | NDArray[np.uint16]:  # fmt: skip
    """What the camera stores of a surface in some light."""
    to_camera = BALANCE[:, None] * (CROSSTALK @ _TO_LINEAR) * _DISPLAY_WHITE
    linear = EXPOSURE * light[..., None] * (surface @ to_camera.T)
    linear = gaussian_filter(linear, (blur_px, blur_px, 0))
    # Photons scatter with the root of the light, the electronics with the same everywhere.
    scatter = noise * np.sqrt(np.maximum(linear, 0)) + 0.15 * noise
    linear = np.clip(linear + scatter * rng.standard_normal(linear.shape), 0, 1)
    # IEC 61966-2-1:1999, from linear light to what a file stores.
    stored = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    if bits == 16:
        return np.round(65535 * stored).astype(np.uint16)
    file = io.BytesIO()
    Image.fromarray(np.round(255 * stored).astype(np.uint8)).save(
        file, "JPEG", quality=jpeg_quality
    )
    return np.asarray(Image.open(file))
