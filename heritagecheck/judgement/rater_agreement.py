"""How far several people agree: Krippendorff's alpha, Kendall's W, the spread of scores."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.survey.records import Opinion
from heritagecheck.survey.records.team import AFTER, SCORES

Level = Literal["nominal", "ordinal", "interval"]
Floats = NDArray[np.float64]


def krippendorff_alpha(values: ArrayLike, level: Level) -> float | None:
    """
    Agreement of several people over several units, beyond what chance would give.

    Parameters
    ----------
    values : array_like, shape (people, units)
        What each gave for each unit, as numbers; NaN where somebody gave nothing.
    level : {"nominal", "ordinal", "interval"}
        Whether values only differ, have an order, or lie on a scale of equal steps.

    Returns
    -------
    float or None
        1 is full agreement, 0 is what chance would give, and below 0 they agree less than that.
        None where it is not defined: no unit has two values, or all values are the same.

    Raises
    ------
    ValueError
        `values` is not a table of people by units, or holds an infinite number.

    Notes
    -----
    alpha = 1 - observed / expected disagreement, both over pairs of values of one unit and of all
    units [1]_. A unit with a single value enters neither. The sums are from the coincidences of
    values, so that the order of people changes nothing. With few units it is very uncertain.

    References
    ----------
    .. [1] K. Krippendorff, "Computing Krippendorff's alpha-reliability," University of
       Pennsylvania (2011). Not read: the formula is from memory, and held against the values of a
       general-purpose library in `tests/published/decision_agreement.csv`.

    Examples
    --------
    >>> krippendorff_alpha([[1, 1, 2, 2], [1, 1, 2, 2]], "nominal")
    1.0
    """
    table = _people_by_units(values)
    levels = np.unique(table[np.isfinite(table)])
    counts = (table[:, :, None] == levels).sum(axis=0).astype(float)
    given = counts.sum(axis=1)
    counts, given = counts[given > 1], given[given > 1]
    total = counts.sum(axis=0)
    number = total.sum()
    if np.count_nonzero(total) < 2:
        return None
    # Pairs of values of one unit, each unit counting as its number of values.
    weighted = counts / (given - 1)[:, None]
    together = np.einsum("uc,uk->ck", weighted, counts) - np.diag(weighted.sum(axis=0))
    apart = _squared_distances(levels, total, level)
    observed = float((together * apart).sum())
    expected = float((total[:, None] * total * apart).sum()) / (number - 1)
    return float(1 - observed / expected)


def _squared_distances(levels: Floats, total: Floats, level: Level) -> Floats:
    """Squared distance of each pair of values."""
    if level == "nominal":
        return 1 - np.eye(len(levels))
    if level == "interval":
        return np.asarray((levels[:, None] - levels) ** 2)
    # Between two ranks lie all values given in between, and half of those given at the ends.
    middle = np.cumsum(total) - total / 2
    return np.asarray((middle[:, None] - middle) ** 2)


def kendalls_w(values: ArrayLike) -> float | None:
    """
    How far several people put the same things into the same order.

    Parameters
    ----------
    values : array_like, shape (people, things)
        What each gave each thing, as numbers; only their order counts.

    Returns
    -------
    float or None
        1 where all give one order, near 0 where the orders have nothing in common. None where it is
        not defined: fewer than two people or things, or nobody puts one above another.

    Raises
    ------
    ValueError
        `values` is not a table of people by things, or a value is missing.

    Notes
    -----
    W = 12 S / (m² (n³ - n) - m T), with m people, n things, S the squared deviations of the sums of
    ranks, and T the sum of t³ - t over every group of t equal values of one person [1]_. Without T,
    the correction for ties, W would be lower.

    References
    ----------
    .. [1] M. G. Kendall, Rank Correlation Methods, Griffin (1948); from memory.

    Examples
    --------
    >>> kendalls_w([[100, 80, 20], [90, 70, 10]])
    1.0
    """
    table = _people_by_units(values)
    if np.isnan(table).any():
        raise ValueError("A value is missing: to compare orders, each person rates everything.")
    people, things = table.shape
    if people < 2:
        return None
    equal = (table[:, :, None] == table[:, None, :]).sum(axis=2)
    below = (table[:, :, None] > table[:, None, :]).sum(axis=2)
    ranks = below + (equal + 1) / 2
    sums = ranks.sum(axis=0)
    spread = float(((sums - sums.mean()) ** 2).sum())
    # Each of t equal values says t, so that all of them give t³ - t together.
    ties = int((equal**2 - 1).sum())
    most = people**2 * (things**3 - things) - people * ties
    return float(12 * spread / most) if most else None


def _people_by_units(values: ArrayLike) -> Floats:
    """The values as a table of numbers."""
    table = np.asarray(values, float)
    if table.ndim != 2:
        raise ValueError(
            f"values has {table.ndim} dimensions: give a row for each person and a column for each "
            "unit."
        )
    if np.isinf(table).any():
        raise ValueError("values holds an infinite number: NaN means not given.")
    return table


# -- Scores of expected harm -----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ScoreSpread:
    """Scores of one zone by one question: member to score, from 0 (no harm) to 10 (worst)."""

    zone: str
    question: str
    scores: Mapping[str, int]

    @property
    def words(self) -> str:
        """The question in words."""
        return SCORES[self.question]

    @property
    def middle(self) -> float:
        """Median of the scores; of an even number, halfway between the middle two."""
        return float(median(self.scores.values()))

    def __str__(self) -> str:
        """Give the scores from the lowest to the highest, each with its member, and the middle."""
        ordered = sorted(self.scores.items(), key=lambda item: (item[1], item[0]))
        said = ", ".join(f"{score} ({member})" for member, score in ordered)
        if len(ordered) < 2:
            return said
        apart = ordered[-1][1] - ordered[0][1]
        return f"{said}; middle {self.middle:g}, {apart} between lowest and highest"


def score_spreads(opinions: Iterable[Opinion]) -> tuple[ScoreSpread, ...]:
    """Spread of each zone and question with a score; of a member's scores, that after talk."""
    found: dict[tuple[str, str], dict[str, int]] = {}
    for one in sorted(opinions, key=lambda opinion: opinion.given == AFTER):
        for question in SCORES:
            score = getattr(one, question)
            if score is not None:
                found.setdefault((one.zone, question), {})[one.member] = score
    return tuple(ScoreSpread(*place, scores) for place, scores in sorted(found.items()))


def score_alpha(spreads: Sequence[ScoreSpread], question: str) -> float | None:
    """Krippendorff's alpha of the scores by one question, by their order; None if not defined."""
    rows = [one.scores for one in spreads if one.question == question]
    members = sorted({member for row in rows for member in row})
    if not rows:
        return None
    return krippendorff_alpha(
        [[row.get(member, float("nan")) for row in rows] for member in members], "ordinal"
    )
