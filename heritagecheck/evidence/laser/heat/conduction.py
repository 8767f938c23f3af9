"""
How heat moves into the depth of layered stone or steel while pulses arrive, solved in steps.

Finite volumes along the depth; conductivity and heat capacity change with temperature, and melting
takes its latent heat. Each step is implicit, of third order, and conserves energy.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from heritagecheck.evidence.laser.beam import FloatArray

# Stages of one step: an implicit Runge-Kutta method of order 3 whose first stage is explicit, after
# C. A. Kennedy and M. H. Carpenter (ESDIRK-03). The root below makes it damp what is too fast to
# follow; the other numbers follow from the conditions of order.
_GAMMA = 0.43586652150845967  # of 6 g³ - 18 g² + 9 g - 1 = 0
_MOST_ROUNDS = 200
# Rock and steel melt over a span; without one, no step across the melting front could be solved.
MELTS_OVER_K = 40.0
_EXACT_K = 1.0  # a correction of less ends the rounds: the next would be a thousandth of it


def _stages() -> tuple[FloatArray, FloatArray]:
    """Weights of the slopes in each stage, and at which share of the step the stages are."""
    g = _GAMMA
    share = np.array([0, 2 * g, 0.6, 1])
    weight = np.zeros((4, 4))
    weight[1, :2] = g
    weight[2, 1] = (share[2] ** 2 / 2 - g * share[2]) / share[1]
    weight[2, 0] = share[2] - weight[2, 1] - g
    weight[2, 2] = g
    powers = np.vander(share[:3], 3, increasing=True).T
    weight[3, :3] = np.linalg.solve(powers, [1 - g, 1 / 2 - g, 1 / 3 - g])
    weight[3, 3] = g
    return weight, share


def _guesses(share: FloatArray) -> FloatArray:
    """Weights by which the slopes of earlier stages foretell the heat of a stage."""
    found = np.zeros((4, 4))
    for stage in range(1, 4):
        # The integral of the polynomial through the slopes that are known, up to the stage.
        powers = np.vander(share[:stage], stage, increasing=True).T
        order = np.arange(1, stage + 1)
        found[stage, :stage] = np.linalg.solve(powers, share[stage] ** order / order)
    return found


_WEIGHT, STAGES = _stages()
_GUESS = _guesses(STAGES)


class NotSettledError(ArithmeticError):
    """A front of melting or freezing runs through more cells than one step can follow."""


class Cells(NamedTuple):
    """
    Cells from the surface down: their widths, then arrays of sets of properties by cells.

    Up to `turn_k` above the start, resistivity (1/k) and heat capacity rise by straight lines; from
    there on both keep their values. What melts takes up `latent_j_m3` within the first 40 K.
    """

    width_m: FloatArray
    contact_m2_k_w: FloatArray  # added resistance below each cell
    resistivity_m_k_w: FloatArray
    resistivity_rise_per_k: FloatArray
    capacity_j_m3_k: FloatArray
    capacity_rise_per_k: FloatArray
    turn_k: FloatArray
    latent_j_m3: FloatArray
    taken_in: FloatArray  # share of the incident light that ends in each cell


@dataclass(frozen=True, slots=True)
class Course:
    """
    What the cells went through: rises in K, by sets and times, or by sets and cells.

    `below_k` is that of the first cell under the layer, and of the surface itself without one.
    """

    time_s: FloatArray
    surface_k: FloatArray
    below_k: FloatArray
    hottest_k: FloatArray
    molten: FloatArray  # share


def conducted(
    cells: Cells, time_s: FloatArray, light_w_m2: FloatArray, *, below: int = 0
) -> Course:
    """
    Follow the heat through all steps; `below` is the first cell under the layer, 0 without one.

    `light_w_m2` is the incident flux at the stages of each step: steps by stages, or sets by steps
    by stages. Nothing leaves by the surface; the back face keeps its temperature.
    """
    from heritagecheck.evidence.laser.heat.steps import follow

    sets, count = cells.resistivity_m_k_w.shape
    steps = len(time_s) - 1
    # A copy: a view would be of another type, for which the loop is compiled once more.
    light = np.broadcast_to(light_w_m2, (sets, steps, len(STAGES))).copy()
    table = _for_the_loop(cells)
    surface, under = np.zeros((2, sets, steps + 1))
    most_heat = np.zeros((sets, count))
    rounds = follow(
        table, cells.contact_m2_k_w, 1 / cells.width_m, cells.taken_in / cells.width_m, time_s,
        light, _WEIGHT, _GUESS, below, _EXACT_K, _MOST_ROUNDS, surface, under, most_heat,
    )  # fmt: skip
    if rounds > _MOST_ROUNDS:
        raise NotSettledError("The equations of one step did not settle.")
    if _at_the_surface(cells):
        # The very surface is half a cell above the middle of the first.
        half, steep, turn = table[:, 0, :1], table[:, 1, :1], table[:, 4, :1]
        flux = cells.taken_in[:, :1] * light[:, :, -1]
        surface[:, 1:] += flux * (half + steep * np.minimum(surface[:, 1:], turn))
        under = surface if below == 0 else under
    return Course(time_s, surface, under, *_hottest(table, most_heat))


def _for_the_loop(cells: Cells) -> FloatArray:
    """Properties of each set and cell in the order in which the loop reads them."""
    half = cells.width_m / 2 * cells.resistivity_m_k_w
    turn, rises = cells.turn_k, cells.capacity_rise_per_k
    growth = rises * turn
    top = cells.capacity_j_m3_k * turn * (1 + growth / 2)
    last = cells.capacity_j_m3_k * (1 + growth)
    melting = cells.latent_j_m3 > 0
    melt = np.where(melting, cells.latent_j_m3 + last * MELTS_OVER_K, 0)
    per_melt = np.where(melting, MELTS_OVER_K / np.where(melting, melt, 1), 0)
    return np.stack(
        [half, half * cells.resistivity_rise_per_k, 1 / cells.capacity_j_m3_k, rises, turn, top,
         melt, 1 / last, per_melt], axis=1,
    )  # fmt: skip


def _at_the_surface(cells: Cells) -> bool:
    """Whether all light that is taken in ends in the first cell: at the very surface."""
    return not cells.taken_in[:, 1:].any()


def _hottest(table: FloatArray, heat: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Rise in K that each most heat content means, and which share of it had melted."""
    per_capacity, rises, _, top, melt, per_last, per_melt = (table[:, n] for n in range(2, 9))
    relative = np.minimum(heat, top) * per_capacity
    solid = 2 * relative / (1 + np.sqrt(1 + 2 * rises * relative))
    over = np.maximum(heat - top, 0)
    melted = np.minimum(over, melt)
    share = np.where(melt > 0, melted / np.where(melt > 0, melt, 1), 0)
    return solid + melted * per_melt + (over - melted) * per_last, share
