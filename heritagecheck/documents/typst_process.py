"""Typst in a program of its own, which gives back all that it remembers when it ends."""

from __future__ import annotations

import ctypes
import pickle
import signal
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal

STOPPED = (
    "the program that sets its pages was stopped (code {code}), perhaps for lack of memory; close "
    "other programs, then write the report again"
)


def typeset(how: Literal["compile", "query"], files: Mapping[str, bytes], **given: Any) -> bytes:
    """Let Typst compile or query a document."""
    with TemporaryDirectory() as folder:
        for name, content in files.items():
            (Path(folder) / name).write_bytes(content)
        _give_back()
        given |= {"input": Path(folder) / "main.typ", "root": Path(folder)}
        # -P: nothing next to this file or in the current folder is imported as a module.
        done = subprocess.run(
            [sys.executable, "-P", __file__, how],
            input=pickle.dumps(given), stdout=subprocess.PIPE, check=False,
        )  # fmt: skip
    if done.returncode:
        raise RuntimeError(STOPPED.format(code=done.returncode))
    made: bytes | RuntimeError = pickle.loads(done.stdout)
    if isinstance(made, RuntimeError):
        raise made
    return made


def _give_back() -> None:
    """Let the system have what was freed: glibc keeps some 30 MB, and Typst is about to need it."""
    if sys.platform == "linux" and (trim := getattr(ctypes.CDLL(None), "malloc_trim", None)):
        trim(0)


def main() -> None:
    """Do the one job that is handed in; hand out what came of it."""
    import typst

    # An interrupt is reported by the parent program.
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    given = pickle.load(sys.stdin.buffer)
    try:
        made = typst.query(**given).encode() if "query" in sys.argv else typst.compile(**given)
    except RuntimeError as error:
        made = RuntimeError(str(error))
    pickle.dump(made, sys.stdout.buffer)


if __name__ == "__main__":
    main()
