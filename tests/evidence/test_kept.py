"""Answers kept for the next process: the same as new ones, and never in anybody's way."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from heritagecheck import answer_cache as kept_module
from heritagecheck.answer_cache import cache_folder, kept
from heritagecheck.evidence.trials.curves.dose_response import DoseResponse, dose_response
from heritagecheck.evidence.trials.damaged_fields import DamageLimits
from heritagecheck.evidence.trials.spots import SpotAnswers, spot_answers

LIMITS = DamageLimits(bound=0.25, seen=0.05, begins=0.25)
DOSES = [0.4, 0.8, 1.6, 3.2] * 8
PANELS = [f"P{number}" for number in range(2) for _ in range(16)]

TWO_AT_ONCE = """
import sys, time
from heritagecheck.answer_cache import kept
while time.time() < float(sys.argv[1]):
    pass
for number in range(200):
    assert kept(str(number), lambda: {"text": "long " * 3000, "number": number / 3}) == {
        "text": "long " * 3000, "number": number / 3}
"""

ONE_ZONE = """
import dataclasses, json
import heritagecheck as hc
from heritagecheck.evidence.trials.spots import _curve
found = hc.assess(hc.demo_survey(), zones=["T06"]).zone("T06")
harm = [(str(option), *map(float, values)) for option, values in found.harm_of_leaving.items()]
spots = [repr(series.spots.answers) for series in found.evidence.series if series.spots]
print(json.dumps([str(found), harm, spots, _curve.cache_info().misses]))
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Have answers kept in a folder of the test's own."""
    found = tmp_path / "cache"
    monkeypatch.setattr(kept_module, "cache_folder", lambda: found)
    return found


def curves() -> tuple[DoseResponse, DoseResponse]:
    """Removal and damage of spots on two panels."""
    return (
        dose_response(DOSES, [dose > 0.5 for dose in DOSES], panel=PANELS),
        dose_response(DOSES, [dose > 3 for dose in DOSES], panel=PANELS),
    )


def refused() -> Any:
    """Stand for what is not to be worked out again."""
    raise AssertionError("worked out again")


def bits(found: SpotAnswers) -> dict[str, Any]:
    """Give all that the spots say, numbers to their last bit."""
    return {
        name: value.tobytes() if isinstance(value, np.ndarray) else repr(value)
        for name, value in asdict(found).items()
    }


@pytest.mark.parametrize("used", [(0.9, 1.1), None])
def test_a_kept_answer_is_the_same_to_its_last_bit(
    folder: Path, monkeypatch: pytest.MonkeyPatch, used: tuple[float, float] | None
) -> None:
    """Kept, taken from what was kept, and worked out where nothing can be kept."""
    first = spot_answers("a", curves, used, LIMITS)
    again = spot_answers("a", refused, used, LIMITS)
    monkeypatch.setattr(kept_module, "cache_folder", lambda: None)
    alone = spot_answers("a", curves, used, LIMITS)

    assert len(list(folder.iterdir())) == 1
    assert bits(first) == bits(again) == bits(alone)
    assert first.first_damage == 3.2
    assert (first.damage_quantiles is None) == (used is None)


@pytest.mark.parametrize(
    ("asked", "used", "limits"),
    [
        ("b", (0.9, 1.1), LIMITS),
        ("a", (0.9, 1.2), LIMITS),
        ("a", (0.9, 1.1), LIMITS._replace(bound=0.1)),
        ("a", (0.9, 1.1), LIMITS._replace(begins=0.1)),
    ],
)
def test_other_spots_setting_or_limits_are_asked_anew(
    folder: Path, asked: str, used: tuple[float, float], limits: DamageLimits
) -> None:
    """What was kept answers its own question only."""
    spot_answers("a", curves, (0.9, 1.1), LIMITS)

    with pytest.raises(AssertionError, match="worked out again"):
        spot_answers(asked, refused, used, limits)
    assert len(list(folder.iterdir())) == 1


@pytest.mark.parametrize(
    "spoilt",
    [
        lambda whole: b"",
        lambda whole: whole[: len(whole) // 2],
        lambda whole: whole.replace(b"0.5", b"0.6"),
        lambda whole: b'["a", {"number": 7}]',
        lambda whole: bytes(range(256)),
    ],
    ids=["empty", "cut short", "another digit", "foreign", "no text"],
)
def test_a_spoilt_file_is_written_anew(folder: Path, spoilt: Any) -> None:
    """The answer is worked out as if nothing had been kept, and kept again."""
    kept("a", lambda: {"number": 0.5})
    (file,) = folder.iterdir()
    whole = file.read_bytes()
    file.write_bytes(spoilt(whole))

    assert kept("a", lambda: {"number": 0.5}) == {"number": 0.5}
    assert file.read_bytes() == whole
    assert kept("a", refused) == {"number": 0.5}


def test_a_file_of_another_question_is_not_taken(folder: Path) -> None:
    """A file under the wrong name says whose answer it holds."""
    kept("a", lambda: {"number": 1})
    (mine,) = folder.iterdir()
    kept("b", lambda: {"number": 2})
    (other,) = set(folder.iterdir()) - {mine}
    mine.write_bytes(other.read_bytes())

    assert kept("a", lambda: {"number": 1}) == {"number": 1}


@pytest.mark.parametrize(
    "name", ["evidence/trials/curves/posterior_grid.py", "tables/thresholds.csv"]
)
def test_other_code_or_tables_answer_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """One letter in what answers makes another fingerprint, and no name of a file stays."""
    for one in (name, "evidence/a.py", "evidence/trials/curves/a.py", "tables/a.csv"):
        (tmp_path / one).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / one).write_text("0.3", encoding="utf-8")
    monkeypatch.setattr("importlib.resources.files", lambda _: tmp_path)
    before = kept_module._fingerprint()
    again = kept_module._fingerprint()
    (tmp_path / name).write_text("0.4", encoding="utf-8")

    assert before == again != kept_module._fingerprint()


def test_the_oldest_make_room(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """There are never more than so many files."""
    monkeypatch.setattr(kept_module, "MOST_FILES", 3)
    for number in range(5):
        kept(str(number), lambda number=number: {"number": number})
        for file in folder.iterdir():
            os.utime(file, (file.stat().st_mtime - 100,) * 2)

    assert len(list(folder.iterdir())) == 3
    assert [kept(str(number), refused)["number"] for number in (2, 3, 4)] == [2, 3, 4]
    with pytest.raises(AssertionError, match="worked out again"):
        kept("1", refused)


@pytest.mark.parametrize("what", ["a file", "a folder that nobody may write"])
def test_where_nothing_can_be_kept_the_answer_is_worked_out(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str], what: str
) -> None:
    """No word is said of it."""
    if what == "a file":
        folder.write_text("in the way", encoding="utf-8")
    else:
        monkeypatch.setattr(kept_module.tempfile, "mkstemp", _not_allowed)

    assert kept("a", lambda: {"number": 1}) == {"number": 1}
    assert kept("a", lambda: {"number": 2}) == {"number": 2}
    assert capfd.readouterr() == ("", "")


def _not_allowed(**_: Any) -> None:
    raise PermissionError(13, "not allowed")


def test_a_full_disk_leaves_no_half_file(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was begun beside goes again."""
    monkeypatch.setattr(Path, "replace", lambda *_: _full())

    assert kept("a", lambda: {"number": 1}) == {"number": 1}
    assert list(folder.iterdir()) == []


def _full() -> None:
    raise OSError(28, "no room")


def _homeless() -> Path:
    raise RuntimeError("no home")


def test_the_folder_is_the_users_cache(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """On each system where it belongs; without a home nowhere, and never where one stands."""
    # What keeps nothing in tests is taken out of the way.
    monkeypatch.setattr(kept_module, "cache_folder", cache_folder)
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    monkeypatch.delenv("LOCALAPPDATA", raising=False)
    found = {}
    for system in ("linux", "darwin", "win32"):
        monkeypatch.setattr(sys, "platform", system)
        found[system] = cache_folder()
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "elsewhere"))
    elsewhere = cache_folder()
    monkeypatch.setenv("XDG_CACHE_HOME", "here")
    relative = cache_folder()
    monkeypatch.setattr(Path, "home", _homeless)

    assert found == {
        "linux": tmp_path / ".cache" / "heritagecheck" / "kept",
        "darwin": tmp_path / "Library" / "Caches" / "heritagecheck" / "kept",
        "win32": tmp_path / "AppData" / "Local" / "heritagecheck" / "kept",
    }
    assert elsewhere == tmp_path / "elsewhere" / "heritagecheck" / "kept"
    assert relative is None
    assert cache_folder() is None


def test_two_processes_at_once_keep_whole_files(tmp_path: Path) -> None:
    """Both write the same files; each reads right answers, and only whole files are left."""
    where = {**os.environ, "XDG_CACHE_HOME": str(tmp_path)}
    command = [sys.executable, "-c", TWO_AT_ONCE, str(time.time() + 3)]
    both = [subprocess.Popen(command, env=where) for _ in range(2)]

    assert [one.wait() for one in both] == [0, 0]
    files = list((tmp_path / "heritagecheck" / "kept").iterdir())
    assert len(files) == 200
    for file in files:
        stated, _, body = file.read_bytes().partition(b"\n")
        assert stated == kept_module._hash(body).encode()


def test_a_second_process_says_the_same_and_fits_nothing(tmp_path: Path) -> None:
    """What the first kept is found again, and lies nowhere but in the cache."""
    here, cache = tmp_path / "survey", tmp_path / "cache"
    here.mkdir()
    where = {**os.environ, "XDG_CACHE_HOME": str(cache)}
    first, second = (
        json.loads(
            subprocess.run(
                [sys.executable, "-c", ONE_ZONE],
                env=where, cwd=here, check=True, capture_output=True, text=True, encoding="utf-8",
            ).stdout
        )
        for _ in range(2)
    )  # fmt: skip

    assert first[:3] == second[:3]
    assert first[3] > 0
    assert second[3] == 0
    assert list(here.iterdir()) == []
    assert list((cache / "heritagecheck" / "kept").iterdir())
