"""The recommendation of one zone as it stands with what is saved, and what the last save did."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from heritagecheck.errors import SurveyError
from heritagecheck.judgement.assess import assess
from heritagecheck.judgement.policy import policy_of
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.survey.entry.offers import offered_policy
from heritagecheck.survey.entry.record_form import refusals
from heritagecheck.survey.records import AgreedPolicy, View
from heritagecheck.survey.survey import Survey


@dataclass(frozen=True, eq=False)
class Standing:
    """
    What is recommended for a zone now, and how that came.

    `change` says what the last change of the records did; it is empty where nothing is known of
    before. Where the zone can't be judged yet, `assessment` is None and `missing` says why.
    """

    zone: str
    assessment: Assessment | None
    missing: tuple[str, ...] = ()
    change: str = ""

    @property
    def recommendation(self) -> Recommendation | None:
        """What is recommended; None where the zone can't be judged yet."""
        return None if self.assessment is None else self.assessment.zone(self.zone)


def standing_of(survey: Survey, zone: str, before: Standing | None = None) -> Standing:
    """
    Judge one zone by what is saved.

    Parameters
    ----------
    survey : Survey
        The survey. Where its team agreed no policy yet, the offered one is taken, and said so.
    zone : str
        Code of the zone.
    before : Standing, optional
        How it stood before the last change.
    """
    agreed = survey.all(AgreedPolicy)
    try:
        policy = None if agreed else policy_of(offered_policy(date.today()), survey.all(View))
        found = assess(survey, policy, zones=[zone], progress=lambda *_: None)
    except SurveyError as error:
        return Standing(zone, None, refusals(error))
    now = found.zone(zone)
    was = before.recommendation if before else None
    return Standing(zone, found, change="" if was is None else _change(was, now))


def _change(was: Recommendation, now: Recommendation) -> str:
    """What became of the answer, in a sentence."""
    if was.outcome != now.outcome:
        return f"Was: {was.outcome}. Now: {now.outcome}."
    if was.method != now.method:
        return f"Still {now.outcome}; the method named is another than before."
    if was.sentence != now.sentence:
        return f"Still {now.outcome}, for another reason than before."
    closed = len({gap.what for gap in was.gaps} - {gap.what for gap in now.gaps})
    settled = f"; {closed} open before, now settled" if closed else ""
    return f"Still {now.outcome}, for the same reason{settled}."
