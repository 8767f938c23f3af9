"""Whether treatment changed the residual stress, against the engineer's limit and a control."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.evidence.laser.beam import single_positive
from heritagecheck.evidence.section.profile_values import (
    POWER,
    FloatArray,
    in_depth_order,
    rows_of,
    share_between,
)


@dataclass(frozen=True, slots=True)
class StressChange:
    """
    Largest change of residual stress below a treated surface; towards tension is positive.

    `largest_mpa` is the largest change, either way, that the intervals of all depths leave open.
    `within_limit` is None where no limit was given, or where an interval lies across it.
    """

    changed: bool
    change_mpa: float
    low_mpa: float
    high_mpa: float
    at_um: float
    largest_mpa: float
    detectable_mpa: float
    control_scatter_mpa: float | None
    limit_mpa: float | None
    within_limit: bool | None
    readings: int
    level: float

    def __str__(self) -> str:
        """Say it in a sentence, always with what could have been measured."""
        span = (
            f"{self.change_mpa:+.0f} MPa ({100 * self.level:g} % confidence interval "
            f"{self.low_mpa:+.0f} to {self.high_mpa:+.0f} MPa) at {self.at_um:g} µm"
        )
        said = f"Stress changed by {span}" if self.changed else f"No measurable change: {span}"
        said += f"; {self.detectable_mpa:.0f} MPa would have been found in 8 of 10 tries."
        if self.limit_mpa is None:
            return f"{said} No limit of the engineer is recorded."
        against = {True: "Within", False: "Beyond", None: "Not known to be within"}
        return f"{said} {against[self.within_limit]} the engineer's limit, {self.limit_mpa:g} MPa."


def compare_stress(
    depth_um: ArrayLike,
    before_mpa: ArrayLike,
    after_mpa: ArrayLike,
    *,
    before_error_mpa: ArrayLike,
    after_error_mpa: ArrayLike,
    control_change_mpa: ArrayLike | None = None,
    limit_mpa: float | None = None,
    level: float = 0.95,
) -> StressChange:
    """
    Largest change of residual stress between before and after, with its interval.

    Parameters
    ----------
    depth_um : array_like, shape (n,)
        Depths of the readings, the same before and after. [µm]
    before_mpa, after_mpa : array_like, shape (n,)
        Residual stress; tension is positive. [MPa]
    before_error_mpa, after_error_mpa : array_like, shape (n,)
        Standard error of each. [MPa]
    control_change_mpa : array_like, shape (m,) with m of at least 3, optional
        What changed on an untreated control between the same two days. [MPa]
    limit_mpa : float, optional
        Change that the engineer allows, either way. [MPa]
    level : float
        Confidence that all intervals hold together. [0 to 1]

    Returns
    -------
    StressChange
        Change at the depth where it is largest against its error, with `low` and `high`; smallest
        change that would have been found; scatter of the control [MPa]; depth [µm].

    Raises
    ------
    ValueError
        Rows that differ in length, a depth above the surface, an error that is not above 0, fewer
        than 3 changes of a control, or a limit that is not above 0.

    Notes
    -----
    Stated errors of a laboratory are of its counts alone; what removing, remounting and another
    day do shows on the control. Where the control's changes scatter more than the stated errors,
    their root mean square stands in place of these, with Student's t for so few. The intervals of
    all depths hold together (Bonferroni). The change is *within* only where its whole interval is,
    at every depth. Stress relieved is a change too. Only what the depths sampled is said.

    Examples
    --------
    Three depths below a treated rivet edge, before and after, with a control read twice:

    >>> import heritagecheck as hc
    >>> print(hc.section.compare_stress(
    ...     [10, 30, 60], [-42, -20, -8], [118, 35, -12],
    ...     before_error_mpa=[12, 12, 12], after_error_mpa=[14, 12, 12],
    ...     control_change_mpa=[9, -13, 4], limit_mpa=50,
    ... ))  # doctest: +NORMALIZE_WHITESPACE
    Stress changed by +160 MPa (95 % confidence interval +116 to +204 MPa) at 10 µm; 60 MPa would
    have been found in 8 of 10 tries. Beyond the engineer's limit, 50 MPa.
    """
    from scipy.special import ndtri, stdtrit

    level = share_between("level", level)
    depths, before, after, error_before, error_after = in_depth_order(
        *rows_of(
            1, depth_um=depth_um, before_mpa=before_mpa, after_mpa=after_mpa,
            before_error_mpa=before_error_mpa, after_error_mpa=after_error_mpa,
        )
    )  # fmt: skip
    if min(error_before.min(), error_after.min()) <= 0:
        raise ValueError(
            "A standard error of a stress is 0: give what the laboratory states, which lies "
            "above 0."
        )
    if limit_mpa is not None:
        (limit_mpa,) = single_positive(limit_mpa=limit_mpa)
    change, error = after - before, np.hypot(error_before, error_after)
    tail = 1 - (1 - level) / (2 * depths.size)
    reach, again = np.full(depths.size, ndtri(tail)), np.full(depths.size, ndtri(POWER))
    scatter = None
    if control_change_mpa is not None:
        scatter, freedom = _scatter(rows_of(3, control_change_mpa=control_change_mpa)[0])
        more = scatter > error
        error = np.maximum(error, scatter)
        reach[more], again[more] = stdtrit(freedom, tail), stdtrit(freedom, POWER)
    half = reach * error
    worst = int((np.abs(change) / half).argmax())
    return StressChange(
        changed=bool(abs(change[worst]) > half[worst]),
        change_mpa=float(change[worst]),
        low_mpa=float(change[worst] - half[worst]),
        high_mpa=float(change[worst] + half[worst]),
        at_um=float(depths[worst]),
        largest_mpa=float((np.abs(change) + half).max()),
        detectable_mpa=float(((reach + again) * error).max()),
        control_scatter_mpa=scatter,
        limit_mpa=limit_mpa,
        within_limit=None if limit_mpa is None else _within(change, half, limit_mpa),
        readings=depths.size,
        level=level,
    )


def _scatter(control: FloatArray) -> tuple[float, int]:
    """Root mean square of what changed on the control, where nothing was done; its freedom."""
    return float(np.sqrt((control**2).mean())), control.size


def _within(change: FloatArray, half: FloatArray, limit: float) -> bool | None:
    """Whether every change lies within a limit; None where an interval lies across it."""
    size = np.abs(change)
    if np.any(size - half > limit):
        return False
    return True if np.all(size + half <= limit) else None
