"""A meeting held from a notebook: the same server as `heritagecheck workshop`, in a thread."""

from __future__ import annotations

import asyncio
from concurrent.futures import Future
from datetime import date
from threading import Thread
from types import TracebackType
from typing import Self

from heritagecheck.cards import summary
from heritagecheck.screens.meeting.room_server import (
    Invitation,
    held,
    survey_of_meeting,
)
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.survey import Survey

KEEP = (
    "Whoever has the facilitator's link leads the meeting. Clear this output before you give the "
    "notebook away."
)


class OpenMeeting:
    """
    A meeting that runs in the background, until `stop` or the end of the notebook.

    `address` and `word` let others join, and `facilitator` is the link of whoever leads. What was
    given stays on the disk: the next `hc.workshop` of the survey goes on with the same meeting.
    """

    def __init__(self, survey: DatabaseSurvey, *, lan: bool, today: date) -> None:
        self._invited: Future[Invitation] = Future()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._until: asyncio.Event | None = None
        self._thread = Thread(
            target=self._serve, args=(survey,), kwargs={"lan": lan, "today": today},
            name="heritagecheck workshop", daemon=True,
        )  # fmt: skip
        self._thread.start()
        self._to = self._invited.result()

    def _serve(self, survey: DatabaseSurvey, *, lan: bool, today: date) -> None:
        """Serve it in a thread; a failure before anybody can join is raised to the caller."""
        try:
            with survey.opened_again() as own:
                asyncio.run(self._held(own, lan=lan, today=today))
        except BaseException as error:
            if self._invited.done():
                raise
            self._invited.set_exception(error)

    async def _held(self, survey: DatabaseSurvey, *, lan: bool, today: date) -> None:
        self._loop, self._until = asyncio.get_running_loop(), asyncio.Event()
        await held(
            survey, self._invited.set_result, lambda _: None, lan=lan, today=today,
            until=self._until,
        )  # fmt: skip

    @property
    def address(self) -> str:
        """Where others join."""
        return self._to.plain

    @property
    def word(self) -> str:
        """The join word."""
        return self._to.word

    @property
    def facilitator(self) -> str:
        """Link of the facilitator's page, for this computer alone."""
        return self._to.leads

    @property
    def _reach(self) -> str:
        """Who reaches it, and what that means."""
        return self._to.reach("lan=True")

    @property
    def is_open(self) -> bool:
        """Whether people can still join."""
        return self._thread.is_alive()

    def stop(self) -> None:
        """Serve it no longer; nothing that was acknowledged is lost."""
        if self._loop is not None and self._until is not None and self.is_open:
            self._loop.call_soon_threadsafe(self._until.set)
        self._thread.join()

    def __enter__(self) -> Self:
        """Give the meeting itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:  # fmt: skip
        """Stop at the end of the block."""
        self.stop()

    def __str__(self) -> str:
        """Say how to join."""
        if not self.is_open:
            return "The meeting was stopped. Call hc.workshop again to go on with it."
        return f"Others join at {self.address} with the join word {self.word}. {self._reach}"

    __repr__ = __str__

    def _repr_html_(self) -> str:
        """Show the address, the word and the code in a notebook."""
        if not self.is_open:
            return summary("Meeting", str(self))
        svg = self._to.code[self._to.code.index("<svg") :]
        lines = [
            ("Join at", self.address),
            ("Join word", self.word),
            ("Facilitator", self.facilitator),
            ("Reached by", self._reach),
            ("Keep", KEEP),
        ]
        return (
            summary(
                "Meeting",
                "Scan the code, or type the address and the join word.",
                lines,
                more="meeting.stop()",
            )
            + f'<div role="img" aria-label="Code that opens the meeting" style="max-width:16rem">'
            f"{svg}</div>"
        )


def workshop(survey: Survey, *, lan: bool = False) -> OpenMeeting:
    """
    Hold a meeting of the team about a survey, as the command ``heritagecheck workshop`` does.

    Parameters
    ----------
    survey : Survey
        The survey, from its database. The meeting opens it once more: what it saves appears here
        after `survey.refresh()`.
    lan : bool
        Whether other computers of the local network reach it, not encrypted; else only this one.

    Returns
    -------
    OpenMeeting
        Address, join word and code to scan, as soon as people can join. It serves until its
        `stop`, the end of a ``with`` block, or the end of the program.

    Raises
    ------
    SurveyError
        The survey is not in a database.
    StoreError
        Another program, or another call, holds the meeting already.
    ImportError
        tornado, segno or anywidget is not installed.

    Examples
    --------
    >>> import heritagecheck as hc
    >>> hc.workshop(hc.demo_survey().still())
    Traceback (most recent call last):
    heritagecheck.errors.SurveyError: 1 thing to correct. Nothing was opened.
      survey: a meeting needs a survey in a database; import it first
    """
    # The day of a meeting is that of this computer, as for the command.
    return OpenMeeting(survey_of_meeting(survey, "survey"), lan=lan, today=date.today())
