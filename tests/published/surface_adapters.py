"""How closed forms of roughness are asked of the package: sampled, then measured."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from heritagecheck.evidence import surface
from heritagecheck.evidence.surface import height_map

Row = dict[str, str]
Adapter = Callable[[Row], object]
Heights = NDArray[np.float64]

POINTS = 20_000  # a period or more in each of the five section lengths


def given(row: Row) -> dict[str, float]:
    """Numbers among the inputs of a row, by name, such as A_um=10."""
    words = row["inputs"].replace(",", ";").replace(" ", ";").split(";")
    pairs = [word.split("=") for word in words if "=" in word]
    return {name: float(value) for name, value in pairs}


def place(offset: float = 0.0) -> Heights:
    """Places of points in five whole periods, as shares of one, so much of a step on."""
    return (np.arange(POINTS) + offset) * 5 / POINTS % 1


def profile(row: Row) -> Heights:
    """One of the profiles by its name, five whole periods long."""
    size, at, kind = given(row), place(), row["surface"]
    if kind.startswith("sine"):
        return size["A_um"] * np.cos(2 * np.pi * at)
    if kind.startswith("triangle"):
        return size["A_um"] * (1 - 4 * np.abs(at - 0.5))
    # Half a step on, so that no point lies on a wall.
    return -size["d_um"] * (np.abs(place(0.5) - 0.5) < size["c"] / 2)


def along_a_line(name: str) -> Adapter:
    """A parameter of a profile, from which the mean alone is taken."""

    def found(row: Row) -> object:
        heights = profile(row)
        return getattr(surface.profile_roughness(heights, 1.0, np.inf, form="mean"), name)

    return found


def over_an_area(name: str) -> Adapter:
    """A parameter of an egg-box, as the product or the sum of two waves."""

    def found(row: Row) -> object:
        wave = np.cos(2 * np.pi * np.arange(500) / 250)
        both = np.multiply if "product" in row["surface"] else np.add
        heights = given(row)["A_um"] * both.outer(wave, wave)
        return getattr(surface.roughness(heights, 1.0, form="mean"), name)

    return found


def of_ridges(name: str, factor: float = 1) -> Adapter:
    """A parameter of ridges in one direction, whose slope is that of their profile."""

    def found(row: Row) -> object:
        size = given(row)
        across = np.cos(2 * np.pi * np.arange(POINTS + 1) / POINTS)
        ridges = size["A_um"] * across * np.ones((2, 1))
        measured = surface.roughness(ridges, size["lambda_um"] / POINTS, form="mean")
        return factor * getattr(measured, name)

    return found


def in_the_mean_line(row: Row) -> object:
    """Share of a wave that the filter counts as waviness."""
    size = given(row)
    return height_map.transmission(size["lambda_um"], size["lambda_c_um"])


def in_the_roughness(row: Row) -> object:
    """Share of a wave that the filter leaves in the roughness profile."""
    size = given(row)
    return 1 - height_map.transmission(size["lambda_um"], size["lambda_c_um"])


ADAPTERS: dict[str, dict[str, Adapter]] = {
    "roughness_analytic.csv": {
        **{name: along_a_line(name) for name in ("Ra", "Rq", "Rz", "Rsk", "Rku")},
        **{name: over_an_area(name) for name in ("Sa", "Sq", "Ssk", "Sku", "Sz")},
        "Rdq": of_ridges("Sdq"),
        "Sdr (1-D corrugation)": of_ridges("Sdr", 100),  # printed in per cent
        "alpha": lambda _: height_map.ALPHA,
        "waviness_transmission": in_the_mean_line,
        "roughness_transmission": in_the_roughness,
    }
}
