"""Front and back of the report: outcomes, maps, gaps, policy, definitions and sources."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from html import unescape
from typing import Any

from heritagecheck import __version__, tables
from heritagecheck.documents.page_templates import anchor, drawn, shortened, why_not_drawn
from heritagecheck.figures import draw_elevation
from heritagecheck.figures.zone_location import draw_outcome
from heritagecheck.judgement.decisions import no_work
from heritagecheck.judgement.gates.gate import NOT_KNOWN
from heritagecheck.judgement.handover.urgency import urgency_turn
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.judgement.recommendation import OUTCOMES, Assessment, Recommendation
from heritagecheck.sentences import joined, upper_first
from heritagecheck.survey.drawings.drawing import zone_paths
from heritagecheck.survey.drawings.elevations import drawing_of
from heritagecheck.survey.records import AgreedPolicy, Elevation, Structure
from heritagecheck.survey.survey import Survey
from heritagecheck.tables.cautions import WITH_CAUTIONS
from heritagecheck.tables.row_types import HarmAnchor, Quantity, Source, Topic, Word

WHY = 170
# Levels of evidence are everyday words ("none", "measured"), and the report does not grade by them.
NOT_IN_GLOSSARY = {"evidence level"}


def front_values(assessment: Assessment, *, link: str = "", paper: bool = False) -> dict[str, Any]:
    """Everything that the front of the report shows."""
    survey = assessment.survey
    rows = [_row(one) for one in assessment.recommendations]
    by_outcome = {name: [row for row in rows if row["outcome"] == name] for name in OUTCOMES}
    gaps = _gaps(assessment.recommendations)
    return {
        "structure": survey.only(Structure),
        "recommendations": rows,
        "shortened": any(row["why"].endswith("…") for row in rows),
        "outcomes": [
            {
                "outcome": outcome,
                "zones": found,
                "count": len(found),
                "area": sum(row["area"] for row in found),
            }
            for outcome, found in by_outcome.items()
        ],
        "no_work": [(row, words) for row in rows if (words := no_work(assessment, row["code"]))],
        "not_looked_at": _not_looked_at(assessment.recommendations),
        "urgent": sorted(
            (row for row in rows if row["urgency"]),
            key=lambda row: (*urgency_turn(row["urgency"], row["act_by"]), row["code"]),
        ),
        "changed": {
            name: [
                row | {"anchor": anchor("sheet", row["zone"])} for row in changed.to_dict("records")
            ]
            for name, changed in assessment.changes_since_saved().items()
        },
        "stopped": [row for row in rows if row["stopped"]],
        "stopped_by": _stopped_by(rows),
        "gaps": gaps,
        "questions": [gate.question for gate in assessment.recommendations[0].gates],
        "divided": list(_divided(assessment)),
        "elevations": list(_elevations(assessment, rows, link, paper=paper)),
        "policy": assessment.policy,
        "policy_notes": assessment.policy_notes,
        "with_cautions": WITH_CAUTIONS,
    }


def _row(one: Recommendation) -> dict[str, Any]:
    """One line on a zone."""
    gate = one.deciding_gate
    return {
        "code": one.zone,
        "anchor": anchor("sheet", one.zone),
        "name": one.name,
        "elevation": one.evidence.zone.elevation,
        "area": one.evidence.zone.area_m2,
        "outcome": one.outcome,
        "urgency": one.urgency,
        "act_by": one.act_by,
        "reasons": joined(one.urgency_reasons),
        "gate": gate.number if gate else None,
        "why": shortened(gate.reason if gate else one.sentence, WHY),
        "stopped": gate is not None and gate.result == NOT_KNOWN,
    }


def _stopped_by(rows: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Zones that stop at something not known, by what stops them."""
    found: dict[tuple[int, str], list[dict[str, Any]]] = {}
    for row in rows:
        if row["stopped"]:
            found.setdefault((row["gate"], row["why"]), []).append(row)
    return [
        {"gate": gate, "why": why, "zones": zones} for (gate, why), zones in sorted(found.items())
    ]


def _not_looked_at(recommendations: Iterable[Recommendation]) -> dict[str, list[str]]:
    """Questions of urgency that were not answered everywhere, and where not."""
    found: dict[str, list[str]] = {}
    for one in recommendations:
        for question in one.urgency_not_looked_at:
            found.setdefault(question, []).append(one.zone)
    return found


def _gaps(recommendations: Iterable[Recommendation]) -> list[dict[str, Any]]:
    """Gaps by the number of zones in which they are missing."""
    found: dict[str, dict[str, Any]] = {}
    for one in recommendations:
        for gap in one.gaps:
            row = found.setdefault(gap.what, {"what": gap.what, "do": gap.what_to_do, "zones": []})
            if one.zone not in row["zones"]:
                row["zones"].append(one.zone)
    return sorted(found.values(), key=lambda row: (-len(row["zones"]), row["what"]))


def _divided(assessment: Assessment) -> Iterator[dict[str, Any]]:
    """Treatments that pass for some members and not for others."""
    for one in assessment.recommendations:
        for test in one.against_leaving.values():
            if test.divides:
                yield {
                    "zone": one.zone,
                    "anchor": anchor("sheet", one.zone),
                    "test": test,
                    "soilings": one.evidence.zone.soiling_codes,
                }


def _elevations(
    assessment: Assessment, rows: list[dict[str, Any]], link: str, *, paper: bool
) -> Iterator[dict[str, Any]]:
    """Each elevation that was assessed, with its drawing, its small maps and its zones."""
    structure = assessment.survey.only(Structure).structure
    for item in assessment.survey.all(Elevation):
        code = item.elevation
        zones = [row for row in rows if row["elevation"] == code]
        if not zones:
            continue
        no_picture = why_not_drawn(assessment.survey, code)
        yield {
            "name": item.name,
            "no_picture": no_picture,
            "short": short_name(item, structure),
            "anchor": anchor("elevation", code),
            "tall": (item.height_m or 0) > (item.width_m or 0),
            "drawing": ""
            if no_picture
            else drawn(
                draw_elevation(assessment, code, link=link),
                "elevation",
                group=bool(link),
                paper=paper,
            ),
            "maps": {
                outcome: ""
                if no_picture
                else drawn(draw_outcome(assessment, code, outcome), "map", paper=paper)
                for outcome in OUTCOMES
            },
            "codes": {
                outcome: [row["code"] for row in zones if row["outcome"] == outcome]
                for outcome in OUTCOMES
            },
            "zones": zones,
            "not_outlined": [] if no_picture else _not_outlined(assessment.survey, item, zones),
        }


def _not_outlined(survey: Survey, item: Elevation, zones: Iterable[dict[str, Any]]) -> list[str]:
    """Zones that the drawing of their elevation does not show."""
    outlined = {path.get("data-zone") for path in zone_paths(drawing_of(survey, item).root)}
    return [zone["code"] for zone in zones if zone["code"] not in outlined]


def short_name(item: Elevation, structure: str) -> str:
    """Name of an elevation without that of its structure."""
    rest = re.sub(rf"^{re.escape(structure)}\s*[,/:–-]\s*", "", item.name.rstrip(" ."))
    return upper_first(re.sub(r"\s*/\s*", ", ", rest))


def back_values(
    assessment: Assessment, body: str, trials: Iterable[dict[str, Any]]
) -> dict[str, Any]:
    """Everything that the back of the report shows."""
    survey = assessment.survey
    scale = HarmAnchor.rows()
    agreed = survey.all(AgreedPolicy)
    glossary = _glossary(plain_text(body))
    cited = {
        *_cited(assessment, trials),
        *(word.source_id for word in glossary),
        *(row.source_id for row in scale),
    }
    return {
        "policy": assessment.policy,
        "policy_notes": assessment.policy_notes,
        "agreed_on": agreed[0].agreed_on if assessment.policy_agreed else None,
        "criteria": CRITERIA,
        "scale": scale,
        "not_measured": [
            row._replace(what=_asked(row.what)) for row in survey.reasons_not_measured()
        ],
        "glossary": glossary,
        "sources": [Source.named(code) for code in sorted(cited)],
        "structure": survey.only(Structure),
        "version": __version__,
        "seed": assessment.seed,
        "checksums": tables.checksums(),
        "fingerprint": survey.fingerprint,
        "journal_head": survey.journal_head,
    }


def _cited(assessment: Assessment, trials: Iterable[dict[str, Any]]) -> Iterator[str]:
    """Codes of the sources on which cautions and rules of the zones and trials rest."""
    for one in assessment.recommendations:
        yield from (caution.source_id for caution in one.cautions)
        for stops in (*one.ruled_out.values(), *one.undecided.values()):
            yield from (stop.source_id for stop in stops)
    for values in trials:
        yield from (caution.source_id for caution in values["trial"].cautions)


def plain_text(html: str) -> str:
    """Words of a page without its pictures and marks."""
    text = re.sub(r"<(svg|style)\b.*?</\1>", " ", html, flags=re.DOTALL)
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", text)).split())


def _asked(code: str) -> str:
    """What a record asks for, in words."""
    if code in tables.codes("topics"):
        return Topic.named(code).question.rstrip("?")
    if code in tables.codes("quantities"):
        return Quantity.named(code).name
    return code.replace("_", " ")


def _glossary(words: str) -> list[Word]:
    """Terms of the vocabulary that occur in a text, in the order of the alphabet."""
    lowered = words.lower()
    found = {
        word.term: word
        for word in Word.rows()
        if word.category not in NOT_IN_GLOSSARY
        and any(_occurs(name.lower(), lowered) for name in word.term.split(" / "))
    }
    return [found[term] for term in sorted(found, key=str.lower)]


def _occurs(name: str, text: str) -> bool:
    """Whether a term occurs in a text as whole words."""
    place = text.find(name)
    while place >= 0:
        before, after = text[place - 1 : place], text[place + len(name) : place + len(name) + 1]
        if not any(sign.isalnum() or sign == "_" for sign in before + after):
            return True
        place = text.find(name, place + 1)
    return False
