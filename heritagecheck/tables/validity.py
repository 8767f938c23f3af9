"""Until when advice may be acted on without a new look."""

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
    years = int(keyed("validity", "outcome")[outcome]["years"])
    leap_day = (closed.month, closed.day) == (2, 29)
    return closed.replace(year=closed.year + years, day=28 if leap_day else closed.day)
