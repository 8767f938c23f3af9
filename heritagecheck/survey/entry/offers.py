"""Values suggested from other records, which somebody must confirm; never filled in silently."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from heritagecheck.sentences import day_in_words
from heritagecheck.survey.entry.codes import next_code, next_name
from heritagecheck.survey.records import AgreedPolicy, Reading
from heritagecheck.survey.survey import Survey
from heritagecheck.tables.row_types import PolicyOffer

BY_METER = frozenset({"SCI", "SCE", "45/0"})
NOT_MEASURED = "not measured"
NO_METER = {"instrument": "none", "geometry": "visual", "illuminant": "D65/10"}
OF_THE_METER = ("instrument", "geometry", "aperture_mm", "illuminant")
# Fields that neighbouring zones often share. Condition, soilings, coatings and dark mica are not
# among them: they decide what may be done, so they must be seen on the zone itself.
OF_ANOTHER_ZONE = (
    "elevation", "substrate", "finish", "exposure", "access", "significance",
    "significance_reason", "bed_or_system", "next_access",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Offer:
    """A value that is offered, and its origin, such as ``"zone N06"``."""

    value: object
    taken_from: str


def day_defaults(survey: Survey, who: str, *, today: date | None = None) -> dict[str, Offer]:
    """
    Fields that today's readings probably share, each with its origin.

    Date, role and the meter of the last readings, those of the same person first. The session is
    offered only if these are from today, because each session has its own white tile.
    """
    today = today or date.today()
    found = {"read_on": Offer(today, "today"), "read_by": Offer(who, "you")}
    by_meter = [one for one in survey.all(Reading) if one.geometry in BY_METER]
    if not by_meter:
        return found
    last = max(reversed(by_meter), key=lambda one: (one.read_by == who, one.read_on))
    whence = f"the readings of {day_in_words(last.read_on)}"
    fields = OF_THE_METER + (("session",) if last.read_on == today else ())
    values = {field: getattr(last, field) for field in fields}
    return found | {
        field: Offer(value, whence) for field, value in values.items() if value is not None
    }


def as_zone(survey: Survey, zone: str) -> dict[str, Offer]:
    """Fields of a zone that a new one may share; never what must be seen on the zone itself."""
    other = survey.record("zones", zone)
    values = {field: getattr(other, field) for field in OF_ANOTHER_ZONE}
    return {
        field: Offer(value, f"zone {zone}") for field, value in values.items() if value is not None
    }


def reading_not_taken(
    survey: Survey,
    zone: str,
    target: Literal["soiled", "reference"],
    reason: str,
    *,
    who: str,
    today: date | None = None,
) -> Reading:
    """
    A record of why a set of colour readings was not taken.

    It names the meter of the last readings; if there are none, a match by eye.
    """
    today = today or date.today()
    meter = {
        field: offer.value
        for field, offer in day_defaults(survey, who, today=today).items()
        if field in OF_THE_METER
    }
    meter = NO_METER | meter
    habit = {"zone": zone, "target": target, "geometry": str(meter["geometry"])}
    return Reading.model_validate(
        meter | {
            "reading": next_code(survey, "readings", **habit), "zone": zone,
            "set_name": next_name(survey, "readings", "set_name", f"{zone}-{target}"),
            "set_size": 1, "target": target, "read_on": today, "read_by": who,
            "not_measured_because": reason,
        }
    )  # fmt: skip


# -- The policy ------------------------------------------------------------------------------------


def offered_policy(agreed_on: date) -> AgreedPolicy:
    """The offered values as a policy, which applies only once a team saves it."""
    values = {offer.field: offer.value for offer in PolicyOffer.rows()}
    return AgreedPolicy.model_validate({**values, "agreed_on": agreed_on})
