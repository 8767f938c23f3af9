"""The server of a meeting: one program, one page, no way to run anything on the computer."""

from __future__ import annotations

import asyncio
import base64
import json
import os
import socket
import sys
import time
import webbrowser
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.judgement.assess import assess
from heritagecheck.screens.live_page import EVENT_TEXTS, Event
from heritagecheck.screens.meeting.room_app import RoomApp
from heritagecheck.screens.meeting.seat import AnswersInHand
from heritagecheck.survey.meeting.privacy import PrivateFiles
from heritagecheck.survey.meeting.room import Room
from heritagecheck.survey.places import open_survey, survey_place
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.survey import Survey

HERE = Path(__file__).parent
USUAL_PORT = 8899
# Another program may save too; what it saved is shown at everybody's within this time.
LOOK_EVERY_S = 1.0
TOGETHER_S = 0.05
GUESSES_EVERY_S = 1.0
MOST_BYTES = 1_000_000
MOST_DEVICES = 100
NEEDS = "A meeting needs tornado and segno: pip install 'heritagecheck[lab]'"
UNSURE = (
    "The connection was lost just after you pressed a button. "
    "Check whether that was done; if not, press it again."
)
HEADERS = {
    "Content-Security-Policy": "default-src 'self'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' blob: data:; font-src 'self' data:; connect-src 'self' ws: wss:; "
    "frame-ancestors 'none'; base-uri 'none'; form-action 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}
ALONE = "127.0.0.1"
THIS_COMPUTER = "Only this computer reaches it."
NO_NETWORK = (
    f"{THIS_COMPUTER} It has no address on a network that others could use: connect it to one, "
    "then start the meeting again."
)
ON_THE_NETWORK = (
    "Everybody on this network who has the join word can take part.\n"
    "What goes over the network is not encrypted: use a network of your own.\n"
    "Whoever runs this computer can read the private answers."
)


@cache
def files() -> Mapping[str, tuple[str, bytes]]:
    """All that the server gives out: path to kind and content; no path names another file."""
    from heritagecheck.figures.svg import carried_faces

    beside = HERE.parent
    css = (carried_faces(), *((beside / "page.css", HERE / "room.css")))
    text = "\n".join(one if isinstance(one, str) else one.read_text("utf-8") for one in css)
    return {
        "/": ("text/html", (HERE / "room.html").read_bytes()),
        "/room.js": ("text/javascript", (HERE / "room.js").read_bytes()),
        "/page.js": ("text/javascript", (beside / "page.js").read_bytes()),
        "/page.css": ("text/css", text.encode()),
    }


class Hall:
    """All devices in the room, and what each of them sees."""

    def __init__(self, room: Room, addresses: Mapping[str, str]) -> None:
        self.room, self.addresses = room, addresses
        self.answers = AnswersInHand(room.survey)
        self.devices: set[Device] = set()
        self.guessing = asyncio.Lock()
        self._waits = False
        self._head = room.survey.journal_head
        room.changed = self.changed

    def changed(self) -> None:
        """Show everybody what changed, once for what changes in one go."""
        if not self._waits:
            self._waits = True
            asyncio.get_running_loop().call_later(TOGETHER_S, self._show)

    def _show(self) -> None:
        self._waits = False
        for device in tuple(self.devices):
            device.show()

    async def look_around(self) -> None:
        """Show what other programs save."""
        while True:
            await asyncio.sleep(LOOK_EVERY_S)
            head = self.room.survey.journal_head
            if head != self._head:
                self._head = head
                self.changed()


class Device:
    """
    One page that somebody has open.

    Parameters
    ----------
    hall : Hall
        The room that it is in.
    tell : callable
        Sends something to the page.
    """

    def __init__(self, hall: Hall, tell: Callable[[Mapping[str, Any]], None]) -> None:
        self.hall, self._tell = hall, tell
        self.app: RoomApp | None = None
        self._told = ("", "")

    async def heard(self, content: Mapping[str, Any]) -> None:
        """Do what the page tells, and answer it."""
        do = str(content.get("do", ""))
        texts = {key: str(content.get(key, "")) for key in EVENT_TEXTS}
        if do == "hello":
            await self._hello(content)
        elif self.app is not None:
            try:
                if do == "picture":
                    data, kind = self.app.picture(texts["arg"])
                    self._tell({
                        "picture": texts["arg"], "kind": kind,
                        "data": base64.b64encode(data).decode(),
                    })  # fmt: skip
                elif do in {"knock", "join"} and not self.app.who:
                    await self._guessed(Event(do, **texts))
                elif do != "alive":
                    self.app.hear(Event(do, **texts))
                if do not in {"alive", "picture"}:
                    self.show()
            finally:
                self._tell({"answered": content.get("number")})

    async def _hello(self, content: Mapping[str, Any]) -> None:
        """Show the page of whoever has the key."""
        key, route = str(content.get("key", "")), str(content.get("route", ""))
        app = RoomApp(self.hall.room, self.hall.answers, key, route, self.hall.addresses)
        app.desk.redraw = self.show
        app.tell_key = lambda kept: self._tell({"key": kept})
        self.app = app
        self._told = ("", "")
        word = str(content.get("word", ""))
        if word and not app.who:
            await self._guessed(Event("knock", value=word))
        if content.get("unsure") is True:
            app.desk.refuse(UNSURE)
        self._tell({"clock": time.time() * 1000})
        self.show()

    async def _guessed(self, event: Event) -> None:
        """Try a join word; wrong ones are told slowly, so that nobody tries many."""
        assert self.app is not None
        before = self.app.who
        async with self.hall.guessing:
            self.app.hear(event)
            if self.app.who == before and self.app.desk.said:
                await asyncio.sleep(GUESSES_EVERY_S)

    def show(self) -> None:
        """Show the page as it is now, where it changed."""
        if self.app is None:
            return
        html = self.app.html()
        if (html, self.app.route) != self._told:
            self._told = html, self.app.route
            self._tell({"html": html, "route": self.app.route})


def make_app(hall: Hall) -> Any:
    """The web application: four files and one socket, nothing else."""
    from tornado.web import Application

    return Application(
        [(r"/live", _socket(hall)), (r"/.*", _one_file())], hall=hall,
        websocket_max_message_size=MOST_BYTES, websocket_ping_interval=20,
    )  # fmt: skip


def _one_file() -> type[Any]:
    """What answers for the files; tornado is imported by whoever holds a meeting."""
    from tornado.web import HTTPError, RequestHandler

    class OneFile(RequestHandler):
        """One of the files."""

        def get(self) -> None:
            if self.request.path not in files():
                raise HTTPError(404)
            kind, content = files()[self.request.path]
            for name, value in HEADERS.items():
                self.set_header(name, value)
            self.set_header("Content-Type", f"{kind}; charset=utf-8")
            self.write(content)

        def set_default_headers(self) -> None:
            self.clear_header("Server")

    return OneFile


def _socket(hall: Hall) -> type[Any]:
    """What answers for the socket of each device."""
    from tornado.websocket import WebSocketClosedError, WebSocketHandler

    class Live(WebSocketHandler):
        """The socket of one device; only our own page may open it."""

        def open(self, *_: str) -> None:
            if len(hall.devices) >= MOST_DEVICES:
                self.close(reason="too many devices")
                return
            self.device = Device(hall, self._tell)
            hall.devices.add(self.device)

        def _tell(self, what: Mapping[str, Any]) -> None:
            try:
                sent = self.write_message(json.dumps(what))
            except WebSocketClosedError:
                return
            # The browser has disconnected meanwhile; that is no fault.
            asyncio.ensure_future(sent).add_done_callback(lambda done: done.exception())

        async def on_message(self, message: str | bytes) -> None:
            try:
                content = json.loads(message)
            except ValueError:
                self.close(reason="not understood")
                return
            if isinstance(content, dict):
                await self.device.heard(content)

        def on_close(self) -> None:
            if hasattr(self, "device"):
                hall.devices.discard(self.device)

    return Live


def own_address() -> str:
    """Address of this computer on the local network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as tried:
        try:
            # Nothing is sent: the system only says which of its addresses it would use.
            tried.connect(("192.0.2.1", 9))
            return str(tried.getsockname()[0])
        except OSError:
            return ALONE


def qr_code(address: str) -> tuple[str, str]:
    """The address as a code to be scanned: for the terminal, and as a picture."""
    import io

    import segno

    code = segno.make(address, error="m")
    text = io.StringIO()
    code.terminal(text, compact=True)
    picture = io.BytesIO()
    code.save(picture, kind="svg", scale=8, border=3, light="#fff")
    return text.getvalue(), picture.getvalue().decode()


def bound(*, lan: bool, before: int = 0) -> socket.socket:
    """The port of before, the usual one, or another; this computer only, unless `lan`."""
    host = "0.0.0.0" if lan else ALONE
    for port in (before or USUAL_PORT, USUAL_PORT, 0):
        found = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            if os.name != "nt":
                found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            found.bind((host, port))
            found.listen(MOST_DEVICES)
        except OSError:
            found.close()
            continue
        found.setblocking(False)
        return found
    raise OSError("no port of this computer is free")


@dataclass(frozen=True, slots=True)
class Invitation:
    """How people reach a meeting that is being served: an address, a word, a code to scan."""

    plain: str
    word: str
    leads: str
    in_terminal: str
    code: str
    lan: bool

    def reach(self, with_lan: str) -> str:
        """Who reaches it, and what that means; how the network is let in where it is not."""
        if not self.lan:
            return f"{THIS_COMPUTER} With {with_lan}, others on the local network do too."
        return NO_NETWORK if urlsplit(self.plain).hostname == ALONE else ON_THE_NETWORK


def shows(text: str, encoding: str) -> bool:
    """Whether a console of this encoding has every sign; half a code can't be scanned."""
    return text.encode(encoding, "ignore").decode(encoding) == text


def survey_of_meeting(survey: Survey, name: str) -> DatabaseSurvey:
    """The survey, if a meeting can be held about it; refused where something is not installed."""
    if not all(map(find_spec, ("tornado", "segno", "anywidget"))):
        raise ImportError(NEEDS)
    if not isinstance(survey, DatabaseSurvey):
        fault = Fault(name, None, "", "", "a meeting needs a survey in a database; import it first")
        raise SurveyError([fault], nothing="opened")
    return survey


def serve(
    folder: str, say: Callable[[str], None], *, lan: bool, browser: bool, today: date
) -> None:
    """
    Hold a meeting about the survey in a folder, until somebody stops it.

    Parameters
    ----------
    folder : str
        Folder of the survey, or address of its database.
    say : callable
        Told the addresses, the join word and the cautions.
    lan : bool
        Whether other computers of the local network reach it; else only this one.
    browser : bool
        Whether the facilitator's page is opened.
    today : date
        Day of a meeting that begins now.
    """

    def invited(to: Invitation) -> None:
        if shows(to.in_terminal, sys.stdout.encoding):
            say(to.in_terminal)
        say(f"Others join at\n  {to.plain}\nwith the join word\n  {to.word}")
        say(to.reach("--lan"))
        say(
            f"The facilitator's page, for this computer alone:\n  {to.leads}\nPress Ctrl-C to stop."
        )
        if browser:
            webbrowser.open(to.leads)

    with survey_of_meeting(open_survey(survey_place(folder)), folder) as survey:
        asyncio.run(held(survey, invited, say, lan=lan, today=today))


async def held(
    survey: DatabaseSurvey, invited: Callable[[Invitation], None], say: Callable[[str], None],
    *, lan: bool, today: date, until: asyncio.Event | None = None,
) -> None:  # fmt: skip
    """Hold a meeting until an event comes or the program is stopped; no other may hold it."""
    from tornado.httpserver import HTTPServer

    with PrivateFiles(survey).held_alone():
        room = Room(survey, today)
        listening = bound(lan=lan, before=room.state.port)
        port = listening.getsockname()[1]
        room.note_port(port)
        host = own_address() if lan else ALONE
        plain = urlunsplit(("http", f"{host}:{port}", "/", "", ""))
        word = room.state.join
        in_terminal, code = qr_code(f"{plain}#join={word}")
        hall = Hall(room, {"plain": plain, "name": f"code {port} {word}", "code": code})
        say("Looking through all zones …")
        try:
            hall.answers.keep(assess(hall.answers.evidence_now()))
        except SurveyError as error:
            say(f"No answers yet: {error}")
        server = HTTPServer(make_app(hall), max_body_size=MOST_BYTES, max_buffer_size=MOST_BYTES)
        server.add_socket(listening)
        leads = f"http://127.0.0.1:{port}/#leads={room.facilitator_key()}"
        invited(Invitation(plain, word, leads, in_terminal, code, lan))
        looking = asyncio.ensure_future(hall.look_around())
        try:
            await (until or asyncio.Event()).wait()
        finally:
            looking.cancel()
            server.stop()
            await server.close_all_connections()
