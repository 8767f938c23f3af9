"""Panels of one series, read together: damage with its bounds, margin, what is still missing."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import NamedTuple, TypeVar

from heritagecheck.evidence.trials.below_x50 import FoundBelow
from heritagecheck.evidence.trials.damaged_fields import (
    MILD_DAMAGE,
    NO_POLICY,
    DamageLimits,
    FieldsRead,
)
from heritagecheck.evidence.trials.spots import SpotTrial, spot_trial
from heritagecheck.survey.checks.series_setting import (
    dialled,
    setting_contradiction,
    unit_doubt,
    words_against,
)
from heritagecheck.survey.records import Panel, Setting, SiteTest, Spot, grouped
from heritagecheck.survey.records.quantities import Scale
from heritagecheck.survey.records.readings import complete_values
from heritagecheck.tables import threshold
from heritagecheck.tables.cautions import WITH_CAUTIONS
from heritagecheck.tables.methods import method_name

Value = TypeVar("Value")
Folded = TypeVar("Folded")
FLUORIDES = {"hydrofluoric", "ammonium_bifluoride", "other_fluoride"}


class SteelResults(NamedTuple):
    """What was tested on steel; None where it was not tested, or too few readings show it."""

    chloride_upper_ug_cm2: float | None
    adhesion_ok: bool | None
    adhesion_tests: int
    adhesion_days: int | None
    profile_ok: bool | None


class SteelRequired(NamedTuple):
    """What the coating asks of steel: the strictest of the panels, None where none says it."""

    adhesion_mpa: float | None
    profile_um: tuple[float, float] | None


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
    treated: frozenset[str]
    after: str | None
    oldest_read: date | None
    last_read: date | None
    aged_days: int | None
    winter: bool | None
    control: bool | None
    fields: tuple[int, ...] | None
    fields_weakest: int | None
    damaged: int | None
    x50: FieldsRead | None
    kinds: tuple[str, ...]
    kind_unknown: bool
    limits: DamageLimits
    component: str | None
    residual_pct: float | None
    residual_worst_pct: float | None
    delta_b: float | None
    late_effects: str | None
    settings: tuple[Setting, ...]
    passes: int | None
    wetted: bool | None
    scale: Scale
    unit_doubt: str
    setting_contradiction: str
    words_differ: str
    cleaning: tuple[float, float] | None
    damage: tuple[float, float | None] | None
    margin_low: float | None
    margin_high: float | None
    spots: SpotTrial | None
    reader_blind: bool | None
    joint_included: bool
    grade_reached: bool | None
    steel: SteelResults
    required: SteelRequired
    below: tuple[FoundBelow, ...] = ()
    harsher: tuple[FoundBelow, ...] = ()
    before: tuple[PanelSeries, ...] = ()
    hazards: tuple[str, ...] = (WITH_CAUTIONS,)

    @property
    def methods(self) -> tuple[str, ...]:
        """Its method, after those of the steps before it where methods follow one another."""
        return (*(one.method for one in self.before), self.method)

    @property
    def worked_with(self) -> tuple[str, ...]:
        """Its methods; also fluoride acid where that was applied under the name of another."""
        steps = (*self.before, self)
        return worked_with(self.methods, [one for step in steps for one in step.settings])

    @property
    def treated_in_all(self) -> frozenset[str]:
        """Soilings removed from its panels, in this step or an earlier one."""
        return self.treated.union(*(one.treated for one in self.before))

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
    def grave(self) -> tuple[str, ...]:
        """Kinds of damage found that are never allowed, whatever the share of fields."""
        return tuple(kind for kind in self.kinds if kind not in MILD_DAMAGE)

    @property
    def harmed(self) -> bool:
        """Whether damage was found beyond the agreed limit, or not known to be within it."""
        beyond = self.x50 is not None and (
            self.x50.seen > self.limits.seen or self.x50.apart(self.limits.seen) is not None
        )
        # What a panel names and lacks counts as harm, or losing it would clear the panel.
        hidden = any(one.holds is not True for one in self.below)
        return bool(self.grave) or self.kind_unknown or beyond or hidden

    @property
    def shown_sound(self) -> bool:
        """Whether fields were read, no more damaged than agreed, and the margin agrees."""
        margin = self.margin_high is None or self.margin_high >= 1
        return self.x50 is not None and not self.harmed and margin

    @property
    def windowed(self) -> bool:
        """Whether its setting is between cleaning and damage, by panels and spots."""
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
    def named(self) -> str:
        """Its method as it is done on this soiling, in words."""
        return method_name(self.method, [self.soiling])

    @property
    def dialled(self) -> tuple[float, float] | None:
        """What was dialled of the quantity varied, in its unit; None where not recorded."""
        return dialled(self.scale, self.settings, self.passes)


def worked_with(methods: Iterable[str], settings: Iterable[Setting]) -> tuple[str, ...]:
    """Methods; also fluoride acid where that was applied under the name of another."""
    applied = {one.words for one in settings if one.quantity == "acid"}
    return tuple(dict.fromkeys((*methods, *("fluoride_acid",) * bool(applied & FLUORIDES))))


def panel_series(
    panels: Iterable[Panel],
    tests: Iterable[SiteTest],
    spots: Iterable[Spot] = (),
    settings: Iterable[Setting] = (),
    *,
    limits: DamageLimits = NO_POLICY,
    below: Iterable[FoundBelow] = (),
    harsher: Iterable[FoundBelow] = (),
) -> tuple[PanelSeries, ...]:
    """Gather panels into their series, in the order of their first panel."""
    # Across panels the least favourable value counts, but of residual soiling the mean with the
    # worst panel beside it, since a worst of many panels is worse than one of few; and a value
    # that one panel lacks is not known. Settings are given in the unit of the first panel. Of the
    # margin that the panels state and the one that their spots show, the smaller counts; where
    # spots were laid and can't be read together, neither is known.
    spots = tuple(spots)
    on_panels = [test for test in tests if test.panel is not None]
    dialled = grouped(settings, lambda setting: setting.series)
    found = [
        _gathered(
            group, on_panels, spot_trial(group, spots, limits=limits), limits,
            tuple(dialled.get(series, ())), tuple(below), tuple(harsher),
        )
        for series, group in grouped(panels, lambda panel: panel.series).items()
    ]  # fmt: skip
    return tuple(in_sequence(found))


def in_sequence(found: Sequence[PanelSeries]) -> Iterator[PanelSeries]:
    """Give each series the steps that were done before it on the same place, first to last."""
    by_name = {one.series: one for one in found}
    for one in found:
        steps: list[PanelSeries] = []
        step = by_name.get(one.after or "")
        while step is not None and step not in steps and step is not one:
            steps.insert(0, step)
            step = by_name.get(step.after or "")
        yield replace(one, before=tuple(steps)) if steps else one


def _gathered(
    group: list[Panel],
    tests: list[SiteTest],
    on_spots: SpotTrial | None,
    limits: DamageLimits,
    settings: tuple[Setting, ...],
    below: tuple[FoundBelow, ...],
    harsher: tuple[FoundBelow, ...],
) -> PanelSeries:
    """Gather one series, the least favourable value of its panels counting."""
    laid = {panel.panel for panel in group}
    doubt = unit_doubt([panel.scale for panel in group if panel.cleaning_low is not None])
    group = group if doubt else _in_one_unit(group)
    first = group[0]
    margin_low, margin_high = _margin(group, on_spots)
    read_on = [p.read_on for p in group if p.read_on is not None]
    ages = [None if p.read_on is None else (p.read_on - p.done_on).days for p in group]
    return PanelSeries(
        series=first.series,
        method=first.method,
        setting=first.setting,
        soiling=first.soiling,
        zone=first.zone,
        panels=tuple(p.panel for p in group),
        panels_laid=first.panels_in_series,
        unread=tuple(f"{p.panel}: {p.not_read_because}" for p in group if p.not_read_because),
        treated=frozenset.intersection(*(frozenset(p.treated) for p in group)),
        after=first.after_series,
        oldest_read=min(read_on, default=None),
        last_read=max(read_on, default=None),
        aged_days=_of_all(min, ages),
        winter=_of_all(_all_yes, [p.winter_included for p in group]),
        control=_of_all(_all_yes, [p.control_kept for p in group]),
        fields=_of_all(tuple, [p.x50_fields for p in group]),
        fields_weakest=_of_all(min, [p.x50_fields_weakest for p in group]),
        damaged=_of_all(sum, [p.damaged_fields for p in group]),
        x50=_at_x50(group),
        kinds=tuple(dict.fromkeys(p.damage_kind for p in group if p.damage_kind is not None)),
        kind_unknown=any(p.damaged_fields and p.damage_kind is None for p in group),
        limits=limits,
        component=next((p.damaged_component for p in group if p.damaged_component), None),
        residual_pct=_of_all(_mean, [p.residual_pct for p in group]),
        residual_worst_pct=_of_all(max, [p.residual_pct for p in group]),
        delta_b=_of_all(_farthest, [p.delta_b for p in group]),
        late_effects=_of_all(_first_effect, [p.late_effects for p in group]),
        settings=settings,
        passes=first.passes,
        wetted=None if first.wetted is None else first.wetted == "yes",
        scale=first.scale,
        unit_doubt=doubt,
        setting_contradiction="" if doubt else setting_contradiction(group, settings),
        words_differ=words_against(group, settings),
        cleaning=_span(group),
        damage=_first_damage(group),
        margin_low=margin_low,
        margin_high=margin_high,
        spots=on_spots,
        reader_blind=_of_all(_all_yes, [p.reader_blind for p in group]),
        joint_included=all(p.joint_included == "yes" for p in group),
        grade_reached=_of_all(_all_yes, [p.grade_reached for p in group]),
        steel=_worst_steel([_steel_results(p, tests) for p in group]),
        required=_required(group),
        below=tuple(one for one in below if one.panel in laid),
        harsher=tuple(one for one in harsher if one.panel in laid),
    )


def _at_x50(group: list[Panel]) -> FieldsRead | None:
    """Fields of all panels, and those read before; nothing where a panel lacks its own."""
    fields = _all([panel.x50_fields for panel in group])
    damaged = _all([panel.damaged_fields for panel in group])
    if not fields or not damaged or not sum(fields):
        return None
    fields_before = _all([panel.fields_before for panel in group])
    damaged_before = _all([panel.damaged_before for panel in group])
    before = None
    if fields_before and damaged_before and sum(fields_before):
        # Panels weigh as they do after treatment: one that was damaged before, and was read the
        # more closely for it, would excuse damage on all others.
        share = sum(
            count * hit / looked
            for count, hit, looked in zip(fields, damaged_before, fields_before, strict=True)
            if looked
        ) / sum(fields)
        # One control that is recorded with every panel was read once.
        places = (p.panel if p.before_on == "panel" else "control" for p in group)
        once = list(dict.fromkeys(zip(places, damaged_before, fields_before, strict=True)))
        looked_at = [looked for _, _, looked in once]
        alike = math.floor(share * sum(looked_at) + 1e-9)
        before = min(sum(hit for _, hit, _ in once), alike), tuple(looked_at)
    return FieldsRead(tuple(damaged), tuple(fields), before)


def _in_one_unit(group: list[Panel]) -> list[Panel]:
    """Panels with their four settings in the unit of the first that has any."""
    scale = next((panel.scale for panel in group if panel.cleaning_low is not None), group[0].scale)
    fields = ("cleaning_low", "cleaning_high", "damage_low", "damage_high")
    found = []
    for panel in group:
        if panel.scale != scale and panel.scale.same_quantity(scale):
            moved = {
                field: panel.scale.moved(value, scale)
                for field in fields
                if (value := getattr(panel, field)) is not None
            }
            panel = panel.changed(setting_unit=scale.unit, **moved)  # noqa: PLW2901
        found.append(panel)
    return found


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


def _of_all(fold: Callable[[list[Value]], Folded], values: Iterable[Value | None]) -> Folded | None:
    """What the values make together where every panel has one, else nothing."""
    known = _all(values)
    return fold(known) if known else None


def _all_yes(answers: list[str]) -> bool:
    """Whether the answer is yes on every panel."""
    return all(answer == "yes" for answer in answers)


def _mean(values: list[float]) -> float:
    """Mean over the panels."""
    return sum(values) / len(values)


def _farthest(values: list[float]) -> float:
    """The value farthest from zero."""
    return max(values, key=abs)


def _first_effect(effects: list[str]) -> str:
    """First late effect that was seen, else none."""
    return next((effect for effect in effects if effect != "none"), "none")


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


def _required(group: list[Panel]) -> SteelRequired:
    """Adhesion and profile that the coating asks for."""
    adhesion = [p.required_adhesion_mpa for p in group if p.required_adhesion_mpa is not None]
    spans = [
        (panel.required_profile_low_um, panel.required_profile_high_um)
        for panel in group
        if panel.required_profile_low_um is not None and panel.required_profile_high_um is not None
    ]
    profile = (max(low for low, _ in spans), min(high for _, high in spans)) if spans else None
    return SteelRequired(max(adhesion, default=None), profile)


def _every(values: list[bool | None]) -> bool | None:
    """Whether all hold; not known where one is not known and none fails."""
    if False in values:
        return False
    return None if None in values else True


def margin_bounds(panel: Panel) -> tuple[float | None, float | None]:
    """Bounds of the damage margin: first-damage setting over cleaning setting."""
    # The upper bound is infinite where damage was sought and not found; both are None where
    # either setting is not recorded.
    if panel.cleaning_low is None or panel.cleaning_high is None or panel.damage_low is None:
        return None, None
    high = math.inf if panel.damage_high is None else panel.damage_high / panel.cleaning_low
    return panel.damage_low / panel.cleaning_high, high


def _worst_steel(panels: list[SteelResults]) -> SteelResults:
    """Steel results of a series: the worst of its panels, and unknown where one is."""
    return SteelResults(
        _of_all(max, [one.chloride_upper_ug_cm2 for one in panels]),
        _every([one.adhesion_ok for one in panels]),
        min(one.adhesion_tests for one in panels),
        _of_all(min, [one.adhesion_days for one in panels]),
        _every([one.profile_ok for one in panels]),
    )


def _steel_results(panel: Panel, tests: list[SiteTest]) -> SteelResults:
    """Chloride bound, adhesion and profile of one steel panel; how many pull-offs, how soon."""
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
    adhesion_ok = None
    if adhesion and required is not None:
        # One reading that holds is no test of adhesion; one that does not hold is enough to fail.
        enough = len(adhesion) >= threshold("adhesion_tests_min")
        adhesion_ok = False if min(adhesion) < required else True if enough else None
    pulled = [one for one in tests if (one.quantity, one.panel) == ("adhesion_mpa", panel.panel)]
    days = min(((one.tested_on - panel.done_on).days for one in pulled), default=None)
    profile_ok = None
    if profile and low is not None and high is not None:
        profile_ok = low <= min(profile) and max(profile) <= high
    return SteelResults(upper, adhesion_ok, len(adhesion or ()), days, profile_ok)
