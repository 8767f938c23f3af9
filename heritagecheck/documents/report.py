"""The report: front for who decides, a sheet for each zone, and what all of it rests on."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from markupsafe import Markup

from heritagecheck import __version__, tables
from heritagecheck.documents.zone_sheet import sheet_values, style, templates
from heritagecheck.figures import draw_elevation
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.judgement.precaution import AgainstLeaving
from heritagecheck.judgement.recommendation import OUTCOMES, Assessment
from heritagecheck.survey.records import Elevation, Structure, Zone

CITED = re.compile(r"\[([A-Z][A-Z0-9-]+)\]|<td class=\"soft\">([A-Z][A-Z0-9-]+)</td>")


def write_report(
    assessment: Assessment, folder: str | Path, formats: Sequence[str] = ("html",)
) -> Path:
    """
    Write the report of an assessment.

    Parameters
    ----------
    assessment : Assessment
        What was recommended.
    folder : str or Path
        Where to write; made where it is missing.
    formats : sequence of str
        Only ``"html"`` so far: one file that needs nothing beside it and no network.

    Returns
    -------
    Path
        ``report.html``. The same survey, seed and version give the same bytes.

    Raises
    ------
    ValueError
        A format that is not written.
    SurveyError
        A drawing of the survey is missing or no SVG.
    """
    wrong = [name for name in formats if name != "html"]
    if wrong or not formats:
        raise ValueError(f"formats: {', '.join(wrong) or 'none'} can't be written; take 'html'.")
    html = templates().get_template("report.html").render(_values(assessment))
    html = html.replace("@@SOURCES@@", _sources(html))
    target = Path(folder) / "report.html"
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_text(html, encoding="utf-8")
    return target


def _values(assessment: Assessment) -> dict[str, Any]:
    """Everything that the template of the report shows."""
    survey = assessment.survey
    areas = {zone.zone: zone.area_m2 for zone in survey.all(Zone)}
    shown = {one.evidence.zone.elevation for one in assessment.recommendations}
    return {
        "structure": survey.only(Structure),
        "style": style(),
        "recommendations": assessment.recommendations,
        "outcomes": [
            {
                "outcome": outcome,
                "zones": (
                    codes := [r.zone for r in assessment.recommendations if r.outcome == outcome]
                ),
                "count": len(codes),
                "area": sum(areas[code] for code in codes),
            }
            for outcome in OUTCOMES
        ],
        "urgent": sorted(
            (r for r in assessment.recommendations if r.urgency),
            key=lambda r: (r.urgency != "make safe", r.urgency, r.zone),
        ),
        "elevations": [
            (item.name, Markup(draw_elevation(assessment, item.elevation).svg))
            for item in survey.all(Elevation)
            if item.elevation in shown
        ],
        "divided": list(_divided(assessment)),
        "not_measured": survey.not_measured().to_dict("records"),
        "sheets": [sheet_values(assessment, one) for one in assessment.recommendations],
        "policy": assessment.policy,
        "criteria": CRITERIA,
        "scale": tables.rows("harm_scale"),
        "version": __version__,
        "seed": assessment.seed,
        "checksums": tables.checksums(),
    }


def _divided(assessment: Assessment) -> Iterable[tuple[str, AgainstLeaving]]:
    """Treatments that pass for some members and not for others."""
    for one in assessment.recommendations:
        for test in one.against_leaving.values():
            if 0 < test.members_passing < len(test.shares):
                yield one.zone, test


def _sources(html: str) -> str:
    """Sources that the report cites, as a list."""
    known = tables.keyed("sources", "source_id")
    cited = {code for match in CITED.findall(html) for code in match if code in known}
    return "".join(
        Markup("<li>[{}] {} <span class='soft'>(seen: {})</span></li>").format(
            code, known[code]["citation"], known[code]["seen"]
        )
        for code in sorted(cited)
    )
