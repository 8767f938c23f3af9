"""What published tables print of ranks and agreement, made of what the package offers."""

import itertools
from collections.abc import Iterator

import numpy as np
from scipy import stats

from heritagecheck.judgement.weights_at_stake import share_favouring


def kendalls_chi2(w: float, people: int, things: int) -> float:
    """Friedman's chi-squared of Kendall's W: m (n - 1) W (M. G. Kendall, 1948)."""
    return people * (things - 1) * w


def _where_better(one: np.ndarray, other: np.ndarray) -> tuple[float, float]:
    """From which to which weight of the first of two criteria one option is the better."""
    share = share_favouring((one - other)[:, None])
    return (1 - share, 1.0) if one[0] - other[0] > one[1] - other[1] else (0.0, share)


def _ranks(options: np.ndarray, which: int) -> Iterator[tuple[float, float, int]]:
    """Stretches of the first weight, and the rank of an option on each."""
    better = [
        _where_better(other, options[which]) for at, other in enumerate(options) if at != which
    ]
    ends = np.unique([0.0, 1.0, *np.ravel(better)])
    for low, high in itertools.pairwise(ends):
        middle = (low + high) / 2
        yield low, high, 1 + sum(start < middle < end for start, end in better)


def rank_acceptability(options: np.ndarray, which: int, rank: int) -> float:
    """Share of weights of two criteria that give an option a rank (Lahdelma and Salminen, 2001)."""
    return sum(high - low for low, high, found in _ranks(options, which) if found == rank)


def central_weight(options: np.ndarray, which: int) -> float:
    """Mean first weight of those that put an option first (Lahdelma and Salminen, 2001)."""
    first = [(low, high) for low, high, rank in _ranks(options, which) if rank == 1]
    return sum((high**2 - low**2) / 2 for low, high in first) / sum(b - a for a, b in first)


def first_rank_of_normals(means: np.ndarray, deviations: np.ndarray, weights: np.ndarray) -> float:
    """Probability that the first of two options with independent normal criteria is the better."""
    mean = ((means[0] - means[1]) * weights).sum()
    deviation = np.sqrt(((deviations**2).sum(axis=0) * weights**2).sum())
    return float(stats.norm.cdf(mean / deviation))
