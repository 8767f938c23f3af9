"""What was signed or saved, known again by a later release: lines of records, assessments."""

from __future__ import annotations

import hashlib
from collections.abc import Collection
from functools import cache
from os import PathLike
from pathlib import Path
from typing import Any, Final

from pydantic import BaseModel, ConfigDict, ValidationError

from heritagecheck.errors import Fault, SurveyError
from heritagecheck.survey.records import Zone
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.team import NEWEST_SCHEME
from heritagecheck.survey.survey import Survey
from heritagecheck.whole_file import written_whole

# -- Records as lines, over which hashes are signed ------------------------------------------------

# How a record becomes a line. 1: releases up to 2026.7, each field of that time also where it is
# empty. 2: only fields that are filled in, so that a field of a later release changes no line.
FIRST, NEWEST = 1, NEWEST_SCHEME
# The fields that might be empty in 2026.7 and were written as null (an outline never was). This
# list never grows: it is what was signed then.
_NULL_IN_FIRST: Final = {
    "Zone": "biotite_pct bed_or_system panels_laid colour_sets next_access note coatings not_tried",
    "Layer": "cover_pct thickness_mm value_reason made_of",
    "Observation": "finding not_recorded_because owner due note",
    "Reading": "panel L_star a_star b_star munsell state aperture_mm session not_measured_because "
    "file photo place",
    "SiteTest": "panel value spread not_measured_because detection_limit full_depth coating",
    "Panel": "read_on not_read_because winter_included control_kept x50_fields x50_fields_weakest "
    "damaged_fields damaged_component residual_pct delta_b late_effects setting_quantity "
    "setting_unit cleaning_low cleaning_high damage_low damage_high grade_reached "
    "required_adhesion_mpa required_profile_low_um required_profile_high_um read_by reader_blind "
    "spots_laid note passes wetted also_treated after_series damage_kind fields_before "
    "damaged_before before_on joint_included",
    "Setting": "value value_to unit words",
    "Spot": "dose dose_quantity dose_unit passes cleaned damaged damaged_component read_on read_by "
    "not_read_because component wetted note damage_kind",
    "Attachment": "zone panel taken_on taken_by note",
    "HeightMap": "panel",
    "Photo": "clean_stone chart_corners board chart_error error_L error_a error_b note",
    "Decision": "method conditions override_reason",
}
_NULLS = {kind: frozenset(fields.split()) for kind, fields in _NULL_IN_FIRST.items()}


def line_signed(record: Record, scheme: int) -> str:
    """A record as a line, in the way of a scheme."""
    kind = type(record).__name__
    if scheme == NEWEST:
        return f"{kind} {record.model_dump_json(exclude_none=True)}"
    if scheme != FIRST:
        raise ValueError(
            f"Evidence was signed in the way {scheme} of a later release than this one, which "
            f"knows the ways {FIRST} to {NEWEST}. Use the release that signed it, or a later one."
        )
    written = _NULLS.get(kind, frozenset())
    unknown = {
        field for field in type(record).model_fields
        if field not in written and getattr(record, field) is None
    }  # fmt: skip
    return f"{kind} {record.model_dump_json(exclude=unknown)}"


def lines_checksum(lines: Collection[str]) -> str:
    """Fingerprint of some lines, in any order."""
    return hashlib.sha256("\n".join(sorted(lines)).encode()).hexdigest()[:12]


# -- An assessment saved in a folder ---------------------------------------------------------------

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
    """Assessments that were saved with a survey."""
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
