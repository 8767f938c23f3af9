"""Who is in the room, and what nobody else may read before it is shown."""

from __future__ import annotations

import hashlib
import hmac
import secrets
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final, Literal, TypeVar

from pydantic import BaseModel, ValidationError

from heritagecheck.errors import StoreError, in_words
from heritagecheck.survey.entry.drafts import folder_beside
from heritagecheck.survey.records.record import UNPRINTABLE
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.whole_file import written_whole

# -- Each role belongs to one person, who alone has the key to it ----------------------------------

CONSONANTS, VOWELS = "bdfgklmnprstvz", "aeiou"
SYLLABLES = 3  # in each half of the join word: 6 of 70 syllables are 10¹¹ words
MOST_LETTERS = 60
FACILITATOR: Final = "facilitator"
MEMBER: Final = "member"
READER: Final = "reader"
Kind = Literal["facilitator", "member", "reader"]


class Person(BaseModel):
    """One participant: the role, and hashes of the keys by which to know that person again."""

    role: str
    kind: Kind
    keys: tuple[str, ...] = ()


def new_key() -> str:
    """A key that nobody can guess; the browser keeps it, the meeting only its hash."""
    return secrets.token_urlsafe(24)


def hash_of(key: str) -> str:
    """Hash under which a key is kept."""
    return hashlib.sha256(key.encode()).hexdigest()


def fits(key: str, hashed: str) -> bool:
    """Whether a key has this hash, compared in constant time."""
    return hmac.compare_digest(hash_of(key), hashed)


def join_word() -> str:
    """A word that can be said aloud in a room, and not be guessed from outside it."""
    halves = (
        "".join(secrets.choice(CONSONANTS) + secrets.choice(VOWELS) for _ in range(SYLLABLES))
        for _ in range(2)
    )
    return "-".join(halves)


def same_word(typed: str, word: str) -> bool:
    """Whether the join word was typed; capitals, blanks and hyphens do not count."""

    def plain(text: str) -> str:
        return "".join(sign for sign in text.casefold() if sign.isalpha())

    return hmac.compare_digest(plain(typed).encode(), plain(word).encode())


def role_typed(typed: str) -> str:
    """
    A role as it was typed, without extra blanks; ValueError if it can't be one.

    Examples
    --------
    >>> role_typed("  heritage   authority ")
    'heritage authority'
    """
    role = " ".join(typed.split())
    if not role:
        raise ValueError("Write your role first, such as engineer.")
    if len(role) > MOST_LETTERS:
        raise ValueError(f"Write a role of at most {MOST_LETTERS} letters.")
    if ";" in role or UNPRINTABLE.search(role):
        raise ValueError("Write the role without semicolons.")
    return role


# -- Files of the owner alone, off the survey ------------------------------------------------------

LOCK = "held"
OWNER_ONLY_FOLDER = 0o700
OWNER_ONLY_FILE = 0o600
Kept = TypeVar("Kept", bound=BaseModel)


class PrivateFiles:
    """
    Files of a meeting that only the user who serves it may read.

    They lie next to the database, else in the user's own folder; no export, backup or journal
    includes them, and no page shows them. Whoever runs the computer can still read them, and
    every meeting says so at its start.
    """

    def __init__(self, survey: DatabaseSurvey) -> None:
        self.folder = folder_beside(survey, ".meeting")

    def read(self, name: str, model: type[Kept]) -> Kept | None:
        """Data saved under a name; None if there is none. An unreadable file is left as it is."""
        path = self.folder / name
        try:
            return model.model_validate_json(path.read_bytes())
        except FileNotFoundError:
            return None
        except ValidationError:
            said = f"{path} does not hold what a meeting keeps. Move it away to begin a new one."
            raise StoreError(said) from None
        except OSError as error:
            raise StoreError(f"The meeting could not be read: {in_words(error)}.") from error

    def write(self, name: str, kept: BaseModel) -> None:
        """Save data; on return it is on the disk, after a StoreError nothing has changed."""
        try:
            self._make_folder()
            with written_whole(self.folder / name, replace=True) as half:
                half.touch(mode=OWNER_ONLY_FILE)
                half.write_text(kept.model_dump_json(indent=1) + "\n", encoding="utf-8")
        except OSError as error:
            raise StoreError(f"Nothing was kept: {in_words(error)}.") from error

    @contextmanager
    def held_alone(self) -> Iterator[None]:
        """Lock these files against other programs until the block or this program ends."""
        self._make_folder()
        with (self.folder / LOCK).open("a+b") as lock:
            try:
                _lock(lock.fileno())
            except OSError:
                raise StoreError(
                    "This meeting is held by another program already. Use the addresses that it "
                    "printed, or stop it first."
                ) from None
            yield

    def drop(self, name: str) -> None:
        """Delete what was saved under a name."""
        (self.folder / name).unlink(missing_ok=True)

    def _make_folder(self) -> None:
        """Make the folder, for the owner alone."""
        self.folder.mkdir(parents=True, exist_ok=True, mode=OWNER_ONLY_FOLDER)
        self.folder.chmod(OWNER_ONLY_FOLDER)


def _lock(number: int) -> None:
    """Lock an open file for this program; the system unlocks it when the program ends."""
    if sys.platform == "win32":
        import msvcrt

        msvcrt.locking(number, msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
