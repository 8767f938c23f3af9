"""Photographs of a 24-patch colour chart before granite, rendered with everything known of them."""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from itertools import product

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter

from heritagecheck.tables import rows

# Where a real chart has 40 mm patches 7 mm apart, in steps from one patch to the next.
HALF = 0.42
FRAME = 0.30
_TILE = 500  # pixels after which the grains repeat
# Invented camera: what its red, green and blue take of X/Xn, Y/Yn, Z/Zn; far from sRGB's own.
CAMERA = np.array([[0.78, 0.16, 0.04], [0.10, 0.74, 0.14], [0.02, 0.12, 0.80]])


def known_lab() -> np.ndarray:
    """L*, a*, b* of the chart as the table of the package lists them, shape (24, 3)."""
    return np.array(
        [[float(row[name]) for name in ("L_star", "a_star", "b_star")]
         for row in rows("chart_patches")]
    )  # fmt: skip


def xyz_of(lab: np.ndarray) -> np.ndarray:
    """X/Xn, Y/Yn, Z/Zn of L*, a*, b* (ISO/CIE 11664-4, turned round)."""
    lab = np.asarray(lab, float)
    f_y = (lab[..., 0] + 16) / 116
    roots = np.stack([f_y + lab[..., 1] / 500, f_y, f_y - lab[..., 2] / 200], axis=-1)
    return np.where(roots > 6 / 29, roots**3, 3 * (6 / 29) ** 2 * (roots - 4 / 29))


def srgb_levels(light: np.ndarray, top: int = 255) -> np.ndarray:
    """Stored levels of linear light (IEC 61966-2-1)."""
    light = np.clip(light, 0, 1)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.rint(top * coded).astype(np.uint8 if top == 255 else np.uint16)


@dataclass
class Scene:
    """What to photograph, and how. Angles in degrees, lengths in pixels, light of white is 1."""

    seed: int = 0
    rows: int = 800
    columns: int = 1200
    pitch: float = 45.0
    centre: tuple[float, float] = (600.0, 400.0)
    angle: float = 0.0
    tilt: tuple[float, float] = (0.0, 0.0)
    squeeze: float = 1.0
    exposure: float = 0.8
    noise: float = 0.004
    blur: float = 0.8
    power: float = 1.0
    slope: tuple[float, float] = (0.0, 0.0)
    veil: float = 0.0
    spot: float = 0.0
    second_leaf: bool = False
    charts: int = 1
    lab: np.ndarray = field(default_factory=known_lab)

    def corners(self, number: int = 0) -> np.ndarray:
        """Outer corners of the patch field, from the dark-skin patch clockwise, shape (4, 2)."""
        low, right, bottom = -HALF, 5 + HALF, 3 + HALF
        field_ = [[low, low], [right, low], [right, bottom], [low, bottom]]
        return _mapped(self._matrix(number), np.array(field_))

    def _matrix(self, number: int = 0) -> np.ndarray:
        """Steps of the chart → x, y in pixels."""
        turn = np.radians(self.angle)
        to_middle = np.array([[1, 0, -2.5], [0, 1, -1.5], [0, 0, 1]])
        lean = np.array([[1, 0, 0], [0, self.squeeze, 0], [self.tilt[0], self.tilt[1], 1]])
        size = np.diag([self.pitch, self.pitch, 1.0])
        around = np.array(
            [[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]]
        )
        place = np.eye(3)
        place[:2, 2] = self.centre[0] + number * 8.5 * self.pitch, self.centre[1]
        return place @ around @ size @ lean @ to_middle

    def light(self) -> np.ndarray:
        """X/Xn, Y/Yn, Z/Zn of every pixel under even light, shape (rows, columns, 3), float32."""
        found = granite(self.rows, self.columns, self.seed)
        for number in range(self.charts):
            self._lay(found, number)
        return found

    def _lay(self, found: np.ndarray, number: int) -> None:
        """Put one chart (and its second leaf) over what is there, edges smoothed."""
        fine = 3 if self.pitch < 30 else 2
        matrix = self._matrix(number)
        reach = 12.5 if self.second_leaf else 6.2
        outline = _mapped(
            matrix, np.array([[-1.2, -1.2], [reach, -1.2], [reach, 4.2], [-1.2, 4.2]])
        )
        left, top = np.maximum(np.floor(outline.min(axis=0)).astype(int), 0)
        right, bottom = np.ceil(outline.max(axis=0)).astype(int)
        right, bottom = min(right, self.columns), min(bottom, self.rows)
        if right <= left or bottom <= top:
            return
        share = np.zeros((bottom - top, right - left, 1), np.float32)
        colour = np.zeros((*share.shape[:2], 3), np.float32)
        inverse = np.linalg.inv(matrix)
        # Part by part of a pixel: the arrays of all at once would not fit the processor's cache.
        for below, beside in product((np.arange(fine) + 0.5) / fine, repeat=2):
            x = np.arange(left, right, dtype=np.float32) + np.float32(beside)
            y = np.arange(top, bottom, dtype=np.float32)[:, None] + np.float32(below)
            drawn, on = self._drawn(*_moved(inverse, x, y))
            share += on[..., None]
            colour += drawn * on[..., None]
        here = found[top:bottom, left:right]
        here *= 1 - share / fine**2
        here += colour / fine**2

    def _drawn(self, across: np.ndarray, down: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Colour at places of the chart in steps, and whether the chart covers them."""
        leaves = [(0, xyz_of(self.lab))]
        if self.second_leaf:
            leaves.append((6.3, xyz_of(_other_patches(self.seed))))
        frame = len(leaves) * 24
        colours = np.vstack([*(patches for _, patches in leaves), [[0.03] * 3]]).astype(np.float32)
        number = np.full(across.shape, frame)
        on = np.zeros(across.shape, dtype=bool)
        edge = HALF + FRAME
        for leaf, (shift, _) in enumerate(leaves):
            x = across - np.float32(shift)
            column, row = np.rint(x), np.rint(down)
            inside = (column >= 0) & (column < 6) & (row >= 0) & (row < 4)
            inside &= (np.abs(x - column) <= HALF) & (np.abs(down - row) <= HALF)
            number[inside] = (leaf * 24 + row * 6 + column)[inside].astype(int)
            on |= (x >= -edge) & (x <= 5 + edge) & (down >= -edge) & (down <= 3 + edge)
        return colours[number], on

    def linear(self, xyz: np.ndarray) -> np.ndarray:
        """What the camera stores of X/Xn, Y/Yn, Z/Zn in even light, as linear light."""
        found = np.clip(self.exposure * (xyz @ CAMERA.T.astype(xyz.dtype)) + self.veil, 0, None)
        return found if self.power == 1 else found**self.power

    def photograph(self, *, bits: int = 8, quality: int | None = None) -> np.ndarray:
        """Take the photograph: stored levels, shape (rows, columns, 3)."""
        down, across = np.linspace(-0.5, 0.5, self.rows), np.linspace(-0.5, 0.5, self.columns)
        even = (1 + self.slope[0] * across + self.slope[1] * down[:, None]).astype(np.float32)
        seen = gaussian_filter(self.light() * even[..., None], (self.blur, self.blur, 0))
        light = self.linear(seen)
        if self.spot:
            light += self.spot * self._glint()[..., None]
        grain = np.random.default_rng(self.seed + 1).standard_normal(light.shape, np.float32)
        light += grain * np.float32(self.noise) * np.sqrt(np.maximum(light, np.float32(0.01)))
        levels = srgb_levels(light, 2**bits - 1)
        return levels if quality is None else through_jpeg(levels, quality)

    def _glint(self) -> np.ndarray:
        """A lamp mirrored in the upper half of the chart."""
        x, y = _mapped(self._matrix(), np.array([[4.0, 0.6]]))[0]
        down, across = np.mgrid[: self.rows, : self.columns]
        return np.exp(-((down - y) ** 2 + (across - x) ** 2) / (2 * (0.7 * self.pitch) ** 2))


def through_jpeg(levels: np.ndarray, quality: int) -> np.ndarray:
    """The same picture after it was kept as JPEG."""
    kept = io.BytesIO()
    Image.fromarray(levels).save(kept, "JPEG", quality=quality)
    return np.asarray(Image.open(kept))


def granite(height: int, width: int, seed: int, grain: float = 3.0) -> np.ndarray:
    """X/Xn, Y/Yn, Z/Zn of grains of feldspar, quartz and mica, shape (height, width, 3)."""
    chance = np.random.default_rng(seed)
    minerals = xyz_of(np.array([[72, 4, 9], [60, 0, 3], [84, 0, 4], [28, 1, 2]], float))
    share = np.array([0.3, 0.1, 0.0, -0.6])
    fields = chance.normal(size=(4, _TILE, _TILE)).astype(np.float32)
    smooth = np.stack([gaussian_filter(one, grain, mode="wrap") * grain / 0.28 for one in fields])
    found = minerals[np.argmax(smooth + share[:, None, None], axis=0)]
    found *= chance.normal(1, 0.05, size=(_TILE, _TILE, 1))
    times = (-(-height // _TILE), -(-width // _TILE), 1)
    return np.tile(found.astype(np.float32), times)[:height, :width]


def varied(seed: int) -> Scene:
    """A scene by chance: the chart a tenth of the width or more, turned, tilted, lit unevenly."""
    chance = np.random.default_rng(1000 + seed)
    wide = int(chance.choice([1500, 1500, 1800, 2400]))
    high = wide * 2 // 3
    pitch = wide * chance.uniform(0.105, 0.3) / 5.84
    room = 4.6 * pitch
    room_leaf = seed % 4 == 3
    return Scene(
        seed=seed, rows=high, columns=wide, pitch=pitch,
        centre=(float(chance.uniform(room, wide - room)), float(chance.uniform(room, high - room))),
        angle=float(chance.uniform(0, 360)),
        tilt=tuple(chance.uniform(-0.025, 0.025, 2)),
        squeeze=float(chance.uniform(0.85, 1)), exposure=float(chance.uniform(0.55, 0.9)),
        noise=float(chance.uniform(0.002, 0.012)), blur=float(chance.uniform(0.6, 1.5)),
        slope=tuple(chance.uniform(-0.15, 0.15, 2)), second_leaf=room_leaf,
    )  # fmt: skip


def _other_patches(seed: int) -> np.ndarray:
    """L*, a*, b* of the patches on the other leaf of a folding case, shape (24, 3)."""
    chance = np.random.default_rng(seed + 77)
    hue = np.radians(np.arange(24) * 15.0)
    chroma = chance.uniform(8, 35, 24)
    light = chance.uniform(35, 85, 24)
    return np.stack([light, chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1)


def _mapped(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Points by a homography."""
    found = points @ matrix[:, :2].T + matrix[:, 2]
    return found[:, :2] / found[:, 2:]


def _moved(matrix: np.ndarray, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Coordinates by a homography, each as an array of its own."""
    (a, b, c), (d, e, f), (g, h, one) = matrix.astype(np.float32)
    below = g * x + h * y + one
    return (a * x + b * y + c) / below, (d * x + e * y + f) / below
