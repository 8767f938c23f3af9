"""Records as lines over which hashes are signed, so that a later release still knows them again."""

from __future__ import annotations

import hashlib
from collections.abc import Collection
from typing import Final

from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.team import NEWEST_SCHEME

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
