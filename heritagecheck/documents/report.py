"""The report: front for who decides, a page for each zone, and what all of it rests on."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from markupsafe import Markup

from heritagecheck import __version__
from heritagecheck.documents.contents import back_values, front_values
from heritagecheck.documents.heat_beside import heat_beside
from heritagecheck.documents.page_templates import (
    anchor,
    filled,
    look_of_screen,
    paper_key,
    why_not_drawn,
)
from heritagecheck.documents.pdf import read_page, set_page
from heritagecheck.documents.trial_sheet import on_page, series_of, trial_values
from heritagecheck.documents.zone_sheet import sheet_values
from heritagecheck.errors import ReportError, in_words
from heritagecheck.evidence.laser.heat.setting_heat import Heating
from heritagecheck.evidence.trials.series_heat import by_laser, heating, why_no_heat
from heritagecheck.figures.elevation import draw_key
from heritagecheck.figures.svg import carried_faces
from heritagecheck.figures.zone_location import draw_ground
from heritagecheck.judgement.handover.cautions import heatings
from heritagecheck.judgement.options import OptionKey
from heritagecheck.judgement.recommendation import OUTCOMES, Assessment
from heritagecheck.progress import Told, followed
from heritagecheck.sentences import day_in_words
from heritagecheck.survey.records import Structure
from heritagecheck.survey.store.verification import IN_FOLDER, keep_head
from heritagecheck.whole_file import write_whole

FORMATS = ("html", "pdf")
# A browser takes its time with a page of more zones than these: then each elevation has its own.
MOST_ON_A_PAGE = 200


def write_report(
    assessment: Assessment,
    folder: str | Path,
    formats: Sequence[str] = FORMATS,
    *,
    progress: Told | None = None,
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
        ``"html"``: a page that needs nothing beside it and no network; of more than 200 zones a
        page for each elevation, which the first leads to. ``"pdf"``: the same for paper, tagged
        (PDF/A-3a, PDF/UA-1), a page of A4 a zone, or two, with trials and records in an annexe,
        a file of its own that is attached as well.
    progress : callable, optional
        Told how many zones are done, and of how many in all, over all formats; else a notebook
        shows it by itself.

    Returns
    -------
    tuple of Path
        The files written, in the order asked: ``report.html`` with its further pages, and
        ``report.pdf`` with ``report-records.pdf``. The same survey, seed and version give the
        same bytes. Where the drawing of an elevation is missing or can't be shown, its place says
        why. The hash of the journal that they print is added to a small file as well: `keep_head`
        says where it lies, and ``heritagecheck check`` looks for it.

    Raises
    ------
    ValueError
        A format that is not written.
    ReportError
        A file could not be written, because there is no room, no permission, or its pages can't
        be set. The others were; `written` names them.
    """
    wrong = [name for name in formats if name not in FORMATS]
    if wrong or not formats:
        raise ValueError(
            f"formats: {', '.join(wrong) or 'none'} can't be written; take 'html', 'pdf' or both."
        )
    asked = list(dict.fromkeys(formats))
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    # What takes longest, and is the same for screen and paper.
    with heat_beside(_heat_shown(assessment)):
        trials = [trial_values(assessment, series) for series in series_of(assessment)]
    written: list[Path] = []
    reasons: dict[str, str] = {}
    with followed(progress, "pages of zones") as told:
        count = _Count(len(assessment.recommendations) * len(asked), told)
        for name in asked:
            file = f"report.{name}"
            make = screen_pages if name == "html" else paper
            try:
                for file, content in make(assessment, trials, count).items():
                    write_whole(target / file, content)
                    written.append(target / file)
            except (OSError, RuntimeError) as error:
                words = in_words(error) if isinstance(error, OSError) else str(error)
                reasons[file] = words.partition("\n")[0]
    if written and (digits := assessment.survey.journal_head):
        try:
            keep_head(assessment.survey.name, digits, target)
        except OSError as error:
            reasons[IN_FOLDER] = in_words(error)
    if reasons:
        raise ReportError(reasons, written)
    return tuple(written)


def _heat_shown(assessment: Assessment) -> Iterator[Heating]:
    """What is calculated of heat for the pages of zones and series."""
    for one in assessment.recommendations:
        box, substrate = one.instruction, one.evidence.zone.substrate
        if box is not None and box.panels is not None:
            yield from heatings(box.panels, box.setting, box.substrate)
        for panels in one.evidence.series:
            if panels.zone != one.zone or not by_laser(panels) or why_no_heat(panels, substrate):
                continue
            yield heating(panels, substrate)
            if work := one.settings.get(OptionKey(panels.method, panels.series)):
                yield from heatings(panels, work, substrate)


class _Count:
    """Zones done, of zones in all."""

    def __init__(self, total: int, told: Told) -> None:
        self._done, self._total, self._told = 0, total, told

    def __call__(self) -> None:
        """One more is done."""
        self._done += 1
        self._told(self._done, self._total)


def screen_pages(
    assessment: Assessment, trials: Sequence[dict[str, Any]], done: Callable[[], None]
) -> dict[str, bytes]:
    """The report for the screen."""
    elevations = dict.fromkeys(one.evidence.zone.elevation for one in assessment.recommendations)
    grounds = {code: anchor("ground", code) for code in elevations}
    sheets: dict[str, list[dict[str, Any]]] = {code: [] for code in elevations}
    for one in assessment.recommendations:
        code = one.evidence.zone.elevation
        sheets[code].append(sheet_values(assessment, one, ground=grounds[code]))
        done()
    front = filled("front.html", **front_values(assessment, link="#sheet-"))
    whole = len(assessment.recommendations) <= MOST_ON_A_PAGE
    parts = [list(elevations)] if whole else [[], *([code] for code in elevations)]
    bodies, names = {}, {}
    for number, codes in enumerate(parts):
        name = "report.html" if number == 0 else f"report-{number}-{anchor('of', codes[0])}.html"
        names[name] = codes
        bodies[name] = filled(
            "screen_body.html",
            front=front if number == 0 else "",
            sheets=[sheet for code in codes for sheet in sheets[code]],
            trials=[on_page(one) for one in trials if one["trial"].zone.elevation in codes],
        )  # fmt: skip
    back = back_values(assessment, "".join(bodies.values()), trials)
    pages = {
        name: filled(
            "screen.html",
            **back,
            body=Markup(body),
            front=name == "report.html",
            any_trials=bool(trials),
            faces=carried_faces(),
            style=look_of_screen(),
            grounds=[
                Markup(draw_ground(assessment.survey, code, grounds[code]).svg)
                for code in names[name]
                if not why_not_drawn(assessment.survey, code)
            ],
        )
        for name, body in bodies.items()
    }
    return {name: page.encode() for name, page in linked(pages).items()}


REPORT = "report.pdf"
ANNEXE = "report-records.pdf"


def paper(
    assessment: Assessment, trials: Sequence[dict[str, Any]], done: Callable[[], None]
) -> dict[str, bytes]:
    """The report for paper, and every record in an annexe."""
    structure = assessment.survey.only(Structure)
    closed = assessment.survey.closed_on
    state = f"Survey closed on {day_in_words(closed)}" if closed else "Survey still open"
    read = partial(
        read_page,
        edge={
            "structure": structure.structure,
            "made": f"{state}; heritagecheck {__version__}, seed {assessment.seed}",
        },
        values={
            "description": structure.asked or "",
            "keys": {outcome.replace(" ", "-"): draw_key(outcome).svg for outcome in OUTCOMES},
        },
    )
    set_ = partial(set_page, style="report.typ", day=assessment.survey.day)
    bodies = _bodies(assessment, trials, done)
    records = next(bodies)
    page = read(
        records + filled("annexe_back.html", **back_values(assessment, records, trials)),
        title=f"{structure.structure}: trials, and every number and record",
    )
    # While Typst works, only what it reads is held: pages take some ten megabytes.
    del records
    annexe = set_(page)
    body = next(bodies)
    bodies.close()
    back = back_values(assessment, body, trials)
    back |= {"annexe": ANNEXE, "annexe_sum": hashlib.sha256(annexe).hexdigest()}
    page = read(
        body + filled("print_back.html", **back),
        title=f"{structure.structure}: clean it or leave it?",
        beside=[ANNEXE],
    )
    del body, back
    report = set_(page, beside={ANNEXE: annexe}, measured=True)
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
        yield filled(template, **values)


LINK = re.compile(r'(<a\b[^>]*?\shref=")#([^"]*)"')
PLACE = re.compile(r'\sid="([^"]*)"')


def linked(pages: Mapping[str, str]) -> dict[str, str]:
    """Pages with links that work across the pages of the report."""
    places = {name: set(PLACE.findall(page)) for name, page in pages.items()}

    def found(own: str, link: re.Match[str]) -> str:
        head, place = link.groups()
        page = next((name for name in (own, *places) if place in places[name]), own)
        return f'{head}{"" if page == own else page}#{place}"'

    return {name: LINK.sub(partial(found, name), page) for name, page in pages.items()}
