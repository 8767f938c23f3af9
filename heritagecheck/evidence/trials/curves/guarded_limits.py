"""Limits of damage that one more damaged spot can hardly improve."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from heritagecheck.evidence.trials.curves.dose_response import (
    DoseResponse,
    as_if_none,
    before_first,
    dose_levels,
    probability_levels,
)
from heritagecheck.evidence.trials.curves.likelihood import log_likelihoods
from heritagecheck.evidence.trials.curves.posterior import (
    KEPT,
    LOOKS,
    Classes,
    FloatArray,
    Grid,
    IntArray,
    Posterior,
    box_around,
    counting_in,
    counting_weights,
    every_row,
    first_box,
    grid_over,
    location_prior,
    panel_sds,
    weight_below,
    weighted_cells,
)
from heritagecheck.tables import threshold

_LOOK_GRID, _LAST_GRID = (12, 40), (18, 120)
_KEPT_READINGS = 8  # some megabytes each
_KEPT_SUMS = 2  # likewise
_MOST_READINGS = 600  # more need too much memory; among so many panels one hardly matters
_Step = tuple[float, bool]
_Picks = list[tuple[int, ...]]


@lru_cache(maxsize=64)
def lowest_damage_dose(damage: DoseResponse, p: float, level: float) -> float:
    """Lower bound of the dose at which a share p of the weakest group is damaged."""
    # Damage at harsh doses makes the fitted curve steeper, so that its gentle end looks better.
    # That gain counts only as far as the undamaged spots below the first damaged dose show it by
    # themselves, or the same spots show it with hits at harsher doses removed.
    at = np.array([1 - level])

    def bound(one: DoseResponse) -> float:
        return float(dose_levels(one, p, at, open_ends=True)[0])

    found = bound(damage)
    if not damage.n_events:
        return found
    found = min(found, bound(as_if_none(damage)))
    stopped = before_first(damage)
    by_sound = 0.0 if stopped is None else bound(stopped)
    if by_sound >= found:
        return found
    places = [fewer_hits(one.own).x_levels(p, at)[0] for one in damage.groups if one.events]
    fewer = float(np.exp(min(places)))
    return min(found, max(fewer, by_sound))


def most_damaged(damage: DoseResponse, dose: float, levels: FloatArray) -> FloatArray:
    """Quantiles of the share of the weakest group damaged, guarded as in `lowest_damage_dose`."""

    def bound(one: DoseResponse) -> FloatArray:
        return probability_levels(one, dose, levels)

    found = bound(damage)
    if not damage.n_events:
        return found
    found = np.maximum(found, bound(as_if_none(damage)))
    x = float(np.log(dose))
    fewer = np.max(
        [fewer_hits(one.own).p_levels(x, levels) for one in damage.groups if one.events], axis=0
    )
    stopped = before_first(damage)
    return np.asarray(
        np.maximum(found, fewer if stopped is None else np.minimum(fewer, bound(stopped)))
    )


@dataclass(frozen=True, slots=True, eq=False)
class FewerHits:
    """Cells common to all readings, and the weights that each gives them (readings, edges)."""

    cells: Posterior
    weights: FloatArray

    def x_levels(self, p: float, levels: FloatArray) -> FloatArray:
        """Lowest quantile of any reading, of where the mean over panels reaches p."""
        places = self.cells.x_at(p)
        return np.array([_least_quantile(places, self.weights, one) for one in levels.tolist()])

    def p_levels(self, x: float, levels: FloatArray) -> FloatArray:
        """Highest quantile of any reading, of the mean over panels at x."""
        from scipy.special import expit

        return np.asarray(expit(np.interp(levels, *_least_below(self, x))))


def _least_quantile(edges: FloatArray, weights: FloatArray, level: float) -> float:
    """Lowest quantile of any row of weights."""
    # Only a row with more weight below the current quantile can have a lower one, and a plain sum
    # finds it. So few of the rows need sorting.
    widths = np.maximum(np.diff(edges), 1e-12)
    row, looked = 0, set[int]()
    while row not in looked:
        looked.add(row)
        least = float(np.interp(level, *weight_below(edges, weights[row])))
        share = np.clip((least - edges[:-1]) / widths, 0, 1)
        row = int(np.einsum("re,e->r", weights[:, :-1], share).argmax())
    return least


# A trial needs several levels at the setting of its panels.
@lru_cache(maxsize=_KEPT_SUMS)
def _least_below(fewer: FewerHits, x: float) -> tuple[FloatArray, FloatArray]:
    """Smallest weight of any reading below each logit of the mean at x, and these logits."""
    return weight_below(fewer.cells.logit_at(x), *fewer.weights)


@lru_cache(maxsize=_KEPT_READINGS)
def fewer_hits(classes: Classes) -> FewerHits:
    """Fit the spots of one group again, with hits removed at the harsher doses."""
    # One more hit at a harsh dose can make the fitted curve steeper, and so raise the dose at which
    # few spots are hit. The minimum over every way to remove hits could never rise, but there are
    # too many ways. A reading is one of these: all hits above some dose removed, with one hit a
    # panel or all of them left at that dose, on all panels alike or with one panel cut at another
    # dose (with very many panels: on all alike only). `docs/dose_response.md` says what the others
    # would add. The likelihood of each panel is summed once for each of its cuts.
    sds, log_sds = panel_sds(classes, threshold("panel_correlation"))
    choices, steps = _choices(classes)
    alike, varied = _readings(classes, steps)
    box, rows = first_box(classes.x), every_row
    for _ in range(LOOKS):
        grid = grid_over(box, classes.x, *_LOOK_GRID)
        best = _logs(choices, grid, sds, log_sds, alike, rows(grid)).max(axis=0)
        new, rows = box_around(best[None], grid, -KEPT), counting_in(best[None], grid).rows
        if not new.is_closer_than(box):
            break
        box = new
    grid = grid_over(box, classes.x, *_LAST_GRID)
    logs = _logs(choices, grid, sds, log_sds, varied, rows(grid))
    # A node counts if it does so in any reading, so that all readings share the same cells.
    best = logs.max(axis=0)
    cells = weighted_cells(best, grid, sds, classes, 0)
    sd, spread, mu = np.nonzero(counting_weights(best))
    weights = np.zeros((len(logs), cells.edge.size))
    weights[:, cells.weight > 0] = np.exp(logs[:, spread, sd, mu])
    weights /= weights.sum(axis=1, keepdims=True)
    return FewerHits(cells, weights)


def _choices(classes: Classes) -> tuple[Classes, list[dict[_Step, int]]]:
    """
    Each panel once for each step down to which its hits may be removed.

    Each is its own group, so that its likelihood is returned separately. Also returns, for each
    panel, the number of each of its steps.
    """
    x, spots, events = [], [], []
    sizes: list[int] = []
    steps: list[dict[_Step, int]] = []
    for start, end in zip(classes.first[:-1], classes.first[1:], strict=True):
        places, seen = classes.x[start:end], classes.events[start:end]
        steps.append({})
        for dose, all_of_them in _steps(places, seen):
            steps[-1][dose, all_of_them] = len(sizes)
            at = seen if all_of_them else np.minimum(seen, 1)
            x.append(places)
            spots.append(classes.spots[start:end])
            events.append(np.where(places < dose, seen, np.where(places == dose, at, 0.0)))
            sizes.append(int(end - start))
    return replace(
        classes,
        x=np.concatenate(x),
        spots=np.concatenate(spots),
        events=np.concatenate(events),
        first=np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64),
        group=np.arange(len(sizes), dtype=np.int64),
        groups=len(sizes),
    ), steps


def _steps(x: FloatArray, events: FloatArray) -> list[_Step]:
    """No hit; then for each dose with hits, in rising order, one hit left there, and all left."""
    found: list[_Step] = [(-np.inf, True)]
    for dose in np.unique(x[events > 0]).tolist():
        found.append((dose, False))
        if events[x == dose].max() > 1:
            found.append((dose, True))
    return found


def _readings(classes: Classes, steps: list[dict[_Step, int]]) -> tuple[_Picks, _Picks]:
    """Choices of each reading, one a panel: the readings alike on all panels, and all readings."""
    alike = [
        tuple(mine[max(one for one in mine if one <= step)] for mine in steps)
        for step in _steps(classes.x, classes.events)
    ]
    varied = dict.fromkeys(alike)
    if len(alike) * sum(map(len, steps)) > _MOST_READINGS:
        return alike, list(varied)
    for picks in alike:
        for panel, mine in enumerate(steps):
            for number in mine.values():
                varied[(*picks[:panel], number, *picks[panel + 1 :])] = None
    return alike, list(varied)


def _logs(
    choices: Classes,
    grid: Grid,
    sds: FloatArray,
    log_sds: FloatArray,
    picks: _Picks,
    rows: IntArray,
) -> FloatArray:
    """Log weight of each node, the best 0, shape (reading, spread, panel sd, mu)."""
    (found,) = log_likelihoods(
        choices.x[None], choices.spots, choices.events, choices.first, choices.group,
        grid.mu, grid.edges, grid.spreads, sds, rows,
    )  # fmt: skip
    prior = location_prior(grid, choices.x)[None, :, None, :] + log_sds[:, None]
    # In place, as each copy takes about ten megabytes.
    logs = np.stack([found[list(one)].sum(axis=0) for one in picks])
    logs += prior
    logs -= logs.max(axis=(1, 2, 3), keepdims=True)
    return logs
