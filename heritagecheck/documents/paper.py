"""The report for paper: the words of the same templates, set as a PDF."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from heritagecheck import __version__
from heritagecheck.documents.contents import back_values, front_values
from heritagecheck.documents.drawn import paper_key
from heritagecheck.documents.pdf import as_pdf
from heritagecheck.documents.shown import templates
from heritagecheck.documents.trial_sheet import on_page
from heritagecheck.documents.zone_sheet import sheet_values
from heritagecheck.figures import draw_key
from heritagecheck.judgement.recommendation import OUTCOMES, Assessment
from heritagecheck.survey.records import Structure


def paper(
    assessment: Assessment, trials: Sequence[dict[str, Any]], done: Callable[[], None]
) -> bytes:
    """
    The report for paper.

    Parameters
    ----------
    assessment : Assessment
        What was recommended.
    trials : sequence of dict
        Values of each series of panels on the zones assessed.
    done : callable
        Told of each zone that is done.

    Returns
    -------
    bytes
        PDF.

    Raises
    ------
    RuntimeError
        Its pages can't be set.
    """
    structure = assessment.survey.only(Structure)
    day = structure.survey_date
    sheets = []
    for one in assessment.recommendations:
        sheets.append(sheet_values(assessment, one, paper=True))
        done()
    body = (
        templates()
        .get_template("print_body.html")
        .render(
            front_values(assessment, paper=True),
            sheets=sheets,
            trials=[on_page(one, paper=True) for one in trials],
            key=paper_key,
        )
    )
    back = templates().get_template("back.html").render(back_values(assessment, body))
    return as_pdf(
        body + back,
        "report.typ",
        title=f"{structure.structure}: clean it or leave it?",
        edge={
            "structure": structure.structure,
            "made": f"Survey closed {day}; heritagecheck {__version__}, seed {assessment.seed}",
        },
        day=day,
        values={
            "description": structure.asked,
            "keys": {outcome.replace(" ", "-"): draw_key(outcome).svg for outcome in OUTCOMES},
        },
    )
