"""An assessment kept in a folder: what was recommended, and on which records, rules and tables."""

from __future__ import annotations

import hashlib
from collections.abc import Collection
from functools import cache
from os import PathLike
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.records import Panel, Setting, SiteTest, Spot, Zone
from heritagecheck.survey.records.meetings import OF_MEETINGS
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.survey import Survey
from heritagecheck.whole_file import written_whole

FILE = "assessment.json"
# Code that decides; what only shows or stores an outcome is left out.
# What a record means decides too: a confined space, one bed or two, whether chips show lead.
RULES = ("survey/records", "evidence", "judgement")
PACKAGE = Path(__file__).parents[2]


class SavedZone(BaseModel):
    """What was recommended for one zone, and a fingerprint of the records it rests on."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    zone: str
    outcome: str
    gate: int | None
    method: str
    sentence: str
    records: str


class SavedAssessment(BaseModel):
    """All recommendations of one assessment, with all that would have to be the same again."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    version: str
    rules: str
    tables: dict[str, str]
    journal_head: str
    seed: int
    policy: str
    # Every value of the policy by its name; None in what older releases saved.
    policy_values: dict[str, Any] | None = None
    zones: tuple[SavedZone, ...]


def written(saved: SavedAssessment, folder: str | PathLike[str]) -> Path:
    """Write an assessment into a folder."""
    path = Path(folder) / FILE
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        with written_whole(path) as half:
            half.write_text(saved.model_dump_json(indent=1) + "\n", encoding="utf-8")
    except FileExistsError:
        raise FileExistsError(
            f"{path} holds an assessment already. Choose another folder; what may have been signed "
            "is not overwritten."
        ) from None
    return path


def open_assessment(folder: str | Path) -> SavedAssessment:
    """
    Open an assessment that was saved.

    Parameters
    ----------
    folder : str or Path
        Folder into which it was saved.

    Returns
    -------
    SavedAssessment

    Raises
    ------
    SurveyError
        There is none, or it can't be read.

    Examples
    --------
    >>> import heritagecheck as hc, tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     _ = hc.assess(hc.demo_survey(), zones=["N04"]).save(folder)
    ...     print(hc.open_assessment(folder).zones[0].outcome)
    leave
    """
    path = Path(folder) / FILE
    try:
        return SavedAssessment.model_validate_json(path.read_bytes())
    except (FileNotFoundError, NotADirectoryError):
        said = "there is no saved assessment in this folder"
    except ValidationError as error:
        first = error.errors()[0]
        field = ".".join(str(part) for part in first["loc"])
        said = f"this is not an assessment saved by heritagecheck: {field} {first['msg']}".strip()
    raise SurveyError([Fault(str(path), None, "", "", said)], nothing="opened")


def saved_beside(survey: Survey) -> dict[str, SavedAssessment]:
    """Assessments that were saved beside a survey."""
    if survey.place is None:
        return {}
    zones = {zone.zone for zone in survey.all(Zone)}
    found = {
        path.relative_to(survey.place).as_posix(): open_assessment(path.parent)
        for path in sorted((*survey.place.glob(FILE), *survey.place.glob(f"*/{FILE}")))
    }
    return {
        name: saved for name, saved in found.items() if zones & {one.zone for one in saved.zones}
    }


@cache
def rules_checksum() -> str:
    """Fingerprint of the code that decides."""
    found = hashlib.sha256()
    for folder in RULES:
        for path in sorted((PACKAGE / folder).rglob("*.py")):
            found.update(path.relative_to(PACKAGE).as_posix().encode())
            found.update(path.read_bytes())
    return found.hexdigest()[:12]


def records_checksum(survey: Survey, zone: str, speaking: tuple[Zone, ...]) -> str:
    """Fingerprint of the records on which the answer for one zone rests."""
    lines = {line_signed(one) for one in records_behind(survey, zone, speaking)}
    return lines_checksum({*lines, counted_to(survey)})


def records_behind(survey: Survey, zone: str, speaking: tuple[Zone, ...]) -> list[Record]:
    """Records on which the answer for one zone rests; what the team said of it is none of them."""
    records: list[Record] = [
        one
        for kind, found in survey.by_zone[zone].items() if kind not in OF_MEETINGS
        for one in found
    ]  # fmt: skip
    for other in speaking:
        records.append(other)
        for kind in (Panel, Setting, SiteTest, Spot):
            records += survey.of_zone(other.zone, kind)
    return records


def counted_to(survey: Survey) -> str:
    """The day to which the age of records is counted, as a line that is signed."""
    return f"closed {survey.closed_on}" if survey.closed_on else f"open on {survey.day}"


def lines_checksum(lines: Collection[str]) -> str:
    """Fingerprint of some lines, in any order."""
    return hashlib.sha256("\n".join(sorted(lines)).encode()).hexdigest()[:12]


def line_signed(record: Record) -> str:
    """A record as a line; without an outline that nobody drew, which older releases do not know."""
    empty = {"outline"} if getattr(record, "outline", "") is None else None
    return f"{type(record).__name__} {record.model_dump_json(exclude=empty)}"
