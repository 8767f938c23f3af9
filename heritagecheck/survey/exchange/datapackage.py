"""The tables of a survey described as a Tabular Data Package."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Mapping
from datetime import date
from typing import Any

from heritagecheck import tables
from heritagecheck.survey.records import KEYS, LINKS, TABLES
from heritagecheck.survey.records.fields import kinds, limits, literal_choices, terms_of, unit_of

# A property of our own, which the standard allows: rows below the headings.
ROWS = "rows"


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
        kind = next(
            (word for type_, word in ((date, "date"), (float, "number"), (int, "integer"))
             if type_ in kinds(model, name)),
            "string",
        )  # fmt: skip
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
    """
    Describe a folder of tables as a Tabular Data Package.

    Parameters
    ----------
    name : str
        Short name, lower case.
    title : str
        Title in words.
    texts : mapping of str to str
        Table to its text, of which size, checksum and number of rows are given.
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
                **_size(texts[table]),
                "title": " ".join((model.__doc__ or "").split()),
                "schema": schema(table),
            }
            for table, model in TABLES.items()
        ],
    }
    return json.dumps(package, indent=1, ensure_ascii=False) + "\n"
