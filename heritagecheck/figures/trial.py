"""Spots of one series of trial panels, what they say of removal and damage, and the window."""

from __future__ import annotations

import math
from collections.abc import Callable
from textwrap import fill
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from heritagecheck.evidence.trials import DoseResponse, SpotTrial, Window
from heritagecheck.figures.colours import REFERENCE
from heritagecheck.figures.photograph import DARK, LIGHT, UNSEEN
from heritagecheck.figures.svg import GRID

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from heritagecheck.evidence.spot_trial import SpotRead

CLEAN, HARM, QUIET, LEADER = REFERENCE, "#8c1c13", "#5b574e", "#8b877e"
# A triangle is damaged, a full mark is cleaned; in grey print white, middle grey and near black.
MARKS = {
    (False, False): ("still soiled, sound", "o", DARK, LIGHT),
    (False, True): ("still soiled, damaged", "^", HARM, LIGHT),
    (True, False): ("cleaned, sound", "o", CLEAN, "#5fa3bb"),
    (True, True): ("cleaned, damaged", "^", HARM, HARM),
}
LARGEST_MARK, SMALLEST_MARK, NAME_PITCH = 6.5, 3.0, 8.0  # points
TRIANGLE = 1.15  # times as large as a disc, so that it looks as large
WORDS = 0.32, 9.0  # room of a name on a hair line: part of the axis of settings, per cent
MARK_APART = 0.022  # of the axis of settings: a mark is as wide
STROKES = ((0, (1, 1.5)), (0, (7, 2)), (0, (7, 2, 1.5, 2)), (0, (3, 1.5)))
# Doses to draw a curve through: few at first, then more where it rises by more than this many
# per cent from one to the next, so often. Each dose takes some milliseconds a component.
FIRST_DOSES, STEEP, LOOKS = 20, 8.0, 3
BEYOND = 0.06  # of the range of doses, on each side
LEAST_RANGE = 1.5  # highest over lowest end, so that there is something to tick
BAR = 1.04  # width of what stands for a curve where one dose was tried, as a ratio
# Round numbers to tick between 1 and 10, from far apart to close.
STEPS = (
    (1.0,),
    (1.0, 3.0),
    (1.0, 2.0, 5.0),
    (1.0, 1.5, 2.0, 3.0, 5.0, 7.0),
    (1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0),
    (1.0, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7, 1.8, 1.9, 2.0, 2.2, 2.4, 2.6, 2.8, 3.0, 3.2, 3.4,
     3.6, 3.8, 4.0, 4.2, 4.4, 4.6, 4.8, 5.0, 5.5, 6.0, 6.5, 7.0, 7.5, 8.0, 8.5, 9.0, 9.5),
)  # fmt: skip
TICKS = 6
FloatArray = NDArray[np.float64]


class _Row(NamedTuple):
    """Spots on one component with their heights, and the room that they take."""

    name: str
    spots: list[SpotRead]
    places: list[int]
    middles: dict[str, float]
    top: int
    height: int


class _Curve(NamedTuple):
    """Probability at the doses it is drawn for, with its ends."""

    dose: FloatArray
    estimate: FloatArray
    low: FloatArray
    high: FloatArray


class _Style(NamedTuple):
    """How a curve looks, and its name."""

    name: str
    colour: str
    stroke: Any
    width: float


def draw_trial(found: SpotTrial, axes: list[Axes] | None = None) -> list[Axes]:
    """
    Spots of one series at their settings, above the curves and the window read from them.

    Parameters
    ----------
    found : SpotTrial
        As `heritagecheck.trials.spot_trial` gives it.
    axes : list of matplotlib Axes, optional
        Where to draw: two above one another, or one where the series has no window.

    Returns
    -------
    list of matplotlib Axes
        First every spot: a row for each component under the spots, that with the gentlest damage
        at the top; within a row the panels lie above one another, so that height there is no
        number. Then the share of spots cleaned and damaged with their 95 % intervals, over panels
        like those tried. The heavy line of damage takes the most endangered component at each
        setting, as the window does, and bears the name of the weakest. The band is the tested
        window. The upright line is the setting to begin at. No curve runs beyond the doses tried.

    Raises
    ------
    ValueError
        The series has no spot to draw, or `axes` are not as many as there are to be.

    Examples
    --------
    >>> import heritagecheck as hc
    >>> from heritagecheck.survey.records import Panel, Spot
    >>> survey = hc.demo_survey()
    >>> panels = [one for one in survey.all(Panel) if one.series == "N15-pulse"]
    >>> above, below = draw_trial(hc.trials.spot_trial(panels, survey.all(Spot)))
    >>> below.get_xlabel()
    'setting [J/cm² peak]; curves for 8 pulses or passes a spot, dry surface'
    """
    if not found.rows:
        raise ValueError(f"Spots of {found.series} can't be drawn, because {found.why_not}.")
    limits = _limits(found)
    rows = _rows(found, limits)
    axes = _axes(found, rows, axes)
    _draw_spots(axes[0], rows)
    if found.window is not None and found.removal is not None and found.damage is not None:
        _draw_window(axes, found.window, found.removal.highest_dose, limits)
        curves = _draw_curves(axes[1], found.removal, found.damage)
        _draw_asked(axes[1], found.window, curves, limits)
        if found.used is not None:
            _draw_used(axes[1], found.used)
    _draw_scale(axes, found, limits)
    return axes


# -- Settings, shared by both ------------------------------------------------------------------


def _axes(found: SpotTrial, rows: list[_Row], axes: list[Axes] | None) -> list[Axes]:
    """Axes to draw on: those given, or new ones, the upper as high as its rows need."""
    import matplotlib.pyplot as plt

    asked = 1 if found.window is None else 2
    if axes is None:
        _, drawn = plt.subplots(
            asked, sharex=True, squeeze=False, figsize=(7.2, 6.0 if asked == 2 else 3.2),
            height_ratios=[_share_above(rows), 1][:asked], layout="constrained",
        )  # fmt: skip
        axes = list(drawn[:, 0])
    if len(axes) != asked:
        raise ValueError(f"{len(axes)} axes were given, but {asked} are drawn on.")
    return axes


def _share_above(rows: list[_Row]) -> float:
    """Height of the upper picture, that of the lower being 1."""
    return min(max(sum(row.height for row in rows) / 14, 0.3), 1.1)


def trial_heights(found: SpotTrial) -> list[float]:
    """
    Heights of the axes of `draw_trial`, for a page that makes its own.

    Parameters
    ----------
    found : SpotTrial
        Spots of one series; at least one.

    Returns
    -------
    list of float
        One for each of the axes; only their ratio counts.
    """
    above = _share_above(_rows(found, _limits(found)))
    return [above] if found.window is None else [above, 1.0]


def _limits(found: SpotTrial) -> tuple[float, float]:
    """Ends of the axis of settings: all that were tried or are recommended, and a little more."""
    shown = [row.dose for row in found.rows]
    if found.window is not None and found.window.setting is not None:
        shown.append(found.window.setting)
    low, high = min(shown), max(shown)
    more = max((high / low) ** BEYOND, math.sqrt(LEAST_RANGE * low / high))
    return low / more, high * more


def _draw_scale(axes: list[Axes], found: SpotTrial, limits: tuple[float, float]) -> None:
    """One logarithmic axis of settings, named under the lowest picture."""
    ticks = _ticks(limits)
    for ax in axes:
        ax.set(xscale="log", xlim=limits)
        ax.set_xticks(ticks, [np.format_float_positional(tick, trim="-") for tick in ticks])
        ax.set_xticks([], minor=True)
        ax.tick_params(labelbottom=ax is axes[-1])
        ax.spines[["top", "right"]].set_visible(False)
    label = f"setting [{found.dose_unit}]" if found.dose_unit else "setting"
    axes[-1].set_xlabel(f"{label}; curves for {found.conditions}" if found.conditions else label)


def _ticks(limits: tuple[float, float]) -> list[float]:
    """Round numbers between two ends, about as many as can be read beside one another."""
    powers = range(math.floor(math.log10(limits[0])), math.floor(math.log10(limits[1])) + 1)
    # By way of its digits: 3 times 0.1 would be 0.30000000000000004.
    every = [[float(f"{step}e{power}") for power in powers for step in steps] for steps in STEPS]
    within = [[tick for tick in ticks if limits[0] <= tick <= limits[1]] for ticks in every]
    return min(within, key=lambda ticks: abs(len(ticks) - TICKS))


# -- Spots -------------------------------------------------------------------------------------


def _rows(found: SpotTrial, limits: tuple[float, float]) -> list[_Row]:
    """One row for each component, that with the gentlest damage first."""
    panels = sorted({spot.panel for spot in found.rows})
    apart = MARK_APART * math.log(limits[1] / limits[0])
    named = any(spot.component for spot in found.rows)
    kinds: dict[str, list[SpotRead]] = {}
    for spot in sorted(found.rows, key=lambda one: (one.dose, one.damaged, one.cleaned)):
        kinds.setdefault(spot.component, []).append(spot)
    rows, top = [], 0
    for name in sorted(kinds, key=lambda kind: _first_damage(kinds[kind])):
        places, middles, height = _places(kinds[name], panels, apart)
        rows.append(
            _Row(
                name or ("not named" if named else "spots"), kinds[name],
                [top + place for place in places],
                {panel: top + middle for panel, middle in middles.items()}, top, height,
            )
        )  # fmt: skip
        top += height + 1
    return rows


def _first_damage(spots: list[SpotRead]) -> tuple[float, float, str]:
    """Gentlest setting that damaged, then the larger share damaged, then the name."""
    hit = [spot.dose for spot in spots if spot.damaged]
    return min(hit, default=math.inf), -len(hit) / len(spots), spots[0].component


def _places(
    spots: list[SpotRead], panels: list[str], apart: float
) -> tuple[list[int], dict[str, float], int]:
    """Lane of each spot so that no two meet, middle of each panel's lanes, how many lanes."""
    lanes, middles, first = [0] * len(spots), {}, 0
    for panel in panels:
        ends: list[float] = []
        for number, spot in enumerate(spots):
            if spot.panel != panel:
                continue
            x = math.log(spot.dose)
            free = [lane for lane, end in enumerate(ends) if x - end >= apart]
            lane = free[0] if free else len(ends)
            ends[lane : lane + 1] = [x]
            lanes[number] = first + lane
        middles[panel] = first + (max(len(ends), 1) - 1) / 2
        first += max(len(ends), 1)
    return lanes, middles, first


def _draw_spots(ax: Axes, rows: list[_Row]) -> None:
    """Every spot at its setting, with what it showed as a mark."""
    bottom = rows[-1].top + rows[-1].height
    pitch = _height(ax) / (bottom + 1)
    size = min(max(0.95 * pitch, SMALLEST_MARK), LARGEST_MARK)
    key = []
    for state, (name, mark, edge, face) in MARKS.items():
        points = [
            (spot.dose, place)
            for row in rows
            for spot, place in zip(row.spots, row.places, strict=True)
            if (spot.cleaned, spot.damaged) == state
        ]
        key += ax.plot(
            [x for x, _ in points], [y for _, y in points], mark, label=name,
            markersize=size * (TRIANGLE if state[1] else 1), markeredgecolor=edge,
            markerfacecolor=face, zorder=3 + state[1],
        )  # fmt: skip
    for row in rows[1:]:
        ax.axhline(row.top - 1, color=GRID, linewidth=0.8, zorder=1)
    middles = rows[0].middles
    if pitch * min(np.diff(list(middles.values())), default=math.inf) > NAME_PITCH:
        for panel, y in middles.items():
            ax.text(1.02, y, panel, transform=ax.get_yaxis_transform(), va="center_baseline",
                    fontsize="small", color=QUIET)  # fmt: skip
    ax.set_yticks(
        [row.top + (row.height - 1) / 2 for row in rows], [fill(row.name, 16) for row in rows]
    )
    ax.tick_params(axis="y", length=0)
    ax.set_ylim(bottom, -1)
    ax.legend(
        handles=key, loc="lower left", bbox_to_anchor=(0, 1), ncols=2, frameon=False,
        borderaxespad=0.2, handletextpad=0.2,
    )  # fmt: skip


# -- Window and curves -------------------------------------------------------------------------


def _draw_window(
    axes: list[Axes], window: Window, highest_removal: float, limits: tuple[float, float]
) -> None:
    """Band of the tested window in both pictures, and where to begin; or that there is none."""
    if window.setting is None:
        # Only where the spots say so; else they leave open whether one would.
        reached = window.low <= highest_removal
        known = window.margin_high < 1 or (reached and window.margin <= 1)
        words = "no setting does both" if known else "no setting is shown to do both"
        where = math.sqrt(limits[0] * limits[1])
    else:
        low, setting, high = window.written
        words = f"tested window {low} to {high}, begin at {setting}"
        where = window.setting
        for ax in axes:
            ax.axvspan(max(window.low, limits[0]), min(window.high, limits[1]), zorder=0,
                       facecolor=UNSEEN, edgecolor="none", label="tested window")  # fmt: skip
            ax.axvline(window.setting, color=DARK, linewidth=1.4, zorder=2, label="begin at")
    share = math.log(where / limits[0]) / math.log(limits[1] / limits[0])
    axes[1].annotate(
        words, (where, 1), (0, 3), xycoords=axes[1].get_xaxis_transform(),
        textcoords="offset points", ha="left" if share < 0.3 else "right" if share > 0.7
        else "center", va="bottom", color=DARK, annotation_clip=False,
    )  # fmt: skip


def _draw_curves(ax: Axes, removal: DoseResponse, damage: DoseResponse) -> list[_Curve]:
    """Both curves with their bands, the other components as thin lines, named at the right."""
    # As the window: removal by what is hardest to clean, damage by what is most endangered.
    cleans, harms = _curves(removal), _curves(damage)
    weakest = f"damage, {damage.weakest}" if damage.weakest else "damage"
    drawn = [
        (_bar(_across(cleans, np.min), -1), _Style("removal", CLEAN, "-", 2.0)),
        (_bar(_across(harms, np.max), 1), _Style(weakest, HARM, "--", 2.0)),
    ]
    _draw_band(ax, *drawn[0], alpha=0.22)
    _draw_band(ax, *drawn[1], alpha=0.4, facecolor="none", hatch="////")
    if damage.weakest:
        others = [one for one in damage.groups if one.group != damage.weakest]
        for number, one in enumerate(others):
            style = _Style(one.group, HARM, STROKES[number % len(STROKES)], 1.0)
            tried = _within(harms[one.group], one.lowest_dose, one.highest_dose)
            drawn.append((_bar(tried, 1), style))
    for curve, style in drawn:
        _draw_line(ax, curve, style)
    _name_curves(ax, drawn)
    ax.set(ylim=(0, 100), ylabel="probability [%]")
    ax.grid(axis="y", color=GRID, linewidth=0.6)
    return [curve for curve, _ in drawn]


def _curves(fit: DoseResponse) -> dict[str, _Curve]:
    """Curve of each group over all doses tried, the ends of every group among them."""
    ends = [dose for one in fit.groups for dose in (one.lowest_dose, one.highest_dose)]
    # Even steps would miss the outermost doses by their last digit.
    even = np.geomspace(fit.lowest_dose, fit.highest_dose, FIRST_DOSES)[1:-1]
    new = np.unique([*ends, *even] if min(ends) < max(ends) else ends)
    found = np.empty((len(fit.groups), len(_Curve._fields), 0))
    for _ in range(LOOKS):
        found = np.concatenate([found, _at(fit, new)], axis=2)
        found = found[:, :, np.argsort(found[0, 0])]
        dose = found[0, 0]
        rise = np.diff(found[:, 1:], axis=2).max(axis=(0, 1), initial=0)
        new = np.sqrt(dose[1:] * dose[:-1])[rise > STEEP]
    return {one.group: _Curve(*values) for one, values in zip(fit.groups, found, strict=True)}


def _at(fit: DoseResponse, dose: FloatArray) -> FloatArray:
    """Dose, estimate, low and high of each group in per cent, group by group."""
    found = [fit.probability(dose, group=one.group) for one in fit.groups]
    return np.array(
        [(dose, 100 * at.estimate, 100 * at.low, 100 * at.high) for at in found], dtype=float
    )


def _across(curves: dict[str, _Curve], reach: Callable[..., FloatArray]) -> _Curve:
    """Curve of the group that counts at each dose: the lowest of all, or the highest."""
    every = np.array(list(curves.values()))
    return _Curve(*reach(every, axis=0))


def _within(curve: _Curve, low: float, high: float) -> _Curve:
    """Part of a curve between two doses."""
    here = (curve.dose >= low) & (curve.dose <= high)
    return _Curve(*(values[here] for values in curve))


def _bar(curve: _Curve, side: int) -> _Curve:
    """Curve as it is; of a single dose a bar on one side of it, so that two stand side by side."""
    if curve.dose.size > 1:
        return curve
    dose = np.sort(np.append(curve.dose, curve.dose * BAR**side))
    return _Curve(dose, *(np.repeat(values, 2) for values in curve[1:]))


def _draw_band(ax: Axes, curve: _Curve, style: _Style, **look: Any) -> None:
    """Interval at each dose."""
    ax.fill_between(
        curve.dose, curve.low, curve.high, label=style.name, color=style.colour, zorder=1,
        linewidth=0, **look,
    )  # fmt: skip


def _draw_line(ax: Axes, curve: _Curve, style: _Style) -> None:
    """Estimate at each dose."""
    ax.plot(
        curve.dose, curve.estimate, color=style.colour, linestyle=style.stroke,
        linewidth=style.width, label=style.name, zorder=3, clip_on=False,
    )  # fmt: skip


def _name_curves(ax: Axes, named: list[tuple[_Curve, _Style]]) -> None:
    """Name of each curve right of it with a piece of its line, apart where they would meet."""
    named = sorted(named, key=lambda one: (-one[0].estimate[-1], -one[0].estimate.mean()))
    ends = [float(curve.estimate[-1]) for curve, _ in named]
    across = ax.get_yaxis_transform()
    for (curve, style), end, y in zip(named, ends, _apart(ends, _least_gap(ax)), strict=True):
        ax.annotate(
            "", (curve.dose[-1], end), (1.015, y), textcoords=across, annotation_clip=False,
            arrowprops={"arrowstyle": "-", "linewidth": 0.5, "color": LEADER, "shrinkA": 0,
                        "shrinkB": 1},
        )  # fmt: skip
        ax.plot(
            [1.015, 1.065], [y, y], transform=across, color=style.colour, linestyle=style.stroke,
            linewidth=style.width, clip_on=False, label="_sample",
        )  # fmt: skip
        ax.text(1.075, y, style.name, transform=across, color=style.colour,
                va="center_baseline")  # fmt: skip


def _draw_asked(
    ax: Axes, window: Window, curves: list[_Curve], limits: tuple[float, float]
) -> None:
    """Hair lines at what is asked of removal and at the limit of damage, named where it is free."""
    for name, share, shade in (
        ("removal asked", window.removed_share, CLEAN),
        ("damage excluded above", window.damage_limit, HARM),
    ):
        y = 100 * share
        ax.axhline(y, color=shade, linewidth=0.7, zorder=1, label=name)
        ax.annotate(
            f"{name}: {y:g} %", (_free_place(curves, y, limits, window.setting), y), (3, 1.5),
            color=shade, xycoords=ax.get_yaxis_transform(), textcoords="offset points",
            fontsize="small", va="bottom", zorder=5,
            bbox={"facecolor": LIGHT, "alpha": 0.75, "edgecolor": "none", "pad": 0.5},
        )  # fmt: skip


def _draw_used(ax: Axes, used: tuple[float, float]) -> None:
    """Bar at the foot over the setting of the panels themselves."""
    ax.plot(used, (0, 0), color=DARK, linewidth=5, solid_capstyle="butt", clip_on=False,
            label="setting of the panels", zorder=6)  # fmt: skip
    ax.annotate(
        "panels", (math.sqrt(used[0] * used[1]), 0), (0, 4), textcoords="offset points",
        ha="center", va="bottom", fontsize="small", color=DARK, zorder=6,
        bbox={"facecolor": LIGHT, "alpha": 0.75, "edgecolor": "none", "pad": 0.5},
    )  # fmt: skip


def _free_place(
    curves: list[_Curve], bottom: float, limits: tuple[float, float], setting: float | None
) -> float:
    """Where along a hair line its name meets the fewest lines, as a part of the axes."""
    low, high = np.log(limits)
    upright = None if setting is None else (math.log(setting) - low) / (high - low)

    def met(start: float) -> int:
        x = low + np.linspace(start, start + WORDS[0], 50) * (high - low)
        heights = np.array(
            [np.interp(x, np.log(one.dose), one.estimate, np.nan, np.nan) for one in curves]
        )
        crossed = upright is not None and start <= upright <= start + WORDS[0]
        return int(((heights >= bottom) & (heights <= bottom + WORDS[1])).sum()) + 25 * crossed

    return min((0.0, 0.22, 0.44, 0.66), key=met)


def _apart(wanted: list[float], gap: float) -> list[float]:
    """Heights from 0 to 100, falling, near those wanted and at least a gap apart."""
    gap = min(gap, 100 / max(len(wanted) - 1, 1))
    found: list[float] = []
    for number, y in enumerate(wanted):
        room = gap * (len(wanted) - 1 - number)
        found.append(min(max(y, room), found[-1] - gap if found else 100.0))
    return found


def _least_gap(ax: Axes) -> float:
    """Height of a line of text, in per cent of the axes."""
    from matplotlib import rcParams

    return 100 * 1.3 * float(rcParams["font.size"]) / _height(ax)


def _height(ax: Axes) -> float:
    """Points that axes are high, before the words around them take their room."""
    return float(ax.get_window_extent().height * 72 / ax.figure.dpi)
