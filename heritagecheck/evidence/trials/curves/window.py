"""The tested window: settings that clean and do not damage, and how sure that is."""

# ruff: noqa: PT028 - a public name that begins like a test
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from heritagecheck.cards import summary
from heritagecheck.evidence.trials.curves.dose_response import (
    DoseAt,
    DoseResponse,
    central_levels,
    dose_levels,
    probability_levels,
)
from heritagecheck.evidence.trials.curves.guarded_limits import lowest_damage_dose, most_damaged
from heritagecheck.evidence.trials.damaged_fields import NO_POLICY
from heritagecheck.sentences import LEAST_SHARE, lower_bound, rounded_down, rounded_up
from heritagecheck.tables import threshold
from heritagecheck.tables.cautions import WITH_CAUTIONS


@dataclass(frozen=True, slots=True)
class Share:
    """A share of spots with its interval, from 0 to 1."""

    estimate: float
    low: float
    high: float

    def __str__(self) -> str:
        low = "0" if self.low < LEAST_SHARE else _percent(self.low)
        return f"{_percent(self.estimate)} % ({low} to {_percent(self.high)} %)"


@dataclass(frozen=True, slots=True)
class Window:
    """
    Settings between what cleans and what may damage; no setting where it is empty.

    `cautions` say what is weak about it, `hazards` what whoever works at any setting must read.
    """

    low: float
    high: float
    margin: float
    margin_low: float
    margin_high: float
    margin_tried: float
    setting: float | None
    residual: Share | None
    damage_probability: Share | None
    removed_share: float
    damage_limit: float
    begins: float
    empty: bool
    reason: str
    cautions: tuple[str, ...]
    hazards: tuple[str, ...] = (WITH_CAUTIONS,)

    @property
    def written(self) -> tuple[str, str]:
        """Low and high end in words, neither rounded to its unsafe side."""
        return _written(self.low, self.high)

    def __str__(self) -> str:
        """Say it, never without the cautions."""
        return "\n".join((self.reason, *self.hazards))

    def _repr_html_(self) -> str:
        hazards = (("Caution", one) for one in self.hazards)
        margin = f"at least {lower_bound(self.margin_low)}"
        lines = [("Damage margin", margin), ("Read with care", " ".join(self.cautions))]
        return summary("Tested window", self.reason, lines, cautions=hazards)


def tested_window(
    removal: DoseResponse,
    damage: DoseResponse,
    *,
    margin_required: float | None = None,
    removed_share: float = 0.9,
    damage_limit: float = NO_POLICY.bound,
    begins: float | None = None,
    level: float = 0.95,
    same_bed: bool = True,
) -> Window:
    """
    Settings that remove the soiling and leave the weakest component alone.

    Parameters
    ----------
    removal, damage : DoseResponse
        Spots cleaned, and spots damaged, against the same dose in the same unit.
    margin_required : float, optional
        Least margin that the team requires, such as 1.3.
    removed_share : float
        Share of spots that must come clean; what stays is what panels commonly may keep.
        [0 to 1]
    damage_limit : float
        Share of spots of the weakest group that may be damaged, at its upper bound; 25 %, the one
        limit where no team agreed another. Two or three panels can't show as little as 5 %, however
        many spots they hold; the judgement takes the share that the team agreed. [0 to 1]
    begins : float, optional
        Share of spots at which damage is taken to begin, for the margin; `damage_limit` where left
        out. [0 to 1]
    level : float
        Confidence of all intervals, half of the rest on each side. [0 to 1]
    same_bed : bool
        Whether the record says that the trial's stone has the quarry bed and finish of the stone
        in question. If not, every dose may be off either way by the factor of
        `tables/thresholds.csv` (`other_bed_factor`).

    Returns
    -------
    Window
        `low` is the dose at which removal reaches its share, by estimate, and never below the
        lowest tried; `high` the highest dose at which the upper bound of damage stays within its
        limit, never above what was tried on each group. `margin` is the dose of `begins` over that
        of `removed_share`; `margin_low` and `margin_high` set lower bound over upper bound and
        upper over lower. `margin_low` rests on doses tried alone: no dose of damage in it lies
        above the harshest tried on each group, none of removal below the gentlest tried.
        `margin_tried` is the most that it could be with these doses.
        `setting` lies in the window, with what it is expected to leave and to damage.

    Raises
    ------
    ValueError
        A share or level not between 0 and 1, a margin not above 0, or curves that are not for the
        same pulses and wetness.

    Notes
    -----
    Lithotypes under `removal` count by the one that is hardest to clean, groups under `damage` by
    the weakest. The setting is the dose at which removal is reached at its upper bound, but never
    beyond a third of the way up the window (in ratio): the gentlest that cleans, with room above
    it for overlap and for a dial that reads low. Nothing outside the doses tried is ever offered.
    One more damaged spot hardly ever makes `high` or `margin_low` better, however much steeper the
    curve becomes by it: the same spots are also read with less damage at harsher doses, and the
    least counts (`docs/dose_response.md`).
    Doses must be those that reached the surface, not those dialled; overlap at edges doubles them.

    Examples
    --------
    >>> from heritagecheck.evidence.trials.curves.dose_response import dose_response
    >>> from heritagecheck.evidence.trials.curves.window import tested_window
    >>> fluence = [0.2] * 12 + [0.4] * 12 + [0.8] * 12 + [1.6] * 12 + [3.2] * 12
    >>> panels = ["P1", "P2", "P3", "P4"] * 15
    >>> removal = dose_response(fluence, [0] * 10 + [1] * 50, panel=panels)
    >>> damage = dose_response(fluence, [0] * 46 + [1] * 14, panel=panels)
    >>> window = tested_window(removal, damage)
    >>> window.empty
    False
    """
    begins = damage_limit if begins is None else begins
    _check(removed_share, damage_limit, begins, level, margin_required)
    _check_conditions(removal, damage)
    factor = 1.0 if same_bed else threshold("other_bed_factor")
    cleans = _cleans(removal, removed_share, level, factor)
    harms = _harms(damage, damage_limit, level, factor)
    first = harms if begins == damage_limit else _harms(damage, begins, level, factor)
    # Below the gentlest spot of removal nothing is known to clean, above the harshest of any group
    # nothing to be sound; on another stone both may mean more, or less.
    low = max(cleans.estimate, removal.lowest_dose)
    tried = min(one.highest_dose for one in damage.groups) / factor
    high = min(harms.low, tried)
    empty = not low < high or low > removal.highest_dose
    setting = None if empty else _gentlest(cleans, low, high, removal.highest_dose)
    own_stone = least_margin(
        removal, damage, removed_share=removed_share, begins=begins, level=level
    )
    margin_low = own_stone / factor**2
    margin_high = _ratio(first.high, cleans.low)
    margin_tried = tried / (removal.lowest_dose * factor)
    shares = removed_share, damage_limit
    return Window(
        low=low,
        high=high,
        margin=_ratio(first.estimate, cleans.estimate),
        margin_low=margin_low,
        margin_high=margin_high,
        margin_tried=margin_tried,
        setting=setting,
        residual=None if setting is None else _residual(removal, setting, level, factor),
        damage_probability=None if setting is None else _damaged(damage, setting, level, factor),
        removed_share=removed_share,
        damage_limit=damage_limit,
        begins=begins,
        empty=empty,
        reason=(
            _why_empty(removal, damage, cleans, harms, margin_high, *shares)
            if empty
            else _what_window(damage, low, high, *shares)
        ),
        cautions=_cautions(removal, damage, same_bed, margin_required, margin_low, margin_tried),
    )


def _ratio(harms: float, cleans: float) -> float:
    """Dose that damages over the dose that cleans; without end where any dose cleans."""
    return harms / cleans if cleans > 0 else math.inf


def _gentlest(cleans: DoseAt, low: float, high: float, tried: float) -> float:
    """Gentlest dose that cleans, at most a third of the way up the window, and no harsher one."""
    third: float = low ** (2 / 3) * high ** (1 / 3)
    return min(max(cleans.high, low), third, tried)


def least_margin(
    removal: DoseResponse,
    damage: DoseResponse,
    *,
    removed_share: float = 0.9,
    begins: float = NO_POLICY.bound,
    level: float = 0.95,
) -> float:
    """Lower bound of the margin alone, as `tested_window` gives it for the trial's own stone."""
    # Both curves count at their worst at once. Where a panel that is harder to clean is also
    # easier to damage, or panels differ more than rated, both err together, and few panels can't
    # show it.
    upper = (1 + level) / 2
    harms = lowest_damage_dose(damage, begins, upper)
    tried = min(one.highest_dose for one in damage.groups)
    (cleans,) = dose_levels(removal, removed_share, np.array([upper]), hardest=True, open_ends=True)
    return min(harms, tried) / max(float(cleans), removal.lowest_dose)


def _cleans(removal: DoseResponse, p: float, level: float, factor: float) -> DoseAt:
    """Dose at which a share comes clean, its interval widened by what is not known of the stone."""
    levels = central_levels(level)
    low, middle, high = dose_levels(removal, p, levels, hardest=True, open_ends=True)
    return DoseAt(float(middle), float(low) / factor, float(high) * factor)


def _harms(damage: DoseResponse, p: float, level: float, factor: float) -> DoseAt:
    """Dose at which a share is damaged, its interval widened by what is not known of the stone."""
    middle, high = dose_levels(damage, p, np.array([0.5, (1 + level) / 2]), open_ends=True)
    low = lowest_damage_dose(damage, p, (1 + level) / 2)
    return DoseAt(float(middle), low / factor, float(high) * factor)


def _written(low: float, high: float) -> tuple[str, str]:
    """Low and high end in words, neither rounded to its unsafe side, and in order."""
    for digits in (2, 3, 4):
        begins, ends = rounded_up(low, digits), rounded_down(high, digits)
        if begins <= ends:
            break
    return f"{begins:.{digits}g}", f"{ends:.{digits}g}"


def _residual(removal: DoseResponse, setting: float, level: float, factor: float) -> Share:
    """Share of spots expected to stay soiled, by the lithotype that is hardest to clean."""
    levels = central_levels(level)
    ends = [
        float(probability_levels(removal, dose, levels, hardest=True, open_ends=True)[k])
        for k, dose in enumerate((setting / factor, setting, setting * factor))
    ]
    return Share(1 - ends[1], 1 - ends[2], 1 - ends[0])


def _damaged(damage: DoseResponse, setting: float, level: float, factor: float) -> Share:
    """Share of spots expected to be damaged, by the weakest group."""
    gentle, here, harsh = (
        damage.probability(dose, level) for dose in (setting / factor, setting, setting * factor)
    )
    most = most_damaged(damage, setting * factor, np.array([(1 + level) / 2]))
    return Share(float(here.estimate), float(gentle.low), max(float(harsh.high), float(most[0])))


def _what_window(
    damage: DoseResponse, low: float, high: float, removed_share: float, damage_limit: float
) -> str:
    """Say what the window shows."""
    starts, ends = (f"{end} {damage.unit}".rstrip() for end in _written(low, high))
    return (
        f"From {starts} on, {100 * removed_share:g} % of spots are expected to come clean; up to "
        f"{ends}, damage to more than {100 * damage_limit:g} % of {_on(damage)}spots is excluded."
    )


def _why_empty(
    removal: DoseResponse,
    damage: DoseResponse,
    cleans: DoseAt,
    harms: DoseAt,
    margin_high: float,
    removed_share: float,
    damage_limit: float,
) -> str:
    """Say why no setting is offered."""
    weakest = f" ({damage.weakest})" if damage.weakest else ""
    clean, share = f"{100 * removed_share:g} % of spots clean", f"{100 * damage_limit:g} %"
    needed = _dose(cleans.estimate, damage, digits=2)
    harmful = _dose(harms.estimate, damage, digits=2)
    if margin_high < 1:
        return (
            f"No setting does both: the dose that damages{weakest} lies below the one that cleans, "
            "even if every uncertainty favours the method."
        )
    if cleans.estimate > removal.highest_dose:
        return f"No dose tried got {clean}; the highest was {_dose(removal.highest_dose, damage)}."
    if harms.estimate <= cleans.estimate:
        return (
            f"No setting does both, by estimate: {needed} gets {clean}, and {share} of "
            f"{_on(damage)}spots are damaged at {harmful}. The spots leave some uncertainty."
        )
    if damage.first_event <= cleans.estimate:
        return (
            f"No setting is shown to do both: {_dose(cleans.estimate, damage)} gets {clean}, and a "
            f"spot was already damaged at {_dose(damage.first_event, damage)}."
        )
    if damage.highest_dose <= cleans.estimate:
        return (
            f"Damage{weakest} was not tried up to {_dose(cleans.estimate, damage)}, the dose that "
            f"gets {clean}; the highest was {_dose(damage.highest_dose, damage)}."
        )
    return (
        f"No setting is shown to do both: {needed} gets {clean}; {share} of {_on(damage)}spots are "
        f"expected to be damaged at {harmful}. With so few spots and panels, that much damage "
        f"cannot be ruled out at {_dose(rounded_up(harms.low), damage, digits=2)} either. More "
        "panels may show a window."
    )


def _what_else(damage: DoseResponse) -> str:
    """Which other doses a margin would need: harsher ones only where the harshest were sound."""
    tried = min(one.highest_dose for one in damage.groups)
    if damage.first_event <= tried:
        return "damage was seen too soon; gentler doses that clean are"
    return "harsher doses without damage, or gentler ones that clean, are"


def _dose(value: float, damage: DoseResponse, digits: int = 3) -> str:
    """A dose in words, with its unit where one is given."""
    return f"{value:.{digits}g} {damage.unit}".rstrip()


def _on(damage: DoseResponse) -> str:
    """Name of the weakest group before the word for its spots; empty where there is but one."""
    return f"{damage.weakest} " if damage.weakest else ""


def _cautions(
    removal: DoseResponse,
    damage: DoseResponse,
    same_bed: bool,
    margin_required: float | None,
    margin_low: float,
    margin_tried: float,
) -> tuple[str, ...]:
    """What both curves leave weak, and what the window adds."""
    found = []
    if margin_required is not None and margin_low < margin_required:
        found.append(
            f"The margin's lower bound {lower_bound(margin_low)} does not reach the "
            f"{margin_required:g} required."
        )
    if margin_required is not None and margin_tried < margin_required:
        found.append(
            f"The doses tried can't show a margin of {margin_required:g}, however many panels: "
            f"{_what_else(damage)} needed."
        )
    if not same_bed:
        found.append(
            "No record says that the trial's stone has the same bed and finish. Doses may be off "
            f"by a factor of {threshold('other_bed_factor'):g} either way (common practice)."
        )
    if removal.lowest_dose > damage.highest_dose or damage.lowest_dose > removal.highest_dose:
        found.append(
            "Removal and damage were tried at doses that do not overlap. Give both in one unit."
        )
    # A straight line through removal gives a threshold that nobody uses.
    of_line = removal.straight_line.caution if removal.straight_line else None
    found += [f"Removal: {one}" for one in removal.cautions if one != of_line]
    found += [f"Damage: {one}" for one in damage.cautions]
    return tuple(found)


def _percent(share: float) -> str:
    """Per cent with two digits; next to nothing is not nothing, and next to all is all."""
    if share < LEAST_SHARE:
        return "less than 0.1"
    return "100" if share > 0.995 else f"{100 * share:.2g}"


def _check_conditions(removal: DoseResponse, damage: DoseResponse) -> None:
    """Refuse curves that are not for the same pulses and wetness."""
    if removal.conditions != damage.conditions:
        said = [one.conditions or "no condition given" for one in (removal, damage)]
        raise ValueError(
            f"removal is given for other conditions ({said[0]}) than damage ({said[1]}): a window "
            "between them means nothing. Give both curves for the same pulses and wetness."
        )


def _check(
    removed_share: float,
    damage_limit: float,
    begins: float,
    level: float,
    margin_required: float | None,
) -> None:
    """Refuse shares outside 0 to 1 and margins that are none."""
    shares = {
        "removed_share": removed_share, "damage_limit": damage_limit, "begins": begins,
        "level": level,
    }  # fmt: skip
    for name, value in shares.items():
        if not 0 < value < 1:
            raise ValueError(f"{name} = {value:g} must lie between 0 and 1; 5 % is 0.05.")
    if margin_required is not None and not (math.isfinite(margin_required) and margin_required > 0):
        raise ValueError(f"margin_required = {margin_required:g} must be a finite number above 0.")
