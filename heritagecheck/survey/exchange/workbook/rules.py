"""What a spreadsheet checks while a field sheet is filled in: lists to pick from, limits, dates."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from heritagecheck import tables
from heritagecheck.survey.exchange.workbook.shape import (
    FIRST_ROW,
    LAST_ROW,
    LISTS,
    WORDS,
    kind_of,
    sentence_of,
)
from heritagecheck.survey.records import LINKS, TABLES
from heritagecheck.survey.records.fields import allowed_words, limits, literal_choices, terms_of
from heritagecheck.survey.records.record import Record

TERMS = (
    "substrates", "exposure", "soilings", "materials", "methods", "quantities",
    "setting_quantities", "setting_units", "topics",
)  # fmt: skip
# The last two columns of the lists: each topic as often as it has findings, and the findings.
TOPIC_COLUMN, FINDING_COLUMN = (get_column_letter(len(TERMS) + n) for n in (1, 2))
LONGEST_LIST_IN_RULE = 255
LONGEST_ERROR = 225
COMPARED = {"ge": ">=", "gt": ">", "le": "<=", "lt": "<"}
# The reader refuses what breaks such a rule; what is only not there yet may still be added.
STOP, WARN = "stop", "warning"


def lists() -> list[tuple[str, ...]]:
    """
    Lists to pick from, as the columns of the hidden sheet.

    Returns
    -------
    list of tuple of str
        Heading, then codes: one column for each list of codes, then topics beside their findings.
    """
    pairs = [
        (row["topic"], finding)
        for row in tables.rows("topics")
        for finding in row["findings"].split("|")
    ]
    return [
        *((name, *tables.codes(name)) for name in TERMS),
        ("topic", *(topic for topic, _ in pairs)),
        ("finding", *(finding for _, finding in pairs)),
    ]


def rules(
    table: str, letters: Mapping[str, str], *, linked: bool = True
) -> Iterator[DataValidation]:
    """
    Rules of one sheet, for every line below its headings.

    Parameters
    ----------
    table : str
        Name of the table.
    letters : mapping of str to str
        Field to the letter of its column.
    linked : bool
        Whether the sheets it points to stand in the workbook whole.

    Yields
    ------
    openpyxl.worksheet.datavalidation.DataValidation
        Codes, numbers and dates that would be refused are stopped; a zone or panel that is not
        on its sheet yet is only warned of.
    """
    for field, letter in letters.items():
        rule = _rule(table, field, letters, linked=linked)
        if rule is not None:
            rule.add(f"{letter}{FIRST_ROW}:{letter}{LAST_ROW}")
            yield rule


def _rule(
    table: str, field: str, letters: Mapping[str, str], *, linked: bool
) -> DataValidation | None:
    """Rule of one field; none where it takes any text."""
    model = TABLES[table]
    choices = ",".join(literal_choices(model, field))
    if terms_of(model, field):
        return _list(
            _terms_range(terms_of(model, field)),
            STOP,
            f"Pick from the list: see the sheet “{WORDS}”.",
        )
    if choices:
        assert len(choices) <= LONGEST_LIST_IN_RULE, f"{table}.{field} needs a list on the sheet"
        return _list(f'"{choices}"', STOP, f"One of: {choices.replace(',', ', ')}.")
    if (table, field) == ("observations", "finding"):
        return _list(_findings_range(letters["topic"]), WARN, "This topic has other findings.")
    if field in LINKS.get(table, {}):
        other = LINKS[table][field]
        message = f"The sheet {other} has no such code yet. Add it there too."
        return _list(_keys_range(other), WARN, message) if linked else None
    if kind_of(model, field) == "text":
        return None
    return _limited(model, field, f"{letters[field]}{FIRST_ROW}")


def _list(source: str, style: str, message: str) -> DataValidation:
    """Build a list to pick from."""
    return _built(type="list", formula1=source, errorStyle=style, error=message)


def _limited(model: type[Record], field: str, cell: str) -> DataValidation:
    """Limits of a number, or that a date is one."""
    message = sentence_of(allowed_words(model, field))
    tests = [f"ISNUMBER({cell})"]
    if kind_of(model, field) != "number":
        tests.append(f"{cell}=INT({cell})")
    tests += [f"{cell}{COMPARED[sign]}{bound:g}" for sign, bound in limits(model, field).items()]
    return _built(type="custom", formula1=f"AND({','.join(tests)})", errorStyle=STOP, error=message)


def _built(**settings: Any) -> DataValidation:
    """Build a rule that leaves empty cells alone and says in words what it takes."""
    error = settings.pop("error")[:LONGEST_ERROR]
    return DataValidation(
        allow_blank=True, showErrorMessage=True, errorTitle="Not taken", error=error, **settings
    )


def _terms_range(name: str) -> str:
    """Cells that hold one list of codes."""
    letter = get_column_letter(TERMS.index(name) + 1)
    return f"{LISTS}!${letter}$2:${letter}${len(tables.codes(name)) + 1}"


def _keys_range(table: str) -> str:
    """Keys on the sheet of a table, as many as there are when the list is opened."""
    column = f"{table}!$A${FIRST_ROW}"
    return f"OFFSET({column},0,0,MAX(1,COUNTA({column}:$A${LAST_ROW})),1)"


def _findings_range(topic: str) -> str:
    """Findings of the topic that stands in the same line."""
    last = 1 + sum(len(row["findings"].split("|")) for row in tables.rows("topics"))
    topics = f"{LISTS}!${TOPIC_COLUMN}$2:${TOPIC_COLUMN}${last}"
    cell = f"${topic}{FIRST_ROW}"
    return (
        f"OFFSET({LISTS}!${FINDING_COLUMN}$1,MATCH({cell},{topics},0),0,COUNTIF({topics},{cell}),1)"
    )
