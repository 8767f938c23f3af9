"""What all records of a survey share: how a field asks, what it takes, and that it is frozen."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date
from functools import cache
from typing import Annotated, Any, Literal, Self, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    ValidatorFunctionWrapHandler,
    create_model,
    field_validator,
    model_validator,
)

from heritagecheck import tables
from heritagecheck.errors import Codes, Fields, Message, Must, WithCodes
from heritagecheck.survey.records.fields import kind_of, literal_choices

PLAIN_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?([eE][+-]?\d+)?")
UNSIGNED_NUMBER = re.compile(r"\d+(\.\d+)?([eE][+-]?\d+)?")
PLAIN_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
UNPRINTABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
NUMBERS = frozenset({float, int})
# No spreadsheet keeps more than 32,767 characters in a cell.
LONGEST = 30_000


class Contradictions(ValueError):
    """All rules that a record breaks, each as field and reason."""

    def __init__(self, broken: Sequence[tuple[str, str]]) -> None:
        self.broken = tuple(broken)
        super().__init__("; ".join(f"{field}: {why}" for field, why in broken))


class FieldFault(ValueError):
    """What a field must be, where that says more than what it takes."""

    def __init__(self, why: str) -> None:
        super().__init__(why)
        self.why = Must(why)


def _text(value: Any) -> Any:
    """Take an empty cell as missing: never as a zero or an empty word."""
    return None if isinstance(value, str) and not value.strip() else value


def _stays_below(value: str | None) -> str | None:
    """Refuse a file name that leads out of the survey's folder, or to a table."""
    if value is None:
        return None
    parts = value.split("/")
    if value.startswith("/") or "\\" in value or ":" in value or {"", ".", ".."} & set(parts):
        raise FieldFault(
            "must name a file in the survey's folder or below it, such as drawings/north.svg"
        )
    if len(parts) == 1 and value.lower().endswith((".csv", "datapackage.json")):
        raise FieldFault("must not be the name of a table or of datapackage.json. Rename the file")
    return value


# A capital letter of a unit carries meaning: mJ is a thousand-millionth of MJ.
CASE_COUNTS = frozenset({"setting_units", "height_unit"})


def listed(value: Any, terms: Iterable[str]) -> Any:
    """The term that a value means; case, and blanks for underscores, do not matter."""
    if not isinstance(value, str):
        return value
    known = tuple(terms)
    found = () if value in known else _folded(known).get(_fold(value), ())
    return found[0] if len(found) == 1 else value


@cache
def _folded(terms: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
    """Terms by their text without capitals."""
    found: dict[str, tuple[str, ...]] = {}
    for one in dict.fromkeys(terms):
        found[_fold(one)] = (*found.get(_fold(one), ()), one)
    return found


def _fold(text: str) -> str:
    """A text without capitals, and with one kind of blank."""
    return " ".join(text.casefold().replace("_", " ").split())


def term(name: str) -> BeforeValidator:
    """Let a field hold only the codes of one table."""

    def check(value: Any) -> Any:
        codes = tables.codes(name)
        found = value if value is None or name in CASE_COUNTS else listed(value, codes)
        if found is not None and found not in codes:
            raise ValueError(f"not a code of {name}")
        return found

    return BeforeValidator(check)


def listed_parts(value: Any, terms: Iterable[str]) -> Any:
    """The terms that a list separated by semicolons means, as `listed` takes each."""
    if not isinstance(value, str):
        return value
    known = tuple(terms)
    parts = [part.strip() for part in value.split(";")]
    meant = [str(listed(part, known)) for part in parts]
    return value if meant == parts else "; ".join(meant)


def parts_of_list(text: str | None) -> tuple[str, ...]:
    """Parts of a list separated by semicolons."""
    return tuple(filter(None, map(str.strip, (text or "").split(";"))))


def not_listed(field: str, parts: Iterable[str], terms: Iterable[str], of: str) -> Wrong:
    """Faults of a list separated by semicolons whose parts are not all terms."""
    known = tuple(terms)
    if unknown := [part for part in parts if part not in known]:
        why = f"not in the list of {of}: {', '.join(unknown)}"
        yield field, WithCodes(why, "Write any of: ", Codes(*known))


def column(
    question: str,
    *,
    title: str | None = None,
    terms: str | None = None,
    terms_within: str | None = None,
    unit: str | None = None,
    **limits: Any,
) -> Any:
    """
    One field of a record: the question of the form, its unit, its limits.

    `title` is the question in at most five words, if it has more. `terms` names the table whose
    codes the field takes, `terms_within` the one whose codes its list with semicolons holds.
    """
    given = (("terms", terms), ("terms_within", terms_within), ("unit", unit))
    extra: dict[str, Any] = {name: text for name, text in given if text}
    return Field(title=title, description=question, json_schema_extra=extra or None, **limits)


def optional(question: str, **further: Any) -> Any:
    """One field that may be empty, as `column` describes it."""
    return column(question, default=None, **further)


def all_or_none(record: Record, fields: Fields, ending: str = "together") -> Wrong:
    """Fault of the first of some fields that are given only together."""
    given = [getattr(record, name) is not None for name in fields.names]
    if any(given) and not all(given):
        yield fields.names[0], Message("give ", fields, f" {ending}")


Key = Annotated[str, Field(min_length=1, pattern=r"^[^\s;|,][^;|,\n]*$")]
Words = Annotated[str, Field(min_length=1)]
FileName = Annotated[str, Field(min_length=1), AfterValidator(_stays_below)]
Maybe = BeforeValidator(_text)
OptionalFile = Annotated[str | None, AfterValidator(_stays_below), Maybe]
OptionalText = Annotated[str | None, Maybe]
OptionalNumber = Annotated[float | None, Maybe]
OptionalCount = Annotated[int | None, Maybe]
OptionalDate = Annotated[date | None, Maybe]
State = Literal["dry", "damp", "wet"]
YesNo = Literal["yes", "no"]


Wrong = Iterator[tuple[str, str]]  # field, and what is wrong with it
Rule = Callable[[Any], Wrong]
_RULES: dict[str, list[Rule]] = {}


def rule(check: Rule) -> Rule:
    """Register a rule of a record: a method that yields each contradicting field, and why."""
    _RULES.setdefault(f"{check.__module__}.{check.__qualname__.rpartition('.')[0]}", []).append(
        check
    )
    return check


class Unread:
    """Marks a value that can't be read, so that the others of its row can."""


UNREAD = Unread()


class Record(BaseModel):
    """What all records share: frozen, no unknown fields, no infinite numbers."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", allow_inf_nan=False, str_strip_whitespace=True
    )

    @field_validator("*", mode="before")
    @classmethod
    def _plain(cls, value: Any, info: ValidationInfo) -> Any:
        """Take numbers and dates only in the plain form: nothing is guessed."""
        field = info.field_name
        if value is None or field is None:
            return value
        # Fast path: almost every cell is taken unchanged.
        if value.__class__ is str and value.isprintable() and len(value) <= LONGEST:
            fits = _fits(cls)[field]
            if fits is None or fits(value):
                return value
        if isinstance(value, str):
            return cls._plain_text(value, field)
        # Not -0.0, which a database gives back as 0.0.
        return 0.0 if isinstance(value, float) and value == 0 else value

    @classmethod
    def _plain_text(cls, value: str, field: str) -> str | float:
        """Take a text in the form that the field requires."""
        bare = value.strip()
        if not bare:
            return value
        # isprintable is faster than the pattern, and true of almost every text.
        printable = value.isprintable()
        if not printable and UNPRINTABLE.search(value):
            raise FieldFault("must not contain characters that can't be printed")
        if len(value) > LONGEST:
            raise FieldFault(f"must have at most {LONGEST:,} characters")
        kind = _kind(cls, field)
        if kind in NUMBERS and not PLAIN_NUMBER.fullmatch(bare):
            raise ValueError("not a plain number")
        if kind is float and bare.startswith("-") and float(bare) == 0:
            return 0.0
        if kind is date and not PLAIN_DATE.fullmatch(bare):
            raise ValueError("not a plain date")
        if kind is Choice:
            return str(listed(bare, literal_choices(cls, field)))
        # One kind of line break, so that a text comes back from a spreadsheet as it went.
        return value if printable else value.replace("\r\n", "\n").replace("\r", "\n")

    @model_validator(mode="after")
    def _keeps_its_rules(self) -> Self:
        """Refuse a record that contradicts itself, with all contradictions."""
        if broken := list(self.broken_rules()):
            raise Contradictions(broken)
        return self

    def broken_rules(self) -> Wrong:
        """Contradictions within the record, each field once, as far as it could be read."""
        reported: set[str] = set()
        for check in _rules(type(self)):
            try:
                for field, why in check(self):
                    if field not in reported:
                        reported.add(field)
                        yield field, why
            except AttributeError:
                if len(vars(self)) == len(type(self).model_fields):
                    raise  # else the rule needs a field that could not be read

    @classmethod
    def readable(cls, row: Mapping[str, Any]) -> Self:
        """Whatever can be read of a row that is not valid."""
        required = {name: UNREAD for name, one in cls.model_fields.items() if one.is_required()}
        given = {name: value for name, value in row.items() if name in cls.model_fields}
        found = vars(_lenient(cls).model_validate(required | given))
        return cls._made(pair for pair in found.items() if pair[1] is not UNREAD)

    @classmethod
    def trusted(cls, values: Iterable[Any]) -> Self:
        """A record of values that were validated before, without validating them again."""
        return cls._made(zip(_names(cls)[0], values, strict=True))

    @classmethod
    def _made(cls, values: Iterable[tuple[str, Any]]) -> Self:
        """A record of these values."""
        record = cls.__new__(cls)
        # Set one by one, and with one set of names that never changes, all records of a kind share
        # the table of their names: a large survey takes a fifth less memory.
        put = object.__setattr__
        for name, value in values:
            put(record, name, value)
        put(record, "__pydantic_fields_set__", _names(cls)[1])
        put(record, "__pydantic_extra__", None)
        put(record, "__pydantic_private__", None)
        return record

    def sharing(self, words: dict[str, str]) -> Self:
        """The same record, sharing equal texts with others to save memory."""
        held = vars(self)
        once = [
            words.setdefault(one, one) if isinstance(one, str) else one for one in held.values()
        ]
        return self._made(zip(held, once, strict=True))

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


def zone_of(record: Record | None) -> str | None:
    """Code of the zone that a record is about; None if it names none, or without a record."""
    zone: str | None = getattr(record, "zone", None)
    return zone


@cache
def _lenient(model: type[Record]) -> type[Record]:
    """The same record, where a wrong value does not keep the others from being read."""

    def read(cls: type[Record], value: Any, handler: ValidatorFunctionWrapHandler) -> Any:
        try:
            return handler(value)
        except ValidationError:
            return UNREAD

    def unasked(self: Record) -> Record:
        return self

    validators: dict[str, Any] = {
        "_read": field_validator("*", mode="wrap")(classmethod(read)),
        "_keeps_its_rules": model_validator(mode="after")(unasked),
    }
    return create_model(model.__name__, __base__=model, __validators__=validators)


class Choice(str):
    """Kind of a field that takes one of a few words."""

    __slots__ = ()


@cache
def _rules(model: type[Record]) -> tuple[Rule, ...]:
    """The rules that a record keeps."""
    return tuple(_RULES.get(f"{model.__module__}.{model.__qualname__}", ()))


@cache
def _kind(model: type[Record], field: str) -> type:
    """Whether a field takes a whole or another number, a date, one of a few words or a text."""
    plain = kind_of(model, field)
    words = plain is str and literal_choices(model, field) and field not in CASE_COUNTS
    return Choice if words else plain


@cache
def _fits(model: type[Record]) -> dict[str, Callable[[str], object] | None]:
    """For each field, a test whether a printable text is taken unchanged; None where any is."""
    shapes = {
        float: UNSIGNED_NUMBER.fullmatch, int: UNSIGNED_NUMBER.fullmatch,
        date: PLAIN_DATE.fullmatch,
    }  # fmt: skip
    return {
        field: frozenset(literal_choices(model, field)).__contains__
        if (kind := _kind(model, field)) is Choice
        else shapes.get(kind)
        for field in model.model_fields
    }


@cache
def _names(model: type[Record]) -> tuple[tuple[str, ...], set[str]]:
    """Names of the fields of a record, in their order and as a set."""
    return tuple(model.model_fields), set(model.model_fields)


AnyRecord = TypeVar("AnyRecord", bound=Record)
