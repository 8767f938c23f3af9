"""A page that Python writes as HTML, and that sends back what is done on it."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import anywidget
import traitlets

from heritagecheck.documents.page_templates import carried_faces

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
    """A file that somebody chose: where it lies until the event is over, and what it is for."""

    path: Path
    name: str
    use: str
    arg: str = ""
    last: bool = True


class Shown(Protocol):
    """What a page shows: it writes itself as HTML, and hears what is done on it."""

    redraw: Callable[[], None]

    @property
    def route(self) -> str:
        """Where the person is."""

    def html(self) -> str:
        """The whole page as it stands."""

    def hear(self, event: Event) -> None:
        """Do what was asked."""

    def take(self, file: GivenFile) -> None:
        """Take in a file."""

    def picture(self, name: str) -> tuple[bytes, str]:
        """A picture that the page names, and its kind."""


class LivePage(anywidget.AnyWidget):
    """
    The widget that carries a page.

    Parameters
    ----------
    shown : Shown
        What the page shows.
    kept_as : str
        Name under which the browser keeps what Python has not read yet.
    """

    _esm = HERE / "page.js"
    # The page carries its type itself: no site can fetch one.
    _css = f"{carried_faces()}\n{(HERE / 'page.css').read_text(encoding='utf-8')}"
    html = traitlets.Unicode().tag(sync=True)
    route = traitlets.Unicode().tag(sync=True)
    kept_as = traitlets.Unicode().tag(sync=True)

    def __init__(self, shown: Shown, kept_as: str) -> None:
        self.shown = shown
        self._half: dict[str, Path] = {}
        super().__init__(html=shown.html(), route=shown.route, kept_as=kept_as)
        shown.redraw = self.show
        self.on_msg(self._heard)

    def _heard(self, _: object, content: Mapping[str, Any], buffers: list[memoryview]) -> None:
        """Hand on what the browser tells, show what came of it, and say that it was heard."""
        do = str(content.get("do", ""))
        if do == "picture":
            data, kind = self.shown.picture(str(content["arg"]))
            self.send({"picture": content["arg"], "kind": kind}, [data])
        elif do == "file":
            self._take(content, buffers[0])
        elif do != "alive":
            texts = {key: str(content.get(key, "")) for key in EVENT_TEXTS}
            self.shown.hear(Event(do, **texts))
        self.show()
        self.send({"answered": content["number"]})

    def show(self) -> None:
        """Show the page as it stands now."""
        with self.hold_sync():
            self.html = self.shown.html()
            self.route = self.shown.route

    def _take(self, content: Mapping[str, Any], piece: memoryview) -> None:
        """Put the pieces of a file together, and hand it on once it is whole."""
        name = str(content["name"])
        if not content["from"]:
            self._half[name] = Path(tempfile.mkstemp(suffix=Path(name).suffix.lower())[1])
        path = self._half[name]
        with path.open("ab") as half:
            half.write(piece)
        if content["last"]:
            last = content["index"] + 1 == content["of"]
            use, arg = str(content["value"]), str(content["arg"])
            try:
                self.shown.take(GivenFile(path, Path(name).name, use, arg, last))
            finally:
                path.unlink(missing_ok=True)
                del self._half[name]
