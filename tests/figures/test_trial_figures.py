"""The picture of a trial series shows each spot, the curves as computed, and the window."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from xml.etree.ElementTree import Element

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
    said,
    shape,
    size,
    ticks,
    titles,
    words,
)

import heritagecheck as hc
from heritagecheck.evidence.trials import dose_response
from heritagecheck.evidence.trials.curves.window import Window
from heritagecheck.evidence.trials.spot_fits import drawn_fit
from heritagecheck.evidence.trials.spots import SpotTrial, spot_trial
from heritagecheck.figures import draw_trial
from heritagecheck.survey.records import Panel, Spot

DARK = "#1d1d1b"
DOSES = (0.3, 0.4, 0.5, 0.7, 0.9, 1.2, 1.5, 2.0)
PANELS = ("G-1", "G-2", "G-3")
# Settings from which each component is damaged; quartz at none.
GRANITE = {"quartz": 9.0, "feldspar": 1.9, "biotite": 1.1, "hornblende": 1.4}
STATES = {
    "still soiled, sound": (False, False),
    "still soiled, damaged": (False, True),
    "cleaned, sound": (True, False),
    "cleaned, damaged": (True, True),
}


def trial(
    harms: dict[str, float],
    *,
    doses: Sequence[float] = DOSES,
    panels: Sequence[str] = PANELS,
    cleans: float = 0.35,
    each: int = 1,
    quantity: str = "peak_fluence",
    unit: str = "J/cm²",
) -> SpotTrial:
    """Spots clean from one dose on and damaged from another, component by component."""
    laid = len(harms) * len(doses) * each
    records = [
        Panel(
            panel=name, zone="Z1", series="S", panels_in_series=len(panels), spots_laid=laid,
            soiling="general_soiling", method="laser_ns_1064", setting="as the spots say",
            done_on="2026-05-01", read_on="2026-06-01",
        )
        for name in panels
    ]  # fmt: skip
    spots = [
        Spot(
            spot=f"{panel}-{component}-{dose}-{number}", panel=panel, zone="Z1",
            spots_on_panel=laid, dose=dose, dose_quantity=quantity, dose_unit=unit,
            read_on="2026-06-01",
            cleaned="yes" if dose > cleans else "no", damaged="yes" if dose > harm else "no",
            component=component or None,
        )
        for panel in panels
        for component, harm in harms.items()
        for dose in doses
        for number in range(each)
    ]  # fmt: skip
    found = spot_trial(records, spots)
    assert found is not None
    return found


@lru_cache
def granite() -> SpotTrial:
    """Four minerals on three panels, with a window."""
    return trial(GRANITE, each=6)


@lru_cache
def example(series: str) -> SpotTrial:
    """A series of the example survey."""
    survey = hc.demo_survey()
    panels = [panel for panel in survey.all(Panel) if panel.series == series]
    found = spot_trial(panels, survey.all(Spot))
    assert found is not None
    return found


def drawn(found: SpotTrial) -> Element:
    """Its picture, as a tree."""
    return parsed(draw_trial(found))


def doses(root: Element, places: np.ndarray) -> np.ndarray:
    """Settings at places across the picture, read by its ticks."""
    across = [(one.x, one.words) for one in ticks(root) if one.look["text-anchor"] == "middle"]
    return np.exp(read_scale(across, logarithmic=True)(places))


def percent(root: Element, places: np.ndarray) -> np.ndarray:
    """Probabilities at heights of the picture, read by its ticks."""
    up = [(one.y - 0.34 * 13, one.words) for one in ticks(root) if one.look["text-anchor"] == "end"]
    return np.asarray(read_scale(up)(places))


def group(root: Element, name: str) -> Element:
    """The one group of this name."""
    (found,) = named(root, name)
    return found


def line(root: Element, name: str) -> np.ndarray:
    """Setting and per cent at each point of the first line of this name."""
    seen = paths(group(root, name))[0]
    return np.stack([doses(root, seen[:, 0]), percent(root, seen[:, 1])], axis=1)


def interval(root: Element, name: str) -> np.ndarray:
    """Setting and per cent at each corner of the interval of this name."""
    return line(root, f"{name}, 95 % interval")


def rows(root: Element) -> list[str]:
    """Names of the rows of spots, from the top."""
    found = [one for one in words(root) if one.look.get("text-anchor") == "end"]
    numbers = ticks(root)
    return [one.words for one in sorted(found, key=lambda one: one.y) if one not in numbers]


def spots(root: Element, name: str) -> np.ndarray:
    """Place of every spot of a state, across and down the picture."""
    return middles(group(root, name))


def places(root: Element) -> list[tuple[float, float]]:
    """Setting and height of every spot drawn."""
    seen = np.concatenate([spots(root, name) for name in STATES])
    return list(zip(doses(root, seen[:, 0]).round(3).tolist(), seen[:, 1].tolist(), strict=True))


def stroked(root: Element, name: str) -> Element:
    """First line or area of this name, with its look."""
    found = group(root, name).find(f"{SVG}path")
    assert found is not None
    return found


def stroke(one: Element) -> tuple[str, str]:
    """Dashes and width of a line."""
    return one.get("stroke-dasharray", ""), one.attrib["stroke-width"]


def samples(root: Element) -> dict[str, Element]:
    """Piece of line before the name of each curve."""
    return {
        str(one.findtext(f"{SVG}text")): one.findall(f"{SVG}path")[1]
        for one in root.iter(f"{SVG}g")
        if [part.tag.removeprefix(SVG) for part in one] == ["path", "path", "text"]
    }


def grey(colour: str) -> float:
    """Lightness of a colour in grey print, from 0 to 1; weights of ITU-R BT.601."""
    rgb = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    return float(np.dot(rgb, (0.299, 0.587, 0.114)))


# -- Spots -------------------------------------------------------------------------------------


@pytest.mark.parametrize("series", ["N15-pulse", "N06-powder"])
def test_every_spot_stands_at_its_setting_with_what_it_showed(series: str) -> None:
    """Marks of a state lie at the settings of the spots of that state, none more, none less."""
    found = example(series)
    root = drawn(found)

    for name, state in STATES.items():
        recorded = [row.dose for row in found.rows if (row.cleaned, row.damaged) == state]
        seen = doses(root, spots(root, name)[:, 0])
        assert np.allclose(sorted(seen), sorted(recorded), rtol=1e-3), name
    assert len(places(root)) == len(found.rows)


def test_marks_hold_without_colour() -> None:
    """Damage is told by shape, cleaning by filling; their greys lie a fifth of the scale apart."""
    found = example("N15-pulse")
    every = (*found.rows, found.rows[0]._replace(cleaned=True, damaged=False))
    root = drawn(replace(found, rows=every))
    marks = {state: stroked(root, name) for name, state in STATES.items()}
    shapes = {state: shape(mark.attrib["d"]) for state, mark in marks.items()}
    faces = {state: grey(mark.attrib["fill"]) for state, mark in marks.items()}

    assert shapes[False, False] == shapes[True, False]
    assert shapes[False, True] == shapes[True, True]
    assert shapes[False, False] != shapes[False, True]
    assert faces[False, False] == faces[False, True] == pytest.approx(1)
    assert faces[True, True] + 0.2 < faces[True, False] < 1 - 0.2


def test_the_legend_names_the_four_marks_and_nothing_else() -> None:
    """It stands above the spots, not on them; a state that no spot has is named too."""
    root = drawn(granite())
    highest = min(y for _, y in places(root))
    above = [one for one in words(root) if one.box[3] < highest]

    assert [one.words for one in above] == list(STATES)
    assert spots(root, "still soiled, damaged").size == 0


def test_the_component_damaged_at_the_gentlest_setting_stands_on_top() -> None:
    """By hand: biotite from 1.2, hornblende from 1.5, feldspar at 2, quartz never."""
    assert rows(drawn(granite())) == ["biotite", "hornblende", "feldspar", "quartz"]


def test_spots_without_component_make_one_row() -> None:
    """Where none is named the row says spots; where some are, the others are said to be unnamed."""
    named_all = example("N06-powder")
    found = replace(named_all, rows=tuple(row._replace(component="") for row in named_all.rows))
    some = replace(found, rows=(*found.rows, found.rows[0]._replace(component="calcite")))

    assert rows(drawn(found)) == ["spots"]
    assert sorted(rows(drawn(some))) == ["calcite", "not named"]


@pytest.mark.parametrize("each", [1, 6])
def test_no_spot_hides_another(each: int) -> None:
    """Marks at one setting stand apart, and those of a row between the lines of that row."""
    root = drawn(trial(GRANITE, each=each))
    points = sorted(places(root))
    edges = [part[0, 1] for part in paths(group(root, "edges of the rows"))]

    assert len(set(points)) == len(points) == 3 * 4 * 8 * each
    assert len(edges) == 3
    counts = np.bincount(np.searchsorted(edges, [y for _, y in points]))
    assert counts.tolist() == [3 * 8 * each] * 4


def test_settings_close_to_one_another_do_not_overlap() -> None:
    """On one panel 0.500 and 0.505 lie nearer than a mark is wide: they stand at two heights."""
    root = drawn(trial({"": 9.0}, doses=(0.3, 0.5, 0.505, 2.0), panels=("P1",)))
    heights = dict(places(root))

    assert heights[0.3] == heights[0.5] == heights[2.0] != heights[0.505]


def with_window(found: SpotTrial, window: Window) -> SpotTrial:
    """Give the same spots with another window."""
    assert found.answers is not None
    return replace(found, answers=replace(found.answers, window=window))


def test_panels_lie_above_one_another_by_name() -> None:
    """In each row the spots of the first panel stand over those of the second, and are named."""
    root = drawn(example("N15-pulse"))
    heights = sorted({round(y, 1) for _, y in places(root)})
    panels = [one for one in words(root) if one.words.startswith("N15")]

    assert [one.words for one in panels] == ["N15-pulse-1", "N15-pulse-2"]
    assert np.allclose([one.y - 0.34 * 11 for one in panels], heights, atol=0.1)


def test_the_order_of_the_record_does_not_move_a_spot() -> None:
    """Rows read backwards make the same picture, state by state."""
    found = example("N15-pulse")
    backwards = replace(found, rows=tuple(reversed(found.rows)))
    one, other = drawn(found), drawn(backwards)

    for name in STATES:
        assert sorted(spots(one, name).tolist()) == sorted(spots(other, name).tolist())


# -- Curves ------------------------------------------------------------------------------------


def test_curves_are_drawn_as_they_were_computed() -> None:
    """Lines and bands are the probabilities of the fits in per cent, by the weakest component."""
    found = granite()
    assert found.removal is not None
    assert found.damage is not None
    root = drawn(found)
    for name, fit in (("removal", found.removal), ("damage, biotite", found.damage)):
        seen = line(root, name).clip([0.3, 0], [2.0, 100])  # a rounding beyond the doses tried
        at = fit.probability(seen[:, 0])
        edges = interval(root, name)[:-1]
        low, high = edges[: len(seen), 1], edges[len(seen) :, 1][::-1]

        assert np.allclose(seen[:, 1], 100 * at.estimate, atol=0.1)
        assert np.allclose(low, 100 * at.low, atol=0.1)
        assert np.allclose(high, 100 * at.high, atol=0.1)
        assert np.allclose(edges[: len(seen), 0], seen[:, 0], rtol=1e-3)


def test_no_curve_leaves_the_doses_tried() -> None:
    """Biotite was tried up to 0.9 and quartz at 2 only: neither line says more than that."""
    found = trial(GRANITE)
    tried = {"biotite": (0.3, 0.9), "quartz": (2.0, 2.0), "hornblende": (0.3, 2.0)}
    kept = [
        row
        for row in found.rows
        if row.component in tried and tried[row.component][0] <= row.dose <= tried[row.component][1]
    ]
    some = replace(found, rows=tuple(kept))
    root, damage = drawn(some), some.damage
    assert damage is not None
    biotite, quartz = line(root, "biotite"), line(root, "quartz")
    within = biotite[:, 0].clip(0.3, 0.9)  # a rounding beyond the doses tried

    assert damage.weakest == "hornblende"
    assert np.allclose(biotite[[0, -1], 0], [0.3, 0.9], rtol=1e-3)
    expected = 100 * damage.probability(within, group="biotite").estimate
    assert np.allclose(biotite[:, 1], expected, atol=0.1)
    assert quartz[0, 0] == pytest.approx(2, rel=1e-3)
    assert quartz[-1, 0] < 2.1, "a bar as a mark, not a curve"
    assert np.allclose(line(root, "removal")[[0, -1], 0], [0.3, 2.0], rtol=1e-3)


def test_removal_counts_by_what_is_hardest_to_clean(monkeypatch: pytest.MonkeyPatch) -> None:
    """As in the window: of two stones the curve is that of the one that cleans later."""
    found = trial({"": 9.0})
    dose = DOSES * 6
    cleaned = [one > 0.35 for one in DOSES] * 3 + [one > 1.0 for one in DOSES] * 3
    removal = dose_response(dose, cleaned, ["soft"] * 24 + ["hard"] * 24)
    assert found.damage is not None
    fits = drawn_fit(removal), drawn_fit(found.damage)
    monkeypatch.setattr("heritagecheck.figures.trial_curves.drawn_fits", lambda _: fits)
    x, y = line(drawn(found), "removal").clip([0.3, 0], [2.0, 100]).T

    assert np.allclose(y, 100 * removal.probability(x, group="hard").estimate, atol=0.5)


def test_curves_hold_without_colour() -> None:
    """Line, width and filling part removal, damage and each of the other components."""
    root = drawn(granite())
    names = ("removal", "damage, biotite", "feldspar", "hornblende", "quartz")
    tinted = group(root, "removal, 95 % interval").findall(f"{SVG}path")
    hatched = group(root, "damage, biotite, 95 % interval").findall(f"{SVG}path")

    assert len({stroke(stroked(root, name)) for name in names}) == len(names)
    assert [one.attrib["fill"] == "none" for one in tinted] == [False]
    assert [one.attrib["fill"] == "none" for one in hatched] == [True, True]


def test_the_hatch_stays_within_the_interval() -> None:
    """Every stroke slants upwards, and both its ends lie between the two ends of the interval."""
    root = drawn(example("N15-pulse"))
    _, *strokes = paths(group(root, "damage, biotite, 95 % interval"))
    edges = interval(root, "damage, biotite")[:-1]
    low, high = edges[: len(edges) // 2], edges[len(edges) // 2 :][::-1]
    ends = np.concatenate(strokes)
    x, y = np.log(doses(root, ends[:, 0])), percent(root, ends[:, 1])

    assert len(strokes) > 40
    assert all(one[1, 0] >= one[0, 0] and one[1, 1] <= one[0, 1] for one in strokes)
    assert (y >= np.interp(x, np.log(low[:, 0]), low[:, 1]) - 0.1).all()
    assert (y <= np.interp(x, np.log(high[:, 0]), high[:, 1]) + 0.1).all()


def test_each_curve_is_named_at_its_end_with_its_own_stroke() -> None:
    """Names stand right of the axes from the highest curve down, each after a piece of its line."""
    root = drawn(granite())
    names = ("removal", "damage, biotite", "hornblende", "feldspar", "quartz")
    pieces = samples(root)
    heights = [lines(pieces[name].attrib["d"])[0][0, 1] for name in names]
    shares = percent(root, np.array(heights))
    right = {one.words: one for one in words(root) if one.words in names and one.x > 500}

    assert tuple(pieces) == names
    assert heights == sorted(heights)
    assert shares.min() >= -0.1
    assert shares.max() <= 100.1
    assert [stroke(one) for one in pieces.values()] == [stroke(stroked(root, n)) for n in names]
    assert np.allclose([right[name].y - 0.34 * 13 for name in names], heights, atol=0.02)
    assert spots(root, "cleaned, damaged")[:, 0].max() < min(one.x for one in right.values())


def test_what_is_asked_is_drawn_as_the_window_asks_it() -> None:
    """Hair lines lie at the shares that the window was asked for, and say them."""
    found = granite()
    assert found.window is not None
    asked = replace(found.window, removed_share=0.8, damage_limit=0.05)
    root = drawn(with_window(found, asked))

    assert line(root, "removal required")[0, 1] == pytest.approx(80, abs=0.1)
    assert line(root, "damage excluded")[0, 1] == pytest.approx(5, abs=0.1)
    assert {"removal required: 80 %", "damage of more than 5 % excluded"} <= set(said(root))


# -- Window ------------------------------------------------------------------------------------


def test_the_window_is_a_band_and_names_its_ends_alone() -> None:
    """Bands stand at the ends in both pictures; no start is drawn: work starts elsewhere."""
    found = granite()
    window = found.window
    assert window is not None
    root = drawn(found)
    bands = group(root, "tested window").findall(f"{SVG}rect")

    assert len(bands) == 2
    for band in bands:
        left, wide = (float(band.attrib[name]) for name in ("x", "width"))
        ends = doses(root, np.array([left, left + wide]))
        assert ends == pytest.approx([window.low, window.high], rel=1e-3)
    low, high = window.written
    assert [one for one in said(root) if "window" in one] == [f"tested window {low} to {high}"]


def test_a_window_beyond_the_doses_tried_ends_with_the_axis() -> None:
    """The band never runs out of the picture."""
    found = granite()
    assert found.window is not None
    root = drawn(with_window(found, replace(found.window, low=0.1)))
    band = group(root, "tested window").find(f"{SVG}rect")
    assert band is not None

    assert float(band.attrib["x"]) >= paths(group(root, "removal required"))[0][0, 0] - 0.1


@pytest.mark.parametrize(
    ("series", "reason"), [("N15-pulse", "No setting does both"), ("N06-powder", "No setting does")]
)
def test_an_empty_window_says_that_no_setting_does_both(series: str, reason: str) -> None:
    """In words, without band and setting, where the spots show as much."""
    found = example(series)
    assert found.window is not None
    assert found.window.reason.startswith(reason)
    root = drawn(found)

    assert "no setting does both" in said(root)
    assert "tested window" not in titles(root)


@pytest.mark.parametrize(
    ("cleans", "harm"), [(0.35, 1.1), (9.0, 9.0)], ids=["too few spots", "cleaned by none"]
)
def test_an_empty_window_that_more_spots_may_open_claims_less(cleans: float, harm: float) -> None:
    """Where the estimates leave room, or no dose cleaned, none is shown: not none there is."""
    found = trial({"biotite": harm}, panels=("P1",), cleans=cleans)
    assert found.window is not None
    assert found.window.empty

    assert "no setting is shown to do both" in said(drawn(found))


# -- Axes and words ----------------------------------------------------------------------------


def test_both_pictures_share_one_axis_of_settings() -> None:
    """Logarithmic, named with its unit under the lower one, a little beyond the doses tried."""
    root = drawn(granite())
    above, below = (
        paths(group(root, name))[0][:, 0] for name in ("edges of the rows", "removal required")
    )
    low, high = doses(root, below)
    up = [one.words for one in ticks(root) if one.look["text-anchor"] == "end"]

    assert above.tolist() == below.tolist()
    assert said(root).count("setting [J/cm² peak]") == said(root).count("probability [%]") == 1
    assert 0.3 / 1.25 < low < 0.3
    assert 2.0 < high < 2.0 * 1.25
    assert up == ["0", "20", "40", "60", "80", "100"]


@pytest.mark.parametrize(
    "tried",
    [(0.3, 2.0), (1.6, 3.1), (1.0, 1.01), (0.02, 0.09), (1, 10), (1, 300), (0.5, 20_000)],
)
def test_settings_are_ticked_with_plain_numbers(tried: tuple[float, float]) -> None:
    """Three to nine ticks within the axis, written as 0.3 or 1000, never as powers of ten."""
    root = drawn(trial({"": 9.0}, doses=tried, panels=("P1",), quantity="passes", unit="passes"))
    across = [one for one in ticks(root) if one.look["text-anchor"] == "middle"]
    written = [float(one.words) for one in across]
    left, right = paths(group(root, "removal required"))[0][:, 0]

    assert 3 <= len(across) <= 9
    assert all(set(one.words) <= set("0123456789.") for one in across)
    assert all(len(one.words) <= 5 for one in across)
    assert all(left <= one.x <= right for one in across)
    assert doses(root, np.array([one.x for one in across])) == pytest.approx(written, rel=1e-3)


CASES = {
    "window": granite,
    "no window": lambda: example("N15-pulse"),
    "two curves near": lambda: example("N06-powder"),
    "one spot": lambda: trial({"": 9.0}, doses=(1.0,), panels=("P1",)),
    "no damage": lambda: trial(dict.fromkeys(GRANITE, 9.0)),
    "long names": lambda: trial({f"plagioclase feldspar {n}": 1.0 + n / 4 for n in range(4)}),
}


@pytest.mark.parametrize("wider", [1.0, 1.25], ids=["our face", "a wider face"])
@pytest.mark.parametrize("case", CASES)
def test_words_lie_within_the_picture_and_off_one_another(case: str, wider: float) -> None:
    """Nothing is clipped and no word covers another, also where our face is missing."""
    root = drawn(CASES[case]())
    width, height = size(root)
    boxes = [(one.words, one.box) for one in words(root, wider)]

    for number, (name, box) in enumerate(boxes):
        assert box[0] >= -1, name
        assert box[2] <= width + 1, name
        assert box[1] >= -1, name
        assert box[3] <= height + 1, name
        for other, second in boxes[number + 1 :]:
            across = min(box[2], second[2]) - max(box[0], second[0])
            down = min(box[3], second[3]) - max(box[1], second[1])
            assert across <= 1 or down <= 2, (name, other)


def test_one_spot_is_a_bar_for_each_curve() -> None:
    """At one dose the interval stands beside it: cleaning on the left, damage on the right."""
    found = CASES["one spot"]()
    root = drawn(found)
    removal, damage = (line(root, name) for name in ("removal", "damage"))
    assert found.damage is not None

    assert removal[:, 0].max() == pytest.approx(1.0, rel=1e-3)
    assert damage[:, 0].min() == pytest.approx(1.0, rel=1e-3)
    assert np.ptp(removal[:, 1]) == np.ptp(damage[:, 1]) == 0
    share = 100 * float(found.damage.probability(1.0).estimate)
    assert damage[0, 1] == pytest.approx(share, abs=0.1)


def test_without_damage_the_doubt_is_drawn_all_the_same() -> None:
    """No spot damaged is not no risk: the band of damage reaches up to what is not excluded."""
    found = CASES["no damage"]()
    assert found.damage is not None
    root = drawn(found)
    top = interval(root, f"damage, {found.damage.weakest}")[:, 1].max()

    assert spots(root, "cleaned, damaged").size == 0
    assert top == pytest.approx(100 * float(found.damage.probability(2.0).high), abs=0.1)
    assert top > 5


def test_without_a_window_only_the_spots_are_drawn() -> None:
    """One picture, with the axis of settings named under it."""
    found = replace(granite(), answers=None, why_not="it is asked so")
    root = drawn(found)

    assert {"setting [J/cm² peak]", "0.5", "1"} <= set(said(root))
    assert len(places(root)) == len(found.rows)
    assert not {"probability [%]", "removal"} & {*said(root), *titles(root)}
    assert "how likely" not in draw_trial(found).alt


def test_a_series_without_spots_says_why() -> None:
    """The reason of the trial stands in the refusal."""
    why = "panel G-2 has 32 spots laid, 31 recorded"
    found = replace(granite(), rows=(), answers=None, why_not=why)
    with pytest.raises(ValueError, match="Spots of S can't be drawn, because panel G-2 has 32"):
        draw_trial(found)
