"""An assessment kept in a folder: what was recommended, and on which records, rules and tables."""

from __future__ import annotations

import hashlib
from functools import cache
from os import PathLike
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.records import Zone
from heritagecheck.survey.store.signed_lines import FIRST
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
    # How records were hashed; releases up to 2026.7 did not say.
    scheme: int = FIRST
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
