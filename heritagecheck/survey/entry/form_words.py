"""Sentences of the records and of a save in the words of a form: titles and labels, no codes."""

from __future__ import annotations

import re
from functools import cache

from heritagecheck.errors import NOTHING, SurveyError
from heritagecheck.sentences import ended
from heritagecheck.survey.entry.term_search import terms_for
from heritagecheck.survey.records import TABLES
from heritagecheck.survey.records.fields import title_of
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.store.journal import kind_of

WITH_UNDERSCORE = re.compile(r"\b[A-Za-z][A-Za-z0-9]*(?:_[A-Za-z0-9]+)+\b")
WORD = re.compile(r"\b[A-Za-z][A-Za-z0-9_]*\b")
# Where fields are listed, each is named, also one that is a plain word.
TOGETHER = re.compile(r"(?<=^give ).*(?= together)")
# The form shows the list itself.
LIST_OF_CODES = re.compile(r"\. (Codes|Write any of): .*", re.DOTALL)


def in_form_words(model: type[Record], said: str) -> str:
    """
    What is said of a record, with the titles of its fields and the labels of its codes.

    Parameters
    ----------
    model : type of Record
        The record.
    said : str
        What is said, as the records say it.

    Returns
    -------
    str
        One sentence.
    """

    def named(found: re.Match[str]) -> str:
        name = found[0]
        if name in model.model_fields:
            return f"“{title_of(model, name)}”"
        return _labels(model).get(name, name.replace("_", " ")) if "_" in name else name

    said = TOGETHER.sub(lambda found: WORD.sub(named, found[0]), LIST_OF_CODES.sub("", said))
    said = WITH_UNDERSCORE.sub(named, said)
    keeps = said[1:2].isupper()  # pH
    return ended(said if keeps else said[:1].upper() + said[1:])


def refusals(error: SurveyError) -> tuple[str, ...]:
    """
    Why records could not be saved, in the words of a form.

    Parameters
    ----------
    error : SurveyError
        What the save said.

    Returns
    -------
    tuple of str
        One sentence a fault, what several records share only once.
    """
    rows = error.faults.itertuples()
    told = (_refusal(*map(str, (row.table, row.field, row.value, row.allowed))) for row in rows)
    return tuple(dict.fromkeys(told))


def _refusal(table: str, field: str, value: str, allowed: str) -> str:
    """One fault of a save."""
    if table not in TABLES:
        return ended(f"{value} {allowed}" if value else f"{table}: {allowed}")
    model = TABLES[table]
    if field == "record":
        return in_form_words(model, f"{kind_of(table)} {value} {allowed}")
    names = [name for name in field.split(" and ") if name in model.model_fields]
    where = " and ".join(title_of(model, name) for name in names) or kind_of(table)
    came = _labels(model).get(value, value)
    given = "" if value in {NOTHING, ""} else f", {came}"
    return in_form_words(model, f"{where}{given}: {allowed}")


@cache
def _labels(model: type[Record]) -> dict[str, str]:
    """Labels of all codes that a record takes."""
    fields = model.model_fields
    return {term.code: term.label for field in fields for term in terms_for(model, field)}
