"""Empty sheets for the wall: what applies to the zone, room to write, nothing filled in."""

import re
import subprocess
from pathlib import Path

import pytest
from small_report import close_up

import heritagecheck as hc
from heritagecheck import tables
from heritagecheck.documents.field_sheet import cautions, write_field_sheets
from heritagecheck.survey.records import TABLES
from heritagecheck.survey.records.zone_facts import HEADINGS, questions_asked
from heritagecheck.survey.survey import Survey

ZONES = ["N09", "C01", "T02"]
A4 = "595.276 x 841.89 pts (A4)"
BARE = {
    "elevations": [{"elevation": "north", "name": "North front", "drawing": "north.svg",
                    "width_m": "9", "height_m": "5"}],
    "zones": [{
        "zone": "Q 1", "elevation": "north", "name": "שער <b>& plinth</b>", "area_m2": "4",
        "substrate": "granite", "finish": "sawn", "condition": "sound", "exposure": "exposed",
        "access": "ground", "significance": "low", "significance_reason": "A repair",
        "soilings": "guano", "surveyed_on": "2026-05-01", "surveyed_by": "conservator",
    }],
}  # fmt: skip


def pages_of(path: Path) -> list[str]:
    """Words of each page, read by a tool that had no part in writing it."""
    command = ["pdftotext", "-raw", str(path), "-"]
    found = subprocess.run(command, capture_output=True, check=True, text=True, encoding="utf-8")
    return found.stdout.split("\f")[:-1]


def hardly_begun() -> Survey:
    """Survey with one zone, no name and no drawing."""
    records = dict.fromkeys(TABLES, ())
    for table, rows in BARE.items():
        records[table] = tuple(TABLES[table].model_validate(row) for row in rows)
    return Survey(records)


def colours(pixels: bytes) -> set[tuple[int, int, int]]:
    """Colours that occur: red, green and blue."""
    return set(zip(pixels[0::3], pixels[1::3], pixels[2::3], strict=True))


@pytest.fixture(scope="module")
def sheets(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the sheets of a stone zone, a closed leg and a tank plate."""
    path = tmp_path_factory.mktemp("field") / "sheets.pdf"
    return write_field_sheets(hc.demo_survey(), path, zones=ZONES)


@pytest.fixture(scope="module")
def words(sheets: Path) -> dict[str, str]:
    """Read the words of each zone's sheet."""
    found = dict.fromkeys(ZONES, "")
    for page in pages_of(sheets):
        zone = re.search(r"zone (\w+), page", page)
        assert zone is not None, page
        found[zone[1]] += page
    return found


def test_each_page_says_zone_and_page_of_pages(sheets: Path) -> None:
    """Sheets that the wind mixed up can be sorted again, zone by zone."""
    said = [re.search(r"zone (\w+), page (\d+) of (\d+)", page) for page in pages_of(sheets)]
    found = [(match[1], int(match[2]), int(match[3])) for match in said if match]
    counts = {zone: sum(code == zone for code, _, _ in found) for zone in ZONES}

    assert found == [
        (zone, number, counts[zone]) for zone in ZONES for number in range(1, counts[zone] + 1)
    ]
    assert len(found) == len(pages_of(sheets))


def test_a_zone_takes_two_leaves(sheets: Path) -> None:
    """Printed on both sides, four pages."""
    assert len(pages_of(sheets)) == 4 * len(ZONES)


def test_sheets_are_a4_tagged_and_in_our_fonts(sheets: Path) -> None:
    """They print alike everywhere, and can be read by ear."""
    facts = subprocess.run(["pdfinfo", str(sheets)], capture_output=True, check=True, text=True)
    fonts = subprocess.run(["pdffonts", str(sheets)], capture_output=True, check=True, text=True)
    names = {line.split()[0].partition("+")[2] for line in fonts.stdout.splitlines()[2:]}

    assert A4 in facts.stdout
    assert re.search(r"Tagged: +yes", facts.stdout)
    assert "Field sheets: Quillmere Pumping Station" in facts.stdout
    assert all(name.startswith(("Literata", "SourceSans3")) for name in names), names


def test_nothing_leaves_the_page_and_nothing_has_colour(sheets: Path, tmp_path: Path) -> None:
    """The margin stays white, and every drop of ink is grey or black."""
    command = ["pdftoppm", "-r", "40", str(sheets), str(tmp_path / "page")]
    subprocess.run(command, check=True)
    pictures = sorted(tmp_path.glob("page*.ppm"))
    for picture in pictures:
        head, _, pixels = picture.read_bytes().partition(b"\n255\n")
        width, height = (int(number) for number in head.split()[1:3])
        rows = [pixels[3 * width * row : 3 * width * (row + 1)] for row in range(height)]

        assert all(max(dot) - min(dot) < 20 for dot in colours(pixels)), picture.name
        assert all(set(row[:45]) | set(row[-45:]) == {255} for row in rows), picture.name

    assert len(pictures) == len(pages_of(sheets))


def test_a_sheet_says_what_and_where_the_zone_is(words: dict[str, str]) -> None:
    """Code, name, elevation, substrate, soiling: enough to stand before the right wall."""
    said = close_up(words["N09"])

    for part in ("N09", "Limestone cornice, left half", "North front", "limestone", "scaffold",
                 "black crust", "Significance high"):  # fmt: skip
        assert close_up(part) in said, part


def test_a_sheet_asks_what_applies_to_the_zone(words: dict[str, str]) -> None:
    """Joints of stone, the inside of a closed leg, each with its findings and how to find out."""
    rows = tables.keyed("topics", "topic")
    asked = {
        zone: {topic for topic, row in rows.items()
               if close_up(row["question"] + row["what_to_do"]) in close_up(said)
               or (close_up(row["question"]) in close_up(said)
                   and close_up(row["what_to_do"]) in close_up(said))}
        for zone, said in words.items()
    }  # fmt: skip

    assert "joints" in asked["N09"]
    assert not {"interior_seen", "metal_identity", "lead_shedding"} & asked["N09"]
    assert {"interior_seen", "closed_plan", "remote_access", "lead_shedding"} <= asked["C01"]
    assert "joints" not in asked["C01"]
    assert {"metal_identity", "engineer_limit"} <= asked["T02"]
    assert "interior_seen" not in asked["T02"]
    for word in (
        "in principle",
        "not needed",
        "by treatment",
        "incurable",
        "cured by the cleaning itself",
        "cannot be cured",
        "if scheduled: who",
    ):
        assert close_up(word) in close_up(words["N09"])


def test_no_answer_can_be_given_with_its_reason(words: dict[str, str]) -> None:
    """Not recorded, because: that is an answer."""
    assert all("Not recorded, because" in said for said in words.values())
    assert all("Not measured" in said for said in words.values())


def test_colour_is_read_on_stone_with_the_white_tile(words: dict[str, str]) -> None:
    """Ten readings of each; metal is judged by other tests."""
    assert "White tile" in words["N09"]
    assert "after 30 to 60 minutes" in words["N09"]
    assert len(re.findall(r"^10\b", words["N09"], re.MULTILINE)) == 2
    assert "White tile" not in words["C01"]
    assert all("Site tests" in said and "Trial panels" in said for said in words.values())


def test_cautions_stand_before_the_questions(words: dict[str, str]) -> None:
    """Lead, closed section and height where they are, and who decides."""
    first = {zone: close_up(said.partition("First: is anybody")[0]) for zone, said in words.items()}

    assert close_up("Lead is present") in first["T02"]
    assert close_up("Going in for a reading counts as entry") in first["C01"]
    assert close_up("A fall from height kills") in first["N09"]
    assert close_up("Lead") not in first["N09"]
    assert all(close_up("certified people come first") in said for said in first.values())


def test_earlier_answers_are_not_shown(words: dict[str, str]) -> None:
    """What was seen before is looked at anew, not copied."""
    survey = hc.demo_survey()
    notes = {str(note) for note in survey.observations["note"].dropna() if note}

    assert notes
    assert not [
        note for note in notes for said in words.values() if close_up(note) in close_up(said)
    ]


def test_a_sheet_without_a_zone_asks_everything(tmp_path: Path) -> None:
    """For what nobody has named yet: every question, with where it applies."""
    path = write_field_sheets(hc.demo_survey(), tmp_path / "blank.pdf", zones=())
    said = close_up(" ".join(pages_of(path)))

    for row in tables.rows("topics"):
        assert close_up(row["question"]) in said, row["topic"]
    assert close_up("Only where it is metal and it is a closed section.") in said
    assert close_up("Only where it is coated.") in said
    assert close_up("not known whether this coating holds lead") in said
    assert re.search(r"zone _+, page 1 of 5", pages_of(path)[0])


def test_a_survey_hardly_begun_has_its_sheets(tmp_path: Path) -> None:
    """No name, no drawing, no observation; signs of other scripts and of HTML are mere text."""
    said = " ".join(pages_of(write_field_sheets(hardly_begun(), tmp_path / "a.pdf")))
    empty = Survey(dict.fromkeys(TABLES, ()))
    blank = " ".join(pages_of(write_field_sheets(empty, tmp_path / "b.pdf")))

    assert "<b>& plinth</b>" in said
    assert "Never sweep dry" in said
    assert "zone Q 1, page 1 of 4" in said
    assert "First: is anybody in danger?" in blank


def test_unknown_zones_are_refused(tmp_path: Path) -> None:
    """All of them are named, and nothing is written."""
    with pytest.raises(hc.SurveyError, match=r"(?s)Nothing was written.*X1.*Known: N01.*X2"):
        write_field_sheets(hc.demo_survey(), tmp_path / "a.pdf", zones=["N01", "X1", "X2"])

    assert not (tmp_path / "a.pdf").exists()


def test_every_gate_of_a_topic_has_plain_words() -> None:
    """A topic of a new gate would else not be asked."""
    assert {row["gate"] for row in tables.rows("topics")} == set(HEADINGS)


def test_every_topic_is_asked_somewhere() -> None:
    """Nothing is recorded, so every question may apply, and every hazard may be there."""
    asked = {one.topic for one in questions_asked("", {})}

    assert asked == set(tables.codes("topics"))
    assert {"Lead not known", "Height", "Closed section", "Always"} <= {
        hazard for hazard, _ in cautions({})
    }


def test_the_same_survey_gives_the_same_bytes(sheets: Path, tmp_path: Path) -> None:
    """No clock stands in the file."""
    again = write_field_sheets(hc.demo_survey(), tmp_path / "again.pdf", zones=ZONES)

    assert again.read_bytes() == sheets.read_bytes()


def test_what_gate_7_lacks_below_x50_is_asked_of_the_laboratory(tmp_path: Path) -> None:
    """Only where a panel names a measurement and lacks it; then with what, and rows to fill in."""
    records = dict(hc.demo_survey().records)
    sections = (one for one in records["section_readings"] if dict(one)["moment"] != "control")
    maps = (one for one in records["height_maps"] if dict(one)["moment"] == "before")
    tests = (one for one in records["site_tests"] if dict(one)["file"] is None)
    lacking = Survey(
        records | {"section_readings": tuple(sections), "height_maps": tuple(maps),
                   "site_tests": tuple(tests)}
    )  # fmt: skip
    said = close_up(
        "".join(pages_of(write_field_sheets(lacking, tmp_path / "s.pdf", zones=["T06", "N06"])))
    )

    for words in (
        "T06-pulse-1 Altered layer profile of an untreated control",
        "T06-pulse-1 Change of residual stress profile of an untreated control, measured on both",
        "N06-pulse-1 Depth lost height map of the same place after it",
        "Elastic constants", "Where on it; treated area",
    ):  # fmt: skip
        assert close_up(words) in said, words


def test_a_zone_that_lacks_nothing_below_x50_is_asked_nothing(words: dict[str, str]) -> None:
    """No panel of these zones names such a measurement, so no room is taken for it."""
    assert not any(close_up("below ×50") in close_up(said) for said in words.values())
