"""One record as a form fills it: what was typed, what is wrong with it, and the record it makes."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from functools import cache, cached_property
from typing import Any, Generic

from pydantic import ValidationError

from heritagecheck.errors import (
    NOTHING,
    Codes,
    Fault,
    Fields,
    Message,
    Must,
    SurveyError,
    WithCodes,
    names_of,
)
from heritagecheck.sentences import ended, upper_first
from heritagecheck.survey.entry.term_search import terms_for
from heritagecheck.survey.entry.typed_values import (
    NotTakenError,
    asked_for,
    brief,
    read_typed,
    shown,
)
from heritagecheck.survey.records import TABLE_OF, TABLES
from heritagecheck.survey.records.fields import part_of_message, question_of, title_of
from heritagecheck.survey.records.record import UNREAD, AnyRecord, Record
from heritagecheck.survey.records.row_reading import faults_of_row
from heritagecheck.survey.store.journal import kind_of

__all__ = ["RecordForm", "question_of", "title_of"]


class RecordForm(Generic[AnyRecord]):
    """
    A form of one record: text typed into some fields, and fixed values of others.

    No other value is filled in. A suggestion (`survey/entry/offers.py`) is a typed value once
    somebody confirms it.
    """

    def __init__(
        self,
        model: type[AnyRecord],
        typed: Mapping[str, str],
        fixed: Mapping[str, object] | None = None,
    ) -> None:
        self.model = model
        self.typed = dict(typed)
        self.fixed = dict(fixed or {})
        if unknown := (self.typed.keys() | self.fixed) - model.model_fields.keys():
            raise ValueError(f"{model.__name__} has no field {', '.join(sorted(unknown))}.")

    @staticmethod
    def of(record: AnyRecord) -> RecordForm[AnyRecord]:
        """A form filled with an existing record, to change it."""
        return RecordForm(type(record), {name: shown(value) for name, value in record})

    def value(self, field: str) -> object:
        """Value of a field; None if nothing was typed, or nothing valid."""
        return self._values.get(field)

    def faults(self, fields: Collection[str] | None = None) -> dict[str, str]:
        """What is wrong, one sentence a field, in the form's order; only of `fields` if given."""
        found = self._faults
        return {
            field: found[field]
            for field in self.model.model_fields
            if field in found and (fields is None or field in fields)
        }

    def record(self) -> AnyRecord:
        """The record; a SurveyError names every fault."""
        if faults := self.faults():
            table = TABLE_OF[self.model]
            raise SurveyError(
                [
                    Fault(table, None, title_of(self.model, field), "", sentence)
                    for field, sentence in faults.items()
                ],
                nothing="saved",
            )
        return self.model.model_validate(self._values)

    @cached_property
    def _read(self) -> tuple[dict[str, object], dict[str, str]]:
        """Values by field, and the sentence of each field that can't be read."""
        values: dict[str, object] = dict(self.fixed)
        unread: dict[str, str] = {}
        # In the order of the record, so that a question comes before its answers. Fields that
        # can't be read are tried again, because the field with their unit may follow.
        for fields in (self.model.model_fields, unread):
            for field in [one for one in fields if one not in self.fixed and one in self.typed]:
                try:
                    value = read_typed(self.model, field, self.typed[field], beside=values)
                except NotTakenError as why:
                    unread[field] = str(why)
                else:
                    unread.pop(field, None)
                    values |= {} if value is None else {field: value}
        return values, unread

    @property
    def _values(self) -> dict[str, object]:
        return self._read[0]

    @property
    def _unread(self) -> dict[str, str]:
        return self._read[1]

    @cached_property
    def _faults(self) -> dict[str, str]:
        """The sentence of each field that is wrong."""
        row: dict[str, Any] = {**self._values, **dict.fromkeys(self._unread, UNREAD)}
        found = dict(self._unread)
        try:
            self.model.model_validate(row)
        except ValidationError as error:
            record = self.model.readable(row)
            for fault in faults_of_row(error, record, TABLE_OF[self.model], None, row):
                found.setdefault(fault.field, self._sentence(fault))
        return found

    def _sentence(self, fault: Fault) -> str:
        """A fault of the record in the words of the form."""
        empty = fault.value == NOTHING
        if empty and self.model.model_fields[fault.field].is_required():
            wanted = asked_for(self.model, fault.field, self._values)
            return ended(f"Nothing is given here; {wanted}")
        # The form shows the list itself.
        said = fault.allowed.bare if isinstance(fault.allowed, WithCodes) else fault.allowed
        if isinstance(said, Must):
            typed = brief(shown(self.typed.get(fault.field, self.fixed.get(fault.field))))
            said = Message("This " if empty else f"{typed} is not allowed: it ", said)
        return in_form_words(self.model, said)


# -- In the words of a form ------------------------------------------------------------------------


def in_form_words(model: type[Record], message: str) -> str:
    """A message as one sentence, with the titles of its fields and the labels of its codes."""
    said = "".join(_part(model, part) for part in Message(message).parts)
    keeps = said[1:2].isupper()  # pH
    return ended(said if keeps else upper_first(said))


def _part(model: type[Record], part: str) -> str:
    """One part of a message."""
    if isinstance(part, Codes):
        labels = _labels(model)
        return part.sign.join(labels.get(code, _in_words(code)) for code in part.codes)
    if isinstance(part, Fields):
        # A rule between records may name a field of another table, which has no title here.
        return Fields(
            *(f"“{title_of(model, name)}”" if name in model.model_fields else _in_words(name)
              for name in part.names)
        )  # fmt: skip
    return part


def _in_words(name: str) -> str:
    """A code or name that has no label."""
    return name.replace("_", " ")


def refusals(error: SurveyError) -> tuple[str, ...]:
    """Why records could not be saved, each reason once, in the words of a form."""
    return tuple(dict.fromkeys(_refusal(fault) for fault in error.each))


def _refusal(fault: Fault) -> str:
    """One fault of a save."""
    table, value, allowed = fault.table, fault.value, fault.allowed
    if table not in TABLES:
        return ended(f"{value} {allowed}" if value else f"{table}: {allowed}")
    model = TABLES[table]
    if fault.field == "record":
        return in_form_words(model, Message(f"{kind_of(table)} {value} ", allowed))
    names = [name for name in names_of(fault.field) if name in model.model_fields]
    where = " and ".join(title_of(model, name) for name in names) or kind_of(table)
    came = part_of_message(model, names[0], value) if len(names) == 1 else value
    given = () if value in {NOTHING, ""} else (", ", came)
    return in_form_words(model, Message(where, *given, ": ", allowed))


@cache
def _labels(model: type[Record]) -> dict[str, str]:
    """Labels of all codes that a record takes."""
    fields = model.model_fields
    return {term.code: term.label for field in fields for term in terms_for(model, field)}
