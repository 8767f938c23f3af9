"""Normal draws of one input, the same wherever it is used, and draws of a rated harm."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from heritagecheck.tables.row_types import HarmRating, SourceGrade

DRAWS = 4096
Z_95 = 1.6448536269514722
Array = NDArray[np.float64]
# Linux takes the memory of an array back as soon as it is freed; to get it again costs a quarter of
# an assessment. Once a larger array was freed, glibc keeps what smaller ones leave (mallopt(3),
# M_MMAP_THRESHOLD). Nothing of these 16 MB is ever touched.
np.empty(1 << 21)


@dataclass(frozen=True, slots=True)
class Draws:
    """
    Standard normal draws, one stream for each input, the same wherever that input is used.

    Parameters
    ----------
    seed : int
        Seed of the whole assessment.
    """

    seed: int

    def normal(self, key: str, *, option: str = "", correlation: float = 0.0) -> Array:
        """Draws of one input."""
        own = _stream(self.seed, key)
        if not correlation:
            return own
        shared = _stream(self.seed, f"shared by {option}")
        return math.sqrt(correlation) * shared + math.sqrt(1 - correlation) * own

    def rated(
        self, row: HarmRating, option: str, correlation: float, *, upper: bool = False
    ) -> Array:
        """Draws of one row of `tables/harm_ratings.csv`."""
        rating = row.mean, row.evidence
        leaving = row.option == "leave"
        if upper:
            return _upper(*rating, leaving=leaving)
        return self.spread(row.row, option, correlation, *rating, leaving=leaving)

    def spread(
        self,
        key: str,
        option: str,
        correlation: float,
        mean: float,
        evidence: str,
        *,
        leaving: bool = False,
    ) -> Array:
        """Draws of a rated harm, the same for every zone that rests on the same rows."""
        # Inputs that err by themselves are the same for whichever option.
        shared_by = option if correlation else ""
        return _spread(self, key, shared_by, correlation, mean, evidence, leaving=leaving)


# Zones that follow one another rest on much the same rows, and so does the next assessment. Each
# array takes 32 kB, so that all of them take 40 MB at most.
@lru_cache(maxsize=256)
def _stream(seed: int, key: str) -> Array:
    """Standard normal draws of one input."""
    digest = hashlib.sha256(f"{seed}:{key}".encode()).digest()[:16]
    generator = np.random.Generator(np.random.Philox(key=int.from_bytes(digest)))
    return fixed(generator.standard_normal(DRAWS))


@lru_cache(maxsize=1024)
def _spread(
    draws: Draws,
    key: str,
    option: str,
    correlation: float,
    mean: float,
    evidence: str,
    *,
    leaving: bool,
) -> Array:
    """Draws of a rated harm."""
    z = draws.normal(key, option=option, correlation=correlation)
    return fixed(rated_draws(z, mean, evidence, leaving=leaving))


@lru_cache(maxsize=64)
def _upper(mean: float, evidence: str, *, leaving: bool) -> Array:
    """Upper 95 % value of a rated harm, throughout."""
    return fixed(rated_draws(np.full(DRAWS, Z_95), mean, evidence, leaving=leaving))


def fixed(found: Array) -> Array:
    """Draws that nobody changes in place, since others are given the same."""
    found.flags.writeable = False
    return found


def rated_draws(z: Array, mean: float, evidence: str, *, leaving: bool = False) -> Array:
    """
    Draws of a rated harm.

    Parameters
    ----------
    z : ndarray, shape (draws,)
        Standard normal draws.
    mean : float
        Rating. [0 to 10]
    evidence : str
        Grade of its source, as in `tables/source_grades.csv`.
    leaving : bool
        True for harm of leaving, which counts for treating.

    Returns
    -------
    ndarray, shape (draws,)
        Harm. [0 to 10]

    Notes
    -----
    A split normal: a poorer source widens upwards only, so that it never lowers the mean or an
    upper quantile of a severe harm when draws are cut off at 10. Harm of leaving is mirrored: a
    poorer source widens it downwards only, so that it never counts more for treating.
    """
    grade = SourceGrade.named(evidence)
    up, down = grade.spread_up, grade.spread_down
    if leaving:
        up, down = down, up
    # `up` where z is above 0, `down` below: always the larger product, or always the smaller.
    found = (np.maximum if up > down else np.minimum)(up * z, down * z)
    found += mean
    return within(found, 10.0)


def within(found: Array, most: float) -> Array:
    """Cut off at 0 and at the most, in place: several times as fast as numpy's clip."""
    np.maximum(found, 0.0, out=found)
    np.minimum(found, most, out=found)
    return found
