"""Harm of leaving and of treating, criterion by criterion, with its doubt."""

from __future__ import annotations

from typing import TYPE_CHECKING

from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.judgement.recommendation import Recommendation, method_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MARKS = (("o", "#1d1d1b"), ("s", "#1f6f8b"), ("^", "#b5761b"), ("D", "#75619b"))
SHOWN = 3


def draw_harm(recommendation: Recommendation, ax: Axes | None = None) -> Axes:
    """
    Harm by option: mean and the range that holds 90 % of the draws.

    Parameters
    ----------
    recommendation : Recommendation
        What was recommended.
    ax : matplotlib Axes, optional
        Where to draw.

    Returns
    -------
    matplotlib Axes
        Leaving and at most three treatments, the least harmful first.
    """
    import matplotlib.pyplot as plt

    if ax is None:
        _, ax = plt.subplots(figsize=(6.4, 3.2), layout="constrained")
    options = {"leave": recommendation.harm_of_leaving}
    tests = sorted(recommendation.against_leaving.values(), key=lambda test: test.expected)
    for test in tests[:SHOWN]:
        name = method_name(test.option.partition(",")[0]).split(",")[0].split(" (")[0]
        panels = test.option.partition(", ")[2]
        options[f"{name} ({panels})" if panels else name] = test.harm
    step = 0.8 / len(options)
    for place, ((name, harm), (mark, shade)) in enumerate(
        zip(options.items(), MARKS, strict=False)
    ):
        rows = [row + (place - (len(options) - 1) / 2) * step for row in range(len(CRITERIA))]
        means = [harm[criterion][0] for criterion in CRITERIA]
        lows = [harm[criterion][1] for criterion in CRITERIA]
        highs = [harm[criterion][2] for criterion in CRITERIA]
        ax.hlines(rows, lows, highs, color=shade, linewidth=1.4)
        ax.plot(means, rows, mark, color=shade, markersize=4.5, label=name)
    ax.set(xlim=(0, 10), xlabel="harm, 0 none to 10 worst", yticks=range(len(CRITERIA)))
    ax.set_yticklabels(CRITERIA)
    ax.invert_yaxis()
    ax.grid(axis="x", color="#ddd8cc", linewidth=0.6)
    ax.spines[["top", "right", "left"]].set_visible(False)
    ax.legend(loc="lower left", bbox_to_anchor=(-0.02, 1.0), ncols=1, frameon=False, fontsize=8)
    return ax
