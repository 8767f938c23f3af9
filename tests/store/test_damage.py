"""A damaged survey says where it is damaged and what to do: no traceback, no answer from it."""

from __future__ import annotations

from pathlib import Path

import pytest
from damaged_files import amiss

from heritagecheck.survey.kept import KeptSurvey
from heritagecheck.survey.records import Elevation, Zone


@pytest.fixture
def small(tmp_path: Path, other: KeptSurvey) -> Path:
    """Give a file with two records of the example, which SQLite keeps in few pages."""
    with KeptSurvey(tmp_path / "small.db") as survey:
        survey.save(*other.all(Elevation), who="conservator")
        survey.save(*other.all(Zone)[:3], who="conservator")
    return tmp_path / "small.db"


def test_a_file_damaged_anywhere_is_told_in_a_sentence(small: Path, tmp_path: Path) -> None:
    """Bits, bytes and pages at seeded places; whatever passes `check` holds the same records."""
    assert not list(amiss(small.read_bytes(), 2026, 60, tmp_path / "damaged"))
