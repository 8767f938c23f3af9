"""A look at a file of heights before a library reads it: text and X3P, whole and harmless."""

from __future__ import annotations

import hashlib
import io
import math
import re
import zipfile
from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING
from xml.etree.ElementTree import ParseError

import numpy as np
from defusedxml import DefusedXmlException
from defusedxml import ElementTree as SafeET

from heritagecheck.errors import Fault
from heritagecheck.survey.exchange.archives import NO_ARCHIVE, member_faults

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element


# -- Text ------------------------------------------------------------------------------------------

# The library takes a text line by line, some 400,000 numbers a second, and again for its heights.
MOST_TEXT = 20_000_000
MOST_POINTS = 500_000
# Each digit can be taken in one way only: else a line that ends oddly is tried in all of them.
NUMBER = rb"[+-]?(?:\d++(?:\.\d*+)?|\.\d++)(?:[eE][+-]?\d+)?|[+-]?[nN][aA][nN]"
NUMBERS = re.compile(rb"\s*(?:%b)(?:[\s,;]+(?:%b))*[\s,;]*" % (NUMBER, NUMBER))
# Width and height in a heading make a text with three columns a matrix.
SIZE = re.compile(rb"#[^:]*:\s*[\d.]")
SEPARATORS = bytes.maketrans(b",;", b"  ")
UTF_16 = (b"\xff\xfe", b"\xfe\xff")
SHOWN = 5
LONGEST_SHOWN = 60


def is_text(data: bytes) -> bool:
    """Whether a file holds text."""
    return data.startswith(UTF_16) or b"\x00" not in data


def text_faults(file: str, data: bytes) -> tuple[list[Fault], str | None]:
    """What keeps a text of heights from being read; `"asc"` where it can only be a matrix."""
    # Three numbers a line are points of a surface: x, y, height. One damaged line among them would
    # let a library take them for a matrix of three columns.
    if len(data) > MOST_TEXT:
        return [_of_file(file, f"holds {len(data):,} B of text; at most {MOST_TEXT:,} B are read. "
                         "Export X3P, or a part of the field")], None  # fmt: skip
    if data.startswith(UTF_16):
        data = data.decode("utf-16", "replace").encode()
    lines = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n")
    wide = [_wide(line) for line in lines]
    counts = Counter(count for count in wide if count)
    if not counts:
        return [], None
    columns, most = counts.most_common(1)[0]
    first = wide.index(columns)
    headings = [line for line in lines[:first] if line.strip()]
    matrix = columns > 3 or any(SIZE.match(line) for line in headings)
    below = [at for at in range(first, len(lines)) if lines[at].strip() and wide[at] != columns]
    # Between the blocks of a matrix there may be words.
    damaged = [at for at in below if not matrix or _mostly_numbers(lines[at])]
    if most < 4 or len(below) > most:
        return [], None
    faults = [_damaged(file, at, lines[at], columns) for at in damaged[:SHOWN]]
    if len(damaged) > SHOWN:
        faults.append(_of_file(file, f"{len(damaged)} lines are damaged in all"))
    if most > MOST_POINTS:
        faults.append(_of_file(file, f"holds {most:,} lines of numbers; at most {MOST_POINTS:,} "
                               "are read. Export X3P, or a part of the field"))  # fmt: skip
    if (
        not faults
        and not matrix
        and columns == 3
        and all(line.startswith(b"#") for line in headings)
    ):
        faults += _grid_faults(file, b"\n".join(lines[first:]))
    return faults, "asc" if columns > 3 else None


def sdf_faults(file: str, data: bytes) -> Iterator[Fault]:
    """Whether an SDF text holds as many heights as it says."""
    # ISO 25178-71:2017: header, heights and trailer are separated by lines that hold *.
    header, *rest = re.split(rb"^\s*\*\s*$", data, maxsplit=2, flags=re.MULTILINE)
    counts = {
        key: re.search(rb"^\s*" + key + rb"\s*=\s*(\d{1,9})\s*$", header, re.MULTILINE)
        for key in (b"NumPoints", b"NumProfiles")
    }
    for key, found in counts.items():
        if found is None:
            yield Fault(file, None, key.decode(), "", "is missing, or no count")
            return
    said = math.prod(int(found[1]) for found in counts.values() if found)
    there = len(rest[0].split()) if rest else 0
    if said != there:
        yield Fault(
            file, None, "heights", f"{there:,}",
            f"the header says {said:,}. Was the file cut off, or is a height missing?",
        )  # fmt: skip


def _wide(line: bytes) -> int:
    """Numbers in a line that holds nothing else; else 0."""
    return len(line.translate(SEPARATORS).split()) if NUMBERS.fullmatch(line) else 0


def _mostly_numbers(line: bytes) -> bool:
    """Whether more than half of what a line holds is numbers."""
    words = line.translate(SEPARATORS).split()
    return 2 * sum(1 for word in words if NUMBERS.fullmatch(word)) > len(words)


def _of_file(file: str, why: str) -> Fault:
    """A fault of the whole file."""
    return Fault(file, None, "", "", why)


def _damaged(file: str, at: int, line: bytes, columns: int) -> Fault:
    """A line that is none of the others' kind."""
    shown = line.decode("utf-8", "replace").strip()
    shown = shown if len(shown) <= LONGEST_SHOWN else f"{shown[:LONGEST_SHOWN]}…"
    return Fault(
        file, at + 1, "line", shown,
        f"is damaged: the others hold {columns} numbers each. Export the file again",
    )  # fmt: skip


def _grid_faults(file: str, body: bytes) -> Iterator[Fault]:
    """Points that fill no regular grid, from which a library may make one without measure."""
    points = np.array(body.translate(SEPARATORS).split(), dtype=float).reshape(-1, 3)
    counts = []
    for axis, other in ((0, 1), (1, 0)):
        places = points[np.lexsort((points[:, axis], points[:, other])), axis]
        step = places[1] - places[0]
        span = (places.max() - places[0]) / step if step > 0 else np.nan
        counts.append(span + 1)
    if not abs(counts[0] * counts[1] - len(points)) < 0.5 * max(1, *counts):
        said = " × ".join("?" if np.isnan(count) else f"{count:,.0f}" for count in counts)
        yield _of_file(
            file,
            f"its {len(points):,} points do not fill a regular grid: the first steps would make it "
            f"{said}. Export X3P, or a height for each place of a grid",
        )  # fmt: skip


# -- X3P, or another zip ---------------------------------------------------------------------------

MOST_ARCHIVE_BYTES = 2**28
MOST_MEMBERS = 1000
ITEM_BYTES = {"I": 2, "L": 4, "F": 4, "D": 8}
CHECKSUM = re.compile(r"([0-9a-fA-F]{32})(?:\s+\*?(.+))?")


def zip_faults(file: str, data: bytes) -> list[Fault]:
    """What keeps a zip of heights, such as X3P, from being read."""
    # ISO 25178-72:2017: main.xml describes, md5checksum.hex holds its checksum, and the description
    # names the heights and may hold their checksum.
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = archive.infolist()
            faults = list(
                member_faults(
                    file, members, archive_bytes=len(data), most_members=MOST_MEMBERS,
                    most_bytes=MOST_ARCHIVE_BYTES,
                )
            )  # fmt: skip
            # Nothing is unpacked, not even to look at it, before all sizes and names are right.
            if not faults:
                faults += _xml_faults(file, archive)
            if not faults and "main.xml" in archive.namelist():
                faults += _x3p_faults(file, archive)
    except NO_ARCHIVE as error:
        return [Fault(file, None, "", "", f"can't be unpacked: {error}")]
    return faults


def _xml_faults(file: str, archive: zipfile.ZipFile) -> Iterator[Fault]:
    """XML that might do harm to its reader, or is broken."""
    for name in archive.namelist():
        if not name.lower().endswith(".xml"):
            continue
        try:
            SafeET.fromstring(archive.read(name), forbid_dtd=True)
        except DefusedXmlException:
            yield Fault(
                file,
                None,
                "file",
                name,
                "holds a document type or entities, which no height map needs",
            )
        except (ParseError, ValueError, LookupError) as error:
            yield Fault(file, None, "file", name, f"this XML is broken: {error}")


def _x3p_faults(file: str, archive: zipfile.ZipFile) -> Iterator[Fault]:
    """An X3P that is not whole: wrong checksums, or heights that do not fit its description."""
    described = archive.read("main.xml")
    root = SafeET.fromstring(described, forbid_dtd=True)
    if root.tag.rpartition("}")[2] != "ISO5436_2":
        yield Fault(file, None, "main.xml", root.tag, "this XML must describe X3P, as ISO5436_2")
        return
    names = set(archive.namelist())
    yield from _checksum_faults(file, archive)
    heights = _text(root, "PointDataLink")
    if not heights:
        return  # heights written into the description itself, which the library refuses
    if heights not in names:
        yield Fault(file, None, "PointDataLink", heights, "is not in the archive")
        return
    asked = _text(root, "MD5ChecksumPointData")
    if asked and asked.lower() != _md5(archive.read(heights)):
        yield Fault(file, None, "file", heights, "its checksum is not the one in main.xml")
    sizes = [_text(root, f"Size{axis}") for axis in "XYZ"]
    item = ITEM_BYTES.get(_text(root, "CZ", "DataType"))
    if item is None or not all(re.fullmatch(r"\d{1,9}", size) for size in sizes):
        yield Fault(file, None, "MatrixDimension", " × ".join(sizes), "must be three counts, and "
                    "the DataType of CZ one of I, L, F, D")  # fmt: skip
        return
    wanted = math.prod(int(size) for size in sizes) * item
    there = archive.getinfo(heights).file_size
    if wanted != there:
        yield Fault(
            file, None, "file", heights, f"holds {there:,} B, and main.xml requires {wanted:,} B"
        )


def _checksum_faults(file: str, archive: zipfile.ZipFile) -> Iterator[Fault]:
    """Checksums of `md5checksum.hex` that do not match their files."""
    name = next((one for one in archive.namelist() if one.lower() == "md5checksum.hex"), None)
    if name is None:
        return
    for line in archive.read(name).decode("ascii", errors="replace").splitlines():
        found = CHECKSUM.fullmatch(line.strip())
        if found is None:
            continue
        of = (found[2] or "main.xml").strip()
        if of not in archive.namelist():
            yield Fault(file, None, name, of, "is not in the archive")
        elif found[1].lower() != _md5(archive.read(of)):
            yield Fault(file, None, "file", of, f"its checksum is not the one in {name}")


def _text(root: Element, *names: str) -> str:
    """Text of an element by its local name, the first within those before it; empty if missing."""
    for name in names:
        found = next((one for one in root.iter() if one.tag.rpartition("}")[2] == name), None)
        if found is None:
            return ""
        root = found
    return (root.text or "").strip()


def _md5(data: bytes) -> str:
    """Checksum as the standard asks: against accidents, not against malice."""
    return hashlib.md5(data, usedforsecurity=False).hexdigest()
