"""Panels of one series, read together: damage with its doubt, margin, what is still missing."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from heritagecheck.evidence.spot_trial import DAMAGE_LIMIT, NORMAL_GRID, SpotTrial, spot_trial
from heritagecheck.survey.laid_spots import unit_doubt
from heritagecheck.survey.records import Panel, SiteTest, Spot
from heritagecheck.tables import threshold

Value = TypeVar("Value")


@dataclass(frozen=True, slots=True)
class PanelSeries:
    """Panels laid alike, read together. None stands where a panel left something unread."""

    series: str
    method: str
    setting: str
    soiling: str
    zone: str
    panels: tuple[str, ...]
    panels_laid: int
    unread: tuple[str, ...]
    last_read: date | None
    aged_days: int | None
    winter: bool | None
    control: bool | None
    fields: tuple[int, ...] | None
    fields_weakest: int | None
    damaged: int | None
    component: str | None
    residual_pct: float | None
    delta_b: float | None
    late_effects: str | None
    setting_unit: str | None
    unit_doubt: str
    cleaning: tuple[float, float] | None
    damage: tuple[float, float | None] | None
    margin_low: float | None
    margin_high: float | None
    spots: SpotTrial | None
    reader_blind: bool | None
    grade_reached: bool | None
    chloride_upper_ug_cm2: float | None
    adhesion_ok: bool | None
    profile_ok: bool | None

    @property
    def complete(self) -> bool:
        """Whether every panel that was laid is recorded and read."""
        return len(self.panels) == self.panels_laid and not self.unread

    @property
    def read(self) -> bool:
        """Whether its panels say if they were damaged: in fields at ×50, or spot by spot."""
        on_fields = self.damaged is not None and bool(self.fields) and sum(self.fields or ()) > 0
        return on_fields or (self.spots is not None and self.spots.window is not None)

    @property
    def no_damage_seen(self) -> bool:
        """Whether fields were read, none is damaged, and the margin does not tell otherwise."""
        read = bool(self.fields) and sum(self.fields or ()) > 0
        return read and self.damaged == 0 and (self.margin_high is None or self.margin_high >= 1)

    @property
    def windowed(self) -> bool:
        """Whether its setting lies between cleaning and damage, as panels and spots show it."""
        if self.margin_low is None or self.margin_low < 1:
            return False
        spots = self.spots
        if spots is None:
            return True
        window, used = spots.window, spots.used
        return (
            window is not None
            and used is not None
            and not window.empty
            and window.low <= used[0]
            and used[1] <= window.high
        )

    @property
    def damage_upper(self) -> float | None:
        """Upper 95 % bound of the share of ×50 fields damaged, panels taken as clusters."""
        if self.damaged is None or not self.fields or not sum(self.fields):
            return None
        return damage_share_upper(self.damaged, self.fields)


def damage_share_upper(damaged: int, fields: Sequence[int], level: float = 0.95) -> float:
    """
    Upper bound of the share of ×50 fields that a setting damages.

    Parameters
    ----------
    damaged : int
        Fields with damage, over all panels.
    fields : sequence of int
        Fields read on each panel.
    level : float
        One-sided confidence. [0 to 1]

    Returns
    -------
    float
        Share of fields. [0 to 1]

    Raises
    ------
    ValueError
        No field was read, or more were damaged than read.

    Notes
    -----
    Exact one-sided binomial bound [1]_ on an effective number of fields: fields of one panel
    resemble one another, so n fields on a panel count as n / (1 + (n - 1) r) [2]_, with the rated
    correlation r of `tables/thresholds.csv`. No damage in few fields is weak evidence: the bound
    says how weak. It does not say that fields elsewhere are like those read.

    References
    ----------
    .. [1] C. J. Clopper, E. S. Pearson, "The use of confidence or fiducial limits illustrated in
       the case of the binomial," Biometrika 26(4):404-413 (1934).
    .. [2] L. Kish, "Survey Sampling," Wiley (1965), design effect.

    Examples
    --------
    >>> round(damage_share_upper(0, [10, 10, 10]), 3)
    0.173
    """
    from scipy.special import betaincinv

    if not sum(fields):
        raise ValueError("No field was read at ×50, so no share of damage can be given.")
    if damaged > sum(fields):
        raise ValueError(f"{damaged} damaged fields can't be among {sum(fields)} fields read.")
    number = effective_fields(fields)
    hits = damaged * number / sum(fields)
    if hits >= number:
        return 1.0
    return float(betaincinv(hits + 1, number - hits, level))


def effective_fields(fields: Sequence[int]) -> float:
    """
    How many independent fields the fields on several panels are worth.

    Parameters
    ----------
    fields : sequence of int
        Fields read on each panel.

    Returns
    -------
    float
    """
    correlation = threshold("panel_correlation")
    return sum(n / (1 + (n - 1) * correlation) for n in fields if n)


def damage_share_draws(
    damaged: int, fields: Sequence[int], z: NDArray[np.float64]
) -> NDArray[np.float64]:
    """
    Draws of the share of fields damaged, by quantiles of the Jeffreys posterior.

    Parameters
    ----------
    damaged : int
        Fields with damage, over all panels.
    fields : sequence of int
        Fields read on each panel.
    z : ndarray, shape (draws,)
        Standard normal draws.

    Returns
    -------
    ndarray, shape (draws,)
        Share of fields. [0 to 1]
    """
    from scipy.special import betaincinv, ndtr

    number = effective_fields(fields)
    hits = damaged * number / sum(fields)
    quantiles: NDArray[np.float64] = betaincinv(hits + 0.5, number - hits + 0.5, ndtr(NORMAL_GRID))
    return np.asarray(np.interp(z, NORMAL_GRID, quantiles))


def panel_series(
    panels: Iterable[Panel],
    tests: Iterable[SiteTest],
    spots: Iterable[Spot] = (),
    *,
    damage_limit: float = DAMAGE_LIMIT,
) -> tuple[PanelSeries, ...]:
    """
    Gather panels into their series.

    Parameters
    ----------
    panels : iterable of Panel
        Panels, of one zone or many.
    tests : iterable of SiteTest
        Site tests; those made on a panel are used.
    spots : iterable of Spot
        Trial spots; those on the panels are read together, series by series.
    damage_limit : float
        Share of spots that may be damaged, as in `spot_trial`. [0 to 1]

    Returns
    -------
    tuple of PanelSeries
        One a series, in the order of their first panel. Across panels the least favourable value
        counts, and a value that one panel lacks is not known. Of the margin that the panels state
        and the one that their spots show, the smaller counts; where spots were laid and can't be
        read together, neither is known.
    """
    spots = tuple(spots)
    groups: dict[str, list[Panel]] = {}
    for panel in panels:
        groups.setdefault(panel.series, []).append(panel)
    on_panels = [test for test in tests if test.panel is not None]
    return tuple(
        _gathered(group, on_panels, spot_trial(group, spots, damage_limit=damage_limit))
        for group in groups.values()
    )


def _gathered(group: list[Panel], tests: list[SiteTest], on_spots: SpotTrial | None) -> PanelSeries:
    """Gather one series, the least favourable value of its panels counting."""
    first = group[0]
    ages = _all([None if p.read_on is None else (p.read_on - p.done_on).days for p in group])
    winters = _all([p.winter_included for p in group])
    controls = _all([p.control_kept for p in group])
    grades = _all([p.grade_reached for p in group])
    fields = _all([p.x50_fields for p in group])
    weakest = _all([p.x50_fields_weakest for p in group])
    damaged = _all([p.damaged_fields for p in group])
    residual = _all([p.residual_pct for p in group])
    yellowing = _all([p.delta_b for p in group])
    late = _all([p.late_effects for p in group])
    margin_low, margin_high = _margin(group, on_spots)
    blind = _all([p.reader_blind for p in group])
    steel = [_steel_results(p, tests) for p in group]
    chlorides = _all([chloride for chloride, _, _ in steel])
    return PanelSeries(
        series=first.series,
        method=first.method,
        setting=first.setting,
        soiling=first.soiling,
        zone=first.zone,
        panels=tuple(p.panel for p in group),
        panels_laid=first.panels_in_series,
        unread=tuple(f"{p.panel}: {p.not_read_because}" for p in group if p.not_read_because),
        last_read=max((p.read_on for p in group if p.read_on is not None), default=None),
        aged_days=min(ages) if ages else None,
        winter=all(w == "yes" for w in winters) if winters else None,
        control=all(c == "yes" for c in controls) if controls else None,
        fields=tuple(fields) if fields else None,
        fields_weakest=min(weakest) if weakest else None,
        damaged=sum(damaged) if damaged else None,
        component=next((p.damaged_component for p in group if p.damaged_component), None),
        residual_pct=max(residual) if residual else None,
        delta_b=max(yellowing, key=abs) if yellowing else None,
        late_effects=next((e for e in late if e != "none"), "none") if late else None,
        setting_unit=first.setting_unit,
        unit_doubt=unit_doubt([p.setting_unit for p in group if p.cleaning_low is not None]),
        cleaning=_span(group),
        damage=_first_damage(group),
        margin_low=margin_low,
        margin_high=margin_high,
        spots=on_spots,
        reader_blind=all(b == "yes" for b in blind) if blind else None,
        grade_reached=all(g == "yes" for g in grades) if grades else None,
        chloride_upper_ug_cm2=max(chlorides) if chlorides else None,
        adhesion_ok=_every([ok for _, ok, _ in steel]),
        profile_ok=_every([ok for _, _, ok in steel]),
    )


def _margin(group: list[Panel], on_spots: SpotTrial | None) -> tuple[float | None, float | None]:
    """Margin of a series: what its panels state or its spots show, whichever is the smaller."""
    margins = [margin_bounds(panel) for panel in group]
    lows = _all([low for low, _ in margins])
    highs = [high for _, high in margins if high is not None]
    if on_spots is not None:
        window = on_spots.window
        if window is None:
            return None, None
        # A panel that does not state its own leaves the margin unknown, whatever the spots show.
        lows = None if lows is None else [*lows, window.margin_low]
        highs.append(window.margin_high)
    return min(lows) if lows else None, min(highs) if highs else None


def _all(values: Iterable[Value | None]) -> list[Value] | None:
    """Give the values where every panel has one, else nothing."""
    values = list(values)
    known = [value for value in values if value is not None]
    return known if len(known) == len(values) else None


def _span(group: list[Panel]) -> tuple[float, float] | None:
    """Settings that cleaned on every panel: from the highest low end to the lowest high end."""
    lows = _all([panel.cleaning_low for panel in group])
    highs = _all([panel.cleaning_high for panel in group])
    if not lows or not highs or max(lows) > min(highs):
        return None
    return max(lows), min(highs)


def _first_damage(group: list[Panel]) -> tuple[float, float | None] | None:
    """Lowest setting at which a panel was damaged; where none was, up to which none was."""
    lows = _all([panel.damage_low for panel in group])
    if lows is None:
        return None
    seen = [
        (panel.damage_low, panel.damage_high)
        for panel in group
        if panel.damage_low is not None and panel.damage_high is not None
    ]
    if not seen:
        return min(lows), None
    return min(low for low, _ in seen), min(high for _, high in seen)


def _every(values: list[bool | None]) -> bool | None:
    """Whether all hold; not known where one is not known and none fails."""
    if False in values:
        return False
    return None if None in values else True


def margin_bounds(panel: Panel) -> tuple[float | None, float | None]:
    """
    Bounds of the damage margin: first-damage setting over cleaning setting.

    Parameters
    ----------
    panel : Panel
        Panel with its cleaning and damage settings.

    Returns
    -------
    tuple of float or None
        Lower and upper bound. The upper bound is infinite where damage was sought and not found;
        both are None where either setting is not recorded.
    """
    if panel.cleaning_low is None or panel.cleaning_high is None or panel.damage_low is None:
        return None, None
    high = math.inf if panel.damage_high is None else panel.damage_high / panel.cleaning_low
    return panel.damage_low / panel.cleaning_high, high


def _steel_results(
    panel: Panel, tests: list[SiteTest]
) -> tuple[float | None, bool | None, bool | None]:
    """Chloride bound, adhesion and profile of one steel panel against what was asked."""
    chloride = complete_values(tests, "chloride_ug_cm2", panel=panel.panel)
    adhesion = complete_values(tests, "adhesion_mpa", panel=panel.panel)
    profile = complete_values(tests, "profile_um", panel=panel.panel)
    upper = None
    if chloride:
        spread = threshold("chloride_relative_sd") / math.sqrt(len(chloride))
        # Paint fails first over the saltiest patch, which a mean hides.
        upper = max(*chloride, sum(chloride) / len(chloride) * (1 + 1.645 * spread))
    required = panel.required_adhesion_mpa
    low, high = panel.required_profile_low_um, panel.required_profile_high_um
    adhesion_ok = None if not adhesion or required is None else min(adhesion) >= required
    profile_ok = None
    if profile and low is not None and high is not None:
        profile_ok = low <= min(profile) and max(profile) <= high
    return upper, adhesion_ok, profile_ok


def complete_values(
    tests: Iterable[SiteTest], quantity: str, *, panel: str | None = None
) -> list[float] | None:
    """
    Values of one quantity, where the whole set is there.

    Parameters
    ----------
    tests : iterable of SiteTest
        Site tests of one zone.
    quantity : str
        Code of the quantity.
    panel : str, optional
        Panel on which it was tested; None for the zone itself.

    Returns
    -------
    list of float or None
        None where nothing was measured, or a test of the set is missing or gave no value: a set
        with a gap is never read as if it were whole.
    """
    found = [test for test in tests if test.quantity == quantity and test.panel == panel]
    values = [test.value for test in found if test.value is not None]
    whole = bool(found) and len(values) == len(found) == found[0].set_size
    return values if whole else None
