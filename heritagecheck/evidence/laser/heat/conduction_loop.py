"""Compiled loop of heat conduction over cells and time steps; loaded when first needed."""

from __future__ import annotations

from math import sqrt
from typing import Any

from heritagecheck.evidence.photograph.pixels import compiled

_compiled = compiled(nogil=True, error_model="numpy", boundscheck=False, fastmath={"contract"})
_inlined = compiled(inline="always")  # compiled once, as a part of the loop
# A trial of a step may lie below the starting temperature, where the root could become imaginary.
_LEAST_SQUARE = 1e-6
LANES = 8  # sets of properties calculated side by side: eight doubles fill a vector register
STAGES = 6  # of the implicit Runge-Kutta method in `conduction.py`

# Fields of each cell in `room`, one after another, each for all lanes. They are in one array at
# fixed distances because the compiler vectorises over lanes only where it can see that no two
# fields overlap. There is an empty cell before the first and after the last.
FIELDS = (
    "half", "steep", "per_capacity", "bend", "turn", "top", "melt", "per_last", "per_melt",
    "source", "heat", "most", "change_0", "change_1", "change_2", "change_3", "change_4",
    "change_5", "carried", "per_own", "next", "rise", "resists", "root", "flux", "right", "out",
    "conducts",
)  # fmt: skip
CELL = len(FIELDS) * LANES
(_HALF, _STEEP, _PER_CAPACITY, _BEND, _TURN, _TOP, _MELT, _PER_LAST, _PER_MELT, _SOURCE, _HEAT,
 _MOST, _C0, _C1, _C2, _C3, _C4, _C5, _CARRIED, _PER_OWN, _NEXT, _RISE, _RESISTS, _ROOT, _FLUX,
 _RIGHT, _OUT, _CONDUCTS) = range(0, CELL, LANES)  # fmt: skip


@_inlined
def _tried(
    room: Any, cells: int, lanes: int, ahead: Any, mixed: Any, stage: int, dt: float
) -> None:
    """Temperature rise and resistance of each cell for one stage, from the changes so far."""
    a0, a1, a2, a3 = ahead[stage, 0], ahead[stage, 1], ahead[stage, 2], ahead[stage, 3]
    a4, per = ahead[stage, 4], 1 / dt
    m0, m1, m2 = mixed[stage, 0] * per, mixed[stage, 1] * per, mixed[stage, 2] * per
    m3, m4 = mixed[stage, 3] * per, mixed[stage, 4] * per
    for i in range(1, cells + 1):
        w = room[i * CELL :]
        for n in range(lanes):
            c0, c1, c2, c3, c4 = w[_C0 + n], w[_C1 + n], w[_C2 + n], w[_C3 + n], w[_C4 + n]
            heat = w[_HEAT + n] + a0 * c0 + a1 * c1 + a2 * c2 + a3 * c3 + a4 * c4
            w[_RIGHT + n] = m0 * c0 + m1 * c1 + m2 * c2 + m3 * c3 + m4 * c4
            # Up to the turn heat = capacity (rise + bend rise²/2), solved for the rise in the form
            # that keeps its digits near 0. Beyond it, melting takes heat at little rise.
            solid = min(heat, w[_TOP + n]) * w[_PER_CAPACITY + n]
            root = sqrt(max(1 + 2 * w[_BEND + n] * solid, _LEAST_SQUARE))
            over = max(heat - w[_TOP + n], 0.0)
            molten = min(over, w[_MELT + n])
            rise = 2 * solid / (1 + root)
            rise += molten * w[_PER_MELT + n] + (over - molten) * w[_PER_LAST + n]
            w[_RISE + n], w[_ROOT + n] = rise, root
            w[_RESISTS + n] = w[_HALF + n] + w[_STEEP + n] * min(rise, w[_TURN + n])


@_inlined
def _eliminated(
    room: Any, cells: int, lanes: int, contact: Any, per_width: Any, own: float
) -> None:
    """Factorise the tridiagonal matrix: how the flux below each cell changes with heat there."""
    above = 0.0
    for i in range(cells):
        w = room[i * CELL :]  # the cell above; this one and the next follow
        between, below = contact[i], per_width[i]
        for n in range(lanes):
            conducts = 1 / (w[CELL + _RESISTS + n] + between + w[2 * CELL + _RESISTS + n])
            flux = (w[CELL + _RISE + n] - w[2 * CELL + _RISE + n]) * conducts
            over = w[CELL + _HEAT + n] - w[CELL + _TOP + n]
            # All are read before one is chosen: choosing what to read would stop vectorisation.
            steep, per_melt = w[CELL + _STEEP + n], w[CELL + _PER_MELT + n]
            per_last = w[CELL + _PER_LAST + n]
            hot = per_melt if over < w[CELL + _MELT + n] else per_last
            grows = w[CELL + _PER_CAPACITY + n] / w[CELL + _ROOT + n]
            grows = grows if over < 0 else hot
            more = steep if over < 0 else 0.0
            out = (1 - flux * more) * conducts * grows
            into = -(1 + w[_FLUX + n] * more) * w[_CONDUCTS + n] * grows
            carried = w[_OUT + n] * below * w[_PER_OWN + n]
            w[_NEXT + n] = into * above
            w[CELL + _FLUX + n], w[CELL + _CONDUCTS + n] = flux, conducts
            w[CELL + _OUT + n], w[CELL + _CARRIED + n] = out, carried
            w[CELL + _PER_OWN + n] = 1 / (own + (out - into) * below + carried * into * above)
        above = below


@_inlined
def _solved(
    room: Any, cells: int, lanes: int, contact: Any, per_width: Any, light: float, change: int
) -> None:
    """Solve one stage for its change of heat, with the factors of `_eliminated`."""
    for i in range(cells):
        w = room[i * CELL :]
        between, below = contact[i], per_width[i]
        for n in range(lanes):
            resists = w[CELL + _RESISTS + n] + between + w[2 * CELL + _RESISTS + n]
            flux = (w[CELL + _RISE + n] - w[2 * CELL + _RISE + n]) / resists
            right = w[CELL + _RIGHT + n] + (w[_FLUX + n] - flux) * below
            right += light * w[CELL + _SOURCE + n]
            w[CELL + _FLUX + n] = flux
            w[CELL + _RIGHT + n] = right + w[CELL + _CARRIED + n] * w[_RIGHT + n]
    for i in range(cells, 0, -1):
        w = room[i * CELL :]
        found = w[change:]
        for n in range(lanes):
            found[n] = (w[_RIGHT + n] - w[_NEXT + n] * found[CELL + n]) * w[_PER_OWN + n]


@_inlined
def _off(room: Any, cells: int, lanes: int, share: float) -> float:
    """Error estimate of a step, in K of the solid, beyond a relative share of the heat."""
    most = 0.0
    for i in range(1, cells + 1):
        w = room[i * CELL :]
        for n in range(lanes):
            off = abs(w[_C5 + n]) - share * abs(w[_HEAT + n])
            most = max(most, off * w[_PER_CAPACITY + n])
    return most


@_inlined
def _taken(room: Any, cells: int, lanes: int, ahead: Any) -> None:
    """Accept a step: update the heat of each cell and its maximum."""
    last = STAGES - 1
    a0, a1, a2, a3 = ahead[last, 0], ahead[last, 1], ahead[last, 2], ahead[last, 3]
    for i in range(1, cells + 1):
        w = room[i * CELL :]
        for n in range(lanes):
            heat = w[_HEAT + n] + a0 * w[_C0 + n] + a1 * w[_C1 + n] + a2 * w[_C2 + n]
            heat += a3 * w[_C3 + n] + w[_C4 + n] + w[_C5 + n]
            w[_HEAT + n] = heat
            w[_MOST + n] = max(w[_MOST + n], heat)


@_compiled
def follow(
    room: Any, lanes: int, contact: Any, per_width: Any, time: Any, light: Any, ahead: Any,
    mixed: Any, at: Any, lead: Any, gamma: float, exact_k: float, exact: float, below: int,
    most: int, surface: Any, under: Any,
) -> int:  # fmt: skip
    """Run all steps, writing the heat into `surface` and `under`; returns the tries it took."""
    # `lanes` is always LANES. As a constant the compiler would unroll it lane by lane, so it is
    # passed in.
    cells, tries = per_width.size, 0
    for step in range(time.size - 1):
        span = time[step + 1] - time[step]
        p0, p1, p2, p3 = light[step, 0], light[step, 1], light[step, 2], light[step, 3]
        done, part = 0.0, 1.0
        while done < 1:
            dt = part * span
            tries += 1
            if tries > most:
                return tries
            brightens = (p1 + done * (2 * p2 + done * 3 * p3)) / span
            for stage in range(STAGES):
                _tried(room, cells, lanes, ahead, mixed, stage, dt)
                if stage == 0:
                    _eliminated(room, cells, lanes, contact, per_width, 1 / (dt * gamma))
                x = done + at[stage] * part
                lit = p0 + x * (p1 + x * (p2 + x * p3)) + dt * lead[stage] * brightens
                _solved(room, cells, lanes, contact, per_width, lit, _C0 + stage * LANES)
            off = _off(room, cells, lanes, exact) / exact_k
            if off <= 1:
                done += part
                _taken(room, cells, lanes, ahead)
            # The estimate falls with the cube of the step or faster, so that half a step is 8 times
            # as good, and a doubled one still passes where less than a tenth was needed.
            part = min(1 - done, part * (2.0 if off < 0.1 else 1.0 if off <= 1 else 0.25))
        for n in range(lanes):
            surface[step + 1, n] = room[CELL + _HEAT + n]
            under[step + 1, n] = room[(below + 1) * CELL + _HEAT + n]
    return tries
