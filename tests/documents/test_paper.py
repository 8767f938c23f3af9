"""The report for paper: an A4 page a zone, two where it says much; tagged, and nothing lost."""

import hashlib
import re
import shutil
import subprocess
import zlib
from collections import Counter
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader
from small_report import ZONES, close_up, example

import heritagecheck as hc
from heritagecheck.judgement.evidence_snapshot import evidence_hash
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.survey.places import example_folder
from heritagecheck.survey.records import Structure
from heritagecheck.survey.survey import Survey

POINTS = "All records:"
A4 = "595.276 x 841.89 pts (A4)"


def output(*command: str) -> str:
    """What one of poppler's tools says."""
    found = subprocess.run(command, capture_output=True, check=True, text=True, encoding="utf-8")
    return found.stdout


def starts_of(pages: list[str]) -> list[int]:
    """Where each zone begins, by its pointer to its records; and where the last one ends."""
    back = next(n for n, text in enumerate(pages) if "Policy, agreed before" in text)
    points = close_up(POINTS)
    return [*(n for n, text in enumerate(pages) if points in close_up(text)), back]


def page_of(pages: list[str], code: str) -> str:
    """What is said of a zone, on its page and on the one it may run on to."""
    starts, place = starts_of(pages), ZONES.index(code)
    return "".join(pages[starts[place] : starts[place + 1]])


def test_zone_that_is_left_takes_a_page_and_one_that_is_touched_few_more(
    pages: list[str], assessment: Assessment
) -> None:
    """What is signed comes first; a page that goes on names its zone and its outcome."""
    starts = starts_of(pages)
    assert len(starts) == len(ZONES) + 1
    for code, (start, end) in zip(ZONES, pairwise(starts), strict=True):
        one = assessment.zone(code)
        most = 3 if one.instruction else 1
        assert 1 <= end - start <= most, code
        assert close_up(f"{code} {one.name}") in close_up(pages[start])
        for text in pages[start + 1 : end]:
            assert text.startswith(f"{code} {one.name}: {one.outcome}")
            assert f"continued from page {start + 1}: read its cautions first" in text


def test_every_day_is_written_in_one_form(
    pages: list[str], report: tuple[Path, ...], assessment: Assessment
) -> None:
    """Pages for people say 18 September 2027; only data files and records have 2027-09-18."""
    iso = re.compile(r"\b20\d\d-\d\d-\d\d\b")
    until = assessment.zone("N09").valid_until

    assert [found for text in pages for found in iso.findall(text)] == []
    assert f"{until.day} {until:%B %Y}" in page_of(pages, "N09")
    assert str(until) not in report[0].read_text(encoding="utf-8")


def sizes_of(reader: PdfReader, page: int) -> list[tuple[str, float]]:
    """Pieces of text of a page, each with the size in which it is set, in points, by pypdf."""
    found: list[tuple[str, float]] = []

    def seen(text: str, page_at: list[float], at: list[float], _: object, size: float) -> None:
        if text.strip():
            scale = float(np.hypot(at[2], at[3]) * np.hypot(page_at[2], page_at[3]))
            found.append((text.strip(), size * scale))

    reader.pages[page].extract_text(visitor_text=seen)
    return found


@pytest.mark.parametrize("code", ZONES)
def test_no_text_of_a_zone_is_set_below_nine_points(
    pages: list[str], report: tuple[Path, ...], assessment: Assessment, code: str
) -> None:
    """What does not fit goes to a second page; and what is signed is the largest."""
    starts, place = starts_of(pages), ZONES.index(code)
    reader = PdfReader(report[1])
    sizes = [
        pair for page in range(starts[place], starts[place + 1])
        for pair in sizes_of(reader, page)
    ]  # fmt: skip
    letters = Counter[float]()
    for text, size in sizes:
        letters[round(size, 1)] += len(text)
    (body, _), *_ = letters.most_common(1)

    assert sum(letters.values()) > 1000
    assert [(text, size) for text, size in sizes if size < 8.99] == []
    assert (body > 9.2) == (assessment.zone(code).outcome in {"clean", "trial first"})


@pytest.mark.parametrize("code", ZONES)
def test_reason_that_decides_stands_once(
    pages: list[str], assessment: Assessment, code: str
) -> None:
    """On a line of its own, above all else."""
    one = assessment.zone(code)
    decides = one.deciding_gate
    words = close_up(page_of(pages, code))

    assert words.count(close_up(one.sentence)) == 1
    assert decides is None or words.count(close_up(decides.reason[1:])) == 1


@pytest.mark.parametrize("code", ZONES)
def test_page_of_a_zone_has_room_for_the_decision(
    pages: list[str], assessment: Assessment, code: str
) -> None:
    """What may be decided, by whom, when, and on which records."""
    words = page_of(pages, code)
    one = assessment.zone(code)
    evidence = evidence_hash(assessment.survey, one.evidence.zone)

    assert f"Decision on {code}; recommended: {one.outcome}" in words
    assert close_up("approved approved with conditions refused") in close_up(words)
    assert all(word in words for word in ("Conditions or reasons", "Name", "Body", "Date"))
    assert f"Evidence {evidence}:" in words


@pytest.mark.parametrize("code", ZONES)
def test_page_of_a_zone_leaves_out_nothing_that_decides(
    pages: list[str], assessment: Assessment, code: str
) -> None:
    """Answer, every gate that stops, gaps, conditions, cautions and the contractor's rules."""
    one = assessment.zone(code)
    words = close_up(page_of(pages, code))
    said = [one.outcome, one.sentence, *one.urgency_reasons, *(gap.what for gap in one.gaps)]
    said += [gate.reason[1:] for gate in one.gates if gate.result != "passed"]
    said += [condition[1:] for condition in one.conditions]
    said += [text for caution in one.cautions for text in (caution.hazard, caution.words)]
    said += [one.effort, *(note[1:] for note in one.notes)]
    said += [f"{one.valid_until.day} {one.valid_until:%B %Y}"]
    if one.instruction:
        rules = one.instruction
        said += [rules.zone, rules.area, rules.method, rules.lead[1:], rules.call_first]
        said += [text[1:] for line in rules.setting.lines for text in line]
        said += [*rules.accepted]
        said += [*rules.hold_points, *rules.stop_rules, *rules.start_panel, *rules.log]
        said += [*rules.then]
    missing = [text for text in said if close_up(text) not in words]

    assert missing == []


WORD = re.compile(
    r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">([^<]*)</word>'
)


def test_no_word_lies_over_another(report: tuple[Path, ...]) -> None:
    """Nowhere in report and annexe, and in none of their pictures."""
    seen: Counter[str] = Counter()
    faults = []
    for path in report[1:]:
        for page in output("pdftotext", "-bbox", str(path), "-").split("</page>"):
            found = WORD.findall(page)
            words = [said for *_, said in found]
            seen.update(words)
            left, top, right, bottom = np.array(found or [[0] * 5])[:, :4].astype(float).T
            across = np.minimum.outer(right, right) - np.maximum.outer(left, left)
            down = np.minimum.outer(bottom, bottom) - np.maximum.outer(top, top)
            # Boxes are as high as the line: what is written in them is not.
            least = 0.35 * np.minimum.outer(bottom - top, bottom - top)
            pairs = np.argwhere(np.triu((across > 1) & (down > least), 1))
            faults += [(words[one], words[other]) for one, other in pairs]

    assert seen.total() > 5000
    assert seen["worst"] > len(ZONES)  # below each picture of harm
    assert faults == []


def test_pages_are_counted(pages: list[str]) -> None:
    """Each page says which it is, of how many."""
    assert all(f"page {n} of {len(pages)}" in text for n, text in enumerate(pages, start=1))


def test_zones_of_the_index_point_to_their_pages(pages: list[str]) -> None:
    """The page that is named behind a zone, below its elevation, is the one that begins with it."""
    starts = starts_of(pages)
    index = "".join(pages[: starts[0]])
    named = re.findall(r"page\s+(\d+)(?!\d| of)", index)

    assert named == [str(start + 1) for start in starts[:-1]]


def test_codes_of_the_index_are_whole(assessment: Assessment, tmp_path: Path) -> None:
    """A long code with hyphens stands in one line, on paper as in its sentence."""
    survey = assessment.survey
    code = "NORTH-FRONT-BAY-2-LEFT-017"
    records = {
        name: tuple(
            one.model_copy(update={"zone": code}) if getattr(one, "zone", "") == "N08" else one
            for one in table
        )
        for name, table in survey.records.items()
    }
    altered = Survey(records, with_code(tmp_path, "N08", code))
    path, _ = hc.write_report(hc.assess(altered, zones=[code]), tmp_path, formats=("pdf",))
    words = output("pdftotext", "-raw", str(path), "-").split("\f")
    front = words[: next(n for n, page in enumerate(words) if close_up(POINTS) in close_up(page))]
    found = " ".join(front).split()

    assert found.count(code) >= 3
    assert [word for word in found if word != code and word in code and "-" in word] == []


def with_code(folder: Path, old: str, new: str) -> Path:
    """A copy of the example's drawings in which a zone has another code."""
    copied = folder / "example"
    shutil.copytree(example_folder(), copied)
    for drawing in (copied / "drawings").iterdir():
        text = drawing.read_text("utf-8")
        drawing.write_text(text.replace(f'data-zone="{old}"', f'data-zone="{new}"'), "utf-8")
    return copied


def test_every_record_stands_in_the_annexe_that_the_page_of_its_zone_names(
    pages: list[str], annexe: list[str], report: tuple[Path, ...], assessment: Assessment
) -> None:
    """Reasons, records, numbers and ruled-out methods in full, zone by zone, and their sources."""
    assert report[2].name == "report-records.pdf"
    words = close_up("".join(annexe))
    starts = [
        words.index(
            close_up(f"{code} {assessment.zone(code).name} {assessment.zone(code).sentence}")
        )
        for code in ZONES
    ]
    assert starts == sorted(starts)
    for code, start, end in zip(ZONES, starts, [*starts[1:], len(words)], strict=True):
        one = assessment.zone(code)
        assert close_up(f"{POINTS} report-records.pdf, under {code}") in close_up(
            page_of(pages, code)
        )
        said = [text for gate in one.gates for text in (gate.reason, *gate.records)]
        said += [stop.reason for stops in one.ruled_out.values() for stop in stops]
        assert [text for text in said if close_up(text) not in words[start:end]] == []
    listed = words[words.index("Sourcescited") :]
    cited = {
        stop.source_id
        for code in ZONES
        for stops in assessment.zone(code).ruled_out.values()
        for stop in stops
    }
    assert [source for source in cited if source not in listed] == []
    assert all(f"page {n} of {len(annexe)}" in text for n, text in enumerate(annexe, start=1))


def test_annexe_is_attached_and_can_be_told_from_another(
    pages: list[str], report: tuple[Path, ...]
) -> None:
    """The file beside the report is the one within it, and its checksum is printed."""
    attached = PdfReader(report[1]).attachments
    content = report[2].read_bytes()

    assert attached == {"report-records.pdf": [content]}
    assert close_up(hashlib.sha256(content).hexdigest()) in close_up("".join(pages))
    assert "report-records.pdf" in pages[0]


def test_annexe_is_tagged_titled_and_a4(report: tuple[Path, ...]) -> None:
    """It is kept and heard as the report is; a reader finds each zone among its bookmarks."""
    facts, claims = output("pdfinfo", str(report[2])), output("pdfinfo", "-meta", str(report[2]))
    structure = output("pdfinfo", "-struct", str(report[2]))
    reader = PdfReader(report[2])
    first, zones = reader.outline[:2]

    assert re.search(r"Tagged: +yes", facts)
    assert A4 in facts
    assert re.search(r"pdfuaid:part[^0-9]*1", claims)
    assert re.search(r"pdfaid:part[^0-9]*2", claims)
    assert all(kind in structure for kind in ("H1", "H2", "Table", "TH", "L", "Figure"))
    assert first.title == "Records, zone by zone"
    assert [zone.title.partition(" ")[0] for zone in zones[: len(ZONES)]] == ZONES


def test_pdf_is_tagged_titled_and_a4(report: tuple[Path, ...]) -> None:
    """A reader by ear gets structure, title and language; the file claims PDF/UA-1 for that."""
    lines = output("pdfinfo", str(report[1])).splitlines()
    facts = {name: fact.strip() for name, _, fact in (line.partition(":") for line in lines)}
    claims = output("pdfinfo", "-meta", str(report[1]))
    structure = output("pdfinfo", "-struct", str(report[1]))

    assert facts["Tagged"] == "yes"
    assert facts["Page size"] == A4
    assert facts["Title"] == "Quillmere Pumping Station: clean it or leave it?"
    assert facts["CreationDate"].startswith("Fri Sep 18 00:00:00 2026")
    assert re.search(r"pdfuaid:part[^0-9]*1", claims)
    assert re.search(r"pdfaid:part[^0-9]*3", claims)
    streams = re.findall(rb"stream\n(.*?)\nendstream", report[1].read_bytes(), re.DOTALL)
    objects = b"".join(zlib.decompress(each) for each in streams if each.startswith(b"x"))
    assert re.search(rb"/Lang ?\(en\)", report[1].read_bytes() + objects)
    assert {kind for kind in ("H1", "H2", "Table", "TH", "L", "Figure") if kind in structure} == {
        "H1", "H2", "Table", "TH", "L", "Figure"
    }  # fmt: skip


def test_every_picture_of_the_pdf_has_its_words(report: tuple[Path, ...]) -> None:
    """Who can't see a picture hears what it shows; every heading leads to its page."""
    reader = PdfReader(report[1])
    figures, kinds = [], set()
    waiting = [reader.trailer["/Root"]["/StructTreeRoot"]]
    while waiting:
        node = waiting.pop().get_object()
        kinds.add(node.get("/S"))
        figures += [node] if node.get("/S") == "/Figure" else []
        kids = node.get("/K", [])
        for kid in kids if isinstance(kids, list) else [kids]:
            inner = kid.get_object()
            if isinstance(inner, dict) and "/S" in inner:
                waiting.append(inner)
    outline = [entry.title for entry in reader.outline if not isinstance(entry, list)]

    assert len(figures) >= 2 * len(ZONES)
    assert all(str(figure.get("/Alt", "")).strip() for figure in figures)
    assert {"/Table", "/TR", "/TH", "/TD", "/L", "/LI", "/H1", "/H2", "/P"} <= kinds
    assert outline[0] == "Quillmere Pumping Station"
    assert "Basis of this report" in outline


def test_pdf_carries_its_fonts_and_they_are_ours(report: tuple[Path, ...]) -> None:
    """Every font is embedded and comes from the package, so pages look alike on every machine."""
    rows = [line.split() for line in output("pdffonts", str(report[1])).splitlines()[2:]]
    names = {row[0].partition("+")[2] for row in rows}

    assert names
    assert all(name.startswith(("Literata", "SourceSans3")) for name in names), names
    assert all(row[-5] == "yes" for row in rows), rows


def test_structure_without_any_zone_assessed_is_refused() -> None:
    """A report on no zone would be an empty page that looks like an answer."""
    with pytest.raises(hc.SurveyError, match="zones"):
        hc.assess(hc.demo_survey(), zones=["X99"])


def test_words_too_many_for_a_page_run_on_and_lose_nothing(
    assessment: Assessment, tmp_path: Path
) -> None:
    """
    A zone with overlong words takes more pages; the next begins on its own, whole.

    Each page of its box, which is longer than a page, ends with all the box's cautions.
    """
    survey = assessment.survey
    long = {"name": "Reveals " * 60, "significance_reason": "x" * 500 + " <i>& so on</i>"}
    zones = tuple(
        zone.model_copy(update=long) if getattr(zone, "zone", "") == "N06" else zone
        for zone in survey.records["zones"]
    )
    structure = survey.only(Structure).model_copy(update={"call_first": "Ring and wait. " * 250})
    records = {**survey.records, "zones": zones, "structure": (structure,)}
    judged = hc.assess(Survey(records, example_folder()), zones=["N06", "N08"])
    path, _ = hc.write_report(judged, tmp_path, formats=("pdf",))
    texts = output("pdftotext", "-raw", str(path), "-").split("\f")
    points = close_up(POINTS)
    first, second = (n for n, text in enumerate(texts) if points in close_up(text))
    box = judged.zone("N06").instruction
    held = [close_up(text) for text in texts[first:second] if "Ring and wait." in text]

    assert box is not None
    assert first + 2 <= second <= first + 6
    assert "For the contractor" in "".join(texts[first + 1 : second])
    assert len(held) > 1
    for text in held:
        assert text.startswith(close_up("N06 Reveals Reveals"))
        assert close_up(": trial first") in text
        assert [one.words for one in box.cautions if close_up(one.words) not in text] == []
    assert close_up("<i>& so on</i>") in close_up("".join(texts[first:second]))
    assert close_up("Sandstone string course") in close_up(texts[second])


@pytest.mark.long
def test_whole_example_is_printed_on_few_pages_in_type_that_is_read(tmp_path: Path) -> None:
    """At most 80 pages beside the annexe; no page of any zone holds text below 9 pt."""
    path, _ = hc.write_report(example(), tmp_path, formats=("pdf",))
    reader = PdfReader(path)
    small = [
        (number + 1, text, size)
        for number, page in enumerate(reader.pages)
        if "For approval; not permission to work" in page.extract_text()
        for text, size in sizes_of(reader, number)
        if size < 8.99
    ]

    assert 52 < len(reader.pages) <= 80
    assert small == []
