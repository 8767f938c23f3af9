"""Readings of one stone, or of one part of a zone, are alike: such a place counts as one."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from heritagecheck.evidence.colour.lab_input import FEWEST, FloatArray, covariance


def by_place(values: FloatArray, places: Sequence[str], name: str) -> FloatArray:
    """One row a place, with the same mean as the readings, whose spread is that of places."""
    if len(places) != len(values):
        raise ValueError(
            f"{name} holds {len(values)} readings and {len(places)} places: name the place of each."
        )
    named, which = np.unique(np.array(places, dtype=str), return_inverse=True)
    count = len(named)
    if count < FEWEST:
        raise ValueError(
            f"{name}: the {len(values)} readings come from {count} places, and readings of one "
            f"place are alike. Read at {FEWEST} places or more."
        )
    # Taken as independent readings, these rows give the cluster-robust error of the mean with the
    # factor G / (G - 1) and G - 1 degrees of freedom (Liang, Zeger, Biometrika 73, 13-22, 1986).
    # Few places of very different numbers of readings make the error too small still.
    mean = values.mean(axis=0)
    pulls = np.zeros((count, values.shape[1]))
    np.add.at(pulls, which, values - mean)
    rows: FloatArray = mean + pulls * (count / len(values))
    widths = np.linalg.eigvalsh(covariance(rows))
    if widths[0] <= 1e-9 * widths[-1]:
        raise ValueError(f"{name}: the {count} places differ in one plane only. Read more places.")
    return rows
