"""Who is in the room: each role belongs to one person, who alone has the key to it."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from typing import Final, Literal

from pydantic import BaseModel

from heritagecheck.survey.records.record import UNPRINTABLE

CONSONANTS, VOWELS = "bdfgklmnprstvz", "aeiou"
SYLLABLES = 3  # in each half of the join word: 6 of 70 syllables are 10¹¹ words
MOST_LETTERS = 60
FACILITATOR: Final = "facilitator"
MEMBER: Final = "member"
READER: Final = "reader"
Kind = Literal["facilitator", "member", "reader"]


class Person(BaseModel):
    """One who takes part: by role, with what is needed to know that person again."""

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
    """Whether a key has a hash; nobody learns by the time it takes how much of it is right."""
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
    A role as it was typed.

    Raises
    ------
    ValueError
        It can't be a role.

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
