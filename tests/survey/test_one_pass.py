"""One import names every fault of a survey, of whatever kind, and what its package lost."""

from __future__ import annotations

import csv
import json
import shutil
from hashlib import sha256
from pathlib import Path

import pytest

import heritagecheck as hc
from heritagecheck.survey.places import example_folder
from heritagecheck.survey.records import KEYS, TABLES, Observation, Panel, Zone
from heritagecheck.survey.records.record import UNREAD

ZONES = {"N12", "N15"}
# One fault of each kind: table, row, cells, and the field that has to be named.
FAULTS: dict[str, tuple[str, int, dict[str, str], str]] = {
    "an unknown term": ("zones", 2, {"substrate": "granit"}, "substrate"),
    "a second fault of the same row": ("zones", 2, {"coatings": "many"}, "coatings"),
    "an unknown zone": ("observations", 2, {"zone": "N99"}, "zone"),
    "an unknown zone in a row with another fault": ("readings", 3, {"zone": "N97"}, "zone"),
    "a number out of range": ("readings", 3, {"L_star": "1324"}, "L_star"),
    "a contradiction within a row": ("panels", 2, {"read_on": "2026-05-01"}, "read_on"),
    "a second contradiction of the row": ("panels", 2, {"x50_fields": "5"}, "x50_fields"),
    "a contradiction beside an unknown term": ("panels", 3, {"x50_fields": "5"}, "x50_fields"),
    "an unknown method": ("panels", 3, {"method": "sandpaper"}, "method"),
    "an answer that its question lacks": ("observations", 3, {"finding": "perhaps"}, "finding"),
    "a code that stands twice": ("observations", 6, {"observation": "N12-O01"}, "observation"),
    "a number that may be two": ("readings", 5, {"L_star": "1,234"}, "L_star"),
    "a date that may be two": ("observations", 8, {"seen_on": "03/04/2026"}, "seen_on"),
    "a series without panels": ("settings", 2, {"series": "none"}, "series"),
    "a panel of another zone": ("settings", 3, {"zone": "N12"}, "zone"),
    "a panel that is not known": ("spots", 2, {"panel": "none"}, "panel"),
    "a layer that its zone lacks": ("layers", 2, {"soiling": "film"}, "soiling"),
    "no date": ("structure", 2, {"survey_date": "soon"}, "survey_date"),
    "a file that is missing": ("attachments", 2, {"sha256": "0" * 64}, "file"),
}


def rows_of(folder: Path, table: str) -> list[dict[str, str]]:
    """Rows of one table, as text."""
    with (folder / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def set_rows(folder: Path, table: str, rows: list[dict[str, str]]) -> None:
    """Write rows over one table."""
    with (folder / f"{table}.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(TABLES[table].model_fields), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Give the tables of two zones of the example."""
    source, copy = example_folder(), tmp_path / "wall"
    copy.mkdir()
    for table in TABLES:
        found = rows_of(source, table)
        set_rows(copy, table, [row for row in found if row.get("zone") in {None, "", *ZONES}])
    for name in ("drawings", "instruments"):
        shutil.copytree(source / name, copy / name)
    return copy


def edit(folder: Path, table: str, row: int, cells: dict[str, str]) -> None:
    """Change cells of one row, counted as a spreadsheet shows it."""
    rows = rows_of(folder, table)
    rows[row - 2] |= cells
    set_rows(folder, table, rows)


def refused(folder: Path) -> hc.SurveyError:
    """Give the error with which an import is refused."""
    with pytest.raises(hc.SurveyError, match=r"to correct\. Nothing was imported") as caught:
        hc.import_survey(folder, folder / "kept.db")
    return caught.value


def test_one_import_names_faults_of_every_kind(folder: Path) -> None:
    """Not what stands first hides what stands behind: whoever corrects it imports once more."""
    keys = {table: [row[KEYS[table][0]] for row in rows_of(folder, table)] for table in TABLES}
    for table, row, cells, _ in FAULTS.values():
        edit(folder, table, row, cells)
    broken = folder / "photos.csv"
    broken.write_text(broken.read_text("utf-8") + "P1,x\n", "utf-8")
    headings = folder / "elevations.csv"
    headings.write_text(headings.read_text("utf-8").replace("width_m", "width"), "utf-8")

    faults = refused(folder).faults

    named = {
        (str(table).removesuffix(".csv"), row, field)
        for table, row, field in faults[["table", "row", "field"]].itertuples(index=False)
    }
    for kind, (table, row, _, field) in FAULTS.items():
        wanted = (table, row, field)
        if table == "attachments":  # it is named by its file, wherever the row stands
            assert any(one[0] == table and one[2] == field for one in named), kind
        else:
            assert wanted in named, kind
    assert ("photos", 2, "") in named
    assert ("elevations", 1, "heading") in named
    # No row is called unknown because it could not be read whole.
    said = faults[faults["allowed"].str.contains(". Known: ", regex=False)]
    assert set(said["value"]) == {"N99", "N97", "none"}
    assert len(keys["zones"]) == 2


def test_what_a_broken_row_names_and_is_named_by_is_held_against_the_others(folder: Path) -> None:
    """A zone with a wrong term is still known; a reading with a wrong number still names one."""
    edit(folder, "zones", 2, {"substrate": "granit"})

    faults = refused(folder).faults

    assert faults[["table", "row", "field"]].to_numpy().tolist() == [["zones.csv", 2, "substrate"]]


def test_a_table_that_cannot_be_read_makes_nothing_seem_unknown(folder: Path) -> None:
    """Whether the zones are in it, nobody can say before it is mended."""
    (folder / "zones.csv").write_text("", encoding="utf-8")
    edit(folder, "views", 3, {"swing": "101"})

    faults = refused(folder).faults

    assert set(faults["table"]) == {"zones.csv", "views.csv"}


def test_a_part_of_a_row_says_only_what_it_holds() -> None:
    """A rule that asks for a field nobody could read says nothing."""
    row = dict.fromkeys(Panel.model_fields, UNREAD) | {"x50_fields": "5", "damaged_fields": "9"}

    read = Panel.readable(row)

    assert vars(read) == {"x50_fields": 5, "damaged_fields": 9}
    assert list(read.broken_rules()) == []


@pytest.mark.parametrize("written", ["03/04/2026", "3.4.2026"])
def test_a_column_of_dates_that_may_be_two_is_asked_about_once(folder: Path, written: str) -> None:
    """One question, with the rows; as a table, each cell for itself."""
    rows = rows_of(folder, "observations")
    set_rows(folder, "observations", [row | {"seen_on": written} for row in rows])

    error = refused(folder)

    lines = str(error).splitlines()
    assert lines[0] == "1 thing to correct. Nothing was imported."
    assert lines[1] == (
        f"  observations.csv: seen_on, {len(rows)} cells such as {written} in row 2: is the day "
        "first, or the month? Write each date of this column year-month-day. "
        f"Rows: 2 to {len(rows) + 1}"
    )
    assert len(error.faults) == len(rows)


def test_a_set_that_disagrees_with_its_first_is_told_in_one_line(folder: Path) -> None:
    """Where the first is wrong, all others differ from it: that is one thing to correct."""
    rows = [row for row in rows_of(folder, "readings") if row["set_name"] == "N15-reference"]
    edit(folder, "readings", 3, {"set_size": "99"})

    error = refused(folder)

    assert str(error).splitlines()[0].startswith("1 thing to correct")
    assert f"set_size, {len(rows) - 1} cells such as 14 in row 4: must be the same" in str(error)
    assert str(error).endswith(f"the first says 99. Rows: 4 to {len(rows) + 2}")


@pytest.mark.parametrize(
    ("field", "written", "meant"),
    [("substrate", "Granite", "granite"), ("substrate", "RIVETED STEEL", "riveted_steel"),
     ("finish", "Rock faced", "rock_faced"), ("exposure", "Rain_Washed", "rain_washed"),
     ("soilings", "Black Gypsum Crust; film", "black_gypsum_crust; film"),
     ("significance", "HIGH", "high")],
)  # fmt: skip
def test_capitals_of_a_term_make_no_difference(field: str, written: str, meant: str) -> None:
    """A spreadsheet begins a cell with a capital letter; the list of terms does not."""
    zone = hc.demo_survey().records["zones"][0]

    found = Zone.model_validate(vars(zone) | {field: written, "coatings": None})

    assert getattr(found, field) == meant


def test_capitals_of_an_answer_make_no_difference() -> None:
    """The answers of a question are terms as well."""
    one = hc.demo_survey().records["observations"][0]

    found = Observation.model_validate(vars(one) | {"topic": "Decay", "finding": "None"})

    assert (found.topic, found.finding) == ("decay", "none")


def test_capitals_of_a_unit_are_as_they_are() -> None:
    """MJ is not mJ: a unit that is not listed is refused, whatever it resembles."""
    panel = hc.demo_survey().records["panels"][0]

    with pytest.raises(ValueError, match="setting_unit"):
        Panel.model_validate(vars(panel) | {"setting_unit": "j/CM²"})


def test_terms_that_differ_by_capitals_alone_are_told_apart() -> None:
    """Where two terms differ in nothing else, only the exact one is taken."""
    from heritagecheck.survey.records.record import listed

    assert listed("film", ("film", "Film")) == "film"
    assert listed("FILM", ("film", "Film")) == "FILM"
    assert listed("FILM", ("film", "crust")) == "film"


@pytest.fixture
def package(folder: Path) -> Path:
    """Give the same as a package that was exported."""
    return hc.import_survey(folder, folder / "first.db").export(folder.with_name("given"))


def test_a_package_says_how_large_its_tables_are(package: Path) -> None:
    """Size and checksum as the standard names them, and the number of rows."""
    described = json.loads((package / "datapackage.json").read_text("utf-8"))

    for resource in described["resources"]:
        data = (package / resource["path"]).read_bytes()
        assert resource["bytes"] == len(data)
        assert resource["hash"] == f"sha256:{sha256(data).hexdigest()}"
        assert resource["rows"] == len(rows_of(package, resource["name"]))


def test_a_package_as_it_was_exported_differs_in_nothing(package: Path) -> None:
    """Nothing is said where there is nothing to say; line breaks of another system are none."""
    for path in package.glob("*.csv"):
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))

    with hc.import_survey(package, package / "kept.db") as survey:
        assert survey.imported is not None
        assert survey.imported.differences == ()
        assert survey.journal["reason"].unique().tolist() == ["import of given"]


@pytest.mark.parametrize("table", ["readings", "site_tests", "spots"])
def test_rows_that_were_cut_off_are_missed(package: Path, table: str) -> None:
    """What was lost on the way is not taken for all there is; whoever cut it says so."""
    described = package / "datapackage.json"
    count = len(rows_of(package, table))
    if not count:  # the two zones have no site test: let one have been there
        text = described.read_text("utf-8")
        place = text.index('"name": "site_tests"')
        described.write_text(text[:place] + text[place:].replace('"rows": 0', '"rows": 1', 1))
    else:
        set_rows(package, table, rows_of(package, table)[:-1])
    left = max(count - 1, 0)

    with pytest.raises(hc.SurveyError, match=rf"{table}.csv: rows = {left}: datapackage.json says"):
        hc.import_survey(package, package / "kept.db", only_valid=True)

    text = described.read_text("utf-8").replace(f'"rows": {left + 1},', f'"rows": {left},')
    described.write_text(text)
    hc.import_survey(package, package / "kept.db").close()


def test_what_was_changed_since_the_export_is_said_and_kept(package: Path) -> None:
    """A table edited on purpose is taken; the import says so, and the journal keeps it."""
    edit(package, "readings", 3, {"L_star": "63.9"})

    with hc.import_survey(package, package / "kept.db") as survey:
        said = "readings.csv was changed after its export: 32 rows, 32 then"
        assert survey.imported is not None
        assert survey.imported.differences == (said,)
        assert f"{said}. If that is not intended" in str(survey.imported)
        assert set(survey.journal["reason"]) == {f"import of given; {said}"}
