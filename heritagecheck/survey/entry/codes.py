"""Codes that the program makes: in the survey's own habit, unused, and never used before."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping
from itertools import count

import sqlalchemy as sa

from heritagecheck.survey.records import KEYS, Zone
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.schema import KEPT
from heritagecheck.survey.survey import Survey

# How a code is made where the survey has no habit yet: fields between < and >, then the digits.
FIRST_HABITS = {
    "layers": "<zone>-L#",
    "observations": "<zone>-O##",
    "readings": "<zone>-<target>-##",
    "site_tests": "<zone>-<quantity>-#",
    "tile_readings": "<session> tile #",
    "panels": "<series>-#",
    "spots": "<panel>-S##",
    "section_readings": "<zone>-<profile>-##",
    "attachments": "P#",
    "photos": "P#",
    "height_maps": "H#",
    "meetings": "M#",
    "open_questions": "<meeting>-Q#",
}
ON_A_PANEL = {
    "readings": "<panel>-R##",
    "site_tests": "<panel>-<quantity>-#",
}
# Photographs and their files are named alike, so that a code is free only where both are.
NAMED_ALIKE = {"photos": ("photos", "attachments"), "attachments": ("attachments", "photos")}
ZONE_DIGITS = 2
NUMBERED = re.compile(r"(.*?)(\d+)", re.DOTALL)


def next_code(survey: Survey, table: str, *, taken: Collection[str] = (), **beside: str) -> str:
    """One unused code for a new record, as `next_codes` gives them."""
    return next_codes(survey, table, 1, taken=taken, **beside)[0]


def next_codes(
    survey: Survey, table: str, how_many: int, *, taken: Collection[str] = (), **beside: str
) -> tuple[str, ...]:
    """
    Unused codes for new records, in the survey's own pattern, with the next higher numbers.

    `beside` holds known fields of the records, such as their zone; `taken`, codes given to records
    that are not saved yet. The number of a deleted record is not used again. Call it when saving,
    not when a form opens: two open forms would get the same code, and one would replace the other.
    """
    if table == "zones":
        head, digits = _zone_head(survey, beside["elevation"])
    else:
        head, digits = _head(survey, table, beside)
    used = {code.casefold() for code in taken}
    for other in NAMED_ALIKE.get(table, (table,)):
        used |= {code.casefold() for code in ever_used(survey, other, KEYS[other][0])}
    parted = map(NUMBERED.fullmatch, used)
    last = max((int(one[2]) for one in parted if one and one[1] == head.casefold()), default=0)
    return tuple(f"{head}{last + step:0{digits}}" for step in range(1, how_many + 1))


def next_name(survey: Survey, table: str, field: str, stem: str) -> str:
    """An unused name for a set, session or elevation: the stem, numbered from 2 if it was used."""
    used = {name.casefold() for name in ever_used(survey, table, field)}
    names = (stem if number == 1 else f"{stem}-{number}" for number in count(1))
    return next(name for name in names if name.casefold() not in used)


def elevation_code(survey: Survey, name: str) -> str:
    """An unused code for a new elevation, from the first word of its name, such as ``"north"``."""
    words = re.findall(r"[^\W_]+", name.casefold())
    return next_name(survey, "elevations", "elevation", words[0] if words else "elevation")


def ever_used(survey: Survey, table: str, field: str) -> set[str]:
    """Every text that a field of a table has held, also in records deleted since."""
    found = {str(getattr(record, field)) for record in survey.records[table]}
    if isinstance(survey, DatabaseSurvey):
        with survey.reading() as connection:
            found |= set(map(str, connection.scalars(sa.select(KEPT[table].c[field]).distinct())))
    return found


def _zone_head(survey: Survey, elevation: str) -> tuple[str, int]:
    """Start of the codes of an elevation's zones, and their number of digits."""
    heads: dict[str, Counter[tuple[str, int]]] = {}
    for zone in survey.all(Zone):
        if found := NUMBERED.fullmatch(zone.zone):
            heads.setdefault(zone.elevation, Counter())[found[1], len(found[2])] += 1
    if own := heads.get(elevation):
        return own.most_common(1)[0][0]
    others = {head.casefold() for some in heads.values() for head, _ in some}
    letters = re.sub(r"[\W_]", "", elevation).upper()
    beginnings = (letters[:length] for length in range(1, len(letters) + 1))
    free = (head for head in beginnings if head.casefold() not in others)
    return next(free, f"{elevation}-"), ZONE_DIGITS


def _head(survey: Survey, table: str, beside: Mapping[str, str]) -> tuple[str, int]:
    """Start of new codes, and their number of digits."""
    alike = [one for one in survey.records[table] if _of_this_kind(one, KEYS[table][0], beside)]
    own = [one for one in alike if all(getattr(one, name) == beside[name] for name in beside)]
    habits = Counter(_habits(own, KEYS[table][0], beside))
    habits = habits or Counter(_habits(alike, KEYS[table][0], beside))
    if habits:
        head, digits = habits.most_common(1)[0][0]
    else:
        first = ON_A_PANEL if "panel" in beside and table in ON_A_PANEL else FIRST_HABITS
        head, digits = first[table].rstrip("#"), first[table].count("#")
    for name, value in beside.items():
        head = head.replace(f"<{name}>", value)
    return head, digits


def _of_this_kind(record: Record, key: str, beside: Mapping[str, str]) -> bool:
    """Whether a record is of the same target, and on a panel where the new one is."""
    if "target" in beside and getattr(record, "target", None) != beside["target"]:
        return False
    return key == "panel" or (getattr(record, "panel", None) is None) == ("panel" not in beside)


def _habits(
    records: Iterable[Record], key: str, beside: Mapping[str, str]
) -> Iterator[tuple[str, int]]:
    """Pattern of each record's code: its start, with fields between < and >, and its digits."""
    for record in records:
        if found := NUMBERED.fullmatch(getattr(record, key)):
            head = found[1]
            values = {name: str(getattr(record, name)) for name in beside}
            for name in sorted(values, key=lambda one: -len(values[one])):
                head = head.replace(values[name], f"<{name}>", 1)
            yield head, len(found[2])
