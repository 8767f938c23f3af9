"""The hash of the journal that each report printed, kept in a small file beside the survey."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

from heritagecheck.errors import StoreError, in_words

IN_FOLDER = "journal-heads.txt"
REPORT = "report"
FIRST_LINE = "# Hashes of the journal that reports printed; heritagecheck check looks for the last."
LINE = re.compile(r"(\S+) ([0-9a-f]{64}) (.*)")


class Head(NamedTuple):
    """The hash that a report printed, when, and the file that says so."""

    when: str
    digits: str
    file: Path


def keep_head(survey: str, digits: str, folder: Path) -> Path:
    """Write down the hash that a report printed."""
    beside = _beside(survey)
    if beside is not None:
        try:
            return _added(beside, survey, digits)
        except OSError:
            pass  # the folder of the report was just written
    return _added(folder / IN_FOLDER, survey, digits)


def newest_head(survey: str) -> Head | None:
    """The hash that the last report of a survey printed, as far as its file is found."""
    beside = _beside(survey)
    places = [Path(REPORT) / IN_FOLDER]
    if beside is not None:
        places += [beside, beside.parent / REPORT / IN_FOLDER]
    found = [head for path in places for head in _read(path, survey)]
    # Of two reports within one second the later line counts.
    return max(reversed(found), key=lambda head: head.when, default=None)


def _beside(survey: str) -> Path | None:
    """The file beside a survey; none beside one on a server."""
    return None if "://" in survey else Path(survey).with_suffix(".heads.txt")


def _added(path: Path, survey: str, digits: str) -> Path:
    """Add a line to a file, unless the last one says the same."""
    last = list(_read(path, survey))[-1:]
    if not last or last[0].digits != digits:
        when = datetime.now(UTC).isoformat(timespec="seconds")
        first = "" if path.exists() else f"{FIRST_LINE}\n"
        with path.open("a", encoding="utf-8") as file:
            file.write(f"{first}{when} {digits} {_named(survey)}\n")
    return path


def _named(survey: str) -> str:
    """A survey as a line names it: a file by its name, so that a folder may be moved."""
    return survey if "://" in survey else Path(survey).name


def _read(path: Path, survey: str) -> Iterable[Head]:
    """Lines about a survey, in the order in which they were written."""
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except FileNotFoundError:
        return
    except (OSError, UnicodeDecodeError) as error:
        why = in_words(error) if isinstance(error, OSError) else f"{path} is not a text file"
        raise StoreError(f"{why}. This file keeps the hashes that reports printed") from error
    for number, line in enumerate(lines, start=1):
        if line == FIRST_LINE:
            continue
        found = LINE.fullmatch(line)
        if found is None:
            raise StoreError(
                f"{path}, line {number} is damaged. This file keeps the hashes that reports "
                "printed. Give check --head the hash from a report itself, then remove the line"
            )
        if found[3] == _named(survey):
            yield Head(found[1], found[2], path)
