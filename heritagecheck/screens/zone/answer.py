"""The current recommendation for a zone: what decides, what is open, and where to close it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

from markupsafe import Markup

from heritagecheck.documents.page_templates import drawn
from heritagecheck.documents.zone_sheet import zone_sheet
from heritagecheck.figures.zone_answer import draw_gates
from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import Form
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.zone.zone_screen import TASKS, ZoneScreen
from heritagecheck.sentences import FOR_APPROVAL

# Where a gap is closed, by the table in which it is written down.
CLOSED_BY = {
    "zones": "what", "layers": "soiling", "observations": "findings", "site_tests": "tests",
    "readings": "colour", "panels": "panels",
}  # fmt: skip


class AnswerScreen(ZoneScreen):
    """The answer for one zone; nothing is typed here."""

    template = "zone_answer.html"
    task: ClassVar[str] = "answer"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.card_open = False

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        found = super().values()
        standing = self.hand.standing
        now = standing.recommendation if standing else None
        titles = {task.key: task.title for task in TASKS}
        waiting = sorted({form.task for form in self.hand.changed()})
        told = {one.words for one in now.cautions} if now else set()
        others = [one for one in found["other_cautions"] if one.words not in told]
        return {
            **found, "other_cautions": others, "now": now, "for_approval": FOR_APPROVAL,
            "waiting": len(waiting),
            "notes": standing.assessment.policy_notes if standing and standing.assessment else (),
            "gates": drawn(draw_gates(now), "gates") if now else "",
            "gaps": [(gap, CLOSED_BY[gap.table], titles[CLOSED_BY[gap.table]])
                     for gap in now.gaps] if now else [],
            "card_open": self.card_open, "card": self._card() if self.card_open else "",
        }  # fmt: skip

    def changed_forms(self) -> Sequence[Form]:
        """Nothing is typed here."""
        return []

    def do_card(self, event: Event) -> None:
        """Show the full card of the zone, or put it away."""
        self.card_open = not self.card_open

    def _card(self) -> Markup:
        """The full card, as it is written for those who approve."""
        standing = self.hand.standing
        if standing is None or standing.assessment is None:
            return Markup("")
        return Markup(zone_sheet(standing.assessment, self.hand.code).html)
