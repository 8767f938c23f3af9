"""A look at an archive before anything unpacks it: names that lead out, contents that swell."""

from __future__ import annotations

import lzma
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from pathlib import PurePosixPath

from heritagecheck.errors import Fault

# Tables and heights shrink to a twentieth, hardly further; a bomb to a thousandth.
MOST_RATIO = 200
# Below these sizes a high ratio harms nobody: a short file of noughts, a small archive.
SMALL, LITTLE = 2**20, 2**26
# What comes of a file that is no archive, is cut off, changed, or locked with a password.
NO_ARCHIVE = (
    zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, RuntimeError, EOFError,
    zlib.error, lzma.LZMAError, struct.error, UnicodeError,
)  # fmt: skip
# What libraries raise over a file that is broken in ways they did not think of.
BROKEN = (
    *NO_ARCHIVE, OSError, ValueError, TypeError, LookupError, AttributeError, ArithmeticError,
    AssertionError, SyntaxError, MemoryError, RecursionError,
)  # fmt: skip


def in_one_line(error: Exception) -> str:
    """What a library says of a broken file, or what kind of fault it met."""
    return " ".join(str(error).split()) or type(error).__name__


def swollen(member: zipfile.ZipInfo) -> bool:
    """Whether a member would grow beyond all measure."""
    return member.file_size > max(SMALL, MOST_RATIO * member.compress_size)


def member_faults(
    name: str,
    members: Sequence[zipfile.ZipInfo],
    *,
    archive_bytes: int,
    most_members: int,
    most_bytes: int,
) -> Iterator[Fault]:
    """What keeps an archive from being unpacked."""
    size = sum(one.file_size for one in members)
    if len(members) > most_members or size > min(
        most_bytes, max(LITTLE, MOST_RATIO * archive_bytes)
    ):
        yield Fault(
            name, None, "", "",
            f"holds {len(members)} files of {size:,} B; at most {most_members} files of "
            f"{most_bytes:,} B are unpacked, and no more than {MOST_RATIO} times its own size",
        )  # fmt: skip
    seen: set[str] = set()
    for one in members:
        if _leads_out(one.orig_filename) or stat.S_ISLNK(one.external_attr >> 16):
            yield Fault(name, None, "file", one.filename, "points outside the archive")
        place = str(
            PurePosixPath(one.filename)
        ).casefold()  # ./zones.csv is the same path as zones.csv
        if place in seen:
            yield Fault(name, None, "file", one.filename, "occurs twice")
        seen.add(place)
        if swollen(one):
            yield Fault(
                name, None, "file", one.filename,
                f"would grow from {one.compress_size:,} to {one.file_size:,} B, more than "
                f"{MOST_RATIO} times",
            )  # fmt: skip


def _leads_out(name: str) -> bool:
    """Whether a name is that of a file elsewhere, on one system or another."""
    inside = PurePosixPath(name)
    return inside.is_absolute() or ".." in inside.parts or "\\" in name or ":" in name
