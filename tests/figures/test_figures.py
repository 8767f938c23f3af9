"""The figures draw what was computed, and are told apart without colour."""

import itertools
import re

import numpy as np
import pytest
from seen_pictures import (
    SVG,
    lines,
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
from heritagecheck.figures.colours import draw_swatches
from heritagecheck.figures.elevation import FILLS, HATCHES, OPACITY, _hatches
from heritagecheck.figures.zone_answer import SHOWN_IN_FIGURE, draw_gates
from heritagecheck.figures.zone_location import (
    _box_of_plain,
    draw_detail,
    draw_locator,
    draw_outcome,
)
from heritagecheck.judgement.options import option_name
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.judgement.recommendation import OUTCOMES, Assessment
from heritagecheck.survey.drawings.path_data import box_around
from heritagecheck.survey.places import example_folder
from heritagecheck.survey.survey import Survey

with np.printoptions():  # colour-science changes how numpy prints
    import colour

OUTCOMES_IN_ORDER = ("clean", "trial first", "leave and monitor", "leave")


@pytest.fixture(scope="module")
def assessment() -> Assessment:
    """Judge a few zones of the north front."""
    return hc.assess(hc.demo_survey(), zones=["N04", "N06", "N08", "N09", "N12"])


def on_paper(fill: str) -> np.ndarray:
    """Linear red, green and blue of a colour written as in SVG, as it lies on pale stone."""
    shown, stone = (
        np.array([int(one[place : place + 2], 16) for place in (1, 3, 5)]) / 255
        for one in (fill, "#f5f3ee")
    )
    return np.asarray(colour.models.eotf_sRGB(OPACITY * shown + (1 - OPACITY) * stone))


def lab(linear: np.ndarray) -> np.ndarray:
    """L*, a*, b* by an outside library."""
    xyz = colour.sRGB_to_XYZ(np.clip(linear, 0, 1), apply_cctf_decoding=False)
    return np.asarray(colour.XYZ_to_Lab(xyz))


@pytest.mark.parametrize("deficiency", ["Protanomaly", "Deuteranomaly"])
def test_outcomes_are_told_apart_by_colour_blind_readers(deficiency: str) -> None:
    """
    Any two fills differ by more than 15 CIEDE2000 for them too, as they lie on the drawing.

    Source of the simulation: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, IEEE Trans. Vis.
    Comput. Graph. 15, 1291 (2009), as computed by colour-science. The limit is common practice.
    """
    matrix = colour.blindness.matrix_cvd_Machado2009(deficiency, 1.0)
    seen = {outcome: lab(on_paper(fill) @ matrix.T) for outcome, fill in FILLS.items()}
    apart = {
        pair: float(hc.colour.delta_e(seen[pair[0]], seen[pair[1]]))
        for pair in itertools.combinations(seen, 2)
    }

    assert min(apart.values()) > 15, apart
    assert apart["clean", "leave and monitor"] > 20


def test_outcomes_are_told_apart_in_grey_print() -> None:
    """Any two fills differ in lightness, clean from all others by much; hatches differ as well."""
    light = {outcome: lab(on_paper(fill))[0] for outcome, fill in FILLS.items()}
    apart = [abs(light[one] - light[other]) for one, other in itertools.combinations(light, 2)]

    assert tuple(FILLS) == tuple(HATCHES) == OUTCOMES == OUTCOMES_IN_ORDER
    assert min(apart) > 10, light
    assert min(light[other] - light["clean"] for other in OUTCOMES[1:]) > 20
    assert len(set(HATCHES.values())) == len(OUTCOMES)
    assert HATCHES["leave"] == ""


def test_elevation_shows_each_zone_in_its_outcome(assessment: Assessment) -> None:
    """A zone's outline is filled as its outcome says, its title says it in words."""
    svg = hc.figures.draw_elevation(assessment, "north").svg

    for one in assessment.recommendations:
        outline = re.search(rf'<path[^>]*data-zone="{one.zone}"[^>]*>\s*<title>([^<]*)', svg)
        assert outline is not None, one.zone
        assert f'fill="{FILLS[one.outcome]}"' in outline[0]
        assert outline[1].startswith(f"{one.zone} {one.name}: {one.outcome}")


def test_code_of_an_elevation_is_no_markup() -> None:
    """A code may hold any sign; in the names of hatches it is letters and hyphens."""
    patterns = list(_hatches('a"/><script>run()</script><pattern id="b'))

    assert {one.tag.rpartition("}")[2] for one in patterns} == {"pattern"}
    assert patterns[0].get("id") == "a----script-run----script--pattern-id--b-clean"


def test_map_of_one_outcome_fills_its_zones_only(assessment: Assessment) -> None:
    """Words and dark outlines agree with the assessment."""
    found = draw_outcome(assessment, "north", "clean")
    survey = assessment.survey

    assert str(found).endswith("clean: N09")
    assert found.svg.count('fill="#1d1d1b"') == 1
    assert found.svg.count("<path") == (survey.zones["elevation"] == "north").sum()


def test_detail_points_to_a_drawing_that_the_page_holds(assessment: Assessment) -> None:
    """Where the page carries the drawing once, each detail only points to it."""
    alone, pointing = (
        picture.svg
        for ground in ("", "north")
        if (picture := draw_detail(assessment.survey, "N06", ground=ground))
    )

    assert '<use href="#north"/>' in pointing
    assert len(pointing) < len(alone) / 10
    assert "<use" not in alone


def test_detail_has_a_bar_of_known_length_and_says_how_high_it_lies(
    assessment: Assessment,
) -> None:
    """The bar is as long as its words say, by the width in metres that the survey records."""
    shown = draw_detail(assessment.survey, "N11")
    assert shown is not None
    (bar,) = (one for one in lines(re.findall(r'<path d="(M[^"]*H[^"]*V[^"]*)"', shown.svg)[-1]))
    units_a_metre = 2060 / 20.6  # viewBox and width_m of the north front
    said = re.findall(r">([\d.]+) m</text>", shown.svg)[-1]

    assert np.ptp(bar[:, 0]) == pytest.approx(float(said) * units_a_metre)
    assert f"Bar: {said} m." in shown.alt
    # The drawing is 16 m and 1600 units high.
    low, high = map(float, re.findall(r"lies ([\d.]+) to ([\d.]+) m above", shown.alt)[0])
    top, bottom = outline_of("N11")
    assert (low, high) == pytest.approx((16 - bottom / 100, 16 - top / 100), abs=0.051)


def outline_of(zone: str) -> tuple[float, float]:
    """Top and bottom of a zone in units of the drawing of the north front, by its file."""
    drawing = (example_folder() / "drawings" / "north.svg").read_text("utf-8")
    path = next(one for one in re.findall(r"<path [^>]*>", drawing) if f'data-zone="{zone}"' in one)
    outline = re.search(r'\sd="([^"]*)"', path)
    assert outline is not None
    points = np.concatenate(lines(outline[1]))
    return float(points[:, 1].min()), float(points[:, 1].max())


def test_a_zone_that_the_drawing_does_not_show_has_no_picture() -> None:
    """Neither a detail nor a place on the elevation is made up for it."""
    survey = hc.demo_survey()
    zones = tuple(
        zone.model_copy(update={"elevation": "east"})
        if getattr(zone, "zone", "") == "N06"
        else zone
        for zone in survey.records["zones"]
    )
    altered = Survey({**survey.records, "zones": zones}, example_folder())

    assert draw_detail(altered, "N06") is None
    assert draw_locator(altered, "N06") is None
    assert draw_locator(altered, "E01") is not None


def test_a_small_zone_is_ringed_on_its_elevation(assessment: Assessment) -> None:
    """Nobody looks for a datestone on a front 20 m wide; a wide field needs no ring."""
    small, wide = (draw_locator(assessment.survey, code) for code in ("N11", "N04"))

    assert small is not None
    assert wide is not None
    assert small.svg.count("<circle") == 1
    assert "<circle" not in wide.svg


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
    assert box == pytest.approx(box_around(part))


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
    value = read_scale([(tick.x, tick.words) for tick in ticks])

    assert len(ticks) == 3
    tops = []
    for name, harm in zip(names, harms, strict=True):
        (group,) = named(root, name)
        bars, marks = paths(group[1]), middles(group[2])
        for place, criterion in enumerate(CRITERIA):
            seen = [value(marks[place, 0]), *value(bars[place][:, 0])]
            assert np.allclose(seen, harm[criterion], atol=0.01), (name, criterion)
            assert marks[place, 1] == pytest.approx(bars[place][0, 1])
        tops.append(marks[:, 1])
    # In each band the options stand below one another, as their names do above.
    inside = np.array(tops)
    assert (np.diff(inside, axis=0) > 0).all()
    assert (inside[0, 1:] > inside[-1, :-1]).all()
    heights = [word.y for name in names for word in words(root) if name.startswith(word.words)]
    assert heights == sorted(heights)


def test_harm_says_its_numbers(assessment: Assessment) -> None:
    """Total harm, share of simulations and members of each option stand beside it."""
    one = assessment.zone("N06")
    seen = said(parsed(hc.figures.draw_harm(one)))

    for name in (*CRITERIA, "total harm", "members"):
        assert set(name.split()) <= set(" ".join(seen).split())
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
        assert one.method in [test.option.method for test in shown]


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
    swatches = draw_swatches(found.evidence)
    assert found.evidence.colour_note in " ".join(said(parsed(swatches)))
    assert found.evidence.colour_note in swatches.alt


def test_gates_are_drawn_by_shape(assessment: Assessment) -> None:
    """Eight marks; what passed, what did not and what is not known differ in shape."""
    one = assessment.zone("N04")
    svg = draw_gates(one).svg
    results = [gate.result for gate in one.gates]

    assert svg.count("<title>") == 8
    assert svg.count("<rect") == results.count("not passed")
    assert svg.count("stroke-dasharray") == results.count("not known")
