"""Fit each group of spots by itself and with the others, over effects of pulses and water."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from math import log

import numpy as np
from numpy.typing import NDArray

from heritagecheck.evidence.trials.curves.posterior import (
    KEPT,
    LOOKS,
    Box,
    Classes,
    Counting,
    FloatArray,
    Grid,
    Posterior,
    box_around,
    classes_of,
    counted,
    counting_in,
    edges_of,
    first_box,
    grid_over,
    log_posteriors,
    panel_sds,
    posteriors,
    weight_below,
    weighted_cells,
)
from heritagecheck.evidence.trials.curves.spot_input import Given
from heritagecheck.tables import threshold

# Prior of what water does: log of the factor in dose, normal about 0.
WET_SD = 0.5
_WET_REACH = 3.0  # standard deviations of that prior that the cells cover
_EFFECT_KEPT = 9.0  # log weight below the best at which a cell no longer widens the grid
_EFFECT_SDS = 4.5  # standard deviations of an effect that the cells cover
_SHRINKS = 0.85  # another look pays only where a side shrinks to less of its width
# For one effect and for two: cells a side in the first looks and in the last, then spreads and
# locations of the grid within each cell of the last.
_CELLS = {1: (9, 11), 2: (5, 7)}
_LAST_GRID = {1: (14, 60), 2: (12, 40)}
_LOOK_GRID = 12, 40
_LOOKED_SDS = [1, 4]  # two of the six nodes of the panels' sd are enough to place the grid
_LEAST_WEIGHT = 1e-7


@dataclass(frozen=True, slots=True, eq=False)
class GroupFit:
    """
    Posteriors of one group: from its own spots, and with the others where there are any.

    `own` counts its own spots, at the doses that have the same effect in the curve's condition.
    """

    group: str
    spots: int
    events: int
    panels: int | None
    lowest_dose: float
    highest_dose: float
    posteriors: tuple[Posterior, ...] = field(repr=False)
    own: Classes = field(repr=False)


def group_fits(given: Given) -> tuple[tuple[GroupFit, ...], Mixture | None]:
    """Fit each group by itself and all together; also return the effects of pulses and water."""
    names = sorted(set(given.groups or ["all"]))
    index = np.array([names.index(one) for one in given.groups or ["all"] * given.doses.size])
    together, mixed = _fitted(given, index) if len(names) > 1 else ((), None)
    tried = given.conditions.doses_tried(given.doses)
    found = []
    for k, name in enumerate(names):
        mine = given.of(index == k)
        own, own_mixed = _fitted(mine, np.zeros(mine.doses.size, dtype=np.int64))
        # Of one group alone the effects are its own; of several, those found from all.
        mixed = own_mixed if len(names) == 1 else mixed
        found.append(_group(name, mine, tried[index == k], own + together[k : k + 1], mixed))
    # A spot that does not fit the curve's condition has no dose there (NaN). It must not count as
    # the lowest dose that hit something, nor as one tried harshly.
    first = np.nan_to_num(tried[given.outcome], nan=np.inf).min(initial=np.inf)
    harsh = np.nan_to_num(tried) >= first
    harshly = [int(harsh[index == k].sum()) for k in range(len(names))]
    return tuple(_without_bare_guess(found, harshly)), mixed


def _fitted(
    given: Given, members: NDArray[np.int64]
) -> tuple[tuple[Posterior, ...], Mixture | None]:
    """Posterior of each group, and the effects of pulses and water where spots differ in them."""
    correlation = threshold("panel_correlation")
    shifts = given.conditions.shifts
    spots = np.column_stack([members, _panels(given), np.log(given.doses), shifts])
    classes, moved = classes_of(spots, given.outcome, panelled=given.panels is not None)
    if not moved.any():
        return posteriors(classes, correlation), None
    mixed = mixture(classes, moved, correlation)
    return mixed.posteriors, mixed


def _group(
    name: str,
    mine: Given,
    tried: FloatArray,
    fits: tuple[Posterior, ...],
    mixed: Mixture | None,
) -> GroupFit:
    """Fit of one group with its counts and the range of its doses."""
    shifts = mine.conditions.shifts
    equal = np.log(mine.doses) + (shifts @ mixed.effects if mixed else 0.0)
    counts = ~np.isnan(tried)
    return GroupFit(
        group=name,
        spots=mine.doses.size,
        events=int(mine.outcome.sum()),
        panels=None if mine.panels is None else len(set(mine.panels)),
        lowest_dose=float(tried.min(initial=np.inf, where=counts)),
        highest_dose=float(tried.max(initial=0, where=counts)),
        posteriors=fits,
        own=counted(equal, mine.outcome, None if mine.panels is None else _panels(mine)),
    )


def _panels(given: Given) -> NDArray[np.int64]:
    """Number of the panel of each spot; 0 where no panel is named."""
    if given.panels is None:
        return np.zeros(given.doses.size, dtype=np.int64)
    return np.unique(given.panels, return_inverse=True)[1].ravel()


def _without_bare_guess(fits: list[GroupFit], harshly: list[int]) -> Iterator[GroupFit]:
    """
    Drop the own fit of a group that was never hit, though tried as much as every group that was.

    Its own spots do not show how steep its curve is. The gentle end of such a fit is the prior
    alone, and the mineral that was never damaged would set the limit. `harshly` counts the spots of
    each group at doses at which some spot was hit.
    """
    hit = [place for place, one in enumerate(fits) if one.events]
    for one, mine in zip(fits, harshly, strict=True):
        firm = (
            bool(hit)
            and not one.events
            and all(
                own >= max(theirs)
                for own, theirs in (
                    (mine, [harshly[place] for place in hit]),
                    (one.panels or 0, [fits[place].panels or 0 for place in hit]),
                    (one.highest_dose, [fits[place].highest_dose for place in hit]),
                )
            )
        )
        yield replace(one, posteriors=one.posteriors[-1:]) if firm else one


# -- What pulses and water do to a dose, found with the curve --------------------------------------


@dataclass(frozen=True, slots=True)
class Effect:
    """
    Effect of a condition on the dose: posterior median and central 90 % interval.

    For pulses the exponent b: N times as many act like N^b times the dose. For water the logarithm
    of the factor in dose that wetting is equivalent to.
    """

    estimate: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, eq=False)
class Mixture:
    """Posteriors of each group, averaged over effects of pulses and water, and these effects."""

    posteriors: tuple[Posterior, ...]
    pulses: FloatArray
    wet: FloatArray
    weight: FloatArray
    pulse_effect: Effect | None
    wet_effect: Effect | None

    @property
    def effects(self) -> FloatArray:
        """Estimates of both effects; 0 for one that does not apply."""
        both = self.pulse_effect, self.wet_effect
        return np.array([0.0 if one is None else one.estimate for one in both])


@dataclass(frozen=True, slots=True)
class _Reach:
    """Range of the pulse exponent, and of the water effect at the pulses typical for it."""

    pulses: tuple[float, float]
    wet: tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class _Cells:
    """Cells over both effects; water varies fastest."""

    shape: tuple[int, int]
    pulses: FloatArray
    wet: FloatArray
    across: FloatArray
    pulses_width: float
    wet_width: float
    log_prior: FloatArray


def mixture(classes: Classes, shifts: FloatArray, correlation: float) -> Mixture:
    """Posterior of each group at the curve's condition, summed over effects of pulses and water."""
    # `shifts`, shape (classes, 2): log of a class's pulses over those of the curve, and its wetness
    # (0 or 1) less that of the curve. An effect whose column is all 0 does not apply.
    # Spots are fitted about their own mean condition, where location and effects are correlated
    # least, and the result is then moved to the condition of the curve; so the weights do not
    # depend on the condition chosen. All cells share one grid, so that their likelihoods can be
    # compared. Within a cell the location changes with the effect: it is widened by that change.
    centre = np.average(shifts, axis=0, weights=classes.spots)
    moved = shifts - centre
    acts = bool(shifts[:, 0].any()), bool(shifts[:, 1].any())
    tilt = _tilt(moved, classes.spots) if all(acts) else 0.0
    reach, box, counting = _settled(classes, moved, acts, tilt, correlation)
    cells = _cells(reach, tilt, _CELLS[sum(acts)][1])
    sds, log_sds = panel_sds(classes, correlation)
    places = _places(classes, moved, cells)
    grid = _grid_of(places, box, _LAST_GRID[sum(acts)])
    looks, found, sizes = log_posteriors(places, grid, sds, log_sds, counting), [], []
    for at, logs in zip(places, looks, strict=True):
        sizes.append(_log_sum(logs[0]))
        found.append([weighted_cells(one, grid, sds, at, g) for g, one in enumerate(logs)])
    weight = np.exp(np.array(sizes) + cells.log_prior - max(sizes))
    weight /= weight.sum()
    away = cells.pulses * centre[0] + cells.wet * centre[1]
    return Mixture(
        posteriors=tuple(
            _mixed(list(one), away, weight, cells.shape) for one in zip(*found, strict=True)
        ),
        pulses=cells.pulses,
        wet=cells.wet,
        weight=weight,
        pulse_effect=_effect(cells.pulses, cells.pulses_width, weight) if acts[0] else None,
        wet_effect=_effect(cells.wet, cells.wet_width, weight) if acts[1] else None,
    )


def _tilt(moved: FloatArray, spots: FloatArray) -> float:
    """Slope of log pulses on wetness: how much more pulses the wet spots received."""
    spread = float((spots * moved[:, 1] ** 2).sum())
    return float((spots * moved[:, 0] * moved[:, 1]).sum()) / spread if spread > 0 else 0.0


def _settled(
    classes: Classes, moved: FloatArray, acts: tuple[bool, bool], tilt: float, correlation: float
) -> tuple[_Reach, Box, Counting]:
    """
    Zoom in on the effects, locations and spreads that the spots leave.

    Returns the reach of the effects, the box where the grid is to be fine, and which locations
    count.
    """
    side = _WET_REACH * WET_SD
    reach = _Reach(
        (0.0, 1.0) if acts[0] else (0.0, 0.0),
        (min(0.0, tilt) - side, max(0.0, tilt) + side) if acts[1] else (0.0, 0.0),
    )
    sds, log_sds = panel_sds(classes, correlation)
    if classes.panelled:
        sds, log_sds = sds[_LOOKED_SDS], log_sds[_LOOKED_SDS]
    number = _CELLS[sum(acts)][0]
    widest, cells = reach, _cells(reach, tilt, number)
    box = _joined([first_box(at.x) for at in _places(classes, moved, cells)])
    for _ in range(LOOKS):
        cells = _cells(reach, tilt, number)
        places = _places(classes, moved, cells)
        grid = _grid_of(places, box, _LOOK_GRID)
        looks = log_posteriors(places, grid, sds, log_sds)
        size = np.array([_log_sum(logs[0]) for logs in looks]) + cells.log_prior
        new, nearer = _box_of(looks, grid, size), _nearer(reach, widest, cells, size)
        closer = new if new.is_closer_than(box) else box
        counting = _any_counting(looks, grid)
        if (closer, nearer) == (box, reach):
            break
        box, reach = closer, nearer
    return reach, box, counting


def _cells(reach: _Reach, tilt: float, number: int) -> _Cells:
    """Even cells over the reach of both effects, with their share of the prior."""
    from scipy.special import ndtr

    sides = reach.pulses, reach.wet
    shape = number if sides[0][0] < sides[0][1] else 1, number if sides[1][0] < sides[1][1] else 1
    width = [(one[1] - one[0]) / n for one, n in zip(sides, shape, strict=True)]
    along, across = (
        one[0] + np.arange(0.5, n) * step for one, n, step in zip(sides, shape, width, strict=True)
    )
    pulses, across = np.repeat(along, shape[1]), np.tile(across, shape[0])
    # If wet spots also received more pulses, the two effects trade off against each other. Cells
    # along that trade-off stay few.
    wet = across - tilt * pulses
    log_prior = np.zeros(wet.size)
    if width[1]:
        ends = (wet + width[1] / 2) / WET_SD, (wet - width[1] / 2) / WET_SD
        log_prior = np.log(np.maximum(ndtr(ends[0]) - ndtr(ends[1]), 1e-300))
    return _Cells(
        shape, pulses, wet, across, width[0], float(np.hypot(width[1], tilt * width[0])), log_prior
    )


def _places(classes: Classes, moved: FloatArray, cells: _Cells) -> list[Classes]:
    """The classes with the doses that each cell of the effects gives them."""
    return [
        replace(classes, x=np.ascontiguousarray(classes.x + moved @ np.array([b, c])))
        for b, c in zip(cells.pulses, cells.wet, strict=True)
    ]


def _grid_of(places: list[Classes], box: Box, nodes: tuple[int, int]) -> Grid:
    """One grid for all places, so that the scatter of panels is calculated once."""
    return grid_over(box, np.concatenate([at.x for at in places]), *nodes)


def _log_sum(logs: FloatArray) -> float:
    """Logarithm of a sum of values given by their logarithms."""
    best = float(logs.max())
    return best + log(float(np.exp(logs - best).sum()))


def _box_of(looks: list[FloatArray], grid: Grid, size: FloatArray) -> Box:
    """Box around the nodes that count in any cell that counts."""
    best = max(float(logs.max()) for logs in looks)
    return _joined(
        [
            box_around(logs, grid, min(best - KEPT, float(logs.max()) - 1))
            for logs, one in zip(looks, size, strict=True)
            if one > size.max() - _EFFECT_KEPT
        ]
    )


def _any_counting(looks: list[FloatArray], grid: Grid) -> Counting:
    """Range of locations that count in any cell."""
    found = [counting_in(logs, grid) for logs in looks]
    low, high = np.array([one.low for one in found]), np.array([one.high for one in found])
    return Counting(found[0].spreads, low.min(axis=0), high.max(axis=0))


def _joined(boxes: list[Box]) -> Box:
    """Smallest box that holds them all."""
    return Box(
        (min(one.mu[0] for one in boxes), max(one.mu[1] for one in boxes)),
        (min(one.spread[0] for one in boxes), max(one.spread[1] for one in boxes)),
    )


def _nearer(reach: _Reach, widest: _Reach, cells: _Cells, size: FloatArray) -> _Reach:
    """Reach around the cells with weight; a side that would hardly shrink stays as it is."""
    weight = np.exp(size - size.max())
    return _Reach(
        _side(reach.pulses, widest.pulses, cells.pulses, weight),
        _side(reach.wet, widest.wet, cells.across, weight),
    )


def _side(
    side: tuple[float, float], widest: tuple[float, float], middle: FloatArray, weight: FloatArray
) -> tuple[float, float]:
    """Some standard deviations about the mean, within the widest range that the prior allows."""
    mean = float(np.average(middle, weights=weight))
    cell = np.ptp(np.unique(middle)[:2])
    # Weight is spread evenly within each cell, which adds the variance of a uniform distribution.
    sd = float(np.sqrt(np.average((middle - mean) ** 2, weights=weight) + cell**2 / 12))
    low, high = max(widest[0], mean - _EFFECT_SDS * sd), min(widest[1], mean + _EFFECT_SDS * sd)
    return (low, high) if high - low < _SHRINKS * (side[1] - side[0]) else side


def _mixed(
    found: list[Posterior], away: FloatArray, weight: FloatArray, shape: tuple[int, int]
) -> Posterior:
    """Posterior at the condition of the curve, merged from those of all cells of the effects."""
    halfway = np.array([one.x_levels(0.5, np.array([0.5]))[0] for one in found]) + away
    table = halfway.reshape(shape)
    # How far the location changes within each cell, estimated from its neighbours.
    moves = np.zeros(shape)
    for k in range(2):
        if shape[k] > 1:
            moves = np.hypot(moves, np.gradient(table, axis=k))
    parts = []
    for p, by, move, share in zip(found, away, moves.ravel(), weight, strict=True):
        middle, half = (np.roll(p.edge, -1) + p.edge) / 2 + by, (np.roll(p.edge, -1) - p.edge) / 2
        parts.append((middle, np.hypot(half, move / 2), p.spread, p.sd, p.weight * share))
    middle, half, spread, sd, share = (np.concatenate(one) for one in zip(*parts, strict=True))
    (kept,) = np.nonzero(share >= _LEAST_WEIGHT)
    kept = kept[np.argsort(sd[kept], kind="stable")]  # `Posterior` needs edges sorted by sd
    edge, weights = edges_of((middle - half)[kept], (middle + half)[kept], share[kept])
    return replace(
        found[0],
        edge=edge,
        spread=np.repeat(spread[kept], 2),
        sd=np.repeat(sd[kept], 2),
        weight=weights / weights.sum(),
    )


def _effect(middle: FloatArray, width: float, weight: FloatArray) -> Effect:
    """Median and central 90 % interval of an effect, from its even cells."""
    cells = edges_of(middle - width / 2, middle + width / 2, weight)
    low, half, high = np.interp([0.05, 0.5, 0.95], *weight_below(*cells))
    return Effect(float(half), float(low), float(high))
