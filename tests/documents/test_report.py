"""The report for the screen: it holds what was found, and is the same file each time."""

import os
import re
import subprocess
import sys
from html import unescape
from pathlib import Path

import pytest

import heritagecheck as hc
from heritagecheck import tables
from heritagecheck.documents import report as report_module
from heritagecheck.documents.contents import plain_text
from heritagecheck.documents.page_templates import shortened
from heritagecheck.documents.zone_rows import measured
from heritagecheck.errors import ReportError
from heritagecheck.evidence.measured_values import MeasuredValue
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.sentences import lower_first

ONE_ZONE = """
import sys
import heritagecheck as hc
hc.write_report(hc.assess(hc.demo_survey(), zones=["N09"]), sys.argv[1])
"""


def test_both_forms_are_written_in_the_order_asked(report: tuple[Path, ...]) -> None:
    """The page for the screen, the one for paper and its annexe lie where they were asked."""
    assert [path.name for path in report] == ["report.html", "report.pdf", "report-records.pdf"]
    assert all(path.stat().st_size for path in report)


@pytest.mark.parametrize(("formats", "named"), [(("docx",), "docx"), ((), "none")])
def test_other_formats_are_refused(
    assessment: Assessment, tmp_path: Path, formats: tuple[str, ...], named: str
) -> None:
    """What can't be written is named, with what can; nothing is written."""
    with pytest.raises(ValueError, match=f"{named}.*'html', 'pdf'"):
        hc.write_report(assessment, tmp_path / "report", formats=formats)

    assert not (tmp_path / "report").exists()


@pytest.mark.long
def test_two_runs_write_the_same_bytes(tmp_path: Path) -> None:
    """
    The same survey, seed and version give the same files, whatever order a machine hashes in.

    One program starts afresh; this one has written other reports before.
    """
    salt = next(salt for salt in ("0", "1") if salt != os.environ.get("PYTHONHASHSEED"))
    command = [sys.executable, "-c", ONE_ZONE, str(tmp_path / "afresh")]
    with subprocess.Popen(command, env={"PYTHONHASHSEED": salt, "PATH": ""}) as afresh:
        here = hc.write_report(hc.assess(hc.demo_survey(), zones=["N09"]), tmp_path / "here")

    assert afresh.returncode == 0
    assert [path.name for path in here] == ["report.html", "report.pdf", "report-records.pdf"]
    for path in here:
        assert path.read_bytes() == (tmp_path / "afresh" / path.name).read_bytes(), path.name


def test_page_says_all_that_was_found(assessment: Assessment, report: tuple[Path, ...]) -> None:
    """Each zone's reasons, conditions, gaps and cautions stand there in full."""
    words = plain_text(report[0].read_text(encoding="utf-8"))
    for one in assessment.recommendations:
        said = [one.sentence, *(gate.reason for gate in one.gates), *one.urgency_reasons]
        said += [one.effort, *(note[1:] for note in one.notes)]
        said += [condition[1:] for condition in one.conditions]
        said += [words for caution in one.cautions for words in (caution.hazard, caution.words)]
        said += [gap.what for gap in one.gaps]
        missing = [text for text in said if " ".join(text.split()) not in words]

        assert missing == [], one.zone


def test_every_source_named_is_listed_and_the_other_way(report: tuple[Path, ...]) -> None:
    """A mark of a source leads to its citation, and no source is listed that nothing cites."""
    html = report[0].read_text(encoding="utf-8")
    cited = set(re.findall(r'class="cite" href="#source-([^"]+)"', html))
    listed = set(re.findall(r'<li id="source-([^"]+)"', html))
    body = html[: html.index('id="sources"')]

    assert cited <= listed
    assert listed <= {row["source_id"] for row in tables.rows("sources")}
    assert [code for code in listed if code not in body] == []


def test_policy_tables_and_seed_are_printed(
    assessment: Assessment, report: tuple[Path, ...]
) -> None:
    """Weights, checksums of the tables, seed and version stand at the back."""
    words = plain_text(report[0].read_text(encoding="utf-8"))

    assert f"heritagecheck {hc.__version__}, seed {assessment.seed}" in words
    for member, swings in assessment.policy.weights.items():
        assert f"{member} {' '.join(f'{swing:g}' for swing in swings.values())}" in words
    for name, checksum in tables.checksums().items():
        assert f"{name} {checksum}" in words


def test_what_was_not_measured_is_listed_with_its_reason(
    assessment: Assessment, report: tuple[Path, ...]
) -> None:
    """No reason given in place of a measurement gets lost."""
    words = plain_text(report[0].read_text(encoding="utf-8"))

    for row in assessment.survey.not_measured().to_dict("records"):
        assert unescape(row["why"]) in words


@pytest.mark.parametrize(
    ("what", "mean", "high", "value", "span"),
    [
        ("damage by the curve", 0.0004, 0.136, "at most 0.1 %", "95 %: up to 14 %"),
        ("soiling left by the curve", 7e-05, 0.001, "at most 0.1 %", "95 %: at most 0.1 %"),
        ("damage by the curve", 0.002, 0.01, "0.2 %", "95 %: up to 1 %"),
        ("×50 fields damaged", 0.0, 0.0488, "0 %", "95 %: up to 4.9 %"),
        ("×50 fields damaged", 1 / 150, 0.0774, "0.67 %", "95 %: up to 7.8 %"),
        ("loss of plate", 0.0004, 0.0008, "0.0004", "95 %: up to 0.0008"),
    ],
)
def test_share_of_next_to_no_spots_has_no_digits(
    what: str, mean: float, high: float, value: str, span: str
) -> None:
    """Below a thousandth they are the grid's; what is no share of spots keeps its own."""
    row = MeasuredValue(
        what, mean, None, high, 0.95, "1", ("A-1", "A-2"), "2 panels",
        counted=what != "loss of plate",
    )  # fmt: skip
    (line,) = measured([row])

    assert (line.value, line.span) == (value, span)


def test_text_is_cut_where_it_pauses_and_marked() -> None:
    """A shortened text is a whole beginning, and says that more follows."""
    assert shortened("aged 399 days; a winter included", 80) == "aged 399 days; a winter included"
    assert shortened("aged 399 days; a winter included", 20) == "aged 399 days …"


@pytest.mark.parametrize(
    ("name", "within"),
    [("Dry brushing", "dry brushing"), ("XRF of the paint", "XRF of the paint"), ("", "")],
)
def test_name_loses_its_capital_within_a_sentence(name: str, within: str) -> None:
    """An abbreviation keeps its own."""
    assert lower_first(name) == within


def test_an_option_that_fails_says_why_in_brief(assessment: Assessment) -> None:
    """The cap where it is broken, else how many members it passes for; never a whole sentence."""
    tests = [test for one in assessment.recommendations for test in one.weighed if not test.passed]
    said = {test.brief for test in tests}

    assert tests
    assert any("exceed the cap" in words for words in said)
    weights = re.compile(r"the weights of \d of 5 members favour it \(5 required\)")
    assert any(weights.fullmatch(words) for words in said)
    assert max(map(len, said)) < 90


def test_many_zones_have_a_page_for_each_elevation(
    assessment: Assessment, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first page leads to every zone on whichever page it stands, and each page back."""
    monkeypatch.setattr(report_module, "MOST_ON_A_PAGE", 3)
    paths = hc.write_report(assessment, tmp_path, formats=("html",))
    pages = {path.name: path.read_text("utf-8") for path in paths}
    ids = {name: set(re.findall(r'\sid="([^"]*)"', page)) for name, page in pages.items()}
    links = [
        (name, *found)
        for name, page in pages.items()
        for found in re.findall(r'<a\b[^>]*\shref="([^"#]*)#([^"]*)"', page)
    ]

    assert list(pages) == [
        "report.html", "report-1-of-north.html", "report-2-of-tower.html", "report-3-of-legs.html",
    ]  # fmt: skip
    assert links
    assert [link for link in links if link[2] not in ids[link[1] or link[0]]] == []
    for code, name in zip(("N04", "T05", "C03"), list(pages)[1:], strict=True):
        assert f"sheet-{code}" in ids[name]
        assert f'href="{name}#sheet-{code}"' in pages["report.html"]
    assert "Basis of this report" in pages["report.html"]
    for source in re.findall(r'class="cite" href="report.html#(source-[^"]*)"', str(pages)):
        assert source in ids["report.html"]


def test_report_says_how_far_it_is(assessment: Assessment, tmp_path: Path) -> None:
    """Zones done, of zones in all, over both forms; the last is the whole."""
    told: list[tuple[int, int]] = []
    hc.write_report(
        assessment, tmp_path, formats=("html",), progress=lambda *count: told.append(count)
    )

    total = len(assessment.recommendations)
    assert told == [(done, total) for done in range(1, total + 1)]


def test_a_form_that_fails_leaves_the_other(assessment: Assessment, tmp_path: Path) -> None:
    """The page for the screen can't be put where a folder lies; the one for paper is written."""
    (tmp_path / "report.html").mkdir()

    with pytest.raises(ReportError, match=r"report\.html was not written: .*directory") as found:
        hc.write_report(assessment, tmp_path)
    assert [path.name for path in found.value.written] == ["report.pdf", "report-records.pdf"]
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "report-records.pdf", "report.html", "report.pdf",
    ]  # fmt: skip
