"""A survey of one's own: the folder made for it, and where the parts that come along lie."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import pytest

import heritagecheck as hc
from heritagecheck.survey import carried
from heritagecheck.survey.begin import start_survey, tables_folder
from heritagecheck.survey.datapackage import schema
from heritagecheck.survey.field_help import fields_page
from heritagecheck.survey.records import TABLES, allowed_words
from heritagecheck.tables import codes

ROOT = Path(__file__).parents[2]


@pytest.fixture
def started(tmp_path: Path) -> Path:
    """Give a folder as `start_survey` makes it."""
    return start_survey(tmp_path / "wall")


def everything_in(folder: Path) -> list[str]:
    """Name every file below a folder."""
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())


def test_a_started_folder_holds_tables_explanations_and_notebooks(started: Path) -> None:
    """Nothing else lies there: no example row, no report."""
    notebooks = [f"notebooks/{path.name}" for path in (ROOT / "notebooks").glob("*.ipynb")]

    assert everything_in(started) == sorted(
        ["README.md", "survey/datapackage.json", "survey/fields.md", "survey/drawings/README.md",
         *(f"survey/{table}.csv" for table in TABLES), *notebooks]
    )  # fmt: skip


@pytest.mark.parametrize("table", TABLES)
def test_every_table_has_its_headings_and_no_row(started: Path, table: str) -> None:
    """All fields of the record, in its order."""
    with (started / "survey" / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        lines = list(csv.reader(file))

    assert lines == [list(TABLES[table].model_fields)]


def test_the_description_is_that_of_the_records_and_gives_nothing_away(started: Path) -> None:
    """The schema is today's; an own survey carries no licence until its owner gives one."""
    text = (started / "survey" / "datapackage.json").read_text(encoding="utf-8")
    package = json.loads(text)

    assert [each["schema"] for each in package["resources"]] == [schema(name) for name in TABLES]
    assert "licenses" not in package


def test_a_fresh_survey_is_refused_table_by_table(started: Path) -> None:
    """Whoever checks too early reads which tables need a first row; three may stay empty."""
    with pytest.raises(hc.SurveyError, match=r"structure\.csv: this table holds no row yet") as no:
        hc.open_survey(started / "survey")

    may_stay_empty = {"readings.csv", "site_tests.csv", "panels.csv"}
    assert set(no.value.faults["table"]) == {f"{name}.csv" for name in TABLES} - may_stay_empty


def test_an_empty_folder_is_taken(tmp_path: Path) -> None:
    """A folder made beforehand in a file manager is as good as a new one."""
    (tmp_path / "wall").mkdir()

    assert (start_survey(tmp_path / "wall") / "README.md").is_file()


@pytest.mark.parametrize("inside", [True, False])
def test_a_folder_that_is_taken_is_left_alone(tmp_path: Path, inside: bool) -> None:
    """Nothing is written over: neither into a folder that holds something, nor over a file."""
    taken = tmp_path / "wall"
    if inside:
        taken.mkdir()
    (taken / "notes.txt" if inside else taken).write_text("mine", encoding="utf-8")
    before = everything_in(tmp_path)

    with pytest.raises(FileExistsError, match=r"wall exists and is not empty\. Nothing was"):
        start_survey(taken)

    assert everything_in(tmp_path) == before


@pytest.mark.parametrize("table", TABLES)
def test_the_help_explains_every_field_from_its_record(table: str) -> None:
    """Each field has a line with its question, what is allowed, and whether it is required."""
    part = fields_page().split(f"## {table}.csv\n")[1].split("\n## ")[0]
    lines = {line.split(" | ")[0].removeprefix("| "): line for line in part.splitlines()}

    for field, info in TABLES[table].model_fields.items():
        assert f"| {info.description} |" in lines[field]
        assert allowed_words(TABLES[table], field) in lines[field]
        assert lines[field].endswith("| yes |" if info.is_required() else "| no |")


@pytest.mark.parametrize(
    "name", ["substrates", "soilings", "exposure", "methods", "topics", "quantities"]
)
def test_the_help_explains_every_code(name: str) -> None:
    """Whoever meets a code in the list of what is allowed finds below what it means."""
    part = fields_page().split(f"## Codes: {name}\n")[1].split("\n## ")[0]
    listed = re.findall(r"^\| (\w+) \| [^|]{3,} \|", part, re.MULTILINE)

    assert listed == ["code", *codes(name)]


def test_the_page_names_every_table_and_uses_no_jargon(started: Path) -> None:
    """The page for the conservator leads through all tables, in words of the trade."""
    text = (started / "README.md").read_text(encoding="utf-8")
    order = re.findall(r"^\d+\. `(\w+)\.csv`", text, re.MULTILINE)

    assert sorted(order) == sorted(TABLES)
    assert order[:3] == ["structure", "elevations", "zones"]
    assert not re.search(r"\b(dashboard|wizard|ledger|schema|JSON|repository)\b", text, re.I)
    assert 'survey = hc.open_survey("../survey")' in text


def test_the_tables_are_found_from_the_folder_around_them(started: Path) -> None:
    """The started folder stands for the tables in it; any other folder for itself."""
    assert tables_folder(started) == started / "survey"
    assert tables_folder(started / "survey") == started / "survey"
    assert tables_folder(started / "notebooks") == started / "notebooks"


def test_what_the_package_carries_is_looked_for_in_both_places(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was installed goes before the checkout; where neither is there, both are named."""
    monkeypatch.setattr(carried, "PACKAGE", tmp_path / "package")
    with pytest.raises(FileNotFoundError, match=r"package.quillmere nor in .*data.quillmere"):
        carried.example_folder()
    with pytest.raises(FileNotFoundError, match=r"package.notebooks nor in .*notebooks: install"):
        carried.notebooks_folder()
    (tmp_path / "notebooks").mkdir()
    checkout = carried.notebooks_folder()
    (tmp_path / "package" / "notebooks").mkdir(parents=True)

    assert checkout == tmp_path / "notebooks"
    assert carried.notebooks_folder() == tmp_path / "package" / "notebooks"
