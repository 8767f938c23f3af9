"""What a newer release reads anew in a survey's database, by entries of its journal."""

from __future__ import annotations

import sqlalchemy as sa

from heritagecheck.survey.changes import made_by, place_of, text_or_none
from heritagecheck.survey.journal import Change, write
from heritagecheck.survey.neighbours import Place
from heritagecheck.survey.old_settings import UNITS, as_now, settings_told
from heritagecheck.survey.record import Record
from heritagecheck.survey.records import Panel
from heritagecheck.survey.rows import NEVER, Now, bring_in
from heritagecheck.survey.stored import stored

BY = "heritagecheck"
WHY = "settings read once from their words and units; check lists what could not be read"
SETTINGS_AS_FIELDS = "0011"


def read_once(connection: sa.Connection, version: str) -> None:
    """
    Read sentences and units of settings into fields, where an older release wrote them.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Within the transaction that brought the schema up to date.
    version : str
        Schema from which it was brought up.

    Notes
    -----
    It is a save of its own, so the journal tells what each record was. The sentences stay as they
    are. Records that were deleted stay as they were, and are read if they come back.
    """
    if version >= SETTINGS_AS_FIELDS:
        return
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
            # Not looked at again: what an older release took is kept, and told by `check`.
            new = one.record.changed(**{name: read[name] for name in (*UNITS[table], "note")})
            if new != one.record:
                changes.append(Change(*place, text_or_none(one.record), new))
            panels += [new] if isinstance(new, Panel) else []
    told: list[Record] = list(settings_told(panels))
    for setting in told:
        before[place_of(setting)] = NEVER
        changes.append(Change(*place_of(setting), None, setting))
    if changes:
        first = write(connection, made_by(BY, WHY), changes)
        bring_in(connection, first, changes, before)
