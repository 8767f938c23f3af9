"""
The records of a survey, which `Survey.save` takes: one frozen class a table.

Their fields are the only list: database, tables, data package, field sheets and forms derive from
it. `heritagecheck.records.Zone.model_fields` says what each field of a zone asks and takes.
"""

from heritagecheck.survey.records.files import Attachment, HeightMap, Photo
from heritagecheck.survey.records.readings import Reading, SectionReading, SiteTest, TileReading
from heritagecheck.survey.records.structure import Elevation, Layer, Observation, Structure, Zone
from heritagecheck.survey.records.table_list import (
    KEYS,
    LINKS,
    MAY_BE_EMPTY,
    ONE_ROW,
    TABLE_OF,
    TABLES,
    all_of,
)
from heritagecheck.survey.records.team import (
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
