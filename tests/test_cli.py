"""The command line: start, check, assess and report, as one types them."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import pytest

from heritagecheck.cli import main
from heritagecheck.survey.carried import example_folder

Captured = pytest.CaptureFixture[str]


@pytest.fixture
def filled(tmp_path: Path) -> Path:
    """Give a started folder into which the tables and drawings of the example were put."""
    folder = tmp_path / "wall"
    assert main(["start", str(folder)]) == 0
    for table in example_folder().glob("*.csv"):
        shutil.copy(table, folder / "survey")
    for drawing in (example_folder() / "drawings").glob("*.svg"):
        shutil.copy(drawing, folder / "survey" / "drawings")
    return folder


def keep_closed_legs(survey: Path) -> None:
    """Leave only the zones of the closed legs, so that the report takes seconds."""
    for path in survey.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            headings, *lines = csv.reader(file)
        if "zone" in headings:
            place = headings.index("zone")
            with path.open("w", encoding="utf-8", newline="") as file:
                kept = [line for line in lines if line[place].startswith("C")]
                csv.writer(file).writerows([headings, *kept])


def test_start_says_what_it_made_and_what_to_do_next(tmp_path: Path, capsys: Captured) -> None:
    """The three parts of the folder are named, and the next command is there to be copied."""
    answer = main(["start", str(tmp_path / "wall")])
    said = capsys.readouterr().out

    assert answer == 0
    assert (tmp_path / "wall" / "survey" / "zones.csv").is_file()
    assert all(part in said for part in ("README.md", "survey", "notebooks", "Next: "))
    assert said.splitlines()[-1] == f"  heritagecheck check {tmp_path / 'wall'}"


def test_start_refuses_a_folder_that_is_taken_in_one_line(tmp_path: Path, capsys: Captured) -> None:
    """Exit code 1, one line, and nothing written."""
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")

    assert main(["start", str(tmp_path)]) == 1
    assert capsys.readouterr().err == (
        f"{tmp_path} exists and is not empty. Nothing was written; name a new folder.\n"
    )
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_check_of_a_fresh_folder_names_the_tables_to_fill_in(
    tmp_path: Path, capsys: Captured
) -> None:
    """The folder around the tables may be named, and the fault is one of the tables."""
    main(["start", str(tmp_path / "wall")])
    answer = main(["check", str(tmp_path / "wall")])
    said = capsys.readouterr().err

    assert answer == 1
    assert "structure.csv: this table holds no row yet; write the first below" in said


def test_check_counts_what_to_look_at_again(filled: Path, capsys: Captured) -> None:
    """A survey that reads well is told so, with the number of findings of each kind."""
    capsys.readouterr()
    answer = main(["check", str(filled)])
    said = capsys.readouterr().out.splitlines()

    assert answer == 0
    assert said[0].endswith("Nothing to correct.")
    assert "     3  panel read too young" in said
    assert "survey.check()" in said[-1]


def test_assess_takes_the_folder_around_the_tables(filled: Path, capsys: Captured) -> None:
    """Every zone stands under one of the four outcomes."""
    capsys.readouterr()
    answer = main(["assess", str(filled)])
    counts = [int(line[18:21]) for line in capsys.readouterr().out.splitlines()[1:5]]

    assert answer == 0
    assert sum(counts) == 52


def test_report_of_a_started_folder_is_written(
    filled: Path, tmp_path: Path, capsys: Captured
) -> None:
    """The example's rows in a started folder give a report, and its own notebooks are named."""
    keep_closed_legs(filled / "survey")
    capsys.readouterr()
    answer = main(["report", str(filled), "--to", str(tmp_path / "report")])
    said = capsys.readouterr().out

    assert answer == 0
    assert list((tmp_path / "report").glob("*.html"))
    assert f"Report: {(tmp_path / 'report').resolve()}" in said
    assert f"Notebooks: {(filled / 'notebooks').resolve()}" in said


@pytest.mark.parametrize("command", ["check", "assess", "report"])
def test_help_says_which_folder_may_be_named(command: str, capsys: Captured) -> None:
    """Either the folder of the tables or the one that holds it as `survey`."""
    with pytest.raises(SystemExit, match="0"):
        main([command, "--help"])

    assert "'survey'" in capsys.readouterr().out
