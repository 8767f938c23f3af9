"""What a field of a record takes: its kind, unit, terms, limits, and all of it in words."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from functools import cache
from typing import get_args

from pydantic import BaseModel

from heritagecheck import tables
from heritagecheck.errors import Codes, Message


@cache
def kind_of(model: type[BaseModel], field: str) -> type:
    """Type of a field: float, int, date or str."""
    annotation = model.model_fields[field].annotation
    taken = {annotation, *(int if isinstance(one, int) else one for one in get_args(annotation))}
    return next((kind for kind in (float, int, date) if kind in taken), str)


def question_of(model: type[BaseModel], field: str) -> str:
    """Question of a field, in full."""
    return str(model.model_fields[field].description)


def title_of(model: type[BaseModel], field: str) -> str:
    """Question of a field, in at most five words."""
    return model.model_fields[field].title or question_of(model, field)


def terms_of(model: type[BaseModel], field: str) -> str:
    """Table whose codes a field takes."""
    return _extra(model, field, "terms")


def terms_within(model: type[BaseModel], field: str) -> str:
    """Table whose codes a field lists, separated by semicolons."""
    return _extra(model, field, "terms_within")


def unit_of(model: type[BaseModel], field: str) -> str:
    """Unit of a field's number."""
    return _extra(model, field, "unit").removeprefix("1")


def _extra(model: type[BaseModel], field: str, name: str) -> str:
    """Further information that `column` gave about a field."""
    extra = model.model_fields[field].json_schema_extra
    return str(extra.get(name, "")) if isinstance(extra, dict) else ""


def allowed_words(model: type[BaseModel], name: str) -> str:
    """What a field may hold, in the words of the form."""
    field = model.model_fields[name]
    if terms := terms_of(model, name):
        return Message("one of: ", Codes(*tables.codes(terms)))
    if choices := literal_choices(model, name):
        return Message("one of: ", Codes(*choices))
    kind = kind_of(model, name)
    if kind is date:
        return "a date written year-month-day, such as 2026-05-01"
    if kind is not str:
        return _range_words(limits(model, name), whole=kind is int)
    if is_code(model, name):
        return "a short code, without commas, semicolons, bars or line breaks"
    return "some text" if field.is_required() else "some text, or nothing"


def part_of_message(model: type[BaseModel], field: str, value: str) -> str:
    """A value within a message: as a code where its field takes codes."""
    if terms_within(model, field):
        parts = [one for part in value.split("; ") for one in ("; ", entry_of_message(part))]
        return Message(*parts[1:])
    return Codes(value) if terms_of(model, field) or literal_choices(model, field) else value


def entry_of_message(entry: str) -> Message:
    """One entry of a list within a message: a code, and what follows behind a colon."""
    code, colon, more = entry.partition(":")
    return Message(Codes(code), colon, more)


def is_code(model: type[BaseModel], name: str) -> bool:
    """Whether a field takes a code, in which not every character is allowed."""
    return any(getattr(part, "pattern", None) for part in model.model_fields[name].metadata)


@cache
def literal_choices(model: type[BaseModel], name: str) -> tuple[str, ...]:
    """Fixed choices of a field; none where it is free."""
    annotation = model.model_fields[name].annotation
    for part in (annotation, *get_args(annotation)):
        found = get_args(part)
        if found and all(isinstance(choice, str | int) for choice in found):
            return tuple(str(choice) for choice in found)
    return ()


def limits(model: type[BaseModel], name: str) -> dict[str, float]:
    """Numeric limits of a field, as pydantic names them (`ge`, `le`, `gt`, `lt`)."""
    return {
        sign: float(getattr(part, sign))
        for part in model.model_fields[name].metadata
        for sign in ("ge", "gt", "le", "lt")
        if getattr(part, sign, None) is not None
    }


def _range_words(bounds: Mapping[str, float], *, whole: bool) -> str:
    """Word the range of a number."""
    names = {"ge": "from", "gt": "above", "le": "to", "lt": "below"}
    ends = (f"{word} {bounds[sign]:g}" for sign, word in names.items() if sign in bounds)
    return " ".join(("a whole number" if whole else "a number", *ends))
