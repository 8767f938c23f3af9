"""Numbers as a person types them: comma or point, with or without the unit of the field."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping

from heritagecheck import tables
from heritagecheck.survey.entry.term_search import NOTHING_BESIDE
from heritagecheck.survey.entry.typed_text import NotTakenError, brief, one_value, plain_signs
from heritagecheck.survey.records import Panel, Setting, SiteTest, Spot
from heritagecheck.survey.records.fields import kinds, limits, unit_of
from heritagecheck.survey.records.record import Record

MINUS = re.compile("[\u2010-\u2015\u2212\ufe58\ufe63\uff0d]")
AS_NUMBER = re.compile(r"([+-]?[\d.,]*\d[\d.,]*(?:[eE][+-]?\d+)?)\s*(.*)", re.DOTALL)
THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
LOWER = (("ge", "from"), ("gt", "above"))
UPPER = (("le", "to"), ("lt", "below"))
EXAMPLES = (12.5, 2.5, 0.25, 0.05)
# Fields whose number stands in the unit of another field, or of the quantity that it names.
UNIT_FROM: dict[tuple[type[Record], str], str] = {
    **{(SiteTest, name): "quantity" for name in ("value", "spread", "detection_limit")},
    **{(Panel, f"{what}_{end}"): "setting_unit"
       for what in ("cleaning", "damage") for end in ("low", "high")},
    **{(Setting, name): "unit" for name in ("value", "value_to")},
    (Spot, "dose"): "dose_unit",
}  # fmt: skip


def read_number(
    model: type[Record], field: str, typed: str, beside: Mapping[str, object]
) -> float | int:
    """
    A number as a person writes it, perhaps with its unit.

    Parameters
    ----------
    model : type of Record
        The record.
    field : str
        Its field.
    typed : str
        As it was typed.
    beside : mapping
        Values of the record's other fields.

    Returns
    -------
    float or int
        An int where the field is a count.

    Raises
    ------
    NotTakenError
        It is no number, has another unit, or lies beyond the limits of the field.
    """
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
    if int not in kinds(model, field):
        return value or 0.0  # never -0.0
    if not value.is_integer():
        raise NotTakenError(f"{brief(typed)} is not a whole number; {wanted}.")
    return int(value)


def _bounds(model: type[Record], field: str, beside: Mapping[str, object]) -> dict[str, float]:
    """Limits of a number: those of its field, and of the quantity that a test measured."""
    bounds = limits(model, field)
    row = _quantity(beside) if (model, field) == (SiteTest, "value") else None
    return bounds if row is None else {"ge": float(row["low"]), "le": float(row["high"])}


def _quantity(beside: Mapping[str, object]) -> dict[str, str] | None:
    """Row of the quantity that a site test measured, once it is known."""
    return tables.keyed("quantities", "quantity").get(str(beside.get("quantity")))


def _beyond(bounds: Mapping[str, float], value: float) -> str:
    """On which side a number lies beyond its limits; empty where it lies within."""
    if value < bounds.get("ge", -math.inf) or value <= bounds.get("gt", -math.inf):  # -inf too
        return "low"
    high = value > bounds.get("le", math.inf) or value >= bounds.get("lt", math.inf)
    return "high" if high or math.isinf(value) else ""


def number_words(model: type[Record], field: str, beside: Mapping[str, object]) -> str:
    """
    The range of a number in words, with an example that lies in it.

    Parameters
    ----------
    model, field, beside
        As `read_number` takes them.

    Returns
    -------
    str
        Such as ``"write a number from 0 to 500 mm, such as 12.5"``.
    """
    whole, bounds = int in kinds(model, field), _bounds(model, field, beside)
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
    """A number without signs between its thousands, which might be read as a comma."""
    return f"{number:.0f}" if number.is_integer() else f"{number:g}"


def unit_for(model: type[Record], field: str, beside: Mapping[str, object] = NOTHING_BESIDE) -> str:
    """
    Unit of the number that a field takes.

    Parameters
    ----------
    model, field, beside
        As `read_number` takes them.

    Returns
    -------
    str
        Empty where it has none, or where nothing beside it says yet which.
    """
    named = beside.get(UNIT_FROM.get((model, field), ""))
    if model is SiteTest and named:
        row = _quantity(beside)
        return "" if row is None else row["unit"].removeprefix("1")
    return str(named) if named else unit_of(model, field)


def _unit_key(unit: str) -> str:
    """A unit without what spelling adds: m2 for m², um for µm."""
    plain = unicodedata.normalize("NFKC", unit).replace("\u03bc", "u")
    return "".join(plain.split()).rstrip(".")
