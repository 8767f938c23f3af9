"""The report for paper and its annexe: the words of the same templates, set as PDF."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Generator, Sequence
from functools import partial
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

REPORT = "report.pdf"
ANNEXE = "report-records.pdf"


def paper(
    assessment: Assessment, trials: Sequence[dict[str, Any]], done: Callable[[], None]
) -> dict[str, bytes]:
    """
    The report for paper, and every record in an annexe.

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
    dict of str to bytes
        Names of files to PDF. The first is the report, to which the second is attached.

    Raises
    ------
    RuntimeError
        Its pages can't be set.
    """
    structure = assessment.survey.only(Structure)
    day = structure.survey_date
    set_ = partial(
        as_pdf,
        style="report.typ",
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
    bodies = _bodies(assessment, trials, done)
    records = next(bodies)
    annexe = set_(
        records + _rendered("annexe_back.html", back_values(assessment, records)),
        title=f"{structure.structure}: trials, and every number and record",
    )
    body = next(bodies)
    bodies.close()
    back = back_values(assessment, body)
    back |= {"annexe": ANNEXE, "annexe_sum": hashlib.sha256(annexe).hexdigest()}
    report = set_(
        body + _rendered("print_back.html", back),
        title=f"{structure.structure}: clean it or leave it?",
        beside={ANNEXE: annexe},
        measured=True,
    )
    return {REPORT: report, ANNEXE: annexe}


def _bodies(
    assessment: Assessment, trials: Sequence[dict[str, Any]], done: Callable[[], None]
) -> Generator[str, None, None]:
    """Annexe, then report, before their backs, as HTML: one at a time, since both are large."""
    sheets = []
    for one in assessment.recommendations:
        sheets.append(sheet_values(assessment, one, paper=True))
        done()
    values = front_values(assessment, paper=True) | {
        "sheets": sheets,
        "trials": [on_page(one, paper=True) for one in trials],
        "key": paper_key,
        "annexe": ANNEXE,
        "report": REPORT,
    }
    for template in ("annexe.html", "print_body.html"):
        yield _rendered(template, values)


def _rendered(template: str, values: dict[str, Any]) -> str:
    """One of the templates, filled in."""
    return templates().get_template(template).render(values)
