"""Begin a survey of one's own: a folder with its database, field sheets and the notebooks."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.build import SUFFIXES
from heritagecheck.survey.exchange.field_help import fields_page
from heritagecheck.survey.packaged_files import notebooks_folder
from heritagecheck.survey.records import TABLES
from heritagecheck.survey.store import postgresql
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.whole_file import unfinished, written_whole

PAGES = Path(__file__).parent / "pages"
DATABASE = "survey.db"
WORKBOOK = "field-sheets.xlsx"
# Lies in the folder for as long as parts of it are missing.
UNFINISHED = ".heritagecheck-start-unfinished"
Make = Callable[[Path], object]


def start_survey(folder: str | Path, *, more: Mapping[str, Make] | None = None) -> Path:
    """Make the folder in which a structure of one's own is surveyed."""
    folder = Path(folder)
    mark = folder / UNFINISHED
    if folder.is_file() or (folder.is_dir() and any(folder.iterdir()) and not mark.is_file()):
        raise FileExistsError(
            f"{folder} exists and is not empty. Nothing was written; name a new folder."
        )
    parts = _parts() | dict(more or {})
    folder.mkdir(parents=True, exist_ok=True)
    mark.touch()
    for name, make in parts.items():
        path = folder / name
        # What an interrupted call made may have been filled in since.
        if not path.exists():
            path.parent.mkdir(exist_ok=True)
            with written_whole(path) as half:
                make(half)
        elif unfinished(path).is_dir():
            shutil.rmtree(unfinished(path))
    mark.unlink()
    return folder


def _parts() -> dict[str, Make]:
    """Files of the folder: the name of each, and what writes it."""
    from heritagecheck.survey.exchange.workbook import write_workbook

    return {
        "drawings/README.md": partial(shutil.copyfile, PAGES / "drawings.md"),
        DATABASE: lambda path: DatabaseSurvey(path).close(),
        WORKBOOK: lambda path: write_workbook(path, dict.fromkeys(TABLES, ())),
        "fields.md": lambda path: path.write_text(fields_page(), encoding="utf-8"),
        **{
            f"notebooks/{notebook.name}": partial(shutil.copyfile, notebook)
            for notebook in sorted(notebooks_folder().glob("*.ipynb"))
        },
        "README.md": partial(shutil.copyfile, PAGES / "README.md"),
    }


def survey_place(given: str) -> str:
    """Where the survey is that somebody names on the command line."""
    if "://" in given:
        if not given.startswith(postgresql.BEGINS):
            what = f"a database on a server is named as {postgresql.FORM}"
            raise SurveyError([Fault("this address", None, "", "", what)])
        return given
    path = Path(given)
    if path.is_dir() and (path / DATABASE).is_file():
        return str(path / DATABASE)
    if not path.exists():
        kind = "file" if path.suffix.lower() in SUFFIXES else "folder"
        raise SurveyError([Fault(given, None, "", "", f"there is no such {kind}")])
    return given
