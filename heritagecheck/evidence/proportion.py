"""How sure a share is that was counted: damaged spots among those read, grains among points."""

from __future__ import annotations

import math

_MOST = 10_000_000  # more spots than any survey reads: beyond it the question was mistyped


def clopper_pearson(events: int, count: int, level: float = 0.95) -> tuple[float, float]:
    """
    Exact two-sided interval of a share: covers the truth at least as often as it says.

    Parameters
    ----------
    events : int
        How many of those read show what is asked for, such as damage.
    count : int
        How many were read, each independently of the others.
    level : float
        Confidence. [0 to 1]

    Returns
    -------
    tuple of float
        Lower and upper end. [0 to 1]

    Raises
    ------
    ValueError
        Nothing was read, more events than read, a count that is not whole, or a level outside
        0 to 1.

    Notes
    -----
    Take this one where damage is at stake: it errs on the wide side [1]_. Spots on one panel
    resemble one another and are not independent; counted as if they were, they look surer than
    they are.

    References
    ----------
    .. [1] C. J. Clopper, E. S. Pearson, "The use of confidence or fiducial limits illustrated in
       the case of the binomial," Biometrika 26(4), 404-413 (1934).

    Examples
    --------
    Three damaged spots among 40:

    >>> from heritagecheck.evidence import proportion
    >>> low, high = proportion.clopper_pearson(3, 40)
    >>> print(f"{low:.3f} {high:.3f}")
    0.016 0.204
    """
    one_sided = (1 + _checked(events, count, level)) / 2
    return lower_bound(events, count, one_sided), upper_bound(events, count, one_sided)


def wilson(events: int, count: int, level: float = 0.95) -> tuple[float, float]:
    """
    Wilson's interval of a share: right on average, now and then a little too narrow.

    Parameters
    ----------
    events, count, level
        As in `clopper_pearson`.

    Returns
    -------
    tuple of float
        Lower and upper end. [0 to 1]

    Raises
    ------
    ValueError
        As in `clopper_pearson`.

    Notes
    -----
    For describing a share, such as that of a mineral; not for showing that damage is rare [1]_.

    References
    ----------
    .. [1] E. B. Wilson, "Probable inference, the law of succession, and statistical inference,"
       J. Am. Stat. Assoc. 22, 209-212 (1927).

    Examples
    --------
    >>> from heritagecheck.evidence import proportion
    >>> low, high = proportion.wilson(120, 400)
    >>> print(f"{low:.3f} {high:.3f}")
    0.257 0.347
    """
    from scipy.special import ndtri

    z = float(ndtri((1 + _checked(events, count, level)) / 2))
    share = events / count
    middle = share + z**2 / (2 * count)
    half = z * math.sqrt(share * (1 - share) / count + (z / (2 * count)) ** 2)
    scale = 1 + z**2 / count
    # At the ends the formula gives 0 and 1 but for rounding.
    low = 0.0 if events == 0 else (middle - half) / scale
    high = 1.0 if events == count else (middle + half) / scale
    return low, high


def jeffreys(events: int, count: int, level: float = 0.95) -> tuple[float, float]:
    """
    Jeffreys' interval of a share: equal tails of its posterior under a prior that prefers nothing.

    Parameters
    ----------
    events, count, level
        As in `clopper_pearson`.

    Returns
    -------
    tuple of float
        Lower and upper end. [0 to 1]

    Raises
    ------
    ValueError
        As in `clopper_pearson`.

    Notes
    -----
    Quantiles of Beta(events + 1/2, count - events + 1/2) [1]_, also at 0 events and at all: there
    the ends come close to 0 and 1 without reaching them.

    References
    ----------
    .. [1] L. D. Brown, T. T. Cai, A. DasGupta, "Interval estimation for a binomial proportion,"
       Stat. Sci. 16(2), 101-133 (2001).

    Examples
    --------
    >>> from heritagecheck.evidence import proportion
    >>> low, high = proportion.jeffreys(12, 50)
    >>> print(f"{low:.3f} {high:.3f}")
    0.138 0.371
    """
    from scipy.special import betaincinv

    tail = (1 - _checked(events, count, level)) / 2
    hit, missed = events + 0.5, count - events + 0.5
    # The upper tail is taken from the other side, where small numbers keep their digits.
    return float(betaincinv(hit, missed, tail)), 1 - float(betaincinv(missed, hit, tail))


def upper_bound(events: int, count: int, level: float = 0.95) -> float:
    """
    Exact one-sided upper bound of a share: how large it may still be.

    Parameters
    ----------
    events, count, level
        As in `clopper_pearson`; the level is one-sided.

    Returns
    -------
    float
        Upper bound. [0 to 1]

    Raises
    ------
    ValueError
        As in `clopper_pearson`.

    Notes
    -----
    With no event among n it is 1 - (1 - level)^(1/n), at 95 % about 3/n [1]_: no damage in 20
    spots leaves up to 14 % damage possible.

    References
    ----------
    .. [1] J. A. Hanley, A. Lippman-Hand, "If nothing goes wrong, is everything all right?
       Interpreting zero numerators," J. Am. Med. Assoc. 249, 1743-1745 (1983).

    Examples
    --------
    >>> from heritagecheck.evidence import proportion
    >>> print(f"{proportion.upper_bound(0, 20):.3f}")
    0.139
    """
    from scipy.special import betaincinv

    level = _checked(events, count, level)
    if events == 0:
        return -math.expm1(math.log1p(-level) / count)
    return 1.0 if events == count else float(betaincinv(events + 1, count - events, level))


def lower_bound(events: int, count: int, level: float = 0.95) -> float:
    """
    Exact one-sided lower bound of a share: how large it is at least.

    Parameters
    ----------
    events, count, level
        As in `clopper_pearson`; the level is one-sided.

    Returns
    -------
    float
        Lower bound. [0 to 1]

    Raises
    ------
    ValueError
        As in `clopper_pearson`.

    References
    ----------
    .. [1] C. J. Clopper, E. S. Pearson, Biometrika 26(4), 404-413 (1934).

    Examples
    --------
    Soiling gone from 28 of 30 spots:

    >>> from heritagecheck.evidence import proportion
    >>> print(f"{proportion.lower_bound(28, 30):.2f}")
    0.80
    """
    return 1 - upper_bound(count - events, count, level)


def count_needed(share: float, level: float = 0.95, events: int = 0) -> int:
    """
    Spots to read before damage is shown to be rarer than a given share.

    Parameters
    ----------
    share : float
        Share that the upper bound must reach, such as 0.01. [0 to 1]
    level : float
        One-sided confidence. [0 to 1]
    events : int
        Damaged spots that the plan still bears with; 0 stops at the first.

    Returns
    -------
    int
        Smallest count with ``upper_bound(events, count, level) <= share``.

    Raises
    ------
    ValueError
        Share or level outside 0 to 1, events negative or not whole, or a share so small that ten
        million spots would not do.

    Notes
    -----
    For independent spots. Where spots lie on a few panels, more are needed, and more panels rather
    than more spots on each. The plan must be fixed before reading: adding spots until the number
    pleases makes the bound too low.

    References
    ----------
    .. [1] C. J. Clopper, E. S. Pearson, Biometrika 26(4), 404-413 (1934).

    Examples
    --------
    To show with 95 % confidence that fewer than 1 in 100 spots are damaged, and with one damaged:

    >>> from heritagecheck.evidence import proportion
    >>> proportion.count_needed(0.01), proportion.count_needed(0.01, events=1)
    (299, 473)
    """
    from scipy.special import bdtr

    if not 0 < share < 1:
        raise ValueError(f"share = {share:g}: it lies between 0 and 1; 1 % is 0.01.")
    _checked(events, max(events, 1), level)

    def shown(count: int) -> bool:
        # The bound lies at or below the share when so few events would be rarer than 1 - level.
        return bool(bdtr(events, count, share) <= 1 - level)

    low, high = events, max(2 * events, 1)
    while not shown(high):
        low, high = high, 2 * high
        if high > _MOST:
            raise ValueError(
                f"share = {share:g} would take more than ten million spots. Was it given in %?"
            )
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if shown(middle) else (middle, high)
    return high


def point_count_two_sigma(share_pct: float, points: int) -> float:
    """
    Two standard deviations of a mineral's share by point counting.

    Parameters
    ----------
    share_pct : float
        Share of the points that fell on the mineral. [%]
    points : int
        Points counted.

    Returns
    -------
    float
        2 sqrt(p (100 - p) / n). [%, absolute]

    Raises
    ------
    ValueError
        The share lies outside 0 to 100 or no whole number of points was counted.

    Notes
    -----
    Holds where grains are smaller than the spacing of the points, and poorly below about 5 % or
    with fewer than five points on the mineral [1]_: at 0 % it gives 0, which is not knowledge. Take
    `clopper_pearson` there; 5 % of dark mica is enough to set the limit of a granite.

    References
    ----------
    .. [1] L. van der Plas, A. C. Tobi, "A chart for judging the reliability of point counting
       results," Am. J. Sci. 263(1), 87-90 (1965). DOI 10.2475/ajs.263.1.87

    Examples
    --------
    10 % biotite among 300 points, give or take

    >>> from heritagecheck.evidence import proportion
    >>> round(proportion.point_count_two_sigma(10, 300), 1)
    3.5
    """
    if not 0 <= share_pct <= 100:
        raise ValueError(f"share_pct = {share_pct:g}: it runs from 0 to 100.")
    if points < 1 or points != int(points):
        raise ValueError(f"points = {points:g}: at least one whole point must be counted.")
    return 2 * math.sqrt(share_pct * (100 - share_pct) / points)


def _checked(events: int, count: int, level: float) -> float:
    """Return the level, once events, count and level make sense together."""
    for name, value in (("events", events), ("count", count)):
        if not (math.isfinite(value) and value == int(value) and value >= 0):
            raise ValueError(f"{name} = {value:g}: it must be a whole number of 0 or more.")
    if count < 1:
        raise ValueError("count = 0: nothing was read, so no share can be given.")
    if events > count:
        raise ValueError(f"events = {events} can't be more than count = {count}.")
    if not 0 < level < 1:
        raise ValueError(f"level = {level:g}: it lies between 0 and 1, such as 0.95.")
    return float(level)
