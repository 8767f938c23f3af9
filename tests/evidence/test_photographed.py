"""
A photograph of the example measured whole: against the truth of the wall that was rendered.

The walls of `data/quillmere/scene.py` are invented, so that their colours, cover and minerals are
known; what is measured passes through lens, noise, JPEG, chart, drawing and squares first.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from pictured import COLUMNS, PIXEL_MM, ROWS, SHOTS
from PIL import Image
from scene import Scene, render
from seen_pictures import images, parsed, said
from tiers import some_of

import heritagecheck as hc
from heritagecheck.evidence.colour import spectra
from heritagecheck.evidence.photograph.zone_photograph import PhotographedZone, measure
from heritagecheck.figures.photograph import draw_if_cleaned
from heritagecheck.survey.places import build, example_folder
from heritagecheck.survey.records import Photo

CODES = ["P1", "P2", "P3"]


@cache
def wall(code: str) -> Scene:
    """Truth of one photograph."""
    return render(
        rows=ROWS, columns=COLUMNS, pixel_mm=PIXEL_MM, grain_mm=3.0, dark_minerals=0.09,
        **SHOTS[code]["wall"],
    )  # fmt: skip


@cache
def seen(code: str) -> PhotographedZone:
    """One photograph of the example, measured."""
    return measure(hc.demo_survey(), code)


def changed(folder: Path | None = None, **values: object) -> PhotographedZone:
    """Photograph P3 measured again, with other values in its record."""
    rows = {
        name: [record.model_dump() for record in records]
        for name, records in hc.demo_survey().records.items()
    }
    rows["readings"] = [row for row in rows["readings"] if row["photo"] != "P3"]
    for row in rows["photos"]:
        if row["photo"] == "P3":
            row.update(values)
    return measure(build(rows, folder=folder or example_folder()), "P3")


@cache
def without_clean_stone() -> PhotographedZone:
    """Photograph P3 measured as if no clean stone had been outlined on it."""
    return changed(clean_stone=None)


def mean_light_lab(scene: Scene, where: np.ndarray) -> np.ndarray:
    """L*, a*, b* of the mean light of a part of the wall, as a meter that saw all of it gives."""
    roots = (scene.truth_lab[where][:, :1] + 16) / 116
    a, b = scene.truth_lab[where][:, 1:2] / 500, scene.truth_lab[where][:, 2:] / 200
    root = np.concatenate([roots + a, roots, roots - b], axis=1)
    xyz = np.where(root > 6 / 29, root**3, 3 * (6 / 29) ** 2 * (root - 4 / 29)).mean(axis=0)
    return spectra.lab_from_xyz(xyz * spectra.white_point())


@pytest.mark.parametrize("code", some_of(CODES, short=["P1"]))
def test_squares_have_the_colour_of_the_wall(code: str) -> None:
    """Clean stone, where every square is alike, lies within 0.7 ΔE00 of its true mean light."""
    true = mean_light_lab(wall(code), wall(code).clean)
    squares = [
        (one.L_star, one.a_star, one.b_star)
        for one in seen(code).readings
        if one.target == "reference"
    ]

    assert hc.colour.delta_e(np.mean(squares, axis=0), true) < 0.7


@pytest.mark.parametrize("code", CODES)
def test_the_interval_holds_the_true_difference(code: str) -> None:
    """Zone against clean stone, mean light of each."""
    scene = wall(code)
    true = hc.colour.delta_e(mean_light_lab(scene, scene.clean), mean_light_lab(scene, scene.zone))

    assert seen(code).colour.low <= true <= seen(code).colour.high


@pytest.mark.parametrize("code", CODES)
def test_cover_and_dark_minerals_are_those_of_the_wall(code: str) -> None:
    """Within 3 points and 2 points of the truth, and within their own intervals."""
    cover, dark = seen(code).cover, seen(code).dark_minerals

    assert cover.share == pytest.approx(wall(code).cover, abs=0.03)
    assert cover.low <= wall(code).cover <= cover.high
    assert dark.dark == pytest.approx(wall(code).dark, abs=0.02)


def test_a_board_in_the_same_light_takes_the_doubt_of_the_light_away() -> None:
    """With it the error of L* is the chart's; without it the rated error of the light is added."""
    assert seen("P2").photo.error_L < 0.5
    assert seen("P1").photo.error_L > 1.5
    assert any("No even board was photographed" in said for said in seen("P1").cautions)
    assert not any("No even board" in said for said in seen("P2").cautions)


@pytest.mark.long
def test_uneven_light_without_its_board_shows_in_the_colours() -> None:
    """The same photograph without its board is some units off: the board is no ornament."""
    rows = {
        name: [record.model_dump() for record in records]
        for name, records in hc.demo_survey().records.items()
    }
    rows["photos"] = [row | {"board": None} for row in rows["photos"]]
    bare = measure(build(rows, folder=example_folder()), "P2")
    true = mean_light_lab(wall("P2"), wall("P2").clean)
    means = [
        np.mean([(one.L_star, one.a_star, one.b_star) for one in found.readings
                 if one.target == "reference"], axis=0)
        for found in (bare, seen("P2"))
    ]  # fmt: skip

    assert hc.colour.delta_e(means[0], true) > hc.colour.delta_e(means[1], true) + 1


def test_what_is_measured_is_what_the_example_holds() -> None:
    """The example's records of a photograph were made by the package, and are made so again."""
    survey = hc.demo_survey()

    for record in seen("P3").records:
        table = {"Photo": "photos", "Reading": "readings", "SiteTest": "site_tests"}
        kind = type(record).__name__
        key = getattr(record, {"SiteTest": "site_test"}.get(kind, kind.lower()))
        assert survey.record(table[kind], key) == record


def test_no_square_lies_on_chart_or_clean_stone_or_touches_another() -> None:
    """Sixty at most of a side, all of one size."""
    for target in ("soiled", "reference"):
        found = [one for one in seen("P3").readings if one.target == target]
        assert 5 <= len(found) <= 60
        assert {one.aperture_mm for one in found} == {25.0}
        assert {one.set_size for one in found} == {len(found)}


def test_without_clean_stone_there_is_neither_difference_nor_cover() -> None:
    """The squares of the zone are read all the same, and a caution says what is missing."""
    found = without_clean_stone()

    assert (found.colour, found.cover, found.dark_minerals) == (None, None, None)
    assert {one.target for one in found.readings} == {"soiled"}
    assert any("No clean stone is outlined" in said for said in found.cautions)


def test_a_photograph_of_another_place_shows_no_square_of_its_zone() -> None:
    """Tied to a part of the drawing where the zone is not: refused, nothing half-done."""
    elsewhere = "24 27 1 1; 1164 18 1.6 1; 1176 864 1.6 1.4; 36 873 1 1.4"

    with pytest.raises(hc.SurveyError, match="zone = E05: photograph P3 shows no whole square"):
        changed(points=elsewhere)


def test_an_unknown_photograph_and_a_missing_file_are_named(tmp_path: Path) -> None:
    """With what is there, and what to do."""
    with pytest.raises(hc.SurveyError, match=r"photo = P7: there is none. Known: P1, P2, P3"):
        measure(hc.demo_survey(), "P7")
    with pytest.raises(hc.SurveyError, match=r"P3\.jpg: this file is missing; attach it again"):
        changed(folder=tmp_path)


def test_a_wet_wall_is_measured_with_a_caution_and_not_compared() -> None:
    """Wet stone is darker: its squares are kept, its difference is not given."""
    found = changed(state="wet")

    assert found.colour is None
    assert "too little dry soiled stone" in found.colour_note
    assert any("The stone was wet" in said for said in found.cautions)


def test_its_figures_say_what_was_measured() -> None:
    """Photograph, difference, cover with its share; and a simulation that says that it is one."""
    shown = parsed(hc.figures.draw_photographed(seen("P3")))
    preview = draw_if_cleaned(seen("P3"), cleanliness=0.8, years=10, half_time_years=12)

    assert len(images(shown)) == 4, "photograph, difference, lightened photograph and its veil"
    assert f"{100 * seen('P3').cover.share:.0f} %" in " ".join(said(shown))
    assert {"clean stone", "chart as found", "colour difference [ΔE00]"} <= set(said(shown))
    assert said(parsed(preview))[1:] == ["simulation: as agreed", "simulation: 10 years later"]


def test_a_photograph_without_clean_stone_is_shown_alone() -> None:
    """There is nothing to compare it with, so no map and no cover."""
    shown = parsed(hc.figures.draw_photographed(without_clean_stone()))

    assert len(images(shown)) == 1
    assert "chart as found" in said(shown)


def test_nothing_is_simulated_without_clean_stone() -> None:
    """There is nothing to aim at."""
    with pytest.raises(ValueError, match="Photograph P3 outlines no clean stone"):
        draw_if_cleaned(without_clean_stone(), cleanliness=1, years=1, half_time_years=1)


def test_the_photographs_of_the_example_are_those_that_were_rendered() -> None:
    """What lies in the repository shows the wall whose truth is taken here."""
    for code in CODES:
        stored = np.asarray(Image.open(example_folder() / "photographs" / f"{code}.jpg"), float)
        assert np.abs(stored - wall(code).pixels).mean() < 6
    assert {one.photo for one in hc.demo_survey().all(Photo)} == set(CODES)
