"""
Take the guide's pictures of a meeting about the example: members, a facilitator and the wall.

The join word is the same each time, so that the code on the wall is, too.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from browsing import PROJECTOR, TABLET, Window, window
from meeting_at_work import join, press, sees, workshop

import heritagecheck as hc
from heritagecheck.survey.meeting.privacy import PrivateFiles
from heritagecheck.survey.meeting.room import FILE, Room
from heritagecheck.survey.places import example_folder
from heritagecheck.survey.store.database_survey import DatabaseSurvey

if TYPE_CHECKING:
    from playwright.sync_api import Browser

WORD = "bagilo-timusa"
ZONE = "N06"
ANSWERS = {
    "engineer": ("leave and monitor", "The scaffold goes before new panels have aged."),
    "owner": ("trial first", "One more panel would cost us little."),
    "heritage authority": ("leave and monitor", "Two series damaged the stone. I would wait."),
    "tenant": ("trial first", ""),
}
DISSENT = "I would have laid one more panel before the winter."
SETTLED = '.hc-live[data-waiting="0"]'


def meeting_pictures(browser: Browser, folder: Path) -> Iterator[tuple[str, bytes]]:
    """Name and picture of each screen of a meeting that the guide shows."""
    place = folder / "meeting"
    place.mkdir()
    hc.import_survey(example_folder(), place / "survey.db").close()
    with DatabaseSurvey(place / "survey.db") as survey:
        begun = Room(survey, date(2026, 10, 5)).state.model_copy(update={"join": WORD})
        PrivateFiles(survey).write(FILE, begun)
    with ExitStack() as open_:
        meeting = open_.enter_context(workshop(place, folder / "told.txt"))
        wall = open_.enter_context(window(browser, PROJECTOR, scale=0.5))
        leads, *members = (
            open_.enter_context(window(browser, TABLET)) for _ in range(len(ANSWERS) + 1)
        )
        leads.page.goto(meeting.leads)
        for one, role in zip(members, ANSWERS, strict=True):
            one.page.goto(meeting.joining)
            join(one, role)
        wall.page.goto(meeting.joining)
        join(wall, "wall", as_="Join to read only")
        press(wall, "On the wall")
        sees(wall, WORD)
        yield "meeting-join", _seen(wall)
        yield from _answered(leads, members)
        yield from _decided(leads, members, wall)


def _answered(leads: Window, members: list[Window]) -> Iterator[tuple[str, bytes]]:
    """From the facts to the answers of all."""
    press(leads, ZONE)
    for one, (outcome, why) in zip(members, ANSWERS.values(), strict=True):
        press(one, outcome)
        one.page.get_by_label("Why").first.fill(why)
        press(one, "Give my private answer")
        sees(one, "You gave")
    yield "meeting-private", _seen(members[1], 980, "Answers in private")
    press(leads, "Show the answers")
    sees(members[0], "Answers given in private")
    yield "meeting-shown", _seen(members[0], 980, "Answers given in private")


def _decided(leads: Window, members: list[Window], wall: Window) -> Iterator[tuple[str, bytes]]:
    """From the decision to its signatures, and what is on the wall."""
    press(leads, "leave and monitor")
    leads.page.get_by_label("Reasons").fill("Look again at the next inspection.")
    leads.page.locator(SETTLED).wait_for()
    if leads.page.get_by_label("Reason of the override").count():
        leads.page.get_by_label("Reason of the override").fill("No scaffold while new panels age.")
    press(leads, "Save the decision")
    owner = members[1]
    sees(owner, "Not signed yet")
    owner.page.get_by_text("Dissent", exact=True).first.click()
    owner.page.get_by_label("Your dissent").fill(DISSENT)
    press(owner, "Save my dissent")
    for one in members[:3]:
        sees(one, "Dissent of owner, word for word")
        press(one, "Sign this decision")
        sees(one, "You signed this decision")
    sees(members[0], "Signed: engineer; owner; heritage authority")
    yield "meeting-decision", _seen(members[0], 760, "Decision")
    sees(wall, "Signed by engineer, owner, heritage authority")
    yield "meeting-wall", _seen(wall)


def _seen(who: Window, height_px: int = 0, begins: str = "") -> bytes:
    """What somebody sees, from a heading down where one is named."""
    page = who.page
    if height_px:
        page.set_viewport_size({"width": who.size.width_px, "height": height_px})
        page.wait_for_function("height => innerHeight === height", arg=height_px)
    if begins:
        heading = page.get_by_role("heading", name=begins, exact=True).first
        heading.evaluate("one => one.scrollIntoView()")
    page.locator(SETTLED).wait_for()
    page.wait_for_timeout(500)
    return page.screenshot()
