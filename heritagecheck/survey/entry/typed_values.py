"""What a person types into one field: read, echoed, or refused in one sentence with an example."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from datetime import date

from heritagecheck import tables
from heritagecheck.survey.entry.term_search import (
    NOTHING_BESIDE,
    Term,
    matching,
    term_of,
    terms_for,
)
from heritagecheck.survey.records import Panel, Setting, SiteTest, Spot
from heritagecheck.survey.records.cells import MONTHS, Ambiguous, date_text, no_such_day, shown
from heritagecheck.survey.records.fields import (
    kinds,
    limits,
    literal_choices,
    terms_within,
    unit_of,
)
from heritagecheck.survey.records.record import PLAIN_DATE, Record

__all__ = ["NotTakenError", "asked_for", "read_typed", "shown", "understood", "unit_for"]

Value = float | int | date | str | None
TODAY = "today"
LONGEST_SHOWN = 30
MINUS = re.compile("[\u2010-\u2015\u2212\ufe58\ufe63\uff0d]")
BEGINS_AS_NUMBER = re.compile(r"([+-]?[\d.,]*\d[\d.,]*(?:[eE][+-]?\d+)?)\s*(.*)", re.DOTALL)
# One comma or point between digits; the comma with three digits behind it may mean thousands.
ONE_COMMA = re.compile(r"([+-]?\d+),(\d+)")
THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
EXAMPLES = (12.5, 5.0, 0.5, 0.05)
# Fields whose number stands in the unit of another field, or of the quantity that it names.
UNIT_FROM: dict[tuple[type[Record], str], str] = {
    **{(SiteTest, name): "quantity" for name in ("value", "spread", "detection_limit")},
    **{(Panel, f"{what}_{end}"): "setting_unit"
       for what in ("cleaning", "damage") for end in ("low", "high")},
    **{(Setting, name): "unit" for name in ("value", "value_to")},
    (Spot, "dose"): "dose_unit",
}  # fmt: skip


class NotTakenError(ValueError):
    """What was typed can't be taken; its text is the sentence for whoever typed it."""


def read_typed(
    model: type[Record],
    field: str,
    text: str,
    *,
    beside: Mapping[str, object] = NOTHING_BESIDE,
    today: date | None = None,
) -> Value:
    """
    The value that a person typed into a field.

    Parameters
    ----------
    model : type of Record
        The record, such as `Zone`.
    field : str
        Its field.
    text : str
        As it was typed: a comma or a point, the field's own unit behind a number, a date in
        numbers or words, a term by its label or code.
    beside : mapping, optional
        Values of the record's other fields, where the unit or the list of terms depends on them.
    today : date, optional
        What ``today`` means; the day of this computer where none is given.

    Returns
    -------
    float, int, date, str or None
        None where nothing was typed.

    Raises
    ------
    NotTakenError
        It can't be taken. The sentence says why, and gives an example.
    """
    typed = text.strip()
    if not typed:
        return None
    kind = kinds(model, field)
    terms = terms_for(model, field, beside)
    if terms_within(model, field):
        parts = [part.strip() for part in typed.split(";") if part.strip()]
        meant = [_part(part, terms) for part in parts]
        return typed if meant == parts else "; ".join(meant)  # a list of codes stays as written
    if terms:
        found = _listed(typed, terms)
        return int(found) if int in kind and literal_choices(model, field) else found
    if date in kind:
        return _date(_one(typed, "date"), today or date.today())
    if kind & {float, int}:
        return _number(model, field, typed, unit_for(model, field, beside), beside)
    return typed


def understood(
    model: type[Record],
    field: str,
    text: str,
    *,
    beside: Mapping[str, object] = NOTHING_BESIDE,
    today: date | None = None,
) -> str:
    """
    What the program understood, to be shown beside what was typed.

    Parameters
    ----------
    model, field, text, beside, today
        As `read_typed` takes them.

    Returns
    -------
    str
        Such as ``"12.5 mm"``, ``"30 November 2026"`` or ``"weathered granite"``.

    Raises
    ------
    NotTakenError
        As `read_typed` does.

    Examples
    --------
    >>> from heritagecheck.survey.records import Layer, Zone
    >>> understood(Layer, "thickness_mm", "12,5"), understood(Zone, "surveyed_on", "30.11.2026")
    ('12.5 mm', '30 November 2026')
    """
    value = read_typed(model, field, text, beside=beside, today=today)
    if isinstance(value, date):
        return f"{value.day} {MONTHS[value.month - 1].capitalize()} {value.year}"
    labels = {term.code: term.label for term in terms_for(model, field, beside)}
    if terms_within(model, field) and isinstance(value, str):
        parts = (part.strip().partition(":") for part in value.split(";") if part.strip())
        return "; ".join(labels.get(code, code) + sign + more for code, sign, more in parts)
    said = labels.get(shown(value), shown(value))
    unit = unit_for(model, field, beside) if isinstance(value, float) else ""
    return f"{said} {unit}".strip()


def unit_for(model: type[Record], field: str, beside: Mapping[str, object] = NOTHING_BESIDE) -> str:
    """
    Unit of the number that a field takes.

    Parameters
    ----------
    model, field, beside
        As `read_typed` takes them.

    Returns
    -------
    str
        Empty where it has none, or where nothing beside it says yet which.
    """
    named = beside.get(UNIT_FROM.get((model, field), ""))
    if model is SiteTest and named:
        row = tables.keyed("quantities", "quantity").get(str(named))
        return "" if row is None else row["unit"].removeprefix("1")
    return str(named) if named else unit_of(model, field)


def asked_for(
    model: type[Record], field: str, beside: Mapping[str, object] = NOTHING_BESIDE
) -> str:
    """
    What a field takes, in a few words with an example.

    Parameters
    ----------
    model, field, beside
        As `read_typed` takes them.

    Returns
    -------
    str
        Such as ``"a number from 0 to 500 mm, such as 12.5"``.
    """
    if terms := terms_for(model, field, beside):
        return _choice_words(terms)
    kind = kinds(model, field)
    if date in kind:
        return "a date, such as 2026-11-30 or 30 November 2026"
    if kind & {float, int}:
        return _number_words(model, field, unit_for(model, field, beside), beside)
    return "a few words"


def _listed(typed: str, terms: tuple[Term, ...]) -> str:
    """Code of the term that was typed."""
    found = term_of(terms, _one(typed, "term"))
    if found is not None:
        return found.code
    near = matching(terms, typed, most=1)
    hint = f"Did you mean {near[0].label}?" if near else f"Choose {_choice_words(terms)}."
    raise NotTakenError(f"{_brief(typed)} is not in this list. {hint}")


def _part(part: str, terms: tuple[Term, ...]) -> str:
    """One part of a list: a term, and what is said of it behind a colon."""
    name, colon, more = part.partition(":")
    return _listed(name.strip(), terms) + colon + more


def _choice_words(terms: tuple[Term, ...]) -> str:
    """A list in a few words: all of it where it is short, else one of its terms."""
    labels = ", ".join(term.label for term in terms)
    short = len(labels.split()) <= 12
    return f"one of: {labels}" if short else f"one from the list, such as {terms[0].label}"


def _one(typed: str, what: str) -> str:
    """A text that is one value; a column that was pasted is several."""
    if re.search(r"[\t\r\n]", typed):
        raise NotTakenError(f"Several lines were pasted here; write one {what} only.")
    return typed


def _date(typed: str, today: date) -> date:
    """A date as a person writes it."""
    plain = " ".join(_plain_digits(typed).split())
    if plain.casefold() == TODAY:
        return today
    try:
        found = date_text(plain)
    except Ambiguous as why:
        raise NotTakenError(f"{_brief(typed)} may be two days: {why}.") from None
    if PLAIN_DATE.fullmatch(found):
        try:
            return date.fromisoformat(found)
        except ValueError:
            plain = found
    if day := no_such_day(plain):
        raise NotTakenError(f"{day} does not exist; write another date, such as 2026-11-30.")
    raise NotTakenError(f"{_brief(typed)} is not a date; write a date such as 2026-11-30.")


def _number(
    model: type[Record], field: str, typed: str, unit: str, beside: Mapping[str, object]
) -> float | int:
    """A number as a person writes it, perhaps with its unit."""
    wanted = _number_words(model, field, unit, beside)
    parts = BEGINS_AS_NUMBER.fullmatch(MINUS.sub("-", _plain_digits(_one(typed, "number"))))
    if parts is None:
        raise NotTakenError(f"{_brief(typed)} is not a number; write {wanted}.")
    number, behind = parts[1], parts[2].strip()
    if behind[:1].isdigit():
        raise NotTakenError(f"{_brief(typed)} has a blank between its digits; write {wanted}.")
    if behind and _unit_key(behind) not in {_unit_key(one) for one in (unit, *unit.split()[:1])}:
        own = f"is in {unit}" if unit else "has no unit"
        raise NotTakenError(
            f"{_brief(behind)} does not fit, because this field {own}; write {wanted}."
        )
    if number.count(",") + number.count(".") > 1:
        raise NotTakenError(
            f"{_brief(number)} can't be read; write {wanted}, with one comma or point."
        )
    value = float(number.replace(",", "."))
    if THOUSANDS.fullmatch(number) and _fits(model, field, float(number.replace(",", ""))):
        bare = number.replace(",", "")
        raise NotTakenError(
            f"{number} may be {number.replace(',', '.')} or {bare}; write one of them."
        )
    if not _fits(model, field, value):
        raise NotTakenError(
            f"{_brief(typed)} is outside what this field takes; write {wanted}. "
            "Was a decimal point lost?"
        )
    if int not in kinds(model, field):
        return value or 0.0
    if not value.is_integer():
        raise NotTakenError(f"{_brief(typed)} is not a whole number; write {wanted}.")
    return int(value)


def _fits(model: type[Record], field: str, value: float) -> bool:
    """Whether a number lies within the limits of its field."""
    holds = {
        "ge": lambda bound: value >= bound, "gt": lambda bound: value > bound,
        "le": lambda bound: value <= bound, "lt": lambda bound: value < bound,
    }  # fmt: skip
    return abs(value) < float("inf") and all(
        holds[sign](bound) for sign, bound in limits(model, field).items()
    )


def _number_words(model: type[Record], field: str, unit: str, beside: Mapping[str, object]) -> str:
    """The range of a number in words, with an example that lies in it."""
    whole, bounds = int in kinds(model, field), limits(model, field)
    names = (("ge", "from"), ("gt", "above"), ("le", "to"), ("lt", "below"))
    said = [f"{name} {bounds[sign]:,.10g}" for sign, name in names if sign in bounds]
    tried = (12.0, bounds.get("ge", 1.0)) if whole else (*EXAMPLES, bounds.get("ge", 1.0))
    example = next(one for one in tried if _fits(model, field, one))
    kind = "a whole number" if whole else "a number"
    return f"{' '.join([kind, *said, unit]).strip()}, such as {example:g}"


def _plain_digits(text: str) -> str:
    """A text with plain digits, points, commas and blanks, whichever keyboard wrote them."""
    signs = {"\uff0c": ",", "\uff0e": ".", "\u066b": ",", "\u3002": "."}
    found = []
    for sign in text:
        digit = unicodedata.decimal(sign, None)
        blank = " " if sign.isspace() else signs.get(sign, sign)
        found.append(blank if digit is None else str(digit))
    return "".join(found)


def _unit_key(unit: str) -> str:
    """A unit without what spelling adds: m2 for m², um for µm."""
    plain = unicodedata.normalize("NFKC", unit).replace("\u03bc", "u")
    return "".join(plain.split()).rstrip(".")


def _brief(typed: str) -> str:
    """What was typed, as a sentence has room for it."""
    line = " ".join(typed.split())
    return f"“{line if len(line) <= LONGEST_SHOWN else line[:LONGEST_SHOWN] + '…'}”"
