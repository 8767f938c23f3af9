"""One zone: the answer, why and how sure, then every number with its record."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from heritagecheck.cards import Card
from heritagecheck.documents.contents import short_name
from heritagecheck.documents.page_templates import (
    anchor,
    drawn,
    lower_first,
    sheet_of_style,
    templates,
    why_not_drawn,
)
from heritagecheck.documents.photographs import photographs
from heritagecheck.documents.zone_rows import layer_names, measured, ruled_out
from heritagecheck.evidence.evidence_table import evidence_rows
from heritagecheck.figures import (
    draw_colour,
    draw_detail,
    draw_gates,
    draw_harm,
    draw_locator,
    draw_swatches,
)
from heritagecheck.figures.gates import ABOUT
from heritagecheck.figures.harm import SHOWN_IN_FIGURE
from heritagecheck.judgement.gates.gate import CLEAN, PASSED, TRIAL, Gate
from heritagecheck.judgement.options import Stop
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.judgement.saved_assessment import evidence_hash
from heritagecheck.survey.records import Elevation, Structure
from heritagecheck.tables.naming import brief_method

PASSED_IN_BRIEF = 165
CONSENT = {
    None: "Consent: no request recorded",
    "granted": "Consent: granted, as recorded",
    "in_principle": "Consent: in principle; formal consent still to come",
    "applied": "Consent: applied for",
    "not_needed": "Consent: not needed, as recorded",
    "refused": "Consent: refused",
}


def zone_sheet(assessment: Assessment, zone: str) -> Card:
    """Sheet of one zone."""
    recommendation = assessment.zone(zone)
    html = (
        templates()
        .get_template("card.html")
        .render(s=sheet_values(assessment, recommendation), style=sheet_of_style("screen.css"))
    )
    return Card(html, str(recommendation))


def sheet_values(
    assessment: Assessment, recommendation: Recommendation, *, ground: str = "", paper: bool = False
) -> dict[str, Any]:
    """Everything that the templates show of a zone."""
    evidence = recommendation.evidence
    survey = assessment.survey
    structure = survey.only(Structure).structure
    elevations = {item.elevation: short_name(item, structure) for item in survey.all(Elevation)}
    code, out = recommendation.zone, ruled_out(recommendation)
    readings = draw_colour(recommendation)
    shown, left = photographs(survey, code, paper=paper)
    no_picture = why_not_drawn(survey, evidence.zone.elevation)
    detail = None if no_picture else draw_detail(survey, code, ground=ground)
    locator = None if no_picture else draw_locator(survey, code)
    return {
        "r": recommendation,
        "z": evidence.zone,
        "anchor": anchor("sheet", recommendation.zone),
        "records": anchor("records", recommendation.zone),
        "elevation": elevations[evidence.zone.elevation],
        "substrate": evidence.substrate["name"],
        "layers": layer_names(evidence),
        # The drawing of an elevation need not show every zone; then the page says so.
        "no_picture": no_picture or f"the drawing of this elevation shows no outline of {code}",
        "detail": drawn(detail, "detail", paper=paper) if detail else None,
        "scale": detail.alt.partition(". ")[2] if detail else "",
        "locator": drawn(locator, "locator", paper=paper) if locator else None,
        "photographs": shown,
        "photographs_left": left,
        "evidence_hash": evidence_hash(survey, evidence.zone),
        "swatches": drawn(draw_swatches(recommendation), "swatches", paper=paper),
        "gates_line": drawn(draw_gates(recommendation), "gates", paper=paper),
        "harm": drawn(draw_harm(recommendation), "harm", paper=paper)
        if recommendation.weighed
        else None,
        "weighed": recommendation.weighed,
        "leading": recommendation.leading(SHOWN_IN_FIGURE),
        "reasons": [_reason(recommendation, gate) for gate in recommendation.gates],
        "paper_reasons": [_on_paper(recommendation, gate) for gate in recommendation.gates],
        "passed_in_brief": [
            f"{gate.number} {about}"
            for gate, about in zip(recommendation.gates, ABOUT, strict=True)
            if not _on_paper(recommendation, gate)
        ],
        "untried": _untried(recommendation),
        "members": len(assessment.policy.weights),
        "criteria": CRITERIA,
        "colour": evidence.colour,
        "colour_plot": drawn(readings, "colour", paper=paper) if readings else None,
        "measured": measured(evidence, evidence_rows(evidence)),
        "ruled_out": out,
        "hard": [row for row in out if row.hard],
        "stops": _together(recommendation.ruled_out),
        "undecided": _together(recommendation.undecided),
        "signed": "signed" if recommendation.outcome in {CLEAN, TRIAL} else "",
        "consent": CONSENT[evidence.finding("consent")]
        if recommendation.outcome in {CLEAN, TRIAL}
        else "",
        "trying": _trying(recommendation),
    }


def _trying(recommendation: Recommendation) -> str:
    """What is to be tried, and whether there is any hope in it; empty where nothing is."""
    if recommendation.outcome != TRIAL:
        return ""
    if recommendation.method is None:
        return "Try nothing until that is settled"
    soilings = recommendation.evidence.zone.soiling_codes
    name = lower_first(brief_method(recommendation.method, soilings))
    series = [
        verdict
        for key, verdict in recommendation.trials.items()
        if key.partition(", ")[0] == recommendation.method
    ]
    if any(verdict.pending for verdict in series):
        return f"Finish these panels first: {name}"
    if any(verdict.unsure for verdict in series):
        box = recommendation.instruction
        return (
            "Continue this series: results are good so far, but there are too few panels"
            if box is not None and box.setting.steps
            else "Continue with new panels at a different setting"
        )
    if not any(test.less_harm for test in recommendation.weighed):
        return (
            f"Try {name}, although on present ratings no method does less harm than leaving; "
            "panels would have to show otherwise"
        )
    return f"Try, least harmful first: {name}"


def _reason(recommendation: Recommendation, gate: Gate) -> str:
    """Why a gate stands as it does: the one that decides is the answer, those passed are brief."""
    if gate is recommendation.deciding_gate and recommendation.sentence.endswith(gate.reason):
        return "this decides (see above)"
    if gate.result == PASSED and len(gate.reason) > PASSED_IN_BRIEF:
        return _brief(gate)
    return gate.reason


def _brief(gate: Gate) -> str:
    """Reason of a gate that passed, in few words and never cut within a thought."""
    return gate.brief or gate.reason


def _on_paper(recommendation: Recommendation, gate: Gate) -> str:
    """Why a gate stands as it does, as far as a page of paper says it."""
    if gate.result != PASSED:
        return _reason(recommendation, gate)
    return _brief(gate) if recommendation.outcome == CLEAN else ""


def _together(
    rules: Mapping[str, tuple[Stop, ...]],
) -> list[tuple[list[str], tuple[Stop, ...]]]:
    """Methods to which the same rules apply in one line; hard stops first."""
    found: dict[tuple[Stop, ...], list[str]] = {}
    for method, stops in rules.items():
        found.setdefault(stops, []).append(method)
    lines = [(codes, stops) for stops, codes in found.items()]
    return sorted(lines, key=lambda line: not any(stop.hard for stop in line[1]))


def _untried(recommendation: Recommendation) -> list[str]:
    """Methods that are not ruled out and were not weighed, because only panels count there."""
    weighed_methods = {key.partition(", ")[0] for key in recommendation.against_leaving}
    return [code for code in recommendation.candidates if code not in weighed_methods]
