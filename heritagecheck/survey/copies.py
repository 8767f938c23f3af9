"""Copies of a kept survey, with its journal and attachments, while others go on writing."""

from __future__ import annotations

import shutil
from pathlib import Path

import sqlalchemy as sa

from heritagecheck.errors import StoreError
from heritagecheck.survey.database import METADATA, Database, copy_sqlite, files_copied

AT_ONCE = 5000


def back_up(source: Database, path: Path) -> Path:
    """
    Copy a database into a new file of SQLite, and its attachments into the folder beside it.

    Parameters
    ----------
    source : Database
        The survey's.
    path : Path
        The new file.

    Returns
    -------
    Path
        The new file.

    Raises
    ------
    FileExistsError
        Something bears that name, or that of its folder.
    StoreError
        It could not be written; no half of it is left.
    """
    folder = path.with_name(f"{path.stem}.files")
    for taken in (path, folder):
        if taken.exists():
            raise FileExistsError(f"{taken} exists. Nothing was written; name a new file.")
    if not path.parent.is_dir():
        raise StoreError(f"{path} was not written: there is no folder {path.parent}")
    # The records first: whatever they name is in the folder already, whatever is attached later.
    if source.file is not None:
        copy_sqlite(source.file, path)
    else:
        _copy_rows(source, path)
    try:
        files_copied(source.files, folder)
    except OSError as error:
        _remove(path, folder)
        raise StoreError(f"{folder} was not written, because of: {error}") from error
    return path


def _copy_rows(source: Database, path: Path) -> None:
    """Copy every row of a server's database as it is at one moment."""
    half = path.with_name(f"{path.name}.unfinished")
    half.unlink(missing_ok=True)
    try:
        target = Database(half)
        try:
            with source.reading() as old, target.writing() as new:
                for table in METADATA.sorted_tables:
                    new.execute(sa.delete(table))
                    found = old.execute(sa.select(table), execution_options={"yield_per": AT_ONCE})
                    for rows in found.mappings().partitions(AT_ONCE):
                        new.execute(sa.insert(table), [dict(row) for row in rows])
        finally:
            target.close()
        copy_sqlite(half, path)
    finally:
        for suffix in ("", "-wal", "-shm"):
            half.with_name(f"{half.name}{suffix}").unlink(missing_ok=True)


def _remove(path: Path, folder: Path) -> None:
    """Leave no half of a copy."""
    path.unlink(missing_ok=True)
    shutil.rmtree(folder, ignore_errors=True)
