"""Copies of a kept survey, with its journal and attachments, while others go on writing."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import sqlalchemy as sa

from heritagecheck.errors import StoreError
from heritagecheck.survey.store.database import AT_ONCE, Database
from heritagecheck.survey.store.database_errors import why
from heritagecheck.survey.store.schema import METADATA
from heritagecheck.survey.store.sqlite_file import in_one_file
from heritagecheck.whole_file import written_whole

# Lies in the folder of files until the database, which comes last, is there as well.
UNFINISHED = "backup.unfinished"


def back_up(source: Database, path: Path) -> Path:
    """Copy a database into a new file of SQLite, and its attachments into the folder beside it."""
    folder = path.with_name(f"{path.stem}.files")
    mark = folder / UNFINISHED
    if mark.is_file() and not path.exists():
        shutil.rmtree(folder)
    for taken in (path, folder):
        if taken.exists():
            raise FileExistsError(f"{taken} exists. Nothing was written; name a new file.")
    if not path.parent.is_dir():
        raise StoreError(f"{path} was not written: there is no folder {path.parent}")
    try:
        # The database gets its name last: whoever finds it finds its files as well.
        with written_whole(path) as half:
            # The records first: what they name is in the folder already, whatever comes later.
            if source.file is not None:
                source.copy_into(half)
            else:
                _copy_rows(source, half)
            if source.files is not None and source.files.is_dir():
                with written_whole(folder) as half_folder:
                    _copy_files(source.files, half_folder)
                    (half_folder / UNFINISHED).touch()
        mark.unlink(missing_ok=True)
    except (sqlite3.Error, OSError) as error:
        raise StoreError(f"{path} was not written, because {why(error)}") from error
    return path


def _copy_rows(source: Database, path: Path) -> None:
    """Copy every row of a server's database as it is at one moment."""
    target = Database(path)
    try:
        with source.reading() as old, target.writing() as new:
            for table in METADATA.sorted_tables:
                new.execute(sa.delete(table))
                found = old.execute(sa.select(table), execution_options={"yield_per": AT_ONCE})
                for rows in found.mappings().partitions(AT_ONCE):
                    new.execute(sa.insert(table), [dict(row) for row in rows])
    finally:
        target.close()
    with closing(sqlite3.connect(path)) as connection:
        in_one_file(connection)


def _copy_files(source: Path, target: Path) -> None:
    """Copy a folder of attachments, also while others attach more."""
    target.mkdir()
    for path in sorted(source.rglob("*")):
        # What is only being attached is named by no record yet, and goes as soon as it is whole.
        if path.suffix != ".unfinished" and path.is_file():
            copy = target / path.relative_to(source)
            copy.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, copy)
