"""The least that is a survey: a structure, an elevation, zones with what they are, a policy."""

from __future__ import annotations

import json
from datetime import date
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from heritagecheck.survey.entry.offers import offered_policy
from heritagecheck.survey.records import TABLES
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.store.database_survey import DatabaseSurvey

Rows = dict[str, list[dict[str, Any]]]
GRANITE: dict[str, Any] = {}
STEEL = {"substrate": "riveted_steel", "finish": "rolled", "soilings": "rust; lead_paint"}
CLOSED = STEEL | {"soilings": "rust", "exposure": "closed_section", "access": "confined"}


def bare_rows(*zones: dict[str, Any], agreed: bool = True) -> Rows:
    """Rows of a survey that is only begun; each zone as given, else sheltered granite."""
    raw: Rows = {table: [] for table in TABLES}
    raw["structure"] = [
        {"structure": "A mill", "asked": "Clean it?", "surveyed_by": "conservator",
         "survey_date": "2026-05-02", "significance": "One of two"}
    ]  # fmt: skip
    raw["elevations"] = [
        {"elevation": "N", "name": "North", "drawing": "north.svg", "width_m": 9, "height_m": 9}
    ]
    raw["zones"] = [
        {"zone": f"Z{number}", "elevation": "N", "name": "A bay", "area_m2": 4,
         "substrate": "granite", "finish": "tooled", "condition": "not_assessed",
         "exposure": "sheltered", "access": "ground", "significance": "medium",
         "significance_reason": "Original", "soilings": "black_gypsum_crust",
         "surveyed_on": "2026-05-01", "surveyed_by": "conservator", **zone}
        for number, zone in enumerate(zones or (GRANITE,), start=1)
    ]  # fmt: skip
    if agreed:
        raw["policy"] = [offered_policy(date(2026, 4, 1)).model_dump(mode="json")]
    return raw


def keep(rows: Rows, path: Path) -> Path:
    """Keep a survey in a database; the same rows are saved once and copied from then on."""
    path.write_bytes(_file_of(json.dumps(rows)))
    return path


def records(rows: Rows) -> list[Record]:
    """Rows as the records that they become."""
    return [TABLES[name].model_validate(row) for name, some in rows.items() for row in some]


@cache
def _file_of(rows: str) -> bytes:
    """Content of a database that holds rows."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "survey.db"
        with DatabaseSurvey(path) as survey:
            survey.save(*records(json.loads(rows)), who="office")
        assert [one.name for one in path.parent.iterdir()] == [path.name]
        return path.read_bytes()
