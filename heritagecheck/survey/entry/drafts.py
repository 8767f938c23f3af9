"""Text typed and not saved yet: one file for each person and task, next to the database."""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import sys
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from itertools import count
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from heritagecheck.errors import StoreError, in_words
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.whole_file import write_whole

ENDING = ".json"
NAME_DIGITS = 24
WHOLE_NAME = "[0-9a-f]" * NAME_DIGITS
OTHER = ".other"  # ends the name of what another tab typed, before .json
SET_ASIDE = ".unreadable"
# Tabs of one server write one after the other.
_WRITING = threading.Lock()


@dataclass(frozen=True, slots=True)
class Draft:
    """
    What one person typed for one task.

    `number` rises with every change and gives the order; the time `changed_at` is for display.
    """

    who: str
    task: str
    typed: Mapping[str, str]
    number: int
    changed_at: str
    tab: str


_READER = TypeAdapter(Draft)


class Drafts:
    """
    The drafts of a survey, as one browser tab sees them.

    If two tabs of a person work on one task, the later change counts, and `beside` gives what the
    other typed. Two programs that write the same draft at the same instant are not kept apart.
    """

    def __init__(self, survey: DatabaseSurvey) -> None:
        self.folder = folder_beside(survey, ".drafts")
        self._tab = secrets.token_hex(4)
        self._seen: dict[str, int] = {}
        self._number = max((draft.number for draft in self.all()), default=0)

    def read(self, who: str, task: str) -> dict[str, str]:
        """What a person typed for a task; empty if nothing. An unreadable file is set aside."""
        name = _name(who, task)
        draft = self._read(self.folder / f"{name}{ENDING}")
        if draft is None:
            return {}
        self._seen[name] = draft.number
        return dict(draft.typed)

    def write(self, who: str, task: str, typed: Mapping[str, str]) -> None:
        """Save what a person typed for a task; after a StoreError the former draft is unchanged."""
        name = _name(who, task)
        path = self.folder / f"{name}{ENDING}"
        with _WRITING, _explained("kept"):
            self.folder.mkdir(parents=True, exist_ok=True)
            kept = self._read(path)
            if kept and dict(kept.typed) != dict(typed):
                self._keep_of_another_tab(name, kept)
            self._number = 1 + max(self._number, kept.number if kept else 0)
            now = datetime.now(UTC).isoformat(timespec="seconds")
            write_whole(path, _text(Draft(who, task, dict(typed), self._number, now, self._tab)))
            self._seen[name] = self._number
            self._other(name, self._tab).unlink(missing_ok=True)

    def drop(self, who: str, task: str) -> None:
        """Delete the draft of a task, once it is saved or not wanted."""
        name = _name(who, task)
        path = self.folder / f"{name}{ENDING}"
        with _WRITING, _explained("dropped"):
            if kept := self._read(path):
                self._keep_of_another_tab(name, kept)
            path.unlink(missing_ok=True)

    def beside(self, who: str, place: str) -> tuple[Draft, ...]:
        """Drafts of others, and of this person's other tabs, for tasks at `place`, oldest first."""
        mine = self._in_order(f"{WHOLE_NAME}.*{OTHER}")
        found = [one for one in self.all() if one.who not in {who, ""}]
        found += [one for one in mine if one.who == who]
        return tuple(
            sorted(
                (one for one in found if one.task == place or one.task.startswith(f"{place}#")),
                key=lambda one: one.number,
            )
        )

    def forget(self, draft: Draft) -> None:
        """Delete what another tab typed."""
        with _explained("dropped"):
            self._other(_name(draft.who, draft.task), draft.tab).unlink(missing_ok=True)

    def all(self) -> tuple[Draft, ...]:
        """Every draft of every person, in the order of their changes, oldest first."""
        return self._in_order(WHOLE_NAME)

    def _in_order(self, pattern: str) -> tuple[Draft, ...]:
        """Drafts of some files in the order of their changes."""
        read = map(self._read, sorted(self.folder.glob(f"{pattern}{ENDING}")))
        return tuple(sorted(filter(None, read), key=lambda one: one.number))

    def _keep_of_another_tab(self, name: str, kept: Draft) -> None:
        """Save what another tab typed since this one read or wrote the draft."""
        if kept.number != self._seen.get(name):
            write_whole(self._other(name, kept.tab), _text(kept))

    def _other(self, name: str, tab: str) -> Path:
        """File for the text that one tab had when another changed it."""
        return self.folder / f"{name}.{tab}{OTHER}{ENDING}"

    def _read(self, path: Path) -> Draft | None:
        """The draft in a file; one that can't be read is set aside."""
        with _explained("read"):
            try:
                return _READER.validate_json(path.read_bytes(), strict=True)
            except FileNotFoundError:
                return None
            except ValidationError:
                aside = (path.with_suffix(f"{SET_ASIDE}{turn or ''}") for turn in count())
                path.rename(next(name for name in aside if not name.exists()))
                return None


@contextmanager
def _explained(done: str) -> Iterator[None]:
    """Raise a StoreError that says why a draft could not be read or written."""
    try:
        yield
    except StoreError:
        raise
    except OSError as error:
        raise StoreError(f"The draft could not be {done}: {in_words(error)}.") from error


def _text(draft: Draft) -> bytes:
    """A draft as JSON."""
    # Some keyboards send half of a surrogate pair for a moment, which UTF-8 can't encode.
    return json.dumps(asdict(draft), ensure_ascii=False, indent=1).encode("utf-8", "replace")


def _name(who: str, task: str) -> str:
    """File name for one person and task, whatever characters these contain."""
    return hashlib.sha256(json.dumps([who, task]).encode()).hexdigest()[:NAME_DIGITS]


def folder_beside(survey: DatabaseSurvey, ending: str) -> Path:
    """Folder for data outside the survey: next to a database file, else in the user's own."""
    if "://" not in survey.name:
        return Path(survey.name).absolute().with_suffix(ending)
    place = hashlib.sha256(survey.name.encode()).hexdigest()[:NAME_DIGITS]
    return _state_folder() / "heritagecheck" / f"{place}{ending}"


def _state_folder() -> Path:
    """Folder in which programs keep their state on this machine."""
    home = Path.home()
    return {
        "win32": Path(os.environ.get("LOCALAPPDATA") or home / "AppData" / "Local"),
        "darwin": home / "Library" / "Application Support",
    }.get(sys.platform, Path(os.environ.get("XDG_STATE_HOME") or home / ".local" / "state"))
