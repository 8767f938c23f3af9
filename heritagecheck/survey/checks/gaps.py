"""What is missing before a survey can be judged: tables, weights, white tiles, panels and spots."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from operator import attrgetter
from typing import NamedTuple

from heritagecheck.errors import Fault
from heritagecheck.sentences import a_few
from heritagecheck.survey.checks.series_setting import (
    component_of,
    missing_settings,
    recorded_quantities,
    unit_doubt,
    why_not_together,
    words_against,
)
from heritagecheck.survey.records import (
    MAY_BE_EMPTY,
    TABLES,
    Panel,
    Records,
    Setting,
    Spot,
    TileReading,
    View,
    Zone,
    all_of,
    grouped,
)
from heritagecheck.survey.records.fields import literal_choices
from heritagecheck.survey.records.old_settings import NOT_READ
from heritagecheck.survey.records.quantities import Scale
from heritagecheck.tables import threshold
from heritagecheck.tables.row_types import Substrate

# -- Tables and weights ----------------------------------------------------------------------------

NO_ROW = "this table holds no row yet; write the first below its headings"
NOT_AGREED = (
    "no policy is agreed yet; go through the offered values on the screen What the team agrees, or "
    "in the sheet policy. Save them, changed or not, with the day on which they were agreed"
)


def gaps_before_assessment(
    records: Records,
    suffix: str = "",
    broken: frozenset[str] = frozenset(),
    *,
    policy_given: bool = False,
) -> list[Fault]:
    """What a survey needs before it can be assessed; the policy may be given from outside."""
    found = [
        Fault(table + suffix, None, "", "", NOT_AGREED if table == "policy" else NO_ROW)
        for table, kept in records.items()
        if not kept
        and table not in MAY_BE_EMPTY
        and table + suffix not in broken
        and not (table == "policy" and policy_given)
    ]
    if f"views{suffix}" not in broken:
        found.extend(_view_faults(all_of(records, View), f"views{suffix}"))
    return found


def _view_faults(views: Iterable[View], name: str) -> Iterator[Fault]:
    """Check that every member weighed every criterion, and not all with nothing."""
    swings: dict[str, dict[str, float]] = {}
    for view in views:
        swings.setdefault(view.member, {})[view.criterion] = view.swing
    criteria = literal_choices(TABLES["views"], "criterion")
    for member, given in swings.items():
        missing = [criterion for criterion in criteria if criterion not in given]
        if missing:
            yield Fault(name, None, "member", member, f"gave no weight for {', '.join(missing)}")
        elif not any(swing for criterion, swing in given.items() if criterion != "resources"):
            yield Fault(
                name, None, "member", member,
                "needs a weight above 0 for at least one criterion other than resources",
            )  # fmt: skip


# -- White tiles -----------------------------------------------------------------------------------


def drift(lab: Sequence[tuple[float, float, float]]) -> float:
    """Largest change of a white tile from its first reading, as ΔE*ab."""
    # CIE 1976 (ISO/CIE 11664-4:2019): near white the strictest of the common formulas, and the one
    # in which makers of meters say how well a tile repeats (common practice).
    return max(math.dist(lab[0], other) for other in lab)


def unsteady_sessions(tiles: Iterable[TileReading]) -> dict[str, str]:
    """Sessions whose readings are not reliable, and why."""
    limit = threshold("tile_drift_max")
    found: dict[str, str] = {}
    for session, read in grouped(tiles, attrgetter("session")).items():
        read.sort(key=lambda tile: tile.minutes)
        size = read[0].tile_readings_in_session
        went = drift([(tile.L_star, tile.a_star, tile.b_star) for tile in read])
        if len(read) < size:
            found[session] = f"{len(read)} of {size} tile readings of session {session} recorded"
        elif len(read) < 2:
            found[session] = f"the white tile was read only once in session {session}"
        elif went > limit:
            found[session] = (
                f"the white tile drifted by {went:.2f} ΔE*ab in session {session}; "
                f"{limit:g} is the limit"
            )
    return found


# -- Panels and spots ------------------------------------------------------------------------------


class Finding(NamedTuple):
    """One thing to look at again: where, of which kind, the details, and what to do."""

    zone: str
    table: str
    kind: str
    detail: str
    what_to_do: str

    @property
    def what(self) -> str:
        """Kind and detail together."""
        return f"{self.kind}: {self.detail}" if self.detail else self.kind


class Trial(NamedTuple):
    """One series of panels with the spots that lie on them."""

    zone: str
    series: str
    panels: tuple[Panel, ...]
    spots: tuple[Spot, ...]
    settings: tuple[Setting, ...]

    @property
    def doses(self) -> set[tuple[float, Scale]]:
        """Different doses that were tried, each with its quantity and unit."""
        return {(spot.dose, spot.scale) for spot in self.spots if spot.dose is not None}


def gaps_in_trials(records: Records) -> Iterator[Finding]:
    """Everything to look at again in the trials of a survey, one line a series and kind."""
    trials = _trials(records)
    substrates = {zone.zone: Substrate.named(zone.substrate) for zone in all_of(records, Zone)}
    rare = {
        zone.zone
        for zone in all_of(records, Zone)
        if zone.biotite_pct is not None and zone.biotite_pct < threshold("weakest_component_pct")
    }
    for trial in trials:
        yield from _words_not_read(trial)
        yield from _words_against_fields(trial)
        yield from _setting_not_in_full(trial, substrates[trial.zone].kind)
        yield from _spots_not_read_together(trial)
        yield from _units_that_differ(trial)
        yield from _units_in_doubt(trial)
        yield from _stated_by_some(trial)
        yield from _one_dose(trial)
        if trial.zone not in rare:
            yield from _weakest_missed(trial, substrates[trial.zone].weakest_components)
    yield from _readers_not_blind(trials)


def _trials(records: Records) -> list[Trial]:
    """Panels by series, in the order of their first panel, with their spots."""
    spots = grouped(all_of(records, Spot), attrgetter("panel"))
    settings = grouped(all_of(records, Setting), attrgetter("series"))
    groups = grouped(all_of(records, Panel), attrgetter("series"))
    return [
        Trial(
            group[0].zone,
            series,
            tuple(group),
            tuple(spot for panel in group for spot in spots.get(panel.panel, ())),
            tuple(settings.get(series, ())),
        )
        for series, group in groups.items()
    ]


def _words_not_read(trial: Trial) -> Iterator[Finding]:
    """Words of an older record from which nothing was read."""
    for one in trial.settings:
        if one.quantity == NOT_READ:
            yield Finding(
                trial.zone, "settings", "words not read", f"{trial.series}, {one.words}",
                "Write what they say as rows of settings, or into passes and wetted of the "
                "panels; then delete this row",
            )  # fmt: skip


def _words_against_fields(trial: Trial) -> Iterator[Finding]:
    """Words on the panels whose numbers differ from the fields."""
    if differs := words_against(trial.panels, trial.settings):
        yield Finding(
            trial.zone, "panels", "words differ from fields", f"{trial.series}, {differs}",
            "Ask whoever laid the panels what was dialled; put the words or the fields right",
        )  # fmt: skip


def _setting_not_in_full(trial: Trial, kind: str) -> Iterator[Finding]:
    """Required parts of a setting that are not recorded."""
    recorded = recorded_quantities(trial.panels, trial.spots, trial.settings)
    missing = missing_settings(trial.panels[0].method, kind, recorded)
    if missing:
        yield Finding(
            trial.zone, "settings",
            "setting incomplete", f"{trial.series} lacks "
            + "; ".join(one.with_unit for one in missing),
            "Ask whoever laid the panels and write each as a row of settings; pulses or passes "
            "and wetting are recorded with the panels",
        )  # fmt: skip


def _spots_not_read_together(trial: Trial) -> Iterator[Finding]:
    """Spots of a series that may not all be on record, or do not belong together."""
    if not trial.spots and not any(panel.spots_laid for panel in trial.panels):
        return
    why = list(why_not_together(trial.panels, trial.spots))
    if why:
        yield Finding(
            trial.zone, "spots", "spots not read together", f"{trial.series}, {a_few(why, '; ')}",
            "Write into spots_laid of each panel how many spots it carries, 0 where none. Give "
            "each spot a row with its dose, all in one unit. Name minerals, pulses and wetting "
            "for all spots or for none. Until then they give no window",
        )  # fmt: skip


def _units_that_differ(trial: Trial) -> Iterator[Finding]:
    """Series whose spots vary another quantity than the settings of its panels."""
    on_spots = {scale for _, scale in trial.doses}
    on_panels = {panel.scale for panel in trial.panels if panel.scale.known}
    # Spots in several units are reported by `_spots_not_read_together`.
    if len(on_spots) == 1 and not all(
        scale.same_quantity(other) for scale in on_spots for other in on_panels
    ):
        yield Finding(
            trial.zone, "spots",
            "units differ", f"{trial.series}, spots in {_named(on_spots)}, panels in "
            + _named(on_panels),
            "Write both as one quantity; until then the window of the spots can't be compared with "
            "the setting of the panels",
        )  # fmt: skip


def _named(scales: set[Scale]) -> str:
    """Scales in words."""
    return " and ".join(sorted(str(scale) or "no unit" for scale in scales))


def _units_in_doubt(trial: Trial) -> Iterator[Finding]:
    """Series whose numbers may be the peak fluence or the mean."""
    scales: dict[str, list[Scale]] = {
        "panels": [one.scale for one in trial.panels if one.cleaning_low is not None],
        "spots": sorted({scale for _, scale in trial.doses}, key=str),
    }
    for record, found in scales.items():
        # Spots in several units are reported by `_spots_not_read_together`.
        if record == "spots" and len(set(found)) > 1:
            continue
        if doubt := unit_doubt(found):
            yield Finding(
                trial.zone, record, "unit unclear", f"{trial.series}, {doubt}",
                "Ask whoever measured it and write quantity and unit, for fluence peak_fluence or "
                "mean_fluence: in a Gaussian beam the peak is twice the mean. Until then the trial "
                "does not pass",
            )  # fmt: skip


def _stated_by_some(trial: Trial) -> Iterator[Finding]:
    """Series in which only some panels state where they came clean or were damaged."""
    for field, what in (("cleaning_low", "cleaned"), ("damage_low", "were damaged, if at all")):
        silent = [one.panel for one in trial.panels if getattr(one, field) is None]
        if silent and len(silent) < len(trial.panels):
            yield Finding(
                trial.zone, "panels",
                "setting stated by some panels only",
                f"{trial.series}, {a_few(silent, '; ')} not saying at which setting they {what}",
                "Write it for each panel of the series; until then its margin is not known",
            )  # fmt: skip


def _one_dose(trial: Trial) -> Iterator[Finding]:
    """Series all of whose spots had the same dose."""
    if len(trial.doses) == 1:
        [(dose, scale)] = trial.doses
        yield Finding(
            trial.zone, "spots", "spots at one dose only",
            f"{trial.series}, all at {dose:g} {scale}",
            "Lay spots below and above it too; one dose does not show where cleaning and where "
            "damage begin",
        )  # fmt: skip


def _weakest_missed(trial: Trial, weakest: str | None) -> Iterator[Finding]:
    """Series without a spot on the mineral that sets the limit."""
    read = _read(trial)
    if weakest and read and weakest not in {component_of(spot) for spot in read}:
        yield Finding(
            trial.zone, "spots",
            "weakest mineral not named", f"{trial.series}, no spot is said to lie on {weakest}",
            f"Name what lay under each spot. {weakest.capitalize()} sets the limit on this stone; "
            "spots that are not known to lie on it show no margin",
        )  # fmt: skip


def _readers_not_blind(trials: Sequence[Trial]) -> Iterator[Finding]:
    """Series read at ×50 or spot by spot by somebody who knew, or may have known, the setting."""
    for trial in trials:
        with_spots = {spot.panel for spot in _read(trial)}
        blind = {
            panel.reader_blind
            for panel in trial.panels
            if panel.x50_fields or panel.panel in with_spots
        }
        if "no" in blind:
            yield Finding(
                trial.zone, "panels", "reader knew the setting", trial.series,
                "If you can, have somebody who does not know the setting read it again. That is "
                "common practice; no outcome depends on it",
            )  # fmt: skip
        elif None in blind:
            yield Finding(
                trial.zone, "panels", "not recorded whether the reader knew the setting",
                trial.series, "Write yes or no into reader_blind; no outcome depends on it",
            )  # fmt: skip


def _read(trial: Trial) -> list[Spot]:
    """Spots that were read."""
    return [spot for spot in trial.spots if spot.cleaned is not None]
