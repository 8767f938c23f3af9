"""The figures draw what was computed, and are told apart without colour."""

import itertools
import re

import numpy as np
import pytest
from seen_pictures import (
    SVG,
    middles,
    named,
    parsed,
    paths,
    read_scale,
    readings,
    said,
    shape,
    words,
)

import heritagecheck as hc
from heritagecheck.figures import SHOWN_IN_FIGURE
from heritagecheck.figures.elevation import (
    COARSE,
    FILLS,
    HATCHES,
    _box_of_plain,
    _box_of_rings,
)
from heritagecheck.judgement.options import option_name
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.judgement.recommendation import OUTCOMES, Assessment

with np.printoptions():  # colour-science changes how numpy prints
    import colour

OUTCOMES_IN_ORDER = ("clean", "trial first", "leave and monitor", "leave")


@pytest.fixture(scope="module")
def assessment() -> Assessment:
    """Judge a few zones of the north front."""
    return hc.assess(hc.demo_survey(), zones=["N04", "N06", "N08", "N09", "N12"])


def lightness(fill: str) -> float:
    """L* of a colour written as in SVG, by an outside library."""
    rgb = np.array([int(fill[place : place + 2], 16) for place in (1, 3, 5)]) / 255
    return float(colour.XYZ_to_Lab(colour.sRGB_to_XYZ(rgb))[0])


def seen_by(fill: str, deficiency: str) -> np.ndarray:
    """L*, a*, b* as somebody without one kind of cone sees it (Machado and others 2009)."""
    rgb = np.array([int(fill[place : place + 2], 16) for place in (1, 3, 5)]) / 255
    matrix = colour.blindness.matrix_cvd_Machado2009(deficiency, 1.0)
    linear = colour.models.eotf_sRGB(rgb) @ matrix.T
    xyz = colour.sRGB_to_XYZ(np.clip(linear, 0, 1), apply_cctf_decoding=False)
    return np.asarray(colour.XYZ_to_Lab(xyz))


@pytest.mark.parametrize("deficiency", ["Protanomaly", "Deuteranomaly"])
def test_outcomes_are_told_apart_by_colour_blind_readers(deficiency: str) -> None:
    """
    Any two fills differ by more than 10 CIEDE2000 for them too.

    Source of the simulation: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, IEEE Trans. Vis.
    Comput. Graph. 15, 1291 (2009), as computed by colour-science. The limit is common practice.
    """
    seen = {outcome: seen_by(fill, deficiency) for outcome, fill in FILLS.items()}
    apart = {
        pair: float(hc.colour.delta_e(seen[pair[0]], seen[pair[1]]))
        for pair in itertools.combinations(seen, 2)
    }

    assert min(apart.values()) > 10, apart


def test_outcomes_are_told_apart_in_grey_print() -> None:
    """Where two fills are nearly of one lightness, their hatches differ."""
    assert tuple(FILLS) == tuple(HATCHES) == OUTCOMES == OUTCOMES_IN_ORDER
    assert len(set(HATCHES.values())) == len(OUTCOMES)
    assert HATCHES["leave"] == ""
    assert lightness(FILLS["leave"]) > 80


def test_elevation_shows_each_zone_in_its_outcome(assessment: Assessment) -> None:
    """A zone's outline is filled as its outcome says, its title says it in words."""
    svg = hc.figures.draw_elevation(assessment, "north").svg

    for one in assessment.recommendations:
        outline = re.search(rf'<path[^>]*data-zone="{one.zone}"[^>]*>\s*<title>([^<]*)', svg)
        assert outline is not None, one.zone
        assert f'fill="{FILLS[one.outcome]}"' in outline[0]
        assert outline[1].startswith(f"{one.zone} {one.name}: {one.outcome}")


def test_map_of_one_outcome_fills_its_zones_only(assessment: Assessment) -> None:
    """Words and dark outlines agree with the assessment."""
    found = hc.figures.draw_outcome(assessment, "north", "clean")
    survey = assessment.survey

    assert str(found).endswith("clean: N09")
    assert found.svg.count('fill="#1d1d1b"') == 1
    assert found.svg.count("<path") == (survey.zones["elevation"] == "north").sum()


def test_detail_points_to_a_drawing_that_the_page_holds(assessment: Assessment) -> None:
    """Where the page carries the drawing once, each detail only points to it."""
    alone = hc.figures.draw_detail(assessment.survey, "N06").svg
    pointing = hc.figures.draw_detail(assessment.survey, "N06", ground="north").svg

    assert '<use href="#north"/>' in pointing
    assert len(pointing) < len(alone) / 10
    assert "<use" not in alone


@pytest.mark.parametrize(
    "part",
    [
        "M10 20L30 5",
        "M10.5 -20L30 5L-.3 7z",
        "M316.7 1385h22.2v-7.5h-22.2z",
        "M5 6h2v3h-2z",
        "M377.5 1702a1.7 1.7 0 1 0 3.4 0a1.7 1.7 0 1 0 -3.4 0z",
    ],
)
def test_the_box_of_a_plain_part_is_that_of_its_steps(part: str) -> None:
    """Lines, rectangles and rivets are read at once; their box is the one found step by step."""
    box = _box_of_plain(part)

    assert box is not None
    assert box == pytest.approx(_box_of_rings(part), abs=COARSE)


@pytest.mark.parametrize(
    "part", ["M0 0C1 1 2 2 3 0", "m1 1L2 2", "M1 1L2", "M1 1L2 2h3", "M5 6h2v3h2z"]
)
def test_the_box_of_any_other_part_is_left_to_its_steps(part: str) -> None:
    """Curves, moves from where the last part ended, and what is cut short are no plain parts."""
    assert _box_of_plain(part) is None


def test_harm_is_drawn_as_it_was_computed(assessment: Assessment) -> None:
    """Rows are leaving and the leading options; marks and bars stand at means and ranges."""
    one = assessment.zone("N06")
    root = parsed(hc.figures.draw_harm(one))
    tests = one.leading(SHOWN_IN_FIGURE)
    names = ["leave", *(option_name(test.option) for test in tests)]
    harms = [one.harm_of_leaving, *(test.harm for test in tests)]
    ticks = [word for word in words(root) if word.words in {"0", "5", "10"}]

    assert len(ticks) == 3 * len(CRITERIA)
    for name, harm in zip(names, harms, strict=True):
        (group,) = named(root, name)
        bars, marks = paths(group[1]), middles(group[2])
        for place, criterion in enumerate(CRITERIA):
            three = ticks[3 * place : 3 * place + 3]
            value = read_scale([(tick.x, tick.words) for tick in three])
            seen = [value(marks[place, 0]), *value(bars[place][:, 0])]
            assert np.allclose(seen, harm[criterion], atol=0.01), (name, criterion)
    heights = [word.y for name in names for word in words(root) if name.startswith(word.words)]
    assert heights == sorted(heights)


def test_harm_says_its_numbers(assessment: Assessment) -> None:
    """Total harm, share of draws and members of each option stand beside it, and are explained."""
    one = assessment.zone("N06")
    seen = said(parsed(hc.figures.draw_harm(one)))

    for name in (*CRITERIA, "total harm", "draws for", "members for"):
        assert set(name.split()) <= set(seen)
    for test in one.leading(SHOWN_IN_FIGURE):
        assert {f"{test.total:.1f}", f"{test.members_passing} of {len(test.shares)}"} <= set(seen)


def test_options_are_told_apart_without_colour(assessment: Assessment) -> None:
    """Each row has a mark of another shape."""
    root = parsed(hc.figures.draw_harm(assessment.zone("N06")))
    groups = [one for one in root if one.find(f"{SVG}title") is not None]
    shapes = {shape(one[2].attrib["d"]) for one in groups}

    assert len(shapes) == len(groups) == 1 + SHOWN_IN_FIGURE


def test_method_to_be_tried_is_always_among_those_drawn(assessment: Assessment) -> None:
    """However many are less harmful, the one that is recommended or to be tried has a row."""
    one = assessment.zone("N06")
    for count in range(1, len(one.weighed) + 1):
        shown = one.leading(count)

        assert len(shown) == count
        assert one.method in [test.option.partition(", ")[0] for test in shown]


def test_colours_are_drawn_as_they_were_read(assessment: Assessment) -> None:
    """Marks are the readings of the zone and of its reference; the words give the difference."""
    found = assessment.zone("N06")
    shown = hc.figures.draw_colour(found)
    colour = found.evidence.colour
    assert shown is not None
    assert colour is not None

    assert np.allclose(readings(shown, "as found"), colour.lab_soiled[:, 1:], atol=0.01)
    assert np.allclose(readings(shown, "clean reference"), colour.lab_reference[:, 1:], atol=0.01)
    assert shown.alt.endswith(str(colour))


def test_no_colours_are_drawn_where_none_were_compared(assessment: Assessment) -> None:
    """A zone without a reference gives no plot, and its swatches say why."""
    found = assessment.zone("N12")

    assert found.evidence.colour is None
    assert hc.figures.draw_colour(found) is None
    swatches = hc.figures.draw_swatches(found)
    assert found.evidence.colour_note in " ".join(said(parsed(swatches)))
    assert found.evidence.colour_note in swatches.alt


def test_gates_are_drawn_by_shape(assessment: Assessment) -> None:
    """Eight marks; what passed, what did not and what is not known differ in shape."""
    one = assessment.zone("N04")
    svg = hc.figures.draw_gates(one).svg
    results = [gate.result for gate in one.gates]

    assert svg.count("<title>") == 8
    assert svg.count("<rect") == results.count("not passed")
    assert svg.count("stroke-dasharray") == results.count("not known")
