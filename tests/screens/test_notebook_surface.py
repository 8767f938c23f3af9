"""Steps of what lies below ×50, without a browser: maps, sections, and gate 7."""

from __future__ import annotations

import re
from functools import cache
from html import unescape
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from bare_survey import bare_rows, keep

from heritagecheck.evidence.surface.zone_height_maps import measure_pair, pair_records
from heritagecheck.screens.notebook.surface import SurfaceWalk
from heritagecheck.screens.notebook.walk import EXAMPLE, Walk
from heritagecheck.survey.records import SectionReading, SiteTest
from heritagecheck.survey.store.attachments import attachment_of
from heritagecheck.survey.survey import Survey

FAULTS = ("failed", "Traceback", "Error")
OF_STONE = ("maps", "relief", "depth", "rougher", "edge", "found", "gate")
OF_STEEL = ("maps", "relief", "texture", "section", "stress", "found", "gate")


@cache
def assessed() -> Walk:
    """Give the example, with the zones that have maps assessed once."""
    here = SurfaceWalk()
    assert here.assessment.zone("N06")
    return here


@pytest.fixture
def example(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> SurfaceWalk:
    """Give the steps over the example, in an empty folder."""
    monkeypatch.chdir(tmp_path)
    here = SurfaceWalk()
    here._take(EXAMPLE, assessed().survey, assessed().assessment)
    return here


def said(page: Any) -> str:
    """Words of a step as a reader without widgets has them."""
    return str(page.as_cell(str(page.shown))[0]["text/plain"])


def test_a_harsher_spot_is_listed_by_itself_with_its_dose(example: SurfaceWalk) -> None:
    """The melted spot of T06 follows what counts, and the sentence says that it does not."""
    example.pick(zone="T06")
    counts, _, shown = unescape(example.found().shown.html()).partition("do not count at")

    assert "spot T06-pulse-1-S09 at 12 J/cm² peak" in shown
    assert "S09" not in counts
    assert "T06-pulse-1" in counts


@pytest.mark.parametrize(
    ("zone", "steps"), [("N06", OF_STONE), ("T06", OF_STEEL)], ids=["stone", "steel"]
)
def test_every_step_shows_what_the_example_holds(
    example: SurfaceWalk, zone: str, steps: tuple[str, ...]
) -> None:
    """Nothing fails, and what is there is shown."""
    example.pick(zone=zone)
    for name in steps:
        words = said(getattr(example, name)())

        assert words, name
        assert not [fault for fault in FAULTS if fault in words], name
    assert ("Sa " in said(example.relief())) == ("relief" in steps)


def test_the_depth_that_is_recorded_is_the_one_that_the_file_gives(example: SurfaceWalk) -> None:
    """The record of N06 names its map; reading the map again gives the same number."""
    tests = example.survey.of_zone("N06", SiteTest)
    depths = {one.mineral: one for one in tests if one.quantity == "depth_removed_um"}
    (rough,) = [one for one in tests if one.quantity == "roughness_change_pct"]
    words = said(example.depth())

    assert {one.file for one in (*depths.values(), rough)} == {"map H2"}
    assert depths.keys() == {None, "biotite", "quartz", "k_feldspar", "plagioclase"}
    for mineral, one in depths.items():
        name = "" if mineral is None else f" on {mineral.replace('_', '-')}"
        shown = re.search(rf"([\d.]+) µm lost{name} on average", words)
        assert shown is not None, words
        assert float(shown[1]) == pytest.approx(one.value, abs=0.006)
    # The mica was made to lose 5.5 µm, all else 1.2 µm (data/quillmere/below_x50.py).
    assert depths["biotite"].value == pytest.approx(5.5, abs=2 * depths["biotite"].spread)
    assert depths["quartz"].value == pytest.approx(1.2, abs=2 * depths["quartz"].spread)
    kept, _ = pair_records(example.survey, measure_pair(example.survey, "H2"), "conservator")
    (again,) = [one for one in kept[1:] if one.quantity == "roughness_change_pct"]
    assert (again.value, again.spread) == (rough.value, rough.spread)
    assert "would have been found" in words
    assert "No change of roughness measurable" in said(example.rougher())


def test_the_stress_that_is_recorded_is_the_one_that_the_sheet_gives(example: SurfaceWalk) -> None:
    """Records and notebook show the same stress; a melted spot is beyond the engineer's limit."""
    example.pick(zone="T06")
    readings = [one for one in example.survey.of_zone("T06", SectionReading)
                if one.profile == "T06-stress-after"]  # fmt: skip
    words = said(example.stress())

    assert {one.file for one in readings} == {"tilts T06-stress-after"}
    for one in readings:
        assert f"{one.depth_um:.3g} µm, along: Residual stress {one.value:+.0f} MPa" in words
    after, spot = (
        next(line for line in words.split("\n") if f"{name}:" in line)
        for name in ("T06-stress-after", "T06-stress-spot")
    )
    assert "No measurable change" in after
    assert "would have been found in 8 of 10 tries" in after
    assert "Beyond the engineer's limit, 80 MPa" in spot


def test_grooves_of_the_textured_plate_are_those_that_were_cut(example: SurfaceWalk) -> None:
    """Every 160 µm, nine pixels of 8 µm wide, 44 µm deep (data/quillmere/below_x50.py)."""
    example.pick(zone="T06")
    words = said(example.texture())

    found = [float(part) for part in re.findall(r"(?:pitch|width|depth) ([\d.]+) µm", words)]
    assert found == pytest.approx([160, 72, 44], abs=1.5)
    assert "Width 72 µm: within the 50 to 100 µm that are common practice" in words
    assert "within the 30 to 100 µm" in words


def test_a_profile_of_steel_is_graded_by_its_file(example: SurfaceWalk, tmp_path: Path) -> None:
    """Waves of 25 µm to either side: Rz 50 µm is fine by grit, medium by shot (ISO 8503)."""
    place = np.arange(12_500) * 0.001
    heights = 0.025 * np.sin(2 * np.pi * place / 0.25)
    lines = [f"{x:.3f}\t{z:.6f}" for x, z in zip(place, heights, strict=True)]
    (tmp_path / "line.txt").write_text("\n".join(lines), "utf-8")
    attached = attachment_of(
        tmp_path / "line.txt", kind="height_map", attachment="line", file="line.txt", zone="T06"
    )
    line = example.survey.record("height_maps", "H3").changed(
        height_map="H4", attachment="line", height_unit="mm", pixel_x_um=1.0, pixel_y_um=1.0,
        rows=1, columns=12_500, lowest_um=-25.0, highest_um=25.0,
    )  # fmt: skip
    records = example.survey.records
    survey = Survey(
        {**records, "attachments": (*records["attachments"], attached), "height_maps": (line,)},
        tmp_path,
    )
    example._take(EXAMPLE, survey, assessed().assessment)
    example.pick(zone="T06")

    words = said(example.relief())
    assert re.search(r"Rz (49|50)(\.\d)? µm", words)
    assert "its Rz is fine after grit, medium after shot" in words
    assert "A profile is one line." in said(example.texture())


def test_a_zone_without_maps_or_sections_says_what_is_missing(example: SurfaceWalk) -> None:
    """No height map, no pair, no section, nothing measured: each in a sentence of its own."""
    example.pick(zone="N07")

    assert "No height map of this zone is recorded" in said(example.depth())
    assert "No section of this zone is recorded" in said(example.section())
    assert "No residual stress of this zone is recorded" in said(example.stress())
    assert "the fields at ×50 decide" in said(example.found())
    assert "Gate 7 requires no measurement" in said(example.gate())


def test_a_bare_survey_is_no_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A survey with little more than a name: each step says what it needs."""
    monkeypatch.chdir(tmp_path)
    keep(bare_rows(), tmp_path / "survey.db")
    here = SurfaceWalk()
    for name in {*OF_STONE, *OF_STEEL}:
        words = said(getattr(here, name)())

        assert not [fault for fault in FAULTS if fault in words], name
