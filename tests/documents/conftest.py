"""One small report, written once for all tests of this folder."""

from pathlib import Path

import pytest
from small_report import ZONES, words_of

import heritagecheck as hc
from heritagecheck.judgement.recommendation import Assessment


@pytest.fixture(scope="session")
def assessment() -> Assessment:
    """Judge the zones."""
    return hc.assess(hc.demo_survey(), zones=ZONES)


@pytest.fixture(scope="session")
def report(assessment: Assessment, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, ...]:
    """Write both forms."""
    return hc.write_report(assessment, tmp_path_factory.mktemp("report"))


@pytest.fixture(scope="session")
def pages(report: tuple[Path, ...]) -> list[str]:
    """Read the PDF's words page by page, with a reader that had no part in writing it."""
    return words_of(report[1])


@pytest.fixture(scope="session")
def annexe(report: tuple[Path, ...]) -> list[str]:
    """Read the annexe's words likewise."""
    return words_of(report[2])
