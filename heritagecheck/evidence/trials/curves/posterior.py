"""The posterior of a dose-response curve, summed on a grid over location, spread and panels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import ceil, log, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from heritagecheck.evidence.trials.curves import likelihood
from heritagecheck.tables import threshold

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# Prior of the spread of (log) thresholds: median and standard deviation of its logarithm.
SPREAD_MEDIAN, SPREAD_LOG_SD = 0.3, 1.0
# Prior of the spread between groups: median of a half-normal, a factor of 1.35 in dose.
GROUP_SD_MEDIAN = 0.3
_MEDIAN = 0.6745  # of a half-normal of scale 1
# Six nodes, closest where the half-normal has most weight; 0 is no node, as panels always differ.
_SD_NODES = np.array([0.2, 0.6, 1.0, 1.5, 2.1, 2.8])
_SPREAD_REACH = 2.6  # standard deviations of the prior that the grid covers
_TAIL_REACH = 14.0  # spreads beyond the tested doses, where the prior has fallen to 1e-6
_TAIL_STEP = 1.23  # ratio of steps of the grid beyond the tested doses
KEPT = 14.0  # log posterior below the best at which a zoom cuts the grid: e^-14 is 1e-6
_NODES = (12, 40), (18, 90)  # spreads and locations: first looks, last one
COUNTS = 17.0  # likewise, below which a node is not calculated: e^-17 is less than LEAST_WEIGHT
LOOKS = 5  # zooms at most; two or three mostly settle the grid
_KEPT_SUMS = 16  # some hundred kilobytes each
LEAST_WEIGHT = 1e-7  # of the best node's, below which a node is left out


@dataclass(frozen=True, slots=True, eq=False)
class Classes:
    """
    Spots counted by dose, panel and group, sorted so that the rows of a panel are adjacent.

    Two are equal where their counts are. Where there is one group of identical panels, only one is
    stored and `copies` says how many there are.
    """

    x: FloatArray
    spots: FloatArray
    events: FloatArray
    first: IntArray
    group: IntArray
    groups: int
    panelled: bool
    copies: int = 1

    @property
    def _counted(self) -> tuple[object, ...]:
        counts = self.x, self.spots, self.events, self.first, self.group
        return *(one.tobytes() for one in counts), self.groups, self.panelled, self.copies

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Classes) and self._counted == other._counted

    def __hash__(self) -> int:
        return hash(self._counted)


def counted(x: FloatArray, outcome: NDArray[np.bool_], panel: NDArray[np.int64] | None) -> Classes:
    """Count spots of one group and one condition by panel and dose."""
    spots: FloatArray = np.zeros((x.size, 5))
    spots[:, 1] = 0 if panel is None else panel
    spots[:, 2] = x
    return classes_of(spots, outcome, panelled=panel is not None)[0]


def classes_of(
    spots: FloatArray, outcome: NDArray[np.bool_], *, panelled: bool
) -> tuple[Classes, FloatArray]:
    """
    Count spots by group, panel, dose and conditions.

    Columns of `spots`: group, panel, x, and the shifts by pulses and by water. Returns the classes
    and the two shifts of each.
    """
    # n spots with correlation r are worth n / (1 + (n - 1) r) independent ones, which never exceeds
    # 1 / r (design effect: Kish 1965).
    most = 1 / threshold("panel_correlation") if panelled else np.inf
    keys, which = np.unique(spots, axis=0, return_inverse=True)
    number = np.bincount(which.ravel()).astype(float)
    events = np.bincount(which.ravel(), weights=outcome).astype(float)
    counted = np.minimum(1, most / number)
    new = np.concatenate([[True], (np.diff(keys[:, :2], axis=0) != 0).any(axis=1)])
    first = np.append(np.flatnonzero(new), keys.shape[0])
    classes = Classes(
        x=np.ascontiguousarray(keys[:, 2]),
        spots=number * counted,
        events=events * counted,
        first=first,
        group=keys[first[:-1], 0].astype(np.int64),
        groups=int(keys[-1, 0]) + 1,
        panelled=panelled,
    )
    return classes, keys[:, 3:]


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """
    Weighted cells of a grid, listed by their edges: a cell reaches from one edge to the next.

    Each edge has its location, spread, panel sd (an index into `panel_sds`) and the weight of the
    cell that starts there, which is 0 at the last edge of a row. Edges are sorted by `sd`.
    """

    edge: FloatArray
    spread: FloatArray
    sd: IntArray
    weight: FloatArray
    panel_sds: FloatArray
    any_event: bool
    any_none: bool

    def x_levels(self, p: float, levels: FloatArray) -> FloatArray:
        """Quantiles of where the mean over panels reaches probability p."""
        return np.interp(levels, *_weight_at_probability(self, p))

    def p_levels(self, x: float, levels: FloatArray) -> FloatArray:
        """Quantiles of the mean over panels at x."""
        from scipy.special import expit

        return np.asarray(expit(np.interp(levels, *_weight_at_dose(self, x))))

    def x_at(self, p: float) -> FloatArray:
        """Location at which the mean over panels reaches probability p, for each edge."""
        eta = np.array([panel_mean(sd).eta_at(p) for sd in self.panel_sds])
        return np.asarray(self.edge + self.spread * eta[self.sd])

    def logit_at(self, x: float) -> FloatArray:
        """Logit of the mean over panels at x, for each edge."""
        return self._logit(x, self.edge)

    def p_mean(self, x: float) -> float:
        """Chance of one spot at x on a new panel."""
        from scipy.special import expit

        # The last edge of a row is paired with the next row's first, but its weight is 0.
        middle = self._logit(x, (self.edge + np.roll(self.edge, -1)) / 2)
        return float((expit(middle) * self.weight).sum())

    def _logit(self, x: float, mu: FloatArray) -> FloatArray:
        """Logit of the mean over panels at x, for locations `mu`."""
        eta = (x - mu) / self.spread
        found = np.empty_like(eta)
        ends = self.sd.searchsorted(np.arange(self.panel_sds.size + 1))
        for sd, begin, end in zip(self.panel_sds, ends[:-1], ends[1:], strict=True):
            found[begin:end] = panel_mean(sd).logit_at(eta[begin:end])
        return found


# The same curve is needed for several levels at the same place.
@lru_cache(maxsize=_KEPT_SUMS)
def _weight_at_probability(posterior: Posterior, p: float) -> tuple[FloatArray, FloatArray]:
    """Weight below each place where the mean over panels reaches probability p, and the places."""
    return weight_below(posterior.x_at(p), posterior.weight)


@lru_cache(maxsize=_KEPT_SUMS)
def _weight_at_dose(posterior: Posterior, x: float) -> tuple[FloatArray, FloatArray]:
    """Weight below each logit of the mean over panels at x, and the logits."""
    return weight_below(posterior.logit_at(x), posterior.weight)


def weight_below(edges: FloatArray, *weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    """
    Cumulative weight below each edge, and the edges in rising order.

    Within a cell the weight is uniform; its next edge may lie higher or lower. Given several
    weights, the result is the smallest cumulative weight of all.
    """
    widths = np.diff(edges, append=0.0)
    widths[widths == 0] = 1.0  # an empty cell, which has no weight to divide
    order = np.argsort(edges)
    edges = edges[order]
    steps, found = np.diff(edges), np.ones(edges.size)
    for weight in weights:
        # A cell whose next edge is lower has a negative width, so its density is added at its lower
        # end and taken away at its upper end, as for any other cell.
        density = weight / widths
        height = np.diff(density, prepend=0.0)[order].cumsum()[:-1]
        # Rounding can leave a height just below 0, and the curve must not fall.
        below = np.concatenate([[0.0], (np.maximum(height, 0) * steps).cumsum()])
        np.minimum(found, below / below[-1], out=found)
    return found, edges


def edges_of(
    low: FloatArray, high: FloatArray, weight: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Edges and weights of separate cells, in the form that `weight_below` takes."""
    return np.column_stack([low, high]).ravel(), np.column_stack([weight, 0 * weight]).ravel()


@dataclass(frozen=True, slots=True, eq=False)
class PanelMean:
    """Table of the logistic curve averaged over panels whose logits scatter normally."""

    eta: FloatArray
    logit: FloatArray

    def eta_at(self, p: float) -> float:
        """Logit of the middle panel at which the mean is p."""
        return float(np.interp(log(p / (1 - p)), self.logit, self.eta))

    def logit_at(self, eta: FloatArray) -> FloatArray:
        """Logit of the mean over panels where the middle panel has this logit."""
        # Beyond the table's ends the mean rises as the middle panel does.
        beyond = eta - np.clip(eta, self.eta[0], self.eta[-1])
        return np.asarray(np.interp(eta, self.eta, self.logit) + beyond)


@lru_cache(maxsize=64)
def panel_mean(sd: float) -> PanelMean:
    """Table of the logistic-normal mean, by the trapezoid rule over nine standard deviations."""
    from scipy.special import expit, logit

    # The table reaches to where the mean is 1e-13 or less, however far panels scatter.
    eta = np.linspace(-1, 1, 1601) * (30 + 7 * sd)
    if sd == 0:
        return PanelMean(eta, eta)
    # Where panels scatter more the logistic step is narrower in u, and needs more points.
    u = np.linspace(-9, 9, 2 * int(18 * max(1.0, sd)) + 1)
    weight = np.exp(-u * u / 2)
    # Summed by numpy alone, so that the digits do not depend on the number of threads.
    rising = (expit(eta[:, None] + sd * u) * (weight / weight.sum())).sum(axis=1)
    # The curve is symmetric, and near 1 its logit would lose all digits: only the lower half is
    # calculated.
    lower = logit(np.clip(rising[:801], 1e-300, 0.5))
    return PanelMean(eta, np.concatenate([lower, -lower[-2::-1]]))


def panel_sds(classes: Classes, correlation: float) -> tuple[FloatArray, FloatArray]:
    """
    Nodes of the standard deviation between panels [logit], with their prior log weights.

    0 where no panel is named. Else half-normal whose median is the sd that belongs to the rated
    correlation r of spots within a panel, by r = sd² / (sd² + π² / 3).
    """
    if not classes.panelled:
        return np.zeros(1), np.zeros(1)
    median = sqrt(correlation / (1 - correlation) * pi**2 / 3)
    return median / _MEDIAN * _SD_NODES, _half_normal()


def _half_normal() -> FloatArray:
    """Log of the share of a half-normal of scale 1 that lies about each node."""
    from scipy.special import erf

    edges = (_SD_NODES[1:] + _SD_NODES[:-1]) / 2
    return np.log(np.diff(np.concatenate([[0.0], erf(edges / sqrt(2)), [1.0]])))


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Locations `mu`, the edges of their cells (`outer`, one more), and spreads."""

    mu: FloatArray
    outer: FloatArray
    spreads: FloatArray

    @property
    def edges(self) -> FloatArray:
        """Edges between cells, without the two outermost."""
        return self.outer[1:-1]

    @property
    def width(self) -> FloatArray:
        """Width of each cell."""
        return np.diff(self.outer)


@dataclass(frozen=True, slots=True)
class Box:
    """Range in location and in log spread where the grid is fine."""

    mu: tuple[float, float]
    spread: tuple[float, float]

    def is_closer_than(self, other: Box) -> bool:
        """Whether it is clearly smaller, in location or in spread."""
        shrinks = (self.mu[1] - self.mu[0]) < 0.7 * (other.mu[1] - other.mu[0])
        narrows = (self.spread[1] - self.spread[0]) < 0.7 * (other.spread[1] - other.spread[0])
        return shrinks or narrows


@dataclass(frozen=True, slots=True, eq=False)
class Counting:
    """For each spread of a first look, the range of locations that count; inf where none does."""

    spreads: FloatArray
    low: FloatArray
    high: FloatArray

    def rows(self, grid: Grid) -> IntArray:
        """First and last index of the locations of another grid that count, shape (spread, 2)."""
        # Between two spreads that were looked at, whatever counts at either of them counts.
        above = np.minimum(self.spreads.searchsorted(grid.spreads), self.spreads.size - 1)
        below = np.maximum(above - 1, 0)
        low = np.minimum(self.low[below], self.low[above])
        high = np.maximum(self.high[below], self.high[above])
        return np.column_stack([grid.mu.searchsorted(low), grid.mu.searchsorted(high, "right")])


@lru_cache(maxsize=16)
def posteriors(classes: Classes, correlation: float) -> tuple[Posterior, ...]:
    """
    Posterior of each group: one where there is one group, else each under partial pooling.

    The grid first covers all that the prior allows, then zooms in on what the data leave.
    """
    sds, log_sds = panel_sds(classes, correlation)
    box = first_box(classes.x)
    for _ in range(LOOKS):
        grid = grid_over(box, classes.x, *_NODES[0])
        (logs,) = log_posteriors([classes], grid, sds, log_sds)
        left, counting = box_around(logs, grid, logs.max() - KEPT), counting_in(logs, grid)
        if not left.is_closer_than(box):
            break
        box = left
    grid = grid_over(box, classes.x, *_NODES[1])
    (logs,) = log_posteriors([classes], grid, sds, log_sds, counting)
    return tuple(weighted_cells(one, grid, sds, classes, g) for g, one in enumerate(logs))


@lru_cache(maxsize=256)
def bound_of_sound(panels: int, spots: int, confidence: float) -> float:
    """Upper bound of the share hit, where no spot was hit on panels with so many at one dose."""
    one = counted(np.zeros(spots), np.zeros(spots, dtype=bool), np.zeros(spots, dtype=np.int64))
    (found,) = posteriors(replace(one, copies=panels), threshold("panel_correlation"))
    return float(found.p_levels(0.0, np.array([confidence]))[0])


def first_box(x: FloatArray) -> Box:
    """First box: the doses tested and a factor of e beyond, all spreads that the prior allows."""
    reach = _SPREAD_REACH * SPREAD_LOG_SD
    low, high = log(SPREAD_MEDIAN) - reach, log(SPREAD_MEDIAN) + reach
    return Box((float(x.min()) - 1, float(x.max()) + 1), (low, high))


def grid_over(box: Box, x: FloatArray, n_spreads: int, n_mu: int) -> Grid:
    """Even nodes inside the box; beyond the tested doses, steps that grow with the distance."""
    low, high = float(x.min()), float(x.max())
    spreads = np.exp(np.linspace(*box.spread, n_spreads))
    steps = np.arange(1 + ceil(log(4 * _TAIL_REACH * spreads[-1] / spreads[0]) / log(_TAIL_STEP)))
    # The first step resolves the narrowest spread, the last reaches the prior's end of the widest.
    tail = spreads[0] / 4 * _TAIL_STEP**steps
    mu = np.concatenate([low - tail[::-1], np.linspace(*box.mu, n_mu), high + tail])
    mu = np.unique(mu)
    edges = (mu[1:] + mu[:-1]) / 2
    outer = np.concatenate([[2 * mu[0] - edges[0]], edges, [2 * mu[-1] - edges[-1]]])
    return Grid(mu, outer, spreads)


def location_prior(grid: Grid, x: FloatArray) -> FloatArray:
    """
    Log prior of each cell: location and log spread, shape (spread, mu).

    The location is uniform over the doses tested and falls by a factor of e for each spread beyond
    them. The probability at the highest dose is then nearly uniform too, if nothing happened there.
    """
    low, high = float(x.min()), float(x.max())
    outside = np.maximum(0, np.maximum(low - grid.mu, grid.mu - high))
    spread = grid.spreads[:, None]
    # The integral of the plateau and of both exponential tails.
    location = -outside / spread - np.log(high - low + 2 * spread)
    away = (np.log(spread) - log(SPREAD_MEDIAN)) / SPREAD_LOG_SD
    return np.asarray(location - away**2 / 2 + np.log(grid.width))


def log_posteriors(
    places: Sequence[Classes],
    grid: Grid,
    sds: FloatArray,
    log_sds: FloatArray,
    counting: Counting | None = None,
) -> list[FloatArray]:
    """
    Log weight of each node, shape (group, spread, panel sd, mu), for each of several places.

    The places hold the same classes and differ in `x` only. With one group, locations that
    `counting` rules out are not calculated and get minus infinity.
    """
    classes = places[0]
    rows = every_row(grid)
    if counting is not None and classes.groups == 1:
        rows = counting.rows(grid)
    likelihoods = likelihood.log_likelihoods(
        np.stack([at.x for at in places]), classes.spots, classes.events, classes.first,
        classes.group, grid.mu, grid.edges, grid.spreads, sds, rows,
    )  # fmt: skip
    priors = [location_prior(grid, at.x) for at in places]
    if classes.groups == 1:
        return [
            classes.copies * one + prior[:, None] + log_sds[:, None]
            for one, prior in zip(likelihoods, priors, strict=True)
        ]
    group_sds, log_weights = GROUP_SD_MEDIAN / _MEDIAN * _SD_NODES, log_sds[:, None]
    log_weights = log_weights + _half_normal()
    return [
        likelihood.pooled(one, grid.mu, grid.edges, group_sds, prior, log_weights)
        for one, prior in zip(likelihoods, priors, strict=True)
    ]


def every_row(grid: Grid) -> IntArray:
    """First and last index of locations if all count, shape (spread, 2)."""
    return np.tile([0, grid.mu.size], (grid.spreads.size, 1))


def box_around(logs: FloatArray, grid: Grid, least: float) -> Box:
    """Box around the nodes whose log weight is above `least`, and one node further."""
    kept = logs.max(axis=(0, 2)) > least
    columns, rows = np.flatnonzero(kept.any(axis=0)), np.flatnonzero(kept.any(axis=1))
    return Box(_span(grid.mu, columns), _span(np.log(grid.spreads), rows))


def counting_in(logs: FloatArray, grid: Grid) -> Counting:
    """Range of locations that count for each spread, and one node further."""
    kept = logs.max(axis=(0, 2)) > logs.max() - COUNTS
    some = kept.any(axis=1)
    first = np.maximum(kept.argmax(axis=1) - 1, 0)
    last = grid.mu.size - 1 - np.maximum(kept[:, ::-1].argmax(axis=1) - 1, 0)
    return Counting(
        grid.spreads,
        np.where(some, grid.mu[first], np.inf),
        np.where(some, grid.mu[last], -np.inf),
    )


def _span(nodes: FloatArray, kept: IntArray) -> tuple[float, float]:
    """Range from one node before the first to one after the last of the given nodes."""
    return float(nodes[max(kept[0] - 1, 0)]), float(nodes[min(kept[-1] + 1, nodes.size - 1)])


def weighted_cells(
    logs: FloatArray, grid: Grid, sds: FloatArray, classes: Classes, group: int
) -> Posterior:
    """Posterior of one group from the nodes that carry weight."""
    weight = np.pad(counting_weights(logs), [(0, 0), (0, 0), (0, 1)])
    counts = weight > 0
    # A cell needs its end too: the edge after each that counts is listed, with weight 0.
    counts[..., 1:] |= counts[..., :-1]
    sd, spread, mu = np.nonzero(counts)
    kept = weight[counts]
    own = classes.group[np.repeat(np.arange(classes.first.size - 1), np.diff(classes.first))]
    here = own == group
    return Posterior(
        edge=grid.outer[mu],
        spread=grid.spreads[spread],
        sd=sd,
        weight=kept / kept.sum(),
        panel_sds=sds,
        any_event=bool(classes.events[here].sum() > 0),
        any_none=bool((classes.spots - classes.events)[here].sum() > 0),
    )


def counting_weights(logs: FloatArray) -> FloatArray:
    """Weights of nodes (panel sd, spread, mu): 1 for the best, 0 for those that do not count."""
    weight = np.exp(logs - logs.max()).transpose(1, 0, 2)
    return np.where(weight > LEAST_WEIGHT, weight, 0.0)
