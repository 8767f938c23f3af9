"""Beds of stone and coating systems: the survey's list of them, and whether two may be one."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from itertools import combinations
from unicodedata import normalize

from heritagecheck.tables import codes, keyed

LONG = 4  # letters; "bed A" and "bed B" differ in what tells them apart, not in spelling


@lru_cache(maxsize=4096)
def plain_bed(bed: str | None) -> str:
    """Name of a bed without what spelling adds: capitals, blanks, punctuation."""
    return "".join(_words(bed or ""))


def same_bed(one: str | None, other: str | None) -> bool:
    """Whether two names are of one bed, so that good panels on one may speak for the other."""
    return plain_bed(one) == plain_bed(other) != ""


def near_names(one: str | None, other: str | None) -> bool:
    """Whether two names of beds differ so little that one may be a slip of the pen."""
    return _near(*sorted((one or "", other or "")))


def may_be_one_bed(one: str | None, other: str | None) -> bool:
    """Whether harm done on one bed may be harm to be expected on the other."""
    unnamed = not plain_bed(one) or not plain_bed(other)
    return unnamed or same_bed(one, other) or near_names(one, other)


def stone_of(substrate: str) -> str:
    """Stone or metal of a substrate, whatever its weathering or polish."""
    return keyed("substrates", "substrate")[substrate]["parent"] or substrate


def listed_beds(beds: str | None) -> dict[str, tuple[str, ...]]:
    """Beds and coating systems that a survey lists, by their stone or metal."""
    found: dict[str, list[str]] = {}
    for part in filter(None, map(str.strip, (beds or "").split(";"))):
        substrate, _, name = (one.strip() for one in part.partition(":"))
        if substrate not in codes("substrates") or not plain_bed(name):
            raise ValueError(
                f"{part} must be the code of a substrate, a colon and the name of a bed, such "
                f"as granite: grey granite, bed A. Codes: {', '.join(codes('substrates'))}"
            )
        known = found.setdefault(stone_of(substrate), [])
        if any(same_bed(name, other) for other in known):
            raise ValueError(f"{part} is listed twice; write it once")
        known.append(name)
    return {stone: tuple(names) for stone, names in found.items()}


def list_of(named: Iterable[tuple[str, str | None]]) -> str:
    """The list that holds some beds, as the structure takes it."""
    found: dict[tuple[str, str], str] = {}
    for substrate, bed in named:
        if plain := plain_bed(bed):
            stone = stone_of(substrate)
            found.setdefault((stone, plain), f"{stone}: {(bed or '').replace(';', ',')}")
    return "; ".join(found.values())


def names_to_ask_about(listed: Mapping[str, Iterable[str]]) -> Iterator[tuple[str, str]]:
    """Beds that are perhaps another bed of the list, spelt otherwise."""
    for names in listed.values():
        yield from (pair for pair in combinations(names, 2) if near_names(*pair))


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
