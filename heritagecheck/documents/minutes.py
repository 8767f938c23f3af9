"""Minutes of a meeting as PDF and CSV, and forms for paper where the power fails."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from heritagecheck import __version__
from heritagecheck.documents.page_templates import filled
from heritagecheck.documents.pdf import as_pdf
from heritagecheck.errors import Fault, SurveyError
from heritagecheck.judgement.decisions import DecisionState, decision_record
from heritagecheck.judgement.recommendation import OUTCOMES
from heritagecheck.survey.records import (
    Decision,
    Meeting,
    OpenQuestion,
    Structure,
    Zone,
)
from heritagecheck.survey.records.record import parts_of_list
from heritagecheck.survey.records.team import BEFORE
from heritagecheck.survey.survey import Survey
from heritagecheck.tables.cautions import ALWAYS, of_outcome
from heritagecheck.whole_file import write_whole

STYLE = "minutes.typ"
# Common practice: what a meeting of this kind may decide, and what it may not.
WHAT_IT_IS_NOT: tuple[str, ...] = (
    "heritagecheck advises. It gives nobody authority to work.",
    "Licensed people decide about structure, lead, asbestos, lasers, acids and confined spaces. A "
    "vote does not replace them.",
    "A decision of the team is not consent. The authority gives consent.",
    "Cleaning can’t be undone. What is not known is never a reason to clean.",
)
COLUMNS = (
    "meeting", "held_on", "zone", "name", "recommended", "decided", "override", "method", "reasons",
    "override_reason", "conditions", "vetoes", "dissent", "open_questions", "signed", "evidence",
    "evidence_changed",
)  # fmt: skip


def minutes_values(survey: Survey, code: str) -> dict[str, Any]:
    """Everything that the minutes of a meeting say."""
    meeting = next((one for one in survey.all(Meeting) if one.meeting == code), None)
    if meeting is None:
        known = ", ".join(one.meeting for one in survey.all(Meeting)) or "none"
        fault = Fault("meetings", None, "meeting", code, f"none of it is in the survey yet. "
                      f"Known: {known}")  # fmt: skip
        raise SurveyError([fault], nothing="written")
    zones = {zone.zone: zone for zone in survey.all(Zone)}
    mine = [one for one in survey.all(Decision) if one.meeting == code]
    questions = [one for one in survey.all(OpenQuestion) if one.meeting == code]
    return {
        "meeting": meeting,
        "structure": _structure(survey),
        "members": parts_of_list(meeting.members),
        "readers": parts_of_list(meeting.readers),
        "decided": [_decided(zones[one.zone], decision_record(survey, one)) for one in mine],
        "questions": questions,
        "cautions": [*WHAT_IT_IS_NOT, of_outcome(ALWAYS).words],
        "head": survey.journal_head,
    }


def _structure(survey: Survey) -> str:
    """Name of the structure, where it has one yet."""
    return next((one.structure for one in survey.all(Structure)), "a structure not yet named")


def _decided(zone: Zone, said: DecisionState) -> dict[str, Any]:
    """One decision with all that was said and signed, and what was given in private."""
    given = [one for one in said.opinions if one.given == BEFORE]
    who = {name: [one.member for one in given if one.outcome == name] for name in OUTCOMES}
    return {"zone": zone, "said": said, "given": list(who.items())}


def write_minutes(survey: Survey, code: str, folder: Path) -> tuple[Path, ...]:
    """
    Write the minutes of a meeting.

    Parameters
    ----------
    survey : Survey
        The survey with the records of the meeting.
    code : str
        Code of the meeting.
    folder : Path
        Where to write; made where it is missing. Earlier minutes of the meeting are replaced.

    Returns
    -------
    tuple of Path
        The PDF (PDF/A-2a, PDF/UA-1), and a CSV with one row a zone.

    Raises
    ------
    SurveyError
        Nothing of the meeting is in the survey.
    """
    values = minutes_values(survey, code)
    folder.mkdir(parents=True, exist_ok=True)
    pdf, table = folder / f"{code}-minutes.pdf", folder / f"{code}-decisions.csv"
    meeting: Meeting = values["meeting"]
    write_whole(
        pdf,
        as_pdf(
            filled("minutes.html", **values), STYLE,
            title=f"Minutes of meeting {code}: {values['structure']}",
            edge={"made": f"{values['structure']}; heritagecheck {__version__}"},
            day=meeting.held_on,
        ),
    )  # fmt: skip
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\r\n")
    rows.writerow(COLUMNS)
    rows.writerows([_as_text(cell) for cell in _row(meeting, values, one)]
                   for one in values["decided"])  # fmt: skip
    write_whole(table, b"\xef\xbb\xbf" + text.getvalue().encode())
    return pdf, table


def _row(meeting: Meeting, values: dict[str, Any], one: dict[str, Any]) -> list[str]:
    """A decision as a row of the table."""
    said: DecisionState = one["said"]
    made = said.decision
    asked = [each for each in values["questions"] if each.zone == made.zone]
    return [
        meeting.meeting, str(meeting.held_on), made.zone, one["zone"].name, made.recommended,
        made.in_words, "yes" if made.override else "no", made.method or "", made.reasons,
        made.override_reason or "", made.conditions or "",
        "; ".join(f"{each.member}: {each.veto}" for each in said.opinions if each.veto),
        "; ".join(f"{each.member}: {each.dissent}" for each in said.dissents),
        "; ".join(f"{each.words} ({each.owner}, by {each.due})" for each in asked),
        "; ".join(f"{each.name or each.signer} {each.signed_at}" for each in said.signatures),
        made.evidence, "; ".join(said.changed),
    ]  # fmt: skip


def _as_text(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula."""
    return f"'{cell}" if cell.startswith(("=", "+", "-", "@", "\t")) else cell


def write_forms(
    survey: Survey, zones: Sequence[str], path: Path, *, members: Sequence[str] = ()
) -> Path:
    """
    Write forms for a meeting without power: one page a zone, to be filled in by hand.

    Parameters
    ----------
    survey : Survey
        The survey.
    zones : sequence of str
        Codes of the zones.
    path : Path
        The PDF.
    members : sequence of str
        Roles that have a line of their own.

    Returns
    -------
    Path
        The PDF.
    """
    known = {zone.zone: zone for zone in survey.all(Zone)}
    structure = _structure(survey)
    html = filled(
        "meeting_forms.html",
        zones=[known[code] for code in zones], members=members or [""] * 8, outcomes=OUTCOMES,
        cautions=[*WHAT_IT_IS_NOT, of_outcome(ALWAYS).words],
    )  # fmt: skip
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(
        path,
        as_pdf(
            html, STYLE, title=f"Forms for a meeting: {structure}",
            edge={"made": f"{structure}; heritagecheck {__version__}"}, day=None,
        ),
    )  # fmt: skip
    return path
