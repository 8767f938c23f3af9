"""A meeting as those in the room meet it: real server, real browser, killed in the middle."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest
from bare_survey import bare_rows, keep
from browsing import LAPTOP, PHONE, TABLET, Window, window

from heritagecheck.survey.records import Signature
from heritagecheck.survey.store.database_survey import DatabaseSurvey

SECRET = "Only I know of the iron"
SMALL = """() => [...document.querySelectorAll('.hc-screen button, .hc-screen input')]
  .filter(one => one.offsetParent && one.getBoundingClientRect().height < 44)
  .map(one => one.textContent)"""
SIDEWAYS = "() => document.documentElement.scrollWidth > window.innerWidth"


class Meeting:
    """A server of a meeting that can be killed and started again."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.log = folder / "told.txt"

    def start(self) -> None:
        """Start it, and read what it tells."""
        command = [sys.executable, "-m", "heritagecheck", "workshop", str(self.folder)]
        with self.log.open("wb") as heard:
            self.server = subprocess.Popen(
                [*command, "--no-browser"], stdin=subprocess.DEVNULL, stdout=heard,
                stderr=subprocess.STDOUT,
            )  # fmt: skip
        until = time.monotonic() + 90
        while "Press Ctrl-C" not in self.told and time.monotonic() < until:
            assert self.server.poll() is None, self.told
            time.sleep(0.1)

    @property
    def told(self) -> str:
        """What it printed."""
        return self.log.read_text("utf-8")

    def address(self, what: str) -> str:
        """Address of the facilitator (leads) or of all others (join)."""
        (found,) = re.findall(rf"http://\S+#{what}=\S+", self.told) or [""]
        return found

    def kill(self) -> None:
        """Kill it without a word."""
        self.server.kill()
        self.server.wait()


@contextmanager
def held(folder: Path) -> Iterator[Meeting]:
    """A meeting that goes on."""
    meeting = Meeting(folder)
    meeting.start()
    try:
        yield meeting
    finally:
        meeting.kill()


def press(who: Window, name: str) -> None:
    """Press a button."""
    who.page.get_by_role("button", name=name, exact=True).first.click()


def sees(who: Window, words: str) -> None:
    """Wait until some words are on a page."""
    who.page.get_by_text(words).first.wait_for(timeout=20_000)


def look(who: Window, axe: str) -> None:
    """Axe finds nothing, nothing scrolls sideways, and every target is large enough."""
    who.page.evaluate(axe)
    found = who.page.evaluate("async () => (await axe.run()).violations.map(one => one.id)")
    assert found == []
    assert not who.page.evaluate(SIDEWAYS)
    assert who.page.evaluate(SMALL) == []


@pytest.mark.long
def test_a_meeting_from_joining_to_signing(tmp_path: Path, browser: Any, axe: str) -> None:
    """Private answers stay private, a kill loses nothing, dissent and signature are kept."""
    place = keep(bare_rows({}, {"zone": "Z2"}), tmp_path / "survey.db")
    with held(tmp_path) as meeting, ExitStack() as open_:
        leads, *members = (
            open_.enter_context(window(browser, size)) for size in (LAPTOP, PHONE, TABLET, LAPTOP)
        )
        plain = meeting.address("leads").partition("#")[0]
        word = re.findall(r"with the join word\n\s+(\S+)", meeting.told)[0]
        leads.page.goto(meeting.address("leads"))
        for number, one in enumerate(members, start=1):
            one.page.goto(f"{plain}#join={word}")
            one.page.get_by_label("Your role").fill(f"member {number}")
            press(one, "I have read this. Join as a member")
            sees(one, f"You are: member {number}")
        press(leads, "Z1")
        for number, one in enumerate(members, start=1):
            sees(one, "The recommendation is hidden")
            look(one, axe)
            press(one, "leave")
            one.page.get_by_label("Why").first.fill(f"{SECRET} {number}")
            press(one, "Give my private answer")
            sees(one, "Kept in private")
        for number, one in enumerate(members, start=1):
            others = {2, 3, 1} - {number}
            assert all(f"{SECRET} {other}" not in one.page.content() for other in others)
        assert SECRET not in leads.page.content()
        assert SECRET.encode() not in place.read_bytes()

        meeting.kill()
        meeting.start()
        sees(members[0], "You gave:")
        leads.page.goto("about:blank")
        leads.page.goto(meeting.address("leads"))
        press(leads, "Show the answers")
        for one in members:
            sees(one, f"{SECRET} 3")
            look(one, axe)
        press(leads, "leave and monitor")
        leads.page.get_by_label("Reasons").fill("The roof comes first")
        if leads.page.get_by_label("Reason of the override").count():
            leads.page.get_by_label("Reason of the override").fill("No scaffold before winter")
        look(leads, axe)
        press(leads, "Save the decision")
        sees(leads, "Members may now dissent and sign")
        members[1].page.get_by_text("Dissent", exact=True).first.click()
        members[1].page.get_by_label("Your dissent").fill("I would have laid panels.")
        press(members[1], "Save my dissent")
        sees(members[0], "I would have laid panels.")
        press(members[0], "Sign this decision")
        sees(members[2], "Signed: member 1")

        with DatabaseSurvey(place) as survey:
            zone = survey.record("zones", "Z1")
            survey.save(zone.changed(note="A crack"), who="office", reason="seen today")
            assert [one.signer for one in survey.all(Signature)] == ["member 1"]
        for one in (leads, *members):
            sees(one, "Evidence changed since signing")
            assert one.outside == []
