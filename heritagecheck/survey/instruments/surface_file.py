"""A file of heights, whether its instrument saw an area or drew a line."""

from __future__ import annotations

from pathlib import Path

from heritagecheck.errors import SurveyError
from heritagecheck.survey.instruments.height_files import HeightFile, read_height_map
from heritagecheck.survey.instruments.profile_files import read_profile

OPEN = frozenset({"height_unit", "pixel_um", "step_um"})  # what some files leave open


def read_surface(
    path: str | Path, *, height_unit: str | None = None,
    pixel_um: tuple[float, float] | None = None,
) -> HeightFile:  # fmt: skip
    """Read a height map, or the profile of a stylus as a map of one row."""
    try:
        return read_height_map(path, height_unit=height_unit, pixel_um=pixel_um)
    except SurveyError as no_map:
        if left_open(no_map):
            raise
        try:
            return read_profile(
                path, height_unit=height_unit, step_um=pixel_um[0] if pixel_um else None
            )
        except SurveyError as no_profile:
            # A file that is neither is told as what was tried first.
            raise (no_profile if left_open(no_profile) else no_map) from None


def left_open(error: SurveyError) -> frozenset[str]:
    """What a file leaves open, where that alone keeps it from being read."""
    fields = frozenset(map(str, error.faults["field"]))
    return fields if fields <= OPEN else frozenset()
