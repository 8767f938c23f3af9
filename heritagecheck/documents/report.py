"""The report: front for who decides, a page for each zone, and what all of it rests on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from markupsafe import Markup

from heritagecheck.documents.contents import back_values, front_values, imprint
from heritagecheck.documents.drawn import anchor, paper_key, paper_keys
from heritagecheck.documents.pdf import as_pdf, laid_out, places, why_no_pdf
from heritagecheck.documents.shown import sheet_of_style, templates
from heritagecheck.documents.trial_sheet import series_of, trial_values
from heritagecheck.documents.typefaces import carried_faces, faces
from heritagecheck.documents.zone_sheet import sheet_values
from heritagecheck.figures import draw_ground
from heritagecheck.judgement.recommendation import Assessment

if TYPE_CHECKING:
    import weasyprint

FORMATS = ("html", "pdf")
# How roomily a zone may be set, as print.css says: the same words, in smaller type.
LEVELS = ("roomy", "close", "tight")
# Zones are measured on pages without an end, then set so that they end above the foot of an A4.
ENDLESS = Markup("@page { size: 210mm 3000mm; }")
PAGE_ENDS_MM = 284.3
ROWS = 4
# What a zone's page shows above its options. The first two open the left column, the last ends
# the right one; those between go where there is room.
BLOCKS = ("what", "gates", "measured", "not known", "conditions", "afterwards", "cautions")
MOVABLE = BLOCKS[2:-1]


class Setting(NamedTuple):
    """How a zone is set on its page: how roomily, and which blocks stand in which column."""

    level: str
    columns: tuple[tuple[str, ...], tuple[str, ...]]


def write_report(
    assessment: Assessment, folder: str | Path, formats: Sequence[str] = FORMATS
) -> tuple[Path, ...]:
    """
    Write the report of an assessment.

    Parameters
    ----------
    assessment : Assessment
        What was recommended.
    folder : str or Path
        Where to write; made where it is missing.
    formats : sequence of str
        ``"html"``: one file that needs nothing beside it and no network. ``"pdf"``: the same for
        paper, tagged (PDF/UA-1), one A4 page a zone; it needs WeasyPrint and pango, and where
        they are missing it is left out if another format was asked as well.

    Returns
    -------
    tuple of Path
        The files written, ``report.html`` and ``report.pdf``, in the order asked. The same
        survey, seed and version give the same bytes.

    Raises
    ------
    ValueError
        A format that is not written.
    SurveyError
        A drawing of the survey is missing or no SVG.
    ImportError
        Nothing but a PDF was asked, and WeasyPrint or pango is missing.
    """
    wrong = [name for name in formats if name not in FORMATS]
    if wrong or not formats:
        raise ValueError(
            f"formats: {', '.join(wrong) or 'none'} can't be written; take 'html', 'pdf' or both."
        )
    if set(formats) == {"pdf"} and why_no_pdf():
        raise ImportError(why_no_pdf())
    found = []
    for name in dict.fromkeys(formats):
        if name == "html":
            found.append((name, screen_html(assessment).encode()))
        elif not why_no_pdf():
            found.append((name, as_pdf(paper(assessment))))
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    paths = []
    for name, content in found:
        paths.append(target / f"report.{name}")
        paths[-1].write_bytes(content)
    return tuple(paths)


def screen_html(assessment: Assessment) -> str:
    """
    The report for the screen.

    Parameters
    ----------
    assessment : Assessment
        What was recommended.

    Returns
    -------
    str
        One page of HTML.
    """
    used = list(dict.fromkeys(one.evidence.zone.elevation for one in assessment.recommendations))
    grounds = {code: anchor("ground", code) for code in used}
    sheets = [
        sheet_values(assessment, one, ground=grounds[one.evidence.zone.elevation])
        for one in assessment.recommendations
    ]
    trials = [trial_values(assessment, series) for series in series_of(assessment)]
    body = templates().get_template("screen_body.html").render(
        front_values(assessment, link="#sheet-"), sheets=sheets, trials=trials
    )  # fmt: skip
    return (
        templates()
        .get_template("screen.html")
        .render(
            back_values(assessment, body),
            body=Markup(body),
            trials=trials,
            faces=carried_faces(),
            style=sheet_of_style("screen.css"),
            grounds=[
                Markup(draw_ground(assessment.survey, code, name).svg)
                for code, name in grounds.items()
            ],
        )
    )


def paper(assessment: Assessment) -> weasyprint.Document:
    """
    The report for paper: each zone set as large as its one page allows.

    Parameters
    ----------
    assessment : Assessment
        What was recommended.

    Returns
    -------
    weasyprint.Document
        Its pages, laid out.
    """
    sheets = [sheet_values(assessment, one, paper=True) for one in assessment.recommendations]
    pictures: dict[str, Any] = {}
    settings = _settings(assessment, sheets, pictures)
    body = (
        templates()
        .get_template("print_body.html")
        .render(
            front_values(assessment, paper=True),
            pages=[(sheet, *settings[sheet["anchor"]]) for sheet in sheets],
            trials=[
                trial_values(assessment, series, paper=True) for series in series_of(assessment)
            ],
            key=paper_key,
            rows=ROWS,
        )
    )
    return laid_out(_print(assessment, body, to_measure=False), pictures)


def _print(assessment: Assessment, body: str, *, to_measure: bool) -> str:
    """Pages for paper from what stands on them; endless and without a back to measure zones."""
    style = sheet_of_style("print.css") + paper_keys()
    return (
        templates()
        .get_template("print.html")
        .render(
            imprint(assessment) if to_measure else back_values(assessment, body),
            body=Markup(body),
            back=not to_measure,
            faces=faces(),
            style=style + ENDLESS if to_measure else style,
        )
    )


def _settings(
    assessment: Assessment, sheets: Sequence[dict[str, Any]], pictures: dict[str, Any]
) -> dict[str, Setting]:
    """For each zone the roomiest setting with which it takes one page; else the tightest."""
    template = templates().get_template("zone_page.html")
    settings: dict[str, Setting] = {}
    waiting = list(sheets)
    for level in LEVELS:
        body = "".join(
            # The records that the page points to stand elsewhere in the report.
            Markup(template.render(s=s, level=level, columns=[BLOCKS], rows=ROWS, key=paper_key))
            + Markup('<p id="{}"></p>').format(s["records"])
            for s in waiting
        )
        downs = places(laid_out(_print(assessment, body, to_measure=True), pictures))
        left = []
        for sheet in waiting:
            columns, end = _two_columns(sheet["anchor"], downs)
            settings[sheet["anchor"]] = Setting(level, columns)
            if end > PAGE_ENDS_MM:
                left.append(sheet)
        waiting = left
    return settings


def _two_columns(
    anchor: str, downs: Mapping[str, float]
) -> tuple[tuple[tuple[str, ...], tuple[str, ...]], float]:
    """Part the blocks of a zone, measured in one column, into two; and where its page ends."""
    marks = [downs[f"{name.replace(' ', '-')}-{anchor}"] for name in ("top", *BLOCKS)]
    heights = {name: low - high for name, high, low in zip(BLOCKS, marks, marks[1:], strict=False)}
    choices = []
    for count in range(len(MOVABLE) + 1):
        for moved in combinations(MOVABLE, count):
            right = tuple(name for name in BLOCKS if name == BLOCKS[-1] or name in moved)
            left = tuple(name for name in BLOCKS if name not in right)
            higher = max(sum(heights[name] for name in column) for column in (left, right))
            choices.append((higher, (left, right)))
    higher, columns = min(choices, key=lambda choice: choice[0])
    return columns, downs[f"end-{anchor}"] - (marks[-1] - marks[0]) + higher
