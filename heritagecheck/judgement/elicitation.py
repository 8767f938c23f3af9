"""How a member says what matters: points on the harm scale, or two criteria at a time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck import tables
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.tables.row_types import RandomIndex

MOST_POINTS = 100.0
MOST_TIMES = 9.0  # the scale of comparisons ends there
DECIMALS = 1  # of points: finer than anybody means a weight
ROUNDS = 1000  # far more than the power method needs for positive matrices of this size
CLOSE = 1e-13
NAMED = 2  # comparisons to be looked at again
# What a page offers for a comparison; any ratio from 1/9 to 9 may be given in code.
TIMES = {
    "9": "9 times as much", "5": "5 times as much", "3": "3 times as much",
    "2": "twice as much", "1": "as much", "1/2": "half as much", "1/3": "a third as much",
    "1/5": "a fifth as much", "1/9": "a ninth as much",
}  # fmt: skip
Matrix = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class ElicitedWeights:
    """
    Weights of one member, as records of the survey hold them.

    `swings` are points, the greatest 100: `View.swing`. `consistency_ratio` is None for points.
    `look_again` names the comparisons that fit the others least, where they are not consistent.
    """

    swings: Mapping[str, float]
    consistency_ratio: float | None
    look_again: tuple[str, ...]

    @property
    def shares(self) -> dict[str, float]:
        """Weights that sum to one."""
        total = sum(self.swings.values())
        return {criterion: swing / total for criterion, swing in self.swings.items()}

    @property
    def consistent(self) -> bool:
        """Whether the comparisons fit one another; points always do."""
        return not self.look_again

    def __str__(self) -> str:
        """Say which criterion matters how much, the most important first."""
        shares = self.shares
        ordered = sorted(shares, key=lambda criterion: -shares[criterion])
        said = ", ".join(f"{criterion} {100 * shares[criterion]:.0f} %" for criterion in ordered)
        if self.consistency_ratio is None:
            return said
        return f"{said}; consistency ratio {self.consistency_ratio:.2f}"


@dataclass(frozen=True, eq=False)
class Priorities:
    """Weights that sum to one from a matrix of comparisons, and how well the matrix fits them."""

    weights: tuple[float, ...]
    largest_eigenvalue: float
    consistency_index: float
    consistency_ratio: float


def swing_weights(points: Mapping[str, float]) -> ElicitedWeights:
    """
    Take weights given as points out of 100.

    Each point says how much it matters to go from 0 to 10 on the harm scale of a criterion, against
    the criterion for which that matters most, which has 100.

    Raises
    ------
    ValueError
        A criterion is missing or unknown, points lie outside of 0 to 100, or none has 100.

    Examples
    --------
    >>> found = swing_weights({"fabric": 100, "historic evidence": 80, "appearance": 50,
    ...                        "people": 100, "environment": 50, "resources": 20})
    >>> round(found.shares["fabric"], 2)
    0.25
    """
    _check_named(points)
    for criterion, value in points.items():
        if not 0 <= value <= MOST_POINTS:
            raise ValueError(f"{criterion} has {value:g} points: give 0 to {MOST_POINTS:g}.")
    if max(points.values()) < MOST_POINTS:
        raise ValueError(
            f"No criterion has {MOST_POINTS:g} points: give them to the one that matters most, and "
            "compare the others with it."
        )
    return ElicitedWeights({name: float(points[name]) for name in CRITERIA}, None, ())


def compared_weights(comparisons: Mapping[tuple[str, str], float]) -> ElicitedWeights:
    """
    Take weights given by comparing two criteria at a time.

    Parameters
    ----------
    comparisons : mapping of pair of str to float
        How many times as much the first criterion of a pair matters as the second, each from 0 to
        10 on its harm scale. [1/9 to 9] Each of the 15 pairs once, either way round.

    Returns
    -------
    ElicitedWeights
        Points to one decimal, the greatest 100.

    Raises
    ------
    ValueError
        A pair is missing, given twice or unknown, or a number is outside 1/9 to 9.

    Notes
    -----
    See `priorities`. Above a consistency ratio of 0.10 the comparisons that fit the others least
    are named, to be looked at again; nothing is changed for the member.
    """
    size = len(CRITERIA)
    matrix = np.ones((size, size))
    given = set()
    for pair, times in comparisons.items():
        if len(set(pair)) != 2 or not set(pair) <= set(CRITERIA):
            raise ValueError(
                f"{' and '.join(pair)} is not a pair of criteria. Criteria: {', '.join(CRITERIA)}."
            )
        if not 1 / MOST_TIMES - CLOSE <= times <= MOST_TIMES:
            raise ValueError(
                f"{pair[0]} against {pair[1]} is {times:g}: give 1 for as much, up to "
                f"{MOST_TIMES:g} for the most, or 1/2 to 1/{MOST_TIMES:g} for less."
            )
        if frozenset(pair) in given:
            raise ValueError(f"{pair[0]} and {pair[1]} are compared twice: keep one.")
        given.add(frozenset(pair))
        first, second = map(CRITERIA.index, pair)
        matrix[first, second], matrix[second, first] = times, 1 / times
    missing = [pair for pair in combinations(CRITERIA, 2) if frozenset(pair) not in given]
    if missing:
        words = "; ".join(" and ".join(pair) for pair in missing)
        raise ValueError(f"Not compared yet: {words}.")
    found = priorities(matrix)
    most = max(found.weights)
    swings = {
        criterion: round(MOST_POINTS * weight / most, DECIMALS)
        for criterion, weight in zip(CRITERIA, found.weights, strict=True)
    }
    off = found.consistency_ratio > tables.threshold("consistency_ratio_max")
    again = _worst_fitting(matrix, found.weights) if off else ()
    return ElicitedWeights(swings, found.consistency_ratio, again)


def ratio(code: str) -> float:
    """A code of `TIMES`, such as 1/3, as a number."""
    whole, _, part = code.partition("/")
    return float(whole) / float(part or 1)


def priorities(comparisons: ArrayLike) -> Priorities:
    """
    Weights from a matrix of comparisons.

    Parameters
    ----------
    comparisons : array_like, shape (n, n)
        In row i and column j, how many times as much i matters as j; n from 3 to 6.

    Raises
    ------
    ValueError
        The matrix is not square, of another size, or holds a pair that is not one divided by the
        other.

    Notes
    -----
    The weights are the principal eigenvector. Consistency index: (λ - n) / (n - 1). Consistency
    ratio: that divided by its mean for random comparisons, `tables/random_index.csv` [1]_. Other
    tables of that mean differ by about a tenth.

    References
    ----------
    .. [1] T. L. Saaty, The analytic hierarchy process, McGraw-Hill (1980); not read.

    Examples
    --------
    >>> found = priorities([[1, 3, 5], [1 / 3, 1, 3], [1 / 5, 1 / 3, 1]])
    >>> [round(weight, 3) for weight in found.weights], round(found.consistency_ratio, 3)
    ([0.637, 0.258, 0.105], 0.033)
    """
    matrix = np.asarray(comparisons, float)
    index = {row.compared: row.index for row in RandomIndex.rows()}
    size = len(matrix)
    if matrix.shape != (size, size) or size not in index:
        sizes = ", ".join(map(str, index))
        raise ValueError(
            f"comparisons has the shape {matrix.shape}: give as many rows as columns, of {sizes}."
        )
    if not (matrix > 0).all() or not np.allclose(matrix * matrix.T, 1, atol=1e-6):
        raise ValueError(
            "Each comparison must be above 0, and 1 divided by the one the other way round."
        )
    weights = np.full(size, 1 / size)
    for _ in range(ROUNDS):
        # Not by LAPACK, whose last digits differ between machines.
        product = np.einsum("ij,j->i", matrix, weights)
        before, weights = weights, product / product.sum()
        if np.abs(weights - before).max() < CLOSE:
            break
    largest = float(np.einsum("ij,j->i", matrix, weights).sum())
    consistency = max(0.0, (largest - size) / (size - 1))
    return Priorities(tuple(map(float, weights)), largest, consistency, consistency / index[size])


def _worst_fitting(matrix: Matrix, weights: Sequence[float]) -> tuple[str, ...]:
    """Comparisons that differ most from what all of them together give, in words."""
    given = {
        (first, second): float(matrix[first, second])
        for first, second in combinations(range(len(CRITERIA)), 2)
    }
    overall = {pair: weights[pair[0]] / weights[pair[1]] for pair in given}
    off = sorted(given, key=lambda pair: -abs(np.log(given[pair] / overall[pair])))
    return tuple(
        f"{CRITERIA[pair[0]]} against {CRITERIA[pair[1]]}: {_times(given[pair])} given, "
        f"{_times(overall[pair])} by the other comparisons"
        for pair in off[:NAMED]
    )


def _times(ratio: float) -> str:
    """How many times as much, or which part."""
    return f"{ratio:.2g} times" if ratio >= 1 else f"1/{1 / ratio:.2g} times"


def _check_named(points: Mapping[str, float]) -> None:
    """Refuse points of which a criterion is missing or unknown."""
    missing = [name for name in CRITERIA if name not in points]
    unknown = [name for name in points if name not in CRITERIA]
    if missing:
        raise ValueError(f"Points are missing for {', '.join(missing)}.")
    if unknown:
        known = ", ".join(CRITERIA)
        raise ValueError(f"{', '.join(unknown)} is not a criterion. Criteria: {known}.")
