"""Where the team agrees and differs so far, over all zones that were shown, for everybody."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

from heritagecheck.judgement.agreement import COUNTS_ONLY, FEWEST_UNITS, agreement
from heritagecheck.judgement.rater_agreement import score_alpha, score_spreads
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.meeting.seat import RoomScreen
from heritagecheck.survey.checks.contradictions import last_opinions
from heritagecheck.survey.records import Opinion, View
from heritagecheck.survey.records.team import AFTER, BEFORE, SCORES

IN_PRIVATE, LAST = "private", "last"
ROUNDS = {IN_PRIVATE: "In private, before talk", LAST: "What each said last"}


class AgreementScreen(RoomScreen):
    """How far the members agree; nothing that is private enters it."""

    template = "meeting_agreement.html"
    title = "Where the team agrees"
    nav: ClassVar[str] = "Agreement"
    given = IN_PRIVATE

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        said = [
            one for one in self.desk.survey.all(Opinion)
            if one.meeting == self.room.state.meeting and one.outcome
        ]  # fmt: skip
        last = list(last_opinions(said).values())
        chosen = last if self.given == LAST else [one for one in said if one.given == BEFORE]
        # Weights on record; those of this meeting are among them once they are shown.
        found = agreement([*self.desk.survey.all(View), *chosen], members=self.room.members)
        return {
            "found": found, "rounds": ROUNDS, "given": self.given, "few": FEWEST_UNITS,
            "members": self.room.members, "counts_only": COUNTS_ONLY,
            "score_alphas": self._score_alphas(said),
            "weights": found.weights_table.to_dict("records") if found.weights else [],
            "waiting": bool(self.room.state.weights) and not self.room.state.weights_shown,
        }  # fmt: skip

    def _score_alphas(self, said: Sequence[Opinion]) -> list[tuple[str, float]]:
        """How far the scores agree, question by question, where that is defined."""
        rounds = {BEFORE} if self.given == IN_PRIVATE else {BEFORE, AFTER}
        spreads = score_spreads(one for one in said if one.given in rounds)
        alphas = ((words, score_alpha(spreads, question)) for question, words in SCORES.items())
        return [(words, alpha) for words, alpha in alphas if alpha is not None]

    def do_round(self, event: Event) -> None:
        """Show what was given in private, or what each said last."""
        if event.arg in ROUNDS:
            self.given = event.arg
