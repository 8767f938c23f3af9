"""Whether two zones may be of one bed of stone, or of one coating system, however it is spelt."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from functools import lru_cache
from itertools import combinations
from unicodedata import normalize

from heritagecheck.survey.records import Zone
from heritagecheck.tables import keyed

LONG = 4  # letters; "bed A" and "bed B" differ in what tells them apart, not in spelling


@lru_cache(maxsize=4096)
def plain_bed(bed: str | None) -> str:
    """
    Name of a bed without what spelling adds: capitals, blanks, punctuation.

    Parameters
    ----------
    bed : str or None
        Quarry bed or coating system as it was written.

    Returns
    -------
    str
        Empty where none is recorded.

    Examples
    --------
    >>> plain_bed("Grey granite, bed A") == plain_bed("grey granite bed a")
    True
    """
    return "".join(_words(bed or ""))


def same_bed(one: str | None, other: str | None) -> bool:
    """
    Whether two names are of one bed, so that good panels on one may speak for the other.

    Parameters
    ----------
    one, other : str or None
        Beds or coating systems as they were written.

    Returns
    -------
    bool
        False where one is not recorded.
    """
    return plain_bed(one) == plain_bed(other) != ""


def near_names(one: str | None, other: str | None) -> bool:
    """
    Whether two names of beds differ so little that one may be a slip of the pen.

    Parameters
    ----------
    one, other : str or None
        Beds or coating systems as they were written.

    Returns
    -------
    bool
        False where they are the same, or where a number or a single letter tells them apart.

    Examples
    --------
    >>> near_names("grey granite, bed A", "gray granite, bed A")
    True
    >>> near_names("grey granite, bed A", "grey granite, bed B")
    False
    """
    return _near(*sorted((one or "", other or "")))


def may_be_one_bed(one: str | None, other: str | None) -> bool:
    """
    Whether harm done on one bed may be harm to be expected on the other.

    Parameters
    ----------
    one, other : str or None
        Beds or coating systems of two zones of one stone, as they were written.

    Returns
    -------
    bool
        True for the same bed, for names that differ as by a slip, and where one is not recorded:
        counter-evidence must not be lost by spelling. Such a bed never lets good panels speak.
    """
    unnamed = not plain_bed(one) or not plain_bed(other)
    return unnamed or same_bed(one, other) or near_names(one, other)


def stone_of(substrate: str) -> str:
    """
    Stone or metal of a substrate, whatever its weathering or polish.

    Parameters
    ----------
    substrate : str
        Code of `tables/substrates.csv`.

    Returns
    -------
    str
        Its parent, or itself where it has none.
    """
    return keyed("substrates", "substrate")[substrate]["parent"] or substrate


def names_to_ask_about(zones: Iterable[Zone]) -> Iterator[tuple[Zone, str]]:
    """
    Beds that are perhaps another bed of the survey, spelt otherwise.

    Parameters
    ----------
    zones : iterable of Zone
        All zones.

    Yields
    ------
    tuple of Zone and str
        The first zone that bears the rarer name, and the name that is perhaps meant.
    """
    of_stone: dict[str, dict[str, list[Zone]]] = {}
    for zone in zones:
        if bed := plain_bed(zone.bed_or_system):
            of_stone.setdefault(stone_of(zone.substrate), {}).setdefault(bed, []).append(zone)
    for beds in of_stone.values():
        for pair in combinations(beds.values(), 2):
            often, seldom = sorted(pair, key=len, reverse=True)
            meant = often[0].bed_or_system or ""
            if near_names(meant, seldom[0].bed_or_system):
                yield seldom[0], meant


def _words(bed: str) -> list[str]:
    """Words and numbers of a name."""
    return re.findall(r"[^\W_]+", normalize("NFKC", bed).casefold())


@lru_cache(maxsize=4096)
def _near(one: str, other: str) -> bool:
    """Whether two names, in the order of the alphabet, differ as by a slip."""
    mine, yours = _words(one), _words(other)
    if mine == yours or "".join(mine) == "".join(yours):
        return False
    if sorted(mine) == sorted(yours):
        return True
    return len(mine) == len(yours) and all(map(_slip, mine, yours))


def _slip(one: str, other: str) -> bool:
    """Whether two words are the same but for one letter; a number or short word is never a slip."""
    if one == other:
        return True
    short, long = sorted((one, other), key=len)
    if len(long) < LONG or any(letter.isdigit() for letter in one + other):
        return False
    pairs = enumerate(zip(short, long, strict=False))
    start = next((place for place, (mine, yours) in pairs if mine != yours), len(short))
    if len(short) == len(long):
        turned = short[start + 1 : start + 2] + short[start] + short[start + 2 :]
        return short[start + 1 :] == long[start + 1 :] or turned == long[start:]
    return short[start:] == long[start + 1 :]
