"""A page that Python writes as HTML: what is done on it, and what it says of its work."""

from __future__ import annotations

import asyncio
import logging
import os
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, TypeVar

from heritagecheck.errors import ReportError, SurveyError, in_words
from heritagecheck.figures.svg import carried_faces
from heritagecheck.progress import Told
from heritagecheck.survey.entry.record_form import refusals

try:
    import anywidget
    import traitlets
except ImportError as error:
    raise ImportError("The screens need anywidget: pip install 'heritagecheck[lab]'") from error

LOG = logging.getLogger(__name__)
SHOWN_EVERY_S = 0.4
Result = TypeVar("Result")
HERE = Path(__file__).parent
# A file comes over in pieces of half a megabyte; what grows beyond this is refused.
MOST_BYTES = 400_000_000
EVENT_TEXTS = ("arg", "name", "value", "route", "once")


class Notice:
    """The last word said to a person, and how far a long work has come."""

    def __init__(self) -> None:
        self.said = ""
        self.faults: tuple[str, ...] = ()
        self.working = ""
        self.progress = 0, 0
        self.redraw: Callable[[], None] = lambda: None

    def say(self, words: str) -> None:
        """Tell what was done."""
        self.said, self.faults = words, ()

    def refuse(self, words: str, *more: str) -> None:
        """Tell what was not done, and why."""
        self.said, self.faults = words, tuple(more)

    def later(
        self, words: str, work: Callable[[Told], Result], done: Callable[[Result], None]
    ) -> None:
        """
        Do what takes long, while the page lives on; then show what came of it.

        Parameters
        ----------
        words : str
            What is being done, such as ``"Writing the report"``.
        work : callable
            Does it in a thread of its own, and tells how much is done of how much.
        done : callable
            Takes what came of it.
        """
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            # Nobody waits at a page.
            self.guarded(lambda: done(work(lambda _, __: None)))
            return
        if self.working:
            self.refuse(f"{self.working} is not finished. Wait until it is, then press again.")
            return
        self.working, self.progress = words, (0, 0)
        self._task = loop.create_task(
            self._followed(loop.run_in_executor(None, work, self._told), done)
        )

    def _told(self, ready: int, of: int) -> None:
        self.progress = ready, of

    async def _followed(self, work: asyncio.Future[Result], done: Callable[[Result], None]) -> None:
        """Show how far a work has come, until it ends."""
        while not work.done():
            await asyncio.wait([work], timeout=SHOWN_EVERY_S)
            self.redraw()
        self.working = ""
        self.guarded(lambda: done(work.result()))
        self.redraw()

    def guarded(self, act: Callable[[], None]) -> None:
        """Tell a fault where the person sees it: a notebook would show none of a callback's."""
        try:
            act()
        except SurveyError as error:
            self.refuse("Nothing was saved.", *refusals(error))
        except OSError as error:
            self.refuse("This could not be done.", in_words(error))
        except (ValueError, ReportError) as error:
            self.refuse("This could not be done.", str(error))
        # A bug of ours, not a mistake of the person: say so, log details, keep the page alive.
        except Exception:
            LOG.exception("a screen failed")
            self.refuse(
                "The program failed at this. What you saved and your draft are kept.",
                "Reload the page. The details are in the log of the program.",
            )


@dataclass(frozen=True, slots=True)
class Event:
    """
    What somebody did on the page: pressed, typed, left a field, pointed, gave a file.

    `once` marks what must not be done twice where a page that lost its answer tells it again.
    """

    do: str
    arg: str = ""
    name: str = ""
    value: str = ""
    route: str = ""
    once: str = ""


@dataclass(frozen=True, slots=True)
class GivenFile:
    """
    A file that somebody chose: its path until the event is over, and its purpose.

    `route` is the screen on which it was chosen; the one that is shown where none is given.
    """

    path: Path
    name: str
    use: str
    arg: str = ""
    last: bool = True
    route: str | None = None


class Shown(Protocol):
    """What a page shows: it writes itself as HTML, and hears what is done on it."""

    @property
    def notice(self) -> Notice:
        """What it says of its work, and shows again by itself."""

    @property
    def route(self) -> str:
        """Where the person is."""

    @property
    def who(self) -> str:
        """Role of the person, which the browser keeps for the next time."""

    def html(self) -> str:
        """The whole current page."""

    def hear(self, event: Event) -> None:
        """Handle an event."""

    def take(self, file: GivenFile) -> None:
        """Take in a file."""

    def picture(self, name: str, route: str | None = None) -> tuple[bytes, str]:
        """A picture that a page named, and its kind."""


class LivePage(anywidget.AnyWidget):
    """
    The widget that carries a page.

    Parameters
    ----------
    shown : Shown
        What the page shows.
    kept_as : str
        Name under which the browser keeps what Python has not read yet.
    part : bool
        Whether it is one of several parts of a notebook: it then has no address of its own, keeps
        nothing in the browser, and asks for nothing by itself.
    """

    _esm = HERE / "page.js"
    # The page carries its type itself: no site can fetch one.
    _css = f"{carried_faces()}\n{(HERE / 'page.css').read_text(encoding='utf-8')}"
    html = traitlets.Unicode().tag(sync=True)
    route = traitlets.Unicode().tag(sync=True)
    kept_as = traitlets.Unicode().tag(sync=True)
    part = traitlets.Bool().tag(sync=True)

    def __init__(self, shown: Shown, kept_as: str, *, part: bool = False) -> None:
        self.shown = shown
        self._half: dict[str, Path] = {}
        super().__init__(html=shown.html(), route=shown.route, kept_as=kept_as, part=part)
        shown.notice.redraw = self.show
        self.on_msg(self._heard)

    def _heard(self, _: object, content: Mapping[str, Any], buffers: list[memoryview]) -> None:
        """Handle an event of the browser, show the result, and acknowledge it."""
        do = str(content.get("do", ""))
        texts = {key: str(content.get(key, "")) for key in EVENT_TEXTS}
        try:
            if do == "picture":
                data, kind = self.shown.picture(texts["arg"], texts["route"])
                self.send({"picture": texts["arg"], "kind": kind}, [data])
            elif do == "file":
                self._take(content, texts, buffers)
            elif do != "alive":
                self.shown.hear(Event(do, **texts))
            self.show()
        finally:
            # A page that never hears of its event would wait for it for good.
            self.send({"answered": content.get("number"), "who": self.shown.who})

    def as_cell(self, words: str) -> tuple[dict[str, Any], dict[str, Any]]:
        """The page as the result of a cell, with words for whoever reads it without widgets."""
        view = {"version_major": 2, "version_minor": 0, "model_id": self.model_id}
        return {"application/vnd.jupyter.widget-view+json": view, "text/plain": words}, {}

    def show(self) -> None:
        """Show the current page."""
        with self.hold_sync():
            self.html = self.shown.html()
            self.route = self.shown.route

    def _take(
        self, content: Mapping[str, Any], texts: Mapping[str, str], buffers: list[memoryview]
    ) -> None:
        """Put the pieces of a file together, and hand it on once it is whole."""
        name, key = Path(texts["name"]).name, str(content.get("upload", texts["name"]))
        if not content.get("from"):
            self._drop(key)
            handle, path = tempfile.mkstemp(suffix=Path(name).suffix.lower())
            os.close(handle)
            self._half[key] = Path(path)
        half = self._half.get(key)
        if half is None or half.stat().st_size != content.get("from") or not buffers:
            why = "It did not arrive whole. Choose it again."
        elif half.stat().st_size + buffers[0].nbytes > MOST_BYTES:
            why = f"It is larger than {MOST_BYTES // 10**6} MB. Save it smaller."
        else:
            with half.open("ab") as file:
                file.write(buffers[0])
            why = ""
        try:
            if why:
                self.shown.hear(Event("not_read", name=name, value=why))
            elif half is not None and content.get("last"):
                last = content.get("index", 0) + 1 == content.get("of", 1)
                use, arg, route = texts["value"], texts["arg"], texts["route"]
                self.shown.take(GivenFile(half, name, use, arg, last, route))
        finally:
            if why or content.get("last"):
                self._drop(key)

    def _drop(self, key: str) -> None:
        """Forget the pieces of a file."""
        if half := self._half.pop(key, None):
            half.unlink(missing_ok=True)
