"""Settings as surveys wrote them before: a sentence and a free unit, read once into fields.

Nothing that decides comes here: it serves databases and packages of older releases. What can't be
read in one way only is not read, and is listed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from heritagecheck.survey.records import Panel, Setting, all_of
from heritagecheck.survey.records.quantities import Scale, range_fault
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.row_reading import RowsRead
from heritagecheck.survey.settings.old_words import key, plain, read, units
from heritagecheck.tables import rows

UNITS = {"panels": ("setting_quantity", "setting_unit"), "spots": ("dose_quantity", "dose_unit")}
NOT_READ = "not_read"
BASES = {
    "peak": r"\bpeak\b",
    "mean": r"\b(?:mean|average)\b",
    "flat": r"\b(?:flat|top)[\s-]*(?:top|hat)\b",
}
# An average power is no mean fluence, and what somebody asks or does not know is no basis.
NO_BASIS = re.compile(r"\bpower\b|\bnot\b|\bunknown\b|\?", re.IGNORECASE)


def in_old_form(table: str, fields: Iterable[str]) -> bool:
    """Whether a table is written as older releases wrote it."""
    return table in UNITS and UNITS[table][0] not in set(fields)


def scale_of(text: str) -> tuple[Scale, str]:
    """Read a unit as it was written."""
    written = " ".join(plain(text).split())
    bases = [name for name, words in BASES.items() if re.search(words, written, re.IGNORECASE)]
    bare = written
    for words in BASES.values():
        bare = re.sub(words, " ", bare, flags=re.IGNORECASE)
    unit = units().get(key(bare)) or units().get(key(written))
    left = ""
    if unit is None:
        begun = re.match(r"[mk]?J\s*/\s*[cm]?m²", bare, re.IGNORECASE)
        unit = units().get(key(begun.group())) if begun else None
        left = text
    if unit is None:
        return Scale(None, None), text
    names = [
        row["quantity"] for row in rows("setting_quantities") if unit in row["units"].split("|")
    ]
    if "peak_fluence" in names:
        told = len(bases) == 1 and not NO_BASIS.search(written)
        # Where a beam is flat its mean is its peak.
        quantity = {"peak": "peak_fluence", "mean": "mean_fluence", "flat": "peak_fluence"}
        left = left or (text if "flat" in bases else "")
        return Scale(quantity[bases[0]] if told else None, unit), left
    return Scale(names[0] if len(names) == 1 else None, unit), left


def as_now(table: str, values: Mapping[str, Any]) -> dict[str, Any]:
    """A panel or spot as it was written before, in the fields of today."""
    found = dict(values)
    quantity, unit = UNITS.get(table, ("", ""))
    written = str(found.get(unit) or "").strip()
    if not written or found.get(quantity):
        return found
    scale, left = scale_of(written)
    numbers = ("cleaning_low", "cleaning_high", "damage_low", "damage_high", "dose")
    given = [found[name] for name in numbers if found.get(name)]
    if not _in_range(scale, given):
        scale, left = Scale(None, scale.unit), written
    found[quantity], found[unit] = scale
    if left:
        said = f"unit as written: {written}"
        note = str(found.get("note") or "")
        found["note"] = note if said in note else "; ".join(filter(None, (note, said)))
    if table == "spots" and not found.get("dose"):
        found[quantity] = found[unit] = None
    return found


def settings_told(panels: Iterable[Panel]) -> Iterator[Setting]:
    """Read the sentences of some panels into settings of their series."""
    first: dict[str, Panel] = {}
    for panel in panels:
        first.setdefault(panel.series, panel)
    for panel in first.values():
        seen, left = read(panel.setting, panel.method)
        for one in seen:
            yield Setting(series=panel.series, zone=panel.zone, **one._asdict())
        if left:
            yield Setting(series=panel.series, zone=panel.zone, quantity=NOT_READ, words=left)


def with_settings_told(found: RowsRead) -> RowsRead:
    """Rows of older tables, with the settings that their panels tell in sentences."""
    told = tuple(settings_told(all_of(found.records, Panel)))
    return replace(
        found,
        records={**found.records, "settings": told},
        numbers={**found.numbers, "settings": [0] * len(told)},
    )


def not_read_of(records: Iterable[Record]) -> tuple[str, ...]:
    """What was not read of older settings, a line a series."""
    return tuple(
        f"{one.series}: {one.words}"
        for one in records
        if isinstance(one, Setting) and one.quantity == NOT_READ
    )


def _in_range(scale: Scale, numbers: Iterable[Any]) -> bool:
    """Whether all numbers can be of the quantity."""
    quantity, unit = scale
    try:
        return (
            quantity is None
            or unit is None
            or not any(
                range_fault(quantity, float(str(one).replace(",", ".")), unit) for one in numbers
            )
        )
    except ValueError:
        return True  # what is not a number is refused where the record is checked
