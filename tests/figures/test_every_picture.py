"""What holds for every picture: one kind, read alike by browsers and by the typesetter."""

import re
import zlib
from collections.abc import Callable
from dataclasses import fields, replace
from functools import cache

import numpy as np
import pytest
import typst
from seen_pictures import Word, parsed, words

import heritagecheck as hc
from heritagecheck.cards import Picture
from heritagecheck.evidence.photograph.zone_photograph import PhotographedZone
from heritagecheck.evidence.section.stress_readings import stresses_in
from heritagecheck.figures.colours import draw_readings, draw_swatches
from heritagecheck.figures.elevation import draw_key
from heritagecheck.figures.heat import draw_heat
from heritagecheck.figures.height_map import draw_edge, draw_profile
from heritagecheck.figures.photograph import (
    draw_cover,
    draw_difference_map,
    draw_if_cleaned,
    draw_photograph,
    draw_preview,
)
from heritagecheck.figures.section import draw_section, draw_tilts
from heritagecheck.figures.svg import FONTS
from heritagecheck.figures.zone_answer import draw_gates
from heritagecheck.figures.zone_location import draw_detail, draw_ground, draw_locator, draw_outcome
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.survey.instruments import read_stress_file

STONE = np.full((30, 40, 3), 130, dtype=np.uint8)
GAP = np.where(np.eye(30, 40) > 0, np.nan, 4.0)
SQUARE = np.pad(np.ones((26, 26), bool), 12)


@cache
def assessment() -> Assessment:
    """Judge two zones, on two elevations."""
    return hc.assess(hc.demo_survey(), zones=["N09", "E15"])


def zone(number: int) -> Recommendation:
    """One of both zones."""
    return assessment().recommendations[number]


def readings(number: int) -> Picture:
    """Readings with all kinds of marks."""
    noise = np.random.default_rng(number)
    clean, soiled = (noise.normal((60 - down - number, 1, 4), 1, (9, 3)) for down in (0, 20))
    far = np.arange(9) == number
    return draw_readings(soiled, clean, outlying=(far, far))


def trial(number: int) -> Picture:
    """Spots of a series with a window that is empty, and of one with a window."""
    found = hc.trials.read_series(hc.demo_survey(), ("N15-pulse", "T06-pulse")[number])
    assert found.spots is not None
    return hc.figures.draw_trial(found.spots)


def tilts(number: int) -> Picture:
    """Lines of the harmless and of the melted setting."""
    name = ("T06-stress-after", "T06-stress-spot")[number]
    path = hc.demo_survey().file(f"instruments/{name}.csv")
    assert path is not None
    return draw_tilts(stresses_in(read_stress_file(path)))


@cache
def photographed() -> PhotographedZone:
    """A photograph of the example."""
    return hc.photograph.measure(hc.demo_survey(), "P3")


# Each draws two pictures that may stand on one page.
DRAWN: dict[str, Callable[[int], Picture | None]] = {
    "draw_colour": lambda number: hc.figures.draw_colour(zone(number)),
    "draw_cover": lambda number: draw_cover(STONE, number < GAP, 0.5, 0.4, 0.6),
    "draw_depth": lambda number: hc.figures.draw_depth(
        hc.surface.depth_removed(GAP + number, GAP, pixel_um=9), 9.0
    ),
    "draw_detail": lambda number: draw_detail(assessment().survey, zone(number).zone),
    "draw_difference_map": lambda number: draw_difference_map(GAP + number, pixel_mm=2),
    "draw_edge": lambda number: draw_edge(
        hc.surface.edge_profile(-9.0 * SQUARE + number, 5.0, SQUARE)
    ),
    "draw_elevation": lambda number: hc.figures.draw_elevation(
        assessment(), ("north", "east")[number]
    ),
    "draw_gates": lambda number: draw_gates(zone(number)),
    "draw_ground": lambda number: draw_ground(
        assessment().survey, ("north", "east")[number], f"ground-{number}"
    ),
    "draw_harm": lambda number: hc.figures.draw_harm(zone(number)),
    "draw_heat": lambda number: draw_heat(
        hc.laser.surface_temperature(
            ("biotite", "riveted_steel")[number], fluence_j_cm2=0.5, pulse_ns=100, radius_um=2000,
            rate_hz=100, pulses=2,
        )
    ),
    "draw_if_cleaned": lambda number: draw_if_cleaned(
        photographed(), cleanliness=0.8 + number / 10, years=10, half_time_years=12
    ),
    "draw_key": lambda number: draw_key(("clean", "trial first")[number]),
    "draw_locator": lambda number: draw_locator(assessment().survey, zone(number).zone),
    "draw_outcome": lambda number: draw_outcome(
        assessment(), ("north", "east")[number], "leave"
    ),
    "draw_photograph": lambda number: draw_photograph(
        STONE + number, {"N01": [[(2, 2), (20, 2), (20, 20)]]},
        np.array([(20, 5), (35, 5), (35, 15), (20, 15)]),
    ),
    "draw_photographed": lambda number: hc.figures.draw_photographed(
        replace(photographed(), cover=None) if number else photographed()
    ),
    "draw_preview": lambda number: draw_preview(STONE, STONE + 40 + number, STONE, 9),
    "draw_profile": lambda number: draw_profile(np.sin(np.arange(50) / (3 + number)), 1.0),
    "draw_readings": readings,
    "draw_relief": lambda number: hc.figures.draw_relief(
        GAP, (9.0, 9.0 + number), outlines={"treated": [[(2, 2), (20, 2), (20, 20)]]}
    ),
    "draw_section": lambda number: draw_section(
        [one for one in hc.demo_survey().of_zone("T06", hc.records.SectionReading)
         if one.quantity == ("hardness", "stress_along")[number]]
    ),
    "draw_swatches": lambda number: draw_swatches(zone(number).evidence),
    "draw_tilts": tilts,
    "draw_trial": trial,
}  # fmt: skip
# The bare drawing takes no room and is only pointed to, so it has no words of its own.
WORDLESS = {"draw_ground"}
# Parts of pages, which have no public name.
OF_PAGES = {
    "draw_cover", "draw_detail", "draw_difference_map", "draw_edge", "draw_gates", "draw_ground",
    "draw_heat", "draw_if_cleaned", "draw_key", "draw_locator", "draw_outcome",
    "draw_photograph", "draw_preview", "draw_profile", "draw_readings", "draw_section",
    "draw_swatches", "draw_tilts",
}  # fmt: skip
OF_DRAWINGS = {"draw_detail", "draw_elevation", "draw_ground"}
PAGE = """
#set document(title: "One picture")
#set page(width: 210mm, height: auto)
#image(bytes(sys.inputs.svg), alt: "the picture")
"""


@cache
def drawn(name: str, number: int = 0) -> Picture:
    """One picture of each kind."""
    found = DRAWN[name](number)
    assert isinstance(found, Picture)
    return found


def test_no_figure_is_left_out() -> None:
    """Every function that draws is tried here."""
    assert set(DRAWN) == {*hc.figures.__all__, *OF_PAGES}


@pytest.mark.parametrize("name", DRAWN)
def test_every_figure_gives_a_picture_in_plain_svg(name: str) -> None:
    """It is XML with its own size or box, and asks for no style sheet, variable or address."""
    picture = drawn(name)
    root = parsed(picture)
    addresses = re.findall(r'href="([^"]*)"', picture.svg)

    assert [one.name for one in fields(picture)] == ["svg", "alt"]
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert {"viewBox", "width"} & set(root.attrib)
    assert not re.search(r"var\(|<style|foreignObject|<script|@import", picture.svg)
    assert all(one.startswith(("#", "data:image/")) for one in addresses)


def of_ours(word: Word) -> bool:
    """Whether words are asked for in our face, in a name that browsers and typesetter take."""
    return word.look["font-family"].startswith("'Source Sans 3', ")


@pytest.mark.parametrize("name", sorted(set(DRAWN) - OF_DRAWINGS))
def test_words_are_in_our_face(name: str) -> None:
    """All of them, but for those that stand on the drawing of an elevation."""
    assert all(of_ours(word) for word in words(parsed(drawn(name))))


@pytest.mark.parametrize("name", DRAWN)
def test_every_picture_says_in_words_what_it_shows(name: str) -> None:
    """For those who can't see it, and without a mark of the program in it."""
    alt = drawn(name).alt

    assert bool(alt) != (name in WORDLESS)
    assert "<" not in alt
    assert "None" not in alt


@pytest.mark.parametrize("name", DRAWN)
def test_two_pictures_share_one_page(name: str) -> None:
    """No name within one is a name within the other."""
    one, other = (set(re.findall(r'\bid="([^"]*)"', drawn(name, n).svg)) for n in (0, 1))

    assert not one & other


@pytest.mark.parametrize("name", DRAWN)
def test_a_picture_is_drawn_alike_each_time(name: str) -> None:
    """The same data give the same bytes."""
    assert DRAWN[name](0) == drawn(name)


@pytest.mark.parametrize("name", sorted(set(DRAWN) - {"draw_ground"}))
def test_every_picture_is_set_on_paper(name: str) -> None:
    """The typesetter takes it as it is, with our faces alone, and finds a glyph for each letter."""
    picture = drawn(name)
    pdf = typst.compile(
        PAGE.encode(), font_paths=[str(FONTS)], ignore_system_fonts=True,
        sys_inputs={"svg": picture.svg}, pdf_standards=["ua-1"],
    )  # fmt: skip
    packed = re.findall(rb"(?<!end)stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL)
    # Read without its checksum, whose last byte may look like the end of a line.
    held = b"".join(zlib.decompressobj().decompress(one) for one in packed if one[:1] == b"x")

    assert pdf.startswith(b"%PDF")
    assert (b"SourceSans3" in pdf + held) == any(of_ours(word) for word in words(parsed(picture)))


def test_picture_and_sentence_name_one_temperature_of_alteration() -> None:
    """The line of alteration is where the words say it is: 573 °C is not also 570 °C."""
    found = hc.laser.surface_temperature(
        "granite", fluence_j_cm2=0.5, pulse_ns=100, radius_um=2000, rate_hz=100, pulses=2
    )
    both = str(found) + draw_heat(found).svg
    named = re.findall(r"lteration (?:of [a-z ]+)?from ([0-9,.]+) °C", both)

    assert len(named) > 1
    assert len(set(named)) == 1
