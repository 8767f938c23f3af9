"""The tasks of a zone, in the order of work."""

from __future__ import annotations

from typing import NamedTuple


class Task(NamedTuple):
    """One task: the last word of its route, and what it is called."""

    key: str
    title: str


TASKS = (
    Task("what", "What it is"),
    Task("soiling", "Soiling"),
    Task("findings", "Findings"),
    Task("tests", "Tests"),
    Task("colour", "Colour"),
    Task("panels", "Trial panels"),
    Task("photographs", "Photographs"),
    Task("answer", "Answer"),
)
