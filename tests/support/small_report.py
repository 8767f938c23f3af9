"""Which zones the tests of the report write, and how its words are read and compared."""

import re
import subprocess
from functools import cache
from pathlib import Path

import heritagecheck as hc
from heritagecheck.judgement.recommendation import Assessment

# One zone of each outcome, one that is urgent, and one that nobody can enter.
ZONES = ["N04", "N06", "N09", "T05", "C03"]


@cache
def example() -> Assessment:
    """Every zone of the example, judged once for all who ask."""
    return hc.assess(hc.demo_survey())


def close_up(text: str) -> str:
    """Words without their gaps, which differ from page to page with the breaks of lines."""
    return re.sub(r"\s+", "", text)


def words_of(path: Path) -> list[str]:
    """Words of each page of a PDF."""
    command = ["pdftotext", "-raw", str(path), "-"]
    words = subprocess.run(command, capture_output=True, check=True, text=True, encoding="utf-8")
    return words.stdout.split("\f")[:-1]
