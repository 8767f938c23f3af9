"""What all profiles from the surface to the core have in common: checked arguments."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.laser.beam import single

FloatArray = NDArray[np.float64]
POWER = 0.8  # chance with which a change that is called detectable would be found


def share_between(name: str, value: float) -> float:
    """Check that a value lies between 0 and 1."""
    share = single(name, value)
    if not 0 < share < 1:
        raise ValueError(f"{name} = {share:g}: it lies between 0 and 1, such as 0.95.")
    return share


def rows_of(least: int, **given: ArrayLike) -> list[FloatArray]:
    """Check that rows of finite numbers have one length, and at least so many values."""
    found = [np.asarray(value, dtype=float) for value in given.values()]
    for name, row in zip(given, found, strict=True):
        if row.ndim != 1 or not np.all(np.isfinite(row)):
            raise ValueError(f"{name}: give one row of finite numbers.")
    lengths = {name: row.size for name, row in zip(given, found, strict=True)}
    if len(set(lengths.values())) > 1:
        told = ", ".join(f"{name} {size}" for name, size in lengths.items())
        raise ValueError(f"The rows differ in length: {told}. Give one value for each reading.")
    if found[0].size < least:
        raise ValueError(
            f"{next(iter(given))} holds {found[0].size} values; at least {least} are needed."
        )
    return found


def in_depth_order(depth_um: FloatArray, *others: FloatArray) -> list[FloatArray]:
    """Rows in the order of their depth, from the surface down."""
    if depth_um.min() <= 0:
        raise ValueError(
            f"depth_um = {depth_um.min():g}: give the middle of what each reading takes in, "
            "counted from the surface down; it lies above 0."
        )
    order = np.argsort(depth_um, kind="stable")
    return [row[order] for row in (depth_um, *others)]
