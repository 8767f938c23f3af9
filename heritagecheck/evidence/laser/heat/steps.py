"""Compiled loop that follows heat through cells and steps; loaded only when it is first needed."""

from __future__ import annotations

from math import sqrt
from typing import Any

import numpy as np

from heritagecheck.evidence.photograph.pixels import compiled

_compiled = compiled(nogil=True, error_model="numpy", boundscheck=False)
# A guess may lie below the start; so far below, the root of its capacity would not exist.
_LEAST_SQUARE = 1e-6
_NUDGE = 1e-9
_WHOLE_ROUNDS = 12


@_compiled
def _rises(heat: Any, cell: Any, u: Any, grows: Any) -> None:
    """Rise in K that each heat content [J/m³] means, and by how much it grows with it."""
    # Of heat = capacity (u + bend u²/2) up to the turn; then what melts warms by `per_melt`.
    per_capacity, bend, turn, top = cell[2], cell[3], cell[4], cell[5]
    melt, per_last, per_melt = cell[6], cell[7], cell[8]
    for i in range(heat.size):
        h = heat[i] * per_capacity[i]
        root = sqrt(max(1 + 2 * bend[i] * h, _LEAST_SQUARE))
        u[i] = 2 * h / (1 + root)
        grows[i] = per_capacity[i] / root
    for i in range(heat.size):
        if heat[i] > top[i]:
            over = heat[i] - top[i]
            u[i] = turn[i] + min(over, melt[i]) * per_melt[i]
            u[i] += max(over - melt[i], 0.0) * per_last[i]
            grows[i] = per_melt[i] if over < melt[i] else per_last[i]


@_compiled
def _fluxes(cell: Any, contact: Any, u: Any, grows: Any, q: Any, out_of: Any, into: Any) -> None:
    """Flux below each cell, and how it changes with the heat of the cells above and below it."""
    half, steep, turn = cell[0], cell[1], cell[4]
    n = u.size
    for i in range(n - 1):
        here = half[i] + steep[i] * min(u[i], turn[i])
        there = half[i + 1] + steep[i + 1] * min(u[i + 1], turn[i + 1])
        per_r = 1 / (here + contact[i] + there)
        flux = (u[i] - u[i + 1]) * per_r
        more = steep[i] if u[i] < turn[i] else 0.0
        next_more = steep[i + 1] if u[i + 1] < turn[i + 1] else 0.0
        q[i] = flux
        out_of[i] = (1 - flux * more) * per_r * grows[i]
        into[i] = -(1 + flux * next_more) * per_r * grows[i + 1]
    # Below the last cell is the back face, which keeps its temperature.
    i = n - 1
    per_r = 1 / (half[i] + steep[i] * min(u[i], turn[i]) + contact[i])
    more = steep[i] if u[i] < turn[i] else 0.0
    q[i], into[i] = u[i] * per_r, 0.0
    out_of[i] = (1 - q[i] * more) * per_r * grows[i]


@_compiled
def _to(old: float, new: float, top: float, melt: float) -> float:
    """Where a correction leads: no further than to where melting begins or ends."""
    # Beyond, the correction does not hold, and leaps of many cells would never end.
    if melt <= 0:
        return new
    below, above = top * (1 - _NUDGE), top * (1 + _NUDGE)
    if old <= top:
        return min(new, above)
    if old <= top + melt:
        return min(max(new, below), (top + melt) * (1 + _NUDGE))
    return max(new, (top + melt) * (1 - _NUDGE))


@_compiled
def _corrected(
    cell: Any, heat: Any, known: Any, s: Any, q: Any, out_of: Any, into: Any, own: Any, off: Any,
    right: Any, part: float,
) -> None:  # fmt: skip
    """One round of Newton's method for a stage: corrects the heat by what it puts into `right`."""
    top, melt = cell[5], cell[6]
    # known + s (flux in - flux out) - heat = 0, with s = span/width, solved by elimination.
    n = heat.size
    own[0], off[0] = 1 + s[0] * out_of[0], 0.0
    right[0] = known[0] - s[0] * q[0] - heat[0]
    for i in range(1, n):
        own[i] = 1 + s[i] * (out_of[i] - into[i - 1])
        off[i] = s[i] * out_of[i - 1]
        right[i] = known[i] + s[i] * (q[i - 1] - q[i]) - heat[i]
    for i in range(n):
        into[i] *= s[i]
    for i in range(1, n):
        factor = off[i] / own[i - 1]
        own[i] += factor * into[i - 1]
        right[i] += factor * right[i - 1]
    right[n - 1] /= own[n - 1]
    for i in range(n - 1):
        into[i] /= own[i]
        right[i] /= own[i]
    for i in range(n - 2, -1, -1):
        right[i] -= into[i] * right[i + 1]
    for i in range(n):
        heat[i] = _to(heat[i], heat[i] + part * right[i], top[i], melt[i])


@_compiled
def _stage(
    cell: Any, contact: Any, per_width: Any, known: Any, span: float, heat: Any, room: Any,
    exact_k: float, most: int,
) -> int:  # fmt: skip
    """Solve one stage, starting from a guess of its heat; gives the number of rounds."""
    u, grows, q, out_of, into, own, off, right, s = (
        room[0], room[1], room[2], room[3], room[4], room[5], room[6], room[7], room[8],
    )  # fmt: skip
    per_capacity = cell[2]
    for i in range(heat.size):
        s[i] = span * per_width[i]
    rounds, left = 0, exact_k + 1
    while left > exact_k and rounds <= most:
        # Corrections across a melting front may take turns for ever; smaller ones do not.
        part = 1.0 if rounds < _WHOLE_ROUNDS else 0.5 if rounds < 3 * _WHOLE_ROUNDS else 0.2
        _rises(heat, cell, u, grows)
        _fluxes(cell, contact, u, grows, q, out_of, into)
        _corrected(cell, heat, known, s, q, out_of, into, own, off, right, part)
        left = 0.0
        for i in range(heat.size):
            left = max(left, abs(right[i]) * per_capacity[i])
        rounds += 1
    return rounds


@_compiled
def follow(
    cells: Any, contact: Any, per_width: Any, sources: Any, time: Any, light: Any, weight: Any,
    guess: Any, below: int, exact_k: float, most: int, surface: Any, under: Any, most_heat: Any,
) -> int:  # fmt: skip
    """Follow each set through all steps, writing into the last three; the most rounds of any."""
    n, steps, stages = per_width.size, time.size - 1, weight.shape[0]
    room, known, slope = np.zeros((9, n)), np.zeros(n), np.zeros((stages, n))
    u, grows = room[0], room[1]
    worst = 0
    for s in range(cells.shape[0]):
        cell, source = cells[s], sources[s]
        heat, trial = np.zeros(n), np.zeros(n)
        slope[stages - 1] = 0.0
        lit = 0.0
        for step in range(steps):
            h = time[step + 1] - time[step]
            arriving = light[s, step]
            # The last slope is the first of this step, but for light that begins or ends at once.
            for i in range(n):
                slope[0, i] = slope[stages - 1, i] + (arriving[0] - lit) * source[i]
            lit = arriving[stages - 1]
            for stage in range(1, stages):
                span = h * weight[stage, stage]
                per_span = 1 / span
                for i in range(n):
                    known[i] = heat[i] + span * arriving[stage] * source[i]
                    trial[i] = heat[i]
                for earlier in range(stage):
                    part, foretold = h * weight[stage, earlier], h * guess[stage, earlier]
                    for i in range(n):
                        known[i] += part * slope[earlier, i]
                        trial[i] += foretold * slope[earlier, i]
                rounds = _stage(cell, contact, per_width, known, span, trial, room, exact_k, most)
                worst = max(worst, rounds)
                for i in range(n):
                    # The light of this stage is in `known`; the slope holds it too.
                    slope[stage, i] = (trial[i] - known[i]) * per_span + arriving[stage] * source[i]
            for i in range(n):
                heat[i] = trial[i]
                most_heat[s, i] = max(most_heat[s, i], heat[i])
            _rises(heat, cell, u, grows)
            surface[s, step + 1] = u[0]
            under[s, step + 1] = u[below]
    return worst
