"""Until when advice may be acted on without a new look, and how old a record may be."""

from __future__ import annotations

from datetime import date

from heritagecheck.tables import keyed


def valid_until(outcome: str, closed: date) -> date:
    """
    Last day of a recommendation.

    Parameters
    ----------
    outcome : str
        Outcome of the zone.
    closed : date
        Day on which the survey was closed.

    Returns
    -------
    date
        Years of `tables/validity.csv` after that day.
    """
    return _moved(closed, _years(outcome))


def oldest_allowed(table: str, closed: date) -> date:
    """
    Oldest date of a record on which a gate may pass.

    Parameters
    ----------
    table : str
        Table of the survey, such as ``"panels"``.
    closed : date
        Day on which the survey was closed.

    Returns
    -------
    date
        Years of `tables/validity.csv` before that day.
    """
    return _moved(closed, -_years(table))


def _years(of: str) -> int:
    """Years that the table states."""
    return int(keyed("validity", "of")[of]["years"])


def _moved(closed: date, years: int) -> date:
    """Same day some years later; the last of February where there is none."""
    leap_day = (closed.month, closed.day) == (2, 29)
    return closed.replace(year=closed.year + years, day=28 if leap_day else closed.day)
