"""Largest likelihood and the straight line of ISO 21254-2, beside the posterior of a curve."""

from __future__ import annotations

from dataclasses import dataclass
from math import log
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
Link = Literal["logit", "cloglog"]
Scale = Literal["log", "linear"]

STATES = (
    "fitted",
    "parted: none below, all above",
    "parted: all below, none above",
    "none happened",
    "all happened",
    "one dose only",
    "falls with dose",
)


@dataclass(frozen=True, slots=True, eq=False)
class LikelihoodFit:
    """Curves of largest likelihood; an infinite slope or dose says that there is no finite one."""

    intercept: FloatArray
    slope: FloatArray
    dose_50: FloatArray
    log_likelihood: FloatArray
    state: NDArray[np.str_]
    link: Link
    scale: Scale

    def dose_at(self, p: float) -> FloatArray:
        """
        Dose at which the curve reaches a probability.

        Parameters
        ----------
        p : float
            Probability. [0 to 1]

        Returns
        -------
        numpy.ndarray, shape (...)
            Dose, in the unit of the doses; where the curve is a step, the step; infinite where it
            never reaches p, or falls with dose.

        Raises
        ------
        ValueError
            p is not between 0 and 1.
        """
        with np.errstate(all="ignore"):
            place = (_target(p, self.link) - self.intercept) / self.slope
            found = np.exp(place) if self.scale == "log" else place
        return np.asarray(np.where(self.state == STATES[0], found, self.dose_50))

    def __str__(self) -> str:
        fitted = int((self.state == STATES[0]).sum())
        if self.state.size == 1:
            state = str(self.state.ravel()[0])
            if state == STATES[-1]:
                return f"{state}: no dose of half. Check that doses and outcomes belong together"
            return f"{state}; half at {float(self.dose_50.ravel()[0]):.3g}"
        return f"{fitted} of {self.state.size} curves fitted"


def likelihood_fit(
    dose: ArrayLike,
    sites: ArrayLike,
    damaged: ArrayLike,
    *,
    link: Link = "logit",
    scale: Scale = "log",
) -> LikelihoodFit:
    """
    Curve of largest likelihood through counted classes, one set of counts or many at once.

    Parameters
    ----------
    dose : array_like, shape (classes,)
        Dose of each class, above 0; any unit.
    sites : array_like, shape (classes,)
        Spots tried at each dose.
    damaged : array_like, shape (..., classes)
        Spots at which it happened; leading axes are fits of their own, such as bootstrap refits.
    link : {"logit", "cloglog"}
        Logistic curve, or complementary log-log for what the weakest of many points decides.
    scale : {"log", "linear"}
        Whether the curve is straight in the logarithm of the dose or in the dose.

    Returns
    -------
    LikelihoodFit
        Arrays of shape (...). Where the data are parted by a dose, or nothing or everything
        happened, no finite curve has the largest likelihood: `state` says so, the slope is infinite
        or 0, and no value is NaN. Where the curve of largest likelihood falls with dose, `state`
        says that too, and it has no dose of a probability: `dose_50` is infinite.

    Raises
    ------
    ValueError
        Lengths that differ, doses not above 0, counts that are no whole numbers or above `sites`.

    Notes
    -----
    Binomial regression by Newton's steps [1]_. Spots count as independent, which spots of one
    panel are not; `dose_response` is what limits should rest on.

    References
    ----------
    .. [1] A. Agresti, "Categorical Data Analysis," 3rd ed., Wiley (2013), ch. 5.

    Examples
    --------
    >>> from heritagecheck.evidence.trials.curves.likelihood import likelihood_fit
    >>> fit = likelihood_fit([0.6, 0.8, 1.0, 1.2, 1.4, 1.6], [10] * 6, [0, 1, 3, 5, 8, 10],
    ...     scale="linear")
    >>> print(f"{fit.dose_50:.3f} J/cm2, slope {fit.slope:.2f} cm2/J")
    1.162 J/cm2, slope 6.98 cm2/J
    """
    from heritagecheck.evidence.trials.curves import kernels

    x, spots, events = _checked_classes(dose, sites, damaged, scale)
    rows = np.ascontiguousarray(events.reshape(-1, x.size))
    found, states = kernels.maximum_likelihood(
        x, spots, rows, link == "cloglog", _target(0.5, link)
    )
    shape = events.shape[:-1]
    with np.errstate(over="ignore"):
        half = np.exp(found[:, 2]) if scale == "log" else found[:, 2]
    return LikelihoodFit(
        intercept=found[:, 0].reshape(shape),
        slope=found[:, 1].reshape(shape),
        dose_50=half.reshape(shape),
        log_likelihood=found[:, 3].reshape(shape),
        state=np.array(STATES)[states].reshape(shape),
        link=link,
        scale=scale,
    )


def profile_interval(
    dose: ArrayLike,
    sites: ArrayLike,
    damaged: ArrayLike,
    *,
    p: float = 0.5,
    level: float = 0.95,
    link: Link = "logit",
    scale: Scale = "log",
) -> FloatArray:
    """
    Dose of a given probability with its profile-likelihood interval.

    Parameters
    ----------
    dose, sites, damaged, link, scale
        As for `likelihood_fit`.
    p : float
        Probability asked for. [0 to 1]
    level : float
        Confidence of the interval. [0 to 1]

    Returns
    -------
    numpy.ndarray, shape (..., 3)
        Dose, lower and upper end, in the unit of the doses. An end that the data leave open is
        infinite, or 0 below (minus infinity on the linear scale). Where the curve falls with dose
        both are open, and the dose is infinite.

    Raises
    ------
    ValueError
        As for `likelihood_fit`; p or level not between 0 and 1.

    Notes
    -----
    All doses at which the log likelihood, largest over rising curves, lies within half the
    chi-squared quantile of its best [1]_. Where a curve without any rise lies within it too, that
    end is open.

    References
    ----------
    .. [1] D. J. Venzon, S. H. Moolgavkar, "A method for computing profile-likelihood-based
       confidence intervals," Appl. Stat. 37(1), 87-94 (1988).

    Examples
    --------
    >>> from heritagecheck.evidence.trials.curves.likelihood import profile_interval
    >>> print(profile_interval([0.5, 1, 2, 4], [10] * 4, [0, 2, 8, 10]).round(2))
    [1.41 1.09 1.83]
    """
    from scipy.special import chdtri

    from heritagecheck.evidence.trials.curves import kernels

    x, spots, events = _checked_classes(dose, sites, damaged, scale)
    if not 0 < level < 1:
        raise ValueError(f"level = {level:g} must lie between 0 and 1; 95 % is 0.95.")
    rows = np.ascontiguousarray(events.reshape(-1, x.size))
    half = float(chdtri(1, 1 - level)) / 2
    found = kernels.profile_intervals(x, spots, rows, link == "cloglog", _target(p, link), half)
    with np.errstate(over="ignore"):
        ends = np.exp(found) if scale == "log" else found
    return np.asarray(ends.reshape(*events.shape[:-1], 3))


@dataclass(frozen=True, slots=True, eq=False)
class StraightLine:
    """Damage frequency against dose as a straight line, and where it meets zero."""

    threshold: float
    slope: float
    classes: int

    def __str__(self) -> str:
        return (
            f"A straight line through {self.classes} classes (ISO 21254-2) meets zero at "
            f"{self.threshold:.3g}."
        )


def iso_21254_threshold(dose: ArrayLike, sites: ArrayLike, damaged: ArrayLike) -> StraightLine:
    """
    Damage threshold as ISO 21254-2 reads it: a straight line extrapolated to zero frequency.

    Parameters
    ----------
    dose : array_like, shape (classes,)
        Dose of each class, above 0, such as peak fluence. [any unit]
    sites, damaged : array_like, shape (classes,)
        Spots tried and spots damaged at each dose.

    Returns
    -------
    StraightLine
        Threshold [unit of the dose], slope [1 / unit], and the number of classes used.

    Raises
    ------
    ValueError
        Fewer than two classes lie strictly between none and all damaged, or the line does not
        rise; and what `likelihood_fit` refuses.

    Notes
    -----
    Least squares through the classes with frequencies strictly between 0 and 1 [1]_. It has no
    interval, weighs a class of three spots like one of thirty, and says that damage never happens
    below its threshold, which no count of spots can show. The logistic curve reaches below it.

    References
    ----------
    .. [1] ISO 21254-2:2011, Lasers: test methods for laser-induced damage threshold, Part 2.

    Examples
    --------
    >>> from heritagecheck.evidence.trials.curves.likelihood import iso_21254_threshold
    >>> line = iso_21254_threshold([0.6, 0.8, 1.0, 1.2, 1.4, 1.6], [10] * 6, [0, 1, 3, 5, 8, 10])
    >>> print(f"{line.threshold:.3f} J/cm2, slope {line.slope:.2f} cm2/J")
    0.730 J/cm2, slope 1.15 cm2/J
    """
    x, spots, events = _checked_classes(dose, sites, damaged, "linear")
    if events.ndim > 1:
        raise ValueError("damaged must be one row of counts, one a class.")
    used = (events > 0) & (events < spots)
    if used.sum() < 2 or np.ptp(x[used]) == 0:
        raise ValueError(
            f"{int(used.sum())} classes lie strictly between none and all damaged; a line needs "
            "two at different doses. Try doses between the last without and the first with damage."
        )
    share = events[used] / spots[used]
    slope = rise(x[used], share)
    if slope <= 0:
        raise ValueError("Damage does not become more frequent with dose, so no line meets zero.")
    return StraightLine(float(x[used].mean() - share.mean() / slope), slope, int(used.sum()))


def rise(x: FloatArray, share: FloatArray) -> float:
    """Slope of the straight line by least squares; what rounding leaves of a level line is 0."""
    away = x - x.mean()
    slope = float((away * (share - share.mean())).sum() / (away**2).sum())
    return slope if abs(slope) * np.ptp(x) > 1e-12 else 0.0


def _target(p: float, link: Link) -> float:
    """Linear predictor at probability p."""
    if not 0 < p < 1:
        raise ValueError(f"p = {p:g} must lie between 0 and 1; 50 % is 0.5.")
    if link not in {"logit", "cloglog"}:
        raise ValueError(f'link = "{link}" is not offered; take "logit" or "cloglog".')
    return log(-log(1 - p)) if link == "cloglog" else log(p / (1 - p))


def _checked_classes(
    dose: ArrayLike, sites: ArrayLike, damaged: ArrayLike, scale: Scale
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Doses on the scale asked for, with their counts."""
    doses, spots = np.asarray(dose, dtype=float), np.asarray(sites, dtype=float)
    events = np.asarray(damaged, dtype=float)
    if doses.ndim != 1 or not doses.size or spots.shape != doses.shape:
        raise ValueError(
            f"dose has shape {doses.shape} and sites {spots.shape}: give one of each a class."
        )
    if events.shape[-1:] != doses.shape:
        raise ValueError(
            f"damaged has shape {events.shape}: its last axis needs the {doses.size} classes."
        )
    if not (np.isfinite(doses).all() and (doses > 0).all()):
        raise ValueError("dose holds a value that is not a finite number above 0.")
    whole = (spots == np.round(spots)).all() and (events == np.round(events)).all()
    if not (whole and (spots > 0).all() and (events >= 0).all() and (events <= spots).all()):
        raise ValueError("sites and damaged must be whole counts, with 0 <= damaged <= sites.")
    if scale not in {"log", "linear"}:
        raise ValueError(f'scale = "{scale}" is not offered; take "log" or "linear".')
    return np.log(doses) if scale == "log" else doses, spots, events
