"""Harm of leaving and of treating, criterion by criterion, with its doubt."""

from __future__ import annotations

from typing import TYPE_CHECKING

from heritagecheck.judgement.options import option_name
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.judgement.precaution import per_cent
from heritagecheck.judgement.recommendation import Recommendation

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MARKS = (("o", "#1d1d1b"), ("s", "#1f6f8b"), ("^", "#a5650f"), ("D", "#75619b"))
SHOWN_IN_FIGURE = 3
WORST = 10
STEP = 12
GRID = "#ddd8cc"
# Total harm, least share of draws that favour it, and members for whom it passes.
COLUMNS = ("total harm", "draws for", "members for")


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
        A row for leaving and for at most three treatments, the least harmful first and the one
        recommended always among them. Across it a scale from 0 (none) to 10 (worst) for each
        criterion, then total harm, the least share of draws that favour it over the members, and
        how many members it passes for.
    """
    import matplotlib.pyplot as plt

    tests = recommendation.leading(SHOWN_IN_FIGURE)
    names = ["leave", *(option_name(test.option) for test in tests)]
    rows = [recommendation.harm_of_leaving, *(test.harm for test in tests)]
    if ax is None:
        _, ax = plt.subplots(figsize=harm_size(recommendation), layout="constrained")
    scales = [STEP * number for number in range(len(CRITERIA))]
    for left, criterion in zip(scales, CRITERIA, strict=True):
        ticks = [left, left + WORST / 2, left + WORST]
        ax.vlines(ticks, -0.5, len(rows) - 0.5, color=GRID, linewidth=0.7, zorder=0)
        for row, (harm, (mark, shade)) in enumerate(zip(rows, MARKS, strict=False)):
            mean, low, high = harm[criterion]
            ax.hlines(row, left + low, left + high, color=shade, linewidth=1.6)
            ax.plot(left + mean, row, mark, color=shade, markersize=4.5)
    columns = [scales[-1] + STEP * (1.2 + 0.72 * place) for place in range(len(COLUMNS))]
    for row, words in enumerate(_numbers(recommendation)):
        for x, word in zip(columns, words, strict=True):
            ax.text(x, row, word, ha="center", va="center_baseline")
    ax.set_xticks([left + part for left in scales for part in (0, WORST / 2, WORST)])
    ax.set_xticklabels(["0", "5", "10"] * len(CRITERIA), color="#5b574e")
    ax.set(xlim=(-1, columns[-1] + STEP / 2), ylim=(len(rows) - 0.5, -0.5))
    ax.set_yticks(range(len(rows)), names)
    above = ax.secondary_xaxis("top")
    heads = [name.replace(" ", "\n") for name in (*CRITERIA, *COLUMNS)]
    above.set_xticks([left + WORST / 2 for left in scales] + columns, heads, linespacing=0.95)
    for side in (ax, above):
        side.tick_params(length=0, pad=2)
        side.spines[:].set_visible(False)
    return ax


def _numbers(recommendation: Recommendation) -> list[tuple[str, str, str]]:
    """Total harm, least share of draws for it and members passing, row by row."""
    tests = recommendation.leading(SHOWN_IN_FIGURE)
    leave = [(f"{tests[0].total_of_leaving:.1f}", "", "")] if tests else [("", "", "")]
    return leave + [
        (
            f"{test.total:.1f}",
            per_cent(test.least_share).replace("more than ", ">").replace("less than ", "<"),
            f"{test.members_passing} of {len(test.shares)}",
        )
        for test in tests
    ]


def harm_size(recommendation: Recommendation) -> tuple[float, float]:
    """
    Size that suits the figure of harm.

    Parameters
    ----------
    recommendation : Recommendation
        What was recommended.

    Returns
    -------
    tuple of float
        Width and height. [inch]
    """
    rows = 1 + min(SHOWN_IN_FIGURE, len(recommendation.against_leaving))
    return 7.3, 0.5 + 0.17 * rows
