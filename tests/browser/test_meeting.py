"""A meeting as those in the room meet it: real server, real browser, killed in the middle."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from bare_survey import bare_rows, keep
from browsing import LAPTOP, PHONE, PROJECTOR, TABLET, Window, window
from cable import Cable, cable
from meeting_at_work import Workshop, join, press, sees, workshop

from heritagecheck.survey.records import Opinion, Signature
from heritagecheck.survey.store.database_survey import DatabaseSurvey

SIZES = (PHONE, TABLET, LAPTOP, PHONE, TABLET, LAPTOP, PHONE)
MEMBERS = len(SIZES)
SECRET = "Only I know of the iron"
DISSENT = "I would have laid panels.\nNobody asked the tenants, whatever the minutes say."
SMALL = """() => [...document.querySelectorAll('.hc-screen button, .hc-screen input')]
  .filter(one => one.offsetParent && one.getBoundingClientRect().height < 44)
  .map(one => one.textContent)"""
SIDEWAYS = "() => document.documentElement.scrollWidth > window.innerWidth"
ANSWERED = '.hc-live[data-waiting="0"]'
# Whoever sits farther away than 200 times the height of an element can't read it: ANSI/INFOCOMM
# V202.01:2016, basic decision making (read as the worked example of aetm.org, "BDM only: sizing the
# image"). A small room's last seat is four heights of the picture away (common practice).
FARTHEST_IN_HEIGHTS, ACUITY = 4, 200
# Of each text: the height of its x, as a share of the picture's height, and where it ends.
LETTERS = """() => {
  const found = [], pen = document.createElement('canvas').getContext('2d');
  const texts = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT);
  while (texts.nextNode()) {
    const holder = texts.currentNode.parentElement, box = holder.getBoundingClientRect();
    if (!texts.currentNode.nodeValue.trim() || !box.height) continue;
    const style = getComputedStyle(holder);
    pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
    const tall = pen.measureText('x').actualBoundingBoxAscent / innerHeight;
    found.push([texts.currentNode.nodeValue, tall, box.bottom / innerHeight]);
  }
  return found;
}"""


@dataclass
class Person:
    """One in the room, with everything that this page was ever sent."""

    window: Window
    number: int = 0
    heard: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.page.on("websocket", self._listen)

    def _listen(self, socket: Any) -> None:
        self.socket = socket
        socket.on("framereceived", lambda frame: self.heard.append(str(frame)))

    @property
    def page(self) -> Any:
        """The page."""
        return self.window.page

    def think(self) -> None:
        """Write why, and wait until the program has it."""
        self.page.get_by_label("Why").first.fill(f"{SECRET} {self.number}")
        self.page.locator(ANSWERED).wait_for()

    def give(self) -> None:
        """Choose an outcome and give the private answer."""
        press(self.window, ("leave", "trial first", "leave and monitor")[self.number % 3])
        press(self.window, "Give my private answer")
        sees(self.window, "Kept in private")


def look(who: Window, axe: str) -> None:
    """Axe finds nothing, nothing scrolls sideways, and every target is large enough."""
    who.page.evaluate(axe)
    found = who.page.evaluate("async () => (await axe.run()).violations.map(one => one.id)")
    assert found == []
    assert not who.page.evaluate(SIDEWAYS)
    assert who.page.evaluate(SMALL) == []


def read_from_the_back(wall: Window) -> None:
    """Every letter on the wall is tall enough for the last seat; nothing is below its edge."""
    texts = wall.page.evaluate(LETTERS)
    assert len(texts) > 2
    small = [text for text, tall, _ in texts if tall < FARTHEST_IN_HEIGHTS / ACUITY]
    assert small == []
    assert [text for text, _, ends in texts if ends > 1] == []


def all_join(meeting: Workshop, members: Sequence[Person], reader: Person, line: Cable) -> None:
    """By hand, by the code on the wall, and through a cable; the reader's page goes to the wall."""
    plain = meeting.joining.partition("#")[0]
    by_hand, *by_code, asleep = members
    by_hand.page.goto(plain)
    by_hand.page.get_by_label("Join word").fill(meeting.word.upper().replace("-", " "))
    press(by_hand.window, "Go on")
    for one in (*by_code, reader):
        one.page.goto(meeting.joining)
    asleep.page.goto(f"http://127.0.0.1:{line.port}/#join={meeting.word}")
    for one in members:
        join(one.window, f"member {one.number}")
    join(reader.window, "neighbours", as_="Join to read only")
    press(reader.window, "On the wall")
    sees(reader.window, meeting.word)
    read_from_the_back(reader.window)


def vote_through_a_kill(meeting: Workshop, members: Sequence[Person], line: Cable) -> None:
    """The server is killed while some have answered, one types and one presses; one sleeps.

    Nobody reloads a page: each comes back by itself, and what was pressed meanwhile is done.
    """
    *quick, typing, pressing, asleep = members
    asleep.think()
    line.cut()
    asleep.page.get_by_label("Why").first.press_sequentially(", and of the lead")
    for one in quick:
        one.think()
        one.give()
    typing.think()
    pressing.think()
    with pressing.socket.expect_event("close"):
        meeting.kill()
    press(pressing.window, "leave")
    press(pressing.window, "Give my private answer")
    meeting.start()
    typing.give()
    sees(pressing.window, "You gave: leave")
    assert pressing.page.get_by_label("Why").first.input_value() == f"{SECRET} {pressing.number}"
    line.mend()
    sees(asleep.window, f"Answered: {MEMBERS - 1} of {MEMBERS}")
    asleep.page.locator(ANSWERED).wait_for()
    assert asleep.page.get_by_label("Why").first.input_value() == (
        f"{SECRET} {asleep.number}, and of the lead"
    )
    asleep.give()


def nothing_leaked(folder: Path, meeting: Workshop, people: Sequence[Person]) -> None:
    """No page, no message to it and no file that may be handed on holds what another answered."""
    for one in people:
        for other in people:
            if other is not one:
                secret = f"{SECRET} {other.number}"
                assert secret not in one.page.content()
                assert not [frame for frame in one.heard if secret in frame]
    assert f"{SECRET} 1" in "".join(people[1].heard)
    holding = [
        path for path in folder.rglob("*")
        if path.is_file() and SECRET.encode() in path.read_bytes()
    ]  # fmt: skip
    assert {path.parent for path in holding} == {folder / "survey.meeting"}
    for name in ("survey.db", "survey.meeting/room.json"):
        given = people[-1].page.request.get(f"{meeting.leads.partition('#')[0]}{name}")
        assert given.status == 404


def decide(leads: Window) -> None:
    """The facilitator records another outcome than most chose."""
    press(leads, "leave and monitor")
    leads.page.get_by_label("Reasons").fill("The roof comes first")
    leads.page.locator(ANSWERED).wait_for()
    if leads.page.get_by_label("Reason of the override").count():
        leads.page.get_by_label("Reason of the override").fill("No scaffold before winter")
    press(leads, "Save the decision")
    sees(leads, "Members may now dissent and sign")


def dissent_and_sign(members: Sequence[Person]) -> None:
    """One dissents in two lines, another signs; both are on the pages of the others."""
    first, second, third, *_ = members
    second.page.get_by_text("Dissent", exact=True).first.click()
    second.page.get_by_label("Your dissent").fill(DISSENT)
    press(second.window, "Save my dissent")
    sees(first.window, "whatever the minutes say")
    press(first.window, "Sign this decision")
    sees(third.window, "Signed: member 1")


@pytest.mark.long
def test_eight_people_from_joining_to_changed_evidence(
    tmp_path: Path, browser: Any, axe: str
) -> None:
    """Nothing private is seen by others; a kill and a sleep lose nothing; dissent and signature."""
    place = keep(bare_rows({}, {"zone": "Z2"}), tmp_path / "survey.db")
    with ExitStack() as open_:
        meeting = open_.enter_context(workshop(tmp_path, tmp_path / "told.txt"))
        line = open_.enter_context(cable(urlsplit(meeting.joining).port or 0))
        leads, *members, reader = (
            Person(open_.enter_context(window(browser, size)), number)
            for number, size in enumerate((LAPTOP, *SIZES, PROJECTOR))
        )
        everybody = (leads, *members, reader)
        leads.page.goto(meeting.leads)
        all_join(meeting, members, reader, line)
        press(leads.window, "Z1")
        for one in (leads, *members[:3]):
            sees(one.window, "The recommendation is hidden")
            look(one.window, axe)
        vote_through_a_kill(meeting, members, line)
        leads.page.goto("about:blank")
        leads.page.goto(meeting.leads)
        sees(leads.window, f"Answered: {MEMBERS} of {MEMBERS}")
        sees(reader.window, f"{MEMBERS} of {MEMBERS}")
        nothing_leaked(tmp_path, meeting, everybody)

        press(leads.window, "Show the answers")
        for one in members:
            sees(one.window, f"{SECRET} {MEMBERS}, and of the lead")
        decide(leads.window)
        dissent_and_sign(members)
        with DatabaseSurvey(place) as survey:
            said = [one.dissent for one in survey.all(Opinion) if one.dissent]
            assert said == [DISSENT]
            assert [one.signer for one in survey.all(Signature)] == ["member 1"]
            zone = survey.record("zones", "Z1")
            survey.save(zone.changed(note="A crack"), who="office", reason="seen today")
        for one in (leads, *members):
            sees(one.window, "Evidence changed since signing: zones: changed among 1 record")
        for one in (leads, *members[:3], reader):
            look(one.window, axe)
        read_from_the_back(reader.window)
        assert [one.window.outside for one in everybody] == [[]] * len(everybody)
