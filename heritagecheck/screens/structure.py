"""The screen of the structure: its name, why it matters, what the survey is to find out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import Form, FormScreen
from heritagecheck.screens.live_page import Event
from heritagecheck.survey.records import Structure
from heritagecheck.survey.records.record import Record

FIELDS = ("structure", "asked", "significance", "surveyed_by", "survey_date", "call_first")


class StructureScreen(FormScreen):
    """The structure surveyed."""

    template = "structure.html"
    title = "The structure"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.kept: Record | None = next(iter(desk.survey.all(Structure)), None)
        begun = self.begun_with(self.kept) or {"surveyed_by": desk.who}
        self.forms["structure"] = Form(
            desk, "structure", "structure", Structure, FIELDS, begun=begun
        )

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        return {"form": self.forms["structure"]}

    def do_save(self, event: Event) -> None:
        """Keep the structure."""
        form = self.forms["structure"]
        gone = [self.kept] if self.kept else []
        if not self.ready(form):
            return
        record = form.written.record()
        if self.desk.save(record, what="the structure", in_place_of=gone):
            self.kept = record
            form.saved()
            self.desk.go("")
