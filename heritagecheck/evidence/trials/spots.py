"""Trial spots of one series of panels, read together: removal, damage, and the window between."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from heritagecheck.answer_cache import kept
from heritagecheck.cards import summary
from heritagecheck.evidence.trials.curves.dose_response import (
    DoseResponse,
    dose_response,
    probability_levels,
)
from heritagecheck.evidence.trials.curves.guarded_limits import most_damaged
from heritagecheck.evidence.trials.curves.window import Share, Window, tested_window
from heritagecheck.evidence.trials.damaged_fields import (
    MILD_DAMAGE,
    NO_POLICY,
    NORMAL_GRID,
    DamageLimits,
    damage_share_lower,
)
from heritagecheck.survey.checks.series_setting import why_not_together
from heritagecheck.survey.records import Panel, Spot, grouped
from heritagecheck.survey.records.quantities import Scale

if TYPE_CHECKING:
    import pandas as pd

Draws = NDArray[np.float64]
Span = tuple[float, float]
COUNTED = [
    "setting", "unit", "pulses", "wet", "component", "spots", "panels", "cleaned", "damaged",
]  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class SpotAnswers:
    """
    What the judgement needs of the curves of removal and of damage.

    `first_damage` is the lowest dose at which a spot was damaged, infinite where none was. Shares
    at the panels' own setting are None where it is not known: middle and upper 95 % bound, and one
    for each value of `NORMAL_GRID`.
    """

    window: Window
    conditions: str
    first_damage: float
    damage_share: Span | None
    residual_share: Span | None
    damage_quantiles: Draws | None
    removal_quantiles: Draws | None


class Asked(NamedTuple):
    """Pulses or passes, and wetting, of the panels' own setting; None where not recorded."""

    pulses: int | None
    wet: bool | None


class SpotRead(NamedTuple):
    """
    One spot as the fit takes it.

    `component` is empty where none was looked at, `kind` where the kind of damage is not recorded.
    """

    dose: float
    cleaned: bool
    damaged: bool
    component: str
    panel: str
    pulses: int | None
    wet: bool | None
    kind: str


@dataclass(frozen=True, eq=False)
class SpotTrial:
    """
    What the spots of one series show, or why they can't be read together.

    `removal`, `damage` and `window` are all there, or none is and `why_not` says why; where
    `answers` come from an earlier process, curves are fitted when first needed. `used` is the
    setting of the panels themselves, from lowest to highest, in the unit of the spots; None where
    the panels do not say it in that quantity.
    """

    series: str
    scale: Scale
    rows: tuple[SpotRead, ...]
    asked: Asked
    answers: SpotAnswers | None
    used: tuple[float, float] | None
    why_not: str

    @property
    def dose_unit(self) -> str:
        """Unit of the doses as a page writes it, such as J/cm² peak."""
        return str(self.scale)

    def damage_draws(self, z: Draws) -> Draws | None:
        """Simulated shares of spots damaged by the panels' harshest setting, at normal draws z."""
        quantiles = None if self.answers is None else self.answers.damage_quantiles
        return None if quantiles is None else np.interp(z, NORMAL_GRID, quantiles)

    def removal_draws(self, z: Draws) -> Draws | None:
        """Simulated shares of spots cleaned by the panels' gentlest setting, at normal draws z."""
        quantiles = None if self.answers is None else self.answers.removal_quantiles
        return None if quantiles is None else np.interp(z, NORMAL_GRID, quantiles)

    @property
    def fitted_to(self) -> str:
        """All that its curves are fitted to, in words."""
        return repr((_numbered(self.rows), self.asked, self.dose_unit))

    def fitted(self, copies: int = 1) -> tuple[DoseResponse, DoseResponse]:
        """Curves of removal and of damage; of several `copies` each panel is that many panels."""
        rows = _numbered(self.rows)
        laid = tuple(
            row._replace(panel=f"{row.panel} {copy}") for copy in range(copies) for row in rows
        )
        dose, cleaned, damaged, component, panel, pulses, wet, _ = zip(
            *(_numbered(laid) if copies > 1 else rows), strict=True
        )
        given = dose, panel, pulses, wet, self.asked, self.dose_unit
        return (
            _curve("removal", cleaned, None, *given),
            _curve("damage", damaged, component if component[0] else None, *given),
        )

    @cached_property
    def removal(self) -> DoseResponse | None:
        """Curve of spots cleaned."""
        return None if self.answers is None else self.fitted()[0]

    @cached_property
    def damage(self) -> DoseResponse | None:
        """Curve of spots damaged."""
        return None if self.answers is None else self.fitted()[1]

    @property
    def window(self) -> Window | None:
        """Settings between what cleans and what may damage."""
        return None if self.answers is None else self.answers.window

    @property
    def components(self) -> frozenset[str]:
        """Components that lay under the spots, in small letters; none where none is named."""
        return frozenset(row.component for row in self.rows if row.component)

    @property
    def conditions(self) -> str:
        """Pulses or passes and wetness for which curves and window hold; empty if not recorded."""
        return "" if self.answers is None else self.answers.conditions

    @property
    def first_damage(self) -> float | None:
        """Lowest dose at which a spot was damaged, infinite where none was; None if not read."""
        return None if self.answers is None else self.answers.first_damage

    @property
    def damage_share(self) -> tuple[float, float] | None:
        """Share of spots damaged at the panels' setting: middle, and upper 95 % bound."""
        return None if self.answers is None else self.answers.damage_share

    def up_to(self, dose: float) -> tuple[SpotRead, ...]:
        """Spots at a dose or a lower one, by no more pulses than the panels'."""
        most = self.asked.pulses
        return tuple(
            row
            for row in self.rows
            if row.dose <= dose and (row.pulses is None or most is None or row.pulses <= most)
        )

    def damage_seen(self, dose: float) -> float:
        """Share of spots damaged, at a dose or a lower one, of those that came clean there."""
        # Spots too gentle to clean do not thin it out; it is 1 where a spot was damaged and none
        # came clean.
        spots = self.up_to(dose)
        damaged = sum(row.damaged for row in spots)
        return damaged / max(sum(row.cleaned for row in spots), damaged, 1)

    def damage_shown(self, dose: float) -> float:
        """Lower 95 % bound of that share, spots of a panel counted as alike."""
        laid = grouped(self.up_to(dose), lambda row: row.panel).values()
        hits = [sum(row.damaged for row in rows) for rows in laid]
        clean = [sum(row.cleaned for row in rows) for rows in laid]
        return damage_share_lower(
            sum(hits), [max(pair) for pair in zip(hits, clean, strict=True)]
        ) if any(hits) else 0.0  # fmt: skip

    def first_harm(self, seen: float) -> float:
        """Gentlest dose from which on damage is more than may be seen, or of no kind that may."""
        # A stray spot at a gentle dose is outweighed by sound ones as harsh or harsher, whether
        # they came clean or not; those too gentle to clean never count for it. Nor do those of
        # another component or wetness or of fewer pulses, nor those harsher than anything laid on
        # its own panel: firmer panels do not speak for a panel that was left off where it was
        # damaged. What recurs is no stray: a second damaged spot is not thinned out by gentler
        # sound ones, and nothing speaks for doses beyond those at which two panels were left off
        # damaged.
        doses = sorted({row.dose for row in self.rows})
        spots = self.up_to(math.inf)
        hits = sorted(row.dose for row in spots if row.damaged)
        seen_from = next((dose for dose in doses if self.damage_seen(dose) > seen), math.inf)
        found = math.inf
        for dose in reversed(doses):
            if self._damaged_up_to(dose) <= seen:
                break
            found = dose
        left_off = sorted(dose for _, dose in _left_off(spots))[1:2]
        beyond = [dose for dose in doses if left_off and dose > left_off[0]]
        grave = [row.dose for row in self.rows if row.damaged and row.kind not in MILD_DAMAGE]
        return min(max(found, min(seen_from, *hits[1:2], math.inf)), *beyond, *grave, math.inf)

    def _damaged_up_to(self, dose: float) -> float:
        """Greatest share of spots damaged from any damaged one up to a dose, clean or not."""
        spots = self.up_to(dose)
        top, left_off = _harshest(spots), _left_off(spots)
        damaged = [row for row in spots if row.damaged]
        firsts = {
            (row.dose, top[row.panel], row.component, row.wet, row.pulses or 0) for row in damaged
        }
        shares = [0.0]
        for first, last, component, wet, pulses in firsts:
            same = [row for row in spots if row.component == component and row.wet == wet]
            harsher = [row for row in spots if row.dose >= first]
            alike = [
                row for row in same if first <= row.dose <= last and (row.pulses or 0) >= pulses
            ]
            # What was left off, damaged at a gentler dose, would be no better here.
            before = [row for row in same if row.dose < first and (row.panel, row.dose) in left_off]
            shares += [
                sum(row.damaged for row in few) / len(few)
                for few in (harsher, alike, [*alike, *before])
            ]
        return max(shares)

    @property
    def residual_share(self) -> tuple[float, float] | None:
        """Share of spots that stay soiled at the panels' setting: middle, and upper 95 % bound."""
        return None if self.answers is None else self.answers.residual_share

    def counts(self) -> list[dict[str, Any]]:
        """Rows of `table`, None where it is empty."""
        found = grouped(self.rows, lambda row: (row.dose, row.pulses, row.wet, row.component))
        # What is not recorded is so for all spots, or they would not be read together.
        order = sorted(found, key=lambda key: (key[0], key[1] or 0, bool(key[2]), key[3]))
        return [
            dict(zip(
                COUNTED,
                (key[0], self.dose_unit, *key[1:], len(rows), len({row.panel for row in rows}),
                 sum(row.cleaned for row in rows), sum(row.damaged for row in rows)),
                strict=True,
            ))
            for key, rows in ((key, found[key]) for key in order)
        ]  # fmt: skip

    def table(self) -> pd.DataFrame:
        """
        Count the spots, setting by setting and component by component.

        Returns
        -------
        pandas.DataFrame
            Columns setting, unit, pulses, wet, component, spots, panels, cleaned, damaged.
        """
        from heritagecheck.cards import table

        return table([tuple(row.values()) for row in self.counts()], COUNTED)

    def __str__(self) -> str:
        if self.window is None:
            return f"Spots of {self.series}: not read together, because {self.why_not}"
        return f"Spots of {self.series} [{self.dose_unit}]: {self.window}"

    def _repr_html_(self) -> str:
        head = f"Spots of {self.series}"
        if self.removal is None or self.damage is None or self.window is None:
            return summary(head, f"Not read together, because {self.why_not}")
        lines = [("Removal", self.removal), ("Damage", self.damage)]
        return summary(
            head, self.window.reason, lines, more="table(), hc.figures.draw_trial(spots)"
        )


def _harshest(spots: Iterable[SpotRead]) -> dict[str, float]:
    """Harshest dose laid on each panel."""
    return {row.panel: row.dose for row in sorted(spots, key=lambda row: row.dose)}


def _left_off(spots: Sequence[SpotRead]) -> set[tuple[str, float]]:
    """Panels damaged at the harshest dose laid on them, with that dose."""
    top = _harshest(spots)
    return {(row.panel, row.dose) for row in spots if row.damaged and row.dose == top[row.panel]}


def spot_trial(
    panels: Sequence[Panel], spots: Iterable[Spot], *, limits: DamageLimits = NO_POLICY
) -> SpotTrial | None:
    """Read the spots of one series of panels together; None where none was laid."""
    # Spots are read together only where every panel that was laid is here, says how many spots it
    # carries, and has them all, read and at one unit of dose. So no spot that is lost makes a
    # window look wider. Damage is read for each component under the spots by itself where they name
    # it; of all spots as one where none does. Spots of several numbers of pulses or passes, or wet
    # and dry, are read together by how much that matters, and the curves are given for what the
    # panels' own setting says of it; where it says nothing, they are not read.
    names = {panel.panel for panel in panels}
    found = [spot for spot in spots if spot.panel in names]
    if not found and not any(panel.spots_laid for panel in panels):
        return None
    series = panels[0].series
    scale = next((spot.scale for spot in found if spot.dose is not None), Scale(None, None))
    why_not = next(why_not_together(panels, found), "")
    if why_not:
        return SpotTrial(series, scale, (), Asked(None, None), None, None, why_not)
    rows = tuple(
        SpotRead(
            spot.dose or 0.0, spot.cleaned == "yes", spot.damaged == "yes",
            (spot.component or "").strip().lower(), spot.panel, spot.passes,
            _said(spot.wetted), spot.damage_kind or "",
        )
        for spot in found
    )  # fmt: skip
    asked = Asked(panels[0].passes, _said(panels[0].wetted))
    return _read(series, scale, rows, asked, _used(panels, scale), limits)


@lru_cache(maxsize=256)
def _read(
    series: str,
    scale: Scale,
    rows: tuple[SpotRead, ...],
    asked: Asked,
    used: Span | None,
    limits: DamageLimits,
) -> SpotTrial:
    """Curves and window; the same spots count for every zone of their bed."""
    bare = SpotTrial(series, scale, rows, asked, None, used, why_not="")
    return replace(bare, answers=spot_answers(bare.fitted_to, bare.fitted, used, limits))


def _used(panels: Sequence[Panel], scale: Scale) -> tuple[float, float] | None:
    """Setting of the panels, from lowest to highest, where all give it in the spots' quantity."""
    if not all(panel.scale.same_quantity(scale) for panel in panels):
        return None
    ends = [
        (
            panel.scale.moved(panel.cleaning_low, scale),
            panel.scale.moved(panel.cleaning_high, scale),
        )
        for panel in panels
        if panel.cleaning_low is not None and panel.cleaning_high is not None
    ]
    if len(ends) < len(panels):
        return None
    return min(low for low, _ in ends), max(high for _, high in ends)


def _said(answer: str | None) -> bool | None:
    """Whether yes was said; None where nothing was."""
    return None if answer is None else answer == "yes"


def _numbered(rows: tuple[SpotRead, ...]) -> tuple[SpotRead, ...]:
    """Spots with their panels numbered, so that equal results elsewhere are not fitted again."""
    names = [row.panel.strip().casefold() for row in rows]
    order = sorted(set(names))
    return tuple(
        row._replace(panel=f"{order.index(name):06}") for row, name in zip(rows, names, strict=True)
    )


@lru_cache(maxsize=64)
def _curve(
    event: str,
    happened: tuple[bool, ...],
    group: tuple[str, ...] | None,
    dose: tuple[float, ...],
    panel: tuple[str, ...],
    pulses: tuple[int | None, ...],
    wet: tuple[bool | None, ...],
    asked: Asked,
    unit: str,
) -> DoseResponse:
    """One curve, cached separately: a change in damage alone leaves the curve of removal."""
    return dose_response(
        dose, happened, group, panel=panel,
        pulses=None if pulses[0] is None else np.array(pulses),
        wet=None if wet[0] is None else np.array(wet),
        at_pulses=None if pulses[0] is None else asked.pulses,
        at_wet=None if wet[0] is None else asked.wet, event=event, unit=unit,
    )  # fmt: skip


def spot_answers(
    asked: str,
    fit: Callable[[], tuple[DoseResponse, DoseResponse]],
    used: Span | None,
    limits: DamageLimits,
) -> SpotAnswers:
    """
    What the judgement needs of one series, worked out now or by an earlier process.

    `asked` is all that `fit` fits the curves of removal and damage to; `used` is the setting of the
    panels, from lowest to highest, in the unit of the spots. Both ways give the same bits.
    """
    found = kept(
        f"spots {asked} {used} {limits.bound!r} {limits.begins!r}",
        lambda: _worked_out(*fit(), used, limits),
    )
    window = window_of(found.pop("window"))
    for name in ("damage_share", "residual_share"):
        found[name] = None if found[name] is None else tuple(found[name])
    for name in ("damage_quantiles", "removal_quantiles"):
        found[name] = None if found[name] is None else np.array(found[name])
    return SpotAnswers(window=window, **found)


def window_of(found: dict[str, Any]) -> Window:
    """Window as stored."""
    shares = {
        name: None if found[name] is None else Share(**found[name])
        for name in ("residual", "damage_probability")
    }
    lists = {name: tuple(found[name]) for name in ("cautions", "hazards")}
    return Window(**found | shares | lists)


def _worked_out(
    removal: DoseResponse, damage: DoseResponse, used: Span | None, limits: DamageLimits
) -> dict[str, Any]:
    """Ask the curves, in a form that a file can keep."""
    from scipy.special import ndtr

    window = tested_window(removal, damage, damage_limit=limits.bound, begins=limits.begins)
    found: dict[str, Any] = {
        "window": asdict(window),
        "conditions": damage.conditions,
        "first_damage": damage.first_event,
        "damage_share": None,
        "residual_share": None,
        "damage_quantiles": None,
        "removal_quantiles": None,
    }
    if used is None:
        return found
    gentlest, harshest = used
    share = damage.probability(harshest, level=0.90)
    most = most_damaged(damage, harshest, np.array([0.95]))
    low, middle = probability_levels(
        removal, gentlest, np.array([0.05, 0.5]), hardest=True, open_ends=True
    )
    at = ndtr(NORMAL_GRID)
    return found | {
        "damage_share": [float(share.estimate), max(float(share.high), float(most[0]))],
        "residual_share": [1 - float(middle), 1 - float(low)],
        "damage_quantiles": most_damaged(damage, harshest, at).tolist(),
        "removal_quantiles": probability_levels(removal, gentlest, at, hardest=True).tolist(),
    }
