"""Evidence of a zone that contradicts itself: refused before anything is judged."""

from __future__ import annotations

from collections.abc import Iterable

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.records import Layer, Observation, SiteTest, Zone
from heritagecheck.survey.records.lead import lead_by_lab, lead_by_xrf, may_be_coated
from heritagecheck.survey.records.readings import complete_values
from heritagecheck.survey.survey import Survey


def check_lead(survey: Survey, zone: Zone) -> None:
    """Refuse contradictory records of lead: whichever were lost, the other would decide alone."""
    tests = survey.of_zone(zone.zone, SiteTest)
    said = _said(survey, zone, "lead")
    kept = any(layer.made_of == "lead_paint" for layer in survey.of_zone(zone.zone, Layer))
    seen = (
        kept or "lead_paint" in zone.soiling_codes or _said(survey, zone, "lead_shedding") == "yes"
    )
    verdicts = {"observation": said, "XRF": lead_by_xrf(tests),
                "laboratory": lead_by_lab(tests, zone.coatings),
                "lead paint among the soilings or shedding": "yes" if seen else None}  # fmt: skip
    given = {name: verdict for name, verdict in verdicts.items() if verdict is not None}
    coated = may_be_coated(zone, _said(survey, zone, "coating_state"))
    if _lead_contradicts(given.values(), said, coated=coated):
        _refuse(
            zone, "lead", given,
            "Take a full-depth chip. Then leave the answer empty and say why under "
            "not_recorded_because or not_measured_because. Record a coating without lead as "
            "previous_coating",
        )  # fmt: skip


def _lead_contradicts(given: Iterable[str], said: str | None, *, coated: bool) -> bool:
    """Whether records of lead contradict: losing one would let another decide alone."""
    verdicts = set(given)
    # On a coating an answer "no" decides nothing: an unknown beside it does no harm if one is lost.
    doubtful = "unknown" in verdicts and (said == "yes" or (said == "no" and not coated))
    return len(verdicts & {"yes", "trace", "no"}) > 1 or doubtful


def check_plate(survey: Survey, zone: Zone) -> None:
    """Refuse a statement that plate lies within the limit beside a loss measured beyond it."""
    tests = survey.of_zone(zone.zone, SiteTest)
    loss = complete_values(tests, "plate_loss_pct")
    limit = complete_values(tests, "plate_loss_limit_pct")
    within = _said(survey, zone, "engineer_limit") == "within"
    if within and loss and limit and max(loss) >= min(limit):
        given = {"observation": "within", "plate loss": f"{max(loss):g} %",
                 "limit": f"{min(limit):g} %"}  # fmt: skip
        _refuse(zone, "engineer_limit", given, "Ask the engineer again")


def _said(survey: Survey, zone: Zone, topic: str) -> str | None:
    """Answer recorded on a zone for a topic."""
    answers = survey.of_zone(zone.zone, Observation)
    return next((one.finding for one in answers if one.topic == topic), None)


def _refuse(zone: Zone, field: str, given: dict[str, str], do: str) -> None:
    """Refuse what contradicts itself, naming everything that was said."""
    words = ", ".join(f"{name} {verdict}" for name, verdict in given.items())
    allowed = f"these contradict one another. {do}"
    raise SurveyError([Fault("observations", None, field, f"{zone.zone}: {words}", allowed)])
