"""Whether a panel's setting is written down in full: what is asked, and what was not found."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from unicodedata import normalize

from heritagecheck import tables
from heritagecheck.survey.records import Panel, Spot

# Exact by definition, but for psi, which NIST SP 811 gives as 6.894757 kPa.
BARS = {"bar": 1.0, "mpa": 10.0, "kpa": 0.01, "psi": 0.06894757}
PRESSURE = re.compile(r"(\d+(?:[.,]\d+)?)\s*(bar|MPa|kPa|psi)\b", re.IGNORECASE)
COUNTED = "one|two|three|four|five|six|seven|eight|nine|ten|twelve|single"
NUMBER = rf"(?:\d[\d.,]*(?:\s*(?:-|–|±|x|×|to|and)\s*\d[\d.,]*)*|\b(?:{COUNTED})\b)"
CLAUSE_ENDS = re.compile(r"[;()\n]|,(?!\d)|\.(?=\s+[A-Z])")
SAID_UNKNOWN = re.compile(
    r"\?|\bun(?:known|recorded|measured)\b|"
    r"\bnot (?:known|noted|recorded|measured|read|stated|written)\b",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class AskedSetting:
    """One quantity that the setting of a method must state, with its unit and the reason."""

    setting: str
    unit: str
    why: str
    source_id: str

    @property
    def with_unit(self) -> str:
        """Its name, and the unit where it has one."""
        return f"{self.setting} [{self.unit}]" if self.unit else self.setting

    def __str__(self) -> str:
        """Ask for it."""
        return f"{self.with_unit[0].upper()}{self.with_unit[1:]}? {self.why}."


def asked_settings(method: str, kind: str) -> tuple[AskedSetting, ...]:
    """
    All that the setting of a method must state in full.

    Parameters
    ----------
    method : str
        Code of the method, as in `tables/methods.csv`.
    kind : str
        What is cleaned: ``"masonry"`` or ``"metal"``, as in `tables/substrates.csv`.

    Returns
    -------
    tuple of AskedSetting
        In the order of `tables/settings_asked.csv`.

    Raises
    ------
    ValueError
        No method has this code, or the kind is neither of the two.

    References
    ----------
    .. [1] EN 17138, methods and materials for cleaning porous inorganic materials: methods are to
       be described so that they can be repeated. The rows name their own sources.

    Examples
    --------
    >>> from heritagecheck.survey import settings
    >>> [asked.with_unit for asked in settings.asked_settings("hand_tools", "metal")]
    ['tool', 'passes or time [passes or min]', 'preparation grade aimed at [Sa, St, SP or WJ]']
    """
    return tuple(_asked(row) for row in _rows_of(method, kind))


def missing_settings(method: str, kind: str, text: str) -> tuple[AskedSetting, ...]:
    """
    Asked quantities that can't be recognised in the words of a setting.

    Parameters
    ----------
    method : str
        Code of the method, as in `tables/methods.csv`.
    kind : str
        What is cleaned: ``"masonry"`` or ``"metal"``, as in `tables/substrates.csv`.
    text : str
        The setting as it stands in the panel's record, in free words.

    Returns
    -------
    tuple of AskedSetting
        What was not found; each prints as a question to whoever laid the panel.

    Raises
    ------
    ValueError
        No method has this code, or the kind is neither of the two.

    Notes
    -----
    The words are read clause by clause, parted by commas, semicolons and brackets. Only numbers
    with a known unit and a few English words are looked for, and where a unit may belong to more
    than one thing, the thing must be named beside it: 100 mm alone is no distance, as it may be
    the nozzle. A clause that says that something is not known tells nothing. What is not found
    may still be written in other words, so these are questions, never facts; no value is read
    from the words, and an answer without questions does not make the setting right.

    References
    ----------
    .. [1] EN 17138; the rows of `tables/settings_asked.csv` name their own sources.

    Examples
    --------
    >>> from heritagecheck.survey import settings
    >>> text = "2.5 bar at the nozzle, calcite 50 µm, Mohs 3, 45°, stand-off 100 mm"
    >>> for question in settings.missing_settings("micro_abrasive_dry", "masonry", text):
    ...     print(question)
    Flow of the medium [g/min or kg/h]? Pressure without flow is half a setting.
    """
    clauses = _clauses(text)
    return tuple(_asked(row) for row in _rows_of(method, kind) if not _told(row, clauses))


def pressure_bar(setting: str, unit: str | None, highest: float | None) -> float | None:
    """
    Pressure of a setting, to hold it against what its method is known to use.

    Parameters
    ----------
    setting : str
        The setting in words.
    unit : str or None
        Unit of the setting that was varied.
    highest : float or None
        Highest setting at which the panels were cleaned, in that unit.

    Returns
    -------
    float or None
        The varied setting where it is a pressure; else the only pressure that the words name; None
        where they name none, or several. [bar]

    Examples
    --------
    >>> round(pressure_bar("fan 40°, 400 psi at the nozzle", "passes", 2), 2)
    27.58
    """
    if unit is not None and highest is not None and unit.strip().casefold() in BARS:
        return highest * BARS[unit.strip().casefold()]
    named = PRESSURE.findall(normalize("NFKC", setting))
    if len(named) != 1:
        return None
    [(value, symbol)] = named
    return float(value.replace(",", ".")) * BARS[symbol.casefold()]


def told_of(panels: Sequence[Panel], spots: Sequence[Spot]) -> str:
    """
    All that the record of a series tells of its setting, in words.

    Parameters
    ----------
    panels : sequence of Panel
        Panels of the series, at least one.
    spots : sequence of Spot
        Spots on them: what is varied from spot to spot stands there.

    Returns
    -------
    str
        Words of the setting; each dose with its unit; pulses or passes, and wet or dry, where a
        field of its own says so.
    """
    doses = {(one.dose, one.dose_unit or "") for one in spots if one.dose is not None}
    laid: list[Panel | Spot] = [*panels, *spots]
    passes = {one.passes for one in laid if one.passes is not None}
    wetted = {one.wetted for one in laid if one.wetted is not None}
    told = [panels[0].setting, *(f"{dose:g} {unit}" for dose, unit in sorted(doses))]
    told += [f"{number} pulses; {number} passes" for number in sorted(passes)]
    told += ["wet" if answer == "yes" else "dry" for answer in sorted(wetted)]
    return "; ".join(told)


def _rows_of(method: str, kind: str) -> list[dict[str, str]]:
    """Rows that hold for a method or its family, on masonry or on metal."""
    known = tables.keyed("methods", "method")
    if method not in known:
        raise ValueError(f"method = {method}: no method has this code. Known: {', '.join(known)}.")
    if kind not in {"masonry", "metal"}:
        raise ValueError(f"kind = {kind}: what is cleaned is masonry or metal.")
    names = {method, known[method]["family"]}
    return [
        row
        for row in tables.rows("settings_asked")
        if row["kind"] in {"all", kind} and names & set(row["asked_of"].split("|"))
    ]


def _asked(row: dict[str, str]) -> AskedSetting:
    """Record of one row."""
    return AskedSetting(row["setting"], row["unit"], row["why"], row["source_id"])


def _clauses(text: str) -> list[str]:
    """Clauses that tell something; ², µ and °C are written in one way only."""
    clauses = CLAUSE_ENDS.split(re.sub(r"°\s+C\b", "°C", normalize("NFKC", text)))
    return [clause for clause in clauses if not SAID_UNKNOWN.search(clause)]


def _told(row: dict[str, str], clauses: list[str]) -> bool:
    """Whether a clause tells the row's quantity and does not speak of another thing."""
    told, other = (
        [_parts(phrase) for phrase in row[column].split("|") if phrase]
        for column in ("told_by", "not_beside")
    )
    return any(
        _stands(told, clause) and not _stands(other, clause) for clause in clauses if clause.strip()
    )


def _stands(phrases: list[tuple[re.Pattern[str], ...]], clause: str) -> bool:
    """Whether all parts of one of the phrases stand in a clause."""
    return any(all(part.search(clause) for part in phrase) for phrase in phrases)


@cache
def _parts(phrase: str) -> tuple[re.Pattern[str], ...]:
    """
    Patterns of one phrase of the table.

    `#` is a number, `*` any ending of a word, ` & ` parts what must stand in the same clause in
    any order. A hyphen counts as a blank, and a unit ends where it ends: the 45° of an angle is
    not the 45 °C of a temperature.
    """
    found = []
    for part in normalize("NFKC", phrase).split(" & "):
        pattern = re.escape(part).replace(r"\*", r"\w*").replace(r"\ ", r"[\s-]*")
        before = "" if part.startswith("#") else r"(?<!\w)"
        after = "" if part.endswith("#") else r"(?![\w/°])"
        found.append(re.compile(before + pattern.replace(r"\#", NUMBER) + after, re.IGNORECASE))
    return tuple(found)
