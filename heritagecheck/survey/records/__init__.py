"""
The records of a survey, which `Survey.save` takes: one frozen class a table.

Their fields are the only list: database, tables, data package, field sheets and forms derive from
it. `heritagecheck.records.Zone.model_fields` says what each field of a zone asks and takes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import date
from functools import cache
from typing import TypeVar, cast

from heritagecheck.survey.records.fields import kind_of
from heritagecheck.survey.records.files import Attachment, HeightMap, Photo
from heritagecheck.survey.records.readings import Reading, SectionReading, SiteTest, TileReading
from heritagecheck.survey.records.record import AnyRecord, Record
from heritagecheck.survey.records.structure import Elevation, Layer, Observation, Structure, Zone
from heritagecheck.survey.records.team import (
    OF_MEETINGS,
    AgreedPolicy,
    Decision,
    Meeting,
    OpenQuestion,
    Opinion,
    Signature,
    View,
)
from heritagecheck.survey.records.trials import Panel, Setting, Spot

__all__ = [
    "KEYS", "LINKS", "MAY_BE_EMPTY", "ONE_ROW", "TABLES", "TABLE_OF", "AgreedPolicy", "Attachment",
    "Decision", "Elevation", "HeightMap", "Layer", "Meeting", "Observation", "OpenQuestion",
    "Opinion", "Panel", "Photo", "Reading", "SectionReading", "Setting", "Signature", "SiteTest",
    "Spot", "Structure", "TileReading", "View", "Zone", "all_of",
]  # fmt: skip

# Records by the name of their table.
Records = Mapping[str, tuple[Record, ...]]

TABLES: dict[str, type[Record]] = {
    "structure": Structure,
    "elevations": Elevation,
    "zones": Zone,
    "layers": Layer,
    "observations": Observation,
    "tile_readings": TileReading,
    "readings": Reading,
    "site_tests": SiteTest,
    "panels": Panel,
    "settings": Setting,
    "spots": Spot,
    "section_readings": SectionReading,
    "attachments": Attachment,
    "height_maps": HeightMap,
    "photos": Photo,
    "policy": AgreedPolicy,
    "views": View,
    "meetings": Meeting,
    "opinions": Opinion,
    "decisions": Decision,
    "open_questions": OpenQuestion,
    "signatures": Signature,
}

TABLE_OF = {model: table for table, model in TABLES.items()}

KEYS: dict[str, tuple[str, ...]] = {
    "structure": ("structure",),
    "elevations": ("elevation",),
    "zones": ("zone",),
    "layers": ("layer",),
    "observations": ("observation",),
    "tile_readings": ("tile_reading",),
    "readings": ("reading",),
    "site_tests": ("site_test",),
    "panels": ("panel",),
    "settings": ("series", "quantity"),
    "spots": ("spot",),
    "section_readings": ("section_reading",),
    "attachments": ("attachment",),
    "height_maps": ("height_map",),
    "photos": ("photo",),
    "policy": ("agreed_on",),
    "views": ("member", "criterion"),
    "meetings": ("meeting",),
    "opinions": ("meeting", "zone", "member", "given"),
    "decisions": ("meeting", "zone"),
    "open_questions": ("question",),
    "signatures": ("meeting", "zone", "signer"),
}

LINKS: dict[str, dict[str, str]] = {
    "zones": {"elevation": "elevations"},
    "layers": {"zone": "zones"},
    "observations": {"zone": "zones"},
    "readings": {
        "zone": "zones", "panel": "panels", "file": "attachments", "photo": "photos",
    },
    "site_tests": {
        "zone": "zones", "panel": "panels", "file": "attachments", "spot": "spots",
    },
    "panels": {"zone": "zones"},
    "settings": {"zone": "zones"},
    "spots": {"zone": "zones", "panel": "panels"},
    "section_readings": {
        "zone": "zones", "panel": "panels", "spot": "spots", "file": "attachments",
    },
    "attachments": {"zone": "zones", "panel": "panels"},
    "height_maps": {
        "attachment": "attachments", "zone": "zones", "panel": "panels",
        "before_map": "height_maps", "photo": "attachments", "spot": "spots",
    },
    "photos": {"attachment": "attachments", "zone": "zones", "board": "attachments"},
    "opinions": {"meeting": "meetings", "zone": "zones"},
    "decisions": {"meeting": "meetings", "zone": "zones"},
    "open_questions": {"meeting": "meetings", "zone": "zones"},
    "signatures": {"meeting": "meetings", "zone": "zones"},
}  # fmt: skip

ONE_ROW = frozenset({"structure", "policy"})
MAY_BE_EMPTY = frozenset(TABLES) - ONE_ROW - {"elevations", "zones"}


def all_of(records: Records, model: type[AnyRecord]) -> tuple[AnyRecord, ...]:
    """All records of one kind."""
    return cast("tuple[AnyRecord, ...]", records[TABLE_OF[model]])


Item = TypeVar("Item")
Name = TypeVar("Name")


def grouped(items: Iterable[Item], name: Callable[[Item], Name]) -> dict[Name, list[Item]]:
    """Items grouped by a name, in the order in which they come."""
    found: dict[Name, list[Item]] = {}
    for one in items:
        found.setdefault(name(one), []).append(one)
    return found


# -- Days of records -------------------------------------------------------------------------------

MAY_LIE_AHEAD = {"agreed_on", "due", "next_access"}  # of a policy, a repair, a scaffold


@cache
def days_of(table: str) -> tuple[str, ...]:
    """Fields of a table with a day on which something was seen, done or measured."""
    model = TABLES[table]
    if model in OF_MEETINGS:
        return ()
    return tuple(
        field
        for field in model.model_fields
        if kind_of(model, field) is date and field not in MAY_LIE_AHEAD
    )


def latest_day(records: Records) -> date | None:
    """Latest day on which any record was made; None if none is dated."""
    days = (
        getattr(record, field)
        for table in TABLES
        for field in days_of(table)
        for record in records[table]
    )
    return max((day for day in days if day is not None), default=None)
