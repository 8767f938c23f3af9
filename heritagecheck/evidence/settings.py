"""Whether a panel's setting is written down in full: what is asked, and what was not found."""

from __future__ import annotations

import re
from dataclasses import dataclass

from heritagecheck import tables


@dataclass(frozen=True, slots=True)
class AskedSetting:
    """One quantity that the setting of a method must state, with its unit and the reason."""

    setting: str
    unit: str
    why: str
    source_id: str

    def __str__(self) -> str:
        """Ask for it."""
        unit = f" [{self.unit}]" if self.unit else ""
        return f"{self.setting[0].upper()}{self.setting[1:]}{unit}? {self.why}."


def asked_settings(method: str) -> tuple[AskedSetting, ...]:
    """
    All that the setting of a method must state in full.

    Parameters
    ----------
    method : str
        Code of the method, as in `tables/methods.csv`.

    Returns
    -------
    tuple of AskedSetting
        In the order of `tables/settings_asked.csv`.

    Raises
    ------
    ValueError
        No method has this code.

    References
    ----------
    .. [1] EN 17138, methods and materials for cleaning porous inorganic materials: methods are to
       be described so that they can be repeated. The rows name their own sources.

    Examples
    --------
    >>> from heritagecheck.evidence import settings
    >>> [asked.setting for asked in settings.asked_settings("hand_tools")]
    ['tool', 'passes or time']
    """
    return tuple(_asked(row) for row in _rows_of(method))


def missing_settings(method: str, text: str) -> tuple[AskedSetting, ...]:
    """
    Asked quantities that can't be recognised in the words of a setting.

    Parameters
    ----------
    method : str
        Code of the method, as in `tables/methods.csv`.
    text : str
        The setting as it stands in the panel's record, in free words.

    Returns
    -------
    tuple of AskedSetting
        What was not found; each prints as a question to whoever laid the panel.

    Raises
    ------
    ValueError
        No method has this code.

    Notes
    -----
    Only numbers with a known unit and a few English words are looked for. What is not found may
    still be written in other words, and what is found may belong to something else (a nozzle of
    8 mm is taken for a distance): these are questions, never facts, and no value is read from the
    words. An answer without questions does not make the setting right.

    References
    ----------
    .. [1] EN 17138; the rows of `tables/settings_asked.csv` name their own sources.

    Examples
    --------
    >>> from heritagecheck.evidence import settings
    >>> for question in settings.missing_settings(
    ...     "micro_abrasive_dry", "2.5 bar at the nozzle, calcite powder 50 µm, 45°, 100 mm"
    ... ):
    ...     print(question)
    Hardness of the medium [Mohs]? Must be softer than the stone, or known not to be.
    Flow of the medium [g/min or kg/h]? Pressure without flow is half a setting.
    """
    return tuple(_asked(row) for row in _rows_of(method) if not _told(row, text))


def _rows_of(method: str) -> list[dict[str, str]]:
    """Rows that hold for the family of a method."""
    known = tables.keyed("methods", "method")
    if method not in known:
        raise ValueError(f"method = {method}: no method has this code. Known: {', '.join(known)}.")
    family = known[method]["family"]
    return [row for row in tables.rows("settings_asked") if family in row["families"].split("|")]


def _asked(row: dict[str, str]) -> AskedSetting:
    """Record of one row."""
    return AskedSetting(row["setting"], row["unit"], row["why"], row["source_id"])


def _told(row: dict[str, str], text: str) -> bool:
    """Whether a number with one of the row's units, or one of its words, stands in the text."""
    units, words = (
        "|".join(re.escape(each) for each in row[column].split("|"))
        for column in ("units_told_by", "words_told_by")
    )
    # The unit ends where it ends: the 45° of an angle is not the 45 °C of a temperature.
    number = rf"\d\s*(?:{units})(?![\w/²°])"
    return bool(
        (units and re.search(number, text, re.IGNORECASE))
        or (words and re.search(rf"\b(?:{words})\b", text, re.IGNORECASE))
    )
