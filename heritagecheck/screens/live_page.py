"""A page that Python writes as HTML, and that sends back what is done on it."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from heritagecheck.figures.svg import carried_faces

try:
    import anywidget
    import traitlets
except ImportError as error:
    raise ImportError("The screens need anywidget: pip install 'heritagecheck[lab]'") from error

HERE = Path(__file__).parent
# A file comes over in pieces of half a megabyte; what grows beyond this is refused.
MOST_BYTES = 400_000_000
EVENT_TEXTS = ("arg", "name", "value", "route", "once")


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
    A file that somebody chose: where it lies until the event is over, and what it is for.

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

    redraw: Callable[[], None]

    @property
    def route(self) -> str:
        """Where the person is."""

    @property
    def who(self) -> str:
        """Role of the person, which the browser keeps for the next time."""

    def html(self) -> str:
        """The whole page as it stands."""

    def hear(self, event: Event) -> None:
        """Do what was asked."""

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
        shown.redraw = self.show
        self.on_msg(self._heard)

    def _heard(self, _: object, content: Mapping[str, Any], buffers: list[memoryview]) -> None:
        """Hand on what the browser tells, show what came of it, and say that it was heard."""
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
        """Show the page as it stands now."""
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
