"""Colours as they are typed or pasted: a row each, with comma or point, and the stone behind."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import NamedTuple

from heritagecheck.survey.entry.typed_values import NotTakenError, brief, read_typed
from heritagecheck.survey.records import Reading
from heritagecheck.survey.records.readings import MUNSELL

LAB = ("L_star", "a_star", "b_star")
EXAMPLE = "write L*, a* and b*, such as 61,2 1,8 9,4"
MUNSELL_EXAMPLE = "write hue, value and chroma, such as 10YR 6/4, or N 5/"
MOST_ROWS = 1000  # no set is larger; a whole workbook pasted by a slip is not read for minutes
CELLS = re.compile(r"[\t;]")
# Commas part the numbers where each has its own decimal point, or a blank behind the comma.
PARTING_COMMA = re.compile(r",\s+|(?<=\d),(?=[+-]?\d+\.\d)")
LETTER = re.compile(r"[^\W\d_]")

Lab = tuple[float, float, float]


class ColourRow(NamedTuple):
    """One colour that was read: by its numbers or its Munsell notation, and the stone, if said."""

    lab: Lab | None
    munsell: str | None
    place: str | None


def read_row(text: str) -> ColourRow:
    """
    The colour in one row.

    Parameters
    ----------
    text : str
        L*, a*, b* between blanks, tabs or semicolons, with a comma or a point; the stone may stand
        behind them in words.

    Returns
    -------
    ColourRow

    Raises
    ------
    NotTakenError
        It can't be taken; the sentence says why.

    Examples
    --------
    >>> read_row("61,2 1,8 9,4 Stone 2")
    ColourRow(lab=(61.2, 1.8, 9.4), munsell=None, place='Stone 2')
    """
    cells = _cells(text)
    numbers, rest = cells[:3], " ".join(cells[3:])
    if len(numbers) < 3 or (rest and not LETTER.search(rest)):
        count = len(cells)
        raise NotTakenError(
            f"{brief(text)} holds {count} value{'' if count == 1 else 's'}, not three; {EXAMPLE}."
        )
    lightness, red, yellow = map(_number, LAB, numbers)
    return ColourRow((lightness, red, yellow), None, rest or None)


def read_munsell(text: str) -> ColourRow:
    """
    The colour of a chip that was matched by eye.

    Parameters
    ----------
    text : str
        Munsell notation with a blank after the hue, in large or small letters; a decimal comma is
        taken as well.

    Returns
    -------
    ColourRow

    Raises
    ------
    NotTakenError
        It is no such notation.

    Examples
    --------
    >>> read_munsell("7,5yr 6/2").munsell
    '7.5YR 6/2'
    """
    notation = " ".join(text.upper().replace(",", ".").split())
    if not MUNSELL.fullmatch(notation):
        raise NotTakenError(f"{brief(text)} is not a Munsell notation; {MUNSELL_EXAMPLE}.")
    return ColourRow(None, notation, None)


def read_rows(text: str, *, by_eye: bool = False) -> tuple[list[ColourRow], list[str]]:
    """
    All colours of a text that was pasted.

    Parameters
    ----------
    text : str
        One colour a line.
    by_eye : bool
        Whether they are Munsell notations.

    Returns
    -------
    tuple of list of ColourRow and list of str
        What was read, and a sentence for each row that was not. An empty line is no row.
    """
    read, wrong = [], []
    lines = [(number, line) for number, line in enumerate(text.splitlines(), 1) if line.strip()]
    for number, line in lines[:MOST_ROWS]:
        try:
            read.append((read_munsell if by_eye else read_row)(line))
        except NotTakenError as why:
            wrong.append(f"Row {number}: {why}")
    if len(lines) > MOST_ROWS:
        wrong.append(
            f"Rows beyond the first {MOST_ROWS} were not read: paste the readings of one set."
        )
    return read, wrong


def _cells(text: str) -> list[str]:
    """What stands between tabs or semicolons; else between blanks."""
    line = text.strip()
    if CELLS.search(line):
        parts: Iterable[str] = CELLS.split(line)
    else:
        parts = PARTING_COMMA.sub(" ", line).split()
    return [part.strip() for part in parts if part.strip()]


def _number(field: str, text: str) -> float:
    """One number, within its limits."""
    try:
        value = read_typed(Reading, field, text)
    except NotTakenError as why:
        raise NotTakenError(f"{field.replace('_star', '*')}: {why}") from None
    assert isinstance(value, float | int)
    return float(value)
