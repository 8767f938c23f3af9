"""A meeting's server in a process of its own, which can be killed, and people who join it."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from browsing import Window

TO_START_S = 90
TO_SEE_MS = 60_000


@dataclass
class Workshop:
    """
    `heritagecheck workshop` about a survey: a folder, or the address of a database.

    What it prints goes into a file.
    """

    survey: str
    log: Path
    server: subprocess.Popen[bytes] = field(init=False, repr=False)

    def start(self) -> None:
        """Start it, and wait until it has told where it is."""
        command = [sys.executable, "-m", "heritagecheck", "workshop", self.survey, "--no-browser"]
        with self.log.open("wb") as heard:
            self.server = subprocess.Popen(
                command, stdin=subprocess.DEVNULL, stdout=heard, stderr=subprocess.STDOUT
            )
        until = time.monotonic() + TO_START_S
        while "Press Ctrl-C" not in self.told:
            if self.server.poll() is not None or time.monotonic() > until:
                self.kill()
                raise RuntimeError(f"The meeting did not begin:\n{self.told}")
            time.sleep(0.05)

    def kill(self) -> None:
        """Kill it without a word, as a flat battery would."""
        self.server.kill()
        self.server.wait()

    @property
    def told(self) -> str:
        """What it printed."""
        return self.log.read_text("utf-8")

    @property
    def leads(self) -> str:
        """Address of the facilitator's page."""
        return re.findall(r"http://\S+#leads=\S+", self.told)[0]

    @property
    def word(self) -> str:
        """The join word."""
        return re.findall(r"with the join word\n\s+(\S+)", self.told)[0]

    @property
    def joining(self) -> str:
        """Address that the code on the wall holds."""
        return f"{self.leads.partition('#')[0]}#join={self.word}"


@contextmanager
def workshop(survey: str | Path, log: Path) -> Iterator[Workshop]:
    """Hold a meeting until the block ends."""
    meeting = Workshop(str(survey), log)
    meeting.start()
    try:
        yield meeting
    finally:
        meeting.kill()


def join(who: Window, role: str, *, as_: str = "I have read this. Join as a member") -> None:
    """Join as somebody, on a page that knows the join word already."""
    who.page.get_by_label("Your role").fill(role)
    press(who, as_)
    sees(who, f"You are: {role}")


def press(who: Window, name: str) -> None:
    """Press the first button of that name."""
    who.page.get_by_role("button", name=name, exact=True).first.click()


def sees(who: Window, words: str) -> None:
    """Wait until some words are on a page."""
    who.page.get_by_text(words).first.wait_for(timeout=TO_SEE_MS)
