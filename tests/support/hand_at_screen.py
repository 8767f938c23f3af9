"""A hand that types and presses on the survey screens, without a browser."""

from __future__ import annotations

from dataclasses import dataclass

from heritagecheck.screens.app import App
from heritagecheck.screens.live_page import Event


@dataclass(frozen=True)
class Hand:
    """What a person does on the page, one thing at a time."""

    app: App

    @property
    def page(self) -> str:
        """Everything that is shown."""
        return self.app.html()

    def type(self, name: str, value: str) -> None:
        """Type into a field and leave it."""
        for do in ("type", "leave"):
            self.app.hear(Event(do, name=name, value=value, route=self.app.route))

    def press(self, do: str, arg: str = "") -> None:
        """Press a button that the page shows."""
        shown = f'data-do="{do}"' + (f' data-arg="{arg}"' if arg else "")
        assert shown in self.page, f"no button {shown}"
        self.app.hear(Event(do, arg=arg, route=self.app.route))

    def go(self, route: str) -> None:
        """Open a screen, as by its address."""
        self.app.hear(Event("go", arg=route))
