"""A survey opened from wherever it is kept."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.build import read_folder

if TYPE_CHECKING:
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
        A `KeptSurvey` where it is a database; what is saved in it stays.

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
    from heritagecheck.survey.store.kept_survey import KeptSurvey

    return KeptSurvey(place, files=files)
