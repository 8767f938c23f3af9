"""Likelihood of trial spots on a grid, with panels and groups that scatter about a middle."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_REACH = 6  # standard deviations beyond which a normal distribution holds nothing (1e-9)
_STEPS = 8192  # of its table, a standard deviation: in each the value of its middle
_NO_JUMP = 1e-14  # of a panel's best likelihood
_LEAST = -600.0  # log likelihood below the best that still has a number of full precision
_FLOOR = 1e-300
_DROPPED = 18.0  # a node whose log weight lies so far below the best counts for 2e-8


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

    `rows`, shape (spread, 2), says from and up to which mu it is wanted; elsewhere it is minus
    infinity.
    Classes of spots (same dose, panel, group) are sorted by group and panel; `first` says where
    each panel of a group starts, `group` to which group it belongs. `x`, shape (place, class), puts
    the same classes at one set of doses or at several. Cell k of the grid reaches
    from one edge to the next, the first and last cells to infinity. The panel sds are all above 0,
    or one that is 0 where no panel is named.
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
    Doses, and how many spots were hit and were sound at each, (kind of panel, dose).

    Panels on which the same was seen are of one kind; the last array says of which each is.
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
    """Log likelihood of panels whose own logits are eta (spread, mu, dose): (spread, panel, mu)."""
    # Logarithm of the logistic function, without overflow.
    rise = np.minimum(eta, 0) - np.log1p(np.exp(-np.abs(eta)))
    # Not by BLAS, whose digits may depend on the number of threads.
    found = np.einsum("pd,smd->spm", hit, rise) + np.einsum("pd,smd->spm", sound, rise - eta)
    return np.asarray(found)


def _scattered(values: FloatArray, away: FloatArray, sds: FloatArray, rows: slice) -> FloatArray:
    """
    Mean of tabulated values (panel, cell) under normal scatter about the centres in `rows`.

    `away` says how far each edge lies from each of these centres, shape (centre, edge). The mean
    is the value of the centre's own cell, and for each edge the jump there times the chance to be
    beyond it; so that what is small keeps its digits. Returns (sd, panel, centre).
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
    """Chance that a normal draw lies beyond an edge, seen from the middle: below it negative."""
    # In place, as asking the system for memory takes longer than the sums.
    at = away * (_STEPS / sd)
    at += _REACH * _STEPS + 1
    return _chances().take(at.astype(np.int64), mode="clip", out=at)


@cache
def _chances() -> FloatArray:
    """
    Table of that chance, from one end of the reach to the other, and 0 before and after.

    Each step has the value of its middle, so that what is missed is missed either way alike.
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
        # Summed row upon row of the weights, which takes half as long as row by row.
        columns = np.ascontiguousarray(weights[t].T[cells])
        mean = np.einsum("nk,ki->ni", flat[:, cells], columns) + _FLOOR
        mean = mean.reshape(tables.shape)
        means.append(mean)
        totals[t] = np.log(mean).sum(axis=2) + log_mean_prior[:, None]
        totals[t] += (tops + log_weights[:, t])[..., None]
    best = float(totals.max())
    found = np.zeros((n_s, n_q, groups, n_mu))
    for t, mean in enumerate(means):
        # Of what lies far below the best nothing needs to be summed.
        counts = totals[t] > best - _DROPPED
        j, q = np.nonzero(counts.any(axis=-1))
        i = _from_to(counts.any(axis=(0, 1)))
        share = np.exp(totals[t][j, q, i] - best)[:, None] / mean[j, q, :, i]
        found[j, q] += np.einsum("ngi,ik->ngk", share, weights[t][i])
    return np.asarray(np.log(found * tables + _FLOOR).transpose(2, 0, 1, 3) + best)


def _from_to(counts: NDArray[np.bool_]) -> slice:
    """From the first place that counts to the last."""
    (places,) = np.nonzero(counts)
    return slice(places[0], places[-1] + 1) if places.size else slice(0)


def _cell_weights(centres: FloatArray, edges: FloatArray, sds: FloatArray) -> FloatArray:
    """Weight of each cell under normal scatter about each centre, shape (sd, centre, cell)."""
    from scipy.special import ndtr

    below = ndtr((edges - centres[:, None]) / sds[:, None, None])
    return np.diff(below, axis=2, prepend=0.0, append=1.0)
