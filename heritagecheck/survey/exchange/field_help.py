"""What each field of a survey's tables means, as a page to read beside them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from heritagecheck import tables
from heritagecheck.survey.records import KEYS, LINKS, MAY_BE_EMPTY, ONE_ROW, TABLES
from heritagecheck.survey.records.fields import allowed_words, unit_of
from heritagecheck.survey.records.quantities import told_as, units_of
from heritagecheck.survey.records.record import Record
from heritagecheck.tables.conditions import asked_of

TOP = """# What each field means

One part for each table, then one for each list of codes.
*Required: yes* means that no row may leave the cell empty. Nothing else is ever guessed:
an empty cell means that nobody knows.
"""
EXPLAINED = ("substrates", "soilings", "exposure")


def fields_page() -> str:
    """Every field of every table: what it means, its unit, what is allowed."""
    parts = [TOP]
    parts += [_table_part(name, model) for name, model in TABLES.items()]
    for name in EXPLAINED:
        parts.append(_part(f"Codes: {name}", ("code", "what it is", "meaning"), _codes(name)))
    for name, headings, lines in (
        ("methods", ("code", "what it is"), _methods()),
        ("topics", ("code", "question", "findings", "asked of", "if unknown"), _topics()),
        ("quantities", ("code", "what it is", "unit", "from", "to"), _quantities()),
        ("setting_quantities", ("code", "what it is", "units", "words"), _setting_quantities()),
    ):
        parts.append(_part(f"Codes: {name}", headings, lines))
    offered = ("field", "what it is", "offered", "what it means at the wall")
    parts.append(_part("Values offered for policy.csv", offered, _offered()))
    return "\n".join(parts)


def _table_part(name: str, model: type[Record]) -> str:
    """One table of the survey: what a row is, then its fields."""
    rows = "Exactly one row" if name in ONE_ROW else "One row each"
    empty = " May stay empty." if name in MAY_BE_EMPTY else ""
    about = f"{rows}: {' '.join((model.__doc__ or '').split())}{empty}"
    headings = ("field", "what it means", "unit", "what is allowed", "required")
    return _part(f"{name}.csv", headings, _fields(name, model), about=about)


def _fields(name: str, model: type[Record]) -> Iterator[Sequence[str]]:
    """One line for each field of a table."""
    for field, info in model.model_fields.items():
        allowed = allowed_words(model, field)
        if (field,) == KEYS[name] and name not in ONE_ROW:
            allowed += "; each may occur once"
        if field in LINKS.get(name, {}):
            allowed += f"; it is listed in {LINKS[name][field]}.csv"
        yield (
            field,
            str(info.description),
            unit_of(model, field),
            allowed,
            "yes" if info.is_required() else "no",
        )


def _codes(name: str) -> Iterator[Sequence[str]]:
    """Codes of one table, in the words of the vocabulary."""
    words = {row["code"]: row for row in tables.rows("vocabulary")}
    for code in tables.codes(name):
        yield code, words[code]["term"], words[code]["definition"]


def _methods() -> Iterator[Sequence[str]]:
    """Methods of cleaning by their names."""
    for row in tables.rows("methods"):
        yield row["method"], row["name"]


def _topics() -> Iterator[Sequence[str]]:
    """Questions asked at the wall and the desk, with the findings they take."""
    for row in tables.rows("topics"):
        asked = asked_of(row["kind"])
        when = row["asked_where"].replace("=", " is ").replace("|", " or ")
        where = f", where {when}" if when else ""
        findings = row["findings"].replace("|", ", ")
        yield row["topic"], row["question"], findings, asked + where, row["what_to_do"]


def _quantities() -> Iterator[Sequence[str]]:
    """Quantities that a site test may give, with their limits."""
    for row in tables.rows("quantities"):
        yield row["quantity"], row["name"], row["unit"], row["low"], row["high"]


def _setting_quantities() -> Iterator[Sequence[str]]:
    """Quantities that a setting may give, with their units or words."""
    for row in tables.rows("setting_quantities"):
        code = row["quantity"]
        yield code, row["name"], ", ".join(units_of(code)), told_as(code)


def _offered() -> Iterator[Sequence[str]]:
    """Values of the policy that are offered to a team."""
    for row in tables.rows("policy_offered"):
        yield row["field"], row["title"], row["value"], row["sentence"]


def _part(
    title: str, headings: Sequence[str], lines: Iterable[Sequence[str]], *, about: str = ""
) -> str:
    """One part of the page: a heading and a table."""
    shown = [headings, ["---"] * len(headings), *lines]
    body = "\n".join(
        "| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |" for line in shown
    )
    return f"## {title}\n\n{about}{chr(10) * 2 if about else ''}{body}\n"
