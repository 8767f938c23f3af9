"""What the page tells that no screen offers: forged, late, broken off, told twice."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from hand_at_screen import Hand
from walker import failures

from heritagecheck.screens import live_page
from heritagecheck.screens.live_page import Event, GivenFile, LivePage, Notice


class Listener:
    """A page that notes what it is told, and what it is given."""

    route, who = "here", "conservator"

    def __init__(self) -> None:
        self.notice = Notice()
        self.heard: list[Event] = []
        self.given: list[tuple[str, bytes]] = []

    def html(self) -> str:
        """Nothing."""
        return ""

    def hear(self, event: Event) -> None:
        """Note it."""
        self.heard.append(event)

    def take(self, file: GivenFile) -> None:
        """Note its name and content."""
        self.given.append((file.name, file.path.read_bytes()))

    def picture(self, name: str, route: str | None = None) -> tuple[bytes, str]:
        """None."""
        return b"", ""


def piece(start: int, *, last: bool, upload: str = "1") -> dict[str, Any]:
    """What comes with a piece of a file."""
    return {"do": "file", "name": "../a.jpg", "from": start, "last": last, "upload": upload}


def told(page: LivePage, content: Mapping[str, Any], data: bytes | None = None) -> None:
    """Tell the page something, as the browser does."""
    page._heard(page, content, [] if data is None else [memoryview(data)])


def test_two_files_of_one_name_do_not_mix() -> None:
    """Pieces belong to their own file, though a telephone gives every picture the same name."""
    shown = Listener()
    page = LivePage(shown, "test")

    told(page, piece(0, last=False, upload="1"), b"aa")
    told(page, piece(0, last=False, upload="2"), b"bb")
    told(page, piece(2, last=True, upload="1"), b"AA")
    told(page, piece(2, last=True, upload="2"), b"BB")

    assert shown.given == [("a.jpg", b"aaAA"), ("a.jpg", b"bbBB")]


@pytest.mark.parametrize(
    ("start", "data"), [(7, b"x"), (2, None), (-1, b"x")], ids=["gap", "no piece", "negative"]
)
def test_a_file_that_breaks_off_is_refused(start: int, data: bytes | None) -> None:
    """A piece that does not follow the last is said, and the half file is never taken."""
    shown = Listener()
    page = LivePage(shown, "test")

    told(page, piece(0, last=False), b"aa")
    told(page, piece(start, last=True), data)

    assert not shown.given
    assert shown.heard[-1].value == "It did not arrive whole. Choose it again."


def test_a_file_that_grows_beyond_all_measure_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk is not filled by one upload."""
    monkeypatch.setattr(live_page, "MOST_BYTES", 3)
    shown = Listener()
    page = LivePage(shown, "test")

    told(page, piece(0, last=False), b"aa")
    told(page, piece(2, last=True), b"aa")

    assert not shown.given
    assert "larger than" in shown.heard[-1].value


@pytest.mark.parametrize("do", ["nothing_like_this", "__class__", "", "_shown"])
def test_what_no_screen_does_is_told_in_a_sentence(hand: Hand, do: str) -> None:
    """A press from a page that is out of date reaches no other method, and is no failure."""
    with failures() as failed:
        hand.app.hear(Event(do, route="structure"))

    assert not failed
    assert "Press again" in hand.page


def test_a_screen_that_can_not_be_shown_says_why_and_leads_on(
    hand: Hand, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The page is never left without an answer: it names the fault, and Start is in reach."""
    hand.go("structure")

    def full(_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(type(hand.app.screen), "values", full)

    assert "This could not be done." in hand.page
    hand.press("go")
    assert hand.app.route == ""


def test_codes_of_a_forged_route_are_shown_as_text(hand: Hand) -> None:
    """What stands in an address runs nowhere, and leaves the survey's folder nowhere."""
    for route in ("zone/<script>alert(1)</script>", "zone/..%2F..%2Fetc", "outline/<x>/<x>"):
        with failures() as failed:
            hand.go(route)
            page = hand.page

        assert not failed
        assert "<script>" not in page
        assert "<x>" not in page
