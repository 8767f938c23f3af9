"""Readings from the surface to the core, compared with a control: altered layer, stress change."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.laser.beam import single, single_positive

FloatArray = NDArray[np.float64]
POWER = 0.8  # chance with which a change that is called detectable would be found
_FEWEST_ALONE = 4  # readings of a section without a control


def checked_level(level: float) -> float:
    """Check that a confidence is between 0 and 1."""
    share = single("level", level)
    if not 0 < share < 1:
        raise ValueError(f"level = {share:g}: it lies between 0 and 1, such as 0.95.")
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


# -- Altered layer ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class AlteredLayer:
    """
    Depth of the layer that differs from core and control; or what could have been found.

    Without a measurable change `depth_um` is None, and `high_um` is the depth of the first
    reading: a thinner layer lies above all that was measured. `high_um` is infinite where no
    reading reached the core.
    """

    changed: bool
    depth_um: float | None
    low_um: float
    high_um: float
    change: float
    detectable_change: float
    p_value: float
    readings: int
    level: float

    def __str__(self) -> str:
        """Say it in a sentence."""
        if self.depth_um is None:
            return (
                f"No measurable change (p = {self.p_value:.2g}, {self.readings} readings). A "
                f"change of {self.detectable_change:.3g} at the first reading would have been "
                f"found in 8 of 10 tries; a layer thinner than {self.high_um:.3g} µm lies above it."
            )
        end = f"{self.high_um:.3g} µm" if math.isfinite(self.high_um) else "beyond all readings"
        return (
            f"Altered by {self.change:+.3g} to a depth of {self.depth_um:.3g} µm "
            f"({100 * self.level:g} % confidence interval {self.low_um:.3g} µm to {end}; "
            f"p = {self.p_value:.2g})."
        )


def altered_depth(
    depth_um: ArrayLike,
    value: ArrayLike,
    control: ArrayLike,
    control_depth_um: ArrayLike | None = None,
    level: float = 0.95,
) -> AlteredLayer:
    """
    Depth to which a section differs from its core and from an untreated control.

    Parameters
    ----------
    depth_um : array_like, shape (n,) with n of at least 3
        Depth of each reading on the treated section, from the surface. [µm]
    value : array_like, shape (n,)
        Hardness, mean grain intercept or share of an element there. [its own unit]
    control : array_like, shape (m,) with m of at least 3
        The same quantity on an untreated section of the same plate.
    control_depth_um : array_like, shape (m,), optional
        Depths of the control's readings. Needed where the control itself has a skin, such as a
        decarburised one; treated and control are then compared depth by depth. [µm]
    level : float
        Confidence of the interval and of the test. [0 to 1]

    Returns
    -------
    AlteredLayer
        Depth with `low` and `high` [µm], change and smallest change that would have been found
        [unit of `value`], p-value, readings.

    Raises
    ------
    ValueError
        Rows that differ in length, too few readings, a depth above the surface, readings that do
        not vary at all, or a control with a skin that was read at other depths.

    Notes
    -----
    For each depth at which the layer may end, a two-sided t test compares the readings above it
    with all below and those of the control; the smallest p, times the number of depths
    (Bonferroni), is the p-value, so that it errs towards *no change* only by being strict. The
    end of the layer is the split with the least sum of squares [1]_. The interval holds every
    split whose sum of squares lies within F(1, n + m - 3) of the least, from the last reading
    inside to the first outside; it also reaches below the deepest reading that lies outside the
    scatter of the control, because a layer that fades has no edge. What would have been
    found is the change of the first reading alone that this test finds in 8 of 10 tries.

    References
    ----------
    .. [1] D. V. Hinkley, "Inference about the change-point in a sequence of random variables,"
       Biometrika 57(1), 1-17 (1970) (from memory).

    Examples
    --------
    Hardness HV 0.025 below a laser track, and of the untreated plate:

    >>> import heritagecheck as hc
    >>> print(hc.section.altered_depth(
    ...     [5, 15, 25, 35, 50, 70, 100], [231, 226, 234, 152, 148, 151, 149],
    ...     control=[150, 147, 153, 149, 151],
    ... ))  # doctest: +NORMALIZE_WHITESPACE
    Altered by +80.3 to a depth of 30 µm (95 % confidence interval 25 µm to 35 µm; p = 2.5e-12).
    """
    level = checked_level(level)
    depths, values = in_depth_order(*rows_of(3, depth_um=depth_um, value=value))
    rest = rows_of(3, control=control)[0]
    if control_depth_um is not None:
        below, rest = in_depth_order(
            *rows_of(3, control_depth_um=control_depth_um, control=control)
        )
        if rest.size > _FEWEST_ALONE and _layer(below, rest, rest[:0], level).changed:
            values, rest = values - _at_same_depths(depths, below, rest), rest[:0]
    if not rest.size and values.size < _FEWEST_ALONE:
        raise ValueError(
            f"{values.size} readings beside a control with a skin of its own: at least "
            f"{_FEWEST_ALONE} are needed, the deepest of them in the core."
        )
    return _layer(depths, values, rest, level)


def _at_same_depths(depths: FloatArray, below: FloatArray, control: FloatArray) -> FloatArray:
    """Control at the depths of the treated section; refused where it was read at others."""
    if depths.shape != below.shape or not np.allclose(depths, below):
        raise ValueError(
            "The control has a skin of its own, so that treated and control are compared depth by "
            "depth: read both at the same depths."
        )
    return control


def _layer(depths: FloatArray, values: FloatArray, rest: FloatArray, level: float) -> AlteredLayer:
    """Split a section into an altered layer and its core, where the fit is best."""
    from scipy.special import fdtri, stdtr, stdtrit

    every = np.concatenate([values, rest])
    if np.ptp(every) == 0:
        raise ValueError(
            "All readings are the same number, so that their scatter is not known. Give them with "
            "the digits that the instrument shows."
        )
    # Without a control at least two readings of the section must be the core.
    ends = range(1, values.size + 1 if rest.size else values.size - 1)
    splits = [_split(every, inside) for inside in ends]
    left = np.array([squares for _, squares in splits])
    best = int(left.argmin())
    change, freedom = splits[best][0], every.size - 2
    # For two groups, t² is the drop in the sum of squares over the variance that is left. A split
    # without any scatter left gives infinity, which is a certain change.
    with np.errstate(divide="ignore"):
        steps = np.sqrt(np.maximum(_squares(every) - left, 0.0) / (left / freedom))
    p_value = min(1.0, len(splits) * 2 * float(stdtr(freedom, -steps.max())))
    changed = p_value < 1 - level
    # Without a change the readings are one group, and their scatter is about one mean.
    spread = math.sqrt((left.min() if changed else _squares(every)) / freedom)
    strict = float(stdtrit(freedom, 1 - (1 - level) / (2 * len(splits))))
    alone = spread * math.sqrt(1 + 1 / (every.size - 1))
    found = AlteredLayer(
        changed=changed, depth_um=None, low_um=0.0, high_um=float(depths[0]), change=change,
        detectable_change=alone * (strict + float(stdtrit(freedom, POWER))), p_value=p_value,
        readings=every.size, level=level,
    )  # fmt: skip
    if not changed:
        return found
    allowed = left.min() * (1 + float(fdtri(1, freedom - 1, level)) / (freedom - 1))
    held = np.flatnonzero(left <= allowed)
    last = max(
        int(held.max()), _deepest_outside(values, rest if rest.size else every[best + 1 :], level)
    )
    return replace(
        found, depth_um=_end_of(depths, best), low_um=float(depths[held.min()]),
        high_um=float(depths[last + 1]) if last + 1 < depths.size else math.inf,
    )  # fmt: skip


def _split(every: FloatArray, inside: int) -> tuple[float, float]:
    """Mean of the first readings less that of all others, and the sum of squares left."""
    layer, core = every[:inside], every[inside:]
    return float(layer.mean() - core.mean()), _squares(layer) + _squares(core)


def _squares(values: FloatArray) -> float:
    """Sum of squares about the mean."""
    return float(((values - values.mean()) ** 2).sum())


def _deepest_outside(values: FloatArray, untreated: FloatArray, level: float) -> int:
    """Index of the deepest reading outside the scatter of the control, or of the core."""
    from scipy.special import stdtrit

    # Prediction interval for one further reading, for all readings together (Bonferroni).
    reach = stdtrit(untreated.size - 1, 1 - (1 - level) / (2 * values.size))
    far = reach * untreated.std(ddof=1) * math.sqrt(1 + 1 / untreated.size)
    outside = np.flatnonzero(np.abs(values - untreated.mean()) > far)
    return int(outside.max(initial=-1))


def _end_of(depths: FloatArray, last: int) -> float:
    """Depth half-way between the last reading inside the layer and the first outside."""
    if last + 1 == depths.size:
        return float(depths[last])
    return float(depths[last] + depths[last + 1]) / 2


# -- Change of residual stress ---------------------------------------------------------------------


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

    level = checked_level(level)
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
    # Reported is the depth of the surest change; the limit is held against all depths.
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
    """Root mean square of the changes on the untreated control, and its degrees of freedom."""
    # About 0 and not about the mean: a shift common to all readings is an error here too.
    return float(np.sqrt((control**2).mean())), control.size


def _within(change: FloatArray, half: FloatArray, limit: float) -> bool | None:
    """Whether every change is within a limit; None if an interval crosses it."""
    size = np.abs(change)
    if np.any(size - half > limit):
        return False
    return True if np.all(size + half <= limit) else None
