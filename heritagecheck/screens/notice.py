"""What a page says of its work: what was done, what could not be done, what is still being done."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable
from typing import TypeVar

from heritagecheck.errors import ReportError, SurveyError, in_words
from heritagecheck.progress import Told
from heritagecheck.survey.entry.record_form import refusals

LOG = logging.getLogger(__name__)
SHOWN_EVERY_S = 0.4
Result = TypeVar("Result")


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
        # A fault of ours, not of the person: it is told, its details are kept, the page lives on.
        except Exception:
            LOG.exception("a screen failed")
            self.refuse(
                "The program failed at this. What you saved and your draft are kept.",
                "Reload the page. The details are in the log of the program.",
            )
