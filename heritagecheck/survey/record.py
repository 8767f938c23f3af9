"""What all records of a survey share: how a field asks, what it takes, and that it is frozen."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date
from functools import cache
from typing import Annotated, Any, Self, TypeVar, get_args

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationInfo,
    field_validator,
)

from heritagecheck import tables

PLAIN_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?([eE][+-]?\d+)?")
PLAIN_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
UNPRINTABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
NUMBERS = frozenset({float, int})
# No spreadsheet keeps more than 32,767 signs in a cell.
LONGEST = 30_000


def _text(value: Any) -> Any:
    """Take an empty cell as nothing: a missing value is never a zero or an empty word."""
    return None if isinstance(value, str) and not value.strip() else value


def _stays_below(value: str) -> str:
    """Let a file's name lead nowhere but below the survey's own folder, and onto no table."""
    parts = value.split("/")
    outside = value.startswith("/") or "\\" in value or ":" in value or {"", ".", ".."} & set(parts)
    if outside or (len(parts) == 1 and value.lower().endswith((".csv", "datapackage.json"))):
        raise ValueError("must be a name below the survey's folder, such as drawings/north.svg")
    return value


def term(name: str) -> BeforeValidator:
    """Let a field hold only the codes of one table."""

    def check(value: Any) -> Any:
        if value is not None and value not in tables.codes(name):
            raise ValueError(f"not a code of {name}")
        return value

    return BeforeValidator(check)


def column(
    question: str, *, terms: str | None = None, unit: str | None = None, **limits: Any
) -> Any:
    """
    One field of a record: the question as the form asks it, its unit, its limits.

    Parameters
    ----------
    question : str
        What the surveyor is asked.
    terms : str, optional
        Table whose codes are allowed.
    unit : str, optional
        Unit of the number.
    **limits
        Limits as pydantic names them (``ge``, ``le``, ``gt``, ``default``).

    Returns
    -------
    pydantic.fields.FieldInfo
    """
    extra: dict[str, Any] = {k: text for k, text in (("terms", terms), ("unit", unit)) if text}
    return Field(description=question, json_schema_extra=extra or None, **limits)


Key = Annotated[str, Field(min_length=1, pattern=r"^[^\s;|,][^;|,\n]*$")]
Words = Annotated[str, Field(min_length=1)]
FileName = Annotated[str, Field(min_length=1), AfterValidator(_stays_below)]
Maybe = BeforeValidator(_text)
OptionalText = Annotated[str | None, Maybe]
OptionalNumber = Annotated[float | None, Maybe]
OptionalCount = Annotated[int | None, Maybe]
OptionalDate = Annotated[date | None, Maybe]


class Record(BaseModel):
    """What all records share: frozen, no unknown fields, no infinite numbers."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", allow_inf_nan=False, str_strip_whitespace=True
    )

    @field_validator("*", mode="before")
    @classmethod
    def _plain(cls, value: Any, info: ValidationInfo) -> Any:
        """Take numbers and dates only as the form asks for them: nothing is guessed."""
        if value is None or info.field_name is None:
            return value
        if not isinstance(value, str):
            # Not -0.0, which a database gives back as 0.0.
            return 0.0 if isinstance(value, float) and value == 0 else value
        bare = value.strip()
        if not bare:
            return value
        # Almost every text is printable as a whole, which is quicker to see.
        printable = value.isprintable()
        if not printable and UNPRINTABLE.search(value):
            raise ValueError("must not hold a sign that can't be printed")
        if len(value) > LONGEST:
            raise ValueError(f"must not be longer than {LONGEST:,} signs")
        kind = _kind(cls, info.field_name)
        if kind in NUMBERS and not PLAIN_NUMBER.fullmatch(bare):
            raise ValueError("not a plain number")
        if kind is float and bare.startswith("-") and float(bare) == 0:
            return 0.0
        if kind is date and not PLAIN_DATE.fullmatch(bare):
            raise ValueError("not a plain date")
        # One kind of line break, so that a text comes back from a spreadsheet as it went.
        return value if printable else value.replace("\r\n", "\n").replace("\r", "\n")

    @classmethod
    def trusted(cls, values: Iterable[Any]) -> Self:
        """
        A record of values that were looked at before, without looking at them again.

        Parameters
        ----------
        values : iterable
            One for each field, in the order of the fields.

        Returns
        -------
        Record
        """
        record = cls.__new__(cls)
        names, all_names = _names(cls)
        # As a pickled record comes back; all of a kind share one set of names, which never changes.
        record.__setstate__(
            {
                "__dict__": dict(zip(names, values, strict=True)),
                "__pydantic_fields_set__": all_names,
                "__pydantic_extra__": None,
                "__pydantic_private__": None,
            }
        )
        return record

    def sharing(self, words: dict[str, str]) -> Self:
        """
        The same record, holding each of its texts only once together with others.

        Parameters
        ----------
        words : dict of str to str
            Texts that others hold already; it grows.

        Returns
        -------
        Record
            In a large survey it takes a third of the memory.
        """
        found = vars(self)
        values = [found[name] for name in _names(type(self))[0]]
        return self.trusted(
            [words.setdefault(one, one) if isinstance(one, str) else one for one in values]
        )

    def changed(self, **values: Any) -> Self:
        """
        A copy with some other values.

        Parameters
        ----------
        **values
            Fields of the record and what they shall hold.

        Returns
        -------
        Record
            It is looked at when it is saved.
        """
        return self.model_copy(update=values)


@cache
def _kind(model: type[Record], field: str) -> type:
    """Whether a field takes a whole or another number, a date or a text."""
    annotation = model.model_fields[field].annotation
    kinds = {annotation, *get_args(annotation)}
    return next((kind for kind in (float, int, date) if kind in kinds), str)


@cache
def _names(model: type[Record]) -> tuple[tuple[str, ...], set[str]]:
    """Names of the fields of a record, in their order and as a set."""
    return tuple(model.model_fields), set(model.model_fields)


AnyRecord = TypeVar("AnyRecord", bound=Record)
