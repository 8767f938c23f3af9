"""Tables of others taken into a survey: all or nothing, or the good rows, and the rest to mend."""

from __future__ import annotations

import csv
import json
import shutil
import threading
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from openpyxl import Workbook, load_workbook

import heritagecheck as hc
from heritagecheck.errors import StoreError
from heritagecheck.survey.exchange.package import exported
from heritagecheck.survey.exchange.workbook import write_workbook
from heritagecheck.survey.places import example_folder
from heritagecheck.survey.records import TABLES, Attachment, Layer, Zone
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.journal import key_of
from heritagecheck.survey.survey import Survey

# Two zones of the example: between them, everything that a survey may hold of a zone.
ZONES = ("N12", "N15")
FILES = ("drawings", "instruments")
Edit = Callable[[Workbook], object]


@pytest.fixture(scope="session")
def part() -> Survey:
    """Give what the example holds of two zones."""
    whole = hc.demo_survey()
    return Survey(
        {
            table: tuple(one for one in found if getattr(one, "zone", None) in {None, *ZONES})
            for table, found in whole.records.items()
        }
    )


@pytest.fixture(scope="session")
def made(part: Survey, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write it once, as a folder of tables and as field sheets, each with the files beside it."""
    folder = tmp_path_factory.mktemp("made")
    file = hc.demo_survey().file
    exported(part.records, file, folder / "wall")
    # Without most of the free rows, whose many empty cells would be read in every test.
    write_workbook(folder / "wall.xlsx", part.records, rows_free=3)
    for name in FILES:
        shutil.copytree(folder / "wall" / name, folder / name)
    return folder


@pytest.fixture
def place(made: Path, tmp_path: Path) -> Path:
    """Give a folder of one's own with both."""
    return Path(shutil.copytree(made, tmp_path / "place"))


@pytest.fixture
def tables(place: Path) -> Path:
    """Give the folder of tables."""
    return place / "wall"


@pytest.fixture
def sheets(place: Path) -> Path:
    """Give the field sheets."""
    return place / "wall.xlsx"


def edit(folder: Path, table: str, row: int, **cells: str) -> dict[str, str]:
    """Change cells of one row, counted as a spreadsheet shows it; give the row as it was."""
    path = folder / f"{table}.csv"
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    before = dict(rows[row - 2])
    rows[row - 2] |= cells
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(before), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return before


def column(book: Workbook, table: str, field: str) -> int:
    """Number of a field's column."""
    return next(cell.column for cell in book[table][1] if cell.value == field)


def cells_set(path: Path, *cells: tuple[str, int, str, object]) -> None:
    """Write into a workbook, as a spreadsheet would."""
    book = load_workbook(path)
    for table, row, field, value in cells:
        book[table].cell(row, column(book, table, field)).value = value
    book.save(path)


def by_key(survey: Survey) -> dict[str, dict[str, object]]:
    """Every record by its key: the order in which they came makes no difference."""
    return {
        table: {key_of(table, record): record for record in survey.records[table]}
        for table in TABLES
    }


def nothing_in(database: Path) -> bool:
    """Whether a database holds no record and no entry."""
    with DatabaseSurvey(database) as survey:
        return survey.journal.empty and all(not survey.records[table] for table in TABLES)


# -- All, or nothing ----------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["folder", "archive", "workbook"])
def test_what_is_right_is_taken_whole(place: Path, part: Survey, kind: str) -> None:
    """Every record, and every file that belongs to them; the journal says who, and from where."""
    source = place / {"folder": "wall", "archive": "wall.zip", "workbook": "wall.xlsx"}[kind]
    if kind == "archive":
        shutil.make_archive(str(place / "wall"), "zip", place / "wall")

    survey = hc.import_survey(source, place / "kept.db", who="conservator")

    count = sum(map(len, part.records.values()))
    assert dict(survey.records) == dict(part.records)
    assert str(survey.imported) == f"{count:,} new records, 0 changed, 0 unchanged"
    assert set(survey.journal["who"]) == {"conservator"}
    assert set(survey.journal["reason"]) == {f"import of {source.name}"}
    assert all(survey.file(one.file) for one in survey.all(Attachment))
    assert survey.verify()
    assert not list(place.glob("*to-correct*"))


def test_all_faults_of_a_workbook_come_at_once_each_with_its_cell(sheets: Path) -> None:
    """Sheet, row, column, what stands there, what is allowed; and nothing was imported."""
    cells_set(
        sheets,
        ("zones", 3, "condition", "wet"),
        ("layers", 4, "layer", "N12-L1"),
        ("readings", 12, "L_star", 1324),
        ("observations", 4, "seen_on", "3/4/2026"),
        ("panels", 3, "read_on", None),
        ("zones", 4, "area_m2", "=2*3"),
    )

    with pytest.raises(hc.SurveyError, match=r"to correct\. Nothing was imported\.\n") as caught:
        hc.import_survey(sheets, sheets.with_name("kept.db"))

    lines = str(caught.value).splitlines()[1:]
    for told in (
        "zones, row 3, column G: condition = wet: must be one of: sound, ",
        "zones, row 4, column D: area_m2 = =2*3: this is a formula",
        "layers, row 4, column A: layer = N12-L1: already given in row 3; each may occur once",
        "readings, row 12, column G: L_star = 1324: must be a number from 0 to 100. Was a decimal",
        "observations, row 4, column H: seen_on = 3/4/2026: 2026-03-04 or 2026-04-03?",
        "panels, row 3, column I: read_on is empty: give the date of reading, or write under",
    ):
        assert any(line.startswith(f"  {told}") for line in lines), told
    assert len(caught.value.faults) == len(lines)
    assert nothing_in(sheets.with_name("kept.db"))


def test_all_faults_of_tables_come_at_once_each_with_its_row(tables: Path) -> None:
    """The same from CSV tables, which have no columns with letters."""
    edit(tables, "readings", 12, L_star="1324")
    edit(tables, "views", 3, swing="101")
    edit(tables, "spots", 2, panel="none such")

    with pytest.raises(hc.SurveyError, match=r"3 things to correct\. Nothing was imported") as no:
        hc.import_survey(tables, tables.with_name("kept.db"))

    found = no.value.faults
    assert list(found["table"]) == ["readings.csv", "spots.csv", "views.csv"]
    assert list(found["row"]) == [12, 2, 3]
    assert list(found["field"]) == ["L_star", "panel", "swing"]
    assert "panel = none such: no panel none such in " in str(no.value)
    assert nothing_in(tables.with_name("kept.db"))


def test_a_second_import_changes_nothing(tables: Path) -> None:
    """What is known already is passed over: no new entry, the same hash."""
    first = hc.import_survey(tables, tables.with_name("kept.db"))
    head, count = first.journal_head, len(first.journal)
    again = hc.import_survey(tables, tables.with_name("kept.db"), only_valid=True, replace=True)

    assert again.journal_head == head
    assert str(again.imported) == f"0 new records, 0 changed, {count:,} unchanged"


def test_a_source_may_bring_only_what_is_new(tables: Path, tmp_path: Path) -> None:
    """Sheets of a later visit need not repeat what the survey holds already."""
    survey = hc.import_survey(tables, tmp_path / "kept.db")
    layer = Layer(layer="later", zone="N15", soiling="graffiti", value="not_valued")
    survey.delete(
        *(one for one in survey.of_zone("N15", Layer) if one.soiling == layer.soiling),
        reason="seen wrongly",
    )
    later = exported(
        {table: (layer,) if table == "layers" else () for table in TABLES}, lambda _: None,
        tmp_path / "later.xlsx",
    )  # fmt: skip
    again = hc.import_survey(later, tmp_path / "kept.db")

    assert str(again.imported) == "1 new record, 0 changed, 0 unchanged"
    assert layer in again.of_zone("N15", Layer)
    assert again.verify()


# -- What is known with other values ------------------------------------------------------------


def test_known_records_with_other_values_are_refused_with_both_values(tables: Path) -> None:
    """Neither the survey nor the tables are taken to be right by themselves."""
    survey = hc.import_survey(tables, tables.with_name("kept.db"))
    was = edit(tables, "zones", 2, note="seen from the lift", area_m2="3.5")

    with pytest.raises(hc.SurveyError, match="Nothing was imported") as caught:
        hc.import_survey(tables, tables.with_name("kept.db"))

    told = str(caught.value).splitlines()[1:]
    end = "here; to take the values of this file, import it with replace"
    assert told == [
        f"  zones.csv, row 2: area_m2 = 3.5: the survey already has {float(was['area_m2'])} {end}",
        "  zones.csv, row 2: note = seen from the lift: the survey already has "
        f"{was['note'] or 'nothing'} {end}",
    ]
    survey.refresh()
    assert survey.zones["area_m2"].iloc[0] == float(was["area_m2"])


def test_with_replace_the_tables_prevail_and_the_journal_keeps_what_was(tables: Path) -> None:
    """Only what differs is changed; the old values can be read, and had back."""
    before = hc.import_survey(tables, tables.with_name("kept.db")).record("zones", "N12")
    edit(tables, "zones", 2, note="seen from the lift")
    survey = hc.import_survey(
        tables, tables.with_name("kept.db"), replace=True, who="engineer", reason="second visit"
    )
    last = survey.journal.iloc[-1]

    assert (survey.imported.new, survey.imported.changed) == (0, 1)
    assert survey.record("zones", "N12") == before.changed(note="seen from the lift")
    assert json.loads(last["old"]).get("note") == before.note
    said = "zones.csv was changed after its export: 2 rows, 2 then"
    assert (last["who"], last["reason"]) == ("engineer", f"second visit; {said}")
    survey.undo(who="engineer")
    assert survey.record("zones", "N12") == before


def test_good_rows_are_taken_beside_one_that_is_known_otherwise(tables: Path) -> None:
    """The one that differs waits in the workbook, with both values."""
    survey = hc.import_survey(tables, tables.with_name("kept.db"))
    survey.save(survey.record("zones", "N12").changed(note="ours"), who="conservator")
    survey.delete(survey.all(Layer)[-1], reason="to come again")
    again = hc.import_survey(tables, tables.with_name("kept.db"), only_valid=True)

    assert (again.imported.new, again.imported.changed, again.imported.refused) == (1, 0, 1)
    assert again.record("zones", "N12").note == "ours"
    assert "the survey already has ours here" in reasons(again.imported.to_correct)["zones"][0]


# -- The good rows alone ------------------------------------------------------------------------


def reasons(path: Path | None) -> dict[str, list[str]]:
    """Table to what is said beside each row of a workbook of rows to correct."""
    assert path is not None
    book = load_workbook(path)
    return {
        table: [str(row[0].value) for row in book[table].iter_rows(min_row=3) if row[0].value]
        for table in TABLES
        if table in book.sheetnames
    }


@pytest.mark.parametrize("kind", ["folder", "archive", "workbook"])
def test_whatever_names_a_refused_row_waits_with_it(place: Path, part: Survey, kind: str) -> None:
    """The zone is wrong: its readings, panels and their spots are refused as well, no others."""
    source = place / {"folder": "wall", "archive": "wall.zip", "workbook": "wall.xlsx"}[kind]
    if kind == "workbook":
        cells_set(source, ("zones", 4, "condition", "wet"))
    else:
        edit(place / "wall", "zones", 3, condition="wet")
    if kind == "archive":
        shutil.make_archive(str(place / "wall"), "zip", place / "wall")

    survey = hc.import_survey(source, place / "kept.db", only_valid=True)

    waiting = {
        table: sum(getattr(one, "zone", None) == "N15" for one in found)
        for table, found in part.records.items()
    }
    said = reasons(survey.imported.to_correct)
    assert [zone.zone for zone in survey.all(Zone)] == ["N12"]
    assert survey.imported.refused == sum(waiting.values())
    assert survey.imported.to_correct == (place / "wall.to-correct.xlsx").absolute()
    waits = f"; {sum(waiting.values())} rows to correct, written to {place}/wall.to-correct.xlsx"
    assert str(survey.imported).splitlines()[0].endswith(waits)
    assert {table: len(rows) for table, rows in said.items()} == {
        table: count for table, count in waiting.items() if count
    }
    assert "condition = wet: must be one of: sound" in said["zones"][0]
    there = "the table zones" if kind == "workbook" else "zones.csv"
    assert f"no zone N15 in {there}. Known: N12" in said["panels"][0]
    assert all(said["spots"])
    assert survey.verify()


@pytest.mark.parametrize("kind", ["folder", "workbook"])
def test_the_rows_to_correct_are_taken_once_they_are_corrected(
    place: Path, part: Survey, kind: str
) -> None:
    """As they are they stay refused; with the one cell mended the survey is whole."""
    source = place / ("wall" if kind == "folder" else "wall.xlsx")
    if kind == "folder":
        edit(source, "zones", 3, condition="wet")
    else:
        cells_set(source, ("zones", 4, "condition", "wet"))
    first = hc.import_survey(source, place / "kept.db", only_valid=True)
    rest = first.imported.to_correct
    good = next(zone for zone in part.all(Zone) if zone.zone == "N15").condition

    with pytest.raises(hc.SurveyError, match=r"zones, row 3, column H: condition = wet"):
        hc.import_survey(rest, place / "kept.db")
    cells_set(rest, ("zones", 3, "condition", good))
    survey = hc.import_survey(rest, place / "kept.db")

    assert survey.imported.new == first.imported.refused
    assert by_key(survey) == by_key(part)
    assert survey.verify()


def test_rows_to_correct_are_never_written_over(tables: Path) -> None:
    """An earlier workbook may hold half a day's corrections."""
    edit(tables, "views", 2, swing="101")
    names = [
        hc.import_survey(tables, tables.with_name("kept.db"), only_valid=True).imported.to_correct
        for _ in range(3)
    ]

    assert [path.name for path in names] == [
        "wall.to-correct.xlsx", "wall.to-correct-2.xlsx", "wall.to-correct-3.xlsx",
    ]  # fmt: skip


def test_of_two_rows_with_one_code_the_first_is_taken(tables: Path, part: Survey) -> None:
    """The second waits, with the row of the first."""
    layers = part.all(Layer)
    edit(tables, "layers", 3, layer=layers[0].layer)
    survey = hc.import_survey(tables, tables.with_name("kept.db"), only_valid=True)

    assert survey.all(Layer)[0] == layers[0]
    assert len(survey.all(Layer)) == len(layers) - 1
    assert (
        "already given in row 2; each may occur once"
        in (reasons(survey.imported.to_correct)["layers"][0])
    )


def test_a_row_that_is_no_row_waits_as_it_was_written(tables: Path) -> None:
    """A loose separator: the cells beyond the headings stand in the last."""
    path = tables / "views.csv"
    lines = path.read_text("utf-8").splitlines()
    lines[1] += ",5"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    survey = hc.import_survey(tables, tables.with_name("kept.db"), only_valid=True)
    book = load_workbook(survey.imported.to_correct)

    assert "4 cells under 3 headings" in reasons(survey.imported.to_correct)["views"][0]
    assert str(book["views"].cell(3, column(book, "views", "swing")).value).endswith(",5")
    assert survey.imported.refused == 1


def text_changed(table: str, old: str, new: str) -> Callable[[Path], object]:
    """Give a change of a table's text."""

    def change(folder: Path) -> None:
        path = folder / f"{table}.csv"
        text = path.read_text("utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")

    return change


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda folder: (folder / "layers.csv").unlink(), r"layers\.csv: this table is missing"),
        (lambda folder: (folder / "views.csv").write_bytes(b"PK\x00"), r"views\.csv: .* binary"),
        (
            lambda folder: (folder / "datapackage.json").write_text("{"),
            "this does not describe a data package",
        ),
        (
            text_changed("zones", "biotite_pct", "biotit_pct"),
            "heading = biotit_pct: unknown; did you mean biotite_pct?",
        ),
        (text_changed("panels", "panel,zone", "a,b"), "heading = panel: this heading is missing"),
        (
            text_changed("spots", "N15-", '"N15-'),
            r"spots\.csv: this is not a CSV table: .* in line",
        ),
        (lambda folder: shutil.rmtree(folder / "drawings"), r"drawings/north\.svg: missing"),
    ],
    ids=["a table", "a binary", "its description", "a heading", "headings", "a quote", "a file"],
)  # fmt: skip
def test_nothing_is_taken_where_nobody_can_say_which_rows_are_good(
    tables: Path, change: Callable[[Path], object], told: str
) -> None:
    """The fault speaks of a whole table or file: the good rows of it would be lost unseen."""
    change(tables)

    with pytest.raises(hc.SurveyError, match=rf"(?s)Nothing was imported.*{told}"):
        hc.import_survey(tables, tables.with_name("kept.db"), only_valid=True)

    assert nothing_in(tables.with_name("kept.db"))
    assert not list(tables.parent.glob("*to-correct*"))


def stray(book: Workbook) -> None:
    """Write remarks beside the headings."""
    for row in (5, 9):
        book["readings"].cell(row, 40).value = f"look again, {row}"


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda book: book["zones"].merge_cells("N3:N4"), "zones, row 3, column N: merged cells"),
        (lambda book: book.create_sheet("Sheet1").append(["mine"]), "Sheet1: this sheet does not"),
        (lambda book: book["zones"].cell(1, 4, "size"), "heading = area_m2: this heading is"),
        (stray, r"readings, row 5, column AN: 'look again, 5' has no heading"),
    ],
    ids=["merged cells", "a sheet of one's own", "a heading", "cells under no heading"],
)
def test_nothing_is_taken_where_a_whole_sheet_is_spoilt(
    sheets: Path, change: Edit, told: str
) -> None:
    """The same in a workbook."""
    book = load_workbook(sheets)
    change(book)
    book.save(sheets)

    with pytest.raises(hc.SurveyError, match=rf"(?s)Nothing was imported.*{told}"):
        hc.import_survey(sheets, sheets.with_name("kept.db"), only_valid=True)

    assert nothing_in(sheets.with_name("kept.db"))


# -- Files that belong to the records -----------------------------------------------------------


@pytest.mark.parametrize("kind", ["folder", "workbook"])
@pytest.mark.parametrize("what", ["missing", "altered"])
def test_a_file_that_is_not_what_its_record_says_is_refused(
    place: Path, kind: str, what: str
) -> None:
    """Its name, and the hash of the right one; no record without its file."""
    source = place / ("wall" if kind == "folder" else "wall.xlsx")
    meter = (source if kind == "folder" else place) / "instruments" / "lift-3.txt"
    if what == "missing":
        meter.unlink()
    else:
        meter.write_bytes(b"else")

    with pytest.raises(
        hc.SurveyError, match=rf"file = instruments/lift-3\.txt: {what}; put the file back whose"
    ):
        hc.import_survey(source, place / "kept.db")

    assert nothing_in(place / "kept.db")


@pytest.mark.parametrize("kind", ["folder", "workbook"])
def test_drawings_beside_the_tables_become_attachments(place: Path, kind: str) -> None:
    """Whoever draws an elevation need not know what a hash is."""
    source = place / ("wall" if kind == "folder" else "wall.xlsx")
    if kind == "folder":
        for name in ("attachments.csv", "datapackage.json"):
            (source / name).unlink()
    else:
        book = load_workbook(source)
        del book["attachments"]
        book.save(source)
    drawing = (source if kind == "folder" else place) / "drawings" / "east.svg"
    survey = hc.import_survey(source, place / "kept.db")

    assert list(survey.attachments["attachment"]) == [
        f"drawing {name}" for name in ("north", "east", "tower", "legs")
    ]
    assert set(survey.attachments["kind"]) == {"drawing"}
    assert survey.file("drawings/east.svg").read_bytes() == drawing.read_bytes()
    shutil.rmtree(drawing.parent)
    assert survey.file("drawings/east.svg").is_file()


def test_a_drawing_that_was_changed_is_taken_when_asked_and_the_old_one_kept(place: Path) -> None:
    """A better drawing comes with the next import that replaces; that of before can be had back."""
    for name in ("attachments.csv", "datapackage.json"):
        (place / "wall" / name).unlink()
    hc.import_survey(place / "wall", place / "kept.db")
    east = place / "wall" / "drawings" / "east.svg"
    before = east.read_bytes()
    east.write_text("<svg/>", encoding="utf-8")

    with pytest.raises(hc.SurveyError, match=r"sha256 = .* already has .* here; .* with replace"):
        hc.import_survey(place / "wall", place / "kept.db", who="conservator")
    survey = hc.import_survey(place / "wall", place / "kept.db", who="conservator", replace=True)
    assert (survey.imported.new, survey.imported.changed) == (0, 1)
    assert survey.file("drawings/east.svg").read_bytes() == b"<svg/>"
    survey.undo(who="conservator")
    assert survey.file("drawings/east.svg").read_bytes() == before


# -- While others write -------------------------------------------------------------------------


def test_what_others_save_meanwhile_is_kept(tables: Path) -> None:
    """A colleague goes on saving while tables are taken in: both are there, in one journal."""
    whole = hc.import_survey(tables, tables.with_name("kept.db"), who="conservator")
    whole.delete(*whole.of_zone("N15", Layer), reason="to come again")
    other = DatabaseSurvey(tables.with_name("kept.db"))
    begun, ended = threading.Event(), threading.Event()
    saved: list[str] = []

    def keep_saving() -> None:
        try:
            while not ended.is_set():
                note = f"seen again, {len(saved)}"
                other.save(other.record("zones", "N12").changed(note=note), who="engineer")
                saved.append(note)
                begun.set()
        finally:
            begun.set()

    edit(tables, "zones", 2, note="otherwise")
    writer = threading.Thread(target=keep_saving)
    writer.start()
    begun.wait()
    try:
        survey = hc.import_survey(
            tables, tables.with_name("kept.db"), only_valid=True, who="conservator"
        )
    finally:
        ended.set()
        writer.join()

    survey.refresh()
    assert survey.imported.new == len(whole.journal.query("old.notna() and new.isna()"))
    assert survey.imported.refused == 1
    assert survey.record("zones", "N12").note == saved[-1]
    assert len(survey.journal.query("who == 'engineer'")) == len(saved)
    assert survey.verify()


def test_what_another_saved_while_the_tables_were_read_is_not_overwritten(tables: Path) -> None:
    """The tables were written before it: both values are shown, and nothing is imported."""
    other = hc.import_survey(tables, tables.with_name("kept.db"))

    def save_at_the_end(done: int, total: int) -> None:
        if done == total:
            other.save(other.record("zones", "N12").changed(note="theirs"), who="engineer")

    with pytest.raises(
        hc.SurveyError, match=r"(?s)imported\.\n.*note is empty: the survey already has theirs"
    ):
        hc.import_survey(tables, tables.with_name("kept.db"), progress=save_at_the_end)

    other.refresh()
    assert other.record("zones", "N12").note == "theirs"


def test_whoever_looked_before_the_import_does_not_overwrite_it(tables: Path) -> None:
    """A survey opened before shows what it read; its save over the import is refused."""
    database = tables.with_name("kept.db")
    other = hc.import_survey(tables, database)
    stale = other.record("zones", "N12")
    edit(tables, "zones", 2, note="from the tables")
    hc.import_survey(tables, database, replace=True, who="engineer").close()

    with pytest.raises(hc.SurveyError, match=r"N12 was saved by engineer at .* from the tables"):
        other.save(stale.changed(note="mine"))

    other.refresh()
    assert other.record("zones", "N12").note == "from the tables"


# -- How far, from where, whither ---------------------------------------------------------------


@pytest.mark.parametrize("kind", ["folder", "workbook"])
def test_progress_is_told_and_ends_at_the_total(place: Path, kind: str) -> None:
    """It never goes back, never beyond the total, and comes to its end."""
    source = example_folder() if kind == "folder" else place / "wall.xlsx"
    told: list[tuple[int, int]] = []
    survey = hc.import_survey(
        source, place / "kept.db", progress=lambda done, total: told.append((done, total))
    )
    [total] = {total for _, total in told}

    assert total >= survey.imported.new
    assert [done for done, _ in told] == sorted(done for done, _ in told)
    assert told[-1] == (total, total)
    assert len(told) > (3 if kind == "folder" else 0)


def test_progress_ends_where_nothing_is_taken_too(tables: Path) -> None:
    """All rows were looked at, and that is what it counts."""
    edit(tables, "zones", 2, area_m2="0")
    told: list[tuple[int, int]] = []

    with pytest.raises(hc.SurveyError, match="area_m2 = 0"):
        hc.import_survey(
            tables, tables.with_name("kept.db"), progress=lambda *both: told.append(both)
        )

    assert told[-1][0] == told[-1][1] > 0


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("nowhere", "there is no such folder"),
        ("nowhere.zip", "there is no such file"),
        ("nowhere.xlsx", "there is no such file"),
        ("notes.txt", "neither a folder of tables, nor a .zip or .xlsx"),
        ("other.db", "neither a folder of tables, nor a .zip or .xlsx"),
        ("letter.xlsx", "this is not a workbook"),
        ("letter.zip", "can't be unpacked"),
        ("empty", "this table is missing from"),
    ],
)
def test_a_source_that_is_none_is_named_and_nothing_is_made(
    tmp_path: Path, name: str, told: str
) -> None:
    """Neither a database nor a folder for its files."""
    for file in ("notes.txt", "letter.xlsx", "letter.zip"):
        (tmp_path / file).write_text("Dear colleague", encoding="utf-8")
    DatabaseSurvey(tmp_path / "other.db").close()
    (tmp_path / "empty").mkdir()
    before = sorted(path.name for path in tmp_path.iterdir())

    with pytest.raises(hc.SurveyError, match=told):
        hc.import_survey(tmp_path / name, tmp_path / "kept.db")

    if name != "empty":
        assert sorted(path.name for path in tmp_path.iterdir()) == before


def test_an_import_that_is_interrupted_leaves_nothing(
    tables: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where files are kept already and records are not: no database, and no folder of its files."""
    found = []

    def interrupted(self: DatabaseSurvey, *_: object, **__: object) -> None:
        found.extend(path for path in self.files_folder.rglob("*") if path.is_file())
        raise KeyboardInterrupt

    monkeypatch.setattr(DatabaseSurvey, "keep", interrupted)
    place = tmp_path / "new" / "kept.db"
    place.parent.mkdir()

    with pytest.raises(KeyboardInterrupt):
        hc.import_survey(tables, place)

    assert found
    assert list(place.parent.iterdir()) == []


def test_a_place_that_is_no_database_is_refused(tables: Path) -> None:
    """A folder of tables is read only, and a drawing is no database."""
    drawing = tables / "drawings" / "north.svg"
    before = drawing.read_bytes()

    with pytest.raises(StoreError, match="is a folder, not a database"):
        hc.import_survey(tables, tables)
    with pytest.raises(StoreError, match=r"north\.svg"):
        hc.import_survey(tables, drawing)

    assert drawing.read_bytes() == before


def test_an_archive_with_faults_names_its_rows_and_leaves_nothing(
    tables: Path, tmp_path: Path
) -> None:
    """Where it was unpacked nobody needs to know; its rows to correct lie beside it."""
    edit(tables, "views", 2, swing="101")
    archive = tmp_path / "sent.zip"
    with zipfile.ZipFile(archive, "w") as made:
        for path in sorted(tables.rglob("*")):
            made.write(path, f"wall/{path.relative_to(tables)}")

    with pytest.raises(
        hc.SurveyError, match=r"  views\.csv, row 2: swing = 101: must be a number from"
    ):
        hc.import_survey(archive, tmp_path / "kept.db")
    survey = hc.import_survey(archive, tmp_path / "kept.db", only_valid=True)

    assert survey.imported.to_correct.name == "sent.to-correct.xlsx"
    assert survey.imported.refused == 1


def test_an_unclear_cell_hides_no_other_fault_of_its_row(tables: Path) -> None:
    """A date that is asked and a word that is none stand in one row: both are told at once."""
    path = tables / "zones.csv"
    text = path.read_text("utf-8")
    first = text.splitlines()[1]
    path.write_text(
        text.replace(first, first.replace("2026-09-08", "3/4/2026").replace(",sound,", ",sond,")),
        "utf-8",
    )

    with pytest.raises(hc.SurveyError) as no:
        hc.import_survey(tables, tables.with_name("kept.db"))

    found = {(fault.field, fault.value) for fault in no.value.faults.itertuples()}
    assert found == {("surveyed_on", "3/4/2026"), ("condition", "sond")}
