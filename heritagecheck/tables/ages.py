"""How long panels must age, how old a record may be, and until when advice may be followed."""

from __future__ import annotations

import math
from datetime import date, timedelta

from heritagecheck.tables import threshold
from heritagecheck.tables.row_types import Ageing, Method, Validity

# -- Ageing of panels ------------------------------------------------------------------------------


def ageing_required(kind: str, method: str, significance: str, *, urgent: bool) -> tuple[int, bool]:
    """
    Days that panels must age, and whether a winter must pass over them.

    Urgency shortens a wait for what shows on stone, and never the cure of a coating.

    Examples
    --------
    >>> ageing_required("masonry", "nebulised_water", "medium", urgent=False)
    (90, False)
    >>> ageing_required("masonry", "nebulised_water", "medium", urgent=True)
    (23, False)
    >>> ageing_required("metal", "dry_grit_blast", "medium", urgent=True)
    (28, False)
    """
    family = Method.named(method).family
    row = next(
        row
        for row in Ageing.rows()
        if row.kind == kind and family in row.families and significance in row.significance
    )
    if not (urgent and row.shorter_if_urgent):
        return row.days, row.winter
    days = math.ceil(row.days * threshold("urgent_ageing_share"))
    return days, row.winter and significance == "high"


# -- Age of records --------------------------------------------------------------------------------


def valid_until(outcome: str, closed: date) -> date:
    """Last day of a recommendation, by its outcome and the day the survey was closed."""
    return _moved(closed, Validity.named(outcome).years)


def return_on(closed: date, days: int) -> date:
    """
    Day on which someone returns; whole years go by the calendar, as those of an advice do.

    Examples
    --------
    >>> from datetime import date
    >>> return_on(date(2026, 9, 18), 730), return_on(date(2026, 9, 18), 180)
    (datetime.date(2028, 9, 18), datetime.date(2027, 3, 17))
    """
    years, rest = divmod(days, 365)
    return closed + timedelta(days=days) if rest else _moved(closed, years)


def oldest_allowed(table: str, closed: date) -> date:
    """Oldest date of a record of a table, such as ``"panels"``, on which a gate may pass."""
    return _moved(closed, -Validity.named(table).years)


def _moved(closed: date, years: int) -> date:
    """Same day some years later; the last of February where there is none."""
    leap_day = (closed.month, closed.day) == (2, 29)
    return closed.replace(year=closed.year + years, day=28 if leap_day else closed.day)
