"""One step of a notebook: a cell that shows one thing, and updates when another zone is chosen."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import wraps
from itertools import count, groupby
from typing import Any, Protocol, TypeVar

from heritagecheck.errors import SurveyError, in_words
from heritagecheck.progress import Told
from heritagecheck.screens.app import templates
from heritagecheck.screens.live_page import HERE, Event, GivenFile, LivePage, Notice
from heritagecheck.screens.notebook.tables_and_pictures import Rows, RowsState

Result = TypeVar("Result")
Look = Callable[..., Iterable[Any]]


class NotYetError(ValueError):
    """What a step needs and the survey does not hold; its words are all that the step shows."""


class Walked(Protocol):
    """What the steps of a notebook look at together."""

    def keep(self, step: Step) -> Step:
        """Show a step again whenever something else is chosen."""

    def pick(self, *, zone: str = "", series: str = "") -> None:
        """Choose another zone or series."""


@dataclass(frozen=True, slots=True)
class Field:
    """What can be set or pressed in a step; it is known by what it is called."""

    kind: str
    label: str
    value: str = ""
    options: Mapping[str, str] = field(default_factory=dict)
    fault: str = ""
    bounds: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def __str__(self) -> str:
        """Say what is set."""
        return f"{self.label}: {self.options.get(self.value, self.value)}" if self.value else ""


class Ask:
    """What a step asks of the person: each call shows a field and gives what was set there."""

    def __init__(self, step: Step, put: Callable[[Field], None]) -> None:
        self._step = step
        self._put = put

    def choice(self, label: str, options: Mapping[str, str], first: str = "") -> str:
        """One of several, given by what it is called; `first` until another is chosen."""
        value = self._step.typed.get(label, first)
        value = value if value in options else first if first in options else next(iter(options))
        self._put(Field("choice", label, value, options))
        return value

    def text(self, label: str, first: str = "") -> str:
        """Words as they are typed."""
        typed = self._step.typed.get(label, first)
        self._put(Field("text", label, typed))
        return typed.strip()

    def number(
        self, label: str, first: float, low: float = float("-inf"), high: float = float("inf")
    ) -> float:
        """The number typed; if it cannot be read, shows why and the step waits."""
        typed = self._step.typed.get(label, f"{first:g}")
        fault = ""
        try:
            value = float(typed.strip().replace(",", "."))
        except ValueError:
            value = float("nan")
        if math.isnan(value):
            fault = "Write a number, such as 0.6 or 0,6."
        elif not low <= value <= high:
            fault = f"Write a number from {low:g} to {high:g}."
        self._put(Field("number", label, typed, fault=fault))
        if fault:
            raise NotYetError("")
        return value

    def slider(self, label: str, first: float, low: float, high: float, by: float) -> float:
        """A number between two ends."""
        typed = self._step.typed.get(label, f"{first:g}")
        self._put(Field("slider", label, typed, bounds=(low, high, by)))
        return min(max(float(typed), low), high)

    def press(self, label: str) -> bool:
        """Whether a button was pressed just now."""
        self._put(Field("press", label))
        return self._step.pressed == label

    def say(self, words: str) -> None:
        """Tell what a press did; it is read above the step until something else is pressed."""
        self._step.notice.say(words)

    def refuse(self, words: str, *more: str) -> None:
        """Tell what a press did not do, and why."""
        self._step.notice.refuse(words, *more)

    def work(
        self, label: str, about: object, work: Callable[[Told], Result], words: str
    ) -> Result | None:
        """
        What comes of a work that takes long: nothing until its button was pressed.

        `about` is what it is about; for another, it is to be pressed again.
        """
        step = self._step
        known, result = step.results.get(label, (None, None))
        pressed = self.press(label if known != about else f"{label} again")
        if pressed and not step.notice.working:

            def keep(found: Result) -> None:
                step.results[label] = (about, found)

            step.notice.later(words, work, keep)
            known, result = step.results.get(label, (None, None))
        return result if known == about else None


def step(look: Look) -> Callable[..., LivePage]:
    """Make a step of a method that yields what to show, from top to bottom."""

    @wraps(look)
    def shown(walk: Walked) -> LivePage:
        return StepPage(walk.keep(Step(walk, look)))

    return shown


class Part(ABC):
    """A part of a notebook: without an address, and with everything it shows in its page."""

    route = who = ""

    def __init__(self) -> None:
        self.notice = Notice()

    def hear(self, event: Event) -> None:
        """Handle an event."""
        self.notice.guarded(lambda: self._do(event))

    @abstractmethod
    def _do(self, event: Event) -> None:
        """Do it."""

    @abstractmethod
    def html(self) -> str:
        """The current part."""

    def take(self, file: GivenFile) -> None:
        """No part takes a file."""
        raise LookupError(file.use)

    def picture(self, name: str, route: str | None = None) -> tuple[bytes, str]:
        """Every picture of a part is in its page."""
        return b"", ""


class Step(Part):
    """What a cell shows."""

    def __init__(self, walk: Walked, look: Look) -> None:
        super().__init__()
        self.walk = walk
        self.look = look
        self.name = look.__name__
        self.typed: dict[str, str] = {}
        self.rows: dict[str, RowsState] = {}
        self.results: dict[str, tuple[object, Any]] = {}
        self.pressed = ""

    def items(self) -> list[Any]:
        """Everything to show, from top to bottom."""
        items: list[Any] = []
        try:
            for item in self.look(self.walk, Ask(self, items.append)):
                items.append(item)
        except NotYetError as error:
            # Where a field says itself what is wrong with it, there is nothing to add.
            items.extend([str(error)] if str(error) else [])
        except SurveyError as error:
            items.extend(("This can’t be shown:", *error.sentences))
        except (OSError, ValueError) as error:
            items.append(in_words(error) if isinstance(error, OSError) else str(error))
        self.pressed = ""
        return items

    def html(self) -> str:
        """The current step."""
        return as_html(self.items(), self)

    def __str__(self) -> str:
        """Give it in words."""
        return "\n".join(words for item in self.items() if (words := str(item).strip()))

    def _do(self, event: Event) -> None:
        if event.do == "type":
            self.typed[event.name] = event.value
        elif event.do == "press":
            self.notice.say("")
            self.pressed = event.arg
        elif event.do == "pick":
            self.walk.pick(zone=event.arg)
        elif event.do == "pick_series":
            self.walk.pick(series=event.arg)
        elif event.do in {"sort", "more", "columns"}:
            name, _, column = event.arg.partition("|")
            self.rows[name] = self.rows.get(name, RowsState()).pressed(event.do, column)


class PartPage(LivePage):
    """The widget of a part of a notebook."""

    def __init__(self, shown: Part) -> None:
        super().__init__(shown, kept_as="", part=True)


class StepPage(PartPage):
    """The widget of a step: its words are what a reader without widgets sees."""

    # The list at the top brings the type; it is a megabyte.
    _css = (HERE / "page.css").read_text(encoding="utf-8")

    def _repr_mimebundle_(self, **kwargs: Any) -> tuple[dict[str, Any], dict[str, Any]]:
        return self.as_cell(str(self.shown))


def as_html(items: Iterable[Any], step: Step) -> str:
    """What a step shows, as HTML: words and fields look as on the screens, the rest as it is."""
    body: list[str] = []
    tables = count()
    for own, some in groupby(items, lambda item: isinstance(item, (str, Field, Rows))):
        if own:
            shown = [_as_item(item, step, tables) for item in some if item != ""]
            body.append(templates().get_template("notebook/step.html").render(items=shown))
        else:
            body += [item._repr_html_() for item in some]
    return templates().get_template("notebook/part.html").render(body=body, notice=step.notice)


def _as_item(item: str | Field | Rows, step: Step, tables: Iterator[int]) -> tuple[str, Any]:
    """Kind of an item, and what its template shows."""
    if isinstance(item, Rows):
        name = f"table {next(tables)}"
        return "rows", {"name": name, **item.view(step.rows.get(name, RowsState()))}
    return ("words" if isinstance(item, str) else "field"), item
