"""The start page: the steps of a survey, how far it has come, and the cautions of the work."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from heritagecheck.screens.app import Screen
from heritagecheck.screens.live_page import Event


class StartScreen(Screen):
    """The start page."""

    template = "start.html"
    title = "Start"

    def __init__(self, *args: Any) -> None:
        super().__init__(*args)
        self.role = self.desk.who

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        return {"role": self.role}

    def typed(self, name: str, value: str) -> None:
        """Keep the role that is typed."""
        self.role = value

    def do_begin(self, event: Event) -> None:
        """Take the role."""
        self.desk.who = self.role.strip()
