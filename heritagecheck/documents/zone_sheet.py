"""One zone on one page: the answer, why and how sure, then every number with its record."""

from __future__ import annotations

import io
import re
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from heritagecheck import tables
from heritagecheck.cards import Card
from heritagecheck.figures import draw_gates, draw_harm, draw_key, draw_locator, draw_swatches
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.judgement.precaution import per_cent
from heritagecheck.judgement.recommendation import Assessment, Recommendation, method_name


@cache
def templates() -> Environment:
    """
    Templates of the pages; text is escaped, and a name that is not given is an error.

    Returns
    -------
    jinja2.Environment
    """
    found = Environment(
        loader=PackageLoader("heritagecheck", "documents/templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.filters["words"] = lambda code: str(code).replace("_", " ")
    found.filters["method"] = method_name
    found.filters["share"] = per_cent
    found.globals["key"] = lambda outcome: Markup(draw_key(outcome).svg)
    return found


def zone_sheet(assessment: Assessment, zone: str) -> Card:
    """
    Sheet of one zone.

    Parameters
    ----------
    assessment : Assessment
        What was recommended.
    zone : str
        Code of the zone.

    Returns
    -------
    Card
        A block of HTML that carries its own style, so that it may stand alone.

    Raises
    ------
    SurveyError
        The assessment holds no such zone.
    """
    recommendation = assessment.zone(zone)
    html = (
        templates()
        .get_template("card.html")
        .render(sheet_values(assessment, recommendation), style=style())
    )
    return Card(html, str(recommendation))


def style() -> Markup:
    """
    Style of our pages.

    Returns
    -------
    markupsafe.Markup
    """
    source = templates().loader
    assert source is not None
    return Markup(source.get_source(templates(), "page.css")[0])


def sheet_values(assessment: Assessment, recommendation: Recommendation) -> dict[str, Any]:
    """
    Everything that the template of a zone shows.

    Parameters
    ----------
    assessment : Assessment
        What was recommended.
    recommendation : Recommendation
        For this zone.

    Returns
    -------
    dict
        Names of the template to values.
    """
    evidence = recommendation.evidence
    weighed = sorted(recommendation.against_leaving.values(), key=lambda test: test.expected)
    soilings = tables.keyed("soilings", "soiling")
    return {
        "r": recommendation,
        "z": evidence.zone,
        "substrate": evidence.substrate["name"],
        "layers": [(soilings[layer.soiling]["name"], layer) for layer in evidence.layers],
        "locator": _drawn(draw_locator, assessment.survey, recommendation.zone),
        "swatches": Markup(draw_swatches(recommendation).svg),
        "gates_line": Markup(draw_gates(recommendation).svg),
        "harm": Markup(_harm_svg(recommendation)) if weighed else None,
        "weighed": weighed[:3],
        "criteria": CRITERIA,
        "colour": evidence.colour,
        "evidence_rows": recommendation.evidence_table().to_dict("records"),
        "ruled_out": _ruled_out(recommendation),
        "members": len(assessment.policy.weights),
        "alpha": assessment.policy.alpha,
    }


def _drawn(draw: Any, *args: Any) -> Markup:
    """Take the SVG of a picture that was made from a cleaned drawing."""
    return Markup(draw(*args).svg)


def _ruled_out(recommendation: Recommendation) -> list[tuple[str, str, str, str]]:
    """Methods ruled out: names, rule, reason, source; those without a rated use in one line."""
    found: dict[tuple[str, str, str], list[str]] = {}
    for method, stops in recommendation.ruled_out.items():
        leading = min(stops, key=lambda stop: (not stop.hard, stop.rule))
        rule = f"{leading.rule}{', hard stop' if leading.hard else ''}"
        found.setdefault((rule, leading.reason, leading.source_id), []).append(method_name(method))
    return [("; ".join(names), *key) for key, names in sorted(found.items())]


def _harm_svg(recommendation: Recommendation) -> str:
    """Figure of harm as inline SVG, the same bytes each time."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    rules: dict[Any, Any] = {
        "svg.fonttype": "none", "svg.hashsalt": recommendation.zone, "font.family": "serif",
        "font.size": 8,
    }  # fmt: skip
    with mpl.rc_context(rules):
        figure = Figure(figsize=(5.6, 2.9), layout="constrained")
        draw_harm(recommendation, figure.subplots())
        target = io.StringIO()
        figure.savefig(target, format="svg", metadata={"Date": None, "Creator": None})
    text = target.getvalue()
    svg = text[text.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    # Pages hold many such figures: each keeps its own names.
    return re.sub(r'(\bid="|url\(#|href="#)', rf"\g<1>{recommendation.zone}-", svg)
