"""A survey as a package for others: tables, files and their description, as folder or archive."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any

from heritagecheck import tables
from heritagecheck.errors import Fault, StoreError, SurveyError, refused_file
from heritagecheck.survey.exchange.archives import NO_ARCHIVE, SMALL, member_faults
from heritagecheck.survey.exchange.csv_tables import ROWS, table_text
from heritagecheck.survey.records import (
    KEYS,
    LINKS,
    TABLES,
    Attachment,
    Elevation,
    Records,
    Structure,
    all_of,
)
from heritagecheck.survey.records.fields import kind_of, limits, literal_choices, terms_of, unit_of
from heritagecheck.survey.store.attachments import missing_file, sha256_of
from heritagecheck.survey.store.database_errors import why
from heritagecheck.whole_file import written_whole

# An archive is unpacked only within these: photographs are large, but tables never shrink so far.
MOST_MEMBERS = 50_000
MOST_BYTES = 20 * 2**30
FileOf = Callable[[str], Path | None]
KINDS = {date: "date", float: "number", int: "integer", str: "string"}


def exported(records: Records, file: FileOf, path: Path) -> Path:
    """Write a survey as a new folder, archive or workbook."""
    if path.exists():
        raise FileExistsError(f"{path} exists. Nothing was written; name a new file or folder.")
    if not path.absolute().parent.is_dir():
        raise StoreError(f"{path} was not written: there is no folder {path.parent}")
    files = _files(records, file)
    try:
        with written_whole(path) as half:
            if path.suffix.lower() == ".xlsx":
                from heritagecheck.survey.exchange.workbook import write_workbook

                write_workbook(half, records)
            elif path.suffix.lower() == ".zip":
                with tempfile.TemporaryDirectory() as folder:
                    _write_folder(records, Path(folder), files)
                    _write_zip(Path(folder), half)
            else:
                half.mkdir()
                _write_folder(records, half, files)
    except FileExistsError:
        raise
    except OSError as error:
        raise StoreError(f"{path} was not written, because {why(error)}") from error
    return path


def _files(records: Records, file: FileOf) -> dict[str, Path]:
    """Files that belong to a survey: name to path."""
    found: dict[str, Path] = {}
    faults: list[Fault] = []
    for one in all_of(records, Attachment):
        path = file(one.file)
        if path is None:
            faults.append(missing_file(one, "missing"))
        elif sha256_of(path) != one.sha256:
            faults.append(missing_file(one, "altered"))
        else:
            found[one.file] = path
    for elevation in all_of(records, Elevation):
        name = elevation.drawing
        path = file(name) if name is not None else None
        if name is not None and path is not None:
            found[name] = path
    if faults:
        raise SurveyError(faults, nothing="written")
    return found


def _write_folder(records: Records, folder: Path, files: dict[str, Path]) -> None:
    """Write the tables, their description and the files into a folder."""
    texts = {table: table_text(table, records[table]) for table in TABLES}
    for table, text in texts.items():
        (folder / f"{table}.csv").write_text(text, encoding="utf-8", newline="")
    named = all_of(records, Structure)
    described = datapackage(
        _short(named[0].structure) if named else "survey",
        f"Survey of {named[0].structure}" if named else "Survey of a structure",
        texts,
        licence=named[0].licence if named else None,
    )
    (folder / "datapackage.json").write_text(described, encoding="utf-8", newline="")
    for name, path in sorted(files.items()):
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, target)


def _short(name: str) -> str:
    """A name as a data package asks for it: lower case, no blanks."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "survey"


def _write_zip(folder: Path, path: Path) -> None:
    """Pack a folder; the same content gives the same bytes."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in sorted(folder.rglob("*")):
            if file.is_file():
                info = zipfile.ZipInfo(file.relative_to(folder).as_posix())
                info.compress_type = zipfile.ZIP_DEFLATED
                info.create_system = 3  # as under Linux, wherever it is written
                info.external_attr = 0o644 << 16
                with file.open("rb") as read, archive.open(info, "w", force_zip64=True) as write:
                    shutil.copyfileobj(read, write, SMALL)


@contextmanager
def unpacked(path: Path) -> Iterator[Path]:
    """An archive unpacked into a folder that goes when the block ends."""
    if not path.is_file():
        raise refused_file(str(path), "there is no such file")
    with tempfile.TemporaryDirectory() as folder:
        faults = list(_unpack(path, Path(folder)))
        if faults:
            raise SurveyError(faults)
        yield _tables_in(Path(folder))


def _unpack(path: Path, folder: Path) -> Iterator[Fault]:
    """Unpack an archive, or say why not."""
    try:
        with zipfile.ZipFile(path) as archive:
            members = [one for one in archive.infolist() if not one.filename.endswith("/")]
            faults = list(
                member_faults(
                    path.name, members, archive_bytes=path.stat().st_size,
                    most_members=MOST_MEMBERS, most_bytes=MOST_BYTES,
                )
            )  # fmt: skip
            yield from faults
            for one in () if faults else members:
                target = folder / one.filename
                target.parent.mkdir(parents=True, exist_ok=True)
                with archive.open(one) as read, target.open("wb") as write:
                    shutil.copyfileobj(read, write, SMALL)
    except (*NO_ARCHIVE, OSError) as error:
        why = getattr(error, "strerror", None) or error
        yield Fault(path.name, None, "", "", f"can't be unpacked: {why}")


def _tables_in(folder: Path) -> Path:
    """The folder that holds the tables: the archive's own, or the only one in it."""
    if any((folder / f"{table}.csv").is_file() for table in TABLES):
        return folder
    inner = [one for one in folder.iterdir() if one.is_dir() and one.name != "__MACOSX"]
    return inner[0] if len(inner) == 1 else folder


def schema(table: str) -> dict[str, Any]:
    """Describe one table as a Tabular Data Package resource does."""
    model = TABLES[table]
    fields: list[dict[str, Any]] = []
    for name, info in model.model_fields.items():
        kind = KINDS[kind_of(model, name)]
        rules: dict[str, Any] = {"required": True} if info.is_required() else {}
        signs = limits(model, name)
        rules |= {
            word: signs[sign]
            for sign, word in (("ge", "minimum"), ("le", "maximum"))
            if sign in signs
        }
        choices = (
            list(tables.codes(terms))
            if (terms := terms_of(model, name))
            else list(literal_choices(model, name))
        )
        if choices:
            rules["enum"] = [int(one) if kind == "integer" else one for one in choices]
        fields.append(
            {"name": name, "type": kind, "description": info.description}
            | ({"unit": unit} if (unit := unit_of(model, name)) else {})
            | ({"constraints": rules} if rules else {})
        )
    links = [
        {"fields": field, "reference": {"resource": other, "fields": KEYS[other][0]}}
        for field, other in LINKS.get(table, {}).items()
    ]
    return {"fields": fields, "primaryKey": list(KEYS[table]), "missingValues": [""]} | (
        {"foreignKeys": links} if links else {}
    )


def _size(text: str) -> dict[str, Any]:
    """Size and checksum as the standard names them; the number of rows has no name there."""
    data = text.encode("utf-8")
    return {
        "bytes": len(data),
        "hash": f"sha256:{hashlib.sha256(data).hexdigest()}",
        ROWS: sum(1 for _ in csv.reader(io.StringIO(text, newline=""))) - 1,
    }


def datapackage(
    name: str, title: str, texts: Mapping[str, str], *, licence: str | None = None
) -> str:
    """Describe a folder of tables as a Tabular Data Package."""
    package = {
        "name": name,
        "title": title,
        "profile": "tabular-data-package",
        **({"licenses": [{"name": licence}]} if licence else {}),
        "resources": [
            {
                "name": table,
                "path": f"{table}.csv",
                "profile": "tabular-data-resource",
                "format": "csv",
                "encoding": "utf-8",
                **_size(texts[table]),
                "title": " ".join((model.__doc__ or "").split()),
                "schema": schema(table),
            }
            for table, model in TABLES.items()
        ],
    }
    return json.dumps(package, indent=1, ensure_ascii=False) + "\n"
