"""What a person types into one field: read, echoed, or refused in one sentence with an example."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping
from datetime import date

from heritagecheck import tables
from heritagecheck.survey.entry.term_search import (
    NO_OTHER_FIELDS,
    Term,
    matching,
    term_of,
    terms_for,
)
from heritagecheck.survey.records import Panel, SectionReading, Setting, SiteTest, Spot
from heritagecheck.survey.records.fields import (
    is_code,
    kind_of,
    limits,
    literal_choices,
    terms_of,
    terms_within,
    unit_of,
)
from heritagecheck.survey.records.readings import RANGES
from heritagecheck.survey.records.record import CASE_COUNTS, PLAIN_DATE, Record, parts_of_list
from heritagecheck.survey.records.row_reading import (
    MONTHS,
    Ambiguous,
    date_text,
    no_such_day,
    shown,
)
from heritagecheck.tables.row_types import Quantity

# -- Any field -------------------------------------------------------------------------------------

__all__ = ["NotTakenError", "asked_for", "brief", "read_typed", "shown", "understood", "unit_for"]

Value = float | int | date | str | None
TODAY = "today"
DATE_EXAMPLE = "2026-11-30"
FEWEST_LETTERS = 3  # with less, too much may have been meant


def read_typed(
    model: type[Record],
    field: str,
    text: str,
    *,
    beside: Mapping[str, object] = NO_OTHER_FIELDS,
    today: date | None = None,
) -> Value:
    """
    Value that a person typed into a field; None if nothing was typed.

    Numbers may have a comma or a point and the unit behind them, dates may be in numbers or words,
    terms given by label or code. `beside` holds other fields of the record, on which the unit or
    the list of terms may depend. NotTakenError says what is wrong, with an example.
    """
    typed = text.strip()
    if not typed:
        return None
    kind = kind_of(model, field)
    terms = terms_for(model, field, beside)
    if terms_within(model, field):
        parts = parts_of_list(typed)
        meant = tuple(_part(part, terms) for part in parts)
        return typed if meant == parts else "; ".join(meant)  # a list of codes stays as written
    if terms:
        found = _listed(
            typed, terms, case_counts=bool({terms_of(model, field), field} & CASE_COUNTS)
        )
        return int(found) if kind is int and literal_choices(model, field) else found
    if kind is date:
        return _date(one_value(typed, asked_for(model, field)), today or date.today())
    if kind is not str:
        return read_number(model, field, typed, beside)
    return typed


def understood(
    model: type[Record],
    field: str,
    text: str,
    *,
    beside: Mapping[str, object] = NO_OTHER_FIELDS,
    today: date | None = None,
) -> str:
    """
    Typed text as it was understood, such as ``"12.5 mm"``; empty if nothing valid was typed.

    Examples
    --------
    >>> from heritagecheck.survey.records import Layer, Zone
    >>> understood(Layer, "thickness_mm", "12,5"), understood(Zone, "surveyed_on", "30.11.2026")
    ('12.5 mm', '30 November 2026')
    """
    try:
        value = read_typed(model, field, text, beside=beside, today=today)
    except NotTakenError:
        return ""
    if isinstance(value, date):
        return f"{value.day} {MONTHS[value.month - 1].capitalize()} {value.year}"
    labels = {term.code: term.label for term in terms_for(model, field, beside)}
    if terms_within(model, field) and isinstance(value, str):
        parts = (part.partition(":") for part in parts_of_list(value))
        return "; ".join(labels.get(code, code) + sign + more for code, sign, more in parts)
    said = labels.get(shown(value), shown(value))
    unit = unit_for(model, field, beside) if isinstance(value, float) else ""
    return f"{said} {unit}".strip()


def asked_for(
    model: type[Record], field: str, beside: Mapping[str, object] = NO_OTHER_FIELDS
) -> str:
    """What a field takes, such as ``"write a number from 0 to 500 mm, such as 12.5"``."""
    if terms := terms_for(model, field, beside):
        return _choice_words(terms)
    kind = kind_of(model, field)
    if kind is date:
        return f"write a date, such as {DATE_EXAMPLE}"
    if kind is not str:
        return number_words(model, field, beside)
    return "write a short code" if is_code(model, field) else "write a few words"


def _listed(typed: str, terms: tuple[Term, ...], *, case_counts: bool = False) -> str:
    """Code of the term that was typed."""
    wanted = _choice_words(terms)
    found = term_of(terms, one_value(typed, wanted), case_counts=case_counts)
    if found is not None:
        return found.code
    said = brief(typed.replace("_", " "))
    near = matching(terms, typed, most=1) if len(typed) >= FEWEST_LETTERS else ()
    if near:
        raise NotTakenError(f"{said} is not in this list. Did you mean {near[0].label}?")
    raise NotTakenError(f"{said} is not in this list; {wanted}.")


def _part(part: str, terms: tuple[Term, ...]) -> str:
    """One part of a list: a code, and the text after its colon."""
    name, colon, more = part.partition(":")
    return _listed(name.strip(), terms) + colon + more


def _choice_words(terms: tuple[Term, ...]) -> str:
    """A list in a few words: all of it where it is short, else one of its terms."""
    labels = ", ".join(term.label for term in terms)
    short = len(labels.split()) <= 12
    one = f"one of: {labels}" if short else f"from the list, such as {terms[0].label}"
    return f"choose {one}"


def _date(typed: str, today: date) -> date:
    """A date as a person writes it."""
    plain = " ".join(plain_signs(typed).split())
    if plain.casefold() == TODAY:
        return today
    try:
        found = date_text(plain)
    except Ambiguous as why:
        raise NotTakenError(f"{brief(typed)} may be two days: {why}.") from None
    if PLAIN_DATE.fullmatch(found):
        try:
            return date.fromisoformat(found)
        except ValueError:
            plain = found
    if day := no_such_day(plain):
        raise NotTakenError(f"{day} does not exist; write another date, such as {DATE_EXAMPLE}.")
    raise NotTakenError(f"{brief(typed)} is not a date; write one such as {DATE_EXAMPLE}.")


# -- Text ------------------------------------------------------------------------------------------

LONGEST_SHOWN = 30
LONGEST_VALUE = 200


class NotTakenError(ValueError):
    """Typed text that is not valid; the message is a sentence for whoever typed it."""


def brief(typed: str) -> str:
    """Typed text on one line in quotation marks, cut if it is long."""
    start = typed[:LONGEST_VALUE]
    line = " ".join("".join(sign if sign.isprintable() else " " for sign in start).split())
    return f"“{line if len(line) <= LONGEST_SHOWN else line[:LONGEST_SHOWN] + '…'}”"


def one_value(typed: str, wanted: str) -> str:
    """The text, if it is a single value; NotTakenError for a pasted column or document."""
    if len(typed) > LONGEST_VALUE or re.search(r"[\t\r\n]", typed):
        raise NotTakenError(f"Several values were pasted here; {wanted}.")
    return typed


def plain_signs(text: str) -> str:
    """
    A text with plain digits, points, commas and blanks, whichever keyboard wrote it.

    Examples
    --------
    >>> plain_signs("１２，５")
    '12,5'
    """
    signs = {"\uff0c": ",", "\uff0e": ".", "\u066b": ",", "\u3002": "."}
    found = []
    for sign in text:
        digit = unicodedata.decimal(sign, None)
        blank = " " if sign.isspace() else signs.get(sign, sign)
        found.append(blank if digit is None else str(digit))
    return "".join(found)


# -- Numbers ---------------------------------------------------------------------------------------

MINUS = re.compile("[\u2010-\u2015\u2212\ufe58\ufe63\uff0d]")
AS_NUMBER = re.compile(r"([+-]?[\d.,]*\d[\d.,]*(?:[eE][+-]?\d+)?)\s*(.*)", re.DOTALL)
THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
LOWER = (("ge", "from"), ("gt", "above"))
UPPER = (("le", "to"), ("lt", "below"))
EXAMPLES = (12.5, 2.5, 0.25, 0.05)
# Fields whose unit is in another field, or follows from the quantity in it.
UNIT_FROM: dict[tuple[type[Record], str], str] = {
    **{(SiteTest, name): "quantity" for name in ("value", "spread", "detection_limit")},
    **{(SectionReading, name): "quantity" for name in ("value", "standard_error")},
    **{(Panel, f"{what}_{end}"): "setting_unit"
       for what in ("cleaning", "damage") for end in ("low", "high")},
    **{(Setting, name): "unit" for name in ("value", "value_to")},
    (Spot, "dose"): "dose_unit",
}  # fmt: skip


def read_number(
    model: type[Record], field: str, typed: str, beside: Mapping[str, object]
) -> float | int:
    """A typed number, perhaps with its unit; an int where the field is a count."""
    wanted, unit = number_words(model, field, beside), unit_for(model, field, beside)
    parts = AS_NUMBER.fullmatch(MINUS.sub("-", plain_signs(one_value(typed, wanted))))
    if parts is None:
        raise NotTakenError(f"{brief(typed)} is not a number; {wanted}.")
    number, behind = parts[1], parts[2].strip()
    if re.match(r"[.,]?\d", behind):
        raise NotTakenError(f"{brief(typed)} has a blank within the number; {wanted}.")
    if behind and _unit_key(behind) not in {_unit_key(one) for one in (unit, *unit.split()[:1])}:
        own = f"is in {unit}" if unit else "has no unit"
        raise NotTakenError(f"{brief(behind)} does not fit, as this field {own}; {wanted}.")
    if number.count(",") + number.count(".") > 1:
        raise NotTakenError(f"{brief(number)} has more than one comma or point; {wanted}.")
    value, bare = float(number.replace(",", ".")), number.replace(",", "")
    bounds = _bounds(model, field, beside)
    if THOUSANDS.fullmatch(number) and not _beyond(bounds, float(bare)):
        either = f"{number.replace(',', '.')} or {bare}"
        raise NotTakenError(f"{brief(number)} may be {either}; write it as one of these two.")
    if side := _beyond(bounds, value):
        hint = " Was a decimal point lost?" if side == "high" else ""
        raise NotTakenError(f"{brief(typed)} is too {side}; {wanted}.{hint}")
    if kind_of(model, field) is not int:
        return value or 0.0  # never -0.0
    if not value.is_integer():
        raise NotTakenError(f"{brief(typed)} is not a whole number; {wanted}.")
    return int(value)


def _bounds(model: type[Record], field: str, beside: Mapping[str, object]) -> dict[str, float]:
    """Limits of a number: those of its field, and of the quantity that a test measured."""
    bounds = limits(model, field)
    if (model, field) == (SectionReading, "value") and beside.get("quantity") in RANGES:
        _, low, high = RANGES[str(beside["quantity"])]
        return {"ge": float(low), "le": float(high)}
    row = _quantity(beside) if (model, field) == (SiteTest, "value") else None
    return bounds if row is None else {"ge": row.low, "le": row.high}


def _quantity(beside: Mapping[str, object]) -> Quantity | None:
    """Row of the quantity that a site test measured, once it is known."""
    code = str(beside.get("quantity"))
    return Quantity.named(code) if code in tables.codes("quantities") else None


def _beyond(bounds: Mapping[str, float], value: float) -> str:
    """Whether a number is too ``low`` or ``high``; empty if it is within the limits."""
    if value < bounds.get("ge", -math.inf) or value <= bounds.get("gt", -math.inf):  # -inf too
        return "low"
    high = value > bounds.get("le", math.inf) or value >= bounds.get("lt", math.inf)
    return "high" if high or math.isinf(value) else ""


def number_words(model: type[Record], field: str, beside: Mapping[str, object]) -> str:
    """Range of a number in words, with an example that lies in it."""
    whole, bounds = kind_of(model, field) is int, _bounds(model, field, beside)
    low = [f"{word} {_plain(bounds[sign])}" for sign, word in LOWER if sign in bounds]
    high = [f"{word} {_plain(bounds[sign])}" for sign, word in UPPER if sign in bounds]
    if low and high and "gt" in bounds:
        high = [f"and {one}" if "lt" in bounds else f"up {one}" for one in high]
    unit = unit_for(model, field, beside)
    behind = unit if low or high else f"in {unit}" if unit else ""
    tried = (12.0,) if whole else EXAMPLES
    example = next((one for one in tried if not _beyond(bounds, one)), bounds.get("ge", 1.0))
    kind = "a whole number" if whole else "a number"
    said = " ".join(filter(None, [kind, *low, *high, behind]))
    return f"write {said}, such as {_plain(example)}"


def _plain(number: float) -> str:
    """A number without separators between thousands, which might be read as a comma."""
    return f"{number:.0f}" if number.is_integer() else f"{number:g}"


def unit_for(
    model: type[Record], field: str, beside: Mapping[str, object] = NO_OTHER_FIELDS
) -> str:
    """Unit of a field's number; empty if it has none, or if it is not known yet."""
    named = beside.get(UNIT_FROM.get((model, field), ""))
    if model is SiteTest and named:
        row = _quantity(beside)
        return "" if row is None else row.unit.removeprefix("1")
    if model is SectionReading and named in RANGES:
        return RANGES[str(named)][0]
    return str(named) if named else unit_of(model, field)


def _unit_key(unit: str) -> str:
    """A unit in one spelling: m2 for m², um for µm."""
    plain = unicodedata.normalize("NFKC", unit).replace("\u03bc", "u")
    return "".join(plain.split()).rstrip(".")
