"""Which zones the tests of the report write, and how its words are compared."""

import re

# One zone of each outcome, one that is urgent, and one that nobody can enter.
ZONES = ["N04", "N06", "N09", "T05", "C03"]


def close_up(text: str) -> str:
    """Words without their gaps, which differ from page to page with the breaks of lines."""
    return re.sub(r"\s+", "", text)
