"""How long panels must age, how old a record may be, and until when advice may be followed."""

from __future__ import annotations

import math
from datetime import date

from heritagecheck.tables import threshold
from heritagecheck.tables.row_types import Ageing, Method, Validity

# -- Ageing of panels ------------------------------------------------------------------------------


def ageing_asked(kind: str, method: str, significance: str) -> Ageing:
    """
    Days that panels must age, and whether a winter must pass.

    Examples
    --------
    >>> ageing_asked("masonry", "nebulised_water", "medium").days
    90
    """
    family = Method.named(method).family
    return next(
        row
        for row in Ageing.rows()
        if row.kind == kind and family in row.families and significance in row.significance
    )


def ageing_if_urgent(row: Ageing, significance: str) -> tuple[int, bool]:
    """
    Days that panels of an urgent zone must age, and whether a winter must pass.

    Examples
    --------
    >>> ageing_if_urgent(ageing_asked("metal", "dry_grit_blast", "medium"), "medium")
    (7, False)
    """
    days = math.ceil(row.days * threshold("urgent_ageing_share"))
    return days, row.winter and significance == "high"


# -- Age of records --------------------------------------------------------------------------------


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
