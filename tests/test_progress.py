"""How far a long work has come: told on a terminal and in a notebook, and nowhere else."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from typing import Any

import pytest
from jupyter_client.manager import start_new_kernel

import heritagecheck as hc
from heritagecheck.progress import PATIENCE_S, Progress, followed, on_terminal

HALF = f"[{'#' * 20}{' ' * 20}] 500 of 1,000 rows"
WHOLE = f"[{'#' * 40}] 1,000 of 1,000 rows"
IN_A_CELL = """
import time
from heritagecheck.progress import PATIENCE_S, followed
with followed(None, "zones") as told:
    time.sleep(PATIENCE_S)
    told(26, 52)
"""


def test_a_line_shows_what_is_done_and_is_taken_away() -> None:
    """However the work ends; and between two lines there is time to read one."""
    shown: list[str] = []
    with Progress("rows", shown.append, patience_s=0) as told:
        told(500, 1000)
        told(501, 1000)

    assert shown == [HALF, ""]


def test_a_line_is_taken_away_from_a_work_that_fails() -> None:
    """What is said of the fault stands alone."""
    shown: list[str] = []

    def fail() -> None:
        with Progress("rows", shown.append, patience_s=0) as told:
            told(1000, 1000)
            raise ValueError("stop")

    with pytest.raises(ValueError, match="stop"):
        fail()

    assert shown == [WHOLE, ""]


def test_a_short_work_shows_nothing() -> None:
    """What is over within a second needs no line."""
    shown: list[str] = []
    with Progress("rows", shown.append) as told:
        told(500, 1000)

    assert shown == []


def test_an_assessment_tells_each_zone() -> None:
    """Zones done, of zones in all."""
    told: list[tuple[int, int]] = []
    hc.assess(hc.demo_survey(), zones=["N04", "C01"], progress=lambda *said: told.append(said))

    assert told == [(1, 2), (2, 2)]


def test_a_terminal_shows_the_line_and_is_left_clean(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beside what is printed; a file or a pipe in the terminal's place is told nothing."""
    with on_terminal("rows") as told:
        time.sleep(PATIENCE_S)
        told(500, 1000)
    in_a_file = capsys.readouterr()
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    with on_terminal("rows") as told:
        time.sleep(PATIENCE_S)
        told(500, 1000)
    on_screen = capsys.readouterr()

    assert in_a_file == ("", "")
    assert on_screen.out == ""
    assert on_screen.err.split("\r") == ["", f"{HALF:<78}", HALF, " " * 78, ""]


def test_plain_python_shows_nothing(capfd: pytest.CaptureFixture[str]) -> None:
    """Whoever calls from a script asks for it, or hears nothing."""
    with followed(None, "zones") as told:
        time.sleep(PATIENCE_S)
        told(26, 52)

    assert capfd.readouterr() == ("", "")


# -- In a notebook ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def kernel() -> Iterator[Any]:
    """Give what a notebook talks to."""
    manager, client = start_new_kernel()
    try:
        yield client
    finally:
        client.stop_channels()
        manager.shutdown_kernel(now=True)


def outputs(kernel: Any, *, somebody: bool) -> list[tuple[str, str]]:
    """Run the cell, by somebody or by a program, and give all that it showed."""
    heard: list[tuple[str, str]] = []

    def hear(message: dict[str, Any]) -> None:
        if message["msg_type"] not in {"status", "execute_input"}:
            heard.append((message["msg_type"], message["content"]["data"]["text/html"]))

    kernel.execute_interactive(
        IN_A_CELL, allow_stdin=somebody, stdin_hook=print, output_hook=hear, timeout=60
    )
    return heard


def test_a_notebook_shows_the_line_by_itself_and_hides_its_place(kernel: Any) -> None:
    """Nobody has to ask for it, and the finished cell shows its result alone."""
    (first, line), (last, left) = outputs(kernel, somebody=True)

    assert (first, last) == ("display_data", "update_display_data")
    assert line == f"<pre>[{'#' * 20}{' ' * 20}] 26 of 52 zones</pre>"
    assert "display:none" in left


def test_a_notebook_run_by_a_program_shows_nothing(kernel: Any) -> None:
    """What is compared or kept are the outputs of the cells alone."""
    assert outputs(kernel, somebody=False) == []
