"""What became of a survey's records between two heads of its journal."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import sqlalchemy as sa
from pydantic.fields import FieldInfo

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.records import KEYS, ONE_ROW, TABLES
from heritagecheck.survey.records.record import Record, zone_of
from heritagecheck.survey.store.journal import (
    Place,
    kind_of,
    place_of,
    record_of,
    shown_key,
)
from heritagecheck.survey.store.schema import HEAD, JOURNAL, SAVES
from heritagecheck.survey.survey import Survey, grouped_anew

CODE = re.compile("[a-z]+(_[a-z]+)+")


@dataclass(frozen=True, slots=True)
class RecordChange:
    """
    One record as it was at an earlier head of the journal and as it is at a later one.

    None where it was not there. Who saved it last between them, when, and with which reason.
    """

    place: Place
    before: Record | None
    now: Record | None
    when: str
    who: str
    reason: str

    @property
    def zones(self) -> frozenset[str]:
        """Zones to which it belongs or belonged; none where it belongs to none."""
        found = (None if one is None else zone_of(one) for one in (self.before, self.now))
        return frozenset(zone for zone in found if zone is not None)

    @property
    def fields(self) -> tuple[tuple[str, str, str], ...]:
        """Fields that differ by their titles, with both values; none where it came or went."""
        if self.before is None or self.now is None:
            return ()
        return tuple(
            (
                _titled(name, field),
                _written(getattr(self.before, name)),
                _written(getattr(self.now, name)),
            )
            for name, field in type(self.now).model_fields.items()
            if getattr(self.before, name) != getattr(self.now, name)
        )

    @property
    def name(self) -> str:
        """What it is, and its key, such as ``observation O-N09-consent``."""
        table, key = self.place
        return kind_of(table) if table in ONE_ROW else f"{kind_of(table)} {shown_key(key)}"

    @property
    def words(self) -> str:
        """What became of it."""
        if self.before is None:
            return f"{self.name} was recorded"
        if self.now is None:
            return f"{self.name} was taken out"
        parts = (f"{title}: {then} became {now}" for title, then, now in self.fields)
        return f"{self.name}, {'; '.join(parts)}"

    def __str__(self) -> str:
        """Say what became of it, by whom, when and why."""
        why = f": {self.reason}" if self.reason else ""
        return f"{self.words} ({self.who}, {self.when[:10]}{why})"


def _titled(name: str, field: FieldInfo) -> str:
    """What a field is called within a sentence."""
    title = field.title or field.description or name
    return title[:1].lower() + title[1:]


def _written(value: object) -> str:
    """A value as a sentence shows it; a code without its underscores."""
    text = "nothing" if value is None else str(value)
    return text.replace("_", " ") if CODE.fullmatch(text) else text


def changes_between(
    connection: sa.Connection, before: str, now: str
) -> tuple[RecordChange, ...] | None:
    """
    Records that are not the same at two heads of the journal.

    Parameters
    ----------
    connection : Connection
        Sees one moment of the survey's database.
    before, now : str
        Hashes of the journal's last entry at the earlier and the later moment.

    Returns
    -------
    tuple of RecordChange or None
        In the order in which they were first changed. None where this journal never had one of the
        heads, or had them the other way round.

    Raises
    ------
    SurveyError
        A record as it was can't be read by this release.
    """
    first, last = _entry_of(connection, before), _entry_of(connection, now)
    if first is None or last is None or first > last:
        return None
    asked = (
        sa.select(JOURNAL.c.of_table, JOURNAL.c.record_key, JOURNAL.c.old, JOURNAL.c.new,
                  SAVES.c.made_at, SAVES.c.who, SAVES.c.reason)
        .join_from(JOURNAL, SAVES, JOURNAL.c.save == SAVES.c.save)
        .where(JOURNAL.c.entry > first, JOURNAL.c.entry <= last)
        .order_by(JOURNAL.c.entry)
    )  # fmt: skip
    old: dict[Place, str | None] = {}
    new: dict[Place, tuple[str | None, str, str, str]] = {}
    for row in connection.execute(asked):
        place = row.of_table, row.record_key
        old.setdefault(place, row.old)
        new[place] = row.new, row.made_at, row.who, row.reason
    found = (
        RecordChange(place, _read(place, old[place]), _read(place, text), *made)
        for place, (text, *made) in new.items()
    )
    return tuple(one for one in found if one.before != one.now)


def _entry_of(connection: sa.Connection, head: str) -> int | None:
    """Entry of the journal whose hash is a head."""
    digits = bytes.fromhex(head)
    last = connection.execute(sa.select(HEAD.c.entry, HEAD.c.hash)).one()
    if bytes(last.hash) == digits:
        return int(last.entry)
    following = connection.scalar(sa.select(JOURNAL.c.entry).where(JOURNAL.c.previous == digits))
    return None if following is None else int(following) - 1


def _read(place: Place, text: str | None) -> Record | None:
    """A record that the journal holds."""
    if text is None:
        return None
    table, key = place
    try:
        return record_of(table, text)
    except ValueError:
        named = ", ".join(KEYS[table])
        fault = Fault(table, None, named, shown_key(key), "this release can’t read it as it was")
        raise SurveyError([fault], nothing="compared") from None


def as_if(survey: Survey, records: Mapping[Place, Record | None]) -> Survey:
    """
    A survey as if some of its records were others, and nothing else; nothing is saved.

    Parameters
    ----------
    survey : Survey
        At rest, as `Survey.still` gives it.
    records : mapping of (table, key) to Record or None
        What it holds instead; None takes a record out.
    """
    by_table: dict[str, dict[Place, Record | None]] = {}
    for place, record in records.items():
        by_table.setdefault(place[0], {})[place] = record
    found = {table: survey.records[table] for table in TABLES}
    touched: dict[str, set[str]] = {}
    for table, changed in by_table.items():
        found[table], touched[table] = _with(survey.records[table], changed)
    held = survey.holding(found)
    held.by_zone = grouped_anew(survey.by_zone, found, touched)
    return held


def _with(
    before: Iterable[Record], changed: Mapping[Place, Record | None]
) -> tuple[tuple[Record, ...], set[str]]:
    """Records of one table with some of them changed, and the zones that this touches."""
    left = dict(changed)
    found: list[Record] = []
    zones: set[str | None] = set()
    for record in before:
        place = place_of(record)
        if place not in left:
            found.append(record)
            continue
        other = left.pop(place)
        zones |= {zone_of(record), zone_of(other)}
        found += [] if other is None else [other]
    came = [record for record in left.values() if record is not None]
    zones |= {zone_of(record) for record in came}
    return (*found, *came), {zone for zone in zones if zone is not None}
