"""Facts of the zone in hand with their pictures: gathered and drawn once for the whole room."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

from heritagecheck.documents.contents import short_name
from heritagecheck.documents.page_templates import why_not_drawn
from heritagecheck.documents.zone_rows import layer_names, measured, photographs, undescribed_names
from heritagecheck.evidence.measured_values import measured_values
from heritagecheck.figures.zone_location import draw_detail, draw_locator
from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.sentences import count_of
from heritagecheck.survey.records import Elevation, Structure, Zone
from heritagecheck.survey.survey import Survey
from heritagecheck.tables.row_types import Topic

SVG = "image/svg+xml"


class FactsInHand:
    """Facts of one zone; kept until another is taken up or the evidence changes."""

    def __init__(self) -> None:
        self._of: Recommendation | None = None
        self._facts: Mapping[str, Any] = {}
        self._drawn: dict[str, bytes] = {}

    def of(self, answer: Recommendation, survey: Survey) -> Mapping[str, Any]:
        """Facts of the zone of an answer, which was worked out of a survey."""
        if self._of is not answer:
            drawn, hidden = _pictures(survey, answer.evidence.zone)
            named = [(_name(answer.zone, svg), svg, words) for svg, words in drawn]
            self._drawn = {name: svg.encode() for name, svg, _ in named}
            self._facts = _gathered(answer, survey) | {
                "pictures": [(name, words) for name, _, words in named], "no_picture": hidden,
            }  # fmt: skip
            self._of = answer
        return self._facts

    def picture(self, name: str) -> tuple[bytes, str]:
        """A picture of the zone."""
        return self._drawn[name], SVG


def _gathered(answer: Recommendation, survey: Survey) -> dict[str, Any]:
    """What the records say of the zone, in words."""
    evidence, zone = answer.evidence, answer.evidence.zone
    named = survey.all(Structure)
    elevations = {
        one.elevation: short_name(one, named[0].structure if named else "")
        for one in survey.all(Elevation)
    }
    return {
        "zone": zone,
        "elevation": elevations[zone.elevation],
        "substrate": evidence.substrate.name,
        "layers": layer_names(evidence),
        "undescribed": undescribed_names(evidence),
        "measured": measured(measured_values(evidence)),
        "found": [
            (Topic.named(topic).question, one.finding)
            for topic, one in evidence.observations.items()
            if one is not None and one.finding
        ],
        "not_found": [
            (Topic.named(topic).question, one.not_recorded_because)
            for topic, one in evidence.observations.items()
            if one is not None and not one.finding
        ],
        "not_measured": [
            (one.what, one.why)
            for one in survey.reasons_not_measured() if one.zone == zone.zone
        ],
        "notes": answer.notes,
    }  # fmt: skip


def _pictures(survey: Survey, zone: Zone) -> tuple[list[tuple[str, str]], list[str]]:
    """What is drawn and photographed of the zone, with its words; and what can't be shown, why."""
    drawn = []
    if not why_not_drawn(survey, zone.elevation):
        both = draw_detail(survey, zone.zone), draw_locator(survey, zone.zone)
        drawn = [(one.svg, one.alt) for one in both if one]
    shown, left_out = photographs(survey, zone.zone)
    drawn += [(str(one.picture), one.words) for one in shown if one.picture]
    hidden = [one.words for one in shown if not one.picture]
    if left_out:
        hidden.append(f"{count_of(left_out, 'more photograph')} in the survey.")
    return drawn, hidden


def _name(zone: str, svg: str) -> str:
    """Name under which the browser asks for a picture: another picture has another name."""
    return f"{zone} {hashlib.sha256(svg.encode()).hexdigest()[:16]}"
