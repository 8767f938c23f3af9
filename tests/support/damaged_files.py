"""A survey's file with a few bytes changed, cut off or emptied, and what the commands say of it."""

from __future__ import annotations

import io
import random
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import NamedTuple

from heritagecheck.cli import main

PAGE = 4096
COMMANDS = ("assess", "export", "backup", "sheets")


class Answer(NamedTuple):
    """What a command said, and how it ended."""

    code: int
    out: str
    err: str


def damages(content: bytes, seed: int, count: int) -> Iterator[tuple[str, bytes]]:
    """What was done to a file, and the file: the same for the same seed."""
    chance = random.Random(seed)
    for number in range(count):
        changed = bytearray(content)
        kind = number % 5
        # As often in the first page, which holds the schema, as in all the others.
        reach = PAGE if chance.random() < 0.3 else len(content)
        place = chance.randrange(reach)
        page = place - place % PAGE
        if kind == 0:
            changed[place] ^= 1 << chance.randrange(8)
            said = f"bit at {place}"
        elif kind == 1:
            some = chance.randrange(1, 64)
            changed[place : place + some] = chance.randbytes(some)[: len(content) - place]
            said = f"{some} bytes at {place}"
        elif kind == 2:
            changed[page : page + PAGE] = bytes(len(content[page : page + PAGE]))
            said = f"page at {page} emptied"
        elif kind == 3:
            del changed[place:]
            said = f"cut at {place}"
        else:
            # Where there are letters and digits: a value that is another, and perhaps no damage.
            while not (48 <= changed[place] < 123):
                place = (place + 1) % len(content)
            changed[place] = chance.choice(b"0123456789abcdefghijklmnopqrstuvwxyz")
            said = f"letter at {place}"
        yield said, bytes(changed)


def answer(command: str, place: Path, out: Path) -> Answer:
    """Run one command on a survey's file in this process; what it writes goes into a folder."""
    out.mkdir(exist_ok=True)
    more = {
        "export": [str(out / "out")], "backup": [str(out / "out.db")],
        "sheets": ["--to", str(out / "out.pdf"), "--zone", "N01"],
    }.get(command, [])  # fmt: skip
    told, wrong = io.StringIO(), io.StringIO()
    with redirect_stdout(told), redirect_stderr(wrong):
        code = main([command, str(place), *more])
    return Answer(code, told.getvalue(), wrong.getvalue())


def amiss(content: bytes, seed: int, count: int, folder: Path) -> Iterator[str]:
    """
    Damage a survey's file so many times, and say where a command did not answer in a sentence.

    A command may go on only where no record was touched: then `check` says of the journal what it
    said before.
    """
    folder.mkdir()
    place = folder / "survey.db"
    place.write_bytes(content)
    whole = answer("check", place, folder).out
    for number, (said, changed) in enumerate(damages(content, seed, count)):
        for command in ("check", COMMANDS[number % len(COMMANDS)]):
            for path in folder.glob("survey.db*"):
                path.unlink()
            place.write_bytes(changed)
            try:
                found = answer(command, place, folder / str(number))
            except Exception as error:
                yield f"{said}, {command}: {type(error).__name__}: {error}"
                continue
            if found.code not in {0, 1}:
                yield f"{said}, {command}: exit code {found.code}"
            if found.code == 0 and command == "check" and found.out != whole:
                yield f"{said}, {command}: passed, and says something else: {found.out}"
            if found.code == 1 and not _sentence(found.err, place, command):
                yield f"{said}, {command}: {found.err or 'nothing was said'}"


def _sentence(said: str, place: Path, command: str) -> bool:
    """Whether a message names the file and what to do, or why a whole one was not gone on with."""
    if said.startswith(f"{place}"):
        return "backup" in said or "newer release" in said
    return command != "check" and "to correct" in said
