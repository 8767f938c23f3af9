"""
Writers that are killed at a chosen touch of the disk, then called again.

One warm process forks a child for each: what it made so far stays, and nothing tidies up.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import traceback
from collections.abc import Callable
from pathlib import Path

from heritagecheck.survey.places import example_folder, read_folder, start_survey
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.whole_file import write_whole

TOUCHES = {"open", "os.mkdir", "os.rename", "os.remove", "os.rmdir", "sqlite3.connect"}
OLD, NEW = b"old " * 1000, b"new " * 9000


def _start(place: Path) -> None:
    """Begin a survey."""
    start_survey(place / "wall")


def _export(place: Path) -> None:
    """Export the example as a folder."""
    if not (place / "out").exists():
        read_folder(example_folder()).export(place / "out")


def _archive(place: Path) -> None:
    """Export it as an archive."""
    if not (place / "out.zip").exists():
        read_folder(example_folder()).export(place / "out.zip")


def _back_up(place: Path) -> None:
    """Copy a database and the folder of its files, which lie above."""
    if not (place / "copy.db").exists():
        with DatabaseSurvey(place.parent / "kept.db") as survey:
            survey.backup(place / "copy.db")


def _file(place: Path) -> None:
    """Write a file over an older one."""
    write_whole(place / "report.html", NEW)


WORK: dict[str, Callable[[Path], None]] = {
    "start": _start, "export": _export, "archive": _archive, "backup": _back_up, "file": _file,
}  # fmt: skip


def killed_and_called_again(work: str, folder: Path, times: int) -> list[Path]:
    """
    Kill a writer so many times, each at another touch, and call it again after each.

    What the killed one left is copied into a folder ``left`` beside.

    Returns
    -------
    list of Path
        The folder of each turn.
    """
    done = subprocess.run(
        [sys.executable, __file__, work, str(folder), str(times)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return [Path(name) for name in json.loads(done.stdout)]


def _forked(work: str, place: Path, at: int, said: int = -1) -> bool:
    """Do the work in a child that is killed at one touch of the disk; whether it was."""
    pid = os.fork()
    if pid == 0:
        count = 0

        def hook(event: str, _: object) -> None:
            nonlocal count
            if event not in TOUCHES:
                return
            count += 1
            if count == at:
                os.kill(os.getpid(), signal.SIGKILL)

        sys.addaudithook(hook)
        try:
            WORK[work](place)
            if said >= 0:
                os.write(said, str(count).encode())
            os._exit(0)
        except BaseException:
            traceback.print_exc()
            os._exit(1)
    code = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    assert code in {0, -signal.SIGKILL}, f"{work} in {place} ended with {code}"
    return code != 0


def _touches(work: str, place: Path) -> int:
    """How often a writer touches the disk."""
    read, write = os.pipe()
    assert not _forked(work, place, -1, write)
    return int(os.read(read, 20))


def _serve(work: str, folder: Path, times: int) -> None:
    """Do all of it."""

    def place(name: str) -> Path:
        made = folder / name
        made.mkdir()
        (made / "report.html").write_bytes(OLD)
        return made

    WORK[work](place("warm"))  # so that what is imported late is no touch of the disk
    count = _touches(work, place("counted"))
    chosen = random.Random(count).sample(range(1, count), min(times, count) - 1)
    places = []
    for at in (*chosen, count):
        places.append(turn := place(str(at)))
        killed = _forked(work, turn, at)
        assert killed, f"{work} was not killed at touch {at} of {count}"
        shutil.copytree(turn, turn / "left")
        assert not _forked(work, turn, -1)
    sys.stdout.write(json.dumps([str(one) for one in places]))


if __name__ == "__main__":
    _serve(sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]))
