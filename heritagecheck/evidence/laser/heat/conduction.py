"""
How heat moves into the depth of layered stone or steel while pulses arrive, solved in steps.

Finite volumes along the depth; conductivity and heat capacity change with temperature, and melting
takes its latent heat. Each step is implicit, of fourth order, and conserves energy.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from heritagecheck.evidence.laser.beam import FloatArray

# Stages of one step: the Rosenbrock method RODAS of order 4, which solves one set of linear
# equations six times a step and iterates nothing (RODAS-96). It damps what is too fast to follow.
_GAMMA = 0.25
_AT = np.array([0, 0.386, 0.21, 0.63, 1, 1])  # share of the step at which each stage looks
_LEAD = np.array([0.25, -0.1043, 0.1035, -0.0362, 0, 0])  # of the change of light
_AHEAD = np.array([
    [0, 0, 0, 0, 0],
    [1.544, 0, 0, 0, 0],
    [0.9466785280815826, 0.2557011698983284, 0, 0, 0],
    [3.314825187068521, 2.896124015972201, 0.9986419139977817, 0, 0],
    [1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950, 0],
    [1.221224509226641, 6.019134481288629, 12.53708332932087, -0.6878860361058950, 1],
])  # fmt: skip
_MIXED = np.array([
    [0, 0, 0, 0, 0],
    [-5.6688, 0, 0, 0, 0],
    [-2.430093356833875, -0.2063599157091915, 0, 0, 0],
    [-0.1073529058151375, -9.594562251023355, -20.47028614809616, 0, 0],
    [7.496443313967647, -10.24680431464352, -33.99990352819905, 11.70890893206160, 0],
    [8.083246795921522, -7.981132988064893, -31.52159432874371, 16.31930543123136,
     -6.058818238834054],
])  # fmt: skip
# A step is made shorter until it is wrong by no more than this; smooth light passes at once.
_EXACT_K, _EXACT = 1.0, 0.005  # and a share of the heat
_MOST_TRIES = 100_000  # some seconds
# Rock and steel melt over a span; without one, no step across the melting front could be solved.
MELTS_OVER_K = 40.0
# Light within a step is the cubic through these shares of it, the nodes of Gauss and Legendre: its
# integral over the step is then exact for polynomials up to the seventh degree.
LIGHT_AT = (np.polynomial.legendre.leggauss(4)[0] + 1) / 2
_CUBIC = np.linalg.inv(np.vander(LIGHT_AT, 4, increasing=True)).T


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

    `light_w_m2` is the incident flux of each step at the shares LIGHT_AT of it: steps by four.
    Nothing leaves by the surface; the back face keeps its temperature.
    """
    table = _for_the_loop(cells)
    cubic = np.einsum("sn,np->sp", light_w_m2, _CUBIC)
    heat, most = _followed(cells, table, time_s, cubic, below)
    surface, under = (_rise(table[:, :, [cell]], heat[n]) for n, cell in enumerate((0, below)))
    if _at_the_surface(cells):
        # The very surface is half a cell above the middle of the first.
        half, steep, turn = table[:, 0, :1], table[:, 1, :1], table[:, 4, :1]
        flux = cells.taken_in[:, :1] * cubic.sum(axis=1)
        surface[:, 1:] += flux * (half + steep * np.minimum(surface[:, 1:], turn))
        under = surface if below == 0 else under
    return Course(time_s, surface, under, _rise(table, most), _molten(table, most))


def _followed(
    cells: Cells, table: FloatArray, time_s: FloatArray, cubic: FloatArray, below: int
) -> tuple[FloatArray, FloatArray]:
    """Heat of the first cell and of that below the layer at each time, and the most of each."""
    from heritagecheck.evidence.laser.heat.conduction_loop import FIELDS, LANES, follow

    sets, _, count = table.shape
    heat, most = np.zeros((2, sets, len(time_s))), np.zeros((sets, count))
    for first in range(0, sets, LANES):
        # The last room is filled up with the last set.
        these = np.minimum(np.arange(first, first + LANES), sets - 1)
        room, found = _room(table[these], len(FIELDS)), np.zeros((2, len(time_s), LANES))
        tries = follow(
            room.reshape(-1), LANES, cells.contact_m2_k_w, 1 / cells.width_m, time_s, cubic,
            _AHEAD, _MIXED, _AT, _LEAD, _GAMMA, _EXACT_K, _EXACT, below, _MOST_TRIES, *found,
        )  # fmt: skip
        if tries > _MOST_TRIES or not np.isfinite(found).all():
            raise NotSettledError("A front of melting would need too many steps.")
        heat[:, these], most[these] = found.swapaxes(1, 2), room[1:-1, FIELDS.index("most")].T
    return heat, most


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
         melt, 1 / last, per_melt, cells.taken_in / cells.width_m], axis=1,
    )  # fmt: skip


def _at_the_surface(cells: Cells) -> bool:
    """Whether all light that is taken in ends in the first cell: at the very surface."""
    return not cells.taken_in[:, 1:].any()


def _room(table: FloatArray, fields: int) -> FloatArray:
    """Room of the loop for some sets: cells by fields by sets, with an empty cell at both ends."""
    sets, known, cells = table.shape
    room = np.zeros((cells + 2, fields, sets))
    room[1:-1, :known] = table.transpose(2, 1, 0)
    return room


def _rise(table: FloatArray, heat: FloatArray) -> FloatArray:
    """Rise in K that each heat content means: sets by cells, or by times for one cell."""
    per_capacity, rises, _, top, melt, per_last, per_melt = (table[:, n] for n in range(2, 9))
    solid = np.minimum(heat, top) * per_capacity
    over = np.maximum(heat - top, 0)
    molten = np.minimum(over, melt)
    warm = 2 * solid / (1 + np.sqrt(1 + 2 * rises * solid))
    return np.asarray(warm + molten * per_melt + (over - molten) * per_last)


def _molten(table: FloatArray, heat: FloatArray) -> FloatArray:
    """Share of each cell that had melted at its most heat."""
    top, melt = table[:, 5], table[:, 6]
    return np.where(melt > 0, np.clip(heat - top, 0, melt) / np.where(melt > 0, melt, 1), 0)


# -- When light reaches one place: pulses, a scanned line, a continuous beam -----------------------

_SIGMA = 1 / math.sqrt(8 * math.log(2))  # of a Gaussian, to its full width at half maximum
_REACH = 4.5  # in units of sigma: beyond it is a hundred-thousandth of the pulse
_WEAKEST = 1e-3  # of the middle pulse of a line: fainter ones bring nothing that counts
MOST_ARRIVING = 1_000_000  # pulses on one place: more are a slip of unit
# In sigma: coarse while it rises, fine around the hottest moment, coarse again.
_IN_A_PULSE = np.concatenate(
    [np.arange(-_REACH, 0, 0.5), np.arange(0, 2, 0.2), np.arange(2, _REACH + 0.1, 0.75)]
)
_SLOWER = 2.0  # each step after a pulse, to the one before it


@dataclass(frozen=True, slots=True)
class Train:
    """Pulses alike in shape that reach one place: full width at half maximum, times, strengths."""

    width_s: float
    at_s: FloatArray
    strength: FloatArray  # share of the full fluence
    apart_s: float | None  # from pulse to pulse; None where the rate is not known

    def steps(self, until_s: float) -> tuple[FloatArray, FloatArray]:
        """
        Times of the steps up to `until_s` after the first pulse, and light within them.

        The light is per J/m² of full fluence, in W/m², at the shares LIGHT_AT: steps by four.
        """
        sigma = _SIGMA * self.width_s
        begins = self.at_s - _REACH * sigma
        ends = [*begins[1:], max(until_s, self.at_s[-1] + 2 * _REACH * sigma)]
        time = []
        for at, end in zip(self.at_s, ends, strict=True):
            lit_s = at + sigma * _IN_A_PULSE
            time += [lit_s, _after(lit_s[-1], end, sigma / 4)]
        nodes = np.concatenate([*time, ends[-1:]])
        span = np.diff(nodes)
        within = nodes[:-1, None] + span[:, None] * LIGHT_AT
        light = np.zeros(within.shape)
        for at, strength in zip(self.at_s, self.strength, strict=True):
            lit = np.abs(nodes[:-1] + span / 2 - at) < _REACH * sigma
            shape = np.exp(-(((within[lit] - at) / sigma) ** 2) / 2)
            light[lit] = strength * shape / (sigma * math.sqrt(2 * math.pi))
        return nodes, light


def _after(begin: float, end: float, first: float) -> FloatArray:
    """Times after a pulse, each step longer than the last, up to but without the end."""
    span = end - begin
    count = max(1, math.ceil(math.log1p(span * (_SLOWER - 1) / first) / math.log(_SLOWER)))
    grown = np.cumsum(_SLOWER ** np.arange(count))
    return np.asarray(begin + span * grown[:-1] / grown[-1])


def resting(width_s: float, pulses: int, rate_hz: float | None) -> Train:
    """Pulses on one place, each with its full fluence in the middle of the spot."""
    apart = 1 / rate_hz if rate_hz else None
    return Train(width_s, np.arange(pulses, dtype=float) * (apart or 0.0), np.ones(pulses), apart)


def scanned(width_s: float, rate_hz: float, radius_um: float, speed_mm_s: float) -> Train:
    """Pulses that reach the middle of one spot while a line passes, the weaker ones included."""
    # exp(-2 r²/w²) of the distance that the spot has moved meanwhile.
    step = 1e3 * speed_mm_s / rate_hz / radius_um
    reached = math.sqrt(-math.log(_WEAKEST) / 2)
    if not 2 * reached < MOST_ARRIVING * step:
        raise ValueError(
            f"speed_mm_s = {speed_mm_s:g} with rate_hz = {rate_hz:g} and radius_um = "
            f"{radius_um:g}: more than {MOST_ARRIVING:,} pulses reach each place. Is one of them "
            "in another unit?"
        )
    reach = math.floor(reached / step)
    number = np.arange(-reach, reach + 1, dtype=float)
    strength = np.exp(-2 * (number * step) ** 2)
    return Train(width_s, (number + reach) / rate_hz, strength, 1 / rate_hz)


def passing_beam(power_w: float, radius_um: float, speed_mm_s: float) -> tuple[Train, float]:
    """A continuous beam that passes, as the one pulse that a place then sees, and its fluence."""
    # In the middle of the line: 2P/(pi w²) exp(-2 v² t²/w²), a Gaussian in time; its integral
    # is sqrt(2/pi) P/(w v).
    passes_s = 1e-3 * radius_um / speed_mm_s
    width = math.sqrt(2 * math.log(2)) * passes_s
    fluence_j_m2 = math.sqrt(2 / math.pi) * power_w / (1e-6 * radius_um * 1e-3 * speed_mm_s)
    return Train(width, np.zeros(1), np.ones(1), None), 1e-4 * fluence_j_m2
