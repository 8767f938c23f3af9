"""A look at X3P, or another zip of heights, before a library reads it: harmless and whole."""

from __future__ import annotations

import hashlib
import io
import math
import re
import zipfile
from collections.abc import Iterator
from typing import TYPE_CHECKING
from xml.etree.ElementTree import ParseError

from defusedxml import DefusedXmlException
from defusedxml import ElementTree as SafeET

from heritagecheck.errors import Fault
from heritagecheck.survey.exchange.archives import NO_ARCHIVE, member_faults

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

MOST_BYTES = 2**28
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
                    most_bytes=MOST_BYTES,
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
    """Checksums of `md5checksum.hex` that do not agree with what they stand for."""
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
