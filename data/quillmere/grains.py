"""What a microscope saw of the field of one height map: an invented granite, grain by grain."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from below_x50 import FLAKES, LAID_ON, PIXEL_UM, SIDE, mica
from numpy.typing import NDArray
from PIL import Image

from heritagecheck.survey.store.attachments import attachment_of

CODE, FILE = "grains H1", "photographs/H1-grains.jpg"
SIZE = 620  # pixels a side
# From the photograph to the surface [µm]: a pixel is 1.8 µm, turned by two degrees, at a slight
# slant.
TO_SURFACE = np.array([[1.83, 0.064, -62.0], [-0.063, 1.81, -40.0], [1.2e-5, -0.8e-5, 1.0]])
# Grains of light minerals by the middle of each [µm]; their borders run half-way between them.
GRAINS = (
    ("quartz", 180, 180), ("k_feldspar", 480, 150), ("plagioclase", 820, 190),
    ("k_feldspar", 150, 520), ("quartz", 470, 500), ("plagioclase", 800, 520),
    ("plagioclase", 190, 850), ("k_feldspar", 520, 860), ("quartz", 860, 850),
)  # fmt: skip
COLOURS = {
    "quartz": (176, 178, 176), "k_feldspar": (214, 178, 160), "plagioclase": (226, 224, 214),
    "biotite": (52, 44, 38),
}  # fmt: skip
# Middle of places that both show [pixel of the map]; each is pointed at to within a pixel or so.
SEEN = ((12, 14), (116, 10), (112, 118), (9, 112), (61, 20), (22, 66), (88, 74))
# Corners of the light grains that somebody outlined, well within their borders [µm].
OUTLINED = (
    ("quartz", ((360, 460), (560, 440), (570, 540), (400, 600))),
    ("k_feldspar", ((350, 266), (620, 266), (612, 312), (345, 312))),
    ("plagioclase", ((672, 400), (755, 400), (755, 650), (672, 650))),
)


def shown_um() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Place on the surface that each pixel of the photograph shows."""
    row, column = np.mgrid[:SIZE, :SIZE].astype(float)
    x, y, w = (a * column + b * row + c for a, b, c in TO_SURFACE)
    return x / w, y / w


def in_photograph(points_um: NDArray[np.float64]) -> NDArray[np.float64]:
    """Where places on the surface are seen."""
    moved = np.c_[points_um, np.ones(len(points_um))] @ np.linalg.inv(TO_SURFACE).T
    return np.asarray(moved[:, :2] / moved[:, 2:])


def picture() -> NDArray[np.uint8]:
    """The grains in their colours, with the noise of a camera."""
    x_um, y_um = shown_um()
    apart = [(x_um - x) ** 2 + (y_um - y) ** 2 for _, x, y in GRAINS]
    nearest = np.argmin(apart, axis=0)
    light = np.array([COLOURS[name] for name, _, _ in GRAINS], dtype=float)[nearest]
    light[mica(x_um, y_um)] = COLOURS["biotite"]
    draws = np.random.default_rng([1887, 1050])
    coarse = np.kron(draws.normal(0, 5, (SIZE // 10, SIZE // 10)), np.ones((10, 10)))
    noisy = light + coarse[..., np.newaxis] + draws.normal(0, 3, light.shape)
    return noisy.clip(0, 255).astype(np.uint8)


def write_photograph(folder: Path) -> None:
    """Write the photograph."""
    Image.fromarray(picture()).save(folder / FILE, quality=88)


def attached_photograph(folder: Path) -> dict[str, Any]:
    """Its attachment."""
    one = attachment_of(
        folder / FILE, kind="photograph", attachment=CODE, file=FILE, zone="N06",
        panel="N06-pulse-1", taken_on=LAID_ON, taken_by="conservator",
        note="Rendered, not photographed: invented grains in the field of height map H1",
    )  # fmt: skip
    return one.model_dump()


def on_map() -> dict[str, str]:
    """Fields of the height map: the photograph, points that both show, and grains outlined."""
    places = np.array(SEEN, dtype=float)
    wrong = np.random.default_rng([1887, 1051]).normal(0, 1.0, places.shape)
    pointed = in_photograph(places * PIXEL_UM) + wrong
    flakes = [
        ("biotite", [(left + size * np.cos(turn), top + size / np.sqrt(2) * np.sin(turn))
                     for turn in np.arange(12) * np.pi / 6])
        for left, top, size in FLAKES
    ]  # fmt: skip
    grains = [
        f"{name}: " + "; ".join(f"{x:.0f} {y:.0f}" for x, y in in_photograph(np.array(corners)))
        for name, corners in (*flakes, *OUTLINED)
    ]
    assert max(max(corner) for _, ring in OUTLINED for corner in ring) < SIDE * PIXEL_UM
    return {
        "photo": CODE,
        "photo_points": "; ".join(
            f"{x:.1f} {y:.1f} {across:g} {down:g}"
            for (x, y), (across, down) in zip(pointed, SEEN, strict=True)
        ),
        "photo_minerals": " / ".join(grains),
    }
