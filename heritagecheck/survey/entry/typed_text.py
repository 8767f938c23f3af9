"""A text as it was typed, before it is a value: one line, plain signs, and why it is not taken."""

from __future__ import annotations

import re
import unicodedata

LONGEST_SHOWN = 30
LONGEST_VALUE = 200


class NotTakenError(ValueError):
    """What was typed can't be taken; its text is the sentence for whoever typed it."""


def brief(typed: str) -> str:
    """
    What was typed, as a sentence has room for it.

    Parameters
    ----------
    typed : str
        The text.

    Returns
    -------
    str
        On one line and between quotation marks; cut where it is long.
    """
    start = typed[:LONGEST_VALUE]
    line = " ".join("".join(sign if sign.isprintable() else " " for sign in start).split())
    return f"“{line if len(line) <= LONGEST_SHOWN else line[:LONGEST_SHOWN] + '…'}”"


def one_value(typed: str, wanted: str) -> str:
    """
    A text that is one value; a column or a document that was pasted is several.

    Parameters
    ----------
    typed : str
        The text.
    wanted : str
        What is asked for, for the message.

    Returns
    -------
    str
        The same text.

    Raises
    ------
    NotTakenError
        It has several lines, or more than any value has.
    """
    if len(typed) > LONGEST_VALUE or re.search(r"[\t\r\n]", typed):
        raise NotTakenError(f"Several values were pasted here; {wanted}.")
    return typed


def plain_signs(text: str) -> str:
    """
    A text with plain digits, points, commas and blanks, whichever keyboard wrote it.

    Examples
    --------
    >>> plain_signs("１２，５")
    '12,5'
    """
    signs = {"\uff0c": ",", "\uff0e": ".", "\u066b": ",", "\u3002": "."}
    found = []
    for sign in text:
        digit = unicodedata.decimal(sign, None)
        blank = " " if sign.isspace() else signs.get(sign, sign)
        found.append(blank if digit is None else str(digit))
    return "".join(found)
