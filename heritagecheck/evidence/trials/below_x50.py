"""What instruments find on a panel below ×50, each held against its limit."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from heritagecheck.evidence.section.altered_layer import altered_depth
from heritagecheck.evidence.section.stress_change import StressChange, compare_stress
from heritagecheck.evidence.surface.interval import digits_for
from heritagecheck.survey.records import Panel, SectionReading, SiteTest, Spot, Zone
from heritagecheck.survey.records.readings import complete_values
from heritagecheck.survey.records.sections import STRESSES
from heritagecheck.tables.row_types import BelowX50

ONE_SIDED = 1.645  # standard errors of an upper 95 % bound
_FEWEST = 3  # readings of a control
NO_NAMES: Mapping[str, str] = MappingProxyType({})
TESTS = {"depth_removed": "depth_removed_um", "roughness_change": "roughness_change_pct"}


@dataclass(frozen=True, slots=True)
class FoundBelow:
    """
    One measurement on one panel: its value, the upper 95 % end, and what is allowed.

    `mineral` on which it was measured, empty for the whole surface. `value` and `upper` are None
    where they are not known; `why_not` then says why. `limit` is None where the change is meant,
    as on steel that is to be coated; `allowed` says it in words. `records` and names of
    `files` are those from which it can be followed.
    """

    row: BelowX50
    panel: str
    mineral: str
    value: float | None
    upper: float | None
    limit: float | None
    said: str
    allowed: str
    why_not: str
    records: tuple[str, ...]
    files: tuple[str, ...]

    @property
    def holds(self) -> bool | None:
        """Whether it lies within its limit; None where that is not known."""
        if self.value is None or self.upper is None:
            return None
        if self.limit is None:
            return True
        if self.value > self.limit:
            return False
        return True if self.upper <= self.limit else None

    @property
    def name(self) -> str:
        """What was measured, and on which mineral."""
        on = f" on {self.mineral.replace('_', '-')}" if self.mineral else ""
        return f"{self.row.name}{on}"

    @property
    def result(self) -> str:
        """What came out, and what is allowed; or why that is not known."""
        if self.value is None:
            return f"not known: {self.why_not}"
        return f"{self.said} ({self.allowed})"

    @property
    def words(self) -> str:
        """All of it but its records, in one line."""
        join = " " if self.value is None else ": "
        return f"{self.name[0].lower()}{self.name[1:]}, panel {self.panel}{join}{self.result}"

    @property
    def source(self) -> str:
        """Records and files from which it can be followed; empty where there are none."""
        files = f" (file {', '.join(self.files)})" if self.files else ""
        return f"{', '.join(self.records)}{files}" if self.records else ""


@dataclass(frozen=True, slots=True)
class _Value:
    """A value with its upper end; or why there is none."""

    value: float | None
    upper: float | None
    said: str
    records: tuple[str, ...] = ()
    files: tuple[str, ...] = ()
    mineral: str = ""
    allowed: str = ""


def found_below(
    zone: Zone,
    panels: Iterable[Panel],
    tests: Sequence[SiteTest],
    spots: Sequence[Spot],
    sections: Sequence[SectionReading],
    *,
    names: Mapping[str, str] = NO_NAMES,
) -> tuple[FoundBelow, ...]:
    """
    What was measured below ×50 on the panels of a zone, and what a panel names and lacks.

    `names` gives the file of each attachment; one that is not among them is told by its code.
    """
    doses = {spot.spot: spot for spot in spots}
    found = []
    for panel in panels:
        mine = [one for one in sections if _counts(one, panel, doses)]
        for measure in panel.measures:
            row = limits_of(zone, panel, measure)
            if row is None:
                continue
            for one in _values(measure, zone, panel, tests, mine):
                files = tuple(names.get(code, code) for code in one.files)
                found.append(_held(row, zone, panel, replace(one, files=files)))
    return tuple(found)


def limits_of(zone: Zone, panel: Panel, measure: str) -> BelowX50 | None:
    """The row with the limits of a measure on a panel; None where none is set for its kind."""
    kind = "metal" if zone.metal else "masonry"
    # Steel is roughened on purpose where a coating is to hold: the panel then names its profile.
    purpose = "bare" if panel.required_profile_low_um is None else "coated"
    rows = (
        row for row in BelowX50.rows()
        if (row.measure, row.kind) == (measure, kind) and row.purpose in {purpose, "any"}
    )  # fmt: skip
    return next((row for row in rows if not row.finish or zone.finish in row.finish), None)


def limit_for(row: BelowX50, zone: Zone) -> float | None:
    """What is allowed on a zone of its significance; None where the change is meant."""
    limit: float | None = getattr(row, zone.significance)
    return limit


def _held(row: BelowX50, zone: Zone, panel: Panel, one: _Value) -> FoundBelow:
    """A value beside its limit."""
    known, limit = one.value is not None, limit_for(row, zone)
    allowed = f"{limit:g} {row.unit} allowed" if limit is not None else (
        "meant for the coating; the profile decides"
    )  # fmt: skip
    return FoundBelow(
        row=row, panel=panel.panel, mineral=one.mineral, value=one.value, upper=one.upper,
        limit=limit, said=one.said if known else "", allowed=one.allowed or allowed,
        why_not="" if known else one.said, records=one.records, files=one.files,
    )  # fmt: skip


def _counts(one: SectionReading, panel: Panel, spots: dict[str, Spot]) -> bool:
    """Whether a reading says something of the panel's own setting."""
    if one.moment == "control" and one.panel is None:
        return True
    if one.panel != panel.panel:
        return False
    spot = spots.get(one.spot or "")
    if spot is None or panel.cleaning_high is None or spot.dose is None:
        return True
    # A spot at a harsher dose says nothing of the panel; one that can't be compared may.
    same = spot.scale.same_quantity(panel.scale)
    return not same or spot.scale.moved(spot.dose, panel.scale) <= panel.cleaning_high


def _values(
    measure: str,
    zone: Zone,
    panel: Panel,
    tests: Sequence[SiteTest],
    sections: Sequence[SectionReading],
) -> Iterator[_Value]:
    """What a panel shows of one measure; a gap where it names the measure and shows nothing."""
    if measure in TESTS:
        quantity = TESTS[measure]
        yield from _tested(
            [one for one in tests if (one.quantity, one.panel) == (quantity, panel.panel)],
            zone.weakest_component, rough=quantity == TESTS["roughness_change"],
        )  # fmt: skip
        return
    stress = measure == "stress_change"
    of_measure = [one for one in sections if (one.quantity in STRESSES) == stress]
    groups = dict.fromkeys(
        (one.quantity, one.element) for one in of_measure if one.moment == "after"
    )
    if not groups:
        yield _Value(None, None, "no profile after treatment is recorded")
    for quantity, element in groups:
        profiles = _profiles(one for one in of_measure
                             if (one.quantity, one.element) == (quantity, element))  # fmt: skip
        if gap := _gap(profiles):
            yield _Value(None, None, gap)
        elif stress:
            yield _stress(profiles, complete_values(tests, "stress_limit_mpa"))
        else:
            yield _altered(profiles, element or quantity.replace("_", " "))


def _tested(found: Sequence[SiteTest], weakest: str | None, *, rough: bool) -> Iterator[_Value]:
    """What the tests of one quantity on a panel show: of the whole surface, of each mineral."""
    if not found or len(found) != found[0].set_size:
        yield _Value(None, None, "the set of its values is not complete")
        return
    groups: dict[str, list[SiteTest]] = {}
    for one in found:
        groups.setdefault(one.mineral or "", []).append(one)
    if weakest is not None and set(groups) - {"", weakest}:
        # Where minerals are told apart, the one that goes first must be among them.
        groups.setdefault(weakest, [])
    for mineral in sorted(groups, key=lambda name: (name != (weakest or ""), name)):
        yield _worst(groups[mineral], mineral, rough=rough)


def _worst(tests: Sequence[SiteTest], mineral: str, *, rough: bool) -> _Value:
    """The worst of some values, and the upper end of the worst."""
    values = [one.value for one in tests if one.value is not None]
    records, files = tuple(one.site_test for one in tests), _files(tests)
    if not tests or len(values) < len(tests):
        why = [one.not_measured_because for one in tests if one.not_measured_because]
        said = "; ".join(why) or "other minerals were measured, and this one is lost first"
        return _Value(None, None, said, records, files, mineral)
    sizes = [abs(value) if rough else value for value in values]
    ends = [
        math.inf if one.spread is None else size + ONE_SIDED * one.spread
        for one, size in zip(tests, sizes, strict=True)
    ]
    worst = max(range(len(sizes)), key=sizes.__getitem__)
    said = _in_words(sizes[worst], max(ends), "%" if rough else "µm")
    if rough:
        said = f"{'rougher' if values[worst] > 0 else 'smoother'} by {said}"
    return _Value(sizes[worst], max(ends), said, records, files, mineral)


def _in_words(value: float, upper: float, unit: str) -> str:
    """A value and its upper end, in as many digits as the distance between them supports."""
    if not math.isfinite(upper):
        return f"{value:.3g} {unit}, its error is not recorded"
    digits = digits_for(upper - value)
    return f"{round(value, digits):.3g} {unit}, at most {round(upper, digits):.3g} {unit}"


Profiles = dict[str, list[SectionReading]]


def _profiles(readings: Iterable[SectionReading]) -> Profiles:
    """Readings by their profile."""
    found: Profiles = {}
    for one in readings:
        found.setdefault(one.profile, []).append(one)
    return found


def _gap(profiles: Profiles) -> str:
    """Why profiles can't be held against one another; empty where they can."""
    for name, readings in profiles.items():
        if len(readings) != readings[0].profile_size:
            return f"profile {name} has {len(readings)} of {readings[0].profile_size} readings"
        if len(readings) < _FEWEST:
            return f"profile {name} has fewer than {_FEWEST} readings"
    if not _of("control", profiles):
        return "no profile of a control is recorded"
    return ""


def _of(moment: str, profiles: Profiles) -> list[list[SectionReading]]:
    """Profiles of one moment, the earliest first."""
    found = [one for one in profiles.values() if one[0].moment == moment]
    return sorted(found, key=lambda one: one[0].measured_on)


def _altered(profiles: Profiles, name: str) -> _Value:
    """The deepest altered layer that any profile of the panel shows or leaves open."""
    control = [one for profile in _of("control", profiles) for one in profile]
    layers = []
    for profile in _of("after", profiles):
        try:
            layers.append(
                altered_depth(
                    [one.depth_um for one in profile], [one.value for one in profile],
                    [one.value for one in control], [one.depth_um for one in control],
                )
            )  # fmt: skip
        except ValueError as why:
            return _Value(None, None, f"{name}: {why}")
    deepest = max(layers, key=lambda one: (one.depth_um or 0.0, one.high_um))
    every = [one for readings in profiles.values() for one in readings]
    return _Value(
        max(one.depth_um or 0.0 for one in layers), max(one.high_um for one in layers),
        f"by {name}, {_in_short(deepest.depth_um, deepest.high_um)}",
        tuple(profiles), _files(every),
    )  # fmt: skip


def _in_short(depth_um: float | None, high_um: float) -> str:
    """Depth of an altered layer in a few words."""
    if depth_um is None:
        return f"no measurable change; a layer up to {high_um:.3g} µm thick would not be seen"
    end = f"at most {high_um:.3g} µm" if math.isfinite(high_um) else "no reading reached the core"
    return f"to {depth_um:.3g} µm, {end}"


def _stress(profiles: Profiles, limits: list[float] | None) -> _Value:
    """The largest change of stress as a share of the engineer's limit."""
    if limits is None:
        return _Value(None, None, "the engineer's limit of change in stress is not recorded")
    before, after, control = (_of(moment, profiles) for moment in ("before", "after", "control"))
    if len(before) != 1 or len(after) != 1 or len(control) != 2:
        return _Value(
            None, None,
            "it takes one profile before, one after, and the control measured on both days",
        )  # fmt: skip
    try:
        change = compared(before[0], after[0], control, min(limits))
    except ValueError as why:
        return _Value(None, None, str(why))
    limit = min(limits)
    value = abs(change.change_mpa) if change.changed else 0.0
    found = f"{change.change_mpa:+.0f} MPa" if change.changed else "no measurable change"
    said = (
        f"{found}, at most {change.largest_mpa:.0f} MPa either way; "
        f"{change.detectable_mpa:.0f} MPa would have been found"
    )
    every = [one for readings in profiles.values() for one in readings]
    return _Value(
        value / limit, change.largest_mpa / limit, said, tuple(profiles), _files(every),
        allowed=f"the engineer allows {limit:g} MPa",
    )  # fmt: skip


def compared(
    before: list[SectionReading],
    after: list[SectionReading],
    control: list[list[SectionReading]],
    limit_mpa: float | None,
) -> StressChange:
    """Stress after treatment against that before, at the same depths; and of the control."""
    rows = [sorted(profile, key=lambda one: one.depth_um) for profile in (before, after, *control)]
    depths = [[one.depth_um for one in profile] for profile in rows]
    if depths[0] != depths[1] or depths[2] != depths[3]:
        raise ValueError("the profiles before and after were measured at different depths")
    then, now, first, second = rows
    return compare_stress(
        depths[0], [one.value for one in then], [one.value for one in now],
        before_error_mpa=[one.standard_error or 0.0 for one in then],
        after_error_mpa=[one.standard_error or 0.0 for one in now],
        control_change_mpa=[b.value - a.value for a, b in zip(first, second, strict=True)],
        limit_mpa=limit_mpa,
    )  # fmt: skip


def _files(records: Iterable[SiteTest | SectionReading]) -> tuple[str, ...]:
    """Attachments from which records were worked out."""
    return tuple(dict.fromkeys(one.file for one in records if one.file is not None))
