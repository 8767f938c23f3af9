"""The days on which records were made, and the latest of them all."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from functools import cache

from heritagecheck.survey.records.fields import kinds
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.table_list import TABLES

MAY_LIE_AHEAD = {"agreed_on", "due", "next_access"}  # of a policy, a repair, a scaffold


@cache
def days_of(table: str) -> tuple[str, ...]:
    """Fields of a table that hold a day on which something was seen, done or measured."""
    model = TABLES[table]
    return tuple(
        field
        for field in model.model_fields
        if date in kinds(model, field) and field not in MAY_LIE_AHEAD
    )


def latest_day(records: Mapping[str, tuple[Record, ...]]) -> date | None:
    """Latest day on which any record was made; None where none is dated."""
    days = (
        getattr(record, field)
        for table in TABLES
        for field in days_of(table)
        for record in records[table]
    )
    return max((day for day in days if day is not None), default=None)
