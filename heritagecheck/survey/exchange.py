"""A survey as a folder of tables: read whole or not at all, every fault named."""

from __future__ import annotations

import csv
import io
import json
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from pathlib import Path
from typing import Any, get_args

from pydantic import ValidationError

from heritagecheck import tables
from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.records import (
    KEYS,
    LINKS,
    TABLES,
    Record,
    allowed_words,
    limits,
    literal_choices,
)
from heritagecheck.survey.store import Survey

DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+")
MAY_BE_EMPTY = {"readings", "site_tests", "panels"}
ONE_ROW = {"structure", "policy"}


def read_folder(folder: str | Path) -> Survey:
    """
    Read a survey from a folder of CSV tables.

    Parameters
    ----------
    folder : str or Path
        Folder that holds one ``<table>.csv`` for each table of the survey. UTF-8 with or without
        BOM or Windows-1252; comma, semicolon or tab; in a file parted by semicolons or tabs a
        decimal comma is taken as well.

    Returns
    -------
    Survey

    Raises
    ------
    SurveyError
        Everything that is wrong, all at once; nothing is half read.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise SurveyError([Fault(str(folder), None, "", "", "there is no such folder")])
    faults: list[Fault] = []
    raw: dict[str, list[tuple[int, dict[str, str | None]]]] = {}
    for table in TABLES:
        path = folder / f"{table}.csv"
        if path.is_file():
            raw[table] = list(_rows(path, table, faults))
        else:
            faults.append(Fault(path.name, None, "", "", f"this table is missing from {folder}"))
    return _built(raw, folder=folder, faults=faults, suffix=".csv")


def build(raw: Mapping[str, Iterable[Mapping[str, Any]]], *, folder: Path | None = None) -> Survey:
    """
    Make a survey from plain rows.

    Parameters
    ----------
    raw : mapping of str to iterable of mapping
        Table name to its rows: field to text, number, date or nothing.
    folder : Path, optional
        Where its drawings lie.

    Returns
    -------
    Survey

    Raises
    ------
    SurveyError
        Everything that is wrong, all at once. Rows are counted from 2, as under a line of headings.
    """
    numbered = {table: list(enumerate(rows, start=2)) for table, rows in raw.items()}
    return _built(numbered, folder=folder, faults=(), suffix="")


def _built(
    raw: Mapping[str, Iterable[tuple[int, Mapping[str, Any]]]],
    *,
    folder: Path | None,
    faults: Iterable[Fault],
    suffix: str,
) -> Survey:
    """Make a survey from rows that carry their number."""
    found = list(faults)
    records: dict[str, tuple[Record, ...]] = {}
    numbers: dict[str, list[int]] = {}
    for table, model in TABLES.items():
        good: list[Record] = []
        numbers[table] = []
        for number, row in raw.get(table, ()):
            try:
                good.append(model.model_validate(dict(row)))
                numbers[table].append(number)
            except ValidationError as error:
                found.extend(_row_faults(error, table + suffix, model, number, row))
        records[table] = tuple(good)
    broken = {fault.table for fault in found}
    found.extend(_cross_faults(records, numbers, suffix, broken))
    if found:
        raise SurveyError(sorted(found, key=lambda fault: (fault.table, fault.row or 0)))
    return Survey(records, folder)


def _rows(
    path: Path, table: str, faults: list[Fault]
) -> Iterator[tuple[int, dict[str, str | None]]]:
    """Read the rows of one file as text, each with the number a spreadsheet shows."""
    text = _decoded(path, faults)
    if text is None:
        return
    fields = TABLES[table].model_fields
    first = text.split("\n", 1)[0]
    delimiter = max(
        ",;\t", key=lambda sign: len({cell.strip(' "') for cell in first.split(sign)} & set(fields))
    )
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        lines = [
            (number, line)
            for number, line in enumerate(reader, start=1)
            if any(cell.strip() for cell in line)
        ]
    except csv.Error as error:
        faults.append(Fault(path.name, reader.line_num, "", "", f"this is no CSV table: {error}"))
        return
    if not lines:
        faults.append(Fault(path.name, None, "", "", "this file is empty"))
        return
    header = [name.strip() for name in lines[0][1]]
    wrong = list(_header_faults(path.name, header, table))
    faults.extend(wrong)
    if wrong:
        return
    for number, cells in lines[1:]:
        if len(cells) != len(header):
            faults.append(
                Fault(path.name, number, "", "",
                      f"{len(cells)} cells stand under {len(header)} headings. "
                      "Is a decimal comma or a loose separator among them?")
            )  # fmt: skip
            continue
        yield (
            number,
            {
                name: _number_text(cell.strip(), delimiter, TABLES[table], name) or None
                for name, cell in zip(header, cells, strict=True)
            },
        )


def _decoded(path: Path, faults: list[Fault]) -> str | None:
    """Text of a file, or a fault where it holds none."""
    data = path.read_bytes()
    if not data.strip():
        faults.append(Fault(path.name, None, "", "", "this file is empty"))
        return None
    if b"\x00" in data:
        faults.append(Fault(path.name, None, "", "", "this is no CSV table but a binary file"))
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _header_faults(name: str, header: list[str], table: str) -> Iterator[Fault]:
    """Check the headings of a table."""
    fields = TABLES[table].model_fields
    if not set(header) & set(fields):
        yield Fault(
            name, 1, "", "",
            f"this is no table of {table}: its first line names none of: {', '.join(fields)}",
        )  # fmt: skip
        return
    for heading, count in Counter(header).items():
        if heading not in fields:
            yield Fault(
                name, 1, "heading", heading or "nothing", f"allowed are: {', '.join(fields)}"
            )
        elif count > 1:
            yield Fault(name, 1, "heading", heading, "this heading stands there twice")
    for field, info in fields.items():
        if info.is_required() and field not in header:
            yield Fault(name, 1, "heading", field, "this heading is missing")


def _number_text(cell: str, delimiter: str, model: type[Record], name: str) -> str:
    """Take a decimal comma where it can't be anything else."""
    kinds = {model.model_fields[name].annotation, *get_args(model.model_fields[name].annotation)}
    if delimiter != "," and float in kinds and DECIMAL_COMMA.fullmatch(cell):
        return cell.replace(",", ".")
    return cell


def _row_faults(
    error: ValidationError,
    table: str,
    model: type[Record],
    number: int,
    row: Mapping[str, Any],
) -> Iterator[Fault]:
    """Say what is wrong with one row, in the words of the form."""
    for item in error.errors():
        said = str(item["msg"]).removeprefix("Value error, ")
        if item["loc"]:
            name = str(item["loc"][0])
            known = name in model.model_fields
            allowed = allowed_words(model, name) if known else "there is no such field"
        else:
            name, _, allowed = said.partition(": ")
        came = row.get(name)
        value = "nothing" if came is None or came == "" else str(came)
        yield Fault(table, number, name, value, allowed + _hint(item["type"], value))


def _hint(kind: str, value: str) -> str:
    """Add the likely cause, where there is one."""
    if kind in {"less_than_equal", "less_than", "greater_than_equal", "greater_than"}:
        return ". Was a decimal point lost?"
    if kind == "value_error" and DECIMAL_COMMA.fullmatch(value):
        return ". Write a decimal point here"
    return ""


def _cross_faults(
    records: Mapping[str, tuple[Record, ...]],
    numbers: Mapping[str, list[int]],
    suffix: str,
    broken: set[str],
) -> Iterator[Fault]:
    """Check the tables against one another."""
    for table, found in records.items():
        name = table + suffix
        if not found and table not in MAY_BE_EMPTY and name not in broken:
            yield Fault(
                name,
                None,
                "",
                "",
                "this table holds no row yet; write the first below its headings",
            )
        if len(found) > 1 and table in ONE_ROW:
            yield Fault(name, numbers[table][1], "", "", "this table holds exactly one record")
        yield from _twice(found, numbers[table], name, KEYS[table])
        for field, other in LINKS.get(table, {}).items():
            if other + suffix not in broken:
                yield from _loose_links(
                    found, numbers[table], name, field, _keys(records[other], other)
                )
    yield from _twice(
        records["observations"], numbers["observations"], f"observations{suffix}", ("zone", "topic")
    )
    yield from _set_faults(records, numbers, suffix)
    yield from _layer_faults(records, numbers, suffix)
    yield from _panel_faults(records, numbers, suffix)
    yield from _misplaced(records, numbers, suffix)
    if f"views{suffix}" not in broken:
        yield from _view_faults(records["views"], f"views{suffix}")


def _keys(found: tuple[Record, ...], table: str) -> set[str]:
    """Keys of one table."""
    return {str(getattr(record, KEYS[table][0])) for record in found}


def _twice(
    found: tuple[Record, ...], numbers: list[int], name: str, fields: tuple[str, ...]
) -> Iterator[Fault]:
    """Find keys that stand twice."""
    seen: dict[tuple[Any, ...], int] = {}
    for number, record in zip(numbers, found, strict=True):
        key = tuple(getattr(record, field) for field in fields)
        if key in seen:
            yield Fault(
                name, number, " and ".join(fields), ", ".join(map(str, key)),
                f"already given in row {seen[key]}; each stands once",
            )  # fmt: skip
        seen.setdefault(key, number)


def _loose_links(
    found: tuple[Record, ...], numbers: list[int], name: str, field: str, known: set[str]
) -> Iterator[Fault]:
    """Find records that name something the survey does not hold."""
    for number, record in zip(numbers, found, strict=True):
        value = getattr(record, field)
        if value is not None and value not in known:
            some = ", ".join(sorted(known)[:12]) + (", …" if len(known) > 12 else "")
            yield Fault(name, number, field, str(value), f"there is none. Known: {some or 'none'}")


def _set_faults(
    records: Mapping[str, tuple[Record, ...]], numbers: Mapping[str, list[int]], suffix: str
) -> Iterator[Fault]:
    """Check that sets and series agree on their own size, place and purpose."""
    yield from _split_sets(records, numbers, suffix)
    for table, group, size, shared in (
        ("readings", "set_name", "set_size", ("zone", "target", "panel", "geometry",
                                              "aperture_mm", "illuminant")),
        ("site_tests", "set_name", "set_size", ("zone", "quantity", "panel")),
        ("panels", "series", "panels_in_series", ("zone", "method", "setting", "soiling")),
    ):  # fmt: skip
        first: dict[str, Record] = {}
        count: Counter[str] = Counter()
        for number, record in zip(numbers[table], records[table], strict=True):
            name = getattr(record, group)
            count[name] += 1
            leader = first.setdefault(name, record)
            for field in (size, *shared):
                if getattr(record, field) != getattr(leader, field):
                    yield Fault(
                        table + suffix, number, field, str(getattr(record, field)),
                        f"all of {group} {name} share it; the first says "
                        f"{getattr(leader, field)}",
                    )  # fmt: skip
            if count[name] > getattr(record, size):
                yield Fault(
                    table + suffix, number, size, str(getattr(record, size)),
                    f"{group} {name} already holds that many",
                )  # fmt: skip


def _split_sets(
    records: Mapping[str, tuple[Record, ...]], numbers: Mapping[str, list[int]], suffix: str
) -> Iterator[Fault]:
    """Find what was measured in one place in two sets: losing one would leave the other alone."""
    for table, place in (
        ("readings", ("zone", "target", "panel")),
        ("site_tests", ("zone", "quantity", "panel")),
    ):
        first: dict[tuple[Any, ...], str] = {}
        told = set()
        for number, record in zip(numbers[table], records[table], strict=True):
            key = tuple(getattr(record, field) for field in place)
            name: str = getattr(record, "set_name")  # noqa: B009 - both kinds have it
            leader = first.setdefault(key, name)
            if name != leader and (key, name) not in told:
                told.add((key, name))
                yield Fault(
                    table + suffix, number, "set_name", name,
                    f"{', '.join(str(part) for part in key if part)} already has the set {leader}; "
                    "count readings taken again into that set, and raise its size",
                )  # fmt: skip


def _panel_faults(
    records: Mapping[str, tuple[Record, ...]], numbers: Mapping[str, list[int]], suffix: str
) -> Iterator[Fault]:
    """Find zones with more panels on record than were laid; fewer are a gap, not a fault."""
    recorded = Counter(getattr(panel, "zone") for panel in records["panels"])  # noqa: B009
    for number, zone in zip(numbers["zones"], records["zones"], strict=True):
        laid, found = getattr(zone, "panels_laid"), recorded[getattr(zone, "zone")]  # noqa: B009
        if laid is not None and found > laid:
            yield Fault(
                f"zones{suffix}", number, "panels_laid", str(laid),
                f"{found} panels are recorded on this zone",
            )  # fmt: skip


def _misplaced(
    records: Mapping[str, tuple[Record, ...]], numbers: Mapping[str, list[int]], suffix: str
) -> Iterator[Fault]:
    """Find readings and tests that name a panel of another zone."""
    places = {getattr(p, "panel"): getattr(p, "zone") for p in records["panels"]}  # noqa: B009
    for table in ("readings", "site_tests"):
        for number, record in zip(numbers[table], records[table], strict=True):
            panel, zone = getattr(record, "panel"), getattr(record, "zone")  # noqa: B009
            if panel in places and places[panel] != zone:
                yield Fault(
                    table + suffix, number, "zone", zone,
                    f"panel {panel} lies on zone {places[panel]}",
                )  # fmt: skip


def _layer_faults(
    records: Mapping[str, tuple[Record, ...]], numbers: Mapping[str, list[int]], suffix: str
) -> Iterator[Fault]:
    """Check that each layer is one of the soilings seen on its zone, and stands once."""
    seen = {getattr(zone, "zone"): getattr(zone, "soiling_codes") for zone in records["zones"]}  # noqa: B009
    yield from _twice(records["layers"], numbers["layers"], f"layers{suffix}", ("zone", "soiling"))
    for number, layer in zip(numbers["layers"], records["layers"], strict=True):
        zone, soiling = getattr(layer, "zone"), getattr(layer, "soiling")  # noqa: B009
        if zone in seen and soiling not in seen[zone]:
            yield Fault(
                f"layers{suffix}", number, "soiling", soiling,
                f"zone {zone} was seen to carry: {', '.join(seen[zone])}",
            )  # fmt: skip


def _view_faults(views: tuple[Record, ...], name: str) -> Iterator[Fault]:
    """Check that every member weighed every criterion, and not all with nothing."""
    swings: dict[str, dict[str, float]] = {}
    for view in views:
        swings.setdefault(getattr(view, "member"), {})[getattr(view, "criterion")] = getattr(  # noqa: B009
            view, "swing"
        )
    criteria = literal_choices(TABLES["views"], "criterion")
    for member, given in swings.items():
        missing = [criterion for criterion in criteria if criterion not in given]
        if missing:
            yield Fault(name, None, "member", member, f"gave no swing for {', '.join(missing)}")
        elif not any(swing for criterion, swing in given.items() if criterion != "resources"):
            yield Fault(
                name, None, "member", member,
                "gives nothing to any criterion but resources; one of them needs a swing above 0",
            )  # fmt: skip


def schema(table: str) -> dict[str, Any]:
    """
    Describe one table as a Tabular Data Package resource does.

    Parameters
    ----------
    table : str
        Name of the table.

    Returns
    -------
    dict
        Table Schema: fields with type, description and constraints; keys and foreign keys.
    """
    model = TABLES[table]
    fields: list[dict[str, Any]] = []
    for name, info in model.model_fields.items():
        kinds = {info.annotation, *get_args(info.annotation)}
        kind = next(
            (word for type_, word in ((date, "date"), (float, "number"), (int, "integer"))
             if type_ in kinds),
            "string",
        )  # fmt: skip
        extra = info.json_schema_extra if isinstance(info.json_schema_extra, dict) else {}
        rules: dict[str, Any] = {"required": True} if info.is_required() else {}
        signs = limits(model, name)
        rules |= {
            word: signs[sign]
            for sign, word in (("ge", "minimum"), ("le", "maximum"))
            if sign in signs
        }
        choices = (
            list(tables.codes(str(extra["terms"])))
            if "terms" in extra
            else list(literal_choices(model, name))
        )
        if choices:
            rules["enum"] = choices
        fields.append(
            {"name": name, "type": kind, "description": info.description}
            | ({"unit": extra["unit"]} if "unit" in extra else {})
            | ({"constraints": rules} if rules else {})
        )
    links = [
        {"fields": field, "reference": {"resource": other, "fields": KEYS[other][0]}}
        for field, other in LINKS.get(table, {}).items()
    ]
    return {"fields": fields, "primaryKey": list(KEYS[table]), "missingValues": [""]} | (
        {"foreignKeys": links} if links else {}
    )


def datapackage(name: str, title: str, *, licence: str | None = None) -> str:
    """
    Describe a folder of tables as a Tabular Data Package.

    Parameters
    ----------
    name : str
        Short name, lower case.
    title : str
        Title in words.
    licence : str, optional
        Licence under which the survey is given to others, as SPDX writes it.

    Returns
    -------
    str
        JSON, to be written as ``datapackage.json`` beside the tables.
    """
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
                "title": " ".join((model.__doc__ or "").split()),
                "schema": schema(table),
            }
            for table, model in TABLES.items()
        ],
    }
    return json.dumps(package, indent=1, ensure_ascii=False) + "\n"
