"""Damage below ×50 that instruments find on a panel, each value compared with its limit."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TypeVar

from heritagecheck.evidence.section.depth_profiles import (
    StressChange,
    altered_depth,
    compare_stress,
)
from heritagecheck.sentences import digits_for
from heritagecheck.survey.records import Panel, SectionReading, SiteTest, Spot, Zone, grouped
from heritagecheck.survey.records.readings import STRESSES, complete_values
from heritagecheck.tables.row_types import BelowX50

ONE_SIDED = 1.645  # standard errors of an upper 95 % bound
_FEWEST = 3  # readings of a control
Measured = TypeVar("Measured", SiteTest, SectionReading)
NO_NAMES: Mapping[str, str] = MappingProxyType({})
TESTS = {"depth_removed": "depth_removed_um", "roughness_change": "roughness_change_pct"}
NOT_COMPLETE = "the set of its values is not complete"
NOT_ITSELF = "neither the panel itself nor a spot known to have its setting was measured"


@dataclass(frozen=True, slots=True)
class FoundBelow:
    """
    One measurement on a panel or on one spot of it: its value, the upper 95 % end, and its limit.

    `spot` and its `dose` are empty where it is the panel's own. `mineral` on which it was measured,
    empty for the whole surface. `value` and `upper` are None where they are not known; `why_not`
    then says why. `limit` is None where the change is meant, as on steel that is to be coated;
    `allowed` says it in words. `records` and names of `files` are those from which it can be
    followed.
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
    spot: str = ""
    dose: str = ""

    @property
    def where(self) -> str:
        """The panel, or the spot with its dose."""
        return f"spot {self.spot} at {self.dose}" if self.spot else f"panel {self.panel}"

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
        return f"{self.name[0].lower()}{self.name[1:]}, {self.where}{join}{self.result}"

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


@dataclass(frozen=True, slots=True)
class _Place:
    """A panel, or one spot on it by its code; `spot` is None where its record is not there."""

    panel: Panel
    code: str | None = None
    spot: Spot | None = None

    @property
    def share(self) -> float | None:
        """Its dose as a share of the panel's setting; None where they can't be compared."""
        if self.code is None:
            return 1.0
        return None if self.spot is None else self.spot.share_of(self.panel)

    @property
    def harsher(self) -> bool:
        """Whether it says nothing of the panel's setting; what can't be compared may."""
        return self.share is not None and self.share > 1

    @property
    def dose(self) -> str:
        """Dose of the spot with its unit, in words."""
        if self.spot is None or self.spot.dose is None:
            return "a dose that is not recorded"
        return f"{self.spot.dose:g} {self.spot.scale}".strip()


def found_below(
    zone: Zone,
    panels: Iterable[Panel],
    tests: Sequence[SiteTest],
    spots: Sequence[Spot],
    sections: Sequence[SectionReading],
    *,
    names: Mapping[str, str] = NO_NAMES,
    harsher: bool = False,
) -> tuple[FoundBelow, ...]:
    """
    What was measured below ×50 on the panels of a zone, and what a panel names and lacks.

    Spots count unless their dose was harsher than the panel's setting; `harsher` gives only what
    those show, which is never judged. One at a gentler dose, or at one that can't be compared, may
    show harm, but never replaces the panel itself. `names` gives the file of each attachment;
    one that is not among them is given by its code.
    """
    found = _Found(zone, tests, {spot.spot: spot for spot in spots}, sections, names)
    return tuple(one for panel in panels for one in found.on(panel, harsher=harsher))


@dataclass(frozen=True, slots=True)
class _Found:
    """Records of a zone, from which the results of each of its panels follow."""

    zone: Zone
    tests: Sequence[SiteTest]
    spots: Mapping[str, Spot]
    sections: Sequence[SectionReading]
    names: Mapping[str, str]

    def on(self, panel: Panel, *, harsher: bool) -> Iterator[FoundBelow]:
        """Results of a panel and its spots, or only of its spots at a harsher dose."""
        for measure in dict.fromkeys((*panel.measures, *self._measured(panel))):
            row = limits_of(self.zone, panel, measure)
            if row is None:
                continue
            found = list(self._values(measure, panel, harsher=harsher))
            if not harsher and measure in panel.measures and not any(
                place.share == 1 for place, _ in found
            ):  # fmt: skip
                found.insert(0, (_Place(panel), _Value(None, None, self._why_not(measure, found))))
            for place, one in found:
                files = tuple(self.names.get(code, code) for code in one.files)
                yield _held(row, self.zone, place, replace(one, files=files))

    def _measured(self, panel: Panel) -> Iterator[str]:
        """Measures that have a record, whether the panel names them or not."""
        quantities = {one.quantity for one in self.tests if one.panel == panel.panel}
        yield from (measure for measure, quantity in TESTS.items() if quantity in quantities)
        for one in self.sections:
            if one.panel == panel.panel and one.moment == "after":
                yield "stress_change" if one.quantity in STRESSES else "altered_layer"

    def _why_not(self, measure: str, found: Sequence[object]) -> str:
        """Why there is no result for a measure that the panel names."""
        if found:
            return NOT_ITSELF
        if measure in TESTS:
            return NOT_COMPLETE
        return "no profile after treatment is recorded"

    def _values(
        self, measure: str, panel: Panel, *, harsher: bool
    ) -> Iterator[tuple[_Place, _Value]]:
        """Results of one measure on a panel and its spots, place by place."""
        if measure not in TESTS:
            yield from self._cut(measure == "stress_change", panel, harsher=harsher)
            return
        quantity = TESTS[measure]
        tests = [one for one in self.tests if (one.quantity, one.panel) == (quantity, panel.panel)]
        if tests and not harsher and len(tests) != tests[0].set_size:
            yield _Place(panel), _Value(None, None, NOT_COMPLETE)
            return
        for place, of_place in self._by_place(panel, tests, harsher=harsher):
            weakest, rough = self.zone.weakest_component, measure == "roughness_change"
            yield from ((place, one) for one in _tested(of_place, weakest, rough=rough))

    def _cut(self, stress: bool, panel: Panel, *, harsher: bool) -> Iterator[tuple[_Place, _Value]]:
        """Results of sections of a panel and its spots, each compared with its control."""
        readings = [
            one for one in self.sections if (one.quantity in STRESSES) == stress
            and (one.panel == panel.panel or (one.moment == "control" and one.panel is None))
        ]  # fmt: skip
        after = [one for one in readings if one.moment == "after"]
        for place, of_place in self._by_place(panel, after, harsher=harsher):
            for kind in dict.fromkeys((one.quantity, one.element) for one in of_place):
                profiles = grouped(
                    (one for one in _compared_at(place.code, readings)
                     if (one.quantity, one.element) == kind),
                    lambda one: one.profile,
                )  # fmt: skip
                if gap := _gap(profiles):
                    yield place, _Value(None, None, gap)
                elif stress:
                    limits = complete_values(self.tests, "stress_limit_mpa")
                    yield place, _stress(profiles, limits)
                else:
                    yield place, _altered(profiles, kind[1] or kind[0].replace("_", " "))

    def _by_place(
        self, panel: Panel, records: Sequence[Measured], *, harsher: bool
    ) -> Iterator[tuple[_Place, list[Measured]]]:
        """Records of the panel itself, then of each of its spots; harsher ones or the others."""
        codes = sorted({one.spot for one in records}, key=lambda code: code or "")
        for code in codes:
            place = _Place(panel, code, self.spots.get(code or ""))
            if place.harsher == harsher:
                yield place, [one for one in records if one.spot == code]


def _compared_at(spot: str | None, readings: Iterable[SectionReading]) -> list[SectionReading]:
    """Readings of one place; a moment not measured there is taken from next to it."""
    readings = list(readings)
    own = [one for one in readings if one.spot == spot]
    told = {one.moment for one in own} | {"after"}
    return own + [one for one in readings if one.spot is None and one.moment not in told]


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
    """Limit for the significance of the zone; None if the change is intended."""
    limit: float | None = getattr(row, zone.significance)
    return limit


def _held(row: BelowX50, zone: Zone, place: _Place, one: _Value) -> FoundBelow:
    """A value with its limit."""
    known, limit = one.value is not None, limit_for(row, zone)
    allowed = f"{limit:g} {row.unit} allowed" if limit is not None else (
        "meant for the coating; the profile decides"
    )  # fmt: skip
    return FoundBelow(
        row=row, panel=place.panel.panel, mineral=one.mineral, value=one.value, upper=one.upper,
        limit=limit, said=one.said if known else "", allowed=one.allowed or allowed,
        why_not="" if known else one.said, records=one.records, files=one.files,
        spot=place.code or "", dose=place.dose if place.code else "",
    )  # fmt: skip


def _tested(found: Sequence[SiteTest], weakest: str | None, *, rough: bool) -> Iterator[_Value]:
    """Results of the tests of one quantity on one place: whole surface, then each mineral."""
    groups = grouped(found, lambda one: str(one.mineral or ""))
    if weakest is not None and set(groups) - {"", weakest}:
        # If minerals are measured separately, the most sensitive one must be among them.
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


def _gap(profiles: Profiles) -> str:
    """Why profiles cannot be compared; empty if they can."""
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
