"""Scales with round ticks, and keys: what pictures of numbers share."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from heritagecheck.figures.svg import (
    LETTERS,
    MIDDLE,
    element,
    line,
    text,
    width_of,
)

ROUND = (1.0, 2.0, 5.0, 10.0)
# Round numbers to tick between 1 and 10 on a logarithmic scale, from far apart to close.
STEPS = (
    (1.0,),
    (1.0, 3.0),
    (1.0, 2.0, 5.0),
    (1.0, 1.5, 2.0, 3.0, 5.0, 7.0),
    (1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0),
    (1.0, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7, 1.8, 1.9, 2.0, 2.2, 2.4, 2.6, 2.8, 3.0, 3.2, 3.4,
     3.6, 3.8, 4.0, 4.2, 4.4, 4.6, 4.8, 5.0, 5.5, 6.0, 6.5, 7.0, 7.5, 8.0, 8.5, 9.0, 9.5),
)  # fmt: skip
TICKS = 6
SAMPLE, APART, KEY_LINE = 26.0, 16.0, 19.0  # pixel: width of a sample, gaps between entries
FloatArray = NDArray[np.float64]


class Scale(NamedTuple):
    """Where numbers from one to another stand along a picture, evenly or by their logarithm."""

    low: float
    high: float
    start: float
    end: float
    logarithmic: bool = False

    def __call__(self, value: float) -> float:
        """Place of a number, in pixels."""
        if self.logarithmic:
            share = math.log(value / self.low) / math.log(self.high / self.low)
        else:
            share = (value - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)


def round_ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Round numbers between two ends."""
    power = math.floor(math.log10((high - low) / most))
    steps = [step * 10.0**power for step in ROUND]
    step = next(step for step in steps if math.floor(high / step) - math.ceil(low / step) < most)
    digits = max(0, -math.floor(math.log10(step)))
    places = range(math.ceil(low / step), math.floor(high / step) + 1)
    return [round(place * step, digits) for place in places]


def log_ticks(low: float, high: float) -> list[float]:
    """Round numbers between two ends of a logarithmic scale, about as many as can be read."""
    powers = range(math.floor(math.log10(low)), math.floor(math.log10(high)) + 1)
    # By way of its digits: 3 times 0.1 would be 0.30000000000000004.
    every = [[float(f"{step}e{power}") for power in powers for step in steps] for steps in STEPS]
    within = [[tick for tick in ticks if low <= tick <= high] for ticks in every]
    return min(within, key=lambda ticks: abs(len(ticks) - TICKS))


def written(value: float) -> str:
    """Number as it stands at a tick."""
    return np.format_float_positional(value, trim="-").replace("-", "\N{MINUS SIGN}")


def through(points: FloatArray, across: Scale, up: Scale, *, closed: bool = False) -> str:
    """Path data through points given by their numbers."""
    return line([(across(x), up(y)) for x, y in points.tolist()], closed=closed)


class Entry(NamedTuple):
    """Words of a key, and how its sample is drawn around a middle."""

    words: str
    sample: Callable[[float, float], str]


def key(entries: Sequence[Entry], room: float, left: float = 0.0) -> tuple[str, float]:
    """What marks and lines mean, in as many lines as their words take."""
    x, y, drawn = left, KEY_LINE / 2, []
    for entry in entries:
        wide = SAMPLE + width_of(entry.words)
        if x > left and x + wide > left + room:
            x, y = left, y + KEY_LINE
        drawn.append(entry.sample(x + SAMPLE / 2 - 3, y))
        drawn.append(text(x + SAMPLE, y + MIDDLE * LETTERS, entry.words))
        x += wide + APART
    return element("g", *drawn), y + KEY_LINE / 2
