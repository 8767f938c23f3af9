"""Likelihood of trial spots on a grid, with panels and groups that scatter about a middle."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_REACH = 6  # standard deviations beyond which a normal distribution has no weight (1e-9)
_STEPS = 8192  # steps of its table in one standard deviation; each has the value at its middle
_NO_JUMP = 1e-14  # a change of likelihood, relative to a panel's best, that cannot matter
_LEAST = -600.0  # log likelihood below the best; exp of it is still a number of full precision
_FLOOR = 1e-300  # keeps the logarithm of an underflow finite
_DROPPED = 18.0  # log weight below the best at which a node is not summed: e^-18 is 2e-8


def log_likelihoods(
    x: FloatArray,
    spots: FloatArray,
    events: FloatArray,
    first: IntArray,
    group: IntArray,
    mu: FloatArray,
    edges: FloatArray,
    spreads: FloatArray,
    panel_sds: FloatArray,
    rows: IntArray,
) -> FloatArray:
    """
    Log likelihood of each group on the grid (place, group, spread, panel sd, mu).

    `rows`, shape (spread, 2), is the range of mu to calculate; elsewhere it is minus infinity.
    Classes of spots (same dose, panel, group) are sorted by group and panel. `first` is where each
    panel starts, `group` the group it belongs to. `x`, shape (place, class), holds the doses of the
    same classes, once for each place. Cell k of the grid reaches from one edge to the next, the
    first and last cells to infinity. Panel sds are all above 0, or a single 0 if no panel is named.
    """
    places = [_by_dose(one, spots, events, first) for one in x]
    before = np.cumsum([0, *(len(hit) for _, hit, _, _ in places)])
    alike = np.concatenate([which + n for n, (*_, which) in zip(before, places, strict=False)])
    starts = np.flatnonzero(np.diff(group, prepend=-1))
    starts = (starts + group.size * np.arange(len(places))[:, None]).ravel()
    panels = np.concatenate(
        [_panel_tables((at - mu[:, None]) / spreads[:, None, None], hit, sound)
         for at, hit, sound, _ in places], axis=1,
    )  # fmt: skip
    peak = panels.max(axis=2, keepdims=True)
    # Each panel relative to its own best: exp of the log likelihoods themselves would underflow.
    shares = np.exp(np.maximum(panels - peak, _LEAST))
    found = np.full((spreads.size, panel_sds.size, starts.size, mu.size), -np.inf)
    for j, (begin, end) in enumerate(rows):
        if begin >= end:
            continue
        here = slice(begin, end)
        logs = panels[None, j, :, here]
        if panel_sds.any():
            away = edges - mu[here, None]
            means = _scattered(shares[j], away, panel_sds * spreads[j], here)
            logs = peak[j] + np.log(means + _FLOOR)
        found[j, :, :, here] = np.add.reduceat(logs[:, alike], starts, axis=1)
    found = found.reshape(spreads.size, panel_sds.size, len(places), -1, mu.size)
    return np.ascontiguousarray(found.transpose(2, 3, 0, 1, 4))


def _by_dose(
    x: FloatArray, spots: FloatArray, events: FloatArray, first: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray, IntArray]:
    """
    Doses, and the spots hit and not hit at each, shape (kind of panel, dose).

    Panels with the same counts are of one kind, calculated once; the last array is the kind of each
    panel.
    """
    doses, which = np.unique(x, return_inverse=True)
    panel = np.repeat(np.arange(first.size - 1), np.diff(first))
    seen = np.zeros((2, first.size - 1, doses.size))
    np.add.at(seen[0], (panel, which), events)
    np.add.at(seen[1], (panel, which), spots - events)
    kinds, alike = np.unique(np.hstack([*seen]), axis=0, return_inverse=True)
    hit, sound = np.ascontiguousarray(np.split(kinds, 2, axis=1))
    return doses, hit, sound, alike.ravel()


def _panel_tables(eta: FloatArray, hit: FloatArray, sound: FloatArray) -> FloatArray:
    """Log likelihood (spread, panel, mu) of panels whose logits are eta (spread, mu, dose)."""
    # Logarithm of the logistic function, without overflow.
    rise = np.minimum(eta, 0) - np.log1p(np.exp(-np.abs(eta)))
    # `einsum` rather than `@`, as the digits of BLAS may depend on the number of threads. The log
    # of 1 - p is rise - eta.
    found = np.einsum("pd,smd->spm", hit, rise) + np.einsum("pd,smd->spm", sound, rise - eta)
    return np.asarray(found)


def _scattered(values: FloatArray, away: FloatArray, sds: FloatArray, rows: slice) -> FloatArray:
    """
    Mean of tabulated values (panel, cell) under normal scatter about the centres in `rows`.

    `away` is the distance of each edge from each of these centres, shape (centre, edge). The mean
    is the value in the centre's own cell plus, for each edge, the jump there times the chance of
    lying beyond it; small values keep their digits that way. Returns (sd, panel, centre).
    """
    jumps = np.diff(values)
    some = np.flatnonzero(np.abs(jumps).max(axis=0) > _NO_JUMP)
    found = np.repeat(values[None, :, rows], sds.size, axis=0)
    if not some.size:
        return found
    lows = np.maximum(some[0], away[0].searchsorted(-_REACH * sds))
    highs = np.minimum(some[-1] + 1, away[-1].searchsorted(_REACH * sds))
    for q, (sd, low, high) in enumerate(zip(sds, lows, highs, strict=True)):
        if low < high:
            found[q] += np.einsum("ck,pk->pc", _beyond(away[:, low:high], sd), jumps[:, low:high])
    return found


def _beyond(away: FloatArray, sd: float) -> FloatArray:
    """Chance that a normal value lies beyond an edge; negative for edges below the centre."""
    # In place, as allocating memory takes longer than the sums.
    at = away * (_STEPS / sd)
    at += _REACH * _STEPS + 1
    return _chances().take(at.astype(np.int64), mode="clip", out=at)


@cache
def _chances() -> FloatArray:
    """
    Table of that chance, from one end of the reach to the other, and 0 before and after.

    Each step has the value at its middle, so that its errors cancel.
    """
    from scipy.special import ndtr

    tail = ndtr(-(np.arange(_REACH * _STEPS) + 0.5) / _STEPS)
    return np.concatenate([[0.0], -tail[::-1], tail, [0.0]])


def pooled(
    likelihoods: FloatArray,
    mu: FloatArray,
    edges: FloatArray,
    group_sds: FloatArray,
    log_mean_prior: FloatArray,
    log_weights: FloatArray,
) -> FloatArray:
    """
    Log posterior of each group whose mu scatter normally about a common mean.

    likelihoods (group, spread, panel sd, mu); log_mean_prior (spread, mu) of the common mean;
    log_weights (panel sd, group sd). Returns (group, spread, panel sd, mu), so that each group's
    cells add up to the likelihood of all spots times the prior.
    """
    groups, n_s, n_q, n_mu = likelihoods.shape
    peak = likelihoods.max(axis=3, keepdims=True)
    tables = np.exp(np.maximum(likelihoods - peak, _LEAST)).transpose(1, 2, 0, 3)
    flat = tables.reshape(-1, n_mu)
    cells = _from_to(flat.max(axis=0) > _NO_JUMP)
    tops = peak.sum(axis=(0, 3))
    totals = np.empty((group_sds.size, n_s, n_q, n_mu))
    weights, means = _cell_weights(mu, edges, group_sds), []
    for t in range(group_sds.size):
        # `einsum` runs twice as fast over contiguous columns of the weights.
        columns = np.ascontiguousarray(weights[t].T[cells])
        mean = np.einsum("nk,ki->ni", flat[:, cells], columns) + _FLOOR
        mean = mean.reshape(tables.shape)
        means.append(mean)
        totals[t] = np.log(mean).sum(axis=2) + log_mean_prior[:, None]
        totals[t] += (tops + log_weights[:, t])[..., None]
    best = float(totals.max())
    found = np.zeros((n_s, n_q, groups, n_mu))
    for t, mean in enumerate(means):
        # Nodes far below the best add nothing, and most of the grid is such.
        counts = totals[t] > best - _DROPPED
        j, q = np.nonzero(counts.any(axis=-1))
        i = _from_to(counts.any(axis=(0, 1)))
        share = np.exp(totals[t][j, q, i] - best)[:, None] / mean[j, q, :, i]
        found[j, q] += np.einsum("ngi,ik->ngk", share, weights[t][i])
    return np.asarray(np.log(found * tables + _FLOOR).transpose(2, 0, 1, 3) + best)


def _from_to(counts: NDArray[np.bool_]) -> slice:
    """Slice from the first place that counts to the last."""
    (places,) = np.nonzero(counts)
    return slice(places[0], places[-1] + 1) if places.size else slice(0)


def _cell_weights(centres: FloatArray, edges: FloatArray, sds: FloatArray) -> FloatArray:
    """Weight of each cell under normal scatter about each centre, shape (sd, centre, cell)."""
    from scipy.special import ndtr

    below = ndtr((edges - centres[:, None]) / sds[:, None, None])
    return np.diff(below, axis=2, prepend=0.0, append=1.0)
