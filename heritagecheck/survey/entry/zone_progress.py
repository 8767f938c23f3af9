"""What each zone still needs: which tasks at the wall are open, and what is missing in each."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from operator import attrgetter
from pathlib import PurePosixPath
from typing import Literal, cast

from heritagecheck.sentences import count_of
from heritagecheck.survey.checks.series_setting import missing_settings, recorded_quantities
from heritagecheck.survey.records import (
    Attachment,
    HeightMap,
    Layer,
    Observation,
    Panel,
    Photo,
    Reading,
    Setting,
    SiteTest,
    Spot,
    Zone,
    grouped,
)
from heritagecheck.survey.records.readings import FEWEST_COMPARED, sets_from_few_places
from heritagecheck.survey.records.record import AnyRecord, Record
from heritagecheck.survey.records.structure import WHOLLY_VALUED
from heritagecheck.survey.records.zone_facts import lead_on, may_be_coated, open_questions
from heritagecheck.survey.survey import Survey
from heritagecheck.tables.row_types import Soiling, Substrate

State = Literal["not started", "part recorded", "recorded"]
ByKind = Mapping[type[Record], tuple[Record, ...]]


@dataclass(frozen=True, slots=True)
class ZoneProgress:
    """
    How far the survey of one zone is.

    `open` holds what is missing, in words, by task in the order of work. `lead_to_test` is true
    where there is or may be a coating, and nothing shows whether it contains lead.
    """

    zone: str
    name: str
    state: State
    open: Mapping[str, tuple[str, ...]]
    lead_to_test: bool


def zone_progress(survey: Survey) -> tuple[ZoneProgress, ...]:
    """
    How far each zone is, in the order of the zones.

    *Recorded* means that everything the survey requires is recorded, or a reason why not; gate 8
    comes later. *Not started* is a zone without any record but its own row.
    """
    survey = survey.still()
    by_zone = survey.by_zone
    return tuple(_progress(zone, by_zone[zone.zone]) for zone in survey.all(Zone))


def progress_sentence(progress: Iterable[ZoneProgress]) -> str:
    """
    All zones in a sentence, such as *31 of 48 zones fully recorded; 6 in part; 4 need a lead test*.
    """
    progress = tuple(progress)
    if not progress:
        return "no zone recorded yet"
    states = Counter(one.state for one in progress)
    parts = [f"{states['recorded']} of {count_of(len(progress), 'zone')} fully recorded"]
    if half := states["part recorded"]:
        parts.append(f"{half:,} in part")
    if lead := sum(one.lead_to_test for one in progress):
        parts.append(f"{lead:,} {'needs' if lead == 1 else 'need'} a lead test")
    return "; ".join(parts)


def _progress(zone: Zone, records: ByKind) -> ZoneProgress:
    """How far one zone has come."""
    found = {task: tuple(missing(zone, records)) for task, missing in TASKS.items()}
    open_ = {task: missing for task, missing in found.items() if missing}
    state: State = "recorded" if not open_ else "part recorded" if records else "not started"
    return ZoneProgress(zone.zone, zone.name, state, open_, _lead_open(zone, records))


def _what_it_is(zone: Zone, records: ByKind) -> Iterator[str]:
    """What the zone's own row leaves open."""
    if zone.condition == "not_assessed":
        yield "condition of the substrate"


def _soiling(zone: Zone, records: ByKind) -> Iterator[str]:
    """Soilings without a layer, and layers whose value or material nobody gave."""
    layers = {one.soiling: one for one in _of(records, Layer)}
    for code in zone.soiling_codes:
        name = Soiling.named(code).name
        layer = layers.get(code)
        if layer is None or (layer.value == "not_assessed" and layer.value_reason is None):
            yield f"whether the {name} is itself of value"
        elif layer.value in WHOLLY_VALUED and layer.made_of is None:
            yield f"what the {name} is made of"


def _findings(zone: Zone, records: ByKind) -> Iterator[str]:
    """Questions without an answer or a reason for none."""
    for question in open_questions(zone, _of(records, Observation), _of(records, SiteTest)):
        yield question.question


def _colour(zone: Zone, records: ByKind) -> Iterator[str]:
    """Colour of stone, soiled and clean, and sets of which readings are missing."""
    readings = _of(records, Reading)
    if not zone.metal:
        targets = {one.target for one in readings}
        if "soiled" not in targets:
            yield "readings of the soiled surface"
        if "reference" not in targets:
            yield "readings of clean stone"
    yield from _short_sets((one.set_name, one.set_size) for one in readings)
    for (_, name), _, places in sets_from_few_places(readings):
        yield f"set {name}: {places} of at least {FEWEST_COMPARED} places read"


def _tests(zone: Zone, records: ByKind) -> Iterator[str]:
    """A lead test that is due, and sets of which tests are missing."""
    tests = _of(records, SiteTest)
    reasons = {one.topic for one in _of(records, Observation) if one.finding is None}
    said_why = "lead" in reasons or any(one.of_lead and one.value is None for one in tests)
    if _lead_open(zone, records) and not said_why:
        yield "a lead test"
        if zone.coatings is None:
            yield "how many coatings there are"
    yield from _short_sets((one.set_name, one.set_size) for one in tests)


def _panels(zone: Zone, records: ByKind) -> Iterator[str]:
    """Panels, spots and settings that are not accounted for; a panel not read says why itself."""
    panels, spots = _of(records, Panel), _of(records, Spot)
    if zone.panels_laid is None:
        yield "how many panels were laid"
    elif zone.panels_laid > len(panels):
        yield f"{len(panels)} of {count_of(zone.panels_laid, 'panel')} recorded"
    for panel in panels:
        recorded = sum(spot.panel == panel.panel for spot in spots)
        if panel.spots_laid is not None and panel.spots_laid > recorded:
            laid = count_of(panel.spots_laid, "spot")
            yield f"panel {panel.panel}: {recorded} of {laid} recorded"
    yield from _settings(zone, records)
    confirmed = {one.attachment for one in _of(records, HeightMap)}
    for file in _of(records, Attachment):
        if file.kind == "height_map" and file.attachment not in confirmed:
            yield f"height map {PurePosixPath(file.file).name} not confirmed yet"


def _settings(zone: Zone, records: ByKind) -> Iterator[str]:
    """What was dialled for a series and is not recorded."""
    kind = Substrate.named(zone.substrate).kind
    for name, panels in grouped(_of(records, Panel), attrgetter("series")).items():
        codes = {panel.panel for panel in panels}
        spots = [spot for spot in _of(records, Spot) if spot.panel in codes]
        settings = [one for one in _of(records, Setting) if one.series == name]
        for lacking in missing_settings(
            panels[0].method, kind, recorded_quantities(panels, spots, settings)
        ):
            yield f"setting of {name}: {lacking.with_unit}"


def _photographs(zone: Zone, records: ByKind) -> Iterator[str]:
    """Photographs that were tied to the wall and not measured yet."""
    for photo in _of(records, Photo):
        if photo.chart_error is None:
            yield f"photograph {photo.photo} not measured yet"


TASKS: dict[str, Callable[[Zone, ByKind], Iterator[str]]] = {
    "What it is": _what_it_is,
    "Soiling": _soiling,
    "Findings": _findings,
    "Colour": _colour,
    "Tests": _tests,
    "Trial panels": _panels,
    "Photographs": _photographs,
}


def _lead_open(zone: Zone, records: ByKind) -> bool:
    """Whether there is or may be a coating, and nothing shows whether it contains lead."""
    said = {one.topic: one.finding for one in _of(records, Observation)}
    state = said.get("coating_state")
    if not may_be_coated(zone, state):
        return False
    return lead_on(zone, said.get("lead"), state, _of(records, SiteTest)) == "unknown"


def _short_sets(rows: Iterable[tuple[str, int]]) -> Iterator[str]:
    """Sets with fewer records than their size."""
    found = Counter(rows)
    for (name, size), recorded in found.items():
        if recorded < size:
            yield f"set {name}: {recorded} of {size} recorded"


def _of(records: ByKind, kind: type[AnyRecord]) -> tuple[AnyRecord, ...]:
    """Records of one kind on a zone."""
    return cast("tuple[AnyRecord, ...]", records.get(kind, ()))
