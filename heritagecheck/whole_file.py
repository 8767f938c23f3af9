"""What is written is there whole, or not at all: made beside its place, on the disk, then moved."""

from __future__ import annotations

import errno
import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path


def write_whole(path: Path, content: bytes) -> None:
    """Write a file; one of that name is replaced."""
    with written_whole(path, replace=True) as half:
        half.write_bytes(content)


@contextmanager
def written_whole(path: Path, *, replace: bool = False) -> Iterator[Path]:
    """A place for a file or a folder that gets its name only once all of it is on the disk."""
    _free(path, replace)
    beside = unfinished(path)
    own = beside / secrets.token_hex(4)
    try:
        if beside.is_dir():
            shutil.rmtree(beside)
        own.mkdir(parents=True)
        yield own / path.name
        # Whoever writes the same thing at the same time took ours for something left behind.
        if not own.is_dir():
            raise OSError(f"{path} is being written by another program as well; try again")
        _flush(own)
        _free(path, replace)
        (own / path.name).replace(path)
        _flush_folder(path.parent)
    except OSError as error:
        if str(error.filename).startswith(str(beside)):
            error.filename = str(path)
        raise
    finally:
        with suppress(OSError):  # a disk that may only be read refuses this too
            shutil.rmtree(own)
        with suppress(OSError):
            beside.rmdir()


def unfinished(path: Path) -> Path:
    """The folder in which something is made until it is whole."""
    return path.with_name(f".{path.name}.heritagecheck-unfinished")


def _free(path: Path, replace: bool) -> None:
    """Refuse a name that is taken; a folder is never replaced."""
    if replace and path.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    if path.exists() and not replace:
        raise FileExistsError(f"{path} exists. Nothing was written; choose another name.")


def _flush(folder: Path) -> None:
    """Let all that a folder holds be on the disk."""
    for inner, _, names in os.walk(folder):
        for name in names:
            _flush_one(Path(inner, name), os.O_RDWR if os.name == "nt" else os.O_RDONLY)
        _flush_folder(Path(inner))


def _flush_folder(folder: Path) -> None:
    """Let the names in a folder be on the disk; Windows sees to it by itself."""
    if os.name != "nt":
        _flush_one(folder, os.O_RDONLY)


def _flush_one(path: Path, how: int) -> None:
    """Let what the system still holds of a file or folder be on the disk."""
    number = os.open(path, how)
    try:
        os.fsync(number)
    finally:
        os.close(number)
