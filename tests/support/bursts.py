"""
Bursts of saves by processes of their own, which the tests may kill at any moment.

One warm process has imported all there is to import and forks whoever is asked for; what they do
and what they were assured of, they say line by line.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from heritagecheck.survey.places import example_folder, read_folder
from heritagecheck.survey.records import TABLE_OF, Observation, Reading, Zone
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.survey import Survey

STEPS = 1000
LONG_B = 40_000
Line = dict[str, Any]


@cache
def example() -> Survey:
    """The example survey, read from its folder."""
    return read_folder(example_folder())


@cache
def measured() -> tuple[Reading, ...]:
    """Readings that hold a colour."""
    return tuple(one for one in example().all(Reading) if one.L_star is not None)


@cache
def step(number: int) -> Record:
    """One save of a burst: for each number another value, of a zone, an answer or a reading."""
    zones, answers = example().all(Zone), example().all(Observation)
    turn = number // 4
    match number % 4:
        case 0:
            return zones[turn % len(zones)].changed(note=f"seen again, {number}")
        case 1:
            return answers[turn % len(answers)].changed(note=f"asked again, {number}")
        case 2:
            return measured()[turn % len(measured())].changed(L_star=20 + number / 64)
        case _:
            return zones[turn % len(zones)].changed(zone=f"new {number}", note=f"made, {number}")


def place_of(record: Record) -> tuple[str, str]:
    """Table and key of a zone, an answer or a reading."""
    table = TABLE_OF[type(record)]
    return table, str(getattr(record, table.removesuffix("s")))


def content(number: int) -> bytes:
    """Content of the file that is attached under a number."""
    return f"picture {number}\n".encode() * (LONG_B // 10)


@dataclass
class Child:
    """One forked process, as the test sees it."""

    pid: int
    _lines: Callable[[], Line]
    exit_code: int | None = None
    done: list[int] = field(default_factory=list)
    error: Line | None = None

    def hear(self) -> bool:
        """Wait for what it says next; False where it has ended."""
        if self.exit_code is not None:
            return False
        line = self._lines()
        if "done" in line:
            self.done.append(line["done"])
        elif "error" in line:
            self.error = line
        elif "ended" in line:
            self.exit_code = line["ended"]
            return False
        return True

    def hear_until(self, count: int) -> None:
        """Wait until it was assured of so many saves, or has ended."""
        while len(self.done) < count and self.hear():
            pass

    def end(self, sign: signal.Signals = signal.SIGKILL) -> None:
        """Kill it, and hear what it still said."""
        if self.exit_code is None:
            with suppress(ProcessLookupError):
                os.kill(self.pid, sign)
        while self.hear():
            pass


class Forks:
    """A warm process that forks one child at a time."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self._process = process
        self._child: Child | None = None

    def begin(
        self, what: str, place: str, files: Path, numbers: range, *, who: str = "conservator"
    ) -> Child:
        """
        Fork a child that does something for each of some numbers.

        It opens the survey itself, so that it shares no connection with anybody.
        """
        assert self._process.stdin is not None
        order = {
            "what": what, "place": place, "files": str(files), "who": who,
            "numbers": [numbers.start, numbers.stop, numbers.step],
        }  # fmt: skip
        print(json.dumps(order), file=self._process.stdin, flush=True)
        self._child = Child(self._line()["pid"], self._line)
        return self._child

    def end(self) -> None:
        """End the last child, where its test did not."""
        if self._child is not None:
            self._child.end()

    def _line(self) -> Line:
        """The next line."""
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        assert line, "the process that forks the others ended"
        found: Line = json.loads(line)
        return found


@contextmanager
def forks() -> Iterator[Forks]:
    """A warm process that forks others; it is gone when the block ends."""
    command = [sys.executable, "-W", "error", __file__]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        warm = Forks(process)
        try:
            yield warm
        finally:
            warm.end()
            # Without orders it ends by itself.
            assert process.stdin is not None
            process.stdin.close()


def _save(survey: DatabaseSurvey, number: int, who: str) -> None:
    """Save one step of a burst."""
    survey.save(step(number), who=who)


def _attach(survey: DatabaseSurvey, number: int, who: str) -> None:
    """Attach one file."""
    path = survey_folder(survey) / f"{number}.jpg"
    path.write_bytes(content(number))
    survey.attach(path, kind="photograph", zone="N06", attachment=f"picture {number}", who=who)
    path.unlink()


def _back_up(survey: DatabaseSurvey, number: int, who: str) -> None:
    """Make one backup."""
    del who
    survey.backup(copy_beside(survey._files.folder or Path(), number))


def copy_beside(files: Path, number: int) -> Path:
    """Where a child puts a backup."""
    return files.with_name(f"copy{number}.db")


def survey_folder(survey: DatabaseSurvey) -> Path:
    """A folder beside the survey's files."""
    folder = Path(str(survey._files.folder)).with_suffix(".camera")
    folder.mkdir(exist_ok=True)
    return folder


WORK = {"save": _save, "attach": _attach, "backup": _back_up}


def _child(order: Line) -> int:
    """Do what was ordered, and say what was done as soon as the survey says so."""
    _say(pid=os.getpid())
    try:
        survey = DatabaseSurvey(order["place"], files=order["files"])
        _say(opened=True)
        for number in range(*order["numbers"]):
            WORK[order["what"]](survey, number, order["who"])
            _say(done=number)
        survey.close()
    except Exception as error:
        _say(error=str(error), kinds=[kind.__name__ for kind in type(error).__mro__],
             trace=traceback.format_exc()[-1500:])  # fmt: skip
        return 1
    return 0


def _say(**words: Any) -> None:
    """Write one line at once, past every buffer: what a killed process said is heard."""
    os.write(1, json.dumps(words).encode() + b"\n")


def _serve() -> None:
    """Import what can be imported, then fork a child for each order."""
    import psycopg  # noqa: F401 - so that no child has to

    step(2)
    for line in sys.stdin:
        order = json.loads(line)
        pid = os.fork()
        if pid == 0:
            os._exit(_child(order))
        _, status = os.waitpid(pid, 0)
        _say(ended=os.waitstatus_to_exitcode(status))


if __name__ == "__main__":
    _serve()
