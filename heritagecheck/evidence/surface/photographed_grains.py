"""Which mineral each pixel of a height map shows, by grains outlined in a photograph of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.photograph.registration import Registration, register
from heritagecheck.evidence.surface.height_map import as_pixel
from heritagecheck.evidence.surface.outline import inside

FEWEST_POINTS = 5  # four always fit, so that nothing would say how far the grains may lie off
_UM_PER_M = 1e6
_AWAY = 2.0  # errors of a point within which a border may lie: some 95 % of them


@dataclass(frozen=True, slots=True, eq=False)
class GrainsOnMap:
    """
    Grains of a photograph as they lie on a height map.

    `labels` has the number of a mineral for each pixel of the map, 0 where no grain was outlined;
    `minerals` their names. `error_um` is how far from a border a pixel may show both sides of it:
    twice `rms_um`, the error of a point as the points themselves show it, no less than a pixel of
    the photograph; and a pixel of the map, which mixes what lies on it. `rings_px` are the outlines
    in the map, by mineral.
    """

    labels: NDArray[np.intp] = field(repr=False)
    minerals: dict[int, str]
    error_um: float
    rms_um: float
    rings_px: dict[str, list[NDArray[np.float64]]] = field(repr=False)

    def __str__(self) -> str:
        count = sum(len(rings) for rings in self.rings_px.values())
        return (
            f"{count} grains outlined in the photograph, which lies on the map to {self.rms_um:.2g}"
            f" µm; pixels within {self.error_um:.2g} µm of a border are left out"
        )


def grains_on_map(
    tie_points: ArrayLike,
    grains: Sequence[tuple[str, ArrayLike]],
    shape: tuple[int, int],
    pixel_um: float | tuple[float, float],
) -> GrainsOnMap:
    """Lay grains, outlined in a photograph, on a map by points x, y [pixel] that both show."""
    pixel = np.array(as_pixel(pixel_um))
    tied = _tied(np.asarray(tie_points, dtype=float), pixel)
    assert tied.rms_mm is not None  # more than four points leave some to judge by
    numbers = {name: k for k, name in enumerate(dict.fromkeys(name for name, _ in grains), 1)}
    minerals = {number: name for name, number in numbers.items()}
    labels = np.zeros(shape, dtype=np.intp)
    rings: dict[str, list[NDArray[np.float64]]] = {}
    for name, corners in grains:
        ring = tied.to_drawing(corners) * _UM_PER_M / pixel
        within = _within(ring, shape)
        if others := set(labels[within].tolist()) - {0, numbers[name]}:
            raise ValueError(
                f"A grain of {name} lies over one of {minerals[min(others)]} in the photograph. "
                "Draw each grain within its own border."
            )
        labels[within] = numbers[name]
        rings.setdefault(name, []).append(ring)
    rms_um = 1000 * tied.rms_mm
    error_um = max(_AWAY * rms_um, 1000 * tied.pixel_mm) + float(pixel.max())
    return GrainsOnMap(labels, minerals, error_um, rms_um, rings)


def _tied(points: NDArray[np.float64], pixel_um: NDArray[np.float64]) -> Registration:
    """Homography from the photograph to the surface, counted from the map's corner."""
    if len(points) < FEWEST_POINTS:
        raise ValueError(
            f"{len(points)} points tie the photograph to the map, and {FEWEST_POINTS} or more are "
            "needed. Four always fit, so nothing would say how far the grains may lie off."
        )
    try:
        return register(points[:, :2], points[:, 2:] * pixel_um / _UM_PER_M)
    except ValueError as why:
        raise ValueError(f"The photograph can't be laid on the height map. {why}") from why


def _within(ring: NDArray[np.float64], shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Pixels of the map within a grain; none where it lies beside the map."""
    low, high = ring.min(axis=0), ring.max(axis=0)
    if not np.isfinite(ring).all() or (high < 0).any() or (low > np.array(shape[::-1]) - 1).any():
        return np.zeros(shape, dtype=bool)
    return inside(ring, shape)
