"""The picture of a trial series shows each spot, the curves as computed, and the window."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from matplotlib import pyplot as plt
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.colors import to_rgb
from matplotlib.lines import Line2D
from matplotlib.text import Text

import heritagecheck as hc
from heritagecheck.evidence.trials import SpotTrial, dose_response, spot_trial
from heritagecheck.figures import draw_trial
from heritagecheck.survey.records import Panel, Spot

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


@pytest.fixture(autouse=True)
def _closed_figures() -> Iterator[None]:
    """No figure outlives its test."""
    yield
    plt.close("all")


def trial(
    harms: dict[str, float],
    *,
    doses: Sequence[float] = DOSES,
    panels: Sequence[str] = PANELS,
    cleans: float = 0.35,
    each: int = 1,
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
            spots_on_panel=laid, dose=dose, dose_unit=unit, read_on="2026-06-01",
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


def line(ax: Axes, name: str) -> Line2D:
    """The one line of this name."""
    (found,) = [one for one in ax.lines if one.get_label() == name]
    return found


def band(ax: Axes, name: str) -> PolyCollection:
    """The one band of this name."""
    (found,) = [one for one in ax.collections if one.get_label() == name]
    assert isinstance(found, PolyCollection)
    return found


def words(ax: Axes) -> list[str]:
    """Words on axes, without those of ticks and legend."""
    return [text.get_text() for text in ax.texts if text.get_text()]


def rows(ax: Axes) -> list[str]:
    """Names of the rows of spots, from the top."""
    places = zip(ax.get_yticks(), ax.get_yticklabels(), strict=True)
    top_first = sorted(places, key=lambda one: one[0], reverse=not ax.yaxis_inverted())
    return [label.get_text() for _, label in top_first]


def places(ax: Axes) -> list[tuple[float, float]]:
    """Setting and height of every spot drawn."""
    return [
        (float(x), float(y)) for name in STATES for x, y in np.array(line(ax, name).get_xydata())
    ]


def stroke(one: Line2D) -> tuple[str, float]:
    """Dashes and width of a line; `get_linestyle` calls all dashes alike."""
    return str(one._unscaled_dash_pattern), one.get_linewidth()


def grey(colour: str) -> float:
    """Lightness of a colour in grey print, from 0 to 1; weights of ITU-R BT.601."""
    return float(np.dot(to_rgb(colour), (0.299, 0.587, 0.114)))


# -- Spots -------------------------------------------------------------------------------------


@pytest.mark.parametrize("series", ["N15-pulse", "N06-powder"])
def test_every_spot_stands_at_its_setting_with_what_it_showed(series: str) -> None:
    """Marks of a state lie at the settings of the spots of that state, none more, none less."""
    found = example(series)
    ax = draw_trial(found)[0]

    for name, state in STATES.items():
        recorded = Counter(row.dose for row in found.rows if (row.cleaned, row.damaged) == state)
        assert Counter(np.array(line(ax, name).get_xdata()).tolist()) == recorded
    assert len(places(ax)) == len(found.rows)


def test_marks_hold_without_colour() -> None:
    """Damage is told by shape, cleaning by filling; their greys lie a fifth of the scale apart."""
    ax = draw_trial(example("N15-pulse"))[0]
    marks = {state: line(ax, name) for name, state in STATES.items()}
    shapes = {state: mark.get_marker() for state, mark in marks.items()}
    faces = {state: grey(str(mark.get_markerfacecolor())) for state, mark in marks.items()}

    assert shapes[False, False] == shapes[True, False]
    assert shapes[False, True] == shapes[True, True]
    assert shapes[False, False] != shapes[False, True]
    assert faces[False, False] == faces[False, True] == pytest.approx(1)
    assert faces[True, True] + 0.2 < faces[True, False] < 1 - 0.2


def test_the_legend_names_the_four_marks_and_nothing_else() -> None:
    """It stands above the spots, not on them; a state that no spot has is named too."""
    ax = draw_trial(granite())[0]
    ax.figure.canvas.draw()
    legend = ax.get_legend()
    assert legend is not None

    assert [text.get_text() for text in legend.get_texts()] == list(STATES)
    assert legend.get_window_extent().y0 >= ax.get_window_extent().y1


def test_the_component_damaged_at_the_gentlest_setting_stands_on_top() -> None:
    """By hand: biotite from 1.2, hornblende from 1.5, feldspar at 2, quartz never."""
    assert rows(draw_trial(granite())[0]) == ["biotite", "hornblende", "feldspar", "quartz"]


def test_spots_without_component_make_one_row() -> None:
    """Where none is named the row says spots; where some are, the others are said to be unnamed."""
    named = example("N06-powder")
    found = replace(named, rows=tuple(row._replace(component="") for row in named.rows))
    some = replace(found, rows=(*found.rows, found.rows[0]._replace(component="calcite")))

    assert rows(draw_trial(found)[0]) == ["spots"]
    assert sorted(rows(draw_trial(some)[0])) == ["calcite", "not named"]


@pytest.mark.parametrize("each", [1, 6])
def test_no_spot_hides_another(each: int) -> None:
    """Marks at one setting stand apart, and those of a row between the lines of that row."""
    ax = draw_trial(trial(GRANITE, each=each))[0]
    points = sorted(places(ax))
    edges = [
        float(np.array(one.get_ydata())[0])
        for one in ax.lines
        if one.get_label().startswith("_child")
    ]

    assert len(set(points)) == len(points) == 3 * 4 * 8 * each
    assert len(edges) == 3
    counts = np.bincount(np.searchsorted(edges, [y for _, y in points]))
    assert counts.tolist() == [3 * 8 * each] * 4


def test_settings_close_to_one_another_do_not_overlap() -> None:
    """On one panel 0.500 and 0.505 lie nearer than a mark is wide: they stand at two heights."""
    ax = draw_trial(trial({"": 9.0}, doses=(0.3, 0.5, 0.505, 2.0), panels=("P1",)))[0]
    heights = dict(places(ax))

    assert heights[0.3] == heights[0.5] == heights[2.0] != heights[0.505]


def test_panels_lie_above_one_another_by_name() -> None:
    """In each row the spots of the first panel stand over those of the second, and are named."""
    found = example("N15-pulse")
    ax = draw_trial(found)[0]
    heights = dict.fromkeys(y for _, y in sorted(places(ax), key=lambda one: one[1]))
    named = [text for text in ax.texts if text.get_text().startswith("N15")]

    assert [text.get_text() for text in named] == ["N15-pulse-1", "N15-pulse-2"]
    assert [text.get_position()[1] for text in named] == list(heights)


def test_the_order_of_the_record_does_not_move_a_spot() -> None:
    """Rows read backwards make the same picture, state by state."""
    found = example("N15-pulse")
    backwards = replace(found, rows=tuple(reversed(found.rows)))
    one, other = draw_trial(found)[0], draw_trial(backwards)[0]

    for name in STATES:
        points, others = (np.array(line(ax, name).get_xydata()).tolist() for ax in (one, other))
        assert sorted(points) == sorted(others)


# -- Curves ------------------------------------------------------------------------------------


def test_curves_are_drawn_as_they_were_computed() -> None:
    """Lines and bands are the probabilities of the fits in per cent, by the weakest component."""
    found = granite()
    assert found.removal is not None
    assert found.damage is not None
    ax = draw_trial(found)[1]
    for name, fit in (("removal", found.removal), ("damage, biotite", found.damage)):
        x, y = np.array(line(ax, name).get_xydata()).T
        at = fit.probability(x)
        edges = band(ax, name).get_paths()[0].vertices

        assert np.allclose(y, 100 * at.estimate)
        for dose, low, high in zip(x, 100 * at.low, 100 * at.high, strict=True):
            here = edges[np.isclose(edges[:, 0], dose), 1]
            assert (here.min(), here.max()) == pytest.approx((low, high))


def test_no_curve_leaves_the_doses_tried() -> None:
    """Biotite was tried up to 0.9 and quartz at 2 only: neither line says more than that."""
    found = trial(GRANITE)
    tried = {"biotite": (0.3, 0.9), "quartz": (2.0, 2.0), "hornblende": (0.3, 2.0)}
    kept = [
        row
        for row in found.rows
        if row.component in tried and tried[row.component][0] <= row.dose <= tried[row.component][1]
    ]
    damage = dose_response(
        [row.dose for row in kept], [row.damaged for row in kept],
        [row.component for row in kept], panel=[row.panel for row in kept],
    )  # fmt: skip
    ax = draw_trial(replace(found, rows=tuple(kept), damage=damage))[1]
    others = {name: np.array(line(ax, name).get_xydata()) for name in ("biotite", "quartz")}

    assert damage.weakest == "hornblende"
    assert others["biotite"][[0, -1], 0].tolist() == [0.3, 0.9]
    assert np.allclose(
        others["biotite"][:, 1],
        100 * damage.probability(others["biotite"][:, 0], group="biotite").estimate,
    )
    assert others["quartz"][0, 0] == 2
    assert others["quartz"][-1, 0] < 2.1, "a bar as a mark, not a curve"
    assert np.array(line(ax, "removal").get_xdata())[[0, -1]].tolist() == [0.3, 2.0]


def test_removal_counts_by_what_is_hardest_to_clean() -> None:
    """As in the window: of two stones the curve is that of the one that cleans later."""
    found = trial({"": 9.0})
    dose = DOSES * 6
    cleaned = [one > 0.35 for one in DOSES] * 3 + [one > 1.0 for one in DOSES] * 3
    removal = dose_response(dose, cleaned, ["soft"] * 24 + ["hard"] * 24)
    x, y = np.array(line(draw_trial(replace(found, removal=removal))[1], "removal").get_xydata()).T

    assert np.allclose(y, 100 * removal.probability(x, group="hard").estimate, atol=0.5)


def test_curves_hold_without_colour() -> None:
    """Line, width and filling part removal, damage and each of the other components."""
    ax = draw_trial(granite())[1]
    names = ("removal", "damage, biotite", "feldspar", "hornblende", "quartz")
    lines = [line(ax, name) for name in names]

    assert len({stroke(one) for one in lines}) == len(names)
    assert band(ax, "damage, biotite").get_hatch() == "////"
    assert band(ax, "removal").get_hatch() is None


def test_each_curve_is_named_at_its_end_with_its_own_stroke() -> None:
    """Names stand right of the axes from the highest curve down, each after a piece of its line."""
    ax = draw_trial(granite())[1]
    names = ("removal", "damage, biotite", "hornblende", "feldspar", "quartz")
    texts = {text.get_text(): text for text in ax.texts}
    heights = [texts[name].get_position()[1] for name in names]
    samples = [one for one in ax.lines if one.get_label() == "_sample"]

    assert heights == sorted(heights, reverse=True)
    assert min(heights) >= 0
    assert max(heights) <= 100
    assert [stroke(one) for one in samples] == [stroke(line(ax, name)) for name in names]
    assert [one.get_ydata()[0] for one in samples] == heights


def test_what_is_asked_is_drawn_as_the_window_asks_it() -> None:
    """Hair lines lie at the shares that the window was asked for, and say them."""
    found = granite()
    assert found.window is not None
    asked = replace(found.window, removed_share=0.8, damage_limit=0.05)
    ax = draw_trial(replace(found, window=asked))[1]

    assert line(ax, "removal asked").get_ydata()[0] == 80
    assert line(ax, "damage excluded above").get_ydata()[0] == 5
    assert {"removal asked: 80 %", "damage excluded above: 5 %"} <= set(words(ax))


# -- Window ------------------------------------------------------------------------------------


def test_the_window_is_a_band_with_the_setting_in_it() -> None:
    """Band and upright line stand at the numbers of the window in both pictures, once in words."""
    found = granite()
    window = found.window
    assert window is not None
    assert window.setting is not None
    axes = draw_trial(found)
    for ax in axes:
        (span,) = [patch for patch in ax.patches if patch.get_label() == "tested window"]
        x = span.get_path().vertices[:, 0] * span.get_width() + span.get_x()

        assert (x.min(), x.max()) == pytest.approx((window.low, window.high))
        assert line(ax, "begin at").get_xdata()[0] == window.setting
    said = [text for text in words(axes[1]) if "window" in text]
    low, begin, high = window.written
    assert said == [f"tested window {low} to {high}, begin at {begin}"]


def test_a_setting_below_the_doses_tried_is_still_seen() -> None:
    """Whatever is recommended lies on the axis."""
    found = granite()
    assert found.window is not None
    axes = draw_trial(replace(found, window=replace(found.window, low=0.1, setting=0.2)))

    assert all(ax.get_xlim()[0] < 0.2 for ax in axes)


@pytest.mark.parametrize(
    ("series", "said"), [("N15-pulse", "No setting does both"), ("N06-powder", "No setting does")]
)
def test_an_empty_window_says_that_no_setting_does_both(series: str, said: str) -> None:
    """In words, without band and setting, where the spots show as much."""
    found = example(series)
    assert found.window is not None
    assert found.window.reason.startswith(said)
    axes = draw_trial(found)

    assert "no setting does both" in words(axes[1])
    assert not any(ax.patches for ax in axes)
    assert not any(one.get_label() == "begin at" for ax in axes for one in ax.lines)


@pytest.mark.parametrize(
    ("cleans", "harm"), [(0.35, 1.1), (9.0, 9.0)], ids=["too few spots", "cleaned by none"]
)
def test_an_empty_window_that_more_spots_may_open_claims_less(cleans: float, harm: float) -> None:
    """Where the estimates leave room, or no dose cleaned, none is shown: not none there is."""
    found = trial({"biotite": harm}, panels=("P1",), cleans=cleans)
    assert found.window is not None
    assert found.window.empty

    assert "no setting is shown to do both" in words(draw_trial(found)[1])


# -- Axes and words ----------------------------------------------------------------------------


def test_both_pictures_share_one_axis_of_settings() -> None:
    """Logarithmic, named with its unit under the lower one, a little beyond the doses tried."""
    above, below = draw_trial(granite())
    low, high = below.get_xlim()

    assert (above.get_xlabel(), below.get_xlabel()) == ("", "setting [J/cm²]")
    assert above.get_xscale() == below.get_xscale() == "log"
    assert above.get_xlim() == below.get_xlim()
    assert 0.3 / 1.25 < low < 0.3
    assert 2.0 < high < 2.0 * 1.25
    assert (below.get_ylim(), below.get_ylabel()) == ((0, 100), "probability [%]")
    assert (above.get_title(), below.get_title()) == ("", "")


@pytest.mark.parametrize(
    "doses",
    [(0.3, 2.0), (1.6, 3.1), (1.0, 1.01), (0.02, 0.09), (1, 10), (1, 300), (0.5, 20_000)],
)
def test_settings_are_ticked_with_plain_numbers(doses: tuple[float, float]) -> None:
    """Three to nine ticks within the axis, written as 0.3 or 1000, never as powers of ten."""
    found = trial({"": 9.0}, doses=doses, panels=("P1",), unit="pulses")
    ax = draw_trial(found)[1]
    ax.figure.canvas.draw()
    labels = [label.get_text() for label in ax.get_xticklabels()]

    assert 3 <= len(labels) <= 9
    assert [float(label) for label in labels] == ax.get_xticks().tolist()
    assert all(set(label) <= set("0123456789.") for label in labels)
    assert all(len(label) <= 5 for label in labels)
    assert min(ax.get_xticks()) >= ax.get_xlim()[0]
    assert max(ax.get_xticks()) <= ax.get_xlim()[1]
    assert not len(ax.get_xticks(minor=True))


def shown_texts(axes: list[Axes]) -> list[Text]:
    """All words of a figure that are drawn."""
    figure = axes[0].figure
    found = [text for text in figure.findobj(Text) if text.get_text() and text.get_visible()]
    return [text for text in found if text.get_window_extent().width > 0]


CASES = {
    "window": granite,
    "no window": lambda: example("N15-pulse"),
    "two curves near": lambda: example("N06-powder"),
    "one spot": lambda: trial({"": 9.0}, doses=(1.0,), panels=("P1",)),
    "no damage": lambda: trial(dict.fromkeys(GRANITE, 9.0)),
    "long names": lambda: trial({f"plagioclase feldspar {n}": 1.0 + n / 4 for n in range(4)}),
}


@pytest.mark.parametrize("width", [560, 900])
@pytest.mark.parametrize("case", CASES)
def test_words_lie_within_the_figure_and_off_one_another(case: str, width: int) -> None:
    """Nothing is clipped and no word covers another, on a page and on a small screen."""
    axes = draw_trial(CASES[case]())
    figure = axes[0].get_figure(root=True)
    assert figure is not None
    figure.set_dpi(width / figure.get_figwidth())
    figure.canvas.draw()
    boxes = [(text.get_text(), text.get_window_extent()) for text in shown_texts(axes)]

    for number, (name, box) in enumerate(boxes):
        assert box.x0 >= -1, name
        assert box.x1 <= figure.bbox.x1 + 1, name
        assert box.y0 >= -1, name
        assert box.y1 <= figure.bbox.y1 + 1, name
        for other, second in boxes[number + 1 :]:
            across = min(box.x1, second.x1) - max(box.x0, second.x0)
            up = min(box.y1, second.y1) - max(box.y0, second.y0)
            assert across <= 1 or up <= 2, (name, other)


def test_one_spot_is_a_bar_for_each_curve() -> None:
    """At one dose the interval stands beside it: cleaning on the left, damage on the right."""
    found = CASES["one spot"]()
    ax = draw_trial(found)[1]
    removal, damage = (np.array(line(ax, name).get_xydata()) for name in ("removal", "damage"))
    assert found.damage is not None

    assert removal[:, 0].max() == damage[:, 0].min() == 1.0
    assert np.ptp(removal[:, 1]) == np.ptp(damage[:, 1]) == 0
    assert damage[0, 1] == pytest.approx(100 * float(found.damage.probability(1.0).estimate))


def test_without_damage_the_doubt_is_drawn_all_the_same() -> None:
    """No spot damaged is not no risk: the band of damage reaches up to what is not excluded."""
    found = CASES["no damage"]()
    assert found.damage is not None
    axes = draw_trial(found)
    top = band(axes[1], f"damage, {found.damage.weakest}").get_paths()[0].vertices[:, 1].max()

    assert len(line(axes[0], "cleaned, damaged").get_xdata()) == 0
    assert top == pytest.approx(100 * float(found.damage.probability(2.0).high))
    assert top > 5


def test_without_a_window_only_the_spots_are_drawn() -> None:
    """One picture, with the axis of settings named under it."""
    found = replace(granite(), removal=None, damage=None, window=None, why_not="it is asked so")
    (ax,) = draw_trial(found)

    assert ax.get_xlabel() == "setting [J/cm²]"
    assert len(places(ax)) == len(found.rows)
    assert all(label.get_visible() for label in ax.get_xticklabels())


def test_a_series_without_spots_says_why() -> None:
    """The reason of the trial stands in the refusal."""
    found = replace(granite(), rows=(), removal=None, damage=None, window=None,
                    why_not="panel G-2 carries 32 spots, 31 are on record")  # fmt: skip
    with pytest.raises(ValueError, match="Spots of S can't be drawn, because panel G-2 carries 32"):
        draw_trial(found)


def test_other_axes_than_are_drawn_on_are_refused() -> None:
    """A series with a window takes two, one without takes one."""
    _, one = plt.subplots()
    with pytest.raises(ValueError, match="1 axes were given, but 2 are drawn on"):
        draw_trial(granite(), [one])


def test_pictures_are_drawn_where_they_are_asked_for() -> None:
    """Axes that are given come back, on one axis of settings though they share none."""
    figure, given = plt.subplots(2, 1)
    axes = draw_trial(granite(), list(given))
    figure.canvas.draw()
    named = [
        [label for label in ax.get_xticklabels() if label.get_visible() and label.get_text()]
        for ax in axes
    ]

    assert axes == list(given)
    assert [len(labels) > 0 for labels in named] == [False, True]
    assert math.isclose(axes[0].get_xlim()[0], axes[1].get_xlim()[0])
