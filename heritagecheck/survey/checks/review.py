"""What to look at again in a survey that reads well: what is missing in it, or looks odd."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from datetime import date, timedelta
from operator import attrgetter
from pathlib import Path

import numpy as np

from heritagecheck.cards import table
from heritagecheck.sentence_table import Table
from heritagecheck.sentences import a_few, count_of, day_in_words
from heritagecheck.survey.checks.gaps import (
    Finding,
    gaps_before_assessment,
    gaps_in_trials,
    unsteady_sessions,
)
from heritagecheck.survey.drawings.drawing import (
    STRETCH,
    faults_of,
    open_drawing,
    size_fault,
    view_box,
    zone_paths,
)
from heritagecheck.survey.drawings.outline import ROUNDING_M
from heritagecheck.survey.drawings.plain_svg import PlainDrawing
from heritagecheck.survey.records import (
    KEYS,
    TABLES,
    Attachment,
    Elevation,
    Layer,
    Observation,
    Panel,
    Photo,
    Reading,
    Records,
    SiteTest,
    Structure,
    TileReading,
    View,
    Zone,
    all_of,
    days_of,
    grouped,
    latest_day,
)
from heritagecheck.survey.records.fields import title_of
from heritagecheck.survey.records.readings import (
    FEWEST_COMPARED,
    colour_sets,
    sets_from_few_places,
)
from heritagecheck.survey.records.record import zone_of
from heritagecheck.survey.records.structure import WHOLLY_VALUED, names_to_ask_about
from heritagecheck.survey.records.zone_facts import open_questions
from heritagecheck.survey.store.attachments import sha256_of
from heritagecheck.tables import threshold
from heritagecheck.tables.ages import ageing_required, oldest_allowed
from heritagecheck.tables.row_types import Substrate

FileOf = Callable[[str], Path | None]
NOT_READY = "not ready to assess"
SAID_OF_THE_STRUCTURE = ("asked", "surveyed_by", "significance")


def records_to_review(records: Records, file: FileOf) -> Table:
    """Everything to look at again in a survey that reads well."""
    found = [
        *_still_missing(records),
        *_structure_half_described(records),
        *_still_open(records),
        *_weights_not_given(records),
        *_colour_not_read(records),
        *_places_too_few(records),
        *_setups_that_differ(records),
        *_photographs_not_measured(records),
        *_covers_that_differ(records),
        *_colour_sets_not_counted(records),
        *_tiles_that_drift(records),
        *_soilings_without_layer(records),
        *_valued_without_material(records),
        *_topics_not_answered(records),
        *_beds_perhaps_misspelt(records),
        *_panels_not_counted(records),
        *_panels_read_young(records),
        *gaps_in_trials(records),
        *_dated_after_the_survey(records),
        *_too_old(records),
        *_drawings_that_differ(records, file),
        *_files_amiss(records, file),
    ]
    rows = ((one.zone, one.table, one.what, one.what_to_do, one.kind, one.detail) for one in found)
    return table(list(rows), ("zone", "table", "what", "what_to_do", "kind", "detail"))


def _still_missing(records: Records) -> Iterator[Finding]:
    """What a survey lacks before it can be assessed."""
    for fault in gaps_before_assessment(records):
        said = f"{fault.field} {fault.value} {fault.allowed}".strip()
        yield Finding(
            "", fault.table, NOT_READY, said,
            "Write it down; until then no zone can be assessed",
        )  # fmt: skip


def _structure_half_described(records: Records) -> Iterator[Finding]:
    """What the start of the report needs about the structure, and is missing."""
    for structure in all_of(records, Structure):
        missing = [name for name in SAID_OF_THE_STRUCTURE if getattr(structure, name) is None]
        if missing:
            titles = "; ".join(title_of(Structure, name) for name in missing)
            yield Finding(
                "", "structure", "not recorded of the structure", titles,
                "Write it down before the report goes to anybody; its first page says so",
            )  # fmt: skip


def _still_open(records: Records) -> Iterator[Finding]:
    """Whether the survey is still open, so that nothing in it is final."""
    for structure in all_of(records, Structure):
        if structure.survey_date is None:
            last = latest_day(records)
            said = "none is dated" if last is None else f"the latest is of {day_in_words(last)}"
            yield Finding(
                "", "structure", "the survey is not closed yet", f"of its records {said}",
                "Write under survey_date the day on which it closed. Until then no zone is "
                "recommended for cleaning, none is left for good, and no cure that is only "
                "scheduled counts",
            )  # fmt: skip


def _weights_not_given(records: Records) -> Iterator[Finding]:
    """Whether a survey with zones has no weights from members."""
    if all_of(records, Zone) and not all_of(records, View):
        yield Finding(
            "", "views", "no weights", "no member gave any, so all six criteria count equally",
            "Let each member weigh the criteria, before any result is shown",
        )  # fmt: skip


def _colour_not_read(records: Records) -> Iterator[Finding]:
    """Zones of masonry without readings of soiled surface or clean reference, or a reason."""
    read = {(reading.zone, reading.target) for reading in all_of(records, Reading)}
    for zone in all_of(records, Zone):
        for target, words in (("soiled", "soiled surface"), ("reference", "clean reference")):
            if not zone.metal and (zone.zone, target) not in read:
                yield Finding(
                    zone.zone, "readings", "no colour reading", words,
                    f"Take ten or more dry readings of the {words}, or write one row that says "
                    "why there are none",
                )  # fmt: skip


def _places_too_few(records: Records) -> Iterator[Finding]:
    """Sets of dry readings that name their places, and come from too few to be compared."""
    for (zone, name), dry, places in sets_from_few_places(all_of(records, Reading)):
        yield Finding(
            zone, "readings", "too few places",
            f"set {name}, {dry} dry readings from {count_of(places, 'place')}",
            f"Readings of one place are alike: read at {FEWEST_COMPARED} places or more. Until "
            "then the set is not compared",
        )  # fmt: skip


def _photographs_not_measured(records: Records) -> Iterator[Finding]:
    """Photographs that are tied to the wall and not measured yet."""
    for photo in all_of(records, Photo):
        if photo.chart_error is None:
            yield Finding(
                photo.zone, "photos", "photograph not measured", photo.photo,
                "Measure it on the screen Photographs of its zone, look at the picture, then keep "
                "the result",
            )  # fmt: skip


def _covers_that_differ(records: Records) -> Iterator[Finding]:
    """Zones whose soiling covers far more, or far less, by eye than in their photograph."""
    by_eye = {
        zone: [one.cover_pct for one in layers if one.cover_pct is not None]
        for zone, layers in grouped(all_of(records, Layer), attrgetter("zone")).items()
    }
    apart = threshold("cover_apart_pct")
    for one in all_of(records, SiteTest):
        covers = by_eye.get(one.zone)
        if one.quantity != "soiling_cover_pct" or one.value is None or one.panel or not covers:
            continue
        # Layers may lie on one another, or side by side.
        least, most = max(covers), min(sum(covers), 100.0)
        if not least - apart <= one.value <= most + apart:
            seen = f"{least:g}" if least == most else f"{least:g} to {most:g}"
            yield Finding(
                one.zone, "layers", "cover by eye and by photograph differ",
                f"{seen} % by eye, {one.value:g} % by {one.method}",
                "Look at the wall again, and correct the cover of the layers. If the photograph "
                "shows only a part that is not like the rest, take one that is, or split the zone",
            )  # fmt: skip


def _colour_sets_not_counted(records: Records) -> Iterator[Finding]:
    """Zones with a photograph whose sets of readings are not counted, or are incomplete."""
    sets = colour_sets(all_of(records, Reading))
    pictured = {one.zone for one in all_of(records, Reading) if one.geometry == "photograph"}
    for zone in all_of(records, Zone):
        found = len(sets.get(zone.zone, ()))
        if zone.zone in pictured and zone.colour_sets is None:
            yield Finding(
                zone.zone, "zones", "sets of colour readings not counted", "",
                f"Write under colour_sets how many were taken; {found} recorded. Until then no "
                "photograph can replace the meter",
            )  # fmt: skip
        elif zone.colour_sets is not None and found < zone.colour_sets:
            yield Finding(
                zone.zone, "readings",
                "sets missing", f"{zone.colour_sets} taken, {found} recorded",
                "Find the readings; until then no photograph can replace the meter",
            )  # fmt: skip


def _setups_that_differ(records: Records) -> Iterator[Finding]:
    """Zones on which the set-up of the meter changed between sets."""
    setups: dict[str, dict[tuple[object, ...], list[str]]] = {}
    for one in all_of(records, Reading):
        if one.L_star is not None and one.geometry != "photograph":
            setup = one.geometry, one.aperture_mm, one.illuminant, one.instrument
            names = setups.setdefault(one.zone, {}).setdefault(setup, [])
            if one.set_name not in names:
                names.append(one.set_name)
    for zone, found in setups.items():
        if len(found) > 1:
            said = "; ".join(
                f"{', '.join(names)} with {instrument}, {geometry}, {aperture:g} mm, {illuminant}"
                for (geometry, aperture, illuminant, instrument), names in found.items()
            )
            yield Finding(
                zone, "readings", "set-up changed", said,
                "Read the sets again with one set-up; sets of different set-ups are not compared",
            )  # fmt: skip


def _tiles_that_drift(records: Records) -> Iterator[Finding]:
    """Zones read in a session whose white tile drifted, or was not read to the end."""
    bad = unsteady_sessions(all_of(records, TileReading))
    reported: set[tuple[str, str]] = set()
    for one in all_of(records, Reading):
        if one.session in bad and (one.zone, one.set_name) not in reported:
            reported.add((one.zone, one.set_name))
            yield Finding(
                one.zone, "readings", "white tile", f"set {one.set_name}, {bad[one.session]}",
                "Read the set again in a steady session; until then it is not used",
            )  # fmt: skip


def _soilings_without_layer(records: Records) -> Iterator[Finding]:
    """Zones with a soiling without a layer that says whether it is of value."""
    described = {(layer.zone, layer.soiling) for layer in all_of(records, Layer)}
    for zone in all_of(records, Zone):
        for code in zone.soiling_codes:
            if (zone.zone, code) not in described:
                yield Finding(
                    zone.zone, "layers", "no layer", code,
                    "Write a row that says whether it is itself significant, protective or rare",
                )  # fmt: skip


def _valued_without_material(records: Records) -> Iterator[Finding]:
    """Layers of value without a material, so that no method is cleared."""
    for layer in all_of(records, Layer):
        if layer.value in WHOLLY_VALUED and layer.made_of is None:
            yield Finding(
                layer.zone, "layers", "material not recorded", layer.layer,
                "Write the material of this layer of value under made_of; other if none fits",
            )  # fmt: skip


def _topics_not_answered(records: Records) -> Iterator[Finding]:
    """Questions of a zone that have neither an answer nor a reason for none; gate 8 waits."""
    said = grouped(all_of(records, Observation), attrgetter("zone"))
    tests = grouped(all_of(records, SiteTest), attrgetter("zone"))
    for zone in all_of(records, Zone):
        for question in open_questions(zone, said.get(zone.zone, ()), tests.get(zone.zone, ())):
            detail = f"{question.topic}. {question.question}"
            yield Finding(zone.zone, "observations", "not answered", detail, question.how)


def _beds_perhaps_misspelt(records: Records) -> Iterator[Finding]:
    """Listed beds or coating systems whose names differ by a letter or the order of words."""
    for structure in all_of(records, Structure):
        for one, other in names_to_ask_about(structure.listed_beds):
            yield Finding(
                "", "structure", "perhaps one bed, spelt in two ways", f"{one}; {other}",
                "If they are one bed, give its zones one name and take the other off the list. "
                "Until then harm on one counts for both; good panels count only for their own",
            )  # fmt: skip


def _panels_not_counted(records: Records) -> Iterator[Finding]:
    """Zones of which nobody knows whether all trial panels are recorded."""
    counts = Counter(panel.zone for panel in all_of(records, Panel))
    for zone in all_of(records, Zone):
        recorded = counts[zone.zone]
        if zone.panels_laid is None:
            yield Finding(
                zone.zone, "zones", "panels not accounted for", "nobody wrote how many were laid",
                "Write their number under panels_laid; 0 where none was laid",
            )  # fmt: skip
        elif zone.panels_laid > recorded:
            yield Finding(
                zone.zone, "panels",
                "panels not accounted for", f"{zone.panels_laid} laid, {recorded} recorded",
                "Write a row for each of the others, also where it failed or was not read",
            )  # fmt: skip


def _panels_read_young(records: Records) -> Iterator[Finding]:
    """Trial panels last read before they were as old as their method requires."""
    zones = {zone.zone: zone for zone in all_of(records, Zone)}
    for panel in all_of(records, Panel):
        zone = zones[panel.zone]
        kind = Substrate.named(zone.substrate).kind
        required, least = (
            ageing_required(kind, panel.method, zone.significance, urgent=urgent)[0]
            for urgent in (False, True)
        )
        if panel.read_on is not None and (age := (panel.read_on - panel.done_on).days) < required:
            due = panel.done_on + timedelta(days=required)
            # Whether a zone is urgent, only its assessment knows.
            sooner = f" ({least} on an urgent zone)" if least <= age else ""
            yield Finding(
                zone.zone, "panels",
                "panel read too early",
                f"{panel.panel} after {age} days, {required} required{sooner}",
                f"Read it again on {day_in_words(due)} or later",
            )  # fmt: skip


def _dated_after_the_survey(records: Records) -> Iterator[Finding]:
    """Records dated after the day on which the survey closed."""
    closed = next((one.survey_date for one in all_of(records, Structure)), None)
    if closed is None:
        return
    for name in TABLES:
        late: dict[str, list[str]] = {}
        for record in records[name]:
            given = (getattr(record, day) for day in days_of(name))
            if any(day is not None and day > closed for day in given):
                key = str(getattr(record, KEYS[name][0]))
                # A white tile belongs to no zone.
                late.setdefault(zone_of(record) or "", []).append(key)
        for zone, keys in late.items():
            yield _late(zone, name, keys, closed)


def _too_old(records: Records) -> Iterator[Finding]:
    """Records so old when the survey closed, or at its latest record, that no gate passes."""
    closed = next((one.survey_date for one in all_of(records, Structure)), None)
    day_counted_to = closed or latest_day(records)
    if day_counted_to is None:
        return
    for name, day in (
        ("zones", "surveyed_on"), ("observations", "seen_on"), ("readings", "read_on"),
        ("site_tests", "tested_on"), ("panels", "read_on"),
    ):  # fmt: skip
        oldest = oldest_allowed(name, day_counted_to)
        old: dict[str, list[str]] = {}
        for record in records[name]:
            made = getattr(record, day)
            if made is not None and made < oldest:
                key = str(getattr(record, KEYS[name][0]))
                old.setdefault(str(zone_of(record)), []).append(key)
        for zone, keys in old.items():
            yield Finding(
                zone, name, "too old",
                f"{len(keys)} of {name} ({a_few(keys)}), made before {day_in_words(oldest)}",
                "Look, read or test again. Until then no gate can pass on these records, but any "
                "stop they give still holds, and a known coating stays known",
            )  # fmt: skip


def _late(zone: str, name: str, keys: Sequence[str], closed: date) -> Finding:
    """One finding for all late records of a zone in one table."""
    return Finding(
        zone, name, "dated after the survey closed", f"{len(keys)} of {name} ({a_few(keys)})",
        f"Correct the date, or the structure's survey_date, which says {day_in_words(closed)}",
    )  # fmt: skip


def _drawings_that_differ(records: Records, file: FileOf) -> Iterator[Finding]:
    """Drawings that can't be shown, lack a zone, or outline one without a record."""
    known = {zone.zone for zone in all_of(records, Zone)}
    for item in all_of(records, Elevation):
        if item.drawing is None:
            yield Finding(
                "", "elevations", "elevation without a drawing", item.elevation,
                "Give it a photograph, a scanned drawing or an SVG; until then its zones are "
                "listed, and no photograph can be measured there",
            )  # fmt: skip
            continue
        path = file(item.drawing)
        if path is None:
            yield Finding(
                "", "elevations", "no drawing", item.drawing,
                "Put it there as SVG, JPEG or PNG, or correct its name",
            )  # fmt: skip
            continue
        drawing = open_drawing(path)
        yield from _picture_amiss(drawing, item)
        if len(drawing.root):
            yield from _outlines_that_differ(drawing, item, records, known)


def _picture_amiss(drawing: PlainDrawing, item: Elevation) -> Iterator[Finding]:
    """What prevents a drawing from being shown, measured on, or shown in full."""
    faults = faults_of(drawing, item)
    for said in faults:
        yield Finding(
            "", "elevations", "drawing not shown", f"{item.drawing}, {said}",
            "Correct it in the drawing; until then reports lack this picture",
        )  # fmt: skip
    if not faults and (said := size_fault(item, view_box(drawing.root, item))):
        yield Finding(
            "", "elevations", "size of the drawing", f"{item.drawing}, {said}",
            "Measure the width of the whole drawing again; until then no photograph can be "
            "measured there",
        )  # fmt: skip
    if drawing.left_out:
        some = a_few(drawing.left_out, most=8)
        yield Finding(
            "", "elevations", "left out of the drawing", f"{item.drawing}, {some}",
            "Check whether the picture lacks anything; if so, draw it with lines and fills",
        )  # fmt: skip


def _outlines_that_differ(
    drawing: PlainDrawing, item: Elevation, records: Records, known: set[str]
) -> Iterator[Finding]:
    """Zones of an elevation without an outline, with two, with one beyond it, or not recorded."""
    outlined = {path.get("data-zone", "") for path in zone_paths(drawing.root)}
    lying = {zone.zone: zone for zone in all_of(records, Zone) if zone.elevation == item.elevation}
    recorded = {code for code, zone in lying.items() if zone.outline is not None}
    for code in sorted(lying.keys() - outlined - recorded):
        yield Finding(
            code, "elevations", "no outline", str(item.drawing),
            f'Draw its outline on the elevation, or name it data-zone="{code}" in the drawing; '
            "until then the zone is listed",
        )  # fmt: skip
    for code in sorted(outlined & recorded):
        yield Finding(
            code, "zones", "two outlines", f"one in the record, one in {item.drawing}",
            "The outline of the record is shown. Remove the one that is wrong",
        )  # fmt: skip
    for code in sorted(recorded):
        if _beyond(lying[code], item):
            yield Finding(
                code, "zones", "outline beyond the drawing", str(item.drawing),
                f"Draw it again within {item.width_m:g} m by {item.height_m:g} m, or correct "
                "the size of the elevation",
            )  # fmt: skip
    for code in sorted(outlined - known):
        yield Finding(
            code, "zones", "outline of an unknown zone", str(item.drawing),
            "Write the zone into the table, or correct the code in the drawing",
        )  # fmt: skip


def _beyond(zone: Zone, item: Elevation) -> bool:
    """Whether the outline of a record reaches beyond the edges of its drawing."""
    corners = np.concatenate(zone.rings)
    far = corners.max(axis=0) - (item.width_m or 0, (1 + STRETCH) * (item.height_m or 0))
    return bool(corners.min() < -ROUNDING_M or far.max() > ROUNDING_M)


def _files_amiss(records: Records, file: FileOf) -> Iterator[Finding]:
    """Attachments whose content is missing, or not what it was."""
    for one in all_of(records, Attachment):
        path = file(one.file)
        if path is None or sha256_of(path) != one.sha256:
            kind = "no file" if path is None else "file altered"
            yield Finding(
                one.zone or "", "attachments", kind, f"{one.file} ({one.attachment})",
                f"Import its folder or archive again, or attach the file whose SHA-256 begins with "
                f"{one.sha256[:12]} again",
            )  # fmt: skip
