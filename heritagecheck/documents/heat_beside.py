"""Heat of a report in a program of its own, which gives back all that compiling took."""

from __future__ import annotations

import gc
import pickle
import signal
import subprocess
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from tempfile import TemporaryFile

from heritagecheck.answer_cache import lacking
from heritagecheck.evidence.laser.heat.setting_heat import Heating, said_of_heat


@contextmanager
def heat_beside(shown: Iterable[Heating]) -> Iterator[None]:
    """
    Calculate heat that is not cached in a program alongside, and wait for it at the end.

    Compiling keeps a core busy, and 130 MB until its program ends. Whatever that one does not keep
    is calculated where it is shown.
    """
    wanted = {one.asked: one for one in shown if lacking(one.asked)}
    try:
        program = _started([*wanted.values()]) if wanted else None
    except OSError:
        program = None
    if program is None:
        yield
        return
    with program:
        try:
            yield
            program.communicate()
        finally:
            program.kill()


def _started(wanted: list[Heating]) -> subprocess.Popen[bytes]:
    """Start the program, with what it is to calculate in a file as its input."""
    with TemporaryFile() as asked:
        pickle.dump(wanted, asked)
        asked.seek(0)
        # -P: nothing next to this file or in the current folder is imported as a module.
        return subprocess.Popen(
            [sys.executable, "-P", __file__], stdin=asked, stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL, creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
        )  # fmt: skip


def main() -> None:
    """Calculate and cache what is passed in, as long as the parent program runs."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    gc.disable()  # it ends in a moment: looking for rubbish takes a tenth of its time
    for one in pickle.load(sys.stdin.buffer):
        said_of_heat(one)
        # Where nobody waits any more, this can't be written, and the program ends.
        sys.stdout.buffer.write(b".")
        sys.stdout.buffer.flush()


if __name__ == "__main__":
    main()
