"""The example survey: its schema says what its tables hold, and its script makes it again."""

from __future__ import annotations

import csv
import json
import os
import shutil
import subprocess
import sys
from datetime import date
from hashlib import sha256
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from heritagecheck.survey.checks.gaps import drift
from heritagecheck.survey.exchange.package import schema
from heritagecheck.survey.records import KEYS, TABLES
from heritagecheck.survey.records.fields import limits

QUILLMERE = Path(__file__).parents[2] / "data" / "quillmere"
PACKAGE = json.loads((QUILLMERE / "datapackage.json").read_text(encoding="utf-8"))
RESOURCES = {resource["name"]: resource for resource in PACKAGE["resources"]}
READ = {"string": str, "number": float, "integer": int, "date": date.fromisoformat}


def table(resource: dict[str, Any]) -> tuple[list[str], list[dict[str, str]]]:
    """Headings and rows of one resource, as text."""
    with (QUILLMERE / resource["path"]).open(encoding=resource["encoding"], newline="") as file:
        reader = csv.DictReader(file)
        found = list(reader)
    return list(reader.fieldnames or ()), found


def cell_faults(field: dict[str, Any], cell: str) -> list[str]:
    """Whatever a cell does against its field."""
    rules = field.get("constraints", {})
    if cell == "":
        return ["required"] if rules.get("required") else []
    try:
        value = READ[field["type"]](cell)
    except ValueError:
        return [f"no {field['type']}"]
    checks = {
        "enum": lambda allowed: value in allowed,
        "minimum": lambda least: value >= least,
        "maximum": lambda most: value <= most,
        "required": lambda _: True,
    }
    return [name for name, rule in rules.items() if not checks[name](rule)]


def faults(resource: dict[str, Any]) -> list[str]:
    """Everything a table does against its schema: types, limits, lists, keys and links."""
    plan = resource["schema"]
    _, rows = table(resource)
    found = [
        f"row {number}, {field['name']} = {row[field['name']]}: {fault}"
        for number, row in enumerate(rows, start=2)
        for field in plan["fields"]
        for fault in cell_faults(field, row[field["name"]])
    ]
    keys = [tuple(row[name] for name in plan["primaryKey"]) for row in rows]
    found += [f"key {key} stands twice" for key in set(keys) if keys.count(key) > 1]
    for link in plan.get("foreignKeys", ()):
        target = link["reference"]
        _, others = table(RESOURCES[target["resource"]])
        known = {row[target["fields"]] for row in others}
        found += [
            f"row {number}, {link['fields']} = {row[link['fields']]}: not in {target['resource']}"
            for number, row in enumerate(rows, start=2)
            if row[link["fields"]] and row[link["fields"]] not in known
        ]
    return found


def test_the_package_describes_every_table_and_no_other() -> None:
    """One resource a table, in the order of the survey, each beside the description."""
    assert list(RESOURCES) == list(TABLES)
    assert all((QUILLMERE / resource["path"]).is_file() for resource in RESOURCES.values())
    assert PACKAGE["profile"] == "tabular-data-package"


@pytest.mark.parametrize("name", TABLES)
def test_the_schema_has_exactly_the_columns_of_the_table(name: str) -> None:
    """Same names, same order, nothing more."""
    headings, _ = table(RESOURCES[name])

    assert [field["name"] for field in RESOURCES[name]["schema"]["fields"]] == headings
    assert headings == list(TABLES[name].model_fields)


@pytest.mark.parametrize("name", TABLES)
def test_every_row_keeps_the_schema(name: str) -> None:
    """Types, required cells, lists, limits, keys and links hold in the example survey."""
    assert faults(RESOURCES[name]) == []


@pytest.mark.parametrize("name", TABLES)
def test_the_committed_schema_is_todays(name: str) -> None:
    """Whoever changes a record writes the description of the example again."""
    assert RESOURCES[name]["schema"] == json.loads(json.dumps(schema(name)))


@pytest.mark.parametrize("name", TABLES)
def test_the_schema_says_what_the_records_ask(name: str) -> None:
    """Required cells, limits that include their end, keys: from the records and nowhere else."""
    plan = schema(name)

    assert tuple(plan["primaryKey"]) == KEYS[name]
    for field in plan["fields"]:
        info = TABLES[name].model_fields[field["name"]]
        rules = field.get("constraints", {})
        signs = limits(TABLES[name], field["name"])
        assert bool(rules.get("required")) == info.is_required()
        assert rules.get("minimum") == signs.get("ge")
        assert rules.get("maximum") == signs.get("le")
        assert field["description"]


@pytest.mark.parametrize(
    ("field", "cell", "fault"),
    [
        ({"type": "number", "constraints": {"minimum": 0}}, "-1", ["minimum"]),
        ({"type": "number", "constraints": {"maximum": 1}}, "2", ["maximum"]),
        ({"type": "number"}, "1,5", ["no number"]),
        ({"type": "integer"}, "1.5", ["no integer"]),
        ({"type": "date"}, "1.5.2026", ["no date"]),
        ({"type": "string", "constraints": {"enum": ["yes", "no"]}}, "maybe", ["enum"]),
        ({"type": "string", "constraints": {"required": True}}, "", ["required"]),
        ({"type": "string"}, "", []),
    ],
)
def test_the_validator_of_this_file_finds_what_is_wrong(
    field: dict[str, Any], cell: str, fault: list[str]
) -> None:
    """The small validator above is no rubber stamp."""
    assert cell_faults(field, cell) == fault


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give what the script makes in a copy of its folder that holds nothing but scripts."""
    copy = tmp_path_factory.mktemp("made") / "quillmere"
    made = shutil.ignore_patterns("*.csv", "*.json", "*.svg", "*.txt", "__pycache__")
    shutil.copytree(QUILLMERE, copy, ignore=made)
    run = subprocess.run(
        [sys.executable, str(copy / "make_quillmere.py")],
        cwd=copy.parent, env=os.environ | {"PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    return copy


@pytest.mark.long
def test_the_script_makes_the_committed_survey_byte_for_byte(made: Path) -> None:
    """Run once more, the script writes the same bytes of every table and of the description."""
    names = sorted(path.name for path in (*made.glob("*.csv"), *made.glob("*.json")))

    assert names == sorted([*(f"{name}.csv" for name in TABLES), "datapackage.json"])
    for name in names:
        same = (made / name).read_bytes() == (QUILLMERE / name).read_bytes()
        assert same, f"{name} differs from what make_quillmere.py writes"


@pytest.mark.long
def test_the_script_makes_the_committed_files_byte_for_byte(made: Path) -> None:
    """Every elevation has its drawing, and every attachment is what its record says."""
    _, elevations = table(RESOURCES["elevations"])
    _, attachments = table(RESOURCES["attachments"])
    files = {row["file"]: row["sha256"] for row in attachments}

    assert {row["drawing"] for row in elevations} < set(files)
    for file, digest in files.items():
        content = (made / file).read_bytes()
        assert content == (QUILLMERE / file).read_bytes()
        assert sha256(content).hexdigest() == digest


def test_the_example_holds_something_of_every_kind() -> None:
    """No table of the example is empty."""
    assert not [name for name in TABLES if not table(RESOURCES[name])[1]]


def test_the_white_tile_was_read_from_the_beginning_of_a_session_to_its_end() -> None:
    """At the start and every half hour or so; in one session alone it drifted too far."""
    sessions: dict[str, list[dict[str, str]]] = {}
    for row in table(RESOURCES["tile_readings"])[1]:
        sessions.setdefault(row["session"], []).append(row)
    drifts = {
        name: drift([(float(row["L_star"]), float(row["a_star"]), float(row["b_star"]))
                     for row in rows])
        for name, rows in sessions.items()
    }  # fmt: skip
    minutes = [[float(row["minutes"]) for row in rows] for rows in sessions.values()]
    used = {row["session"] for row in table(RESOURCES["readings"])[1]} - {""}

    assert used == set(sessions)
    assert all(each[0] == 0 for each in minutes)
    assert all(later - sooner <= 60 for each in minutes for sooner, later in pairwise(each))
    assert [name for name, far in drifts.items() if far > 0.2] == ["9 September last"]
    assert 0.4 < drifts["9 September last"] < 0.6


def test_trial_spots_agree_with_what_their_panel_says() -> None:
    """Above the setting used everything came off; below the range of damage nothing broke."""
    panels = {row["panel"]: row for row in table(RESOURCES["panels"])[1]}
    spots = table(RESOURCES["spots"])[1]

    for spot in spots:
        panel, dose = panels[spot["panel"]], float(spot["dose"])
        if dose > float(panel["cleaning_high"]):
            assert spot["cleaned"] == "yes", spot
        if dose < float(panel["damage_low"]):
            assert spot["damaged"] == "no", spot
        # Where nothing broke, there is no end above which everything does.
        last = float(panel["damage_high"] or "inf")
        if dose > last and spot["component"] in {"", "biotite"}:
            assert spot["damaged"] == "yes", spot
    assert {panel["method"] for name, panel in panels.items()
            if name in {spot["panel"] for spot in spots}} == {
        "laser_ns_1064", "micro_abrasive_dry", "nebulised_water", "low_pressure_water",
        "solvent_gel_stripper",
    }  # fmt: skip
