"""The server of a meeting: four files, one socket, and nothing that could be run or downloaded."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from bare_survey import bare_rows, keep

pytest.importorskip("tornado", reason="the meeting is served by tornado")

from tornado.httpclient import AsyncHTTPClient, HTTPClientError, HTTPRequest
from tornado.httpserver import HTTPServer
from tornado.netutil import bind_sockets
from tornado.websocket import WebSocketClientConnection, websocket_connect

from heritagecheck.screens.meeting.room_server import (
    Hall,
    Invitation,
    bound,
    make_app,
    qr_code,
    shows,
)
from heritagecheck.survey.meeting.room import Room
from heritagecheck.survey.store.database_survey import DatabaseSurvey

SECRET = "Only I know of the iron"


class Served:
    """A meeting that is served, until it is stopped or killed."""

    def __init__(self, place: Path) -> None:
        self.room = Room(DatabaseSurvey(place), date(2026, 5, 4))
        addresses = {"plain": "http://127.0.0.1/", "name": "code", "code": "<svg/>"}
        self.server = HTTPServer(make_app(Hall(self.room, addresses)))
        sockets = bind_sockets(0, "127.0.0.1")
        self.server.add_sockets(sockets)
        self.phones: list[Phone] = []
        self.port = sockets[0].getsockname()[1]

    @property
    def address(self) -> str:
        """Where it is served."""
        return f"127.0.0.1:{self.port}"

    def stop(self) -> None:
        """Stop it as a kill would: nothing is written any more."""
        self.server.stop()
        self.room.survey.close()


class Phone:
    """A page that somebody has open, as the program sees it."""

    def __init__(self, socket: WebSocketClientConnection) -> None:
        self.socket, self.html, self.key, self.number = socket, "", "", 0

    async def says(self, **event: Any) -> None:
        """Tell something, and hear all that comes until it is answered."""
        self.number += 1
        await self.socket.write_message(json.dumps({"number": self.number, **event}))
        answered = False
        while not answered:
            told = await self._hears()
            answered = told.get("answered") == self.number or (
                event["do"] == "hello" and "html" in told
            )

    async def until(self, words: str) -> None:
        """Hear what comes by itself until the page holds some words."""
        while words not in self.html:
            await self._hears()

    async def _hears(self) -> dict[str, Any]:
        told: dict[str, Any] = json.loads(
            await asyncio.wait_for(self.socket.read_message(), 20) or "{}"
        )
        self.html, self.key = told.get("html", self.html), told.get("key", self.key)
        return told


async def phone(served: Served, *, word: str = "", key: str = "") -> Phone:
    """Open the page."""
    found = Phone(await websocket_connect(f"ws://{served.address}/live"))
    served.phones.append(found)
    await found.says(do="hello", word=word, key=key)
    return found


def run(place: Path, act: Callable[[Served], Awaitable[None]]) -> None:
    """Serve a meeting as long as something is tried."""

    async def all_of_it() -> None:
        served = Served(place)
        try:
            await act(served)
        finally:
            for one in served.phones:
                one.socket.close()
                # The last word of a socket is None.
                while await one.socket.read_message() is not None:
                    pass
            served.stop()

    asyncio.run(all_of_it())


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """Keep a survey of one zone."""
    return keep(bare_rows({}), tmp_path / "survey.db")


def test_only_the_page_is_given_out(place: Path) -> None:
    """No database, no private file, no kernel, no contents; no page may frame ours."""

    async def act(served: Served) -> None:
        client = AsyncHTTPClient()
        page = await client.fetch(f"http://{served.address}/")
        assert b"room.js" in page.body
        assert "frame-ancestors 'none'" in page.headers["Content-Security-Policy"]
        assert "Server" not in page.headers
        for path in (
            "survey.db", "survey.meeting/room.json", "..%2Fsurvey.db", "api/kernels", "lab",
            "api/contents/survey.db", "voila/render/start.ipynb", "files/survey.db",
        ):  # fmt: skip
            with pytest.raises(HTTPClientError, match="404"):
                await client.fetch(f"http://{served.address}/{path}")
        with pytest.raises(HTTPClientError, match="405"):
            await client.fetch(f"http://{served.address}/", method="POST", body="")

    run(place, act)


def test_no_other_page_may_open_the_socket(place: Path) -> None:
    """A page of another origin, in the browser of a member, is refused."""

    async def act(served: Served) -> None:
        foreign = HTTPRequest(
            f"ws://{served.address}/live", headers={"Origin": "http://elsewhere.example"}
        )
        with pytest.raises(HTTPClientError, match="403"):
            await websocket_connect(foreign)

    run(place, act)


def test_a_change_reaches_the_others_by_itself(place: Path) -> None:
    """One joins, one answers, the facilitator shows: every page follows without being asked."""

    async def act(served: Served) -> None:
        leads = await phone(served, key=served.room.facilitator_key())
        engineer = await phone(served, word=served.room.state.join)
        await engineer.says(do="type", name="role", value="engineer")
        await engineer.says(do="join", arg="member")
        await leads.until("engineer, member")
        await leads.says(do="take_up", arg="Z1")
        await engineer.until("Answers in private")
        await engineer.says(do="choose", arg="answer.Z1.outcome=leave")
        await engineer.says(do="type", name="answer.Z1.why", value=SECRET)
        await engineer.says(do="answer", arg="Z1")
        await leads.until("Answered: 1 of 1")
        assert SECRET not in leads.html
        await leads.says(do="show_answers", route="zone")
        await engineer.until("What heritagecheck recommends")
        assert SECRET in leads.html

    run(place, act)


def test_what_another_program_saves_is_shown(place: Path) -> None:
    """A survey page beside the meeting saves a zone; the meeting shows it by itself."""

    async def act(served: Served) -> None:
        looking = asyncio.ensure_future(
            served.server.request_callback.settings["hall"].look_around()
        )
        leads = await phone(served, key=served.room.facilitator_key())
        await leads.says(do="take_up", arg="Z1")
        with DatabaseSurvey(place) as other:
            zone = other.record("zones", "Z1")
            other.save(zone.changed(significance_reason="The last of its kind"), who="office")
        await leads.until("The last of its kind")
        looking.cancel()

    run(place, act)


def test_a_killed_server_loses_nothing_that_it_acknowledged(place: Path) -> None:
    """The next server knows the person by the key, the answer, and the half sentence."""
    kept: list[str] = []

    async def first(served: Served) -> None:
        engineer = await phone(served, word=served.room.state.join)
        await engineer.says(do="type", name="role", value="engineer")
        await engineer.says(do="join", arg="member")
        served.room.take_up("Z1")
        await engineer.says(do="choose", arg="answer.Z1.outcome=leave")
        await engineer.says(do="answer", arg="Z1")
        await engineer.says(do="type", name="answer.Z1.why", value=SECRET)
        kept.append(engineer.key)

    async def then(served: Served) -> None:
        engineer = await phone(served, key=kept[0])
        assert "You gave: <b>leave</b>" in engineer.html
        assert SECRET in engineer.html
        assert "connection was lost" not in engineer.html
        await engineer.says(do="hello", key=kept[0], unsure=True)
        assert "Check whether that was done; if not, press it again." in engineer.html

    run(place, first)
    run(place, then)


def test_wrong_words_are_answered_slowly_and_let_nobody_in(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However often somebody tries, and whatever else the page tells, nothing is shown."""
    monkeypatch.setattr("heritagecheck.screens.meeting.room_server.GUESSES_EVERY_S", 0.01)

    async def act(served: Served) -> None:
        stranger = await phone(served, key="guessed")
        for word in ("bababa-bababa", "", "x" * 1000):
            await stranger.says(do="type", name="word", value=word)
            await stranger.says(do="knock")
            assert "This is not the join word" in stranger.html
        await stranger.says(do="take_up", arg="Z1", route="zone")
        await stranger.says(do="picture", arg="code")
        assert "mill" not in stranger.html
        assert served.room.state.zone == ""

    run(place, act)


def test_the_port_is_of_this_computer_alone_unless_the_network_is_asked_for() -> None:
    """127.0.0.1 by default; every address only with --lan."""
    for lan, host in ((False, "127.0.0.1"), (True, "0.0.0.0")):
        with bound(lan=lan) as listening:
            assert listening.getsockname()[0] == host


def test_the_code_holds_the_address() -> None:
    """For the terminal as signs, for the wall as a picture that needs no network."""
    in_terminal, picture = qr_code("http://127.0.0.1:8899/#join=bababa-bababa")

    assert "█" in in_terminal
    assert picture.lstrip().startswith("<?xml") or picture.startswith("<svg")


def test_without_a_network_nobody_is_told_that_others_can_join() -> None:
    """Its own address leads others nowhere, although the network is let in."""

    def reach(host: str, *, lan: bool) -> str:
        return Invitation(f"http://{host}:8899/", "word", "", "", "", lan).reach("--lan")

    assert reach("192.0.2.7", lan=True).startswith("Everybody on this network")
    assert reach("127.0.0.1", lan=False).endswith("With --lan, others on the local network do too.")
    assert reach("127.0.0.1", lan=True) == (
        "Only this computer reaches it. It has no address on a network that others could use: "
        "connect it to one, then start the meeting again."
    )


def test_a_console_without_its_signs_is_shown_no_code() -> None:
    """Question marks can't be scanned; the address and the join word follow in letters."""
    in_terminal, _ = qr_code("http://192.0.2.7:8899/#join=word-word")

    assert shows(in_terminal, "utf-8")
    assert not shows(in_terminal, "cp1252")
    assert not shows(in_terminal, "ascii")
