"""The app of a survey: who is at work, which screen is shown, and its messages."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from datetime import date, datetime
from functools import cache
from typing import TYPE_CHECKING, Any, ClassVar, Protocol, TypeVar
from urllib.parse import quote_plus, unquote_plus
from weakref import WeakSet

from jinja2 import Environment, PackageLoader, StrictUndefined

from heritagecheck.errors import SurveyError
from heritagecheck.screens.live_page import Event, GivenFile, Notice
from heritagecheck.sentences import day_in_words, upper_first
from heritagecheck.survey.entry.drafts import Drafts
from heritagecheck.survey.entry.record_form import refusals
from heritagecheck.survey.store.database_survey import DatabaseSurvey

if TYPE_CHECKING:
    from heritagecheck.survey.records.record import Record

WHO = "desk.who"  # the field in which the frame asks who saves
Result = TypeVar("Result")


@cache
def templates() -> Environment:
    """Templates of the screens; text is escaped, and a name that is not given is an error."""
    found = Environment(
        loader=PackageLoader("heritagecheck", "screens/templates"),
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    # A draft keeps its days as text.
    found.filters["date"] = lambda day: day_in_words(date.fromisoformat(str(day)))
    return found


def still_kept(found: Iterable[Result], what: str) -> Result:
    """The record that a screen is about; a sentence where somebody took it back meanwhile."""
    for one in found:
        return one
    raise ValueError(f"{what} is not in the survey any more: it was undone or joined.")


class Follower(Protocol):
    """What shows a record, and looks at it again when others saved."""

    def look(self) -> None:
        """Take over what is saved now."""


class Desk(Notice):
    """What all screens share: the survey, who is at work, and the last word said to that person."""

    def __init__(self, survey: DatabaseSurvey) -> None:
        super().__init__()
        self.survey = survey
        self.who = ""
        self.route = ""
        self.drafts = Drafts(survey)
        # What the screens of one thing share, such as the forms of a zone.
        self.at_hand: dict[str, Any] = {}
        self.forms: WeakSet[Follower] = WeakSet()
        self.asks_who = False
        self.who_typed = ""
        self.others = ""
        self.head = survey.journal_head
        self._focus = ""
        self.focus_number = 0

    @property
    def focus(self) -> str:
        """Name of the field that is to get the caret; each wish has a number of its own."""
        return self._focus

    @focus.setter
    def focus(self, name: str) -> None:
        self._focus = name
        self.focus_number += 1

    def go(self, *parts: str) -> None:
        """Show another screen."""
        self.route = "/".join(quote_plus(part) for part in parts)

    def guarded(self, act: Callable[[], None]) -> None:
        """Tell a fault where the person sees it, and let every form show what was saved."""
        before = self.survey.journal_head
        super().guarded(act)
        # This save is the user's own; `look_around` reports what others saved before it.
        after = self.survey.journal_head
        if after != before and self.head == before:
            self.head = after
            self.survey.refresh()
            self._follow()

    def save(
        self, *records: Record, what: str, reason: str = "", in_place_of: Sequence[Record] = ()
    ) -> bool:
        """Keep records, all or none, and say so; say why not where they can't be taken."""

        def write() -> str:
            self.survey.save(*records, who=self.who, reason=reason or what, in_place_of=in_place_of)
            return f"Saved: {what}, at {datetime.now():%H:%M} by {self.who}."

        return self._written(write, f"{upper_first(what)} was not saved.")

    def undo(self) -> bool:
        """Take back one's own last save, and say so."""
        return self._written(lambda: f"{self.survey.undo(who=self.who)}.", "Nothing was undone.")

    def redo(self) -> bool:
        """Do again what was taken back last, and say so."""
        return self._written(
            lambda: f"{self.survey.redo(who=self.who)}.", "Nothing was done again."
        )

    def knows_who(self) -> bool:
        """Whether the person saving is known; otherwise asks first, and the press waits."""
        if not self.who:
            self.asks_who = True
            self.refuse("Not saved yet: say first who you are.", "What you typed is kept.")
        return bool(self.who)

    def _written(self, write: Callable[[], str], refused: str) -> bool:
        """Change the survey in somebody's name; say what was done, or why it was not."""
        if not self.knows_who():
            return False
        try:
            said = write()
        except SurveyError as error:
            self.refuse(refused, *refusals(error))
            return False
        self.head, self.others = self.survey.journal_head, ""
        self._follow()
        self.say(said)
        return True

    def _follow(self) -> None:
        """Let every form show what is saved now, or it would be saved over what it never showed."""
        for form in self.forms:
            form.look()

    def begin(self, who: str) -> None:
        """Take a role; what nobody in particular typed so far is this person's."""
        if not who.strip():
            self.refuse("Write your role first, such as conservator.")
            return
        self.who, self.asks_who = who.strip(), False
        for draft in self.drafts.all():
            if not draft.who:
                self.drafts.write(self.who, draft.task, draft.typed)
                self.drafts.drop("", draft.task)

    def look_around(self) -> None:
        """Show what others saved since, and who did."""
        head = self.survey.journal_head
        if head != self.head:
            self.head = head
            self.survey.refresh()
            self._follow()
            who, when = self.survey.last_saved
            clock = datetime.fromisoformat(when).astimezone()
            self.others = f"Saved meanwhile by {who} at {clock:%H:%M}."


class Screen:
    """
    One screen: a template, the values it shows, and a method `do_…` for each thing pressed on it.
    """

    template: ClassVar[str]
    title: str

    def __init__(self, desk: Desk, *parts: str) -> None:
        self.desk = desk
        self.parts = parts

    def values(self) -> Mapping[str, Any]:
        """What the template shows."""
        return {}

    def typed(self, name: str, value: str) -> None:
        """Keep what was typed into a field."""
        raise LookupError(name)

    def left(self, name: str) -> None:
        """A field was left: what is wrong with it may be said now."""

    def take(self, file: GivenFile) -> None:
        """Take in a file."""
        raise LookupError(file.use)

    def picture(self, name: str) -> tuple[bytes, str]:
        """A picture that the screen names, and its kind."""
        raise LookupError(name)


ScreenOf = Callable[..., Screen]


class App:
    """
    Everything on one page: the screen of the route, and what was said last.

    Parameters
    ----------
    survey : DatabaseSurvey
        The survey at hand.
    screens : mapping of str to callable
        First word of a route to its screen; the start page is under the empty word.
    """

    def __init__(
        self, survey: DatabaseSurvey, screens: Mapping[str, ScreenOf], route: str = ""
    ) -> None:
        self.desk = Desk(survey)
        self.desk.route = route
        self._screens = screens
        self._kept: dict[str, Screen] = {}
        self._waits: Event | None = None

    @property
    def notice(self) -> Notice:
        """What is said to the person."""
        return self.desk

    @property
    def route(self) -> str:
        """Where the person is: words separated by slashes."""
        return self.desk.route

    @property
    def who(self) -> str:
        """Role of the person, which the browser keeps for the next time."""
        return self.desk.who

    @property
    def screen(self) -> Screen:
        """The screen of the route; an unknown route leads to the start."""
        return self._at(self.desk.route)

    def _at(self, route: str) -> Screen:
        """A screen in the state in which it was left."""
        first, *rest = map(unquote_plus, route.split("/"))
        if first not in self._screens:
            return self._at("")
        if route not in self._kept:
            self._kept[route] = self._screens[first](self.desk, *rest)
        return self._kept[route]

    def html(self) -> str:
        """The whole page; where a screen can't be shown, why, and the way to the others."""
        shown: dict[str, str] = {}
        self.desk.guarded(lambda: shown.update(self._shown()))
        if not shown:
            # Shown again once it can be.
            self._kept.pop(self.desk.route, None)
        return (
            templates()
            .get_template("frame.html")
            .render({"title": "This page can’t be shown", "inner": "", **shown},
                    desk=self.desk, survey=self.desk.survey)
        )  # fmt: skip

    def _shown(self) -> dict[str, str]:
        """Heading and work of the screen of the route."""
        self.desk.look_around()
        screen = self.screen
        inner = (
            templates()
            .get_template(screen.template)
            .render(desk=self.desk, survey=self.desk.survey, screen=screen, **screen.values())
        )
        return {"title": screen.title, "inner": inner}

    def hear(self, event: Event) -> None:
        """Handle an event; a fault becomes a message and loses nothing."""
        self.desk.guarded(lambda: self._do(event))

    def take(self, file: GivenFile) -> None:
        """Pass a file to the screen that asked for it, even if another is shown by now."""
        route = self.desk.route if file.route is None else file.route
        self.desk.guarded(lambda: self._at(route).take(file))

    def picture(self, name: str, route: str | None = None) -> tuple[bytes, str]:
        """A picture that a page named, and its kind; empty where it is there no more."""
        found: list[tuple[bytes, str]] = []
        screen = self._at(self.desk.route if route is None else route)

        def look() -> None:
            # The page shows the words of the picture where it is not there.
            with suppress(LookupError):
                found.append(screen.picture(name))

        self.desk.guarded(look)
        return found[0] if found else (b"", "")

    def _do(self, event: Event) -> None:
        """Hand on what was done: what the frame knows, or what the screen does."""
        if event.do == "open":
            self.desk.who = self.desk.who or event.value
            self.desk.route = event.arg or self.desk.route
        elif event.do == "go":
            self.desk.say("")
            self.desk.route = event.arg
        elif event.do == "who":
            self.desk.who = event.arg
        elif event.do == "type" and event.name == WHO:
            self.desk.who_typed = event.value
        elif event.do == "i_am":
            self.desk.say("")
            self.desk.begin(self.desk.who_typed)
            if self.desk.who and self._waits is not None:
                self._do(self._waits)
        elif event.do == "type":
            self._at(event.route).typed(event.name, event.value)
        elif event.do == "leave":
            self._at(event.route).left(event.name)
        elif event.do == "not_read":
            self.desk.refuse(f"{event.name} was not taken.", event.value)
        else:
            self.desk.say("")
            act: Callable[[Event], None] | None = getattr(
                self._at(event.route), f"do_{event.do}", None
            )
            if act is None:
                self.desk.refuse("Nothing was done: this page was not up to date. Press again.")
                return
            act(event)
            # Once it is known who saves, what was pressed is done.
            self._waits = event if self.desk.asks_who else None
