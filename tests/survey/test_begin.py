"""A survey of one's own: the folder made for it, and where the parts that come along lie."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

import heritagecheck as hc
from heritagecheck.errors import Fault
from heritagecheck.survey import places
from heritagecheck.survey.exchange.workbook import workbook_rows
from heritagecheck.survey.places import fields_page, start_survey, survey_place
from heritagecheck.survey.records import TABLES
from heritagecheck.survey.records.fields import allowed_words
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.tables import codes

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Begin a survey once; to be copied, not used."""
    return start_survey(tmp_path_factory.mktemp("begun") / "wall")


@pytest.fixture
def started(begun: Path, tmp_path: Path) -> Path:
    """Give a folder as `start_survey` makes it."""
    return Path(shutil.copytree(begun, tmp_path / "wall"))


def everything_in(folder: Path) -> list[str]:
    """Name every file below a folder."""
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())


def test_a_started_folder_holds_a_database_sheets_explanations_and_notebooks(
    started: Path,
) -> None:
    """Nothing else lies there: no example row, no report."""
    notebooks = [f"notebooks/{path.name}" for path in (ROOT / "notebooks").glob("*.ipynb")]

    assert everything_in(started) == sorted(
        ["README.md", "drawings/README.md", "field-sheets.xlsx", "fields.md", "survey.db",
         *notebooks]
    )  # fmt: skip


def test_the_field_sheets_have_every_table_and_no_row(started: Path) -> None:
    """All fields of each record, and below them nothing but the help and free rows."""
    faults: list[Fault] = []
    book = workbook_rows(started / "field-sheets.xlsx", faults)

    assert faults == []
    assert {table: list(fields) for table, fields in book.letters.items()} == {
        table: list(model.model_fields) for table, model in TABLES.items()
    }
    assert all(list(rows) == [] for rows in book.raw.values())


def test_the_empty_field_sheets_are_imported_as_nothing(started: Path) -> None:
    """Whoever imports too early has done no harm: no record, no entry in the journal."""
    survey = hc.import_survey(started / "field-sheets.xlsx", started / "survey.db")

    assert all(survey.records[table] == () for table in TABLES)
    assert survey.journal.empty


def test_a_fresh_survey_opens_and_says_what_it_lacks(started: Path) -> None:
    """What is measured later may be empty; all else is named table by table, and not assessed."""
    survey = hc.open_survey(started / "survey.db")
    found = survey.check()

    assert isinstance(survey, DatabaseSurvey)
    assert survey.verify()
    assert list(found["table"]) == ["structure", "elevations", "zones", "policy"]
    assert found["what"].str.startswith("not ready to assess: ").all()
    with pytest.raises(hc.SurveyError, match=r"4 things to correct\. Nothing was assessed"):
        hc.assess(survey)


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
    """The page for the conservator leads through all sheets, in words of the trade."""
    text = (started / "README.md").read_text(encoding="utf-8")
    order = re.findall(r"^\d+\. `(\w+)`: ", text, re.MULTILINE)

    assert sorted(order) == sorted(TABLES)
    assert order[:3] == ["structure", "elevations", "zones"]
    assert not re.search(r"\b(dashboard|wizard|ledger|schema|JSON|repository)\b", text, re.I)
    assert "Nothing is written into a cell." in text


def test_the_page_names_every_command_that_is_needed(started: Path) -> None:
    """Each as it is typed."""
    text = (started / "README.md").read_text(encoding="utf-8")

    for command in ("import", "sheets", "check", "assess", "report", "backup"):
        assert f"heritagecheck {command} " in text


def test_the_survey_is_found_from_the_folder_around_it(started: Path, tmp_path: Path) -> None:
    """A started folder stands for its database; any other place for itself."""
    server = "postgresql+psycopg://conservator@host/survey"

    assert survey_place(str(started)) == str(started / "survey.db")
    assert survey_place(str(started / "survey.db")) == str(started / "survey.db")
    assert survey_place(str(started / "notebooks")) == str(started / "notebooks")
    assert survey_place(server) == server
    assert not (tmp_path / "postgresql+psycopg:").exists()


@pytest.mark.parametrize(
    ("name", "kind"), [("wal", "folder"), ("survy.db", "file"), ("wall/survy.db", "file"),
                       ("survy.sqlite3", "file")],
)  # fmt: skip
def test_a_mistyped_survey_is_named_and_not_made(
    started: Path, tmp_path: Path, name: str, kind: str
) -> None:
    """A slip of the pen never leaves an empty survey behind."""
    before = everything_in(started.parent)

    with pytest.raises(hc.SurveyError, match=rf"{Path(name).name}: there is no such {kind}"):
        survey_place(str(tmp_path / name))

    assert everything_in(started.parent) == before


def test_what_the_package_carries_is_looked_for_in_both_places(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was installed goes before the checkout; where neither is there, both are named."""
    monkeypatch.setattr(places, "PACKAGE", tmp_path / "package")
    with pytest.raises(FileNotFoundError, match=r"package.quillmere nor in .*data.quillmere"):
        places.example_folder()
    with pytest.raises(FileNotFoundError, match=r"package.notebooks nor in .*notebooks: install"):
        places.notebooks_folder()
    (tmp_path / "notebooks").mkdir()
    checkout = places.notebooks_folder()
    (tmp_path / "package" / "notebooks").mkdir(parents=True)

    assert checkout == tmp_path / "notebooks"
    assert places.notebooks_folder() == tmp_path / "package" / "notebooks"
