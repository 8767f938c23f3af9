"""One question that gate 7 asks of a series of trial panels, and its answer."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

ASK_UNIT = "Ask whoever measured it which unit is meant; for fluence, peak or mean"
LAY_SPOTS = (
    "Lay spots beside the panels: settings in even steps, from too gentle to clean to two or three "
    "times the setting used"
)
COMPLETE_SPOTS = "Complete the record of the spots, as survey.check() asks; else lay them again"


def in_sentences(words: Iterable[str]) -> str:
    """
    Several findings, each a sentence of its own; the last has no full stop.

    Examples
    --------
    >>> in_sentences(["no control was kept", "late effect: salts"])
    'no control was kept. Late effect: salts'
    """
    first, *others = words
    return ". ".join((first, *(f"{one[0].upper()}{one[1:]}" for one in others)))


@dataclass(frozen=True, slots=True)
class Check:
    """
    One question asked of a series: held, not held, or not known.

    `by_doubt` says that it fails only because so few panels leave much open: more panels may settle
    it. `what_to_do` is what would settle it where it is not known.
    """

    name: str
    holds: bool | None
    words: str
    by_doubt: bool = False
    what_to_do: str = "Read the panels again"
