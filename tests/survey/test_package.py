"""A survey given to others and taken in again: nothing is lost, and nothing is taken on trust."""

from __future__ import annotations

import csv
import io
import json
import shutil
import stat
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError
from tiers import some_of

import heritagecheck as hc
from heritagecheck.errors import Fault, StoreError
from heritagecheck.survey.exchange import package
from heritagecheck.survey.exchange.csv_tables import folder_rows, table_text, written
from heritagecheck.survey.places import build
from heritagecheck.survey.records import TABLES, Layer, Reading
from heritagecheck.survey.records.row_reading import read_rows
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.survey import Survey

QUILLMERE = Path(__file__).parents[2] / "data" / "quillmere"
GIVEN = ("drawings/*.svg", "instruments/*", "photographs/*.jpg", "*.csv", "*.json")
ODD_TEXTS = {
    "emoji": "🧽 wet sponge, 👷🏽 on the lift",
    "right to left": "حجر رملي, then אבן again",
    "combining signs": "Ma\u0301s ro\u0308tlich, e\u0301tage",
    "beyond the first plane": "𠮷 and 𝛥E*ab",
    "a zero-width joiner": "a\u200db\u200fc",
    "quotes, commas and semicolons": 'said "no", then; 5,3 | "',
    "two lines": "first line\nsecond, line",
    "a formula": "=HYPERLINK(A1)",
    "a sum": "+1 mm, -2 mm",
    "a mention": "@engineer: look again",
    "an apostrophe before a formula": "'=2+2",
    "two apostrophes before a formula": "''-3",
    "an apostrophe of its own": "'twas dry",
    "a backslash": "C:\\survey\\n",
    "what looks like nothing": "None",
    "what looks like a number": "007",
}


def everything_in(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, by its name."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def same(survey: Survey, other: Survey) -> bool:
    """Whether two surveys hold equal records, in the same order."""
    return dict(survey.records) == dict(other.records)


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> DatabaseSurvey:
    """Give the example's folder, taken into a database; no test changes it."""
    return hc.import_survey(QUILLMERE, tmp_path_factory.mktemp("example") / "example.db")


@pytest.fixture(scope="module")
def archive(example: DatabaseSurvey, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the example as an archive; no test changes it."""
    return example.export(tmp_path_factory.mktemp("archive") / "example.zip")


@pytest.fixture(scope="module")
def book(example: DatabaseSurvey, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the example as a workbook, which lies alone; no test changes it."""
    return example.export(tmp_path_factory.mktemp("book") / "example.xlsx")


# -- There and back -----------------------------------------------------------------------------


def test_the_example_comes_back_byte_for_byte(example: DatabaseSurvey, tmp_path: Path) -> None:
    """Import and export give the same files: tables, description, drawings, the meter's file."""
    given = {
        path.relative_to(QUILLMERE).as_posix(): path.read_bytes()
        for pattern in GIVEN
        for path in QUILLMERE.glob(pattern)
    }

    assert everything_in(example.export(tmp_path / "out")) == given


def test_an_archive_comes_back_record_for_record_and_byte_for_byte(
    example: DatabaseSurvey, archive: Path, tmp_path: Path
) -> None:
    """Export, import, export: two databases with equal records, two archives of equal bytes."""
    again = hc.import_survey(archive, tmp_path / "again.db")
    second = again.export(tmp_path / "second.zip")

    assert same(again, example)
    assert again.verify()
    assert second.read_bytes() == archive.read_bytes()
    assert second.read_bytes() == example.export(tmp_path / "third.zip").read_bytes()


def test_an_archive_holds_what_a_folder_holds(
    example: DatabaseSurvey, archive: Path, tmp_path: Path
) -> None:
    """The two forms differ in nothing but the wrapping."""
    with zipfile.ZipFile(archive) as opened:
        opened.extractall(tmp_path / "unpacked")

    assert everything_in(tmp_path / "unpacked") == everything_in(example.export(tmp_path / "out"))


@pytest.mark.long
def test_a_workbook_beside_its_files_comes_back_record_for_record(
    example: DatabaseSurvey, book: Path, tmp_path: Path
) -> None:
    """Field sheets hold the records; drawings and other files lie beside them."""
    shutil.copy(book, tmp_path)
    for part in ("drawings", "instruments", "photographs"):
        shutil.copytree(QUILLMERE / part, tmp_path / part)
    again = hc.import_survey(tmp_path / book.name, tmp_path / "again.db")

    assert same(again, example)
    assert (
        again.file("drawings/north.svg").read_bytes()
        == (QUILLMERE / "drawings" / "north.svg").read_bytes()
    )


def test_a_workbook_without_its_files_is_refused_with_their_names(
    example: DatabaseSurvey, book: Path, tmp_path: Path
) -> None:
    """Records of files that nobody has would be promises."""
    with pytest.raises(hc.SurveyError, match=r"file = drawings/north\.svg: missing") as caught:
        hc.import_survey(book, tmp_path / "again.db")

    assert len(caught.value.faults) == len(example.attachments)
    assert len(hc.open_survey(tmp_path / "again.db").zones) == 0


@pytest.mark.parametrize("kind", some_of(["folder", "archive", "workbook"], short=["archive"]))
def test_odd_texts_come_back_as_they_went(kind: str, tmp_path: Path) -> None:
    """Letters of any script, signs of any kind, and what a spreadsheet would compute."""
    survey = hc.demo_survey()
    zones = survey.zones["zone"]
    survey.save(
        *(survey.record("zones", zone).changed(note=text)
          for zone, text in zip(zones, ODD_TEXTS.values(), strict=False)),
        who="conservator",
    )  # fmt: skip
    suffix = {"folder": "", "archive": ".zip", "workbook": ".xlsx"}[kind]
    out = survey.export(tmp_path / f"odd{suffix}")
    for part in ("drawings", "instruments", "photographs") if kind == "workbook" else ():
        shutil.copytree(QUILLMERE / part, tmp_path / part)
    again = hc.import_survey(out, tmp_path / "again.db")

    assert list(again.zones["note"])[: len(ODD_TEXTS)] == list(ODD_TEXTS.values())
    assert same(again, survey)


@pytest.mark.parametrize("text", ["=2+2", "+1", "-1", "@sum", "'=2+2", "-", "=", "''+1"])
def test_no_text_of_a_table_can_become_a_formula(text: str) -> None:
    """A spreadsheet takes an apostrophe first in a cell for a sign that text follows."""
    layer = Layer(layer="L1", zone="Z1", soiling="algae", value="rare", value_reason=text)

    [row] = csv.DictReader(io.StringIO(table_text("layers", [layer]), newline=""))

    assert row["value_reason"] == f"'{text}"


@given(st.text(min_size=1, max_size=40))
def test_any_text_comes_back_from_a_table(text: str) -> None:
    """Whatever a record takes as text, its table gives back; what it refuses is never written."""
    try:
        layer = Layer(layer="L1", zone="Z1", soiling="algae", value="rare", value_reason=text)
    except ValidationError:
        return
    assert read_back(layer) == layer


@given(st.floats(min_value=0, max_value=100))
def test_any_number_comes_back_from_a_table(number: float) -> None:
    """Every digit that is needed is written; nothing is below zero that is zero."""
    layer = Layer(layer="L1", zone="Z1", soiling="algae", value="rare", cover_pct=number)

    assert read_back(layer) == layer


def read_back(layer: Layer) -> Layer:
    """Write one layer into a table, and read it again."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "layers.csv")
        path.write_text(table_text("layers", [layer]), encoding="utf-8", newline="")
        faults: list[Fault] = []
        found = read_rows({"layers": folder_rows(path.parent, faults)["layers"]}, faults=[])
    assert not found.faults
    [record] = found.records["layers"]
    return record


def test_a_zero_is_written_without_its_sign() -> None:
    """A database gives -0.0 back as 0.0: it never comes as far."""
    row = {"layer": "L1", "zone": "Z1", "soiling": "algae", "value": "rare"}
    layers = [Layer(**row, cover_pct=zero) for zero in (-0.0, "-0.0", "-0", 0)]

    assert {written(layer.cover_pct) for layer in layers} == {"0"}


def test_an_older_package_lacks_what_was_added_later(
    example: DatabaseSurvey, archive: Path, tmp_path: Path
) -> None:
    """A package of before white tile and spots: the rest is taken, and readings lose no session."""
    old = tmp_path / "old"
    with zipfile.ZipFile(archive) as opened:
        opened.extractall(old)
    (old / "datapackage.json").unlink()
    for later in ("spots", "section_readings", "attachments", "height_maps", "photos"):
        (old / f"{later}.csv").unlink()
    lines = (old / "readings.csv").read_text("utf-8").splitlines(keepends=True)
    by_meter = "".join(line for line in lines if ",photograph," not in line)
    (old / "readings.csv").write_text(by_meter, "utf-8", newline="")
    tests = (old / "site_tests.csv").read_text("utf-8").splitlines(keepends=True)
    by_hand = "".join(line for line in tests if ",map H2," not in line)
    (old / "site_tests.csv").write_text(by_hand, "utf-8", newline="")
    again = hc.import_survey(old, tmp_path / "again.db")

    assert again.spots.empty
    assert list(again.attachments["attachment"]) == [
        f"drawing {name}" for name in ("north", "east", "tower", "legs")
    ]
    lost = {
        "spots", "section_readings", "height_maps", "attachments", "photos", "readings",
        "site_tests",
    }  # fmt: skip
    assert same_but(again, example, lost)
    assert again.records["readings"] == tuple(
        one for one in example.all(Reading) if one.photo is None
    )


def same_but(survey: Survey, other: Survey, tables: set[str]) -> bool:
    """Whether two surveys hold equal records in all tables but some."""
    return all(survey.records[name] == other.records[name] for name in set(TABLES) - tables)


# -- What is not written ------------------------------------------------------------------------


def test_nothing_is_written_over(example: DatabaseSurvey, tmp_path: Path) -> None:
    """Neither a folder nor a file that is there."""
    (tmp_path / "taken.zip").write_text("mine", encoding="utf-8")

    with pytest.raises(FileExistsError, match=r"taken\.zip exists\. Nothing was written; name"):
        example.export(tmp_path / "taken.zip")
    with pytest.raises(FileExistsError, match="exists"):
        example.export(tmp_path)
    with pytest.raises(StoreError, match="there is no folder"):
        example.export(tmp_path / "nowhere" / "out.zip")

    assert everything_in(tmp_path) == {"taken.zip": b"mine"}


@pytest.mark.parametrize("suffix", [".ZIP", ".Xlsx"])
def test_the_form_is_known_in_capitals_too(tmp_path: Path, suffix: str) -> None:
    """OUT.ZIP is an archive, no folder."""
    out = DatabaseSurvey(tmp_path / "new.db").export(tmp_path / f"OUT{suffix}")

    assert zipfile.is_zipfile(out)


@pytest.mark.parametrize("suffix", ["", ".zip", ".xlsx"])
def test_no_half_is_left_where_writing_fails(
    example: DatabaseSurvey, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, suffix: str
) -> None:
    """A disk that is full on the way: an error that says so, and nothing more."""

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(package, "_write_folder", full)
    monkeypatch.setattr("heritagecheck.survey.exchange.workbook.write_workbook", full)
    with pytest.raises(StoreError, match="was not written, because the disk is full"):
        example.export(tmp_path / f"out{suffix}")

    assert everything_in(tmp_path) == {}
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("act", "what"), [("unlink", "missing"), ("write", "altered")])
def test_a_survey_without_one_of_its_files_is_not_given_away(
    archive: Path, tmp_path: Path, act: str, what: str
) -> None:
    """Which, and by which hash the right one is known."""
    survey = hc.import_survey(archive, tmp_path / "kept.db")
    meter = survey.record("attachments", "meter lift 3")
    kept = survey.file(meter.file)
    kept.unlink() if act == "unlink" else kept.write_bytes(b"else")

    with pytest.raises(hc.SurveyError, match=rf"lift-3\.txt: {what}; .* {meter.sha256}"):
        survey.export(tmp_path / "out")

    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("act", ["unlink", "write"])
def test_importing_the_package_again_mends_a_file(archive: Path, tmp_path: Path, act: str) -> None:
    """Whoever holds the package has the file: no record changes, and its content is back."""
    survey = hc.import_survey(archive, tmp_path / "kept.db")
    meter = survey.record("attachments", "meter lift 3")
    kept = survey.file(meter.file)
    kept.unlink() if act == "unlink" else kept.write_bytes(b"else")
    again = hc.import_survey(archive, tmp_path / "kept.db")

    assert (again.imported.new, again.imported.changed) == (0, 0)
    assert survey.file(meter.file).read_bytes() == (QUILLMERE / meter.file).read_bytes()


def test_a_file_that_bears_the_name_of_a_table_is_not_written_over_it(tmp_path: Path) -> None:
    """A meter's own readings.csv must not take the place of the survey's."""
    survey = hc.demo_survey()
    (tmp_path / "readings.csv").write_text("1;2\n", encoding="utf-8")

    with pytest.raises(
        hc.SurveyError, match=r"file = readings\.csv: must not be the name of a table"
    ):
        survey.attach(tmp_path / "readings.csv", kind="instrument_file", who="conservator")


@pytest.mark.parametrize("name", ["../outside.svg", "drawings/../../outside.svg"])
def test_a_drawing_outside_the_folder_is_neither_read_nor_written(
    tmp_path: Path, name: str
) -> None:
    """A folder of somebody else's may name any place as a drawing's."""
    theirs = tmp_path / "theirs"
    shutil.copytree(QUILLMERE, theirs, ignore=shutil.ignore_patterns("*.py", "drawing", "*cache*"))
    (tmp_path / "outside.svg").write_text("<svg/>", encoding="utf-8")
    table = theirs / "elevations.csv"
    table.write_text(table.read_text("utf-8").replace("drawings/north.svg", name), "utf-8")
    (theirs / "attachments.csv").unlink()
    (theirs / "datapackage.json").unlink()

    with pytest.raises(hc.SurveyError, match="must name a file in the survey's folder or below it"):
        hc.import_survey(theirs, tmp_path / "kept.db")
    with pytest.raises(hc.SurveyError, match="must name a file in the survey's folder or below it"):
        hc.open_survey(theirs)


# -- Archives of others -------------------------------------------------------------------------

Change = Callable[[zipfile.ZipFile], object]


def packed(path: Path, change: Change, *, inside: str = "") -> Path:
    """Pack the example as somebody else would, then add what they added."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as made:
        for pattern in GIVEN:
            for file in sorted(QUILLMERE.glob(pattern)):
                made.write(file, inside + file.relative_to(QUILLMERE).as_posix())
        change(made)
    return path


def refused(path: Path, into: Path) -> pd.DataFrame:
    """Give the faults with which an archive is refused before any of it is looked at."""
    before = {one.name for one in into.parent.iterdir()}
    with pytest.raises(hc.SurveyError, match=r"to correct\. Nothing was read\.") as caught:
        hc.import_survey(path, into)
    assert {one.name for one in into.parent.iterdir()} == before
    return caught.value.faults


@pytest.mark.parametrize(
    "name",
    ["../evil.csv", "drawings/../../evil.csv", "/etc/evil.csv", "..\\evil.csv", "C:evil.csv",
     "C:\\evil.csv", "drawings\\north.svg", "//server/share/evil.csv"],
)  # fmt: skip
def test_a_name_that_leads_outside_is_refused(tmp_path: Path, name: str) -> None:
    """Upwards, from the root, by a drive, by a backslash."""
    path = packed(tmp_path / "a.zip", lambda made: made.writestr(name, "x"))

    found = refused(path, tmp_path / "kept.db")

    assert list(found["allowed"]) == ["points outside the archive"]
    assert not list(tmp_path.rglob("*evil*"))


def test_a_link_is_refused(tmp_path: Path) -> None:
    """A link inside an archive could lead to any file of whoever unpacks it."""
    link = zipfile.ZipInfo("drawings/link.svg")
    link.create_system = 3
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    path = packed(tmp_path / "a.zip", lambda made: made.writestr(link, "/etc/passwd"))

    assert list(refused(path, tmp_path / "kept.db")["value"]) == ["drawings/link.svg"]


@pytest.mark.filterwarnings("ignore:Duplicate name:UserWarning")  # zipfile warns; we make one
@pytest.mark.parametrize("name", ["zones.csv", "ZONES.csv", "./zones.csv", ".//zones.csv"])
def test_a_name_that_stands_twice_is_refused(tmp_path: Path, name: str) -> None:
    """Which of the two would count depends on who unpacks it."""
    path = packed(tmp_path / "a.zip", lambda made: made.writestr(name, "zone\n"))

    found = refused(path, tmp_path / "kept.db")

    assert list(found["allowed"]) == ["occurs twice"]


def test_a_bomb_is_refused_before_it_goes_off(tmp_path: Path) -> None:
    """A thousandfold of zeros is no drawing."""
    path = packed(tmp_path / "a.zip", lambda made: made.writestr("bomb.svg", bytes(2**25)))

    [fault] = refused(path, tmp_path / "kept.db").to_dict("records")

    assert fault["value"] == "bomb.svg"
    assert "more than 200 times" in fault["allowed"]


def test_many_small_bombs_are_refused(tmp_path: Path) -> None:
    """Each within its measure, all together beyond it."""

    def fill(made: zipfile.ZipFile) -> None:
        for number in range(300):
            made.writestr(f"little-{number}.svg", bytes(2**20))

    found = refused(packed(tmp_path / "a.zip", fill), tmp_path / "kept.db")

    assert "no more than 200 times its own size" in found["allowed"].iloc[0]


def test_too_many_files_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """However small they are."""
    monkeypatch.setattr(package, "MOST_MEMBERS", 30)

    def fill(made: zipfile.ZipFile) -> None:
        for number in range(31):
            made.writestr(f"{number}.txt", "x")

    found = refused(packed(tmp_path / "a.zip", fill), tmp_path / "kept.db")

    assert "at most 30 files" in found["allowed"].iloc[0]


def test_an_archive_with_a_password_is_refused(archive: Path, tmp_path: Path) -> None:
    """Its flag says that it is locked."""
    data = bytearray(archive.read_bytes())
    data[6] |= 1
    start = data.index(b"PK\x01\x02")
    data[start + 8] |= 1
    (tmp_path / "a.zip").write_bytes(data)

    [allowed] = refused(tmp_path / "a.zip", tmp_path / "kept.db")["allowed"]

    assert "encrypted" in allowed


@pytest.mark.parametrize(
    "damage",
    [
        lambda data: data[: len(data) // 2],
        lambda data: data[:200],
        lambda data: b"",
        lambda data: b"zone,elevation\n",
        lambda data: data[:3000] + bytes(500) + data[3500:],
        lambda data: data[:100] + data[101:],
    ],
    ids=["half", "the beginning", "empty", "no archive", "a hole", "one byte lost"],
)
def test_a_damaged_archive_is_refused(
    archive: Path, tmp_path: Path, damage: Callable[[bytes], bytes]
) -> None:
    """Cut off on the way, or no archive at all: said so, and nothing taken."""
    (tmp_path / "a.zip").write_bytes(damage(archive.read_bytes()))

    [allowed] = refused(tmp_path / "a.zip", tmp_path / "kept.db")["allowed"]

    assert allowed.startswith("can't be unpacked: ")


@pytest.mark.parametrize("name", ["zones.csv/more.csv", "drawings"])
def test_a_file_in_the_place_of_a_folder_is_refused(tmp_path: Path, name: str) -> None:
    """No name can be both: said so, without a word of where it was unpacked."""
    path = packed(tmp_path / "a.zip", lambda made: made.writestr(name, "x"))

    [allowed] = refused(path, tmp_path / "kept.db")["allowed"]

    assert allowed.startswith("can't be unpacked: ")
    assert "/" not in allowed


def test_a_file_without_a_name_is_refused(archive: Path, tmp_path: Path) -> None:
    """One byte of the list of names was taken for something else."""
    data = bytearray(archive.read_bytes())
    start = data.index(b"PK\x01\x02")
    data[start + 30], data[start + 28] = data[start + 28], 0
    (tmp_path / "a.zip").write_bytes(data)

    [allowed] = refused(tmp_path / "a.zip", tmp_path / "kept.db")["allowed"]

    assert allowed.startswith("can't be unpacked: ")


def test_every_damaged_byte_is_noticed_or_harmless(
    example: DatabaseSurvey, archive: Path, tmp_path: Path
) -> None:
    """Any one byte changed: refused as a survey is, or read as it was; never another error."""
    data = archive.read_bytes()
    for turn, place in enumerate(range(7, len(data), len(data) // 40)):
        changed = bytearray(data)
        changed[place] ^= 0x55
        (tmp_path / "a.zip").write_bytes(changed)
        try:
            found = hc.import_survey(tmp_path / "a.zip", tmp_path / f"{turn}.db")
        except hc.SurveyError:
            continue
        assert same(found, example)


def test_an_archive_that_is_not_there_is_named(tmp_path: Path) -> None:
    """A slip of the pen in its name."""
    found = refused(tmp_path / "no.zip", tmp_path / "kept.db")

    assert list(found["allowed"]) == ["there is no such file"]


def test_an_archive_with_a_folder_inside_is_read(example: DatabaseSurvey, tmp_path: Path) -> None:
    """As a file manager packs a folder; what one system adds of its own is passed over."""

    def add(made: zipfile.ZipFile) -> None:
        made.writestr("__MACOSX/wall/._zones.csv", b"\x00\x05\x16\x07")
        made.writestr("__MACOSX/._wall", b"\x00\x05\x16\x07")
        made.writestr("wall/.DS_Store", b"\x00")
        made.writestr("wall/empty/", "")

    path = packed(tmp_path / "a.zip", add, inside="wall/")

    assert same(hc.import_survey(path, tmp_path / "kept.db"), example)


def test_what_one_system_adds_beside_the_tables_is_passed_over(
    example: DatabaseSurvey, tmp_path: Path
) -> None:
    """The same where the tables themselves were packed."""

    def add(made: zipfile.ZipFile) -> None:
        made.writestr("__MACOSX/._zones.csv", b"\x00\x05\x16\x07")

    path = packed(tmp_path / "a.zip", add)

    assert same(hc.import_survey(path, tmp_path / "kept.db"), example)


def test_an_archive_without_tables_is_refused(tmp_path: Path) -> None:
    """Somebody's holiday photographs: every table that is missing is named."""
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as made:
        made.writestr("beach.jpg", "x")

    with pytest.raises(hc.SurveyError, match=r"zones\.csv: this table is missing") as caught:
        hc.import_survey(tmp_path / "a.zip", tmp_path / "kept.db")

    assert set(caught.value.faults["table"]) >= {"structure.csv", "views.csv"}


# -- A validator of others ----------------------------------------------------------------------


def validated(description: Path) -> list[tuple[str, str]]:
    """Table and kind of every error that a general-purpose validator finds in a package."""
    import frictionless

    report = frictionless.validate(str(description))
    errors = [("", error.type) for error in report.errors]
    return errors + [(task.name, error.type) for task in report.tasks for error in task.errors]


def test_the_example_is_valid_to_a_general_validator() -> None:
    """Its description and every row of every table."""
    assert validated(QUILLMERE / "datapackage.json") == []


def test_an_exported_package_is_valid_to_a_general_validator(tmp_path: Path) -> None:
    """Also with texts that are guarded and a survey that was changed since."""
    survey = hc.demo_survey()
    survey.save(survey.record("zones", "N06").changed(note="=2+2, said\nthe engineer"), who="me")
    out = survey.export(tmp_path / "out")

    assert validated(out / "datapackage.json") == []


def test_a_package_with_nothing_in_it_is_valid_to_a_general_validator(tmp_path: Path) -> None:
    """Headings alone."""
    out = DatabaseSurvey(tmp_path / "new.db").export(tmp_path / "out")

    assert validated(out / "datapackage.json") == []


@pytest.fixture(scope="module")
def part(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give what the example holds of two zones, valid to both validators; to be copied."""
    survey = hc.demo_survey()
    records = {
        table: tuple(one for one in found if getattr(one, "zone", None) in {None, "N12", "N15"})
        for table, found in survey.records.items()
    }
    out = package.exported(records, survey.file, tmp_path_factory.mktemp("part") / "part")
    assert validated(out / "datapackage.json") == []
    return out


@pytest.mark.parametrize(
    ("table", "old", "new", "kind"),
    some_of(
        [
            ("zones", ",granite,", ",granit,", "constraint-error"),
            ("zones", "N15,north,", "N12,north,", "primary-key"),
            ("zones", "N12,north,", "N12,northern,", "foreign-key"),
            ("views", ",100\n", ",101\n", "constraint-error"),
            ("views", ",100\n", ",much\n", "type-error"),
            ("observations", "2026-09-08,", "8 September,", "type-error"),
            ("policy", "alpha,", "alfa,", "incorrect-label"),
            ("spots", "spot,panel,", "panel,", "missing-label"),
            ("layers", "N12-L1,N12,", ",N12,", "constraint-error"),
        ],
        short=[
            ("zones", "N15,north,", "N12,north,", "primary-key"),
            ("views", ",100\n", ",much\n", "type-error"),
        ],
    ),
)
def test_a_broken_package_is_not_valid_to_a_general_validator(
    part: Path, tmp_path: Path, table: str, old: str, new: str, kind: str
) -> None:
    """It finds in the schema what our own check finds in the records."""
    broken = shutil.copytree(part, tmp_path / "broken")
    text = (broken / f"{table}.csv").read_text("utf-8")
    assert old in text
    (broken / f"{table}.csv").write_text(text.replace(old, new, 1), "utf-8", newline="")

    assert (table, kind) in validated(broken / "datapackage.json")
    with pytest.raises(hc.SurveyError, match=rf"{table}\.csv"):
        hc.import_survey(broken, tmp_path / "kept.db")


def test_a_table_that_the_description_promises_must_be_there(part: Path, tmp_path: Path) -> None:
    """Both validators miss it."""
    broken = shutil.copytree(part, tmp_path / "broken")
    (broken / "spots.csv").unlink()

    assert ("spots", "scheme-error") in validated(broken / "datapackage.json")
    with pytest.raises(hc.SurveyError, match=r"spots\.csv: this table is missing"):
        hc.import_survey(broken, tmp_path / "kept.db")


def test_the_description_says_under_which_licence_the_records_go(tmp_path: Path) -> None:
    """That of the structure's own record; where its owner gave none, none is written."""
    survey = hc.demo_survey()
    given = json.loads((survey.export(tmp_path / "given") / "datapackage.json").read_text("utf-8"))
    survey.save(survey.record("structure").changed(licence=None), who="owner")
    kept = json.loads((survey.export(tmp_path / "kept") / "datapackage.json").read_text("utf-8"))

    assert given["licenses"] == [{"name": "CC0-1.0"}]
    assert (given["name"], given["title"]) == (
        "quillmere-pumping-station", "Survey of Quillmere Pumping Station",
    )  # fmt: skip
    assert "licenses" not in kept


def test_a_survey_read_from_a_folder_is_exported_alike(
    example: DatabaseSurvey, tmp_path: Path
) -> None:
    """A database is no condition of giving a survey to others."""
    out = hc.open_survey(QUILLMERE).export(tmp_path / "a.zip")

    assert out.read_bytes() == example.export(tmp_path / "b.zip").read_bytes()


def test_a_survey_of_rows_alone_is_exported_without_files(tmp_path: Path) -> None:
    """No folder, no drawing: the tables are written, and that is all."""
    rows = {
        name: [record.model_dump() for record in records]
        for name, records in hc.demo_survey().records.items()
        if name not in {"attachments", "photos", "height_maps"}
    }
    rows["readings"] = [row for row in rows["readings"] if row["photo"] is None]
    for table in ("readings", "site_tests", "section_readings"):
        rows[table] = [row for row in rows[table] if row["file"] is None]
    out = build(rows).export(tmp_path / "out")

    assert sorted(everything_in(out)) == sorted(
        ["datapackage.json", *(f"{table}.csv" for table in TABLES)]
    )
