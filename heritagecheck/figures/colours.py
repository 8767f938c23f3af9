"""Colours of soiled and clean stone: as swatches, and reading by reading in CIELAB."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heritagecheck.cards import Picture
from heritagecheck.evidence.colour.colour_difference import display_colour
from heritagecheck.evidence.colour.comparison import ColourDifference
from heritagecheck.evidence.colour.reading_sets import natural_outline
from heritagecheck.evidence.colour.zone_colour import ZoneColour
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.figures.svg import (
    DARK,
    GRID,
    LETTERS,
    LIGHT,
    LINE,
    MIDDLE,
    QUIET,
    Entry,
    Scale,
    element,
    group,
    key,
    mark,
    number,
    path,
    picture,
    round_ticks,
    text,
    through,
    wrapped,
    written,
)
from heritagecheck.judgement.recommendation import Recommendation

CHANNELS = ("L*", "a*", "b*")
PLANES = ((1, 2), (1, 0))
SOILED: str = "#8a4f0a"
REFERENCE: str = "#1f6f8b"
WIDTH, HIGH, LEFT, BELOW = 600.0, 200.0, 52.0, 40.0  # pixel
OUTLINE = 61  # points: at this size straight steps look like the curve
BEYOND = 0.06  # of the range of the numbers, on each side
SPREAD = "natural spread, 95 %"
BROKEN = {"stroke": REFERENCE, "stroke_width": 1.5, "stroke_dasharray": "6 3"}
FILLED = ("clean reference", "as found")
LINES = (
    Entry(SPREAD, lambda x, y: path(f"M{number(x - 10)} {number(y)}h20", **BROKEN)),
    Entry("mean, 95 %", lambda x, y: path(f"M{number(x - 10)} {number(y)}h20", stroke=QUIET)),
)
SWATCHES_WIDE, SWATCH, SWATCH_STEP, SWATCH_LETTERS = 336, 104.0, 112.0, 14  # pixel
Lab = NDArray[np.float64]


class _Marks(NamedTuple):
    """Readings of one kind, and how they look."""

    name: str
    lab: Lab
    shape: str
    size: float
    shade: str


# Readings of soiled and clean stone, the clean first, and further marks.
Shown = tuple[Sequence[_Marks], Sequence[_Marks]]


def draw_colour(
    recommendation: Recommendation, *, beside: Recommendation | None = None
) -> Picture | None:
    """
    Readings of a zone and of its clean reference, with the natural spread of the reference.

    Parameters
    ----------
    recommendation : Recommendation
        What was recommended.
    beside : Recommendation, optional
        Another zone, to whose picture this one is to be compared: the axes have room for both, so
        that both pictures have the same.

    Returns
    -------
    Picture or None
        The plane of a* and b*, and that of a* and L*, to the same scale each way. The broken line
        surrounds what 95 % of single readings of clean stone are expected to show, the thin lines
        where 95 % of such sets have their true means; an error that all readings share, as that of
        a chart, is not in them. Large marks are the means. None where no colour could be compared.
    """
    also = None if beside is None else beside.evidence.zone_colour
    return draw_zone_colour(recommendation.evidence.zone_colour, beside=also)


def draw_zone_colour(found: ZoneColour, *, beside: ZoneColour | None = None) -> Picture | None:
    """Readings of a zone as `draw_colour`, before anything is judged."""
    if found.used is None:
        return None
    also = ((), ()) if beside is None else _of_zone(beside)
    drawn = _drawn(*_of_zone(found), also)
    return replace(drawn, alt=f"{drawn.alt} {found.used}")


def _of_zone(found: ZoneColour) -> Shown:
    """Readings of a zone of which a colour could be compared, and what a photograph shows."""
    colour, photo = found.used, found.by_photograph
    if colour is None:
        return (), ()
    beside = [] if photo is None or photo is colour else _photographed(photo)
    return _sides(colour.lab_soiled, colour.lab_reference), beside


def draw_readings(
    lab_soiled: ArrayLike,
    lab_reference: ArrayLike,
    *,
    outlying: tuple[NDArray[np.bool_], NDArray[np.bool_]],
) -> Picture:
    """
    Readings of soiled and of clean stone, with the natural spread of the clean.

    As `draw_colour`; those marked as outlying lie far from the others, and are ringed.
    """
    sides = _sides(lab_soiled, lab_reference)
    return _drawn(sides, list(_outlying(outlying, sides)))


def _sides(lab_soiled: ArrayLike, lab_reference: ArrayLike) -> list[_Marks]:
    """Readings of clean and of soiled stone as they look."""
    return [
        _Marks("clean reference", np.asarray(lab_reference, dtype=float), "disc", 6, REFERENCE),
        _Marks("as found", np.asarray(lab_soiled, dtype=float), "triangle", 6.5, SOILED),
    ]


def _drawn(sides: Sequence[_Marks], more: Sequence[_Marks], also: Shown = ((), ())) -> Picture:
    """Both planes with their key; the axes hold the readings of another picture also."""
    entries, top = key([*LINES, *map(_entry, [*sides, *more])], WIDTH)
    drawn = [
        _plane(sides, more, also, plane, LEFT + WIDTH / 2 * place, top + 8)
        for place, plane in enumerate(PLANES)
    ]
    return picture(
        WIDTH, top + 8 + HIGH + BELOW,
        "Readings of soiled and of clean stone, and the natural spread of the clean, in the planes "
        "of a* and b* and of a* and L*.",
        entries, *drawn,
    )  # fmt: skip


def _plane(
    sides: Sequence[_Marks], more: Sequence[_Marks], also: Shown, plane: tuple[int, int],
    left: float, top: float,
) -> str:  # fmt: skip
    """Two channels against one another: lines, readings, means, what is marked on top of them."""
    outline = natural_outline(sides[0].lab, plane, OUTLINE)
    regions = [_region(side, plane) for side in sides]
    points = [*_extent(sides, more, plane), *_extent(*also, plane)]
    across, up = _fitted(np.concatenate(points), left, top)
    drawn = [
        _axes(across, up, plane),
        group(SPREAD, path(through(outline, across, up, closed=True), **BROKEN)),
    ]
    for side, region in zip(sides, regions, strict=True):
        ring = path(through(region, across, up, closed=True), stroke=side.shade)
        mean = side._replace(lab=side.lab.mean(axis=0, keepdims=True), size=11)
        drawn += [
            _readings(side, across, up, plane, fill=side.shade, fill_opacity=0.6),
            group(f"mean of {side.name}, 95 %", ring),
            _readings(mean._replace(name=f"mean of {side.name}"), across, up, plane,
                      fill=side.shade, stroke=LIGHT),
        ]  # fmt: skip
    drawn += [_readings(one, across, up, plane, stroke=one.shade) for one in more]
    return element("g", *drawn)


def _extent(
    sides: Sequence[_Marks], more: Sequence[_Marks], plane: tuple[int, int]
) -> Iterator[Lab]:
    """All that a picture of these marks has to have room for."""
    if sides:
        yield natural_outline(sides[0].lab, plane, OUTLINE)
    yield from (_region(side, plane) for side in sides)
    yield from (one.lab[:, plane] for one in (*sides, *more))


def _region(side: _Marks, plane: tuple[int, int]) -> Lab:
    """Line around where 95 % of such sets of readings have their true mean."""
    outline = natural_outline(side.lab, plane, OUTLINE)
    # The region of a mean is the prediction region of a single reading, drawn in by this much.
    mean = side.lab[:, plane].mean(axis=0)
    return np.asarray(mean + (outline - mean) / np.sqrt(len(side.lab) + 1))


def _fitted(points: Lab, left: float, top: float) -> tuple[Scale, Scale]:
    """Scales of both channels, alike each way, that hold all points."""
    low, high = points.min(axis=0), points.max(axis=0)
    room = np.array([WIDTH / 2 - LEFT - 14, HIGH])
    per_pixel = float(((high - low) * (1 + 2 * BEYOND) / room).max()) or 1.0
    low, high = (low + high - per_pixel * room) / 2, (low + high + per_pixel * room) / 2
    return (
        Scale(float(low[0]), float(high[0]), left, left + float(room[0])),
        Scale(float(low[1]), float(high[1]), top + HIGH, top),
    )


def _axes(across: Scale, up: Scale, plane: tuple[int, int]) -> str:
    """Grid with its numbers and the name of each channel."""
    x_ticks = [(across(value), value) for value in round_ticks(across.low, across.high)]
    y_ticks = [(up(value), value) for value in round_ticks(up.low, up.high)]
    lines = "".join(f"M{number(x)} {number(up.end)}V{number(up.start)}" for x, _ in x_ticks)
    lines += "".join(
        f"M{number(across.start)} {number(y)}H{number(across.end)}" for y, _ in y_ticks
    )
    edge = f"M{number(across.start)} {number(up.end)}V{number(up.start)}H{number(across.end)}"
    foot = up.start + LETTERS + 3
    return element(
        "g", path(lines, stroke=GRID), path(edge, stroke=LINE),
        element("g", *(text(x, foot, written(value)) for x, value in x_ticks),
                text((across.start + across.end) / 2, foot + 17, CHANNELS[plane[0]], fill=DARK),
                fill=QUIET, text_anchor="middle"),
        element("g", *(text(across.start - 5, y + MIDDLE * LETTERS, written(value))
                       for y, value in y_ticks), fill=QUIET, text_anchor="end"),
        text(across.start - LEFT + 4, (up.start + up.end) / 2, CHANNELS[plane[1]]),
    )  # fmt: skip


def _readings(
    marks: _Marks, across: Scale, up: Scale, plane: tuple[int, int], **look: object
) -> str:
    """Marks of one kind at their readings."""
    places = marks.lab[:, plane].tolist()
    steps = "".join(mark(marks.shape, across(x), up(y), marks.size) for x, y in places)
    return group(marks.name, path(steps, **look))


def _entry(marks: _Marks) -> Entry:
    """What marks of one kind look like, for the key."""
    filled = {"fill": marks.shade} if marks.name in FILLED else {"stroke": marks.shade}
    return Entry(marks.name, lambda x, y: path(mark(marks.shape, x, y, marks.size), **filled))


def _outlying(
    outlying: tuple[NDArray[np.bool_], NDArray[np.bool_]], sides: Sequence[_Marks]
) -> Iterator[_Marks]:
    """Rings around readings that lie far from the others of their side."""
    marked = [side.lab[where] for side, where in zip(reversed(sides), outlying, strict=True)]
    points = np.concatenate(marked)
    if len(points):
        yield _Marks("outlying, still counted", points, "disc", 13, DARK)


def _photographed(photo: ColourDifference) -> list[_Marks]:
    """Colours that a photograph shows of the same stone, smaller and hollow."""
    return [
        _Marks("as found, photograph", photo.lab_soiled, "square", 6, SOILED),
        _Marks("clean, photograph", photo.lab_reference, "diamond", 6, REFERENCE),
    ]


def draw_swatches(evidence: ZoneEvidence) -> Picture:
    """Swatches of the soiled zone, its clean reference, and the appearance agreed."""
    code, colour = evidence.zone.zone, evidence.colour
    if colour is None:
        note = evidence.colour_note or "colour was not measured"
        lines = wrapped(f"No swatches: {note}.", SWATCHES_WIDE)
        said = [text(0, 16 + 18 * place, words) for place, words in enumerate(lines)]
        alt = f"No swatches for {code}: {note}"
        return picture(SWATCHES_WIDE, 18 * len(lines) + 6, alt, *said)
    agreed = evidence.finding("agreed_appearance")
    patches = [
        ("as found", colour.mean_soiled),
        ("clean reference", colour.mean_reference),
    ]
    if agreed is not None:
        today = agreed == "as_today"
        patches.append(("agreed", colour.mean_soiled if today else colour.mean_reference))
    parts = []
    for place, (name, lab) in enumerate(patches):
        x = SWATCH_STEP * place
        numbers = "  ".join(
            f"{channel}* {value:.0f}" for channel, value in zip("Lab", lab, strict=True)
        )
        parts += [
            element(
                "rect", x=x, y=0, width=SWATCH, height=44, fill=display_colour(lab), stroke=LINE
            ),
            text(x, 61, name),
            text(x, 79, numbers, fill=QUIET),
        ]
    return picture(
        SWATCHES_WIDE, 84, f"Swatches of {code}. {colour}",
        element("g", *parts, font_size=SWATCH_LETTERS),
    )  # fmt: skip
