"""Records held against one another: what contradicts is refused when it is saved."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass
from itertools import compress
from operator import attrgetter
from typing import Any

from heritagecheck.errors import Fault
from heritagecheck.survey.records import (
    KEYS,
    LINKS,
    ONE_ROW,
    TABLES,
    Panel,
    Structure,
    Zone,
    all_of,
)
from heritagecheck.survey.records.beds import list_of, plain_bed, same_bed, stone_of
from heritagecheck.survey.records.quantities import has, name_of
from heritagecheck.survey.records.record import Record

Records = Mapping[str, tuple[Record, ...]]
Numbers = Mapping[str, list[int]]
# Besides its key, what no two rows of a table share.
STANDS_ONCE = {
    "observations": (("zone", "topic"),), "layers": (("zone", "soiling"),),
    "attachments": (("file",),),
}  # fmt: skip


def contradictions(
    records: Records, numbers: Numbers, suffix: str, broken: frozenset[str]
) -> Iterator[Fault]:
    """Where records contradict one another, or name what is not there."""
    unread = {name.removesuffix(suffix) for name in broken}
    look = _Rows(records, numbers, unread)
    for table, found in records.items():
        name = table + suffix
        if len(found) > 1 and table in ONE_ROW:
            yield Fault(name, numbers[table][1], "", "", "this table holds exactly one record")
        for fields in (KEYS[table], *STANDS_ONCE.get(table, ())):
            yield from _twice(*look.that_hold(table, fields), name, fields)
        for field, other in LINKS.get(table, {}).items():
            if look.whole(other, KEYS[other]):
                known = _keys(records[other], other)
                yield from _loose_links(*look.that_hold(table, (field,)), name, field, known)
    for check in CHECKS:
        if all(look.whole(table, check.needs[table]) for table in check.whole):
            held = {table: look.that_hold(table, fields) for table, fields in check.needs.items()}
            yield from check.find(
                {**records, **{table: found for table, (found, _) in held.items()}},
                {**numbers, **{table: rows for table, (_, rows) in held.items()}},
                suffix,
            )


class _Rows:
    """Rows to be held against one another; of some, only a part of the fields could be read."""

    def __init__(self, records: Records, numbers: Numbers, unread: Collection[str]) -> None:
        self.records, self.numbers, self.unread = records, numbers, unread
        self.partly = {
            table
            for table, found in records.items()
            if any(len(vars(one)) < len(TABLES[table].model_fields) for one in found)
        }

    def whole(self, table: str, fields: Collection[str]) -> bool:
        """Whether these fields could be read of every row of a table."""
        return table not in self.unread and (
            table not in self.partly
            or all(vars(one).keys() >= set(fields) for one in self.records[table])
        )

    def that_hold(
        self, table: str, fields: Collection[str]
    ) -> tuple[tuple[Record, ...], list[int]]:
        """The rows of which these fields could be read, and their numbers."""
        records, numbers = self.records[table], self.numbers[table]
        if table not in self.partly:
            return records, numbers
        wanted = set(fields)
        kept = [vars(one).keys() >= wanted for one in records]
        return tuple(compress(records, kept)), list(compress(numbers, kept))


def _keys(found: tuple[Record, ...], table: str) -> set[str]:
    """Keys of one table."""
    return {str(getattr(record, KEYS[table][0])) for record in found}


def _twice(
    found: tuple[Record, ...], numbers: list[int], name: str, fields: tuple[str, ...]
) -> Iterator[Fault]:
    """Find keys that stand twice."""
    seen: dict[Any, int] = {}
    key_of = attrgetter(*fields)
    for number, record in zip(numbers, found, strict=True):
        key = key_of(record)
        if key in seen:
            told = (getattr(record, field) for field in fields)
            yield Fault(
                name, number, " and ".join(fields), ", ".join(map(str, told)),
                f"already given{f' in row {seen[key]}' if seen[key] else ''}; each may occur once",
            )  # fmt: skip
        seen.setdefault(key, number)


def _loose_links(
    found: tuple[Record, ...], numbers: list[int], name: str, field: str, known: set[str]
) -> Iterator[Fault]:
    """Find records that name something the survey does not hold."""
    for number, record in zip(numbers, found, strict=True):
        value = getattr(record, field)
        if value is not None and value not in known:
            some = ", ".join(sorted(known)[:12]) + (", …" if len(known) > 12 else "")
            yield Fault(name, number, field, str(value), f"there is none. Known: {some or 'none'}")


def _set_faults(records: Records, numbers: Numbers, suffix: str) -> Iterator[Fault]:
    """Check that sets and series agree on their own size, place and purpose."""
    for table, group, size, shared in SETS:
        first: dict[str, dict[str, object]] = {}
        count: Counter[str] = Counter()
        for number, record in zip(numbers[table], records[table], strict=True):
            name = getattr(record, group)
            count[name] += 1
            leader = first.setdefault(name, {})
            for field in (size, *shared):
                value = getattr(record, field)
                # A spot that fell off before anybody knew its dose has no unit either.
                unknown = value is None and field in {"dose_quantity", "dose_unit"}
                if unknown or value == leader.setdefault(field, value):
                    continue
                why = f"all of {group} {name} share it; the first says {leader[field]}"
                yield Fault(table + suffix, number, field, str(value), why, of_column=why)
            if count[name] > getattr(record, size):
                yield Fault(
                    table + suffix, number, size, str(getattr(record, size)),
                    f"{group} {name} already holds that many",
                )  # fmt: skip


def _split_sets(records: Records, numbers: Numbers, suffix: str) -> Iterator[Fault]:
    """Find what was measured in one place in two sets: losing one would leave the other alone."""
    for table, place in (
        ("readings", ("zone", "target", "panel")),
        ("site_tests", ("zone", "quantity", "panel")),
    ):
        first: dict[tuple[Any, ...], str] = {}
        told = set()
        for number, record in zip(numbers[table], records[table], strict=True):
            key = (*(getattr(record, field) for field in place), _means(record))
            name: str = getattr(record, "set_name")  # noqa: B009 - both kinds have it
            leader = first.setdefault(key, name)
            if name != leader and (key, name) not in told:
                told.add((key, name))
                yield Fault(
                    table + suffix, number, "set_name", name,
                    f"{', '.join(str(part) for part in key if part)} already has the set {leader}; "
                    "count readings taken again into that set, and raise its size",
                )  # fmt: skip


def _means(record: Record) -> str | None:
    """By what a colour was read, other than a meter: each has a set of its own."""
    words = {"visual": "by eye", "photograph": "by photograph"}
    return words.get(getattr(record, "geometry", ""))


def _panel_faults(records: Records, numbers: Numbers, suffix: str) -> Iterator[Fault]:
    """Find zones with more panels, or panels with more spots, than were laid; fewer are a gap."""
    for table, key, field, parts in (
        ("zones", "zone", "panels_laid", "panels"), ("panels", "panel", "spots_laid", "spots"),
    ):  # fmt: skip
        recorded = Counter(getattr(part, key) for part in records[parts])
        for number, whole in zip(numbers[table], records[table], strict=True):
            laid, found = getattr(whole, field), recorded[getattr(whole, key)]
            if laid is not None and found > laid:
                yield Fault(
                    f"{table}{suffix}", number, field, str(laid),
                    f"{found} {parts} are recorded on this {key}",
                )  # fmt: skip


def _sequence_faults(records: Records, numbers: Numbers, suffix: str) -> Iterator[Fault]:
    """Find steps after a series that is not on their zone, was done later, or was read later."""
    laid = [one for one in records["panels"] if isinstance(one, Panel)]
    for number, panel in zip(numbers["panels"], laid, strict=True):
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
            yield Fault(f"panels{suffix}", number, "after_series", panel.after_series, said)


def _loose_settings(records: Records, numbers: Numbers, suffix: str) -> Iterator[Fault]:
    """Find settings of a series without panels."""
    known = {getattr(panel, "series") for panel in records["panels"]}  # noqa: B009
    for number, one in zip(numbers["settings"], records["settings"], strict=True):
        series = getattr(one, "series")  # noqa: B009
        if series not in known:
            some = ", ".join(sorted(known)[:12]) + (", …" if len(known) > 12 else "")
            yield Fault(
                f"settings{suffix}", number, "series", series,
                f"no panel belongs to this series. Known: {some or 'none'}",
            )  # fmt: skip


def _setting_faults(records: Records, numbers: Numbers, suffix: str) -> Iterator[Fault]:
    """Find settings on another zone than their series, or that its method lacks."""
    panels = {getattr(panel, "series"): panel for panel in records["panels"]}  # noqa: B009
    for number, one in zip(numbers["settings"], records["settings"], strict=True):
        series, quantity = getattr(one, "series"), getattr(one, "quantity")  # noqa: B009
        panel = panels.get(series)
        if panel is None:
            continue
        method, zone = getattr(panel, "method"), getattr(panel, "zone")  # noqa: B009
        if getattr(one, "zone") != zone:  # noqa: B009
            yield Fault(
                f"settings{suffix}", number, "zone", getattr(one, "zone"),  # noqa: B009
                f"series {series} lies on zone {zone}",
            )  # fmt: skip
        if not has(method, quantity):
            yield Fault(
                f"settings{suffix}", number, "quantity", quantity,
                f"{method} has no {name_of(quantity)}",
            )  # fmt: skip


def _colour_faults(records: Records, numbers: Numbers, suffix: str) -> Iterator[Fault]:
    """Find zones with more sets of colour readings than were taken; fewer are a gap, no fault."""
    sets: dict[str, set[str]] = {}
    for one in records["readings"]:
        if getattr(one, "target") != "panel":  # noqa: B009
            sets.setdefault(getattr(one, "zone"), set()).add(getattr(one, "set_name"))  # noqa: B009
    for number, zone in zip(numbers["zones"], records["zones"], strict=True):
        taken, found = getattr(zone, "colour_sets"), sets.get(getattr(zone, "zone"), set())  # noqa: B009
        if taken is not None and len(found) > taken:
            yield Fault(
                f"zones{suffix}", number, "colour_sets", str(taken),
                f"{len(found)} sets of colour readings are recorded on this zone: "
                f"{', '.join(sorted(found))}",
            )  # fmt: skip


def _misplaced(records: Records, numbers: Numbers, suffix: str) -> Iterator[Fault]:
    """Find readings and tests that name a panel of another zone."""
    places = {getattr(p, "panel"): getattr(p, "zone") for p in records["panels"]}  # noqa: B009
    for table in ("readings", "site_tests", "spots", "attachments", "height_maps"):
        for number, record in zip(numbers[table], records[table], strict=True):
            panel, zone = getattr(record, "panel"), getattr(record, "zone")  # noqa: B009
            if panel in places and places[panel] != zone:
                yield Fault(
                    table + suffix, number, "zone", zone,
                    f"panel {panel} lies on zone {places[panel]}",
                )  # fmt: skip


def _photo_faults(records: Records, numbers: Numbers, suffix: str) -> Iterator[Fault]:
    """Find readings of a photograph of another zone, or of one in another state."""
    photos = {getattr(one, "photo"): one for one in records["photos"]}  # noqa: B009
    for number, record in zip(numbers["readings"], records["readings"], strict=True):
        photo = photos.get(getattr(record, "photo"))  # noqa: B009
        for field in ("zone", "state"):
            if photo is not None and getattr(photo, field) != getattr(record, field):
                yield Fault(
                    f"readings{suffix}", number, field, getattr(record, field),
                    f"its photograph says {getattr(photo, field)}",
                )  # fmt: skip


def _layer_faults(records: Records, numbers: Numbers, suffix: str) -> Iterator[Fault]:
    """Check that each layer is one of the soilings seen on its zone, and stands once."""
    seen = {getattr(zone, "zone"): getattr(zone, "soiling_codes") for zone in records["zones"]}  # noqa: B009
    for number, layer in zip(numbers["layers"], records["layers"], strict=True):
        zone, soiling = getattr(layer, "zone"), getattr(layer, "soiling")  # noqa: B009
        if zone in seen and soiling not in seen[zone]:
            yield Fault(
                f"layers{suffix}", number, "soiling", soiling,
                f"zone {zone} was seen to carry: {', '.join(seen[zone])}",
            )  # fmt: skip


def _bed_faults(records: Records, numbers: Numbers, suffix: str) -> Iterator[Fault]:
    """Find zones of a bed or coating system that the survey does not list for their stone."""
    zones = all_of(records, Zone)
    for row, structure in zip(numbers["structure"], all_of(records, Structure), strict=True):
        try:
            listed = structure.listed_beds
        except ValueError:  # the record says by itself what is wrong with its list
            continue
        if not listed and (wanted := list_of((one.substrate, one.bed_or_system) for one in zones)):
            yield Fault(
                f"structure{suffix}", row, "beds", "nothing",
                "zones name beds or coating systems, so list them here; look whether two names are "
                f"one bed, then write: {wanted}",
            )  # fmt: skip
            continue
        for number, zone in zip(numbers["zones"], zones, strict=True):
            known = listed.get(stone := stone_of(zone.substrate), ())
            bed = zone.bed_or_system
            if plain_bed(bed) and not any(same_bed(bed, name) for name in known):
                yield Fault(
                    f"zones{suffix}", number, "bed_or_system", str(bed),
                    f"zone {zone.zone}: no such bed or coating system is listed for {stone}. "
                    f"Listed: {'; '.join(known) or 'none'}. Write one of these, or leave it empty; "
                    "a new one goes into beds of the structure first",
                )  # fmt: skip


def _session_faults(records: Records, numbers: Numbers, suffix: str) -> Iterator[Fault]:
    """Find readings of a session without white tile, or with another meter than the tile's."""
    meters = {getattr(tile, "session"): getattr(tile, "instrument")  # noqa: B009
              for tile in records["tile_readings"]}  # fmt: skip
    for number, record in zip(numbers["readings"], records["readings"], strict=True):
        session, meter = getattr(record, "session"), getattr(record, "instrument")  # noqa: B009
        if session is not None and session not in meters:
            yield Fault(
                f"readings{suffix}", number, "session", session,
                "no white tile was read in this session; write its readings into tile_readings, "
                "or leave the session empty",
            )  # fmt: skip
        elif session is not None and meter != meters[session]:
            yield Fault(
                f"readings{suffix}", number, "instrument", meter,
                f"the white tile of session {session} was read with: {meters[session]}",
            )  # fmt: skip


SETS: tuple[tuple[str, str, str, tuple[str, ...]], ...] = (
    ("readings", "set_name", "set_size",
     ("zone", "target", "panel", "geometry", "aperture_mm", "illuminant", "photo")),
    ("site_tests", "set_name", "set_size", ("zone", "quantity", "panel")),
    ("panels", "series", "panels_in_series",
     ("zone", "method", "setting", "soiling", "after_series")),
    ("tile_readings", "session", "tile_readings_in_session", ("instrument",)),
    ("spots", "panel", "spots_on_panel", ("zone", "dose_quantity", "dose_unit")),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Check:
    """
    One look at records together.

    `needs` names the fields that it reads, by table; rows without them are left out. The tables of
    `whole` have to be read whole, or what is named would seem to be missing.
    """

    find: Callable[[Records, Numbers, str], Iterator[Fault]]
    needs: dict[str, tuple[str, ...]]
    whole: tuple[str, ...] = ()


CHECKS = (
    Check(_set_faults, {table: (group, size, *shared) for table, group, size, shared in SETS}),
    Check(_split_sets, {
        "readings": ("zone", "target", "panel", "set_name", "geometry"),
        "site_tests": ("zone", "quantity", "panel", "set_name"),
    }),
    Check(_layer_faults, {"zones": ("zone", "soilings"), "layers": ("zone", "soiling")}),
    Check(_bed_faults, {"structure": ("beds",),
                        "zones": ("zone", "substrate", "bed_or_system")}, ("structure",)),
    Check(_panel_faults, {"zones": ("zone", "panels_laid"),
                          "panels": ("zone", "panel", "spots_laid"), "spots": ("panel",)}),
    Check(_sequence_faults, {
        "panels": ("series", "zone", "after_series", "done_on", "read_on"),
    }, ("panels",)),
    Check(_loose_settings, {"panels": ("series",), "settings": ("series",)}, ("panels",)),
    Check(_setting_faults, {"panels": ("series", "zone", "method"),
                            "settings": ("series", "quantity", "zone")}),
    Check(_colour_faults, {"zones": ("zone", "colour_sets"),
                           "readings": ("target", "zone", "set_name")}),
    Check(_misplaced, dict.fromkeys(
        ("panels", "readings", "site_tests", "spots", "attachments", "height_maps"),
        ("panel", "zone"),
    )),
    Check(_photo_faults, {"photos": ("photo", "zone", "state"),
                          "readings": ("photo", "zone", "state")}),
    Check(_session_faults, {"tile_readings": ("session", "instrument"),
                            "readings": ("session", "instrument")}, ("tile_readings",)),
)  # fmt: skip
