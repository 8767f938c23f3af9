"""When light reaches one place of the wall: pulses, a scanned line, a continuous beam."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from heritagecheck.evidence.laser.beam import FloatArray
from heritagecheck.evidence.laser.heat.conduction import LIGHT_AT

_SIGMA = 1 / math.sqrt(8 * math.log(2))  # of a Gaussian, to its full width at half maximum
_REACH = 4.5  # of sigma: what lies beyond is a hundred-thousandth of the pulse
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
