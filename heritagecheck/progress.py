"""How far a long work has come: one line on a terminal or in a notebook, gone when it ends."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import TracebackType
from typing import Any, Self

Told = Callable[[int, int], None]

# What is over in a moment needs no line; and nobody reads more than a few in a second.
PATIENCE_S = 1.0
BETWEEN_S = 0.2
WIDTH = 40
# An output of a notebook can be emptied but not taken back, so its place is hidden as well.
NOTHING_LEFT = (
    '<i class="hc-done"></i><style>.jp-OutputArea-child:has(.hc-done){display:none}</style>'
)


class Progress:
    """
    One line that says how much of a work is done.

    Parameters
    ----------
    unit : str
        What is counted, such as ``"zones"``.
    show : callable
        Shows a line in place of the last one; an empty one takes it away.

    Examples
    --------
    >>> shown = []
    >>> with Progress("zones", shown.append, patience_s=0) as told:
    ...     told(13, 52)
    >>> shown
    ['[##########                              ] 13 of 52 zones', '']
    """

    def __init__(
        self, unit: str, show: Callable[[str], None], *, patience_s: float = PATIENCE_S
    ) -> None:
        self._unit, self._show = unit, show
        self._due_s = time.monotonic() + patience_s
        self._shown = False

    def __call__(self, done: int, total: int) -> None:
        """So many are done, of so many in all."""
        now_s = time.monotonic()
        if now_s >= self._due_s:
            filled = "#" * (WIDTH * done // max(total, 1))
            self._show(f"[{filled:<{WIDTH}}] {done:,} of {total:,} {self._unit}")
            self._due_s, self._shown = now_s + BETWEEN_S, True

    def __enter__(self) -> Self:
        """Begin to count the seconds."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Take the line away, however the work ended."""
        if self._shown:
            self._show("")


def on_terminal(unit: str) -> Progress:
    """A line on the terminal, beside what is printed; nothing where nobody looks at one."""
    return Progress(unit, _overwrite if sys.stderr.isatty() else _nowhere)


@contextmanager
def followed(progress: Told | None, unit: str) -> Iterator[Told]:
    """Whom a long work tells how far it has come."""
    if progress is not None:
        yield progress
        return
    with Progress(unit, _NotebookLine() if _somebody_watches() else _nowhere) as told:
        yield told


def _nowhere(line: str) -> None:
    """Nobody is told."""


def _overwrite(line: str) -> None:
    """Write over the last line of the terminal."""
    sys.stderr.write(f"\r{line:<78}\r{line}")
    sys.stderr.flush()


def _somebody_watches() -> bool:
    """Whether a notebook's cell is run by a person."""
    if "IPython" not in sys.modules:
        return False
    from IPython import get_ipython

    kernel: Any = getattr(get_ipython(), "kernel", None)
    if kernel is None:
        return False
    asked = kernel.get_parent("shell").get("content", {})
    return bool(asked.get("allow_stdin"))


class _NotebookLine:
    """A line below a cell of a notebook."""

    def __init__(self) -> None:
        self._place: Any = None

    def __call__(self, line: str) -> None:
        import IPython.display

        ipython: Any = IPython.display
        block = ipython.HTML(f"<pre>{line}</pre>" if line else NOTHING_LEFT)
        if self._place is None:
            self._place = ipython.display(block, display_id=True)
        else:
            self._place.update(block)
