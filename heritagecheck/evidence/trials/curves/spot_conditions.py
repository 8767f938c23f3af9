"""How many pulses each trial spot received, whether it was wet, and for which a curve is given."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.evidence.trials.curves.posterior_grid import FloatArray
from heritagecheck.evidence.trials.curves.pulses_and_water import Effect, Mixture
from heritagecheck.evidence.trials.curves.spot_groups import checked_yes_or_no

_FEW_ASKED = 5  # spots under the condition asked; below it a caution says so
_HARDLY = 0.7  # of the 0.9 that the prior leaves to the exponent: a wider interval says little


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
        """Log of pulses over those asked, and wet less asked, shape (n, 2); 0 where not given."""
        found = np.zeros((self.spots, 2))
        if self.pulses is not None:
            found[:, 0] = np.log(self.pulses / self.at_pulses)
        if self.wet is not None:
            found[:, 1] = self.wet.astype(float) - float(self.at_wet)
        return found

    def doses_tried(self, doses: FloatArray) -> FloatArray:
        """
        Doses that count as tried under the condition asked; NaN where a spot does not count.

        Spots of the wetness asked that received at least the pulses asked count. Where there is
        none, fewer pulses count at the dose that gives the same total, the most they can stand for.
        """
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
        """Lowest dose with an event at no more pulses than asked, or else at any; wet or dry."""
        hit = outcome
        if self.pulses is not None:
            gentler = outcome & (self.pulses <= self.at_pulses)
            hit = gentler if gentler.any() else outcome
        return float(doses[hit].min()) if hit.any() else np.inf

    def equal_doses(self, doses: FloatArray, mixed: Mixture | None) -> FloatArray:
        """Doses that do as much under the condition asked, by the estimates of both effects."""
        if mixed is None:
            return doses
        return np.asarray(doses * np.exp(self.shifts @ mixed.effects))

    def under_asked(self) -> NDArray[np.bool_]:
        """Which spots lie under the very condition asked."""
        found = self._as_wet()
        if self.pulses is not None:
            found &= self.pulses == self.at_pulses
        return found

    def cautions(self, mixed: Mixture | None) -> list[str]:
        """What reading spots of several conditions together rests on."""
        if mixed is None:
            return []
        found = []
        if self.pulses is not None and mixed.pulse_effect is not None:
            found.append(_of_pulses(self.pulses, self.at_pulses, mixed.pulse_effect))
        if mixed.wet_effect is not None:
            found.append(_of_water(mixed.wet_effect))
        number = int(self.under_asked().sum())
        if number < _FEW_ASKED:
            found.append(
                f"{number} of {self.spots} spots lie under the very condition asked ({self}): the "
                "curve rests on the others, and on how conditions act."
            )
        return found

    def _as_wet(self) -> NDArray[np.bool_]:
        """Which spots have the wetness asked, as far as it is known."""
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


def stated_conditions(
    pulses: ArrayLike | None,
    wet: ArrayLike | None,
    at_pulses: float | None,
    at_wet: bool | None,
    spots: int,
) -> Conditions:
    """Conditions as given, and those of the curve: as asked, else those of most spots."""
    for name, given, asked in (("pulses", pulses, at_pulses), ("wet", wet, at_wet)):
        if given is None and asked is not None:
            raise ValueError(f"at_{name} = {asked} is asked, but {name} of the spots is not given.")
    number = None if pulses is None else _checked_pulses(pulses, spots)
    wetted = None if wet is None else checked_yes_or_no(wet, "wet")
    if wetted is not None and wetted.shape != (spots,):
        raise ValueError(f"wet has shape {wetted.shape} for {spots} spots: give one a spot.")
    return Conditions(
        pulses=number,
        wet=wetted,
        at_pulses=1.0 if number is None else _pulses_asked(number, at_pulses),
        at_wet=False if wetted is None else _wet_asked(wetted, at_wet),
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


def _pulses_asked(number: FloatArray, at_pulses: float | None) -> float:
    """Pulses of the curve; not asked, those of most spots, and of ties the largest."""
    if at_pulses is None:
        values, counts = np.unique(number, return_counts=True)
        return float(values[counts == counts.max()].max())
    if not (np.isfinite(at_pulses) and at_pulses >= 1):
        raise ValueError(
            f"at_pulses = {at_pulses:g}: give a number of pulses or passes, 1 or more."
        )
    return float(at_pulses)


def _wet_asked(wet: NDArray[np.bool_], at_wet: bool | None) -> bool:
    """Wetness of the curve; not asked, that of most spots."""
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


def _of_pulses(pulses: FloatArray, at: float, effect: Effect) -> str:
    """What is known of how pulses add up."""
    least, most = float(pulses.min()), float(pulses.max())
    span = f"{least:g}" if least == most else f"{least:g} to {most:g}"
    low, middle, high = (f"{10**one:.2g}" for one in (effect.low, effect.estimate, effect.high))
    hardly = effect.high - effect.low > _HARDLY
    return (
        f"Spots of {span} pulses or passes are read together for {at:g}: ten times as many act "
        f"like {middle} times the dose (90 % {low} to {high}; 1 if the number does not matter, 10 "
        f"if doses add up).{' The spots themselves hardly say.' if hardly else ''}"
    )


def _of_water(effect: Effect) -> str:
    """What is known of what wetting does."""
    low, middle, high = (f"{np.exp(one):.2g}" for one in (effect.low, effect.estimate, effect.high))
    return (
        f"Wet and dry spots are read together: wetting acts like {middle} times the dose "
        f"(90 % {low} to {high})."
    )
