"""Answers that take long to work out, kept in the user's cache for the next process."""

from __future__ import annotations

import hashlib
import json
import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from importlib import resources
from importlib.metadata import version
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

import numpy as np

MOST_FILES = 500  # some ten kilobytes each
CODE = ("evidence", "tables")


def kept(asked: str, work: Callable[[], dict[str, Any]]) -> dict[str, Any]:
    """An answer worked out earlier on this machine, or else now."""
    path = _place(asked)
    answer = None if path is None else _read(path, asked)
    if answer is not None:
        return answer
    body = json.dumps([asked, work()]).encode()
    if path is not None:
        _keep(path, body)
    return _answer(body)


def lacking(asked: str) -> bool:
    """Whether an answer could be kept, and is not."""
    path = _place(asked)
    return path is not None and _read(path, asked) is None


def cache_folder() -> Path | None:
    """Where answers are kept."""
    try:
        home = Path.home()
    except RuntimeError:
        return None
    base = {
        "win32": Path(os.environ.get("LOCALAPPDATA") or home / "AppData" / "Local"),
        "darwin": home / "Library" / "Caches",
    }.get(sys.platform, Path(os.environ.get("XDG_CACHE_HOME") or home / ".cache"))
    # Without a home it would be a folder below the one where the program was started.
    return base / "heritagecheck" / "kept" if base.is_absolute() else None


def _fingerprint() -> str:
    """Hash of the code and tables that answer, and of what they are worked out with."""
    found = hashlib.sha256()
    package = resources.files("heritagecheck")
    for folder in CODE:
        for name, content in sorted(_files_in(package.joinpath(folder), folder)):
            found.update(f"\n{name}\n".encode() + content)
    # Other processors may add in another order, and a home may be shared.
    surroundings = sys.version, version("scipy"), np.show_config("dicts")
    found.update(str(surroundings).encode())
    return found.hexdigest()


def _files_in(folder: Traversable, name: str) -> Iterator[tuple[str, bytes]]:
    """Code and tables below a folder, each under its path in the package."""
    for one in folder.iterdir():
        if one.is_dir():
            yield from _files_in(one, f"{name}/{one.name}")
        elif one.name.endswith((".py", ".csv")):
            yield f"{name}/{one.name}", one.read_bytes()


# Taken when the code is loaded: what is edited afterwards does not run in this process.
_MADE_BY = _fingerprint()


def _place(asked: str) -> Path | None:
    """File of one answer."""
    folder = cache_folder()
    return None if folder is None else folder / f"{_hash(asked.encode())}.json"


def _hash(content: bytes) -> str:
    """Hash that no other code's is."""
    return hashlib.sha256(_MADE_BY.encode() + content).hexdigest()


def _read(path: Path, asked: str) -> dict[str, Any] | None:
    """Read a kept answer; None where it is not there whole."""
    try:
        stated, _, body = path.read_bytes().partition(b"\n")
    except OSError:
        return None
    if stated != _hash(body).encode() or json.loads(body)[0] != asked:
        return None
    return _answer(body)


def _answer(body: bytes) -> dict[str, Any]:
    """Take the answer out of what a file holds."""
    answer: dict[str, Any] = json.loads(body)[1]
    return answer


def _keep(path: Path, body: bytes) -> None:
    """Write a file beside and move it; the oldest make room. Where that can't be, keep nothing."""
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        number, beside = tempfile.mkstemp(dir=path.parent)
        try:
            with os.fdopen(number, "wb") as file:
                file.write(_hash(body).encode() + b"\n" + body)
            Path(beside).replace(path)
        except OSError:
            Path(beside).unlink()
            raise
        files = sorted(path.parent.iterdir(), key=lambda one: one.stat().st_mtime)
        for one in files[:-MOST_FILES]:
            one.unlink()
    except OSError:
        return
