"""Field sheets as workbooks: written, filled in and read back by way of real files."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from datetime import date, datetime, time
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from openpyxl import Workbook, load_workbook
from openpyxl.utils import get_column_letter
from tiers import some_of

import heritagecheck as hc
from heritagecheck import tables
from heritagecheck.errors import Fault, Fields
from heritagecheck.survey.checks.contradictions import contradictions
from heritagecheck.survey.exchange.archives import MOST_RATIO
from heritagecheck.survey.exchange.workbook import (
    workbook_rows,
    write_rows_to_correct,
    write_workbook,
)
from heritagecheck.survey.exchange.workbook.sheet import (
    BESIDE,
    FIRST_ROW,
    HOW_TO,
    LAST_ROW,
    QUESTIONS,
    REASONS,
    WORDS,
)
from heritagecheck.survey.exchange.workbook.write import ROWS_FREE
from heritagecheck.survey.places import whole
from heritagecheck.survey.records import LINKS, TABLES, Attachment, Reading, Zone
from heritagecheck.survey.records.fields import literal_choices, terms_of
from heritagecheck.survey.records.row_reading import RowsRead, read_rows

Records = dict[str, tuple[Any, ...]]
ZONE = {
    "zone": "Q1", "elevation": "north", "name": "Plinth", "area_m2": 4, "substrate": "granite",
    "finish": "sawn", "condition": "sound", "exposure": "exposed", "access": "ground",
    "significance": "low", "significance_reason": "A repair", "soilings": "general_soiling",
    "surveyed_on": date(2026, 5, 1), "surveyed_by": "conservator",
}  # fmt: skip


@pytest.fixture(scope="session")
def quillmere(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the whole example survey as field sheets, once."""
    path = tmp_path_factory.mktemp("sheets") / "quillmere.xlsx"
    return write_workbook(path, hc.demo_survey().records)


@pytest.fixture(scope="session")
def book(quillmere: Path) -> Workbook:
    """Open these sheets as a spreadsheet does."""
    return load_workbook(quillmere)


def read(path: Path) -> tuple[RowsRead, list[Fault]]:
    """Read a workbook as an import does: records, and faults with their columns."""
    faults: list[Fault] = []
    rows = workbook_rows(path, faults)
    found = read_rows(rows.raw, faults=faults)
    return found, list(rows.placed(found.faults))


def there_and_back(tmp_path: Path, records: Records) -> dict[str, tuple[Any, ...]]:
    """Write records and read them again, without a fault."""
    found, faults = read(write_workbook(tmp_path / "sheets.xlsx", records, rows_free=3))
    assert faults == []
    return found.records


def column(table: str, field: str) -> str:
    """Letter of a field's column."""
    return get_column_letter(list(TABLES[table].model_fields).index(field) + 1)


@cache
def empty_sheets() -> bytes:
    """Content of sheets with nothing in them yet, written once."""
    with TemporaryDirectory() as folder:
        return write_workbook(Path(folder) / "empty.xlsx", {}, rows_free=2).read_bytes()


def filled(path: Path, *changes: Callable[[Workbook], object]) -> Path:
    """Fill in empty sheets with what the changes say, as a spreadsheet would."""
    book = load_workbook(io.BytesIO(empty_sheets()))
    for change in changes:
        change(book)
    book.save(path)
    return path


def zone_row(row: int = FIRST_ROW, formats: dict[str, str] | None = None, **cells: Any) -> Any:
    """Give a change that fills in one zone."""

    def change(book: Workbook) -> None:
        for field, value in {**ZONE, **cells}.items():
            cell = book["zones"][f"{column('zones', field)}{row}"]
            if formats and field in formats:
                cell.number_format = formats[field]
            cell.value = value

    return change


def only_fault(path: Path) -> Fault:
    """Give the one fault of a workbook."""
    _, faults = read(path)
    assert len(faults) == 1, "\n".join(map(str, faults))
    return faults[0]


# -- There and back ----------------------------------------------------------------------------


def test_the_whole_example_comes_back_as_it_went(quillmere: Path) -> None:
    """Every record of every table is equal, and the survey is whole."""
    found, faults = read(quillmere)

    assert faults == []
    assert found.records == dict(hc.demo_survey().records)
    assert whole(found, folder=None).fingerprint == hc.demo_survey().fingerprint


@pytest.mark.long
def test_what_a_spreadsheet_saved_comes_back_too(quillmere: Path, tmp_path: Path) -> None:
    """Texts kept in one shared list, as spreadsheets do, are read as well."""
    path = tmp_path / "saved.xlsx"
    load_workbook(quillmere).save(path)
    found, faults = read(path)

    assert faults == []
    assert found.records == dict(hc.demo_survey().records)


ODD_TEXTS = (
    "=HYPERLINK(\"http://example.org\",\"look\")", "+1+1", "-5", "@SUM(A1)", "'=2+2", "''-1",
    "'twas dry", "#N/A", "0012", "1-2", "3/4", "TRUE", "אבן גיר 12", "حجر", "crust 🧱 black",
    "two\nlines", "map_x0120_y0340.tif", "_x005F_", "a_x000D_b", "» see note", "1,234",
)  # fmt: skip


@pytest.fixture(scope="module")
def odd(tmp_path_factory: pytest.TempPathFactory) -> tuple[Records, Workbook]:
    """Write a zone with each odd text, once; give what is read again and what the sheets hold."""
    folder = tmp_path_factory.mktemp("odd")
    zones = tuple(
        Zone.model_validate({**ZONE, "zone": f"Q{number}", "note": text})
        for number, text in enumerate(ODD_TEXTS)
    )
    return there_and_back(folder, {"zones": zones}), load_workbook(folder / "sheets.xlsx")


@pytest.mark.parametrize("text", ODD_TEXTS)
def test_odd_texts_come_back_as_they_went(odd: tuple[Records, Workbook], text: str) -> None:
    """Formula-like, right-to-left, emoji, escapes: a text is a text, and never a formula."""
    found, book = odd
    number = ODD_TEXTS.index(text)
    zone = Zone.model_validate({**ZONE, "zone": f"Q{number}", "note": text})
    cell = book["zones"][f"{column('zones', 'note')}{FIRST_ROW + number}"]

    assert len(found["zones"]) == len(ODD_TEXTS)
    assert found["zones"][number] == zone
    assert cell.data_type == "s"
    assert cell.number_format == "@"
    assert str(cell.value)[0] not in "=+-@"


@pytest.mark.parametrize("code", ["007", "1e5", "2026-05-01", "3.10", "+4", "=x"])
def test_codes_that_look_like_numbers_stay_codes(tmp_path: Path, code: str) -> None:
    """Leading noughts stay, and nothing turns into a number or a day."""
    zone = Zone.model_validate({**ZONE, "zone": code})

    assert there_and_back(tmp_path, {"zones": (zone,)})["zones"][0].zone == code


@pytest.mark.parametrize("area", [0.1 + 0.2, 1 / 3, 1e-7, 99_999.999999999, 4.0])
def test_every_digit_of_a_number_comes_back(tmp_path: Path, area: float) -> None:
    """No number is rounded on the way."""
    zone = Zone.model_validate({**ZONE, "area_m2": area})

    assert there_and_back(tmp_path, {"zones": (zone,)})["zones"][0].area_m2 == area


@pytest.mark.parametrize("day", [date(2026, 2, 28), date(1900, 2, 28), date(1887, 6, 1)])
def test_days_come_back_also_those_that_no_spreadsheet_counts(tmp_path: Path, day: date) -> None:
    """Days before March 1900 are written as text."""
    zone = Zone.model_validate({**ZONE, "surveyed_on": day})

    assert there_and_back(tmp_path, {"zones": (zone,)})["zones"][0].surveyed_on == day


def test_empty_sheets_read_as_no_rows(tmp_path: Path) -> None:
    """Nothing is prefilled, not even for zones without an answer."""
    zone = Zone.model_validate(ZONE)
    found = there_and_back(tmp_path, {"zones": (zone,)})

    assert {table for table, kept in found.items() if kept} == {"zones"}


def test_text_longer_than_a_cell_is_refused(tmp_path: Path) -> None:
    """A spreadsheet would cut it off without a word."""
    zone = Zone.model_validate(ZONE).changed(note="x" * 40_000)

    with pytest.raises(hc.SurveyError, match=r"zones: note = x+…: 40000 characters.*It is in Q1"):
        write_workbook(tmp_path / "sheets.xlsx", {"zones": (zone,)})
    assert not (tmp_path / "sheets.xlsx").exists()


def test_a_filled_in_workbook_is_never_written_over(quillmere: Path) -> None:
    """It may hold a day's work."""
    with pytest.raises(FileExistsError, match="Nothing was written"):
        write_workbook(quillmere, {})
    with pytest.raises(FileExistsError, match="name a new file"):
        write_rows_to_correct(quillmere, {}, [])


# -- The form ----------------------------------------------------------------------------------


def test_each_table_has_its_sheet_and_the_first_says_how(book: Workbook) -> None:
    """Words, questions and lists follow; only the lists are hidden."""
    titles = book.sheetnames

    assert titles[0] == HOW_TO
    assert [title for title in titles if title not in BESIDE] == list(TABLES)
    assert [title for title in titles if book[title].sheet_state != "visible"] == ["lists"]
    said = " ".join(str(cell.value) for row in book[HOW_TO].iter_rows() for cell in row)
    assert "nobody knows" in said
    assert "not_measured_because" in said


def test_properties_name_the_program_and_nobody(book: Workbook) -> None:
    """No person stands in the file."""
    assert book.properties.creator == "heritagecheck"
    assert book.properties.lastModifiedBy == "heritagecheck"


def test_help_stands_below_each_heading_and_both_stay_in_sight(book: Workbook) -> None:
    """Question, unit, limits and whether it is needed; codes stay in sight as well."""
    zones = book["zones"]
    area = zones[f"{column('zones', 'area_m2')}2"]

    assert zones["A1"].value == "zone"
    assert area.value == "» Area [m²]. A number above 0 to 100000. Needed."
    assert area.alignment.wrap_text
    assert zones.freeze_panes == "B3"
    assert book["views"].freeze_panes == "C3"


def test_headings_and_codes_are_locked_and_all_else_is_free(book: Workbook) -> None:
    """No password; rows below can be filled, inserted, filtered."""
    zones = book["zones"]
    last = FIRST_ROW + len(hc.demo_survey().zones) - 1

    assert zones.protection.sheet
    assert zones.protection.password is None
    assert not zones.protection.insertRows
    assert not zones.protection.autoFilter
    assert not zones.protection.formatColumns
    assert zones["A1"].protection.locked
    assert zones["C2"].protection.locked
    assert zones[f"A{last}"].protection.locked
    assert not zones[f"B{last}"].protection.locked
    assert not zones[f"A{last + 1}"].protection.locked
    assert zones.max_row == last + ROWS_FREE
    assert not zones.column_dimensions["A"].protection.locked


def test_cells_are_formatted_for_what_they_take(book: Workbook) -> None:
    """Text stays text, and days show year-month-day, in free rows and below them."""
    zones = book["zones"]
    day = column("zones", "surveyed_on")

    assert zones["A200"].number_format == "@"
    assert zones[f"{day}3"].number_format == "yyyy-mm-dd"
    assert zones[f"{day}3"].is_date
    assert zones.column_dimensions["A"].number_format == "@"
    assert zones.column_dimensions[day].number_format == "yyyy-mm-dd"


def rules_of(book: Workbook, table: str) -> dict[str, Any]:
    """Rules of a sheet by the letter of their column."""
    return {
        str(rule.sqref).split("3:", 1)[0]: rule
        for rule in book[table].data_validations.dataValidation
    }


def offered(book: Workbook, formula: str) -> tuple[str, ...]:
    """Words that a list offers, from its cells or as it says itself."""
    if formula.startswith('"'):
        return tuple(formula.strip('"').split(","))
    sheet, _, cells = formula.partition("!")
    return tuple(str(row[0].value) for row in book[sheet][cells.replace("$", "")])


CHOICES = [
    (table, field, tables.codes(terms_of(model, field))
     if terms_of(model, field) else literal_choices(model, field))
    for table, model in TABLES.items()
    for field in model.model_fields
    if terms_of(model, field) or literal_choices(model, field)
]  # fmt: skip


@pytest.mark.parametrize(("table", "field", "codes"), CHOICES, ids=lambda part: str(part)[:20])
def test_lists_offer_exactly_the_codes(
    book: Workbook, table: str, field: str, codes: tuple[str, ...]
) -> None:
    """Nothing else is taken, in any row."""
    rule = rules_of(book, table)[column(table, field)]

    assert rule.type == "list"
    assert offered(book, rule.formula1) == codes
    assert rule.errorStyle in {None, "stop"}
    assert str(rule.sqref).endswith(str(LAST_ROW))


def test_lists_of_codes_from_other_sheets_grow_with_them(book: Workbook) -> None:
    """A zone that is not there yet is warned of, not refused."""
    for table, links in LINKS.items():
        for field, other in links.items():
            rule = rules_of(book, table)[column(table, field)]

            assert rule.type == "list"
            assert rule.errorStyle == "warning"
            assert f"COUNTA({other}!$A$3:$A${LAST_ROW})" in rule.formula1


def test_each_topic_offers_its_own_findings(book: Workbook) -> None:
    """The list beside a topic is the part of the hidden sheet that belongs to it."""
    rule = rules_of(book, "observations")[column("observations", "finding")]
    pairs = [
        (topic.value, finding.value)
        for topic, finding in book["lists"]["J2:K400"]
        if topic.value is not None
    ]

    assert rule.formula1.startswith("OFFSET(lists!$K$1,MATCH($C3,lists!$J$2:$J$")
    assert pairs == [
        (row["topic"], finding)
        for row in tables.rows("topics")
        for finding in row["findings"].split("|")
    ]


def test_numbers_and_days_are_held_within_their_limits(book: Workbook) -> None:
    """The message says in words what is taken."""
    rules = rules_of(book, "zones")
    biotite = rules[column("zones", "biotite_pct")]
    letter = column("zones", "biotite_pct")
    day = rules[column("zones", "surveyed_on")]

    assert biotite.formula1 == f"AND(ISNUMBER({letter}3),{letter}3>=0,{letter}3<=100)"
    assert biotite.error == "A number from 0 to 100."
    assert "INT(" in rules[column("zones", "panels_laid")].formula1
    assert day.error == "A date written year-month-day, such as 2026-05-01."


def test_no_rule_is_longer_than_spreadsheets_take(book: Workbook) -> None:
    """A longer one makes the whole file look broken."""
    rules = [rule for table in TABLES for rule in rules_of(book, table).values()]

    assert rules
    assert all(len(rule.formula1) <= 255 for rule in rules)
    assert all(0 < len(rule.error) <= 225 for rule in rules)


def test_every_code_and_topic_is_explained(book: Workbook) -> None:
    """Whoever picks a word can look up what it means."""
    words = {row[1].value: row[3].value for row in book[WORDS].iter_rows(min_row=2)}
    questions = {row[0].value: row[2].value for row in book[QUESTIONS].iter_rows(min_row=2)}

    for name in ("substrates", "soilings", "exposure", "quantities"):
        assert all(words.get(code) for code in tables.codes(name)), name
    assert set(tables.codes("methods")) <= set(words)
    assert questions == {
        row["topic"]: row["findings"].replace("|", ", ") for row in tables.rows("topics")
    }


# -- What a spreadsheet's cells may hold -------------------------------------------------------


def test_a_zone_filled_in_by_hand_is_read(tmp_path: Path) -> None:
    """A day as the spreadsheet keeps it, a whole number as code, a decimal comma as text."""
    path = filled(
        tmp_path / "a.xlsx",
        zone_row(zone=12, area_m2="12,5", surveyed_on=datetime(2026, 5, 1), panels_laid=0.0),
        zone_row(4, {"zone": "0"}, zone=13.0, surveyed_on="1 May 2026", biotite_pct=" 9 "),
    )
    found, faults = read(path)

    assert faults == []
    first, second = found.records["zones"]
    assert (first.zone, first.area_m2, first.surveyed_on) == ("12", 12.5, date(2026, 5, 1))
    assert (second.zone, second.biotite_pct, second.surveyed_on) == ("13", 9, date(2026, 5, 1))
    assert first.panels_laid == 0
    assert found.numbers["zones"] == [3, 4]


def test_a_comma_is_decimal_where_the_sheet_shows_it(tmp_path: Path) -> None:
    """1,234 is asked about, unless another number of the sheet can't part thousands so."""
    asked = filled(tmp_path / "a.xlsx", zone_row(area_m2="1,234"))
    shown = filled(
        tmp_path / "b.xlsx", zone_row(area_m2="1,234"), zone_row(9, zone="Q2", biotite_pct="2,5")
    )
    found, faults = read(shown)

    assert "1.234 or 1234?" in only_fault(asked).allowed
    assert faults == []
    assert found.records["zones"][0].area_m2 == 1.234


CELLS = [
    ("area_m2", "=2*3", "=2*3", "formula"),
    ("note", "=A1", "=A1", "formula"),
    ("area_m2", "#N/A", "#N/A", "own error"),
    ("note", "#DIV/0!", "#DIV/0!", "own error"),
    ("note", True, "TRUE", "yes or no"),
    ("panels_laid", False, "FALSE", "yes or no"),
    ("note", 12.5, "12.5", "format the cell as text"),
    ("zone", 1e15, "1000000000000000", "format the cell as text"),
    ("note", datetime(2026, 5, 3), "2026-05-03", "format the cell as text"),
    ("area_m2", datetime(2026, 5, 3), "2026-05-03", "as a plain number"),
    ("area_m2", time(3, 30), "03:30:00", "as a plain number"),
    ("surveyed_on", datetime(2026, 5, 3, 14, 30), "2026-05-03 14:30:00", "time of day"),
    ("surveyed_on", time(3, 30), "03:30:00", "time of day"),
    ("next_access", "4/5/2026", "4/5/2026", "2026-04-05 or 2026-05-04"),
    ("next_access", "next spring", "next spring", "not a date; write year-month-day"),
    ("area_m2", "about 12", "about 12", "a number above 0"),
    ("area_m2", "1.234,5", "1.234,5", "a number above 0"),
    ("area_m2", 2e6, "2000000", "Was a decimal point lost"),
    ("area_m2", -1, "-1", "a number above 0"),
    ("panels_laid", 2.5, "2.5", "a whole number"),
    ("condition", "wet", "wet", "one of: sound"),
    ("substrate", "concrete", "concrete", "one of: granite"),
    ("soilings", "black_crust", "black_crust", "black_gypsum_crust"),
    ("name", None, "nothing", "some text"),
]


@pytest.mark.parametrize(("field", "value", "shown", "words"), some_of(CELLS, short=CELLS[::3]))
def test_a_cell_that_is_no_plain_value_is_named(
    tmp_path: Path, field: str, value: Any, shown: str, words: str
) -> None:
    """Sheet, row and column stand in the fault, with what came and what to do; nothing is taken."""
    found, faults = read(filled(tmp_path / "a.xlsx", zone_row(5, **{field: value})))
    [fault] = faults

    assert (fault.table, fault.row, fault.field) == ("zones", 5, field)
    assert fault.column == column("zones", field)
    assert fault.value.removesuffix(".0") == shown
    assert words in fault.allowed
    came = "is empty" if shown == "nothing" else "= "
    assert f"zones, row 5, column {fault.column}: {field} {came}" in str(fault)
    assert found.records["zones"] == ()


@pytest.mark.parametrize(
    ("field", "value", "number_format", "words"),
    [
        ("biotite_pct", 0.35, "0%", "stored as 0.35 and shown otherwise"),
        ("biotite_pct", 35, '0.0,"k"', "stored as 35 and shown otherwise"),
        ("surveyed_on", 46143, "General", "bare number"),
        ("zone", 12, "000", "leading zeros"),
    ],
)
def test_a_number_that_is_shown_otherwise_is_asked_about(
    tmp_path: Path, field: str, value: Any, number_format: str, words: str
) -> None:
    """Per cent, thousands, noughts, days without their format: who typed it saw another number."""
    path = filled(tmp_path / "a.xlsx", zone_row(3, {field: number_format}, **{field: value}))

    assert words in only_fault(path).allowed


def test_a_unit_in_the_format_does_no_harm(tmp_path: Path) -> None:
    """35 shown as 35 % stays 35."""
    path = filled(tmp_path / "a.xlsx", zone_row(3, {"biotite_pct": '0" %"'}, biotite_pct=35))

    assert read(path)[0].records["zones"][0].biotite_pct == 35


def test_days_counted_from_1904_are_the_same_days(tmp_path: Path) -> None:
    """Some spreadsheets count from another day."""
    book = Workbook()
    book.epoch = datetime(1904, 1, 1)
    sheet = book.active
    sheet.title = "zones"
    sheet.append(list(ZONE))
    sheet.append(list(ZONE.values()))
    book.save(tmp_path / "a.xlsx")
    found, faults = read(tmp_path / "a.xlsx")

    assert faults == []
    assert found.records["zones"][0].surveyed_on == date(2026, 5, 1)


# -- Sheets, headings, stray cells -------------------------------------------------------------


def edited(quillmere: Path, path: Path, change: Callable[[Workbook], object]) -> Path:
    """Save the example's field sheets with one change."""
    book = load_workbook(quillmere)
    change(book)
    book.save(path)
    return path


def test_a_sheet_of_someone_elses_is_named(tmp_path: Path) -> None:
    """What stands there would be lost; an empty sheet does no harm."""

    def change(book: Workbook) -> None:
        book.create_sheet("Sheet1")
        book.create_sheet("my notes")["C7"] = "look again at the plinth"

    fault = only_fault(filled(tmp_path / "a.xlsx", change))

    assert str(fault).startswith("my notes: this sheet does not belong to the survey")


def test_sheets_may_be_fewer_reordered_and_hidden(quillmere: Path, tmp_path: Path) -> None:
    """A missing table is left out; hidden rows, columns and sheets are read."""

    def change(book: Workbook) -> None:
        for title in [t for t in book.sheetnames if t not in {"zones", "layers", HOW_TO}]:
            del book[title]
        book.move_sheet("layers", -2)
        book["layers"].sheet_state = "hidden"
        book["layers"].title = "Layers "
        book["zones"].row_dimensions[4].hidden = True
        book["zones"].column_dimensions["D"].hidden = True

    path = edited(quillmere, tmp_path / "a.xlsx", change)
    found, faults = read(path)

    assert faults == []
    assert set(workbook_rows(path, []).raw) == {"zones", "layers"}
    assert found.records["zones"] == hc.demo_survey().records["zones"]
    assert found.records["layers"] == hc.demo_survey().records["layers"]


def test_columns_and_rows_may_stand_elsewhere(tmp_path: Path) -> None:
    """Columns in another order, an optional one missing, empty lines between."""
    book = Workbook()
    sheet = book.active
    sheet.title = "zones"
    fields = list(ZONE)[::-1]
    for row in ([], fields, [], [ZONE[field] for field in fields]):
        sheet.append(row)
    book.save(tmp_path / "a.xlsx")
    found, faults = read(tmp_path / "a.xlsx")

    assert faults == []
    assert found.records["zones"] == (Zone.model_validate(ZONE),)
    assert found.numbers["zones"] == [4]


@pytest.mark.parametrize(
    ("cell", "value", "told"),
    [
        (
            "D1",
            "area",
            "zones, row 1, column D: heading = area: unknown; did you mean area_m2? Allowed are",
        ),
        ("D1", None, "zones, row 1: heading = area_m2: this heading is missing"),
        ("T1", "zone", "zones, row 1, column T: heading = zone: this heading occurs twice"),
        ("T1", "colour", "zones, row 1, column T: heading = colour: unknown; did you mean"),
        ("Z7", "ask again", "zones, row 7, column Z: 'ask again' has no heading"),
        ("A900", "N01", "zones, row 900, column B: elevation is empty"),
    ],
)
def test_headings_and_stray_cells_are_named(
    tmp_path: Path, cell: str, value: str | None, told: str
) -> None:
    """Nothing is lost without a word, wherever it stands."""

    def change(book: Workbook) -> None:
        book["zones"][cell] = value

    _, faults = read(filled(tmp_path / "a.xlsx", zone_row(), change))

    assert any(str(fault).startswith(told) for fault in faults), "\n".join(map(str, faults[:9]))


def test_merged_cells_are_named(tmp_path: Path) -> None:
    """Their value stands in one cell and is meant for several."""
    path = filled(tmp_path / "a.xlsx", zone_row(), lambda book: book["zones"].merge_cells("N3:N5"))
    fault = only_fault(path)

    assert (fault.table, fault.row, fault.column, fault.value) == ("zones", 3, "N", "N3:N5")


def test_a_fault_between_records_finds_its_column(tmp_path: Path) -> None:
    """What the survey's own checks find is placed as well."""
    path = filled(tmp_path / "a.xlsx", zone_row(3), zone_row(4))
    rows = workbook_rows(path, [])
    found = read_rows(rows.raw, faults=[])
    told = rows.placed(contradictions(found.records, found.numbers, "", frozenset()))

    assert "zones, row 4, column A: zone = Q1: already given in row 3; each may occur once" in {
        str(fault) for fault in told
    }


def test_a_fault_of_several_fields_is_placed_at_the_first(tmp_path: Path) -> None:
    """Whoever gave the weight of a criterion twice finds the row by its member."""
    rows = workbook_rows(filled(tmp_path / "a.xlsx", zone_row()), [])
    pair = Fields("member", "criterion")
    (told,) = rows.placed([Fault("views", 4, pair, "engineer, fabric", "already given")])

    assert str(told) == (
        "views, row 4, column A: member and criterion = engineer, fabric: already given"
    )


# -- Files that are no workbooks ---------------------------------------------------------------


def locked_file() -> bytes:
    """Head of a workbook that is locked with a password."""
    return b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(64) + "EncryptedPackage".encode("utf-16-le")


def zipped(**parts: bytes) -> bytes:
    """Give an archive of these parts."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts.items():
            archive.writestr(name, part)
    return content.getvalue()


def bomb() -> bytes:
    """A small archive that unpacks to much."""
    return zipped(**{"[Content_Types].xml": b"", "xl/workbook.xml": bytes(64_000_000)})


NO_WORKBOOKS = [
    (b"zone,elevation\nN01,north\n", r"this is not a workbook \(\.xlsx\)"),
    (b"", r"this is not a workbook \(\.xlsx\)"),
    (locked_file(), "locked with a password: save it without one"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(64), r"old workbook \(\.xls\): save it as \.xlsx"),
    (zipped(mimetype=b"application/vnd.oasis.opendocument.spreadsheet"), r"save it as \.xlsx"),
    (zipped(**{"[Content_Types].xml": b"<oh dear"}), "this workbook is broken"),
    (bomb(), "unpacks to far more than a survey holds"),
]


@pytest.mark.parametrize(("content", "words"), NO_WORKBOOKS)
def test_what_is_no_workbook_is_refused(tmp_path: Path, content: bytes, words: str) -> None:
    """In plain words, with what to do."""
    path = tmp_path / "field.xlsx"
    path.write_bytes(content)

    with pytest.raises(hc.SurveyError, match=f"field.xlsx: .*{words}"):
        workbook_rows(path, [])


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    """Not as a fault of the program."""
    with pytest.raises(hc.SurveyError, match=r"none\.xlsx: there is no such file"):
        workbook_rows(tmp_path / "none.xlsx", [])


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b"<worksheet", b'<!DOCTYPE a [<!ENTITY b "c">]><worksheet'),
        (b"</row>", b"</wor>"),
    ],
)
def test_a_sheet_that_is_broken_or_sly_is_refused(
    quillmere: Path, tmp_path: Path, old: bytes, new: bytes
) -> None:
    """Entities, which may grow without end, are not followed."""
    path = tmp_path / "a.xlsx"
    with zipfile.ZipFile(quillmere) as source, zipfile.ZipFile(path, "w") as target:
        for name in source.namelist():
            part = source.read(name)
            last = name == "xl/worksheets/sheet4.xml"
            target.writestr(name, part.replace(old, new) if last else part)

    with pytest.raises(hc.SurveyError, match="is broken"):
        read(path)


def test_a_workbook_without_any_of_the_sheets_is_refused(tmp_path: Path) -> None:
    """An empty workbook is not an empty survey."""
    Workbook().save(tmp_path / "a.xlsx")

    assert "none of the sheets: structure" in only_fault(tmp_path / "a.xlsx").allowed


@pytest.mark.long
def test_a_large_workbook_is_no_bomb(tmp_path: Path) -> None:
    """Thousands of like rows pack well, and are read one after the other."""
    reading = next(r for r in hc.demo_survey().all(Reading))
    many = tuple(reading.model_copy(update={"reading": f"R{n}"}) for n in range(4000))
    path = write_workbook(tmp_path / "a.xlsx", {"readings": many})
    with zipfile.ZipFile(path) as archive:
        ratios = [part.file_size / part.compress_size for part in archive.infolist()]
    rows = iter(workbook_rows(path, []).raw["readings"])

    assert max(ratios) < MOST_RATIO / 5
    assert next(rows)[0] == FIRST_ROW
    assert sum(1 for _ in rows) == 3999


# -- Rows to correct ---------------------------------------------------------------------------


def corrections(tmp_path: Path) -> tuple[Path, list[Fault]]:
    """Give the rows to correct of a workbook with a good row and two bad ones."""
    path = filled(
        tmp_path / "a.xlsx",
        zone_row(3),
        zone_row(4, zone="Q2", condition="wet", area_m2="=2+3", note="'=not a formula"),
        zone_row(
            5, {"biotite_pct": "0%"}, zone="Q3", biotite_pct=0.35, surveyed_on=date(2026, 5, 2)
        ),
    )
    _, faults = read(path)
    general = Fault("views", None, "", "", "this table holds no row yet")
    return write_rows_to_correct(tmp_path / "b.xlsx", path, [*faults, general]), faults


def test_only_the_rows_with_faults_are_written_with_their_reasons(tmp_path: Path) -> None:
    """The reasons stand first, and the cells they speak of are marked."""
    path, faults = corrections(tmp_path)
    book = load_workbook(path)
    sheet = book["zones"]
    area = list(TABLES["zones"].model_fields).index("area_m2") + 2

    assert {fault.row for fault in faults} == {4, 5}
    assert book.sheetnames == [HOW_TO, "zones", "lists"]
    assert sheet["A1"].value == REASONS
    assert [sheet[f"B{row}"].value for row in (3, 4, 5)] == ["Q2", "Q3", None]
    assert "zones, row 4: area_m2 = =2+3: this is a formula" in sheet["A3"].value
    assert sheet.cell(3, area).border.top.style == "thick"
    assert sheet["B3"].border.top.style is None
    assert not sheet["B3"].protection.locked
    assert "views: this table holds no row yet" in {
        row[0].value for row in book[HOW_TO].iter_rows()
    }


def test_rows_to_correct_stay_refused_until_they_are_corrected(tmp_path: Path) -> None:
    """What was wrong is still wrong when it is read again as it is."""
    path, _ = corrections(tmp_path)
    found, faults = read(path)

    assert found.records["zones"] == ()
    assert {(fault.row, fault.field) for fault in faults} == {
        (3, "area_m2"), (3, "condition"), (4, "biotite_pct"),
    }  # fmt: skip


def test_corrected_rows_are_read(tmp_path: Path) -> None:
    """The column of reasons is passed over, and all else in the row is as it was."""
    path, _ = corrections(tmp_path)
    book = load_workbook(path)
    sheet = book["zones"]
    place = {cell.value: cell.column for cell in sheet[1]}
    sheet.cell(3, place["condition"]).value = "friable"
    sheet.cell(3, place["area_m2"]).value = 5
    sheet.cell(4, place["biotite_pct"]).value = 35
    sheet.cell(4, place["biotite_pct"]).number_format = "General"
    book.save(path)
    found, faults = read(path)

    assert faults == []
    assert [zone.zone for zone in found.records["zones"]] == ["Q2", "Q3"]
    assert found.records["zones"][0].note == "=not a formula"
    assert found.records["zones"][1].surveyed_on == date(2026, 5, 2)


def test_rows_of_csv_tables_can_be_corrected_too(tmp_path: Path) -> None:
    """Cells are written as they were read; faults may name the table as a file."""
    cells = {"zones": {7: {**{k: str(v) for k, v in ZONE.items()}, "area_m2": "1,234",
                           "note": "'=guarded"}}}  # fmt: skip
    fault = Fault("zones.csv", 7, "area_m2", "1,234", "1.234 or 1234? Write it without a comma")
    path = write_rows_to_correct(tmp_path / "b.xlsx", cells, [fault])
    _, faults = read(path)
    book = load_workbook(path)
    note = book["zones"].cell(3, list(TABLES["zones"].model_fields).index("note") + 2)
    book["zones"].cell(3, list(TABLES["zones"].model_fields).index("area_m2") + 2).value = 1.234
    book.save(path)

    assert [fault.field for fault in faults] == ["area_m2"]
    assert (note.value, note.data_type) == ("'=guarded", "s")
    assert read(path)[0].records["zones"] == (
        Zone.model_validate({**ZONE, "area_m2": 1.234, "note": "=guarded"}),
    )


def test_what_no_cell_can_show_stays_refused(tmp_path: Path) -> None:
    """A control sign in a CSV table becomes an error, and its fault can still be read."""
    cells = {"zones": {2: {**{k: str(v) for k, v in ZONE.items()}, "name": "Plin\x07th"}}}
    fault = Fault("zones.csv", 2, "name", "Plin\x07th", "must not contain a character")
    _, faults = read(write_rows_to_correct(tmp_path / "b.xlsx", cells, [fault]))

    assert [(fault.field, fault.value) for fault in faults] == [("name", "#VALUE!")]


def test_attachments_keep_their_sums(tmp_path: Path) -> None:
    """Sixty-four digits stay sixty-four digits."""
    kept = Attachment(
        attachment="A1", kind="photograph", file="photographs/q1.jpg", sha256="0" * 63 + "1",
        bytes=10_000_000_000,
    )  # fmt: skip

    assert there_and_back(tmp_path, {"attachments": (kept,)})["attachments"] == (kept,)
