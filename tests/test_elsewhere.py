"""Somebody else's machine: other consoles, full disks, no permission; a sentence each time."""

from __future__ import annotations

import codecs
import json
import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from few_zones import exported_few
from small_disk import NoDiskError, SmallDisk, as_modes_say, small_disk

import heritagecheck as hc
from heritagecheck import __main__, cli
from heritagecheck.errors import ReportError

# Neither Python nor the C library helps out: what is written is ASCII, or it fails.
PLAINEST = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}


def typed(*words: str, prefix: Sequence[str] = (), **more: str) -> tuple[int, str, str]:
    """Type a command: its exit code, what it said, and what it complained of."""
    done = subprocess.run(
        [*prefix, sys.executable, "-m", "heritagecheck", *words],
        env={**os.environ, **more}, capture_output=True, check=False,
    )  # fmt: skip
    console = more.get("PYTHONIOENCODING", "utf-8")
    return done.returncode, done.stdout.decode(console), done.stderr.decode(console)


def cannot_be_tried(missing: NoDiskError) -> None:
    """Leave a test out where its machine can't be made; never where a change is checked."""
    if os.environ.get("CI"):
        pytest.fail(str(missing), pytrace=False)
    pytest.skip(str(missing))


def everything_in(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, with what it holds."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def few(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Where one zone of the example lies, one whose white tile drifted."""
    return str(exported_few(tmp_path_factory.mktemp("one") / "few", ["E13"]))


# -- Consoles and surroundings -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("surroundings", "sign"),
    [
        pytest.param({"PYTHONIOENCODING": "cp1252"}, "d", id="cp1252"),
        pytest.param(PLAINEST, "d", id="C", marks=pytest.mark.long),
        pytest.param({"PYTHONIOENCODING": "utf-8", "TZ": "Nowhere/At_all"}, "Δ", id="TZ"),
    ],
)
def test_any_console_shows_what_is_said(few: str, surroundings: dict[str, str], sign: str) -> None:
    """Signs that it lacks are written as they are typed; the rest is the same."""
    code, said, complained = typed("check", few, **surroundings)

    assert (code, complained) == (0, "")
    assert f"drifted by 0.51 {sign}E*ab in session 9 September" in said


@pytest.mark.parametrize(
    ("sign", "plain"),
    [("µm", "um"), ("J/cm²", "J/cm2"), ("3 × 4", "3 x 4"), ("1–2", "1-2"), ("é", "e"), ("漆", "?")],
)
def test_each_sign_has_letters_in_its_place(sign: str, plain: str) -> None:
    """A unit stays the same unit."""
    codecs.register_error("typed", __main__.as_typed)

    assert sign.encode("ascii", "typed").decode() == plain


def test_files_are_the_same_whatever_the_console(tmp_path: Path) -> None:
    """What is written is UTF-8, also where the console knows ASCII alone."""
    answers = (
        typed("start", str(tmp_path / "here"), PYTHONIOENCODING="utf-8"),
        typed("start", str(tmp_path / "there"), **PLAINEST),
    )
    here, there = (everything_in(tmp_path / name) for name in ("here", "there"))

    assert [answer[0] for answer in answers] == [0, 0]
    assert here.keys() == there.keys()
    for name in ("README.md", "fields.md", "field-sheet.pdf", "notebooks/01_begin.ipynb"):
        assert here[name] == there[name]


def test_a_place_may_have_blanks_and_bytes_that_are_no_letters(
    few: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """As from a disk written in Latin-1: all is read and written there, and commands are quoted."""
    wall = tmp_path / os.fsdecode(b"wall m\xf6re")
    shutil.copytree(few, wall)
    codes = []
    for words in (
        ["import", str(wall), f"{wall}.db"],
        ["report", f"{wall}.db", "--to", str(wall)],
        ["check", f"{wall}.db"],
    ):
        monkeypatch.setattr(sys, "argv", ["heritagecheck", *words])
        codes.append(__main__.run())
    said = capsys.readouterr()
    heads = Path(f"{wall}.heads.txt").read_text(encoding="utf-8").splitlines()

    assert (codes, said.err) == ([0, 0, 0], "")
    assert f"Next: heritagecheck check '{tmp_path}/wall m?re.db'\n" in said.out
    assert (wall / "report.pdf").read_bytes().startswith(b"%PDF")
    assert heads[-1].endswith(" wall m?re.db")
    with hc.open_survey(f"{wall}.db") as survey:
        assert set(survey.journal["reason"]) == {"import of wall m?re"}


# -- Ended early -------------------------------------------------------------------------------


def test_a_pipe_that_nobody_reads_ends_the_command_quietly(few: str) -> None:
    """As in `heritagecheck check … | head -1`: no complaint, and the exit code that shells give."""
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [sys.executable, "-m", "heritagecheck", "check", few],
        stdout=writing, stderr=subprocess.PIPE, check=False,
    )  # fmt: skip
    os.close(writing)

    assert (done.returncode, done.stderr) == (141, b"")


def test_ctrl_c_ends_the_command_with_a_sentence(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whenever it comes; and with the exit code that shells give."""
    monkeypatch.setattr(cli, "main", lambda: signal.raise_signal(signal.SIGINT))
    # As in a terminal: whatever runs in the background may have been told to ignore it.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        answer = __main__.run()
    finally:
        signal.signal(signal.SIGINT, before)

    assert answer == 130
    assert capsys.readouterr().err == "Interrupted. Nothing that was there before has changed.\n"


def test_exit_codes_are_explained(capsys: pytest.CaptureFixture[str]) -> None:
    """Whoever calls the command from a script reads them in its help."""
    with pytest.raises(SystemExit, match="0"):
        cli.main(["--help"])
    said = " ".join(capsys.readouterr().out.split())
    with pytest.raises(SystemExit, match="2"):
        cli.main(["asess"])

    for code in (
        "0 all went well",
        "1 something must be",
        "2 the command",
        "130 it was interrupted",
    ):
        assert code in said


# -- Disks and permissions ---------------------------------------------------------------------


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[SmallDisk]:
    """Give a small disk."""
    try:
        with small_disk(tmp_path / "disk", size_mb=2) as mounted:
            yield mounted
    except NoDiskError as missing:
        cannot_be_tried(missing)


def test_what_a_full_disk_left_half_begun_is_finished_by_the_next_call(disk: SmallDisk) -> None:
    """No file of a new survey's folder is there in part; with room again, all of them are."""
    disk.fill(leave_bytes=100_000)
    code, said, complained = typed("start", str(disk.folder / "wall"))

    assert (code, said) == (1, "")
    assert "the disk is full" in complained
    assert complained.count("\n") == 1
    assert not (disk.folder / "wall" / "survey.db").exists()

    disk.free()
    again, _, _ = typed("start", str(disk.folder / "wall"))

    assert again == 0
    assert (disk.folder / "wall" / "survey.db").is_file()
    assert not any("unfinished" in path.name for path in (disk.folder / "wall").rglob("*"))


def test_a_report_on_a_full_disk_leaves_the_last_one_as_it_was(disk: SmallDisk) -> None:
    """Each file is whole, new or old, and the words say which could not be written, and why."""
    report = hc.assess(hc.demo_survey(), zones=["N04"])
    (disk.folder / "report.html").write_text("the last one", encoding="utf-8")
    disk.fill(leave_bytes=50_000)

    with pytest.raises(
        ReportError, match=r"report\.html was not written: .*the disk is full"
    ) as told:
        hc.write_report(report, disk.folder)

    assert "report.pdf was not written: " in str(told.value)
    assert told.value.written == ()
    assert everything_in(disk.folder).keys() == {"ballast", "report.html"}
    assert (disk.folder / "report.html").read_text(encoding="utf-8") == "the last one"


def test_what_is_shown_on_a_full_disk_is_missed_in_a_sentence(few: str) -> None:
    """As in `heritagecheck check … > FILE`."""
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "heritagecheck", "check", few],
            stdout=full, stderr=subprocess.PIPE, check=False,
        )  # fmt: skip

    assert done.returncode == 1
    assert done.stderr.endswith(b"the disk is full\n")
    assert done.stderr.count(b"\n") == 1


FORBIDDEN = (
    ["start", "closed/wall"],
    ["import", "few", "closed/survey.db"],
    ["import", "unread.xlsx", "survey.db"],
    ["import", "unread.zip", "survey.db"],
    ["import", "unread", "survey.db"],
    ["check", "unread.db"],
    ["check", "unread"],
    ["export", "few", "closed/out"],
    ["export", "few", "closed/out.zip"],
    ["export", "few", "closed/out.xlsx"],
    ["sheets", "few", "--to", "closed/sheets.pdf"],
    ["report", "few", "--to", "closed/report"],
)
# One process for all of them: starting the program takes longer than most of them do.
ONE_AFTER_ANOTHER = """
import contextlib, io, json, os, sys
from heritagecheck.__main__ import run

ended = []
for words in json.loads(sys.argv[1]):
    sys.argv = ["heritagecheck", *words]
    said = io.StringIO()
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(said):
        code = run()
    ended.append([code, said.getvalue(), sorted(os.listdir())])
print(json.dumps(ended))
"""


@pytest.fixture(scope="module")
def ended(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[int, str, list[str]]]:
    """How each forbidden command ended: its code, what it complained of, what lay there then."""
    try:
        prefix = as_modes_say()
    except NoDiskError as missing:
        cannot_be_tried(missing)
    place = tmp_path_factory.mktemp("modes")
    exported_few(place / "few", ["N04"])
    (place / "closed").mkdir(mode=0o555)
    (place / "unread").mkdir(mode=0o000)
    for suffix in (".xlsx", ".zip", ".db"):
        (place / f"unread{suffix}").touch(mode=0o000)
    done = subprocess.run(
        [*prefix, sys.executable, "-c", ONE_AFTER_ANOTHER, json.dumps(FORBIDDEN)],
        cwd=place, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return dict(zip(map(" ".join, FORBIDDEN), json.loads(done.stdout), strict=True))


@pytest.mark.parametrize(
    "words", FORBIDDEN, ids=lambda words: " ".join(Path(word).name for word in words)
)
def test_what_a_user_may_not_do_is_said_in_a_sentence(
    words: list[str], ended: dict[str, tuple[int, str, list[str]]]
) -> None:
    """Which file, and that it is a matter of permission; nothing is left behind."""
    code, complained, there = ended[" ".join(words)]

    assert code == 1
    assert complained.count("\n") <= 2
    assert re.search("permission|this user may not", complained, re.IGNORECASE)
    assert there == ["closed", "few", "unread", "unread.db", "unread.xlsx", "unread.zip"]
