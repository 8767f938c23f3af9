"""Settings as surveys wrote them before: a sentence and a free unit, read once into fields.

Nothing that decides comes here: it serves databases and packages of older releases. What can't be
read in one way only is not read, and is listed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from functools import cache, lru_cache
from typing import Any, NamedTuple
from unicodedata import normalize

from pydantic import ValidationError

from heritagecheck.survey.records import Panel, Setting, all_of
from heritagecheck.survey.records.quantities import Scale, has, range_fault
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.row_reading import RowsRead
from heritagecheck.tables.row_types import SettingQuantity, SettingUnit

UNITS = {"panels": ("setting_quantity", "setting_unit"), "spots": ("dose_quantity", "dose_unit")}
NOT_READ = "not_read"
BASES = {
    "peak": r"\bpeak\b",
    "mean": r"\b(?:mean|average)\b",
    "flat": r"\b(?:flat|top)[\s-]*(?:top|hat)\b",
}
# Average power is not mean fluence, and a question or "unknown" gives no basis.
NO_BASIS = re.compile(r"\bpower\b|\bnot\b|\bunknown\b|\?", re.IGNORECASE)


def in_old_form(table: str, fields: Iterable[str]) -> bool:
    """Whether a table has the columns of older releases."""
    return table in UNITS and UNITS[table][0] not in set(fields)


def scale_of(text: str) -> tuple[Scale, str]:
    """Quantity and unit of a text, and the text if it could not be read whole."""
    written = " ".join(plain(text).split())
    bases = [name for name, words in BASES.items() if re.search(words, written, re.IGNORECASE)]
    bare = written
    for words in BASES.values():
        bare = re.sub(words, " ", bare, flags=re.IGNORECASE)
    unit = units().get(key(bare)) or units().get(key(written))
    left = ""
    if unit is None:
        start = re.match(r"[mk]?J\s*/\s*[cm]?m²", bare, re.IGNORECASE)
        unit = units().get(key(start.group())) if start else None
        left = text
    if unit is None:
        return Scale(None, None), text
    names = [row.quantity for row in SettingQuantity.rows() if unit in row.units]
    if "peak_fluence" in names:
        clear = len(bases) == 1 and not NO_BASIS.search(written)
        # Where a beam is flat its mean is its peak.
        quantity = {"peak": "peak_fluence", "mean": "mean_fluence", "flat": "peak_fluence"}
        left = left or (text if "flat" in bases else "")
        return Scale(quantity[bases[0]] if clear else None, unit), left
    return Scale(names[0] if len(names) == 1 else None, unit), left


def as_now(table: str, values: Mapping[str, Any]) -> dict[str, Any]:
    """A panel or spot of an older release with the fields of today."""
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


def settings_from_words(panels: Iterable[Panel]) -> Iterator[Setting]:
    """Settings read from the sentences of panels, a series each."""
    first: dict[str, Panel] = {}
    for panel in panels:
        first.setdefault(panel.series, panel)
    for panel in first.values():
        seen, left = read(panel.setting, panel.method)
        for one in seen:
            yield Setting(series=panel.series, zone=panel.zone, **one._asdict())
        if left:
            yield Setting(series=panel.series, zone=panel.zone, quantity=NOT_READ, words=left)


def with_settings_from_words(found: RowsRead) -> RowsRead:
    """Rows of older tables, with settings read from the sentences of their panels."""
    settings = tuple(settings_from_words(all_of(found.records, Panel)))
    return replace(
        found,
        records={**found.records, "settings": settings},
        numbers={**found.numbers, "settings": [0] * len(settings)},
    )


def not_read_of(records: Iterable[Record]) -> tuple[str, ...]:
    """Words of older settings that could not be read, a line a series."""
    return tuple(
        f"{one.series}: {one.words}"
        for one in records
        if isinstance(one, Setting) and one.quantity == NOT_READ
    )


def _in_range(scale: Scale, numbers: Iterable[Any]) -> bool:
    """Whether all numbers are possible for the quantity."""
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


# -- Words -----------------------------------------------------------------------------------------
# A number counts only with a unit. If the unit fits several quantities, the clause must name one:
# 100 mm alone is not a distance, since it may be the size of the nozzle.

CLAUSE_ENDS = re.compile(r"[;()\n]|,(?!\d)|\.(?=\s+[A-Z])")
SAID_UNKNOWN = re.compile(
    r"\?|\bun(?:known|recorded|measured)\b|"
    r"\bnot (?:known|noted|recorded|measured|read|stated|written)\b",
    re.IGNORECASE,
)
ONE = r"\d+(?:[.,]\d+)?"
TO = rf"(?:\s*(-|–|\bto\b|±)\s*({ONE}))?"
SPAN = rf"(?<![\w.,×-])(?<!× )(?<!x )({ONE}){TO}\s*({{units}})(?![\w/°²])"
BEFORE = re.compile(rf"\b(Mohs|pH)\s+({ONE}){TO}(?![\w,.]?\d)", re.IGNORECASE)
THOUSANDS = re.compile(r"\d,\d{3}(?!\d)")


class _Rule(NamedTuple):
    """Which quantity a number with some unit is, if the words of its clause fit."""

    quantity: str
    units: str
    beside: str = ""
    not_beside: str = ""


FLUENCE = "J/cm²|mJ/cm²|kJ/m²|mJ/mm²"
# The first rule that fits is taken; a number that fits none is not read.
NUMBERS = (
    _Rule("hardness", "Mohs"),
    _Rule("ph", "pH", "", r"\brins\w*|\bbackground\b|\bneutralis"),
    _Rule("pressure", "bar|kPa|MPa|psi"),
    _Rule("peak_fluence", FLUENCE, r"\bpeak\b", r"\bmean\b|\baverage\b|\bpower\b"),
    _Rule("mean_fluence", FLUENCE, r"\b(?:mean|average)\b", r"\bpeak\b|\bpower\b"),
    _Rule("pulse_duration", "fs|ps|ns|µs"),
    _Rule("repetition_rate", "Hz|kHz|MHz"),
    _Rule("wavelength", "nm"),
    _Rule("speed", "mm/s|m/s|m/min"),
    _Rule("water_flow", "L/min|L/h|mL/min"),
    _Rule("medium_flow", "g/min|kg/min|kg/h"),
    _Rule("rinse", "L/m²"),
    _Rule("metal_hardness", "HRC"),
    _Rule("power", "kW|W"),
    _Rule("back_temperature", "°C|°F", r"\b(?:back|behind|rear)\b"),
    _Rule("temperature", "°C|°F", "", r"\b(?:air|wall|surface|stone|rins\w*)\b"),
    _Rule("fan_angle", "°", r"\bfan\b"),
    _Rule("angle", "°", "", r"\b(?:gloss|cone|nozzle)\b"),
    _Rule("time_per_day", "min a day|h a day"),
    _Rule("dwell", "s|min|h|d", "", r"\brins\w*|\bdr(?:y|ied|ying)\b|\ba day\b|\bon\b|\boff\b"),
    _Rule("concentration", "%", "", r"\b(?:RH|humidity|area|soiling|left)\b"),
    _Rule("mass_concentration", "g/L"),
    _Rule("hatch", "mm|µm", r"\bhatch\b"),
    _Rule("spot_diameter", "mm|µm|cm", r"\b(?:spot|beam|diameter)\b|Ø",
          r"\b(?:away|from|distance|stand[\s-]*off|hatch)\b"),
    _Rule("thickness", "mm|cm", r"\b(?:layer|thick\w*|poultice)\b"),
    _Rule("distance", "mm|cm|m", r"\b(?:stand[\s-]*off|distance|from|away)\b"),
    _Rule("grain_size", "µm|mm", r"\b(?:powder|grains?|grit|size|pellets|granules)\b|^[^:]*µm",
          r"\b(?:profile|roughness|R[za]|layer|film|coating|removed|loss|thick|nozzle)\b"),
)  # fmt: skip
WORDS = (
    ("medium", "calcite", r"\b(?:calcite|calcium carbonate|limestone powder|marble powder)\b"),
    ("medium", "dolomite", r"\bdolomite\b"), ("medium", "chalk", r"\bchalk\b"),
    ("medium", "sodium_bicarbonate", r"\b(?:sodium bicarbonate|baking soda)\b"),
    ("medium", "dry_ice", r"\bdry[\s-]ice\b"), ("medium", "glass", r"\bglass (?:powder|beads?)\b"),
    ("medium", "pumice", r"\bpumice\b"), ("medium", "olivine", r"\bolivine\b"),
    ("medium", "garnet", r"\bgarnet\b"), ("medium", "staurolite", r"\bstaurolite\b"),
    ("medium", "slag", r"\bslag\b"), ("medium", "sand", r"\b(?:sand|quartz)\b"),
    ("medium", "alumina", r"\b(?:alumina|alumini?um oxide|corundum)\b"),
    ("medium", "silicon_carbide", r"\bsilicon carbide\b"),
    ("medium", "steel_grit", r"\b(?:steel grit|steel shot|chilled iron)\b"),
    ("medium", "starch", r"\b(?:starch|shells?)\b"),
    ("medium", "plastic", r"\b(?:plastic|melamine)\b"),
    ("pressure_read_at", "nozzle", r"\bat (?:the )?nozzle\b|\bnozzle pressure\b"),
    ("pressure_read_at", "pump", r"\bat the (?:pump|compressor)\b"),
    ("measured_at", "wall", r"\bat the wall\b"),
    ("temperature", "unheated", r"\b(?:cold|unheated|ambient)\b"),
    ("nozzle", "fan", r"\bfan\b"), ("nozzle", "pencil_jet", r"\b(?:pencil|point|straight) jet\b"),
    ("nozzle", "rotary", r"\brotary nozzle\b|\brotating nozzle\b"),
    ("nozzle", "swirl", r"\bswirl\b"),
    ("tool", "rotary_wire_brush", r"\b(?:rotary|rotating|power) wire brush\w*"),
    ("tool", "wire_cup", r"\b(?:wire|knotted) cup\b|\bcup brush\b"),
    ("tool", "wire_brush", r"(?<!rotary )(?<!rotating )(?<!power )\bwire brush\w*"),
    ("tool", "needles", r"\bneedles?\b"), ("tool", "disc", r"\b(?:discs?|grinder)\b"),
    ("tool", "flap_wheel", r"\bflap\b"), ("tool", "chisel", r"\bchisel\b"),
    ("tool", "scalpel", r"\bscalpel\b"), ("tool", "scraper", r"\bscraper\b"),
    ("tool", "spatula", r"\bspatula\b"), ("tool", "nylon_brush", r"\bnylon (?:brush\w*|bristles?)"),
    ("tool", "natural_brush", r"\b(?:soft|natural|hog|horse)[\s-](?:\w+[\s-])?brush\w*"),
    ("tool", "sponge", r"\bsponge\b"), ("tool", "swab", r"\bswabs?\b"),
    ("tool", "eraser", r"\beraser\b"), ("tool", "vacuum", r"\bvacuum\w*"),
    ("acid", "ammonium_bifluoride", r"\bammonium (?:bi|hydrogen\s*di)fluoride\b"),
    ("acid", "hydrofluoric", r"\bhydrofluoric\b|\bHF\b"),
    ("acid", "citric", r"\bcitric\b"), ("acid", "oxalic", r"\boxalic\b"),
    ("acid", "acetic", r"\bacetic\b"), ("acid", "formic", r"\bformic\b"),
    ("acid", "phosphoric", r"\bphosphoric\b"),
    ("acid", "hydrochloric", r"\b(?:hydrochloric|muriatic)\b"),
    ("acid", "sulphuric", r"\bsul(?:ph|f)uric\b"), ("acid", "nitric", r"\bnitric\b"),
    ("acid", "sulphamic", r"\bsul(?:ph|f)amic\b"),
    ("concentration", "undiluted", r"\b(?:undiluted|neat|as supplied)\b"),
    ("rinse", "to_background", r"\brins\w*.*\b(?:background|conductivity)\b"),
    ("rinse", "to_clear", r"\brins\w*.*\bclear\b"),
)  # fmt: skip
# In a clause with such a word no medium is named: a plastic sheet covers, it is not blasted.
COVERED = re.compile(r"\b(?:mask|sheet|cover|protect|window)\w*", re.IGNORECASE)
NEGATED = re.compile(r"\b(?:no|not|never|without|free of)\b", re.IGNORECASE)
NO_RINSE = re.compile(r"\b(?:no|not|without) rins\w*", re.IGNORECASE)
UPRIGHT = re.compile(
    r"\b(?:perpendicular|at right angles|square (?:to|on)|squarely|normal (?:incidence|to))\b",
    re.IGNORECASE,
)
GRADE = re.compile(r"\b(Sa|St|SP|WJ)[\s-]*(\d+)(?:\s*(½|1/2|\.5))?(?!\d)")


class Seen(NamedTuple):
    """One quantity read from words, as fields of a record."""

    quantity: str
    value: float | None
    value_to: float | None
    unit: str | None
    words: str | None


# All panels of a series share their words, and are read whenever a zone of their stone is judged.
@lru_cache(maxsize=1024)
def read(text: str, method: str) -> tuple[tuple[Seen, ...], str]:
    """Quantities read from the words of a setting, and the clauses that could not be read."""
    found: dict[str, Seen] = {}
    twice: set[str] = set()
    clauses: list[tuple[str, set[str], bool]] = []
    for clause in filter(str.strip, CLAUSE_ENDS.split(plain(text))):
        seen, whole = ([], False) if SAID_UNKNOWN.search(clause) else _of_clause(clause, method)
        twice |= {one.quantity for one in seen if found.setdefault(one.quantity, one) != one}
        clauses.append((clause.strip(), {one.quantity for one in seen}, whole))
    left = [
        text
        for text, quantities_in, whole in clauses
        if not whole or not quantities_in or quantities_in & twice
    ]
    once = tuple(one for quantity, one in found.items() if quantity not in twice)
    return once, "; ".join(left)


def _of_clause(clause: str, method: str) -> tuple[list[Seen], bool]:
    """Quantities in one clause, and whether every number in it was read."""
    if THOUSANDS.search(clause):
        return [], False
    numbers = [
        Seen(quantity, low, high, unit, None) if quantity else None
        for low, high, unit in _tokens(clause)
        for quantity in [_quantity(unit, clause, method)]
    ]
    found = [one for one in numbers if one is not None and _taken(one, method)]
    rest = GRADE.sub("", BEFORE.sub("", _spans().sub("", clause)))
    whole = len(found) == len(numbers) and not re.search(r"\d", rest)
    in_words = [one for one in _words_of(clause) if _taken(one, method)]
    return [*found, *in_words], whole and not (NEGATED.search(clause) and not in_words)


def _words_of(clause: str) -> Iterator[Seen]:
    """Quantities in a clause that are given without a number."""
    if NO_RINSE.search(clause):
        yield Seen("rinse", None, None, None, "none")
    if NEGATED.search(clause):
        return
    if UPRIGHT.search(clause):
        yield Seen("angle", 90.0, None, "°", None)
    if grade := GRADE.search(clause):
        sign = "-" if grade[1] == "WJ" else " "
        half = " 1/2" if grade[3] else ""
        yield Seen("preparation_grade", None, None, None, f"{grade[1]}{sign}{grade[2]}{half}")
    for quantity, word, pattern in WORDS:
        covered = quantity == "medium" and COVERED.search(clause)
        if not covered and re.search(pattern, clause, re.IGNORECASE):
            yield Seen(quantity, None, None, None, word)


def _tokens(clause: str) -> Iterator[tuple[float, float | None, str]]:
    """Numbers of a clause with their units: lowest, highest of a span, unit."""
    for low, sign, high, unit in _spans().findall(clause):
        yield *_ends(low, sign, high), _spellings()[unit]
    for unit, low, sign, high in BEFORE.findall(clause):
        yield *_ends(low, sign, high), {"mohs": "Mohs", "ph": "pH"}[unit.casefold()]


def _ends(low: str, sign: str, high: str) -> tuple[float, float | None]:
    """Lowest and highest of a span; for a single number, it and None."""
    first = float(low.replace(",", "."))
    if not high:
        return first, None
    other = float(high.replace(",", "."))
    return (first - other, first + other) if sign == "±" else (first, other)


def _quantity(unit: str, clause: str, method: str) -> str | None:
    """Quantity of a number with a unit in a clause; None if that is not certain."""
    for rule in NUMBERS:
        if (
            unit in rule.units.split("|")
            and has(method, rule.quantity)
            and (not rule.beside or re.search(rule.beside, clause, re.IGNORECASE))
            and (not rule.not_beside or not re.search(rule.not_beside, clause, re.IGNORECASE))
        ):
            return rule.quantity
    return None


def _taken(seen: Seen, method: str) -> bool:
    """Whether a record would accept what was read."""
    if not has(method, seen.quantity):
        return False
    try:
        Setting(series="one", zone="one", **seen._asdict())
    except ValidationError:
        return False
    return True


def plain(text: str) -> str:
    """Words with superscripts, micro signs and degrees in one spelling."""
    found = normalize("NFC", re.sub(r"\bu(?=m\b|s\b)", "µ", text.replace("μ", "µ")))
    found = re.sub(r"(?<=m)\s*(?:\^\s*2|2)(?!\w)|(?<=m)[⁻-]2", "²", found)
    return re.sub(r"°\s+(?=[CF]\b)", "°", found)


def key(text: str) -> str:
    """A unit in one spelling."""
    return re.sub(r"[\s·*,]", "", plain(text)).casefold()


@cache
def units() -> dict[str, str]:
    """Every spelling of a unit on its own, in the form of `key`."""
    found: dict[str, str] = {}
    for row in SettingUnit.rows():
        for spelling in row.written:
            found.setdefault(key(spelling), row.unit)
    return found


@cache
def _spellings() -> dict[str, str]:
    """Every spelling of a unit in a sentence; units of counts are left out."""
    return {
        spelling: row.unit
        for row in SettingUnit.rows()
        if row.dimension != "count"
        for spelling in row.written
    }


@cache
def _spans() -> re.Pattern[str]:
    """Pattern of a number or span followed by its unit."""
    spelt = sorted(_spellings(), key=len, reverse=True)
    return re.compile(SPAN.replace("{units}", "|".join(map(re.escape, spelt))))
