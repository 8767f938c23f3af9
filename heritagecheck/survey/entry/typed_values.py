"""What a person types into one field: read, echoed, or refused in one sentence with an example."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from heritagecheck.survey.entry.term_search import (
    NOTHING_BESIDE,
    Term,
    matching,
    term_of,
    terms_for,
)
from heritagecheck.survey.entry.typed_numbers import number_words, read_number, unit_for
from heritagecheck.survey.entry.typed_text import NotTakenError, brief, one_value, plain_signs
from heritagecheck.survey.records.fields import (
    is_code,
    kinds,
    literal_choices,
    terms_of,
    terms_within,
)
from heritagecheck.survey.records.record import CASE_COUNTS, PLAIN_DATE, Record
from heritagecheck.survey.records.row_reading import (
    MONTHS,
    Ambiguous,
    date_text,
    no_such_day,
    shown,
)

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
        found = _listed(
            typed, terms, case_counts=bool({terms_of(model, field), field} & CASE_COUNTS)
        )
        return int(found) if int in kind and literal_choices(model, field) else found
    if date in kind:
        return _date(one_value(typed, asked_for(model, field)), today or date.today())
    if kind & {float, int}:
        return read_number(model, field, typed, beside)
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
        Such as ``"12.5 mm"``, ``"30 November 2026"`` or ``"weathered granite"``; empty where
        nothing was typed, or nothing that can be taken.

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
        parts = (part.strip().partition(":") for part in value.split(";") if part.strip())
        return "; ".join(labels.get(code, code) + sign + more for code, sign, more in parts)
    said = labels.get(shown(value), shown(value))
    unit = unit_for(model, field, beside) if isinstance(value, float) else ""
    return f"{said} {unit}".strip()


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
        Such as ``"write a number from 0 to 500 mm, such as 12.5"``.
    """
    if terms := terms_for(model, field, beside):
        return _choice_words(terms)
    kind = kinds(model, field)
    if date in kind:
        return f"write a date, such as {DATE_EXAMPLE}"
    if kind & {float, int}:
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
    """One part of a list: a term, and what is said of it behind a colon."""
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
