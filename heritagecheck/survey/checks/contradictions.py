"""Records held against one another: what contradicts is refused when it is saved."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from itertools import compress
from operator import attrgetter
from typing import Any

from heritagecheck.errors import Codes, Fault, Fields, Message
from heritagecheck.sentences import a_few, count_of
from heritagecheck.survey.records import (
    KEYS,
    LINKS,
    ONE_ROW,
    TABLE_OF,
    TABLES,
    Decision,
    Layer,
    Meeting,
    Opinion,
    Panel,
    Photo,
    Reading,
    Records,
    SectionReading,
    Setting,
    Signature,
    SiteTest,
    Spot,
    Structure,
    TileReading,
    Zone,
    all_of,
)
from heritagecheck.survey.records.fields import part_of_message
from heritagecheck.survey.records.quantities import has, name_of
from heritagecheck.survey.records.readings import STRESSES, colour_sets
from heritagecheck.survey.records.record import AnyRecord, Record, Wrong, parts_of_list
from heritagecheck.survey.records.structure import list_of, plain_bed, same_bed, stone_of
from heritagecheck.survey.records.team import AFTER, TREAT

Numbers = Mapping[str, list[int]]
SOME = 12  # known codes that a message lists
# Further fields, next to the key, that are unique in a table.
ALSO_UNIQUE = {
    "observations": (("zone", "topic"),), "layers": (("zone", "soiling"),),
    "attachments": (("file",),),
}  # fmt: skip
# What all records of a set or series share: its name, its size, and more fields.
SETS: tuple[tuple[type[Record], str, str, tuple[str, ...]], ...] = (
    (Reading, Fields("set_name"), "set_size",
     ("zone", "target", "panel", "geometry", "aperture_mm", "illuminant", "photo")),
    (SiteTest, Fields("set_name"), "set_size", ("zone", "quantity", "panel")),
    (Panel, "series", "panels_in_series", ("zone", "method", "setting", "soiling", "after_series")),
    (TileReading, "session", "tile_readings_in_session", ("instrument",)),
    (Spot, "panel", "spots_on_panel", ("zone", "dose_quantity", "dose_unit")),
    (SectionReading, "profile", "profile_size",
     ("zone", "panel", "moment", "quantity", "element", "measured_on")),
)  # fmt: skip
# Tests of a panel by what they say below ×50.
OF_TESTS = {"depth_removed_um": "depth_removed", "roughness_change_pct": "roughness_change"}
# Numbers of one file agree within two of their errors, or what rounding to two digits leaves.
ERRORS, ROUNDED = 2.0, 0.05


def contradictions(
    records: Records, numbers: Numbers, suffix: str, broken: frozenset[str]
) -> Iterator[Fault]:
    """Where records contradict one another, or name something that is not there."""
    # Tables in `broken` have rows that could not be read at all: no link into them is checked.
    # The records include rows of which only a part could be read (`Record.readable`).
    unread = {name.removesuffix(suffix) for name in broken}
    partly = frozenset(
        table
        for table, found in records.items()
        if any(len(vars(one)) < len(TABLES[table].model_fields) for one in found)
    )
    rows = _Rows(records, numbers, suffix, partly)
    for table, found in records.items():
        if len(found) > 1 and table in ONE_ROW:
            why = "this table must hold exactly one record"
            yield Fault(table + suffix, numbers[table][1], "", "", why)
        for fields in (KEYS[table], *ALSO_UNIQUE.get(table, ())):
            yield from _twice(rows.that_hold({table: fields}), table, fields)
        for field, other in LINKS.get(table, {}).items():
            if other not in unread and rows.whole(other, KEYS[other]):
                yield from _loose_links(rows.that_hold({table: (field,)}), table, field, other)
    for rule in RECORD_RULES:
        if all(t not in unread and rows.whole(t, rule.needs[t]) for t in rule.whole):
            yield from rule.find(rows.that_hold(rule.needs))


@dataclass(frozen=True, slots=True)
class _Rows:
    """Rows to compare with one another; of some, only part of the fields could be read."""

    records: Records
    numbers: Numbers
    suffix: str
    partly: frozenset[str]

    def whole(self, table: str, fields: Collection[str]) -> bool:
        """Whether these fields could be read of every row of a table."""
        return table not in self.partly or all(
            vars(one).keys() >= set(fields) for one in self.records[table]
        )

    def that_hold(self, needs: Mapping[str, Collection[str]]) -> _Rows:
        """Only rows of which these fields could be read, by table."""
        records, numbers = dict(self.records), dict(self.numbers)
        for table in needs.keys() & self.partly:
            wanted = set(needs[table])
            held = [vars(one).keys() >= wanted for one in records[table]]
            records[table] = tuple(compress(records[table], held))
            numbers[table] = [*compress(numbers[table], held)]
        return _Rows(records, numbers, self.suffix, self.partly)

    def all(self, model: type[AnyRecord]) -> tuple[AnyRecord, ...]:
        """Records of one kind."""
        return all_of(self.records, model)

    def numbered(self, model: type[AnyRecord]) -> Iterable[tuple[int, AnyRecord]]:
        """Records of one kind, each with its row in the spreadsheet."""
        return zip(self.numbers[TABLE_OF[model]], all_of(self.records, model), strict=True)

    def fault(self, row: int, record: Record, field: str, why: str, of_column: str = "") -> Fault:
        """A fault of one field of a record."""
        table, value = TABLE_OF[type(record)], getattr(record, field)
        came = "nothing" if value is None else str(value)
        return Fault(table + self.suffix, row, field, came, why, of_column=of_column)


def _twice(rows: _Rows, table: str, fields: tuple[str, ...]) -> Iterator[Fault]:
    """Find keys that occur twice."""
    first: dict[Any, int] = {}
    key_of = attrgetter(*fields)
    for number, record in rows.numbered(TABLES[table]):
        key = key_of(record)
        if key in first:
            key_text = ", ".join(str(getattr(record, field)) for field in fields)
            where = f" in row {first[key]}" if first[key] else ""
            why = f"already given{where}; each may occur once"
            yield Fault(table + rows.suffix, number, Fields(*fields), key_text, why)
        first.setdefault(key, number)


def _loose_links(rows: _Rows, table: str, field: str, other: str) -> Iterator[Fault]:
    """Find records that name something that is not in the survey."""
    key = KEYS[other][0]
    known = {str(getattr(one, key)) for one in rows.records[other]}
    there = (f"{other}{rows.suffix}",) if rows.suffix else ("the table ", Codes(other))
    for number, record in rows.numbered(TABLES[table]):
        value = getattr(record, field)
        if value is not None and value not in known:
            why = Message("no ", Codes(key), f" {value} in ", *there, f". Known: {_some(known)}")
            # One wrong row there may break hundreds of links here: reported once.
            yield rows.fault(number, record, field, why, of_column=why)


def _some(known: Collection[str]) -> str:
    """The first of the known codes."""
    return a_few(sorted(known), most=SOME) or "none"


def _set_faults(rows: _Rows) -> Iterator[Fault]:
    """Check that sets and series agree on their own size, place and purpose."""
    for model, group, size, shared in SETS:
        first: dict[str, dict[str, object]] = {}
        count: Counter[str] = Counter()
        for number, record in rows.numbered(model):
            name = getattr(record, group)
            count[name] += 1
            leader = first.setdefault(name, {})
            for field in (size, *shared):
                value = getattr(record, field)
                # A spot without a known dose has no unit either.
                unknown = value is None and field in {"dose_quantity", "dose_unit"}
                if not unknown and value != leader.setdefault(field, value):
                    of = "must be the same for all of "
                    said = "nothing" if leader[field] is None else str(leader[field])
                    said = part_of_message(model, field, said)
                    why = Message(of, group, f" {name}; the first says ", said)
                    yield rows.fault(number, record, field, why, of_column=why)
            if count[name] > getattr(record, size):
                why = Message(group, f" {name} already holds that many")
                yield rows.fault(number, record, size, why)


def _split_sets(rows: _Rows) -> Iterator[Fault]:
    """Find two sets for one place: if one were lost, the other would look complete."""
    # Colours read by eye or in a photograph have sets of their own.
    means = {"visual": "by eye", "photograph": "by photograph"}
    first: dict[tuple[Any, ...], str] = {}
    reported: set[tuple[Any, ...]] = set()
    measured: list[tuple[int, Reading | SiteTest, tuple[str | None, ...]]] = [
        *((number, one, (one.zone, one.target, one.panel, means.get(one.geometry)))
          for number, one in rows.numbered(Reading)),
        *((number, one, (one.zone, Codes(one.quantity), one.panel))
          for number, one in rows.numbered(SiteTest)),
    ]  # fmt: skip
    for number, record, place in measured:
        key = (type(record), place)
        leader = first.setdefault(key, record.set_name)
        if record.set_name != leader and (key, record.set_name) not in reported:
            reported.add((key, record.set_name))
            named = (one for part in place if part for one in (", ", part))
            rest = f" already has the set {leader}; add readings taken again to that set, and "
            why = Message(*[*named][1:], rest, "raise its size")
            yield rows.fault(number, record, "set_name", why)


def _panel_faults(rows: _Rows) -> Iterator[Fault]:
    """Find zones with more panels, or panels with more spots, than were laid; fewer are a gap."""
    panels = Counter(one.zone for one in rows.all(Panel))
    for number, zone in rows.numbered(Zone):
        if zone.panels_laid is not None and (found := panels[zone.zone]) > zone.panels_laid:
            why = f"{count_of(found, 'panel')} recorded on this zone"
            yield rows.fault(number, zone, "panels_laid", why)
    spots = Counter(one.panel for one in rows.all(Spot))
    for number, panel in rows.numbered(Panel):
        if panel.spots_laid is not None and (found := spots[panel.panel]) > panel.spots_laid:
            why = f"{count_of(found, 'spot')} recorded on this panel"
            yield rows.fault(number, panel, "spots_laid", why)


def _below_faults(rows: _Rows) -> Iterator[Fault]:
    """Find measurements below ×50 on a panel that does not list them: a loss would go unnoticed."""
    panels = {panel.panel: panel for panel in rows.all(Panel)}
    spots = {spot.spot: spot for spot in rows.all(Spot)}
    found: list[tuple[int, SiteTest | SectionReading, str]] = [
        *((number, one, OF_TESTS[one.quantity]) for number, one in rows.numbered(SiteTest)
          if one.quantity in OF_TESTS),
        *((number, one, "stress_change" if one.quantity in STRESSES else "altered_layer")
          for number, one in rows.numbered(SectionReading) if one.moment != "control"),
    ]  # fmt: skip
    for number, one, measure in found:
        panel, spot = panels.get(one.panel or ""), spots.get(one.spot or "")
        if one.panel is None:
            why = Message("name the panel: ", Codes(measure), " is judged panel by panel")
            yield rows.fault(number, one, "panel", why)
        elif panel is None or (spot is not None and spot.harsher_than(panel)):
            continue  # results of a harsher spot are not required on the panel
        elif measure not in panel.measures:
            panel_of, below = f"panel {one.panel} does not name ", Fields("measured_below")
            why = Message(panel_of, Codes(measure), " under ", below, "; add it there")
            yield rows.fault(number, one, "panel", why)


def _one_file_faults(rows: _Rows) -> Iterator[Fault]:
    """Find two numbers from one file that disagree, such as one typed and one computed."""
    first: dict[tuple[str | None, ...], SiteTest] = {}
    for number, one in rows.numbered(SiteTest):
        if one.quantity not in OF_TESTS or one.file is None or one.value is None:
            continue
        place = (one.panel, one.spot, one.quantity, one.mineral, one.file)
        other = first.setdefault(place, one)
        if other.value is None or one is other:
            continue
        error = math.hypot(one.spread or 0.0, other.spread or 0.0)
        # Both are of one place, so they may differ only by the error of computing them.
        if abs(one.value - other.value) > max(ERRORS * error, ROUNDED * abs(other.value)):
            yield rows.fault(
                number, one, "value",
                f"{other.site_test} says {other.value:g} of the same file {one.file}. Both can't "
                "be so: work it out again and keep one",
            )  # fmt: skip


def _sequence_faults(rows: _Rows) -> Iterator[Fault]:
    """Find steps after a series that is on another zone, was done later, or was read later."""
    laid = rows.all(Panel)
    for number, panel in rows.numbered(Panel):
        if panel.after_series is None:
            continue
        before = [one for one in laid if (one.series, one.zone) == (panel.after_series, panel.zone)]
        said = ""
        if not before:
            said = f"no panel of that series lies on zone {panel.zone}"
        elif max(one.done_on for one in before) > panel.done_on:
            said = "its panels were done after this one; give the steps in their order"
        elif any(one.read_on is not None and one.read_on > panel.done_on for one in before):
            said = "its panels were read after this step was laid over them, so they show both"
        if said:
            yield rows.fault(number, panel, "after_series", said)


def _loose_settings(rows: _Rows) -> Iterator[Fault]:
    """Find settings of a series without panels."""
    known = {panel.series for panel in rows.all(Panel)}
    for number, one in rows.numbered(Setting):
        if one.series not in known:
            why = f"no panel belongs to this series. Known: {_some(known)}"
            yield rows.fault(number, one, "series", why)


def _setting_faults(rows: _Rows) -> Iterator[Fault]:
    """Find settings on another zone than their series, or that its method does not have."""
    panels = {panel.series: panel for panel in rows.all(Panel)}
    for number, one in rows.numbered(Setting):
        panel = panels.get(one.series)
        if panel is not None and one.zone != panel.zone:
            why = f"series {one.series} lies on zone {panel.zone}"
            yield rows.fault(number, one, "zone", why)
        if panel is not None and not has(panel.method, one.quantity):
            why = Message(Codes(panel.method), f" has no {name_of(one.quantity)}")
            yield rows.fault(number, one, "quantity", why)


def _colour_faults(rows: _Rows) -> Iterator[Fault]:
    """Find zones with more sets of colour readings than were taken; fewer are a gap, no fault."""
    sets = colour_sets(rows.all(Reading))
    for number, zone in rows.numbered(Zone):
        found = sorted(sets.get(zone.zone, ()))
        if zone.colour_sets is not None and len(found) > zone.colour_sets:
            said = f"{count_of(len(found), 'set')} of colour readings recorded on this zone: "
            yield rows.fault(number, zone, "colour_sets", said + ", ".join(found))


def _misplaced(rows: _Rows, model: type[Record], key: str, field: str, on: str) -> Iterator[Fault]:
    """Find records that name a panel of another zone, or a spot of another panel."""
    places = {getattr(one, key): getattr(one, field) for one in rows.all(model)}
    for table, links in LINKS.items():
        if links.get(key) == TABLE_OF[model] and field in links:
            for number, one in rows.numbered(TABLES[table]):
                named = getattr(one, key)
                if named in places and places[named] != getattr(one, field):
                    yield rows.fault(number, one, field, f"{key} {named} lies {on}{places[named]}")


def _photo_faults(rows: _Rows) -> Iterator[Fault]:
    """Find readings of a photograph of another zone, or of one in another state."""
    photos = {photo.photo: photo for photo in rows.all(Photo)}
    for number, reading in rows.numbered(Reading):
        photo = photos.get(reading.photo or "")
        for field in ("zone", "state") if photo is not None else ():
            if (said := getattr(photo, field)) != getattr(reading, field):
                yield rows.fault(number, reading, field, f"its photograph says {said}")


def _layer_faults(rows: _Rows) -> Iterator[Fault]:
    """Find layers whose soiling is not among those of their zone."""
    soilings = {zone.zone: zone.soiling_codes for zone in rows.all(Zone)}
    for number, layer in rows.numbered(Layer):
        on_zone = soilings.get(layer.zone)
        if on_zone is not None and layer.soiling not in on_zone:
            why = Message(f"the soilings of zone {layer.zone} are: ", Codes(*on_zone))
            yield rows.fault(number, layer, "soiling", why)


def _bed_faults(rows: _Rows) -> Iterator[Fault]:
    """Find zones of a bed or coating system that the survey does not list for their stone."""
    zones = rows.all(Zone)
    for row, structure in rows.numbered(Structure):
        try:
            listed = structure.listed_beds
        except ValueError:  # a rule of the record itself reports the list
            continue
        if not listed and (wanted := list_of((one.substrate, one.bed_or_system) for one in zones)):
            yield rows.fault(
                row, structure, "beds",
                Message(
                    "zones name beds or coating systems, so list them here. Check whether two "
                    "names mean one bed, then write: ", part_of_message(Structure, "beds", wanted),
                ),
            )  # fmt: skip
            continue
        for number, zone in rows.numbered(Zone):
            known = listed.get(stone := stone_of(zone.substrate), ())
            bed = zone.bed_or_system
            if plain_bed(bed) and not any(same_bed(bed, name) for name in known):
                yield rows.fault(
                    number, zone, "bed_or_system",
                    Message(
                        f"zone {zone.zone}: no such bed or coating system is listed for ",
                        Codes(stone), f". Listed: {'; '.join(known) or 'none'}. Write one of "
                        "these, or leave it empty; a new one goes into beds of the structure first",
                    ),
                )  # fmt: skip


def _session_faults(rows: _Rows) -> Iterator[Fault]:
    """Find readings of a session without white tile, or with another meter than the tile's."""
    meters = {tile.session: tile.instrument for tile in rows.all(TileReading)}
    for number, reading in rows.numbered(Reading):
        session = reading.session
        if session is not None and session not in meters:
            why = Message(
                "no white tile was read in this session; write its readings into ",
                Codes("tile_readings"),
                ", or leave the session empty",
            )
            yield rows.fault(number, reading, "session", why)
        elif session is not None and reading.instrument != meters[session]:
            said = f"the white tile of session {session} was read with: {meters[session]}"
            yield rows.fault(number, reading, "instrument", said)


def _meeting_faults(rows: _Rows) -> Iterator[Fault]:
    """Find decisions against a veto, and opinions and signatures of those who were not there."""
    opinions, decisions = rows.all(Opinion), rows.all(Decision)
    meetings = {one.meeting: one for one in rows.all(Meeting)}
    kinds: tuple[type[Opinion | Signature], ...] = (Opinion, Signature)
    found: list[tuple[int, Record, Iterator[tuple[str, str]]]] = [
        *((number, one, veto_against(one, opinions)) for number, one in rows.numbered(Decision)),
        *((number, one, not_at_meeting(one, meetings))
          for kind in kinds for number, one in rows.numbered(kind)),
        *((number, one, signed_nothing(one, decisions))
          for number, one in rows.numbered(Signature)),
    ]  # fmt: skip
    for number, record, wrong in found:
        for field, why in wrong:
            yield rows.fault(number, record, field, why)


@dataclass(frozen=True, slots=True)
class RecordRule:
    """
    A contradiction between records of several kinds.

    `needs` names the fields that it reads, by table; rows without them are left out. The tables of
    `whole` must be read completely, or records would seem to be missing.
    """

    find: Callable[[_Rows], Iterator[Fault]]
    needs: dict[str, tuple[str, ...]]
    whole: tuple[str, ...] = ()


RECORD_RULES = (
    RecordRule(_set_faults, {
        TABLE_OF[model]: (group, size, *shared) for model, group, size, shared in SETS
    }),
    RecordRule(_split_sets, {
        "readings": ("zone", "target", "panel", "set_name", "geometry"),
        "site_tests": ("zone", "quantity", "panel", "set_name"),
    }),
    RecordRule(_layer_faults, {"zones": ("zone", "soilings"), "layers": ("zone", "soiling")}),
    RecordRule(_bed_faults, {"structure": ("beds",),
                        "zones": ("zone", "substrate", "bed_or_system")}, ("structure",)),
    RecordRule(_panel_faults, {"zones": ("zone", "panels_laid"),
                          "panels": ("zone", "panel", "spots_laid"), "spots": ("panel",)}),
    RecordRule(_below_faults, {
        "panels": ("panel", "measured_below", "cleaning_high", "setting_quantity", "setting_unit"),
        "site_tests": ("panel", "spot", "quantity"),
        "section_readings": ("panel", "spot", "quantity", "moment"),
        "spots": ("spot", "dose", "dose_quantity", "dose_unit"),
    }, ("panels",)),
    RecordRule(_one_file_faults, {
        "site_tests": ("panel", "spot", "quantity", "mineral", "file", "value", "spread"),
    }),
    RecordRule(_sequence_faults, {
        "panels": ("series", "zone", "after_series", "done_on", "read_on"),
    }, ("panels",)),
    RecordRule(_loose_settings, {"panels": ("series",), "settings": ("series",)}, ("panels",)),
    RecordRule(_setting_faults, {"panels": ("series", "zone", "method"),
                            "settings": ("series", "quantity", "zone")}),
    RecordRule(_colour_faults, {"zones": ("zone", "colour_sets"),
                           "readings": ("target", "zone", "set_name")}),
    RecordRule(partial(
        _misplaced, model=Panel, key="panel", field="zone", on="on zone "
    ), dict.fromkeys(
        ("panels", "readings", "site_tests", "spots", "section_readings", "attachments",
         "height_maps"),
        ("panel", "zone"),
    )),
    RecordRule(partial(_misplaced, model=Spot, key="spot", field="panel", on="on "), {
        "spots": ("spot", "panel"), **dict.fromkeys(
            ("site_tests", "section_readings", "height_maps"), ("panel", "spot")
        ),
    }),
    RecordRule(_photo_faults, {"photos": ("photo", "zone", "state"),
                          "readings": ("photo", "zone", "state")}),
    RecordRule(_session_faults, {"tile_readings": ("session", "instrument"),
                            "readings": ("session", "instrument")}, ("tile_readings",)),
    RecordRule(_meeting_faults, {
        "meetings": ("meeting", "facilitator", "members"),
        "opinions": ("meeting", "zone", "member", "given", "outcome", "why", "veto"),
        "decisions": ("meeting", "zone", "outcome"), "signatures": ("meeting", "zone", "signer"),
    }, ("meetings", "decisions")),
)  # fmt: skip


# -- Meetings: vetoes and signatures ---------------------------------------------------------------


def last_opinions(opinions: Iterable[Opinion]) -> dict[tuple[str, str, str], Opinion]:
    """Final opinion of each member on each zone of each meeting: after talk, if there is one."""
    found: dict[tuple[str, str, str], Opinion] = {}
    for one in opinions:
        place = one.meeting, one.zone, one.member
        if place not in found or (one.given == AFTER and one.outcome is not None):
            found[place] = one
    return found


def vetoes(decision: Decision, opinions: Iterable[Opinion]) -> tuple[Opinion, ...]:
    """Opinions of members whose veto is against the decision."""
    decided = "clean" if decision.outcome == TREAT else decision.outcome
    return tuple(
        one
        for (meeting, zone, _), one in last_opinions(opinions).items()
        if (meeting, zone) == (decision.meeting, decision.zone) and one.veto == decided
    )


def veto_against(decision: Decision, opinions: Iterable[Opinion]) -> Wrong:
    """Field and reason where a member's veto is against the decision."""
    for one in vetoes(decision, opinions):
        yield (
            "outcome",
            f"{one.member} holds a veto against {one.veto} in {one.zone}: {one.why}. Decide "
            "otherwise; only that member can take the veto back",
        )


def not_at_meeting(record: Opinion | Signature, meetings: dict[str, Meeting]) -> Wrong:
    """Field and reason where an opinion or signature is from someone who was not a member."""
    meeting = meetings.get(record.meeting)
    if meeting is None:
        return
    field, who = ("member", "") if isinstance(record, Opinion) else ("signer", meeting.facilitator)
    members = parts_of_list(meeting.members)
    if getattr(record, field) not in {*members, who}:
        yield field, f"is not a member of meeting {meeting.meeting}. Members: {'; '.join(members)}"


def signed_nothing(signature: Signature, decisions: Iterable[Decision]) -> Wrong:
    """Field and reason where a signature belongs to no decision."""
    place = signature.meeting, signature.zone
    if all((one.meeting, one.zone) != place for one in decisions):
        yield "zone", f"meeting {signature.meeting} decided nothing for {signature.zone} to sign"
