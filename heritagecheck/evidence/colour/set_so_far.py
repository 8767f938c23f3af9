"""A set of colour readings while it is taken: its mean, how it spreads, how many more it needs."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.colour.colour_difference import ciede2000
from heritagecheck.evidence.colour.lab_input import checked_lab, checked_readings, covariance
from heritagecheck.evidence.colour.natural_variation import readings_needed, three
from heritagecheck.evidence.colour.outlying_readings import FEWEST_ROBUST, outlying

ASKED = 10  # readings of a side, as the checks of a survey ask for


@dataclass(frozen=True, slots=True)
class SetSoFar:
    """
    What the readings of one set say so far.

    `spread` is the mean CIEDE2000 of the readings from their mean (ASTM E2214), as
    `ColourDifference.natural_variation`. `needed` is how many readings in all give the mean to
    ±1 CIELAB unit in the direction that varies most, never fewer than ten; None while too few
    were taken to tell.
    """

    count: int
    mean: tuple[float, float, float]
    spread: float
    needed: int | None


def set_so_far(lab: ArrayLike) -> SetSoFar:
    """
    What the readings of one set say so far.

    Parameters
    ----------
    lab : array_like, shape (n, 3) with n of at least 1
        L*, a*, b* of the dry readings taken so far. [CIELAB units]

    Returns
    -------
    SetSoFar

    Examples
    --------
    >>> found = set_so_far([[60.0, 1.0, 8.0], [62.0, 1.0, 8.0]])
    >>> found.mean, round(found.spread, 2), found.needed
    ((61.0, 1.0, 8.0), 0.87, None)
    """
    values = checked_lab(lab, "lab")
    mean = values.mean(axis=0)
    spread = float(ciede2000(mean, values, 1).mean())
    try:
        largest = float(np.linalg.eigvalsh(covariance(checked_readings(lab, "lab")))[-1])
    except ValueError:
        return SetSoFar(len(values), three(mean), spread, None)
    needed = max(ASKED, readings_needed(math.sqrt(largest), half_width=1.0))
    return SetSoFar(len(values), three(mean), spread, needed)


def lying_apart(lab: ArrayLike) -> tuple[int, ...]:
    """
    Readings of a set that lie apart from the others, to be looked at.

    Parameters
    ----------
    lab : array_like, shape (n, 3)
        L*, a*, b*. [CIELAB units]

    Returns
    -------
    tuple of int
        Counted from 0; none where the readings are too few or too alike to tell.
    """
    values = checked_lab(lab, "lab")
    if len(values) < FEWEST_ROBUST:
        return ()
    try:
        return outlying(values).rows
    except ValueError:
        return ()
