"""Recorded texts within our sentences: whatever sign they end with, a sentence ends once."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime

ENDS = "?!.…"
# Ends every page and card that names a recommendation.
FOR_APPROVAL = "For approval; not permission to work."


def ended(text: str) -> str:
    """
    A text with a full stop, unless it ends a sentence already.

    Examples
    --------
    >>> ended("Mist at 3 bar"), ended("Clean it for the jubilee?")
    ('Mist at 3 bar.', 'Clean it for the jubilee?')
    """
    return text if text.endswith(tuple(ENDS)) else f"{text}."


def count_of(number: int, name: str, several: str = "") -> str:
    """
    A number with what is counted, one or many.

    Parameters
    ----------
    number : int
        How many.
    name : str
        What one is called.
    several : str
        What more than one are called, where that is not `name` with an s.

    Examples
    --------
    >>> count_of(1, "panel"), count_of(1560, "reading"), count_of(2, "series", "series")
    ('1 panel', '1,560 readings', '2 series')
    """
    return f"{number:,} {name if number == 1 else several or f'{name}s'}"


def joined(parts: Iterable[object], sign: str = "; ") -> str:
    """
    Parts of one sentence, none of which ends it early but a question.

    Examples
    --------
    >>> joined(["Mist at 3 bar.", "then a soft brush"])
    'Mist at 3 bar; then a soft brush'
    >>> joined(["is that soot?", "seen from the ground"])
    'is that soot? Seen from the ground'
    """
    *first, last = [str(part) for part in parts] or [""]
    said = ""
    for text in (*(one.rstrip(" .") for one in first), last):
        asked = said.endswith(tuple(ENDS))
        parted = " " if asked else sign if said else ""
        said += parted + (upper_first(text) if asked else text)
    return said


def a_few(parts: Sequence[str], sign: str = ", ", *, most: int = 3) -> str:
    """
    The first of some parts, and a sign where there are more.

    Examples
    --------
    >>> a_few(["N01", "N02", "N03", "N04"])
    'N01, N02, N03, …'
    """
    return sign.join((*parts[:most], *(["…"] if len(parts) > most else [])))


def day_in_words(day: date) -> str:
    """
    A day as pages, cards and lists for people print it; data files keep 2027-09-18.

    Examples
    --------
    >>> from datetime import date
    >>> day_in_words(date(2027, 9, 18))
    '18 September 2027'
    """
    return f"{day.day} {day:%B %Y}"


def moment_in_words(moment: str) -> str:
    """
    Day and time of what is recorded as 2026-10-07T15:40:00+00:00, as people read them.

    Examples
    --------
    >>> moment_in_words("2026-10-07T15:40:00+00:00")
    '7 October 2026, 15:40'
    """
    when = datetime.fromisoformat(moment)
    return f"{day_in_words(when)}, {when:%H:%M}"


def lower_first(text: str) -> str:
    """
    A name within a sentence: without its capital, unless it is an abbreviation.

    Examples
    --------
    >>> lower_first("Nanosecond Q-switched laser 1064 nm"), lower_first("UV laser")
    ('nanosecond Q-switched laser 1064 nm', 'UV laser')
    """
    return text if text[1:2].isupper() else text[:1].lower() + text[1:]


def digits_for(error: float) -> int:
    """Decimals with which a number of this error is printed: its error then has two digits."""
    if not (math.isfinite(error) and error > 0):
        return 1
    return min(max(1 - math.floor(math.log10(error)), 0), 3)


def upper_first(text: str) -> str:
    """
    A text that begins a sentence.

    Examples
    --------
    >>> upper_first("no colour was read"), upper_first("")
    ('No colour was read', '')
    """
    return text[:1].upper() + text[1:]


# -- Limits, rounded to the side on which they still hold ------------------------------------------

LEAST_SHARE = 0.001  # of spots, in words: digits of smaller ones are a grid's, not the spots'
LEAST_BOUND = 0.01
_NOISE = 1e-9  # of the last digit: what a sum in binary leaves is no digit


def rounded_down(x: float, digits: int = 2) -> float:
    """Round to so many digits, never up: for what a thing may be at most."""
    return _rounded(x, digits, math.floor, _NOISE)


def rounded_up(x: float, digits: int = 2) -> float:
    """Round to so many digits, never down: for what a thing must be at least."""
    return _rounded(x, digits, math.ceil, -_NOISE)


def lower_bound(x: float) -> str:
    """
    Give a lower bound in two digits, never rounded up; below a hundredth nothing is shown.

    Examples
    --------
    >>> lower_bound(1.287), lower_bound(0.00045), lower_bound(123.0)
    ('1.2', '0', '120')
    """
    return f"{rounded_down(x):g}" if x >= LEAST_BOUND else "0"


def _rounded(x: float, digits: int, whole: Callable[[float], int], noise: float) -> float:
    """Round at the last digit that counts."""
    if x == 0 or not math.isfinite(x):
        return x
    last = math.floor(math.log10(abs(x))) - digits + 1
    return float(f"{whole(x / 10.0**last + noise)}e{last}")
