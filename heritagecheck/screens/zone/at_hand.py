"""One zone that is being surveyed: its forms, which all its screens share, and its answer now."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from heritagecheck.errors import SurveyError
from heritagecheck.judgement.assess import assess
from heritagecheck.judgement.policy import policy_of
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.screens.app import Desk
from heritagecheck.screens.form import Form
from heritagecheck.survey.entry.offers import offered_policy
from heritagecheck.survey.entry.record_form import refusals
from heritagecheck.survey.entry.zone_progress import ZoneProgress, zone_progress
from heritagecheck.survey.records import AgreedPolicy, Layer, Observation, View, Zone
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.survey import Survey

# Asked on the screen "What it is"; the others of the zone's form are written by other screens.
ASKED = (
    "name", "area_m2", "substrate", "bed_or_system", "biotite_pct", "finish", "condition",
    "exposure", "access", "significance", "significance_reason", "next_access", "panels_laid",
    "note",
)  # fmt: skip
WRITTEN = ("elevation", "outline", "soilings", "coatings", "surveyed_on", "surveyed_by")
OF_A_LAYER = ("value", "value_reason", "made_of", "cover_pct", "thickness_mm")
OF_AN_ANSWER = ("finding", "not_recorded_because", "owner", "due", "note")
Kept = Callable[[], Record | None]
NOT_GIVEN_YET = "?"  # placeholder for a code or role that is made when the record is saved


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


class ZoneAtHand:
    """
    One zone, as the screens of its tasks show it.

    Parameters
    ----------
    desk : Desk
        What all screens share.
    code : str
        Code of the zone; it need not have a record yet.
    """

    def __init__(self, desk: Desk, code: str) -> None:
        self.desk, self.code = desk, code
        self.forms: dict[str, Form] = {}
        self.standing: Standing | None = None
        self.progress: ZoneProgress | None = None
        self._judged_at = ""
        # Tasks in which something is in hand that no form holds, such as colour readings.
        self.in_hand = {
            task for task in ("colour", "photographs") for draft in desk.drafts.all()
            if draft.who == desk.who and draft.task.startswith(f"zone/{code}/{task}#")
        }  # fmt: skip
        self.zone = self._form("zone", "what", Zone, ASKED + WRITTEN, {"zone": code}, self.record)

    @classmethod
    def of(cls, desk: Desk, code: str) -> ZoneAtHand:
        """The zone as the desk has it at hand."""
        key = f"zone/{code}"
        if key not in desk.at_hand:
            desk.at_hand[key] = cls(desk, code)
        found: ZoneAtHand = desk.at_hand[key]
        return found

    def record(self) -> Zone | None:
        """The zone as it is saved; None where it is not yet."""
        zones = (zone for zone in self.desk.survey.all(Zone) if zone.zone == self.code)
        return next(zones, None)

    def look(self) -> None:
        """Judge the zone again after any save; load an outline drawn meanwhile."""
        if self.record() is None:
            self.standing = self.progress = None
            self.zone.recall()
        elif self._judged_at != self.desk.head:
            self._judged_at = self.desk.head
            self.standing = standing_of(self.desk.survey, self.code, self.standing)
            every = zone_progress(self.desk.survey)
            self.progress = next(one for one in every if one.zone == self.code)

    def date_new_zone(self) -> None:
        """A new zone gets today's date and the person who saves it."""
        if self.record() is None:
            if not self.zone.text["surveyed_on"]:
                self.zone.type("surveyed_on", date.today().isoformat())
            if not self.zone.text["surveyed_by"] and self.desk.who:
                self.zone.type("surveyed_by", self.desk.who)

    @property
    def soilings(self) -> list[str]:
        """Codes of the soilings in the form, outermost first."""
        return [part.strip() for part in self.zone.text["soilings"].split(";") if part.strip()]

    def layers(self) -> list[Form]:
        """A form for each soiling, outermost first."""
        return [self._layer(soiling) for soiling in self.soilings]

    def dropped_layers(self) -> list[Layer]:
        """Saved layers whose soiling was removed from the list."""
        kept = self.desk.survey.of_zone(self.code, Layer)
        return [layer for layer in kept if layer.soiling not in self.soilings]

    def answer(self, topic: str) -> Form:
        """The form of one question."""

        def kept() -> Observation | None:
            every = self.desk.survey.of_zone(self.code, Observation)
            return next((one for one in every if one.topic == topic), None)

        fixed = {
            "observation": NOT_GIVEN_YET, "zone": self.code, "topic": topic,
            "seen_on": date.today(), "seen_by": self.desk.who or NOT_GIVEN_YET,
        }  # fmt: skip
        return self._form(f"answer-{topic}", "findings", Observation, OF_AN_ANSWER, fixed, kept)

    def changed(self) -> Iterator[Form]:
        """Forms with something typed that is not saved."""
        return (form for form in self.forms.values() if form.changed)

    def _layer(self, soiling: str) -> Form:
        def kept() -> Layer | None:
            every = self.desk.survey.of_zone(self.code, Layer)
            return next((one for one in every if one.soiling == soiling), None)

        fixed = {"layer": NOT_GIVEN_YET, "zone": self.code, "soiling": soiling}
        return self._form(f"layer-{soiling}", "soiling", Layer, OF_A_LAYER, fixed, kept)

    def _form(
        self, key: str, task: str, model: type[Record], fields: tuple[str, ...],
        fixed: Mapping[str, object], kept: Kept,
    ) -> Form:  # fmt: skip
        """A form, made once."""
        if key not in self.forms:
            self.forms[key] = Form(
                self.desk, key, f"zone/{self.code}/{task}", model, fields,
                fixed=fixed, begun=kept(), kept=kept,
            )  # fmt: skip
        return self.forms[key]
