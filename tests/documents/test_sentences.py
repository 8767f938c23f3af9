"""Every printed sentence ends once, with digits that mean something, whatever was recorded."""

from __future__ import annotations

import re
import subprocess
from functools import cache
from pathlib import Path

import pytest
from tiers import some_of

import heritagecheck as hc
from heritagecheck.documents.contents import front_values, plain_text, short_name
from heritagecheck.documents.field_sheet import write_field_sheets
from heritagecheck.documents.page_templates import templates
from heritagecheck.documents.trial_sheet import series_of, trial_sheet
from heritagecheck.documents.zone_sheet import sheet_values, zone_sheet
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.survey.records import TABLES, Elevation, Zone
from heritagecheck.survey.survey import Survey

ROOT = Path(__file__).parents[2]
SURVEY = hc.demo_survey()
CODES = [zone.zone for zone in SURVEY.all(Zone)]
# Signs that meet, a blank before a sign, and numbers no reader needs.
WRONG = re.compile(r"[?!.…]\.(?!\.)|[;:,?!][;:]|;\s*[.,]|\d\.?\d*e-\d+|\d\.\d{6,}")
FRAMED = {
    "structure": {"asked": "Cleaned for its jubilee?", "significance": "It is old."},
    "elevations": {"name": "Quillmere Pumping Station / North / front."},
    "zones": {"significance_reason": "Of its kind the last one.", "note": "Is that soot?"},
    "panels": {"setting": "as on the sheet, more or less…"},
    "observations": {"note": "seen from the ground."},
}  # fmt: skip


@cache
def as_it_is() -> Assessment:
    """Every zone of the example."""
    return hc.assess(SURVEY)


@cache
def with_other_ends() -> Assessment:
    """Some zones, with recorded texts that ask, end in a full stop or trail off."""
    records = {
        name: tuple(one.model_copy(update=FRAMED.get(name, {})) for one in SURVEY.all(kind))
        for name, kind in TABLES.items()
    }
    return hc.assess(
        Survey(records, folder=ROOT / "data" / "quillmere"), zones=["N06", "N13", "T06", "C03"]
    )


def faults(words: str) -> list[str]:
    """What is wrong in a text, with what stands around it."""
    return [words[max(0, found.start() - 40) : found.end() + 20] for found in WRONG.finditer(words)]


def printed(assessment: Assessment, code: str) -> str:
    """All that is printed of a zone."""
    one = assessment.zone(code)
    tables = (one.gates_table(), one.evidence_table(), one.trials_table(), one.ruled_out_table())
    page = templates().get_template("zone_page.html")
    return "\n".join(
        (
            str(one), str(one.instruction), str(one.monitoring), *map(str, one.gaps),
            *map(str, one.cautions),            *(table._repr_html_() for table in tables),
            plain_text(zone_sheet(assessment, code).html),
            plain_text(page.render(s=sheet_values(assessment, one, paper=True), annexe="a.pdf")),
        )
    )  # fmt: skip


@pytest.mark.parametrize("code", some_of(CODES, short=["N06", "N09", "E16", "T06", "C03"]))
def test_sentences_of_a_zone_end_once(code: str) -> None:
    """On card and page, in what is printed and in its tables."""
    assert faults(printed(as_it_is(), code)) == []


@pytest.mark.parametrize("code", ["N06", "N13", "T06", "C03"])
def test_a_recorded_text_ends_no_sentence_early(code: str) -> None:
    """Whether it asks, ends in a full stop or trails off, nothing stands behind it but a blank."""
    said = printed(with_other_ends(), code)

    assert "Of its kind the last one" in said
    assert faults(said) == []


def test_front_and_trial_sheets_end_their_sentences_once() -> None:
    """The question of the survey keeps its mark and gets no full stop."""
    said = ""
    for assessment in (as_it_is(), with_other_ends()):
        front = templates().get_template("front.html").render(front_values(assessment))
        said += plain_text(front)
        for series in series_of(assessment):
            said += plain_text(trial_sheet(assessment, series).html)
            said += str(hc.trials.read_series(assessment.survey, series))

    assert "Cleaned for its jubilee? It is old. Surveyed by" in said
    assert faults(said) == []


def test_field_sheets_end_their_sentences_once(tmp_path: Path) -> None:
    """The sheets for the wall, whose words come from the same tables."""
    path = write_field_sheets(with_other_ends().survey, tmp_path / "s.pdf", zones=["N06", "C01"])
    command = ["pdftotext", "-raw", str(path), "-"]
    done = subprocess.run(command, capture_output=True, check=True, text=True, encoding="utf-8")
    said = " ".join(done.stdout.split())

    assert faults(said) == []


@pytest.mark.parametrize(
    ("name", "short"),
    [
        ("Mill, north front", "North front"),
        ("Mill / North / front.", "North, front"),
        ("Mill", "Mill"),
        ("Millstone wall", "Millstone wall"),
        ("Yard side of the mill", "Yard side of the mill"),
    ],
)
def test_an_elevation_is_named_without_its_structure(name: str, short: str) -> None:
    """Whatever parts the two, and however it ends."""
    elevation = SURVEY.all(Elevation)[0].model_copy(update={"name": name})

    assert short_name(elevation, "Mill") == short


def test_a_share_of_next_to_no_spots_has_no_false_digits() -> None:
    """In the table as on the page: a thousandth is the least that is told."""
    table = as_it_is().zone("T06").evidence_table()
    shares = table[table["quantity"].str.contains("by the curve")]

    assert not shares.empty
    assert (shares[["mean", "high"]] >= 0.001).all(axis=None)
    assert all(round(share, 3) == share for share in shares["mean"])
    assert not re.search(r"\d\.\d{4,}|\de-\d", str(shares[["mean", "high"]]))
