"""Every rated or published constant, one CSV a subject, each row with its source."""

from __future__ import annotations

import csv
import hashlib
from functools import cache
from pathlib import Path

HERE = Path(__file__).parent


@cache
def rows(name: str) -> tuple[dict[str, str], ...]:
    """
    Rows of one rated table, as text.

    Returns
    -------
    tuple of dict
        One dictionary a row: column to cell.

    Raises
    ------
    ValueError
        A row names no source, or a source that `sources.csv` does not list; a method names a
        hazard for which `cautions.csv` has no caution.

    Examples
    --------
    >>> rows("thresholds")[0]["name"]
    'weakest_component_pct'
    """
    with (HERE / f"{name}.csv").open(encoding="utf-8-sig", newline="") as file:
        found = tuple(csv.DictReader(file))
    check_sources(name, found)
    if name == "methods":
        check_hazards(found, rows("cautions"))
    return found


def check_hazards(
    methods: tuple[dict[str, str], ...], cautions: tuple[dict[str, str], ...]
) -> None:
    """
    Refuse methods with a hazard that has no caution.

    Parameters
    ----------
    methods, cautions : tuple of dict
        Rows of the two tables. A method names its hazards between semicolons; a caution names
        those that it answers under `methods`, such as ``hazards=scald|burn``.

    Raises
    ------
    ValueError
        Naming every method that names no hazard, and every hazard that nothing answers, counted as
        a spreadsheet shows it.
    """
    answered = {
        hazard
        for row in cautions
        for term in row["methods"].split(";")
        if term.startswith("hazards=")
        for hazard in term.removeprefix("hazards=").split("|")
    }
    bad = [
        f"row {number}, {row['method']}: {hazard or 'no hazard'}"
        for number, row in enumerate(methods, start=2)
        for hazard in row["hazards"].split(";")
        if hazard not in answered
    ]
    if bad:
        raise ValueError(
            f"tables/methods.csv names hazards without a caution: {'; '.join(bad)}. Each hazard "
            "belongs in tables/cautions.csv, under methods, with its control."
        )


def check_sources(name: str, found: tuple[dict[str, str], ...]) -> None:
    """
    Refuse a table in which a row names no source, or one that is not listed.

    Raises
    ------
    ValueError
        Naming every such row, counted as a spreadsheet shows it.
    """
    known = {row["source_id"] for row in (found if name == "sources" else rows("sources"))}
    bad = [
        f"row {number}: source_id = {row.get('source_id') or 'nothing'}"
        for number, row in enumerate(found, start=2)
        if not row.get("source_id") or row["source_id"] not in known
    ]
    if bad:
        raise ValueError(
            f"tables/{name}.csv holds rows without a listed source: {'; '.join(bad)}. "
            "Each row names a source_id of tables/sources.csv."
        )


@cache
def keyed(name: str, key: str) -> dict[str, dict[str, str]]:
    """
    Rows of one table by one of its columns, which must be unique.

    Returns
    -------
    dict
        Value of the column to row.
    """
    return {row[key]: row for row in rows(name)}


@cache
def codes(name: str) -> tuple[str, ...]:
    """
    Codes that a field may hold.

    Parameters
    ----------
    name : str
        A table whose first column is its code (`substrates`, `soilings`, `methods`, `topics`,
        `quantities`), or a category of the vocabulary (`exposure`).
    """
    if name == "exposure":
        return tuple(
            row["code"] for row in rows("vocabulary") if row["category"] == name and row["code"]
        )
    return tuple(next(iter(row.values())) for row in rows(name))


def threshold(name: str) -> float:
    """
    One number of `thresholds.csv`.

    Returns
    -------
    float
        Its value, in the unit that the table states.
    """
    return float(keyed("thresholds", "name")[name]["value"])


def citation(source_id: str) -> str:
    """Full citation of a source code."""
    return keyed("sources", "source_id")[source_id]["citation"]


def checksums() -> dict[str, str]:
    """
    SHA-256 of every table, so that a report shows which numbers it used.

    Returns
    -------
    dict
        File name to the first 12 hexadecimal digits.
    """
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()[:12]
        for path in sorted(HERE.glob("*.csv"))
    }
