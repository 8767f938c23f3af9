"""A record of every kind with every field filled in, for tests of what a person types."""

from __future__ import annotations

from datetime import date
from functools import cache

from heritagecheck.survey.places import example_folder, read_folder
from heritagecheck.survey.records import (
    TABLES,
    Attachment,
    HeightMap,
    Opinion,
    Panel,
    Photo,
    Reading,
    SectionReading,
    Setting,
    SiteTest,
    Spot,
    Zone,
)
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.survey import Survey

DAY = date(2026, 11, 30)


@cache
def example() -> Survey:
    """The example survey, read from its folder."""
    return read_folder(example_folder())


@cache
def filled() -> tuple[Record, ...]:
    """Records that are right, of every kind, and between them every field."""
    found: list[Record] = []
    for table in TABLES:
        missing = set(TABLES[table].model_fields)
        for record in example().records[table]:
            given = {name for name, value in record if value is not None}
            if given & missing:
                missing -= given
                found.append(record)
    return (*found, *_others())


def _others() -> tuple[Record, ...]:
    """What the example has no use for."""
    records = example().records
    reading, panel = records["readings"][0], records["panels"][0]
    attachment = records["attachments"][0]
    setting = next(one for one in records["settings"] if getattr(one, "value") is not None)  # noqa: B009
    made: list[tuple[type[Record], dict[str, object]]] = [
        (Zone, {**dict(records["zones"][0]), "outline": "0 0; 2.5 0; 2.5 1; 0 1"}),
        (Reading, {**dict(reading), "target": "panel", "panel": "N06-pulse-1", "place": "stone 4"}),
        (SiteTest, {**dict(records["site_tests"][0]), "coating": "red lead", "file": "A1"}),
        (SiteTest, {**dict(records["site_tests"][0]), "quantity": "depth_removed_um", "value": 2,
                    "mineral": "biotite", "panel": "N06-pulse-1", "spot": "N06-pulse-1-S01"}),
        (Panel, {
            **dict(panel), "after_series": "N09-wash", "fields_before": 25, "damaged_before": 1,
            "before_on": "control", "joint_included": "yes", "measured_below": "altered_layer",
        }),
        (Setting, {**dict(setting), "value_to": getattr(setting, "value") + 1}),  # noqa: B009
        (Spot, {
            **dict(records["spots"][0]), "cleaned": None, "damaged": None, "read_on": None,
            "not_read_because": "rain", "note": "under the drip",
        }),
        (Attachment, {**dict(attachment), "panel": "N06-pulse-1"}),
        (HeightMap, {
            "height_map": "H1", "attachment": "A1", "zone": "N06", "panel": "N06-pulse-1",
            "spot": "N06-pulse-1-S01", "moment": "before",
            "height_unit": "µm", "pixel_x_um": 1.5, "pixel_y_um": 1.5,
            "rows": 480, "columns": 640, "lowest_um": -12.25, "highest_um": 30, "unseen": 0.01,
            "instrument": "structured light", "measured_on": DAY, "confirmed_by": "conservator",
            "photo": "P1", "photo_points": "1 1 2 2; 9 1 10 2; 9 9 10 10",
            "photo_minerals": "biotite: 1 1; 9 1; 5 8 / quartz: 20 20; 30 20; 25 30",
        }),
        (SectionReading, {
            **dict(records["section_readings"][0]), "quantity": "element", "element": "C",
            "value": 0.2, "count": 5, "note": "near a rivet",
        }),
        (Opinion, {**dict(records["opinions"][0]), "harm_if_left": 2, "harm_if_cleaned": 8}),
        (Photo, {
            **dict(records["photos"][0]), "chart_corners": "1 1; 9 1; 9 9; 1 9", "note": "late sun",
        }),
    ]  # fmt: skip
    return tuple(model.model_validate(values) for model, values in made)
