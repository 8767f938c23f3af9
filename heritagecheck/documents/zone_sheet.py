"""One zone: the answer, why and how sure, then every number with its record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from markupsafe import Markup

from heritagecheck.cards import Card, Picture
from heritagecheck.documents.contents import short_name
from heritagecheck.documents.page_templates import (
    anchor,
    drawn,
    filled,
    look_of_screen,
    source_named,
    why_not_drawn,
)
from heritagecheck.documents.zone_rows import (
    layer_names,
    measured,
    photographs,
    ruled_out,
    undescribed_names,
)
from heritagecheck.evidence.measured_values import measured_values
from heritagecheck.figures import draw_colour, draw_harm
from heritagecheck.figures.colours import draw_swatches
from heritagecheck.figures.zone_answer import ABOUT, SHOWN_IN_FIGURE, draw_gates
from heritagecheck.figures.zone_location import draw_detail, draw_locator
from heritagecheck.judgement.decisions import decision_state, no_work
from heritagecheck.judgement.evidence_snapshot import evidence_hash
from heritagecheck.judgement.gates.gate import CLEAN, PASSED, TRIAL, Gate
from heritagecheck.judgement.gates.panel_damage import ABOVE_WINDOW
from heritagecheck.judgement.gates.series_verdict import TrialVerdict
from heritagecheck.judgement.options import Stop
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.sentences import lower_first
from heritagecheck.survey.records import Elevation, Structure
from heritagecheck.survey.records.record import LONGEST
from heritagecheck.survey.survey import Survey
from heritagecheck.tables.methods import brief_method

PASSED_IN_BRIEF = 165
# Signs of one text of a meeting in the decision's block; the minutes have all of it.
MOST_ON_PAPER = 500
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
    return _card("card.html", assessment, assessment.zone(zone))


def contractor_sheet(assessment: Assessment, zone: str) -> Card | None:
    """Box for the contractor of one zone, with its cautions; None where no work is meant."""
    recommendation = assessment.zone(zone)
    if recommendation.instruction is None or no_work(assessment, zone):
        return None
    box = _card("site_card.html", assessment, recommendation)
    return replace(box, text=str(recommendation.instruction))


def _card(template: str, assessment: Assessment, recommendation: Recommendation) -> Card:
    """What a template shows of a zone, with the look that it needs."""
    values = sheet_values(assessment, recommendation)
    html = filled(template, s=values, style=look_of_screen(), source=source_named)
    return Card(html, str(recommendation))


def sheet_values(
    assessment: Assessment, recommendation: Recommendation, *, ground: str = "", paper: bool = False
) -> dict[str, Any]:
    """Everything that the templates show of a zone."""
    survey, evidence = assessment.survey, recommendation.evidence
    structure = survey.only(Structure).structure
    elevations = {item.elevation: short_name(item, structure) for item in survey.all(Elevation)}
    work_meant = recommendation.outcome in {CLEAN, TRIAL}
    return {
        "r": recommendation,
        "z": evidence.zone,
        "anchor": anchor("sheet", recommendation.zone),
        "records": anchor("records", recommendation.zone),
        "elevation": elevations[evidence.zone.elevation],
        "substrate": evidence.substrate.name,
        "layers": layer_names(evidence),
        "undescribed": undescribed_names(evidence),
        "evidence_hash": evidence_hash(survey, evidence.zone),
        "decided": decision_state(survey, recommendation),
        "no_work": no_work(assessment, recommendation.zone),
        "most": MOST_ON_PAPER if paper else LONGEST,
        "criteria": CRITERIA,
        "weights_given": assessment.policy.weights_given,
        "policy_notes": assessment.policy_notes,
        "colour": evidence.colour,
        "measured": measured(measured_values(evidence)),
        "signed": "signed" if work_meant else "",
        "consent": CONSENT[evidence.finding("consent")] if work_meant else "",
        "trying": _trying(recommendation),
        **_pictures(survey, recommendation, ground, paper=paper),
        **_gates(recommendation),
        **_methods(recommendation),
    }


def _pictures(
    survey: Survey, recommendation: Recommendation, ground: str, *, paper: bool
) -> dict[str, Any]:
    """Everything that is drawn of a zone, and why what is not drawn is not."""

    def put(picture: Picture | None, css_class: str) -> Markup | None:
        return drawn(picture, css_class, paper=paper) if picture else None

    code = recommendation.zone
    no_picture = why_not_drawn(survey, recommendation.evidence.zone.elevation)
    detail = None if no_picture else draw_detail(survey, code, ground=ground)
    shown, left = photographs(survey, code, paper=paper)
    return {
        # The drawing of an elevation need not show every zone; then the page says so.
        "no_picture": no_picture or f"the drawing of this elevation shows no outline of {code}",
        "detail": put(detail, "detail"),
        "scale": detail.alt.partition(". ")[2] if detail else "",
        "locator": put(None if no_picture else draw_locator(survey, code), "locator"),
        "photographs": shown,
        "photographs_left": left,
        "swatches": put(draw_swatches(recommendation.evidence), "swatches"),
        "gates_line": put(draw_gates(recommendation), "gates"),
        "harm": put(draw_harm(recommendation) if recommendation.weighed else None, "harm"),
        "colour_plot": put(draw_colour(recommendation), "colour"),
    }


def _gates(recommendation: Recommendation) -> dict[str, Any]:
    """Reason for the result of each gate, on the screen and on paper."""
    on_paper = [_on_paper(recommendation, gate) for gate in recommendation.gates]
    return {
        "reasons": [_reason(recommendation, gate) for gate in recommendation.gates],
        "paper_reasons": on_paper,
        "passed_in_brief": [
            f"{gate.number} {about}"
            for gate, about, said in zip(recommendation.gates, ABOUT, on_paper, strict=True)
            if not said
        ],
    }


def _methods(recommendation: Recommendation) -> dict[str, Any]:
    """Options weighed, not tried, not decided and ruled out."""
    out = ruled_out(recommendation)
    return {
        "weighed": recommendation.weighed,
        "leading": recommendation.leading(SHOWN_IN_FIGURE),
        "untried": _untried(recommendation),
        "ruled_out": out,
        "hard": [row for row in out if row.hard],
        "stops": _together(recommendation.ruled_out),
        "undecided": _together(recommendation.undecided),
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
        if key.method == recommendation.method
    ]
    if any(verdict.pending for verdict in series):
        return f"Finish these panels first: {name}"
    if any(verdict.needs_panels for verdict in series):
        return _continuing(recommendation, series)
    return _beginning(recommendation, name)


def _beginning(recommendation: Recommendation, name: str) -> str:
    """How a method is tried of which no panels are good so far."""
    if not any(test.less_harm for test in recommendation.weighed):
        return (
            f"Try {name}, although on present ratings no method does less harm than leaving; "
            "panels would have to show otherwise"
        )
    if any(test.passed for test in recommendation.weighed):
        return f"Try, least harmful first: {name}"
    return (
        "No method has passed yet; trial panels must show which can. "
        f"Begin with the least harmful: {name}"
    )


def _continuing(recommendation: Recommendation, series: Sequence[TrialVerdict]) -> str:
    """How to continue a series whose panels are good but too few."""
    box = recommendation.instruction
    if box is not None and box.setting.steps:
        return "Continue this series: results are good so far, but there are too few panels"
    # Where spots say that the setting was too harsh, a new one must not be harsher still.
    if any(
        check.name == ABOVE_WINDOW and check.holds is False
        for verdict in series
        for check in verdict.checks
    ):
        return "Lay new panels at a gentler setting, inside the window of the spots"
    return "Lay new panels at a setting that the conservator gives, at the gentle end"


def _reason(recommendation: Recommendation, gate: Gate) -> str:
    """Reason for the result of a gate: the answer for the one that decides, brief if passed."""
    if gate is recommendation.deciding_gate:
        return "this decides (see above)"
    if gate.result == PASSED and len(gate.reason) > PASSED_IN_BRIEF:
        return _brief(gate)
    return gate.reason


def _brief(gate: Gate) -> str:
    """Reason of a gate that passed, in few words and never cut within a thought."""
    return gate.brief or gate.reason


def _on_paper(recommendation: Recommendation, gate: Gate) -> str:
    """Reason for the result of a gate, as far as a page of paper has it."""
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
    weighed_methods = {key.method for key in recommendation.against_leaving}
    soilings = recommendation.evidence.zone.soiling_codes
    return [
        brief_method(code, soilings)
        for code in recommendation.candidates
        if code not in weighed_methods
    ]
