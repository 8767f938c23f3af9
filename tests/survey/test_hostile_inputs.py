"""Whatever a stranger sends is answered, or refused in a sentence, within 10 s and 1 GB."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from PIL import Image
from tiers import two_sizes

import heritagecheck as hc
from heritagecheck.errors import StoreError, SurveyError
from heritagecheck.survey.instruments import read_height_map, read_meter_file
from heritagecheck.survey.instruments.photo_file import open_photograph
from heritagecheck.survey.places import example_folder, read_folder
from heritagecheck.survey.records import TABLES

INSTRUMENTS = Path(__file__).parent / "instrument_files"
HOSTILE = Path(__file__).parents[1] / "support" / "hostile.py"
NEVER = re.compile(r" 0 +0 +0 +0 +\d+\.\d+ s$")  # traceback, too slow, too big, died


@pytest.mark.parametrize("rounds", two_sizes(1, 4))
def test_mutated_inputs_are_answered_or_refused_in_a_sentence(rounds: int) -> None:
    """
    Tables, archives, drawings, instruments' files, databases, addresses, words: no traceback.

    benchmarks/hostile.py does the same with up to a hundred thousand.
    """
    done = subprocess.run(
        [sys.executable, HOSTILE, "--rounds", str(rounds), "--seed", "1"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    bad = [json.loads(line) for line in lines if line.startswith("{")]
    table = lines[len(bad) + 1 :]

    assert not bad, "\n\n".join(f"{one['kind']} {one['seed']}: {one['said']}" for one in bad)
    assert len(table) == 14
    assert all(map(NEVER.search, table)), done.stdout
    inputs = sum(int(line[12:20].replace(",", "")) for line in table)
    answered = sum(int(line[20:31].replace(",", "")) for line in table)
    assert inputs == 100 * rounds
    # Else the inputs would be refused for how they were made, and nothing would be read.
    assert answered > 10 * rounds


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Give a copy of the example's tables."""
    for table in TABLES:
        shutil.copy(example_folder() / f"{table}.csv", tmp_path)
    return tmp_path


def test_an_unknown_heading_beside_semicolons_is_named(folder: Path) -> None:
    """Its column is not looked at for decimal commas, since no field says what it holds."""
    path = folder / "spots.csv"
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    rows[0][0] = "spott"
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, delimiter=";").writerows(rows)

    with pytest.raises(
        SurveyError, match=r"spots\.csv, row 1: heading = spott: unknown; did you mean spot\?"
    ):
        read_folder(folder)


def test_a_list_of_beds_that_is_none_is_named_once(folder: Path) -> None:
    """The zones that name beds are not held against it."""
    path = folder / "structure.csv"
    path.write_text(
        path.read_text(encoding="utf-8").replace("granite: ", "granit: "), encoding="utf-8"
    )

    with pytest.raises(
        SurveyError, match=r"1 thing to correct(?s:.*)must be the code of a substrate"
    ):
        read_folder(folder)


def test_a_meter_s_file_of_blanks_is_refused(tmp_path: Path) -> None:
    """Also where they are blanks of another encoding."""
    (tmp_path / "meter.txt").write_bytes("\n \u2003\n".encode("utf-16"))

    with pytest.raises(
        SurveyError, match=r"meter\.txt: (holds nothing but blanks|this file is em)"
    ):
        read_meter_file(tmp_path / "meter.txt")


def test_a_workbook_whose_list_of_parts_lies_elsewhere_is_broken(tmp_path: Path) -> None:
    """The archive's own end points to a place outside the file."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as archive:
        archive.writestr("[Content_Types].xml", "x" * 100)
    data = bytearray(content.getvalue())
    data[-6:-2] = b"\xff\xff\xff\x00"
    (tmp_path / "sheets.xlsx").write_bytes(data)

    with pytest.raises(SurveyError, match=r"sheets\.xlsx: this workbook is broken: "):
        hc.import_survey(tmp_path / "sheets.xlsx", tmp_path / "survey.db")


def test_a_broken_tiff_is_told_in_our_words_alone(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """What its reader mutters about tags is kept from the screen."""
    path = tmp_path / "a.tif"
    Image.new("RGB", (8, 8)).save(path)
    data = bytearray(path.read_bytes())
    data[4:8] = (len(data) + 5).to_bytes(4, "little")
    path.write_bytes(data)

    with pytest.raises(ValueError, match=r"^a\.tif holds 0 pictures\."):
        open_photograph(path)

    assert capfd.readouterr().err == ""


def test_a_damaged_name_in_the_list_of_tables_is_told(tmp_path: Path) -> None:
    """SQLite's own message holds its bytes, which are no text."""
    path = tmp_path / "survey.db"
    hc.open_survey(path).close()
    content = path.read_bytes()
    assert b"CREATE TABLE zones" in content
    path.write_bytes(content.replace(b"CREATE TABLE zones", b"CREATE TABLX zon\xce\x28"))

    with pytest.raises(StoreError, match=r"survey\.db is damaged here: "):
        hc.open_survey(path).check()


def test_a_lightness_beyond_all_numbers_is_refused(tmp_path: Path) -> None:
    """Its third power is none that can be written."""
    text = (INSTRUMENTS / "meter.txt").read_text(encoding="utf-8")
    line = next(one for one in text.splitlines() if one.startswith("1\t"))
    cells = line.split("\t")
    cells[2] = "1e308"
    (tmp_path / "meter.txt").write_text(text.replace(line, "\t".join(cells)), encoding="utf-8")

    with pytest.raises(SurveyError, match=r"meter\.txt"):
        read_meter_file(tmp_path / "meter.txt")


def test_a_long_line_of_numbers_that_ends_oddly_is_looked_at_once(tmp_path: Path) -> None:
    """Not in every way in which its digits may be parted, of which there are no end."""
    line = " ".join(["123456789.123456"] * 40)
    (tmp_path / "matrix.txt").write_text(f"{line}\n{line} x\n{line}\n")

    with pytest.raises(SurveyError, match=r"matrix\.txt"):
        read_height_map(tmp_path / "matrix.txt", height_unit="µm", pixel_um=2.0)
