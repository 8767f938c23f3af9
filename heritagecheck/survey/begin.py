"""Begin a survey of one's own: a folder with empty tables, their explanation and the notebooks."""

from __future__ import annotations

import shutil
from pathlib import Path

from heritagecheck.survey.carried import notebooks_folder
from heritagecheck.survey.datapackage import datapackage
from heritagecheck.survey.field_help import fields_page
from heritagecheck.survey.records import TABLES

PAGES = Path(__file__).parent / "pages"


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
        The folder: ``README.md``, the tables with their headings in ``survey``, ``notebooks``.

    Raises
    ------
    FileExistsError
        Something lies there already. Nothing was written.
    FileNotFoundError
        The package came without its notebooks. Nothing was written.
    """
    folder = Path(folder)
    if folder.is_file() or (folder.is_dir() and any(folder.iterdir())):
        raise FileExistsError(
            f"{folder} exists and is not empty. Nothing was written; name a new folder."
        )
    notebooks = sorted(notebooks_folder().glob("*.ipynb"))
    _write_tables(folder / "survey")
    (folder / "notebooks").mkdir()
    for notebook in notebooks:
        shutil.copyfile(notebook, folder / "notebooks" / notebook.name)
    shutil.copyfile(PAGES / "README.md", folder / "README.md")
    return folder


def tables_folder(folder: str | Path) -> Path:
    """
    Folder that holds the tables: the one named, or the `survey` in it.

    Parameters
    ----------
    folder : str or Path
        Folder of the tables, or one made by `start_survey`.

    Returns
    -------
    Path
    """
    folder = Path(folder)
    inner = folder / "survey"
    return inner if _holds_tables(inner) and not _holds_tables(folder) else folder


def _holds_tables(folder: Path) -> bool:
    """Whether any table of a survey lies in a folder."""
    return any((folder / f"{table}.csv").is_file() for table in TABLES)


def _write_tables(folder: Path) -> None:
    """Write every table with its headings alone, and what explains them."""
    (folder / "drawings").mkdir(parents=True)
    for table, model in TABLES.items():
        headings = ",".join(model.model_fields)
        (folder / f"{table}.csv").write_text(headings + "\n", encoding="utf-8")
    (folder / "fields.md").write_text(fields_page(), encoding="utf-8")
    (folder / "datapackage.json").write_text(
        datapackage("survey", "Survey of a structure"), encoding="utf-8"
    )
    shutil.copyfile(PAGES / "drawings.md", folder / "drawings" / "README.md")
