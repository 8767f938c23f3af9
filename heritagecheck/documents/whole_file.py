"""A file is there whole, or as it was before."""

from __future__ import annotations

from pathlib import Path


def write_whole(path: Path, content: bytes) -> None:
    """
    Write a file beside its place, then move it there.

    Parameters
    ----------
    path : Path
        The file; one that is there already is replaced.
    content : bytes
        What it is to hold.

    Raises
    ------
    OSError
        It could not be written: no room, or no permission. What was there is as it was.
    """
    beside = path.with_name(f".{path.name}.part")
    try:
        beside.write_bytes(content)
        beside.replace(path)
    except OSError:
        beside.unlink(missing_ok=True)
        raise
