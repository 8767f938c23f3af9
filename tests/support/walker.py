"""A visitor who presses and types at random on the survey screens, and what went wrong then."""

from __future__ import annotations

import json
import logging
import random
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from html.parser import HTMLParser
from pathlib import Path

from heritagecheck.screens.app import App
from heritagecheck.screens.live_page import Event, GivenFile

TEXTS = (
    "", " ", "nonsense", "12,5", "12.5", "-3", "0", "1e400", "nan", "1324", "2026-11-30",
    "30.2.2026", "🧱🔥", "<script>alert(1)</script>", "../../etc", "a/b#c?d", "T1; T2;;", "no",
    "1\t2\t3\n4\t5\t6", "45,1\t1,2\t8,3", "\ud83d", "\x00", "conservator", "granite",
    "x" * 5000, "=1+1", "%2F", "40 1 5", "1990", "N01", "yes",
)  # fmt: skip
FORGED = ("nothing_like_this", "__class__", "")
ROUTES = ("zone/none", "zone/<b>", "zone/../x", "outline", "elevation/none", "nowhere", "zones")
SLOW = {"assess", "report"}


class _Found(HTMLParser):
    """What can be pressed, typed into or given a file on a page."""

    def __init__(self) -> None:
        super().__init__()
        self.things: list[dict[str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note what listens."""
        one = {"tag": tag, **{key: value or "" for key, value in attrs}}
        if one.keys() & {
            "data-do",
            "name",
            "data-take",
            "data-enter",
            "data-paste",
            "data-line",
            "data-picture",
        }:
            self.things.append(one)


class Walker:
    """
    Somebody who does at random what the page offers, and now and then what it does not.

    Parameters
    ----------
    app : App
        The screens.
    by : random.Random
        Chooses.
    files : sequence of Path
        Files to give where a screen takes one.
    skips : set of str
        What is not pressed, because it takes long.
    """

    def __init__(
        self, app: App, by: random.Random, files: list[Path], skips: set[str] = SLOW
    ) -> None:
        self.app, self.by, self.files, self.skips = app, by, files, skips
        self.done: list[str] = []
        app.hear(Event("open", value=by.choice(["conservator", "engineer", ""])))

    def step(self) -> None:
        """Do one thing, and look at the page, as the browser would."""
        found = _Found()
        found.feed(self.app.html())
        for thing in found.things:
            if "data-picture" in thing:
                self.app.picture(thing["data-picture"])
        if found.things and self.by.random() > 0.03:
            self._use(self.by.choice(found.things))
        else:
            self._forge()
        assert "This page can’t be shown" not in self.app.html(), self.done[-5:]

    def _hear(self, do: str, **more: str) -> None:
        self.done.append(f"{self.app.route!r}: {do} {more}")
        self.app.hear(Event(do, route=self.app.route, **more))

    def _use(self, thing: dict[str, str]) -> None:
        do, arg, name = thing.get("data-do"), thing.get("data-arg", ""), thing.get("name", "")
        if "disabled" in thing:
            return
        if "data-take" in thing:
            self._give(thing["data-take"], arg)
        elif do and "data-points" in thing:
            self._hear(do, arg=arg, value=self._points(thing["data-points"]))
        elif do and thing["tag"] != "input":
            if do not in self.skips:
                self._hear(do, arg=arg)
        elif name:
            value = self.by.choice(TEXTS)
            if thing.get("type") in {"radio", "checkbox"}:
                value = self.by.choice([thing.get("value", "yes"), ""])
            self._hear("type", name=name, value=value)
            self._hear("leave", name=name)
            for key in ("data-enter", "data-paste", "data-line"):
                if thing.get(key) and self.by.random() < 0.7:
                    once = str(self.by.random()) if key == "data-line" else ""
                    self._hear(thing[key], arg=arg, name=name, value=value, once=once)

    def _points(self, shown: str) -> str:
        points = json.loads(shown)
        new = [self.by.uniform(-50, 3000), self.by.uniform(-50, 2000)]
        if points and self.by.random() < 0.4:
            points[self.by.randrange(len(points))] = new
        elif points and self.by.random() < 0.2:
            points.pop(self.by.randrange(len(points)))
        else:
            points.append(new)
        return json.dumps(points)

    def _give(self, use: str, arg: str) -> None:
        chosen = self.by.choice(self.files)
        lent = Path(shutil.copy(chosen, chosen.with_name(f"lent{chosen.suffix}")))
        self.done.append(f"{self.app.route!r}: take {chosen.name}")
        self.app.take(GivenFile(lent, chosen.name, use, arg))

    def _forge(self) -> None:
        if self.by.random() < 0.5:
            self._hear("go", arg=self.by.choice(ROUTES))
        else:
            self._hear(self.by.choice(FORGED), arg=self.by.choice(TEXTS), name="x.y")


@contextmanager
def failures() -> Iterator[list[logging.LogRecord]]:
    """Collect every failure of the program that a screen keeps in its log."""
    kept: list[logging.LogRecord] = []
    handler = logging.Handler(logging.ERROR)
    handler.emit = kept.append  # type: ignore[method-assign]
    log = logging.getLogger("heritagecheck.screens.app")
    log.addHandler(handler)
    try:
        yield kept
    finally:
        log.removeHandler(handler)
