"""Today, the agreed appearance and years later side by side: simulations that say they are."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from numpy.typing import ArrayLike

from heritagecheck.figures.photograph import checked_rgb, reduced

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def draw_preview(
    before_rgb: ArrayLike,
    after_rgb: ArrayLike,
    later_rgb: ArrayLike | None = None,
    *,
    years: float | None = None,
    axes: tuple[Axes, ...] | None = None,
) -> tuple[Axes, ...]:
    """
    Photograph of today beside simulations of the agreed appearance and of years later.

    Parameters
    ----------
    before_rgb : array_like of uint8, shape (rows, columns, 3)
        The photograph as sRGB.
    after_rgb : array_like of uint8, shape (rows, columns, 3)
        The same view as agreed.
    later_rgb : array_like of uint8, shape (rows, columns, 3), optional
        The same view after some years of soiling again.
    years : float, optional
        How many years; given with `later_rgb`. [years]
    axes : tuple of matplotlib Axes, optional
        Where to draw, as many as there are pictures.

    Returns
    -------
    tuple of matplotlib Axes
        One a picture. Within each stands what it is, so that a copy of it alone still says so.

    Raises
    ------
    ValueError
        A picture is no 8-bit sRGB or shows other pixels, only one of `later_rgb` and `years` is
        given, or there are not as many axes as pictures.
    """
    import matplotlib.pyplot as plt

    if (later_rgb is None) != (years is None):
        raise ValueError("later_rgb and years belong together: give both, or neither.")
    if years is not None and not (math.isfinite(years) and years > 0):
        raise ValueError(f"years = {years:g} must be a time above 0.")
    given = {"before_rgb": before_rgb, "after_rgb": after_rgb}
    words = ["photograph, today", "simulation: as agreed"]
    if later_rgb is not None:
        given["later_rgb"] = later_rgb
        words.append(f"simulation: {years:g} years later")
    pictures = [checked_rgb(picture, name) for name, picture in given.items()]
    shapes = {picture.shape for picture in pictures}
    if len(shapes) > 1:
        raise ValueError(
            f"The pictures have the shapes {', '.join(map(str, sorted(shapes)))}: all must be the "
            "same view."
        )
    rows, columns = pictures[0].shape[:2]
    if axes is None:
        height = min(10.0 / len(pictures) * rows / columns + 0.1, 7.0)
        _, found = plt.subplots(
            1, len(pictures), figsize=(10.0, height), layout="constrained", squeeze=False
        )
        axes = tuple(found[0])
    if len(axes) != len(pictures):
        raise ValueError(f"{len(axes)} axes were given for {len(pictures)} pictures.")
    for ax, picture, word in zip(axes, pictures, words, strict=True):
        ax.imshow(reduced(picture), extent=(0, columns, rows, 0))
        ax.set(xticks=[], yticks=[])
        _burn_in(ax, word)
    return axes


def _burn_in(ax: Axes, words: str) -> None:
    """Write into a picture what it is; across the middle too where it is a simulation."""
    ax.annotate(
        words, (0, 1), xycoords="axes fraction", xytext=(7, -7), textcoords="offset points",
        ha="left", va="top", color="#1d1d1b", fontsize="small",
        bbox={"facecolor": "white", "edgecolor": "#1d1d1b", "linewidth": 0.6, "pad": 3},
    )  # fmt: skip
    if words.startswith("simulation"):
        ax.text(
            0.5, 0.4, "simulation", transform=ax.transAxes, ha="center", va="center", rotation=30,
            fontsize=20, color="white", alpha=0.4,
        )  # fmt: skip
