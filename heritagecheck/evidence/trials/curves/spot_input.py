"""What is said of each trial spot, checked: dose, outcome, component, panel, pulses, wetting."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.trials.curves.posterior import FloatArray

_NO_LABEL = {"", "nan", "none", "<na>", "nat", "null"}  # as tables write what is missing


@dataclass(frozen=True, slots=True, eq=False)
class Conditions:
    """Pulses and wetness of each spot where they were given, and those of the curve."""

    pulses: FloatArray | None
    wet: NDArray[np.bool_] | None
    at_pulses: float
    at_wet: bool
    spots: int

    @property
    def shifts(self) -> FloatArray:
        """Log of pulses over the curve's, and wet less its own, shape (n, 2); 0 where not given."""
        found = np.zeros((self.spots, 2))
        if self.pulses is not None:
            found[:, 0] = np.log(self.pulses / self.at_pulses)
        if self.wet is not None:
            found[:, 1] = self.wet.astype(float) - float(self.at_wet)
        return found

    def doses_tried(self, doses: FloatArray) -> FloatArray:
        """Doses that count as tried under the curve's condition; NaN where a spot does not."""
        # Spots of its wetness with at least its pulses count. Where there is none, fewer pulses
        # count at the dose of the same total, the most they can represent.
        found = doses
        enough = self._as_wet()
        if self.pulses is not None:
            full = enough & (self.pulses >= self.at_pulses)
            found = doses * np.minimum(1, self.pulses / self.at_pulses)
            enough = full if full.any() else enough
        return np.where(enough, found, np.nan)

    def of(self, kept: NDArray[np.bool_]) -> Conditions:
        """Conditions of some of the spots; those of the curve stay."""
        return replace(
            self,
            pulses=None if self.pulses is None else self.pulses[kept],
            wet=None if self.wet is None else self.wet[kept],
            spots=int(kept.sum()),
        )

    def first_event(self, doses: FloatArray, outcome: NDArray[np.bool_]) -> float:
        """Lowest dose with an event at no more pulses than the curve's, else at any; wet or dry."""
        hit = outcome
        if self.pulses is not None:
            gentler = outcome & (self.pulses <= self.at_pulses)
            hit = gentler if gentler.any() else outcome
        return float(doses[hit].min()) if hit.any() else np.inf

    def equal_doses(self, doses: FloatArray, effects: FloatArray) -> FloatArray:
        """Doses that do as much under the curve's condition, by the estimates of both effects."""
        return np.asarray(doses * np.exp(self.shifts @ effects))

    def under_own(self) -> NDArray[np.bool_]:
        """Which spots lie under the very condition of the curve."""
        found = self._as_wet()
        if self.pulses is not None:
            found &= self.pulses == self.at_pulses
        return found

    def _as_wet(self) -> NDArray[np.bool_]:
        """Which spots have the wetness of the curve, as far as it is known."""
        if self.wet is None:
            return np.ones(self.spots, dtype=bool)
        return np.asarray(self.wet == self.at_wet)

    def __str__(self) -> str:
        parts = []
        if self.pulses is not None:
            one = self.at_pulses == 1
            parts.append(
                f"{self.at_pulses:g} {'pulse or pass' if one else 'pulses or passes'} a spot"
            )
        if self.wet is not None:
            parts.append("wet surface" if self.at_wet else "dry surface")
        return ", ".join(parts)


@dataclass(frozen=True, slots=True, eq=False)
class Given:
    """Spots as they were given, checked."""

    doses: FloatArray
    outcome: NDArray[np.bool_]
    groups: list[str] | None
    panels: list[str] | None
    conditions: Conditions

    def of(self, kept: NDArray[np.bool_]) -> Given:
        """Some of the spots."""
        return Given(
            self.doses[kept],
            self.outcome[kept],
            _those(self.groups, kept),
            _those(self.panels, kept),
            self.conditions.of(kept),
        )


def _those(labels: list[str] | None, kept: NDArray[np.bool_]) -> list[str] | None:
    """Labels of the spots kept."""
    if labels is None:
        return None
    return [one for one, stays in zip(labels, kept, strict=True) if stays]


def given_spots(
    dose: ArrayLike,
    happened: ArrayLike,
    group: Sequence[str] | None,
    panel: Sequence[str] | None,
    pulses: ArrayLike | None,
    wet: ArrayLike | None,
    at_pulses: float | None,
    at_wet: bool | None,
) -> Given:
    """Spots as `dose_response` takes them, checked."""
    doses, outcome = checked_doses(dose), _yes_or_no(happened, "happened")
    if doses.ndim != 1 or not doses.size or outcome.shape != doses.shape:
        raise ValueError(
            f"dose has shape {doses.shape} and happened {outcome.shape}: give one of each a spot, "
            "for at least one spot."
        )
    groups = _labels(group, doses.size, "group")
    panels = _labels(panel, doses.size, "panel")
    conditions = _conditions(pulses, wet, at_pulses, at_wet, doses.size)
    return Given(doses, outcome, groups, panels, conditions)


def _conditions(
    pulses: ArrayLike | None,
    wet: ArrayLike | None,
    at_pulses: float | None,
    at_wet: bool | None,
    spots: int,
) -> Conditions:
    """Conditions as given, and those of the curve: as chosen, else those of most spots."""
    for name, given, chosen in (("pulses", pulses, at_pulses), ("wet", wet, at_wet)):
        if given is None and chosen is not None:
            raise ValueError(
                f"at_{name} = {chosen}, but {name} is not given: say it for each spot too."
            )
    number = None if pulses is None else _checked_pulses(pulses, spots)
    wetted = None if wet is None else _yes_or_no(wet, "wet")
    if wetted is not None and wetted.shape != (spots,):
        raise ValueError(f"wet has shape {wetted.shape} for {spots} spots: give one a spot.")
    return Conditions(
        pulses=number,
        wet=wetted,
        at_pulses=1.0 if number is None else _pulses_of_curve(number, at_pulses),
        at_wet=False if wetted is None else _wetness_of_curve(wetted, at_wet),
        spots=spots,
    )


def _checked_pulses(pulses: ArrayLike, spots: int) -> FloatArray:
    """Pulses or passes of each spot, 1 or more."""
    number = np.asarray(pulses, dtype=float)
    if number.shape != (spots,):
        raise ValueError(f"pulses has shape {number.shape} for {spots} spots: give one a spot.")
    bad = number[~(np.isfinite(number) & (number >= 1))]
    if bad.size:
        raise ValueError(f"pulses = {bad[0]:g}: a spot receives one pulse or pass, or more.")
    return number


def _pulses_of_curve(number: FloatArray, at_pulses: float | None) -> float:
    """Pulses of the curve; none chosen, those of most spots, and of ties the largest."""
    if at_pulses is None:
        values, counts = np.unique(number, return_counts=True)
        return float(values[counts == counts.max()].max())
    if not (np.isfinite(at_pulses) and at_pulses >= 1):
        raise ValueError(
            f"at_pulses = {at_pulses:g}: give a number of pulses or passes, 1 or more."
        )
    return float(at_pulses)


def _wetness_of_curve(wet: NDArray[np.bool_], at_wet: bool | None) -> bool:
    """Wetness of the curve; none chosen, that of most spots."""
    wetted = int(wet.sum())
    if at_wet is None:
        if 2 * wetted == wet.size:
            raise ValueError(
                f"{wetted} spots were wet and as many dry: say by at_wet which the curve is for."
            )
        return 2 * wetted > wet.size
    if not (wet == at_wet).any():
        tried, other = ("wet", "dry") if at_wet else ("dry", "wet")
        raise ValueError(
            f"at_wet = {at_wet}, but no spot was tried {tried}: what water does is not known well "
            f"enough to read {other} spots for a {tried} surface."
        )
    return bool(at_wet)


def checked_doses(dose: ArrayLike) -> FloatArray:
    """Doses as numbers, all finite and above 0."""
    doses = np.asarray(dose, dtype=float)
    bad = doses[~(np.isfinite(doses) & (doses > 0))]
    if bad.size:
        raise ValueError(
            f"dose = {bad.ravel()[0]:g}: a dose is a finite number above 0. A spot that was left "
            "untreated is a control, not a dose of 0."
        )
    return doses


def _yes_or_no(given: ArrayLike, name: str) -> NDArray[np.bool_]:
    """What is yes or no for each spot."""
    values = np.asarray(given)
    if values.dtype != bool:
        numbers = values.dtype.kind in "iuf"
        if not numbers or not np.isin(values, (0, 1)).all():
            raise ValueError(f"{name} must be True or False (1 or 0) for each spot.")
    return values.astype(bool)


def _labels(labels: Sequence[str] | None, spots: int, name: str) -> list[str] | None:
    """Labels as text, one a spot; capitals and blanks around make no other label."""
    if labels is None:
        return None
    if isinstance(labels, str):
        raise ValueError(f'{name} = "{labels}" is one text: give a list with one label a spot.')
    given = list(labels)
    if len(given) != spots:
        raise ValueError(f"{name} has {len(given)} labels for {spots} spots: give one a spot.")
    if any(str(one).strip().casefold() in _NO_LABEL for one in given):
        raise ValueError(
            f"{name} is missing for a spot: name it for each, or leave {name} out for all."
        )
    written: dict[str, str] = {}
    for one in given:
        written.setdefault(str(one).strip().casefold(), str(one).strip())
    return [written[str(one).strip().casefold()] for one in given]
