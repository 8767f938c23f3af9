"""Readings of soiled and clean stone in CIELAB, and how far clean stone varies by itself."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.colour import natural_outline
from heritagecheck.judgement.recommendation import Recommendation

if TYPE_CHECKING:
    from matplotlib.axes import Axes

CHANNELS = ("L*", "a*", "b*")
PLANES = ((1, 2), (1, 0))
SOILED, REFERENCE = "#8a4f0a", "#1f6f8b"
Lab = NDArray[np.float64]


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
        As `draw_readings`. None where no colour could be compared.
    """
    found = recommendation.evidence.zone_colour
    colour, beside = found.used, found.by_photograph
    if colour is None:
        return None
    squares = None
    if beside is not None and beside is not colour:
        squares = (beside.lab_soiled, beside.lab_reference)
    return draw_readings(colour.lab_soiled, colour.lab_reference, photographed=squares, axes=axes)


def draw_readings(
    lab_soiled: ArrayLike,
    lab_reference: ArrayLike,
    *,
    outlying: tuple[ArrayLike, ArrayLike] | None = None,
    photographed: tuple[ArrayLike, ArrayLike] | None = None,
    axes: tuple[Axes, Axes] | None = None,
) -> tuple[Axes, Axes]:
    """
    Readings of soiled and of clean stone, with the natural spread of the clean.

    Parameters
    ----------
    lab_soiled, lab_reference : array_like, shape (n, 3) with n of at least 5
        L*, a*, b* of single readings. [CIELAB units]
    outlying : tuple of two array_like of bool, shapes (n,), optional
        Which soiled and which clean readings lie far from the others; they are ringed.
    photographed : tuple of two array_like, shapes (m, 3), optional
        L*, a*, b* of the same soiled and clean stone by a photograph, square by square.
        [CIELAB units]
    axes : tuple of matplotlib Axes, optional
        Where to draw.

    Returns
    -------
    tuple of matplotlib Axes
        The plane of a* and b*, and that of a* and L*, to the same scale each way. The broken line
        surrounds what 95 % of single readings of clean stone are expected to show, the thin lines
        where 95 % of such sets have their true means; an error that all readings share, as that
        of a chart, is not in them. Large marks are the means.

    Raises
    ------
    ValueError
        As for `evidence.colour.compare`; or marks of outlying readings, or colours by photograph,
        do not fit.
    """
    import matplotlib.pyplot as plt

    if axes is None:
        _, (left, right) = plt.subplots(1, 2, figsize=(7.3, 3.2), layout="constrained")
        axes = (left, right)
    sides = (
        ("clean reference", np.asarray(lab_reference, dtype=float), "o", REFERENCE),
        ("as found", np.asarray(lab_soiled, dtype=float), "^", SOILED),
    )
    for ax, plane in zip(axes, PLANES, strict=True):
        outline = natural_outline(lab_reference, plane)
        ax.plot(*outline.T, color=REFERENCE, linestyle="--", label="natural spread, 95 %")
        ax.plot([], [], color="#5b574e", linewidth=0.8, label="mean, 95 %")
        for name, lab, mark, shade in sides:
            _draw_side(ax, lab, plane, name=name, mark=mark, shade=shade)
        if outlying is not None:
            _ring_outlying(ax, plane, outlying, (sides[1][1], sides[0][1]))
        if photographed is not None:
            _add_photographed(ax, plane, photographed)
        ax.set(xlabel=CHANNELS[plane[0]], ylabel=CHANNELS[plane[1]])
        ax.set_aspect("equal", adjustable="datalim")
        ax.grid(color="#ddd8cc", linewidth=0.6)
        ax.spines[["top", "right"]].set_visible(False)
    handles, names = axes[0].get_legend_handles_labels()
    axes[0].figure.legend(
        handles, names, loc="outside upper left", ncols=4 if len(names) == 4 else 3, frameon=False
    )
    return axes


def _draw_side(
    ax: Axes, lab: Lab, plane: tuple[int, int], *, name: str, mark: str, shade: str
) -> None:
    """Readings of one side, their mean, and where its true mean may lie."""
    across, up = plane
    ax.plot(lab[:, across], lab[:, up], mark, color=shade, markersize=4, alpha=0.55, label=name)
    mean = lab.mean(axis=0)[[across, up]]
    # The region of a mean is the prediction region of a single reading, drawn in by this much.
    try:
        region = mean + (natural_outline(lab, plane) - mean) / np.sqrt(len(lab) + 1)
    except ValueError as error:
        # The reference was outlined before: what is wrong now lies in the other side.
        raise ValueError(str(error).replace("lab_reference", "lab_soiled")) from error
    ax.plot(*region.T, color=shade, linewidth=0.8)
    ax.plot(*mean, mark, color=shade, markersize=9, markeredgecolor="white")


def _ring_outlying(
    ax: Axes, plane: tuple[int, int], outlying: tuple[ArrayLike, ArrayLike], sides: tuple[Lab, Lab]
) -> None:
    """Rings around readings that lie far from the others of their side."""
    marked: list[Any] = []
    for lab, given, name in zip(sides, outlying, ("soiled", "clean"), strict=True):
        where = np.asarray(given)
        if where.shape != lab.shape[:1] or where.dtype != np.bool_:
            raise ValueError(
                f"outlying must hold one bool for each of the {len(lab)} {name} readings; it has "
                f"shape {where.shape} and type {where.dtype}."
            )
        marked.append(lab[where])
    points = np.concatenate(marked)[:, list(plane)]
    if len(points):
        ax.plot(
            *points.T, "o", markerfacecolor="none", markeredgecolor="#1d1d1b", markersize=10,
            label="outlying, still counted",
        )  # fmt: skip


def _add_photographed(
    ax: Axes, plane: tuple[int, int], photographed: tuple[ArrayLike, ArrayLike]
) -> None:
    """Colours that a photograph shows of the same stone, smaller and hollow."""
    marks = (("as found, photograph", "s", SOILED), ("clean, photograph", "D", REFERENCE))
    for given, (name, mark, shade) in zip(photographed, marks, strict=True):
        lab = np.asarray(given, dtype=float)
        if lab.ndim != 2 or lab.shape[1] != 3 or not np.isfinite(lab).all():
            raise ValueError(
                f"photographed must hold finite L*, a*, b* of each square, shape (m, 3); one side "
                f"has shape {lab.shape}."
            )
        ax.plot(
            lab[:, plane[0]], lab[:, plane[1]], mark, markerfacecolor="none",
            markeredgecolor=shade, markersize=4.5, markeredgewidth=0.9, label=name,
        )  # fmt: skip
