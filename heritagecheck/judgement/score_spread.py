"""How far the scores lie apart that members gave for the harm of leaving and of cleaning a zone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from heritagecheck.judgement.rater_agreement import krippendorff_alpha
from heritagecheck.survey.records import Opinion
from heritagecheck.survey.records.meetings import AFTER, SCORES


@dataclass(frozen=True, slots=True)
class ScoreSpread:
    """Scores of one zone by one question: member to score, from 0 (no harm) to 10 (worst)."""

    zone: str
    question: str
    scores: Mapping[str, int]

    @property
    def words(self) -> str:
        """The question in words."""
        return SCORES[self.question]

    @property
    def middle(self) -> float:
        """Median of the scores; of an even number, halfway between the middle two."""
        return float(median(self.scores.values()))

    def __str__(self) -> str:
        """Give the scores from the lowest to the highest, each with its member, and the middle."""
        ordered = sorted(self.scores.items(), key=lambda item: (item[1], item[0]))
        said = ", ".join(f"{score} ({member})" for member, score in ordered)
        if len(ordered) < 2:
            return said
        apart = ordered[-1][1] - ordered[0][1]
        return f"{said}; middle {self.middle:g}, {apart} between lowest and highest"


def score_spreads(opinions: Iterable[Opinion]) -> tuple[ScoreSpread, ...]:
    """Spread of each zone and question with a score; of a member's scores, that after talk."""
    found: dict[tuple[str, str], dict[str, int]] = {}
    for one in sorted(opinions, key=lambda opinion: opinion.given == AFTER):
        for question in SCORES:
            score = getattr(one, question)
            if score is not None:
                found.setdefault((one.zone, question), {})[one.member] = score
    return tuple(ScoreSpread(*place, scores) for place, scores in sorted(found.items()))


def score_alpha(spreads: Sequence[ScoreSpread], question: str) -> float | None:
    """Krippendorff's alpha of the scores by one question, by their order; None if not defined."""
    rows = [one.scores for one in spreads if one.question == question]
    members = sorted({member for row in rows for member in row})
    if not rows:
        return None
    return krippendorff_alpha(
        [[row.get(member, float("nan")) for row in rows] for member in members], "ordinal"
    )
