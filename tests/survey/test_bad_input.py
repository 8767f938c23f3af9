"""Survey folders with something wrong: refused whole, every fault named; and odd ones that work."""

from __future__ import annotations

import csv
import io
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

import heritagecheck as hc
from heritagecheck.survey.exchange import csv_tables
from heritagecheck.survey.exchange.package import exported
from heritagecheck.survey.records import TABLES, row_reading

QUILLMERE = Path(__file__).parents[2] / "data" / "quillmere"
LATER = [
    "tile_readings", "spots", "section_readings", "attachments", "height_maps", "photos",
    "meetings", "opinions",
    "decisions", "open_questions", "signatures",
]  # fmt: skip
COLUMNS = ["table", "row", "field", "value", "allowed", "column"]
Edit = Callable[[list[dict[str, str]]], object]


@pytest.fixture(scope="module")
def part(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the first zones of the example, and two more with what they lack; tables only."""
    whole = hc.demo_survey()
    zones = {one.zone for one in whole.records["zones"][:12]} | {"N15", "E04"}
    records = {
        table: tuple(one for one in found if getattr(one, "zone", None) in {None, *zones})
        for table, found in whole.records.items()
    }
    made = exported(records, whole.file, tmp_path_factory.mktemp("part") / "quillmere")
    for one in [*made.iterdir()]:
        if one.is_dir():
            shutil.rmtree(one)
        elif one.suffix != ".csv":
            one.unlink()
    assert all((made / f"{table}.csv").stat().st_size for table in TABLES)
    return made


@pytest.fixture
def folder(part: Path, tmp_path: Path) -> Path:
    """Give a copy of one's own."""
    return Path(shutil.copytree(part, tmp_path / "quillmere"))


@pytest.fixture
def example(tmp_path: Path) -> Path:
    """Give a copy of the whole example survey, tables only."""
    copy = tmp_path / "example"
    copy.mkdir()
    for table in TABLES:
        shutil.copy(QUILLMERE / f"{table}.csv", copy)
    return copy


def read(folder: Path, table: str) -> list[dict[str, str]]:
    """Rows of one table, as text."""
    with (folder / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def write(folder: Path, table: str, rows: list[dict[str, str]], delimiter: str = ",") -> None:
    """Write rows over one table; where there are none, its headings alone."""
    headings = list(rows[0] if rows else TABLES[table].model_fields)
    with (folder / f"{table}.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, headings, delimiter=delimiter, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def edit(folder: Path, table: str, row: int, **cells: str) -> None:
    """Change cells of one row, counted as a spreadsheet shows it."""
    rows = read(folder, table)
    rows[row - 2] |= cells
    write(folder, table, rows)


def text_of(folder: Path, table: str) -> str:
    """Text of one table."""
    return (folder / f"{table}.csv").read_text(encoding="utf-8")


def set_text(folder: Path, table: str, text: str, encoding: str = "utf-8") -> None:
    """Write a text over one table, byte for byte."""
    (folder / f"{table}.csv").write_bytes(text.encode(encoding))


def refused(folder: Path) -> hc.SurveyError:
    """Give the error with which a folder is refused."""
    with pytest.raises(hc.SurveyError, match=r"to correct\. Nothing was read\.") as caught:
        hc.open_survey(folder)
    return caught.value


def only_fault(folder: Path) -> dict[str, object]:
    """Give the one fault of a folder."""
    found = refused(folder).faults
    assert list(found.columns) == COLUMNS
    assert len(found) == 1, found.to_string()
    return found.iloc[0].to_dict()


def same(survey: object, other: object) -> bool:
    """Whether two surveys hold equal records."""
    return dict(survey.records) == dict(other.records)


# -- One thing wrong ----------------------------------------------------------------------------


def test_a_missing_table_is_named(folder: Path) -> None:
    """A survey lacks a table: which, and in which folder."""
    (folder / "layers.csv").unlink()

    fault = only_fault(folder)

    assert fault["table"] == "layers.csv"
    assert str(folder) in fault["allowed"]


def test_an_unknown_term_is_named_with_those_allowed(folder: Path) -> None:
    """A substrate nobody knows: the row, the word that came, and the list."""
    edit(folder, "zones", 5, substrate="granit")

    error = refused(folder)

    fault = error.faults.query("field == 'substrate'").iloc[0]
    assert (fault["table"], fault["row"], fault["value"]) == ("zones.csv", 5, "granit")
    assert "granite_polished" in fault["allowed"]
    assert "zones.csv, row 5: substrate = granit: must be one of: granite, " in str(error)


def test_an_unknown_soiling_is_named_with_those_allowed(folder: Path) -> None:
    """The list of soilings is a list of codes as well: what is allowed is said there too."""
    edit(folder, "zones", 5, soilings="black_crust")

    fault = refused(folder).faults.query("field == 'soilings'").iloc[0]

    assert fault["value"] == "black_crust"
    assert "black_gypsum_crust" in fault["allowed"]


def test_a_lost_decimal_point_is_suspected(folder: Path) -> None:
    """L* = 1324 lies outside 0 to 100: the likely slip is named."""
    row = next(
        number for number, row in enumerate(read(folder, "readings"), start=2) if row["L_star"]
    )
    edit(folder, "readings", row, L_star="1324")

    fault = only_fault(folder)

    assert fault == {
        "table": "readings.csv", "row": row, "field": "L_star", "value": "1324",
        "allowed": "must be a number from 0 to 100. Was a decimal point lost?",
        "column": "",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("table", "cells", "told"),
    [
        ("observations", {"seen_on": "31.02.2025"}, "not a date: 31 February 2025 does not exist"),
        ("observations", {"seen_on": "soon"}, "not a date; write year-month-day"),
        ("zones", {"area_m2": "-1"}, "area_m2 = -1: must be a number above 0 to 100000\n"),
        ("panels", {"x50_fields": "25", "damaged_fields": "99"},
         "x50_fields = 25: damaged_fields = 99 is more than this; correct one of them"),
    ],
)  # fmt: skip
def test_a_value_that_cannot_be_is_told_with_its_reason(
    folder: Path, table: str, cells: dict[str, str], told: str
) -> None:
    """A day that no month has, a number below 0, and more damaged fields than were read."""
    edit(folder, table, 2, **cells)

    assert told in f"{refused(folder)}\n"


def test_reading_without_its_state_is_refused_unless_nothing_was_read(folder: Path) -> None:
    """Wet stone is darker: whether it was dry is required of a reading, and only of one."""
    row = next(
        number for number, row in enumerate(read(folder, "readings"), start=2) if row["L_star"]
    )
    edit(folder, "readings", row, state="")

    with pytest.raises(hc.SurveyError, match="state is empty: write dry, damp or wet for what"):
        hc.open_survey(folder)


def test_what_follows_from_a_zone_that_lacks_its_row_is_told_once_a_table(folder: Path) -> None:
    """A code given twice is named first; each table then says once how many rows need the other."""
    zones = read(folder, "zones")
    edit(folder, "zones", 2, zone=zones[1]["zone"])
    lost = zones[0]["zone"]

    error = refused(folder)

    lines = str(error).splitlines()[1:]
    count = sum(row["zone"] == lost for row in read(folder, "observations"))
    assert "zones.csv, row 3: zone" in lines[0]
    [told] = [line for line in lines if line.startswith("  observations.csv") and lost in line]
    assert f"zone, {count} cells such as {lost} in row" in told
    assert f"no zone {lost} in zones.csv. Known: " in told


@pytest.mark.parametrize("table", ["layers", "observations", "readings", "site_tests", "panels"])
def test_a_record_of_a_zone_that_is_not_there_is_named(folder: Path, table: str) -> None:
    """A record names zone X99: the row, the name, and some that are known."""
    edit(folder, table, 2, zone="X99")

    found = refused(folder).faults

    fault = found[(found["field"] == "zone") & (found["value"] == "X99")].iloc[0]
    assert (fault["table"], fault["row"]) == (f"{table}.csv", 2)
    assert "Known: " in fault["allowed"]
    assert "N01" in str(found["allowed"].to_list()) or "C01" in fault["allowed"]


@pytest.mark.parametrize(
    ("table", "key"),
    [("zones", "zone"), ("layers", "layer"), ("observations", "observation"),
     ("readings", "reading"), ("site_tests", "site_test"), ("panels", "panel"),
     ("elevations", "elevation")],
)  # fmt: skip
def test_a_code_given_twice_is_named_with_both_rows(folder: Path, table: str, key: str) -> None:
    """Two records bear the same code: both rows are named."""
    first = read(folder, table)[0][key]
    edit(folder, table, 3, **{key: first})

    found = refused(folder).faults

    fault = found[(found["field"] == key) & (found["table"] == f"{table}.csv")].iloc[0]
    assert (fault["row"], fault["value"]) == (3, first)
    assert fault["allowed"] == "already given in row 2; each may occur once"


@pytest.mark.parametrize("data", [b"", b"\n\n", b"  \r\n", b"\xef\xbb\xbf", b"\xef\xbb\xbf\r\n"])
def test_an_empty_file_is_called_empty(folder: Path, data: bytes) -> None:
    """Nothing, blank lines, or the mark of UTF-8 alone are an empty file."""
    (folder / "panels.csv").write_bytes(data)

    found = refused(folder).faults

    fault = found[found["table"] == "panels.csv"].iloc[0]
    assert "empty" in fault["allowed"]


def test_a_file_of_separators_alone_is_refused(folder: Path) -> None:
    """A sheet whose cells are all empty holds no heading, and is no panels table."""
    set_text(folder, "panels", ",,,,\n,,,,\n")

    found = refused(folder).faults

    assert "panels.csv" in set(found["table"])


def test_a_table_with_headings_alone_is_refused(folder: Path) -> None:
    """Headings without zones are refused; panels there may be none."""
    set_text(folder, "zones", text_of(folder, "zones").split("\n")[0] + "\n")

    found = refused(folder).faults

    fault = found[found["table"] == "zones.csv"].iloc[0]
    assert fault["allowed"] == "this table holds no row yet; write the first below its headings"


def test_a_quoted_decimal_comma_in_a_comma_file_is_refused(folder: Path) -> None:
    """Between quotes 12,5 is a number to a German reader and none to a machine."""
    edit(folder, "zones", 4, area_m2="12,5")
    assert '"12,5"' in text_of(folder, "zones")

    fault = refused(folder).faults.query("field == 'area_m2'").iloc[0]

    assert (fault["table"], fault["row"], fault["value"]) == ("zones.csv", 4, "12,5")
    assert fault["allowed"].endswith("Write a decimal point here")


def test_an_unquoted_decimal_comma_in_a_comma_file_is_refused(folder: Path) -> None:
    """12,5 without quotes makes one cell too many: never shifted cells, never half a row."""
    lines = text_of(folder, "zones").split("\n")
    area = read(folder, "zones")[2]["area_m2"]
    lines[3] = lines[3].replace(f",{area},", ",12,5,")
    set_text(folder, "zones", "\n".join(lines))

    found = refused(folder).faults

    fault = found[found["table"] == "zones.csv"].iloc[0]
    assert fault["row"] == 4
    assert "Look for a decimal comma or an extra separator" in fault["allowed"]


@pytest.mark.parametrize("value", ["1,234", "1,234.5", "1.234,5", "1 234", "1'234", "1_234"])
def test_a_thousands_separator_in_a_comma_file_is_refused(folder: Path, value: str) -> None:
    """No separator of thousands is guessed at."""
    edit(folder, "zones", 4, area_m2=value)

    fault = refused(folder).faults.query("field == 'area_m2'").iloc[0]

    assert (fault["row"], fault["value"]) == (4, value)


@pytest.mark.parametrize("value", ["1.234,5", "1,234.5", "1 234,5", "1,234,567"])
def test_a_thousands_separator_in_a_semicolon_file_is_refused(folder: Path, value: str) -> None:
    """Where commas are decimal, a second sign in a number is not guessed at."""
    rows = read(folder, "zones")
    rows[2]["area_m2"] = value
    write(folder, "zones", rows, delimiter=";")

    fault = refused(folder).faults.query("field == 'area_m2'").iloc[0]

    assert (fault["row"], fault["value"]) == (4, value)


@pytest.mark.parametrize(
    "value",
    ["yesterday", "2026-13-01", "46143", "0", "86400", "31.6.2026", "30/2/2026", "1.5.26",
     "31 June 2026", "1 Mai 2026", "May 2026", "2026-05-01T10:00", "1.5/2026", "20260501"],
)  # fmt: skip
def test_a_date_that_is_none_is_refused(folder: Path, value: str) -> None:
    """A date is written year-month-day; a number of days or seconds is none."""
    edit(folder, "observations", 2, seen_on=value)

    fault = refused(folder).faults.query("field == 'seen_on'").iloc[0]

    assert fault["value"] == value
    assert fault["allowed"].startswith(("not a date; write year-month-day", "not a date: 3"))


@pytest.mark.parametrize(
    ("value", "one", "other"),
    [("3/4/2026", "2026-03-04", "2026-04-03"), ("03.04.2026", "2026-03-04", "2026-04-03"),
     ("1-5-2026", "2026-01-05", "2026-05-01"), ("12/11/2026", "2026-11-12", "2026-12-11")],
)  # fmt: skip
def test_a_date_that_may_be_two_days_is_asked_about(
    folder: Path, value: str, one: str, other: str
) -> None:
    """Both days are named; which was meant only the surveyor knows."""
    edit(folder, "observations", 2, seen_on=value)

    fault = only_fault(folder)

    assert (fault["table"], fault["row"], fault["field"]) == ("observations.csv", 2, "seen_on")
    assert fault["value"] == value
    assert fault["allowed"] == (f"{one} or {other}? Write it year-month-day, as one of these two")


@pytest.mark.parametrize("delimiter", [";", "\t"], ids=["semicolons", "tabs"])
@pytest.mark.parametrize("value", ["1,234", "-12,500", "+1,000"])
def test_a_comma_that_may_part_thousands_is_asked_about(
    folder: Path, value: str, delimiter: str
) -> None:
    """No other number of the table shows what its commas are: both readings are named."""
    rows = read(folder, "tile_readings")
    rows[3]["b_star"] = value
    write(folder, "tile_readings", rows, delimiter)

    fault = only_fault(folder)

    assert (fault["table"], fault["row"], fault["field"]) == ("tile_readings.csv", 5, "b_star")
    assert fault["allowed"] == (
        f"{value.replace(',', '.')} or {value.replace(',', '')}? Write it without a comma"
    )


@pytest.mark.parametrize("sign", ["\x07", "\x1b", "\x7f", "\ufffe"])
def test_a_sign_that_cannot_be_printed_is_refused(folder: Path, sign: str) -> None:
    """What no form shows would be kept unseen, in a text as in a number."""
    edit(folder, "zones", 4, name=f"Plin{sign}th", area_m2=f"1{sign}2")

    found = refused(folder).faults

    assert found[["row", "field"]].to_numpy().tolist() == [[4, "name"], [4, "area_m2"]]
    assert (found["allowed"] == "must not contain characters that can't be printed").all()


@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "1e400"])
def test_a_number_that_is_none_is_refused(folder: Path, value: str) -> None:
    """Infinite and undefined numbers are no area."""
    edit(folder, "zones", 2, area_m2=value)

    fault = refused(folder).faults.query("field == 'area_m2'").iloc[0]

    assert (fault["row"], fault["value"]) == (2, value)


def test_a_required_cell_left_empty_is_refused(folder: Path) -> None:
    """Nothing is not a condition: an empty cell is never filled in."""
    edit(folder, "zones", 2, condition="")

    fault = refused(folder).faults.query("field == 'condition'").iloc[0]

    assert fault["value"] == "nothing"
    assert fault["allowed"].startswith("must be one of: sound, ")


def test_a_binary_file_is_refused(folder: Path) -> None:
    """A workbook saved under the name of a table is no table."""
    (folder / "panels.csv").write_bytes(b"PK\x03\x04\x14\x00\x06\x00\x08\x00\x00\x00!\x00")

    found = refused(folder).faults

    assert "binary" in found[found["table"] == "panels.csv"].iloc[0]["allowed"]


@pytest.mark.parametrize(
    "text",
    [
        "Dear colleague,\nthe panels follow next week.\n",
        '{"panels": []}\n',
        '"panel,zone\nP1,N01\n',
    ],
    ids=["a letter", "JSON", "an open quote"],
)
def test_a_text_that_is_no_table_is_refused(folder: Path, text: str) -> None:
    """A letter, another format or an open quote is not read as if it were panels."""
    set_text(folder, "panels", text)

    found = refused(folder).faults

    fault = found[found["table"] == "panels.csv"].iloc[0]
    assert re.search("this is not the table panels|this is not a CSV table", fault["allowed"])


def test_a_missing_heading_is_named(folder: Path) -> None:
    """A column that every zone needs is not there."""
    rows = [
        {name: cell for name, cell in row.items() if name != "condition"}
        for row in read(folder, "zones")
    ]
    write(folder, "zones", rows)

    fault = only_fault(folder)

    assert fault["table"] == "zones.csv"
    assert (fault["field"], fault["value"]) == ("heading", "condition")
    assert "missing" in fault["allowed"]


def test_an_optional_column_may_be_left_out(folder: Path) -> None:
    """Nobody wrote notes: the survey is read all the same."""
    rows = [
        {name: cell for name, cell in row.items() if name != "note"}
        for row in read(folder, "zones")
    ]
    write(folder, "zones", rows)

    assert hc.open_survey(folder).zones["note"].isna().all()


def test_an_unknown_heading_is_named(folder: Path) -> None:
    """A heading with a slip of the pen is never silently dropped."""
    set_text(folder, "zones", text_of(folder, "zones").replace("biotite_pct", "biotit_pct", 1))

    fault = only_fault(folder)

    assert (fault["field"], fault["value"], fault["row"]) == ("heading", "biotit_pct", 1)
    assert "biotite_pct" in fault["allowed"]


def test_a_heading_given_twice_is_named(folder: Path) -> None:
    """Which of two columns would count? Neither."""
    set_text(folder, "zones", text_of(folder, "zones").replace("note", "zone", 1))

    found = refused(folder).faults

    assert found["allowed"].to_list() == ["this heading occurs twice"]
    assert found["value"].to_list() == ["zone"]


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    """The folder isn't there, or is a file."""
    (tmp_path / "file.csv").write_text("zone\n")

    for name in ("nowhere", "file.csv"):
        fault = only_fault(tmp_path / name)
        assert fault["table"].endswith(name)

    assert only_fault(tmp_path / "nowhere")["allowed"] == "there is no such folder"
    assert "a survey is a folder of tables or a database" in fault["allowed"]


@pytest.mark.parametrize("name", ["height_map.csv", "Height_Maps.csv", "height-maps.csv"])
def test_a_file_that_nearly_bears_the_name_of_a_table_is_not_passed_over(
    folder: Path, name: str
) -> None:
    """A table that may be missing would be lost without a word; other files may lie there."""
    (folder / "height_maps.csv").rename(folder / name)
    (folder / "spots_old.csv").write_text("notes", encoding="utf-8")

    found = refused(folder).faults

    assert set(found["table"]) == {name}
    assert "no table has this name. Is it height_maps.csv?" in found["allowed"].iloc[0]


@pytest.mark.parametrize("table", LATER)
def test_a_table_that_the_description_names_is_missed(folder: Path, table: str) -> None:
    """Where the package says that there is one, it was lost on the way."""
    shutil.copy(QUILLMERE / "datapackage.json", folder)
    (folder / f"{table}.csv").unlink()

    found = refused(folder).faults

    assert f"{table}.csv" in set(found["table"])
    assert f"this table is missing from {folder}" in set(found["allowed"])


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", "{}", "7", '{"resources": 3}', '{"resources": ["zones"]}',
     '{"resources": [{"path": "zones.csv"}]}', '{"resources": null}', "\xff"],
)  # fmt: skip
def test_a_description_that_describes_nothing_is_refused(folder: Path, text: str) -> None:
    """Nobody can tell any more which tables belong to the survey."""
    (folder / "datapackage.json").write_text(text, encoding="latin-1")

    fault = only_fault(folder)

    assert fault["table"] == "datapackage.json"
    assert fault["allowed"].startswith("this does not describe a data package: ")


def test_a_zone_that_is_not_there_cannot_be_assessed() -> None:
    """hc.assess(zones=["X99"]) names the zone and those there are."""
    with pytest.raises(hc.SurveyError, match=r"zone = X99: there is none. Known: N01, ") as caught:
        hc.assess(hc.demo_survey(), zones=["N01", "X99"])

    assert caught.value.faults["value"].to_list() == ["X99"]


def test_a_policy_looser_for_higher_significance_is_refused_on_reading(folder: Path) -> None:
    """A margin or cap that would ask less where more is at stake is a fault of the table."""
    edit(folder, "policy", 2, margin_high="1.1")

    found = refused(folder).faults

    assert found["table"].to_list() == ["policy.csv"]
    assert "margin" in found["field"].iloc[0] + found["allowed"].iloc[0]


def test_a_test_on_a_panel_of_another_zone_is_refused(example: Path) -> None:
    """A site test says zone and panel: the panel must lie on that zone."""
    rows = read(example, "site_tests")
    row = next(number for number, row in enumerate(rows, start=2) if row["panel"])
    name = rows[row - 2]["set_name"]
    other = next(
        zone["zone"] for zone in read(example, "zones") if zone["zone"] != rows[row - 2]["zone"]
    )
    for item in rows:
        if item["set_name"] == name:
            item["zone"] = other
    write(example, "site_tests", rows)

    found = refused(example).faults

    assert set(found["table"]) == {"site_tests.csv"}


# -- Several things wrong -----------------------------------------------------------------------


def test_all_faults_of_all_tables_come_at_once(folder: Path) -> None:
    """One look shows everything there is to correct, in the order of tables and rows."""
    edit(folder, "zones", 3, significance="very high")
    edit(folder, "zones", 7, area_m2="-2")
    edit(folder, "observations", 12, finding="perhaps")
    edit(folder, "panels", 2, residual_pct="140")
    (folder / "layers.csv").unlink()

    error = refused(folder)

    found = error.faults
    assert list(found.columns) == COLUMNS
    places = set(
        zip(found["table"], found["row"].fillna(0).astype(int), found["field"], strict=True)
    )
    assert places >= {
        ("zones.csv", 3, "significance"), ("zones.csv", 7, "area_m2"),
        ("observations.csv", 12, "finding"), ("panels.csv", 2, "residual_pct"),
        ("layers.csv", 0, ""),
    }  # fmt: skip
    assert str(error).startswith(f"{len(found)} things to correct. Nothing was read.\n")
    named = [name.removesuffix(".csv") for name in found["table"]]
    assert named == sorted(named, key=list(TABLES).index)  # a wrong zone before what names it


def test_a_fault_of_one_row_is_not_echoed_by_every_row_that_names_it(folder: Path) -> None:
    """Records of a zone whose own row is wrong are not called loose as well."""
    edit(folder, "zones", 3, area_m2="0")

    assert only_fault(folder)["field"] == "area_m2"


def test_rows_are_counted_as_a_spreadsheet_shows_them(folder: Path) -> None:
    """A row with a loose separator does not shift the numbers of those below it."""
    edit(folder, "zones", 10, substrate="granit")
    lines = text_of(folder, "zones").split("\n")
    lines[2] += ",loose"
    set_text(folder, "zones", "\n".join(lines))

    found = refused(folder).faults

    assert found[found["table"] == "zones.csv"]["row"].to_list() == [3, 10]


def test_blank_lines_do_not_shift_the_numbers_of_rows(folder: Path) -> None:
    """A line left blank still counts as a row of the spreadsheet."""
    edit(folder, "zones", 9, substrate="granit")
    lines = text_of(folder, "zones").split("\n")
    lines.insert(3, "")
    set_text(folder, "zones", "\n".join(lines))

    assert only_fault(folder)["row"] == 10


def test_nothing_is_half_read(folder: Path) -> None:
    """One bad cell in the last table: no survey comes back, and the folder is as it was."""
    edit(folder, "views", 2, swing="101")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    survey = None

    with pytest.raises(hc.SurveyError, match=r"views.csv, row 2: swing = 101"):
        survey = hc.open_survey(folder)

    assert survey is None
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


# -- Odd, and read all the same -----------------------------------------------------------------


def test_the_copy_is_read_as_the_original(example: Path) -> None:
    """The ground of this file: tables alone make the survey."""
    assert same(hc.open_survey(example), hc.demo_survey())


@pytest.mark.parametrize(
    "change",
    [
        lambda text: "\ufeff" + text,
        lambda text: text.replace("\n", "\r\n"),
        lambda text: "\ufeff" + text.replace("\n", "\r\n"),
        lambda text: text.replace("\n", "\r"),
        lambda text: text.rstrip("\n"),
        lambda text: text + "\n\n",
    ],
    ids=["BOM", "CRLF", "BOM and CRLF", "CR", "no last line end", "blank lines at the end"],
)
def test_marks_and_line_ends_make_no_difference(example: Path, change: Callable) -> None:
    """Every table as another program saves it: the same survey."""
    for table in TABLES:
        set_text(example, table, change(text_of(example, table)))

    assert same(hc.open_survey(example), hc.demo_survey())


def numbers_with_comma(table: str, rows: list[dict[str, str]]) -> list[dict[str, str]]:
    """Write every decimal number of a table with a comma."""
    fields = [
        name
        for name, field in TABLES[table].model_fields.items()
        if "float" in str(field.annotation)
    ]
    return [
        row | {name: row[name].replace(".", ",") for name in fields if row.get(name)}
        for row in rows
    ]  # fmt: skip


@pytest.mark.parametrize("delimiter", [";", "\t"], ids=["semicolons", "tabs"])
def test_a_file_with_decimal_commas_is_read_where_commas_do_not_part_cells(
    example: Path, delimiter: str
) -> None:
    """As a spreadsheet of many countries saves it: equal records."""
    for table in TABLES:
        write(example, table, numbers_with_comma(table, read(example, table)), delimiter)
    assert re.search(r"\d,\d", text_of(example, "readings"))

    assert same(hc.open_survey(example), hc.demo_survey())


@pytest.mark.parametrize("delimiter", [";", "\t"], ids=["semicolons", "tabs"])
def test_a_file_with_other_separators_and_decimal_points_is_read(
    example: Path, delimiter: str
) -> None:
    """Separators and decimal signs are two questions."""
    for table in TABLES:
        write(example, table, read(example, table), delimiter)

    assert same(hc.open_survey(example), hc.demo_survey())


@pytest.mark.parametrize(
    ("value", "day"),
    [("13/5/2026", "2026-05-13"), ("5/13/2026", "2026-05-13"), ("13.05.2026", "2026-05-13"),
     ("2026/5/1", "2026-05-01"), ("2026.05.01", "2026-05-01"), ("5.5.2026", "2026-05-05"),
     ("1 May 2026", "2026-05-01"), ("1. May 2026", "2026-05-01"), ("May 1, 2026", "2026-05-01"),
     ("9 sept 2026", "2026-09-09"), ("9 Sep 2026", "2026-09-09"), ("2026-05-01", "2026-05-01")],
)  # fmt: skip
def test_a_date_that_can_be_but_one_day_is_taken(folder: Path, value: str, day: str) -> None:
    """No month has 13, a year stands first or last, a month is a word, or both are the same."""
    edit(folder, "observations", 2, seen_on=value)

    assert str(hc.open_survey(folder).observations["seen_on"].iloc[0]) == day


@pytest.mark.parametrize("delimiter", [";", "\t"], ids=["semicolons", "tabs"])
def test_a_comma_is_decimal_where_another_number_shows_it(folder: Path, delimiter: str) -> None:
    """12,5 can't part thousands: so 1,234 in the same table is a little more than one."""
    rows = read(folder, "tile_readings")
    rows[3]["b_star"], rows[4]["minutes"] = "1,234", "12,5"
    write(folder, "tile_readings", rows, delimiter)

    found = hc.open_survey(folder).tile_readings

    assert found["b_star"].iloc[3] == 1.234
    assert found["minutes"].iloc[4] == 12.5


@pytest.mark.parametrize("value", ["-0", "-0.0", "-0.00e5", "0"])
def test_a_zero_has_no_sign(folder: Path, value: str) -> None:
    """-0.0 is 0: a database gives it back so, and every sum over the records stays the same."""
    edit(folder, "tile_readings", 2, b_star=value)

    assert str(hc.open_survey(folder).tile_readings["b_star"].iloc[0]) == "0.0"


def test_a_table_that_came_later_may_be_missing(folder: Path) -> None:
    """Tables of before white tile, spots and attachments are still read."""
    before = hc.open_survey(folder).records
    readings = [
        row | {"session": "", "file": ""} for row in read(folder, "readings") if not row["photo"]
    ]
    write(folder, "readings", readings)
    edited = [row | {"file": ""} for row in read(folder, "site_tests")]
    write(folder, "site_tests", edited)
    for table in LATER:
        (folder / f"{table}.csv").unlink()

    records = hc.open_survey(folder).records

    assert all(records[table] == () for table in LATER)
    assert all(records[table] == before[table] for table in TABLES if table not in
               {*LATER, "readings", "site_tests"})  # fmt: skip
    assert len(records["site_tests"]) == len(before["site_tests"])
    assert len(records["readings"]) == len(readings)


def test_a_text_that_was_guarded_against_spreadsheets_is_read_as_it_was(folder: Path) -> None:
    """The apostrophe that keeps =2+2 from being reckoned is no part of the text; others are."""
    edit(folder, "zones", 2, note="'=2+2")
    edit(folder, "zones", 3, note="'twas dry")
    edit(folder, "zones", 4, note="''-1")

    assert list(hc.open_survey(folder).zones["note"][:3]) == ["=2+2", "'twas dry", "'-1"]


def test_windows_1252_is_read(folder: Path) -> None:
    """Umlauts, a degree sign and a dash as an older Windows saves them."""
    edit(folder, "zones", 2, note="Nässe über 20 °C – Ostseite")
    expected = hc.open_survey(folder)
    for table in TABLES:
        set_text(folder, table, text_of(folder, table), "cp1252")
    assert b"\xe4" in (folder / "zones.csv").read_bytes()

    survey = hc.open_survey(folder)

    assert survey.zones["note"].iloc[0] == "Nässe über 20 °C – Ostseite"
    assert same(survey, expected)


def test_blanks_around_cells_make_no_difference(example: Path) -> None:
    """A stray blank is no part of a code."""
    rows = [
        {name: f" {cell} " if cell else cell for name, cell in row.items()}
        for row in read(example, "zones")
    ]
    write(example, "zones", rows)

    assert same(hc.open_survey(example), hc.demo_survey())


def test_columns_in_another_order_make_no_difference(example: Path) -> None:
    """Fields are known by their headings, not by their place."""
    for table in TABLES:
        rows = read(example, table)
        write(example, table, [dict(reversed(row.items())) for row in rows])

    assert same(hc.open_survey(example), hc.demo_survey())


def test_a_line_break_inside_a_quoted_cell_is_kept_or_refused_whole(example: Path) -> None:
    """A note over two lines never shifts what stands below it."""
    rows = read(example, "zones")
    rows[0]["note"] = "first line\nsecond line"
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    set_text(example, "zones", out.getvalue())

    survey = hc.open_survey(example)

    assert survey.zones["note"].iloc[0] == "first line\nsecond line"
    assert survey.zones["zone"].to_list() == hc.demo_survey().zones["zone"].to_list()


# -- What reads well and can't be judged --------------------------------------------------------


def test_plate_loss_without_a_spread_is_no_crash(example: Path) -> None:
    """A loss and a rate without standard deviation give no probability, and no stray error."""
    rows = [
        row | ({"spread": ""} if row["quantity"].startswith("plate_loss") else {})
        for row in read(example, "site_tests")
    ]
    write(example, "site_tests", rows)

    found = hc.assess(hc.open_survey(example))

    assert len(found.recommendations) == len(hc.demo_survey().zones)


def test_an_access_that_lies_in_the_past_is_no_crash(example: Path) -> None:
    """A date of next access before the survey says nothing; it never stops all zones."""
    rows = [
        row | ({"next_access": "2020-01-01"} if row["next_access"] else {})
        for row in read(example, "zones")
    ]
    write(example, "zones", rows)

    survey = hc.open_survey(example)

    assert len(hc.assess(survey).recommendations) == len(survey.zones)


def test_panels_on_which_no_field_was_read_are_no_crash(example: Path) -> None:
    """Zero ×50 fields, zero damaged: nothing was looked at, and that is what is said."""
    rows = [row | {"x50_fields": "0", "damaged_fields": "0"} |
            ({"x50_fields_weakest": "0"} if row["x50_fields_weakest"] else {})
            for row in read(example, "panels")]  # fmt: skip
    rows = [
        row if row["read_on"] else row | {"x50_fields": "", "damaged_fields": ""} for row in rows
    ]
    write(example, "panels", rows)

    found = hc.assess(hc.open_survey(example))

    listed = "no panels required"
    tried = [r for r in found.recommendations if r.trials and listed not in r.gates[6].reason]
    assert "clean" not in {item.outcome for item in tried}


# -- More than is read --------------------------------------------------------------------------


def test_a_table_with_more_than_is_read_is_refused(
    example: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Bytes, rows and columns have limits, which the sentence says; nothing is half read."""
    set_text(example, "views", "member,criterion,swing" + "," * 1_000 + "\n")
    monkeypatch.setattr(csv_tables, "MOST_ROWS", 150)
    monkeypatch.setattr(csv_tables, "MOST_BYTES", 400_000)

    faults = refused(example).faults

    said = dict(zip(faults["table"], faults["allowed"], strict=True))
    assert "0 rows, the widest of 1,003 cells; at most 150 rows of 1,000" in said["views.csv"]
    assert said["readings.csv"].startswith("holds 1,021 rows")
    assert set(said) > {"observations.csv", "spots.csv"}
    assert not any(one.startswith("no zone") for one in said.values())


def test_after_thousands_of_faults_the_rest_is_not_looked_at(
    example: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file that is none of ours does not fill the memory with what is wrong in it."""
    monkeypatch.setattr(row_reading, "MOST_FAULTS", 5)
    rows = [row | {"L_star": "much"} for row in read(example, "readings")]
    write(example, "readings", rows)

    faults = refused(example).faults.query("table == 'readings.csv'")

    assert (
        faults["allowed"]
        .str.startswith("more than 5 faults; the rows that follow were not checked")
        .sum()
        == 1
    )
    assert (faults["value"] == "much").sum() == 6


@pytest.mark.parametrize("value", ["1.234", "-12.500", "+1.000"])
def test_a_point_beside_decimal_commas_is_asked_about(example: Path, value: str) -> None:
    """Where 61,5 stands for sixty-one and a half, 1.234 may be a thousand and more."""
    rows = read(example, "tile_readings")
    for row in rows:
        row |= {name: row[name].replace(".", ",") for name in ("L_star", "a_star", "b_star")}
    rows[3]["b_star"] = value
    write(example, "tile_readings", rows, ";")

    fault = only_fault(example)

    assert (fault["table"], fault["row"], fault["field"]) == ("tile_readings.csv", 5, "b_star")
    assert fault["allowed"] == (
        f"{value.replace('.', ',')} or {value.replace('.', '')}? Write it without a point"
    )
