"""Until when advice may be acted on without a new look, and how old a record may be."""

from __future__ import annotations

from datetime import date

from heritagecheck.tables.row_types import Validity


def valid_until(outcome: str, closed: date) -> date:
    """Last day of a recommendation, by its outcome and the day the survey was closed."""
    return _moved(closed, Validity.named(outcome).years)


def oldest_allowed(table: str, closed: date) -> date:
    """Oldest date of a record of a table, such as ``"panels"``, on which a gate may pass."""
    return _moved(closed, -Validity.named(table).years)


def _moved(closed: date, years: int) -> date:
    """Same day some years later; the last of February where there is none."""
    leap_day = (closed.month, closed.day) == (2, 29)
    return closed.replace(year=closed.year + years, day=28 if leap_day else closed.day)
