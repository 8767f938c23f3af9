"""Grain size of a polished section by the intercept method, with its confidence interval."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.laser.beam import positive, single_positive
from heritagecheck.evidence.section.depth_profiles import checked_level

_FEWEST_INTERCEPTS = 50  # on a field, ASTM E112 (from memory)
_FEWEST_FIELDS = 5  # ASTM E112 (from memory)
_ACCURACY_PCT = 10.0  # relative accuracy that ASTM E112 calls acceptable (from memory)


@dataclass(frozen=True, slots=True)
class GrainSize:
    """Mean distance between grain boundaries, with its interval and its ASTM number."""

    mean_um: float
    low_um: float
    high_um: float
    number: float
    accuracy_pct: float
    fields: int
    level: float
    cautions: tuple[str, ...]

    @property
    def standard_error_um(self) -> float:
        """Standard error of the mean, in µm."""
        from scipy.special import stdtrit

        half = (self.high_um - self.low_um) / 2
        return half / float(stdtrit(self.fields - 1, (1 + self.level) / 2))

    def __str__(self) -> str:
        """Say it in a sentence, with the cautions."""
        said = (
            f"Mean intercept {self.mean_um:.3g} µm ({100 * self.level:g} % confidence interval "
            f"{self.low_um:.3g} to {self.high_um:.3g} µm) from {self.fields} fields; grain size "
            f"number {self.number:.1f}."
        )
        return " ".join((said, *self.cautions))


def grain_size(intercepts: ArrayLike, line_mm: float, level: float = 0.95) -> GrainSize:
    """
    Grain size by the intercept method, from counts on several fields.

    Parameters
    ----------
    intercepts : array_like, shape (n,) with n of at least 2
        Grains cut by the test line on each field.
    line_mm : float
        True length of the test line: its length on the picture over the magnification. [mm]
    level : float
        Confidence of the interval. [0 to 1]

    Returns
    -------
    GrainSize
        Mean intercept with `low` and `high` [µm], grain size number, relative accuracy [%],
        fields, level, cautions.

    Raises
    ------
    ValueError
        Fewer than 2 fields, a count or a length that is not a finite number above 0, or a level
        outside 0 to 1.

    Notes
    -----
    Each field gives the intercept l = L / N; their mean and its t interval are those of ASTM E112,
    and G = 2 log2(0.32 mm / l) = -6.6439 log10(l in mm) - 3.2877; the
    standard prints its constants as -6.6457 and -3.298, a hundredth apart [1]_. The relative
    accuracy is the half-width over the mean. A mean intercept is not a grain diameter; of a
    heavily worked structure measure along and across by themselves.

    References
    ----------
    .. [1] ASTM E112, "Standard test methods for determining average grain size", intercept
       procedure and table of grain size relations (from memory).

    Examples
    --------
    Five fields of a wrought plate, each with a test line of 0.5 mm:

    >>> import heritagecheck as hc
    >>> print(hc.section.grain_size([24, 26, 25, 27, 23], 0.5))  # doctest: +NORMALIZE_WHITESPACE
    Mean intercept 20.1 µm (95 % confidence interval 18.5 to 21.6 µm) from 5 fields; grain size
    number 8.0. Fewer than 50 intercepts on a field: take a longer line.
    """
    from scipy.special import stdtrit

    level = checked_level(level)
    (counts,) = positive(intercepts=intercepts)
    (line,) = single_positive(line_mm=line_mm)
    if counts.ndim != 1 or counts.size < 2:
        raise ValueError("intercepts: give the counts of at least two fields, as one row.")
    sizes = 1000 * line / counts
    mean = float(sizes.mean())
    half = float(
        stdtrit(counts.size - 1, (1 + level) / 2) * sizes.std(ddof=1) / math.sqrt(counts.size)
    )
    accuracy = 100 * half / mean
    return GrainSize(
        mean_um=mean, low_um=max(mean - half, 0.0), high_um=mean + half,
        number=astm_number(mean), accuracy_pct=accuracy, fields=counts.size, level=level,
        cautions=tuple(_cautions(counts, accuracy)),
    )  # fmt: skip


def astm_number(mean_um: float) -> float:
    """Grain size number of a mean intercept: 0 at 320 µm, 2 more for each halving."""
    return 2 * math.log2(320 / mean_um)


def _cautions(counts: np.ndarray, accuracy: float) -> list[str]:
    """What the standard finds wanting in some counts."""
    found = []
    if counts.size < _FEWEST_FIELDS:
        found.append(f"Fewer than {_FEWEST_FIELDS} fields: count more.")
    if counts.min() < _FEWEST_INTERCEPTS:
        found.append(f"Fewer than {_FEWEST_INTERCEPTS} intercepts on a field: take a longer line.")
    if accuracy > _ACCURACY_PCT:
        found.append(
            f"Known to {accuracy:.0f} % only, not to {_ACCURACY_PCT:.0f} %: count more fields."
        )
    return found
