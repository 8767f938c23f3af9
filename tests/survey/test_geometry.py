"""Zones as drawn: hand shapes, what drawing programs write, and slips of the pen."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.path import Path as Outside
from scipy.interpolate import BPoly
from scipy.spatial import cKDTree

import heritagecheck as hc
from heritagecheck.figures.zone_location import draw_detail, draw_locator
from heritagecheck.survey.drawings.elevations import outlines
from heritagecheck.survey.drawings.outline import Outline
from heritagecheck.survey.drawings.path_data import followed
from heritagecheck.survey.records import TABLES, Elevation, Zone
from heritagecheck.survey.survey import Survey

SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="{}">{}</svg>'


def surveyed(folder: Path, inner: str, *, box: str = "0 0 900 900", height_m: float = 9) -> Survey:
    """Give a survey with one drawing, 9 m wide, and a zone Z1 of 4 m²."""
    (folder / "north.svg").write_text(SVG.format(box, inner), encoding="utf-8")
    zone = hc.demo_survey().all(Zone)[0].changed(zone="Z1", elevation="north", area_m2=4)
    item = Elevation(
        elevation="north", name="North", drawing="north.svg", width_m=9, height_m=height_m
    )
    records = dict.fromkeys(TABLES, ())
    return Survey({**records, "zones": (zone,), "elevations": (item,)}, folder)


def path(d: str, zone: str = "Z1", more: str = "") -> str:
    """Give the outline of a zone."""
    return f'<path data-zone="{zone}" d="{d}" {more}/>'


def drawn(folder: Path, inner: str, **given: object) -> dict[str, Outline]:
    """Give the outlines of a drawing."""
    return outlines(surveyed(folder, inner, **given), "north")


def square(x: float, y: float, side: float) -> np.ndarray:
    """Give the corners of a square."""
    return np.array([[x, y], [x + side, y], [x + side, y + side], [x, y + side]], dtype=float)


# -- Areas -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("d", "area_m2"),
    [
        ("M100 100L300 100L300 200z", 1.0),
        ("M100,100 h200 v100 h-200 z", 2.0),
        ("m100 100 200 0 0 100-200 0z", 2.0),
        ("M0 0H400V400H0z M100 100H200V300H100z", 14.0),
        ("M0 0H400V400H0z M100 100V300H200V100z", 14.0),  # a hole, whichever way it is drawn
        ("M0 0H400V400H0z M100 100H300V300H100z M150 150H250V250H150z", 13.0),
        ("M0 0h100v100h-100z m200 0h100v100h-100z", 2.0),
        ("M0 0H100V100H0ZL0 -100L-50 -100z", 1.25),  # goes on where it closed
        ("M1e2 1E+2l2.0e2 0 0 1e2", 1.0),  # left open: it is filled as if closed
        # Integral of a parabola: two thirds of width times height of its arch.
        ("M0 400Q200 0 400 400z", 2 / 3 * 4 * 2),
        ("M0 400Q100 200 200 400T400 400V800H0z", 16.0),  # one arch up, the next as far down
        # x = 4 (3 t² - 2 t³), y = 9 t (1 - t): the integral of y dx is 36 · 6 / 30.
        ("M0 300C0 0 400 0 400 300z", 36 * 6 / 30),
    ],
)
def test_area_is_that_of_the_hand_sum(tmp_path: Path, d: str, area_m2: float) -> None:
    """Units of the drawing are centimetres here; each area is worked out beside its outline."""
    found = drawn(tmp_path, path(d))["Z1"]

    assert found.area_m2 == pytest.approx(area_m2, rel=2e-3)


@pytest.mark.parametrize(
    ("d", "area_m2"),
    [
        ("M100 300a200 200 0 1 1 400 0a200 200 0 1 1-400 0z", math.pi * 4),
        ("M100 300a200 200 0 11400 0a200 200 0 11-400 0z", math.pi * 4),  # flags without gaps
        ("M500 300A200 200 0 0 1 300 500L300 300z", math.pi),
        ("M500 300A200 200 0 1 0 300 500L300 300z", 3 * math.pi),
        ("M100 300a200 100 0 0 1 400 0z", math.pi),
        ("M200 100a100 200 90 0 1 400 0z", math.pi),  # the same ellipse lying on its side
        ("M100 300a1 1 0 0 1 400 0z", 2 * math.pi),  # radii too short are size_fault
    ],
)
def test_arcs_enclose_what_circles_and_ellipses_do(tmp_path: Path, d: str, area_m2: float) -> None:
    """π r² and π a b, short of a strip of a millimetre along the arc at most."""
    found = drawn(tmp_path, path(d))["Z1"]

    assert area_m2 - 0.001 * 4 * math.pi < found.area_m2 <= area_m2 + 1e-9


def test_curves_stay_within_a_millimetre(tmp_path: Path) -> None:
    """Every step of a flattened circle of 2 m lies between 1.999 m and 2 m from its middle."""
    [ring] = drawn(tmp_path, path("M100 300a200 200 0 1 1 400 0a200 200 0 1 1-400 0z"))["Z1"].rings
    middles = (ring + np.roll(ring, -1, axis=0)) / 2

    assert np.hypot(*(ring - (3, 3)).T) == pytest.approx(2)
    assert np.hypot(*(middles - (3, 3)).T).min() > 1.999


def test_smooth_curves_go_on_as_another_library_draws_them() -> None:
    """The second curve begins with the first one's last arm mirrored; both by scipy's BPoly."""
    [ring] = followed("M0 0C0 100 100 100 100 0S200-100 200 0", 0.01)
    share = np.linspace(0, 1, 20_001)
    dense = np.concatenate([
        BPoly(np.array(arms, dtype=float)[:, None], [0, 1])(share)
        for arms in (
            [(0, 0), (0, 100), (100, 100), (100, 0)],
            [(100, 0), (100, -100), (200, -100), (200, 0)],
        )
    ])  # fmt: skip
    middles = (ring[1:] + ring[:-1]) / 2

    assert ring[-1].tolist() == [200, 0]
    assert cKDTree(dense).query(ring)[0].max() < 0.01
    assert cKDTree(dense).query(middles)[0].max() < 0.01 + 0.01


@pytest.mark.parametrize(
    ("transform", "inner", "corner"),
    [
        ("translate(100 200)", "", (1, 2)),
        ("translate(100)", "scale(2)", (1, 0)),
        ("translate(300,100) rotate(90)", "", (2, 1)),
        ("rotate(90 100 100)", "", (1, 0)),
        ("matrix(1 0 0 1 50-50)", "", (0.5, -0.5)),
        ("", "skewX(45)", (0, 0)),
        ("", "skewY(45)", (0, 0)),
    ],
)
def test_groups_and_layers_move_what_they_hold(
    tmp_path: Path, transform: str, inner: str, corner: tuple[float, float]
) -> None:
    """Left top of a square of 1 m after the transforms of drawing programs, worked by hand."""
    held = path("M0 0H100V100H0z", more=f'transform="{inner}"')
    found = drawn(tmp_path, f'<g transform="{transform}">{held}</g>')["Z1"]

    assert found.rings[0].min(axis=0) == pytest.approx(corner, abs=1e-9)
    assert found.area_m2 == pytest.approx(4 if "scale" in inner else 1)


def test_figures_move_zones_as_the_drawing_does(tmp_path: Path) -> None:
    """Locator and detail show an outline where its layer puts it."""
    inner = f'<g transform="translate(300 300)">{path("M0 0H100V100H0z")}</g>'
    survey = surveyed(tmp_path, inner)
    drawings = draw_locator(survey, "Z1"), draw_detail(survey, "Z1")
    locator, detail = (picture.svg for picture in drawings if picture)

    assert 'transform="matrix(1 0 0 1 300 300)"' in locator
    assert 'transform="matrix(1 0 0 1 300 300)"' in detail
    left, top, width, height = (
        float(n) for n in detail.split('viewBox="')[1].split('"')[0].split()
    )
    assert (left + width / 2, top + height / 2) == pytest.approx((350, 350))


def test_a_view_box_that_does_not_begin_at_zero_is_followed(tmp_path: Path) -> None:
    """Metres count from the top left of what is shown."""
    found = drawn(tmp_path, path("M0 0H100V100H0z"), box="-100, -200, 900, 900")["Z1"]

    assert found.rings[0][0].tolist() == [1, 2]


def test_width_and_height_stand_in_for_a_view_box(tmp_path: Path) -> None:
    """A drawing that gives its size in pixels has these as its units."""
    survey = surveyed(tmp_path, path("M0 0H100V100H0z"))
    file = tmp_path / "north.svg"
    file.write_text(file.read_text().replace('viewBox="0 0 900 900"', 'width="900px" height="900"'))

    assert outlines(survey, "north")["Z1"].area_m2 == pytest.approx(1)


# -- Quillmere ---------------------------------------------------------------------------------


@pytest.mark.parametrize("elevation", ["north", "east", "tower", "legs"])
def test_drawings_of_the_example_agree_with_its_records(elevation: str) -> None:
    """Every zone is drawn, none on another, and its area is the recorded one, as rounded there."""
    survey = hc.demo_survey()
    drawn = outlines(survey, elevation)
    recorded = survey.zones[survey.zones["elevation"] == elevation].set_index("zone")["area_m2"]
    [item] = [one for one in survey.all(Elevation) if one.elevation == elevation]
    x, y = np.meshgrid(np.arange(0.05, item.width_m, 0.1), np.arange(0.05, item.height_m, 0.1))
    points = np.stack([x.ravel(), y.ravel()], axis=-1)

    assert set(drawn) == set(recorded.index)
    for zone, outline in drawn.items():
        assert outline.area_m2 == pytest.approx(recorded[zone], abs=0.0051)
    assert sum(outline.contains(points).astype(int) for outline in drawn.values()).max() == 1


# -- Containment -------------------------------------------------------------------------------


def test_points_lie_in_a_zone_as_another_library_finds() -> None:
    """In the outer ring and not in the hole, by matplotlib; the shape is a star with a hole."""
    turn = np.linspace(0, 2 * np.pi, 20, endpoint=False)
    star = np.stack([np.cos(turn), np.sin(turn)], axis=-1) * np.tile([3.0, 1.5], 10)[:, None]
    hole = square(-0.4, -0.3, 0.9)
    points = np.random.default_rng(4).uniform(-3.5, 3.5, (5000, 2))
    outer, inner = (Outside(ring).contains_points(points) for ring in (star, hole))

    assert (Outline("Z1", (star, hole)).contains(points) == (outer & ~inner)).all()


def test_points_that_are_nowhere_lie_in_no_zone() -> None:
    """What lies beyond the wall's horizon comes as NaN."""
    found = Outline("Z1", (square(0, 0, 2),)).contains([(1, 1), (np.nan, 1), (1, np.nan), (3, 1)])

    assert found.tolist() == [True, False, False, False]


@given(st.integers(3, 40), st.integers(0, 10_000))
def test_area_is_the_share_of_points_inside(corners: int, seed: int) -> None:
    """For any star-shaped zone with a hole, area and counted points agree."""
    rng = np.random.default_rng(seed)
    turn = 2 * np.pi * (np.arange(corners) + rng.uniform(0, 0.9, corners)) / corners
    rays = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    outer = rays * rng.uniform(0.4, 1, corners)[:, None] if corners > 4 else rays
    one = Outline("Z1", (outer, outer * 0.3 if corners > 4 else square(5, 5, 0.1)))
    middles = (np.arange(120) + 0.5) / 60 - 1
    grid = np.stack(np.meshgrid(middles, middles), axis=-1).reshape(-1, 2)
    small = 0.0 if corners > 4 else 0.01

    assert 4 * one.contains(grid).mean() + small == pytest.approx(one.area_m2, abs=0.05)


# -- Slips of the pen --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("d", "x", "y"),
    [
        ("M0 0L200 200L200 0L0 200z", 1, 1),
        ("M0 0H300V200H0zM100 100H400V150H100z", 3, 1),  # two parts across one another
        ("M0 0H400V200L200-100L0 200z", 2.67, 0),
        ("M0 0L200 200L400 400L400 0L200 200L0 400z", 2, 2),  # across, through a corner of both
        ("M0 0H400V400H200V0L200-100L100-100z", 2, 0),  # a corner on an edge, and on beyond it
    ],
)
def test_an_outline_that_crosses_itself_is_refused_with_the_place(
    tmp_path: Path, d: str, x: float, y: float
) -> None:
    """The zone is named, and one crossing in metres."""
    with pytest.raises(hc.SurveyError, match="zone Z1: its outline crosses itself at") as caught:
        drawn(tmp_path, path(d))

    [said] = caught.value.faults["allowed"]
    across, down = (float(word) for word in said.split() if word.replace(".", "").isdigit())
    if "V200L200" in d:  # it crosses twice, left and right alike
        across = max(across, 4 - across)
    assert (across, down) == pytest.approx((x, y), abs=0.01)


@pytest.mark.parametrize(
    ("d", "area_m2"),
    [
        ("M0 0L200 200L400 0L400 400L200 200L0 400z", 8.0),  # two triangles meet in a corner
        ("M0 0H400V400H0zM0 0H100V100H0z", 15.0),  # a hole that touches the border
        ("M0 0H400V400H200V0.1z", None),  # a corner that comes near an edge
        ("M0 0H400V400H200V-0.1L0-0.1z", None),  # and one that passes it by a millimetre
    ],
)
def test_outlines_that_only_touch_are_taken(tmp_path: Path, d: str, area_m2: float | None) -> None:
    """A drawing's rounding is no slip."""
    found = drawn(tmp_path, path(d))["Z1"]

    assert found.area_m2 == pytest.approx(area_m2) if area_m2 else found.area_m2 > 7


def test_a_crossing_among_thousands_of_points_is_found(tmp_path: Path) -> None:
    """A circle of 3,000 points with two of them swapped far apart."""
    turn = np.linspace(0, 2 * np.pi, 3000, endpoint=False)
    points = np.stack([450 + 400 * np.cos(turn), 450 + 400 * np.sin(turn)], axis=-1)
    good = "M" + " ".join(f"{x:.3f} {y:.3f}" for x, y in points) + "z"
    points[[100, 900]] = points[[900, 100]]
    bad = "M" + " ".join(f"{x:.3f} {y:.3f}" for x, y in points) + "z"

    assert drawn(tmp_path, path(good))["Z1"].area_m2 == pytest.approx(16 * math.pi, rel=1e-4)
    with pytest.raises(hc.SurveyError, match="crosses itself"):
        drawn(tmp_path, path(bad))


@pytest.mark.parametrize(
    ("inner", "said"),
    [
        (path("M0 0H100V100z") + path("M200 0H300V100z"), "zone Z1 is drawn twice. Draw its parts"),
        (path("M0 0L100 100z"), "part at 0.00 m from the left, 0.00 m from the top has 2 points"),
        (path(""), 'it begins with "", not with a move M or m'),
        (path("M10 10z"), "nothing is drawn"),
        (path("L0 0L100 0z"), 'it begins with "L0 0L100 0z", not with a move'),
        (path("M0 0L100 0L100 50zR3 4"), '"R" is not a step. Steps are M L H V C S Q T A Z'),
        (path("M0 0L100 0L100z"), 'a number of a step is missing or too large at "z"'),
        (path("M0 0L100 0L1e99 50z"), "missing or too large"),
        (path("M0 0L100 0L100 50z 3 4"), '"3 4" is where a step should begin'),
        (path("M0 0L100 0L100 50z#"), '"#" is where a step should begin'),
        (path("M0 0L100 0#L100 50z"), 'missing or too large at "#L100 50z"'),
        (path("M0 0A5 5 0 2 1 9 9z"), 'missing or too large at "2 1 9 9z"'),
        (path("M0 0H100V100H0zM0 0H100V100H0z"), "encloses nothing"),
        (path("M0 0H100V100z", more='transform="scale(0)"'), "leaves nothing of it"),
        (path("M0 0H100V100z", more='transform="turn(3)"'), r'"turn\(3\)" can.t be foll'),
        (path("M0 0H100V100z", more='style="transform:scale(2)"'), "transformed by a style"),
        (f"<svg>{path('M0 0H100V100z')}</svg>", "zone Z1: its outline lies within <svg>"),
        (f"<defs>{path('M0 0H100V100z')}</defs>", "zone Z1: its outline lies within <defs>"),
    ],
)
def test_what_is_no_outline_is_refused(tmp_path: Path, inner: str, said: str) -> None:
    """The message names table, drawing and zone, and what is wrong."""
    with pytest.raises(hc.SurveyError, match=said) as caught:
        drawn(tmp_path, inner)

    [row] = caught.value.faults[["table", "field", "value"]].to_numpy().tolist()
    assert row == ["elevations", "drawing", "north.svg"]


def test_every_slip_of_a_drawing_is_told_at_once(tmp_path: Path) -> None:
    """Nobody corrects a drawing five times."""
    inner = path("M0 0L9 9z", "Z1") + path("M0 0L200 200L200 0L0 200z", "Z2") + path("x", "Z3")
    with pytest.raises(hc.SurveyError, match="3 things to correct"):
        drawn(tmp_path, inner)


@pytest.mark.parametrize("box", ["0 0 900", "0 0 0 900", "0 0 wide high", "0 0 900 1e999"])
def test_a_drawing_without_a_size_is_refused(tmp_path: Path, box: str) -> None:
    """Without it no metre can be told."""
    with pytest.raises(hc.SurveyError, match=r'viewBox = ".*" must give left, top, width'):
        drawn(tmp_path, path("M0 0H100V100z"), box=box)


def test_a_drawing_of_another_shape_than_its_elevation_is_refused(tmp_path: Path) -> None:
    """Nine metres by nine cannot be seven high."""
    with pytest.raises(hc.SurveyError, match="its height is 9 m, but height_m = 7"):
        drawn(tmp_path, path("M0 0H100V100z"), height_m=7)


def test_an_unknown_elevation_and_a_missing_drawing_are_told(tmp_path: Path) -> None:
    """The known elevations are named."""
    survey = surveyed(tmp_path, path("M0 0H100V100z"))
    with pytest.raises(hc.SurveyError, match=r"south: there is none\. Known: north"):
        outlines(survey, "south")

    (tmp_path / "north.svg").write_text("<!DOCTYPE a [<!ENTITY b 'c'>]><a/>")
    with pytest.raises(hc.SurveyError, match="not plain SVG"):
        outlines(survey, "north")
    (tmp_path / "north.svg").unlink()
    with pytest.raises(hc.SurveyError, match="this drawing is missing"):
        outlines(survey, "north")


def test_figures_stay_safe_from_what_a_drawing_might_run(tmp_path: Path) -> None:
    """Scripts, styles, handlers and addresses elsewhere do not reach a page."""
    inner = (
        '<script>alert(1)</script><style>*{display:none}</style><rect onclick="a()" width="9" '
        'height="9" fill="url(https://example.org/a)"/>' + path("M0 0H100V100z")
    )
    survey = surveyed(tmp_path, inner)
    shown = draw_detail(survey, "Z1")
    assert shown
    svg = shown.svg

    assert '<rect width="9"' in svg
    assert not [word for word in ("script", "style", "onclick", "example.org") if word in svg]
