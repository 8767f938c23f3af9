"""For which weights treating does less harm than leaving, over all weights that there could be."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.judgement.harm.normal_draws import Array


def weights_favouring(gain: ArrayLike) -> tuple[float, tuple[float, ...]]:
    """
    Share of all weights that favour treating, and the mean of those that do.

    Parameters
    ----------
    gain : array_like, shape (criteria, simulations)
        What treating spares on each criterion; negative where it does more harm than leaving.

    Returns
    -------
    float
        Share of all pairs of weights and simulation in which treating does less harm. [0 to 1]
    tuple of float
        Mean of the weights in those pairs, one for each criterion, summing to one; empty where the
        share is zero.

    Notes
    -----
    The weights that sum to one are all taken as equally likely. In one simulation those that favour
    treating are a simplex cut by a plane, whose content is exact by recursion over its corners
    [1]_. The rank acceptability and central weight of two options are such shares and means [2]_. A
    share of all weights is not the share of people who would hold them.

    References
    ----------
    .. [1] G. Varsi, "The multidimensional content of the frustum of the simplex," Pacific J. Math.
       46, 303-314 (1973). Not read: the recursion is derived from divided differences.
    .. [2] R. Lahdelma, P. Salminen, "SMAA-2: stochastic multicriteria acceptability analysis for
       group decision making," Operations Research 49, 444-454 (2001). Not read.

    Examples
    --------
    Treating spares 4 of one harm and adds 3 of another.

    >>> share, mean = weights_favouring([[4.0], [-3.0]])
    >>> round(share, 3), [round(weight, 3) for weight in mean]
    (0.571, [0.714, 0.286])
    """
    spared = np.asarray(gain, float)
    share = float(_content(spared).mean())
    if not share:
        return 0.0, ()
    # A weight's mean: its corner counts twice, by the properties of the Dirichlet distribution.
    parts = [float(_content(np.vstack([spared, row])).mean()) for row in spared]
    return share, tuple(part / (len(spared) * share) for part in parts)


def _content(gain: Array) -> Array:
    """
    Share of the simplex in which the sum of weight times gain is above zero, simulation by one.

    With a gain a above zero and a gain b below, the share of a simplex is the mean of the shares
    without b and without a, weighted by a and -b. All terms are positive, so that nothing cancels.
    """
    above, below = np.maximum(gain, 0.0), np.maximum(-gain, 0.0)
    # Gains that are not above zero stand as zeros behind the others, where they change nothing.
    above, below = -np.sort(-above, axis=0), -np.sort(-below, axis=0)
    row: list[Array] = [(above[0] > 0).astype(float)] + [np.zeros(gain.shape[1])] * len(below)
    for up in above:
        for place, down in enumerate(below, start=1):
            both = up + down
            row[place] = np.divide(
                up * row[place - 1] + down * row[place], both,
                out=row[place].copy(), where=both > 0,
            )  # fmt: skip
    return row[-1]
