"""A survey opened: from a database, a folder of tables or plain rows, whole or not at all."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.checks.contradictions import contradictions
from heritagecheck.survey.checks.gaps import gaps_before_assessment
from heritagecheck.survey.exchange.csv_tables import folder_rows, words_are_read
from heritagecheck.survey.records.old_settings import with_settings_told
from heritagecheck.survey.records.row_reading import RowsRead, in_order, read_rows
from heritagecheck.survey.survey import Survey

SUFFIXES = (".db", ".sqlite", ".sqlite3")


def open_survey(place: str | Path, *, files: str | Path | None = None) -> Survey:
    """
    Open a survey.

    Parameters
    ----------
    place : str or Path
        A database: a file such as ``"quillmere.db"``, made where there is none, or
        ``"postgresql+psycopg://…"`` for a team. Or a folder of tables, to be read only.
    files : str or Path, optional
        Folder of the attachments of a database; beside a file where none is named.

    Returns
    -------
    Survey
        A `DatabaseSurvey` where it is a database; what is saved in it stays.

    Raises
    ------
    SurveyError
        A folder's tables: everything that is wrong, all at once. Or there is nothing of that name.
    StoreError
        The database can't be used.
    ImportError
        PostgreSQL without its driver.
    """
    text = str(place)
    path = Path(text)
    if "://" not in text and (path.is_dir() or path.suffix.lower() not in SUFFIXES):
        if path.is_file():
            raise SurveyError(
                [Fault(path.name, None, "", "",
                       f"a survey is a folder of tables or a database ({', '.join(SUFFIXES)}); "
                       "import_survey takes a workbook or an archive into one")]
            )  # fmt: skip
        return read_folder(path)
    from heritagecheck.survey.store.database_survey import DatabaseSurvey

    return DatabaseSurvey(place, files=files)


def build(raw: Mapping[str, Iterable[Mapping[str, Any]]], *, folder: Path | None = None) -> Survey:
    """Make a survey from plain rows."""
    numbered = {table: enumerate(rows, start=2) for table, rows in raw.items()}
    return whole(read_rows(numbered, faults=[]), folder=folder)


def whole(found: RowsRead, *, folder: Path | None, suffix: str = "") -> Survey:
    """Make a survey of rows that were looked at, if nothing is wrong or missing."""
    faults = [
        *found.faults,
        *gaps_before_assessment(found.records, suffix, found.broken),
        *contradictions(*found.all_rows(), suffix, found.unread),
    ]
    if faults:
        raise SurveyError(in_order(faults))
    return Survey(found.records, folder)


def read_folder(folder: str | Path) -> Survey:
    """Read a survey from a folder of CSV tables."""
    folder = Path(folder)
    faults: list[Fault] = []
    raw = folder_rows(folder, faults)
    found = read_rows(raw, faults=faults, suffix=".csv")
    if words_are_read(folder):
        found = with_settings_told(found)
    return whole(found, folder=folder, suffix=".csv")
