"""What a newer release reads again in a survey's database, by entries of its journal."""

from __future__ import annotations

import sqlalchemy as sa

from heritagecheck.survey.records import Panel, Structure, Zone
from heritagecheck.survey.records.old_settings import UNITS, as_now, settings_from_words
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.structure import list_of
from heritagecheck.survey.store.journal import (
    Change,
    Place,
    made_by,
    place_of,
    text_or_none,
    write,
)
from heritagecheck.survey.store.rows import NEVER, Now, bring_in, stored

BY = "heritagecheck"
SETTINGS_AS_FIELDS = "0011"
LIST_OF_BEDS = "0013"


def read_old_records(connection: sa.Connection, version: str) -> None:
    """Read into fields what older releases wrote as free text: settings, and names of beds."""
    # Each is a separate save, so that the journal shows what each record was.
    if version < SETTINGS_AS_FIELDS:
        _read_settings(connection)
    if version < LIST_OF_BEDS:
        _list_beds(connection)


def _read_settings(connection: sa.Connection) -> None:
    """Read sentences and units of settings into fields; deleted records when they come back."""
    before: dict[Place, Now] = {}
    changes: list[Change] = []
    panels: list[Panel] = []
    for table in ("panels", "spots"):
        for one in stored(connection, table):
            place = place_of(one.record)
            before[place] = Now(one.record, one.version)
            if one.deleted:
                continue
            read = as_now(table, one.record.model_dump())
            # Not validated again: what an older release accepted stays, and `check` lists it.
            new = one.record.changed(**{name: read[name] for name in (*UNITS[table], "note")})
            if new != one.record:
                changes.append(Change(*place, text_or_none(one.record), new))
            panels += [new] if isinstance(new, Panel) else []
    told: list[Record] = list(settings_from_words(panels))
    for setting in told:
        before[place_of(setting)] = NEVER
        changes.append(Change(*place_of(setting), None, setting))
    _keep(
        connection, changes, before,
        "settings read once from their words and units; check lists what could not be read",
    )  # fmt: skip


def _list_beds(connection: sa.Connection) -> None:
    """List the beds that zones name; those of deleted zones too, as they may come back."""
    zones = [one.record for one in stored(connection, "zones") if isinstance(one.record, Zone)]
    beds = list_of((zone.substrate, zone.bed_or_system) for zone in zones) or None
    before: dict[Place, Now] = {}
    changes: list[Change] = []
    for one in stored(connection, "structure"):
        if isinstance(one.record, Structure) and not one.deleted and beds:
            place = place_of(one.record)
            before[place] = Now(one.record, one.version)
            new = one.record.changed(beds=beds)
            changes.append(Change(*place, text_or_none(one.record), new))
    _keep(
        connection, changes, before,
        "beds listed once from the zones that name them; look whether two names are one bed",
    )  # fmt: skip


def _keep(
    connection: sa.Connection, changes: list[Change], before: dict[Place, Now], why: str
) -> None:
    """Write one save, if there is anything to write."""
    if changes:
        first = write(connection, made_by(BY, why), changes)
        bring_in(connection, first, changes, before)
