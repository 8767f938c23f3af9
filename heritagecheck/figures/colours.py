"""Readings of soiled and clean stone in CIELAB, and how far clean stone varies by itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from heritagecheck.evidence.colour import natural_outline
from heritagecheck.judgement.recommendation import Recommendation

if TYPE_CHECKING:
    from matplotlib.axes import Axes

CHANNELS = ("L*", "a*", "b*")
PLANES = ((1, 2), (1, 0))
SOILED, REFERENCE = "#8a4f0a", "#1f6f8b"


def draw_colour(
    recommendation: Recommendation, axes: tuple[Axes, Axes] | None = None
) -> tuple[Axes, Axes] | None:
    """
    Readings of a zone and of its clean reference, with the natural spread of the reference.

    Parameters
    ----------
    recommendation : Recommendation
        What was recommended.
    axes : tuple of matplotlib Axes, optional
        Where to draw.

    Returns
    -------
    tuple of matplotlib Axes, or None
        The plane of a* and b*, and that of a* and L*, to the same scale each way. The line
        surrounds what 95 % of single readings of clean stone are expected to show. None where
        no colour could be compared.
    """
    import matplotlib.pyplot as plt

    colour = recommendation.evidence.colour
    if colour is None:
        return None
    if axes is None:
        _, (left, right) = plt.subplots(1, 2, figsize=(7.3, 3.2), layout="constrained")
        axes = (left, right)
    sides = (
        ("clean reference", colour.lab_reference, colour.mean_reference, "o", REFERENCE),
        ("as found", colour.lab_soiled, colour.mean_soiled, "^", SOILED),
    )
    for ax, (across, up) in zip(axes, PLANES, strict=True):
        outline = natural_outline(colour.lab_reference, (across, up))
        ax.plot(*outline.T, color=REFERENCE, linestyle="--", label="natural spread, 95 %")
        for name, lab, mean, mark, shade in sides:
            ax.plot(
                lab[:, across], lab[:, up], mark, color=shade, markersize=4, alpha=0.55, label=name
            )
            ax.plot(
                mean[across], mean[up], mark, color=shade, markersize=9, markeredgecolor="white"
            )
        ax.set(xlabel=CHANNELS[across], ylabel=CHANNELS[up])
        ax.set_aspect("equal", adjustable="datalim")
        ax.grid(color="#ddd8cc", linewidth=0.6)
        ax.spines[["top", "right"]].set_visible(False)
    axes[0].figure.legend(
        *axes[0].get_legend_handles_labels(), loc="outside upper left", ncols=3, frameon=False
    )
    return axes
