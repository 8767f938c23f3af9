"""Begin a survey of one's own: a folder with its database, field sheets and the notebooks."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.carried import notebooks_folder
from heritagecheck.survey.field_help import fields_page
from heritagecheck.survey.kept import KeptSurvey
from heritagecheck.survey.opened import SUFFIXES
from heritagecheck.survey.records import TABLES

PAGES = Path(__file__).parent / "pages"
DATABASE = "survey.db"
WORKBOOK = "field-sheets.xlsx"


def start_survey(folder: str | Path) -> Path:
    """
    Make the folder in which a structure of one's own is surveyed.

    Parameters
    ----------
    folder : str or Path
        Folder to be made; it may exist already where it is empty.

    Returns
    -------
    Path
        The folder: ``README.md``, the database, a workbook of field sheets, a page that explains
        every field, a folder for drawings, the notebooks.

    Raises
    ------
    FileExistsError
        Something lies there already. Nothing was written.
    FileNotFoundError
        The package came without its notebooks. Nothing was written.
    OSError
        It could not be written: no room, or no permission. Nothing is left of it.
    """
    folder = Path(folder)
    if folder.is_file() or (folder.is_dir() and any(folder.iterdir())):
        raise FileExistsError(
            f"{folder} exists and is not empty. Nothing was written; name a new folder."
        )
    notebooks = sorted(notebooks_folder().glob("*.ipynb"))
    try:
        _fill(folder, notebooks)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)  # half a folder would only keep the name taken
        raise
    return folder


def _fill(folder: Path, notebooks: Sequence[Path]) -> None:
    """Make all that belongs into the folder."""
    from heritagecheck.survey.workbook import write_workbook

    (folder / "drawings").mkdir(parents=True)
    shutil.copyfile(PAGES / "drawings.md", folder / "drawings" / "README.md")
    KeptSurvey(folder / DATABASE).close()
    write_workbook(folder / WORKBOOK, dict.fromkeys(TABLES, ()))
    (folder / "fields.md").write_text(fields_page(), encoding="utf-8")
    (folder / "notebooks").mkdir()
    for notebook in notebooks:
        shutil.copyfile(notebook, folder / "notebooks" / notebook.name)
    shutil.copyfile(PAGES / "README.md", folder / "README.md")


def survey_place(given: str) -> str:
    """
    Where the survey is that somebody names on the command line.

    Parameters
    ----------
    given : str
        Address of a database, its file, a folder made by `start_survey`, or a folder of tables.

    Returns
    -------
    str
        What `open_survey` takes.

    Raises
    ------
    SurveyError
        There is nothing of that name: nothing is made by mistyping it.
    """
    if "://" in given:
        if not given.startswith("postgresql+psycopg://"):
            what = "a database on a server is named as postgresql+psycopg://user@host/name"
            raise SurveyError([Fault(given.partition("://")[0] + "://", None, "", "", what)])
        return given
    path = Path(given)
    if path.is_dir() and (path / DATABASE).is_file():
        return str(path / DATABASE)
    if not path.exists():
        kind = "file" if path.suffix.lower() in SUFFIXES else "folder"
        raise SurveyError([Fault(given, None, "", "", f"there is no such {kind}")])
    return given
