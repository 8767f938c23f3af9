"""Lines of a zone's page: what was measured, what is ruled out, its layers, its photographs."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from markupsafe import Markup

from heritagecheck.cards import Picture
from heritagecheck.documents.page_templates import drawn
from heritagecheck.evidence.measured_values import MeasuredValue
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.figures.photo_frame import image, photographed, reduced
from heritagecheck.figures.svg import picture
from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.sentences import LEAST_SHARE, day_in_words, lower_bound, rounded_down, rounded_up
from heritagecheck.survey.instruments.photo_file import open_photograph
from heritagecheck.survey.records import Attachment, Panel, Photo
from heritagecheck.survey.survey import Survey
from heritagecheck.tables.row_types import Soiling


@dataclass(frozen=True, slots=True)
class Measured:
    """One line of the evidence: what was measured, what came out, how sure, how often."""

    what: str
    series: str
    value: str
    span: str
    unit: str
    count: str
    records: str

    @property
    def quantity(self) -> str:
        """What was measured, and on which series."""
        return f"{self.what}, {self.series}" if self.series else self.what


def measured(values: Iterable[MeasuredValue]) -> list[Measured]:
    """What was measured on a zone as lines for a page; like tests share one line."""
    grouped: dict[str, list[MeasuredValue]] = {}
    for row in values:
        grouped.setdefault(row.quantity, []).append(row)
    return [_line(group) for group in grouped.values()]


def _line(group: list[MeasuredValue]) -> Measured:
    """One line for like rows."""
    first = group[0]
    value, span = (_written(first, first.mean), _span(first)) if len(group) == 1 else _range(group)
    return Measured(
        first.what, first.series, value,
        f"{100 * first.level:.0f} %: {span}" if span and first.level is not None else span,
        "" if first.unit == "1" else first.unit,
        first.count if len(group) == 1 else f"{len(group)} tests",
        "; ".join(", ".join(row.records) for row in group),
    )  # fmt: skip


def _range(group: list[MeasuredValue]) -> tuple[str, str]:
    """From the least value to the greatest; and as far as their spreads reach, where it is more."""
    values = sorted(row.mean for row in group if row.mean is not None)
    low = min([*values, *(row.low for row in group if row.low is not None)])
    high = max([*values, *(row.high for row in group if row.high is not None)])
    least, most = f"{values[0]:.3g}", f"{values[-1]:.3g}"
    return (
        f"{least} to {most}" if values[0] != values[-1] else least,
        "" if (low, high) == (values[0], values[-1]) else f"{low:.3g} to {high:.3g}",
    )


def _written(
    row: MeasuredValue, value: float | None, rounded: Callable[[float], float] = float
) -> str:
    """Write one number of a row; shares of fields and spots in per cent, as they are spoken of."""
    if value is None:
        return ""
    if not row.counted:
        return f"{value:.3g}"
    # Of next to no spots no digits: the curve has none there. Bounds are rounded to their side.
    if 0 < value <= LEAST_SHARE:
        return "at most 0.1 %"
    return f"{float(f'{rounded(100 * value):.2g}'):g} %"


def _span(row: MeasuredValue) -> str:
    """Range of a row in words."""
    if row.high is None:
        return ""
    if math.isinf(row.high):
        return "" if row.low is None else f"at least {lower_bound(row.low)}, no upper end found"
    upper = _written(row, row.high, rounded_up)
    if row.low is None:
        return upper if row.counted and 0 < row.high <= LEAST_SHARE else f"up to {upper}"
    lower = _written(row, row.low, rounded_down)
    return f"{lower.removesuffix(' %') if row.counted else lower} to {upper}"


@dataclass(frozen=True, slots=True)
class RuledOut:
    """Methods that one rule takes out."""

    rule: str
    hard: bool
    methods: tuple[str, ...]
    reason: str
    source: str


def ruled_out(recommendation: Recommendation) -> list[RuledOut]:
    """Methods ruled out on a zone, each under its leading rule, hard stops first."""
    found: dict[tuple[bool, str, str, str], list[str]] = {}
    for method, stops in recommendation.ruled_out.items():
        stop = min(stops, key=lambda stop: (not stop.hard, stop.rule))
        key = (not stop.hard, stop.rule, stop.reason, stop.source_id)
        found.setdefault(key, []).append(method)
    return [
        RuledOut(rule, not soft, tuple(methods), reason, source)
        for (soft, rule, reason, source), methods in sorted(
            found.items(), key=lambda item: (item[0][0], _rank(item[0][1]), item[0])
        )
    ]


def _rank(rule: str) -> int:
    """Sort key of a rule among its kind: HS2 comes before HS11."""
    return int(re.sub(r"\D", "", rule) or 0)


def layer_names(evidence: ZoneEvidence) -> list[tuple[str, Any]]:
    """Layers of a zone by the names of the trade."""
    return [(Soiling.named(layer.soiling).name, layer) for layer in evidence.layers]


def undescribed_names(evidence: ZoneEvidence) -> list[str]:
    """Soilings observed without a layer record, by the names of the trade."""
    return [Soiling.named(code).name for code in evidence.undescribed]


# -- Photographs of a zone and of its panels, as small as a page needs them ------------------------

MOST = 4
WIDTH = 360.0  # pixel
SIDE = 900  # pixels of a photograph that a page carries
EIGHT_BITS = 8


@dataclass(frozen=True, slots=True)
class Shown:
    """A photograph on a page with its caption; if it cannot be shown, why."""

    picture: Markup | None
    words: str


def photographs(survey: Survey, zone: str, *, paper: bool = False) -> tuple[list[Shown], int]:
    """Photographs of a zone and of its panels."""
    boards = {photo.board for photo in survey.all(Photo)}
    panels = {panel.panel for panel in survey.of_zone(zone, Panel)}
    every = [
        one
        for one in survey.all(Attachment)
        if one.kind == "photograph" and one.attachment not in boards
        and (one.panel in panels if one.panel else one.zone == zone)
    ]  # fmt: skip
    dated = sorted(every, key=lambda one: one.taken_on.toordinal() if one.taken_on else 0)
    newest = {one.panel or "": one for one in dated}
    chosen = [newest[panel] for panel in sorted(newest)][:MOST]
    return [_shown(survey, one, paper=paper) for one in chosen], len(every) - len(chosen)


def _shown(survey: Survey, one: Attachment, *, paper: bool) -> Shown:
    """One photograph, or why it can't be shown."""
    what = f"Panel {one.panel}" if one.panel else f"Photograph {one.attachment}"
    day = f", {day_in_words(one.taken_on)}" if one.taken_on else ""
    note = f": {one.note}" if one.note else ""
    path = survey.file(one.file)
    try:
        if path is None:
            raise ValueError(f"the file {one.file} is missing.")
        pixels = open_photograph(path).pixels
    except (ValueError, ImportError) as error:
        return Shown(None, f"{what}{day} can't be shown: {error}")
    # Of a photograph that stays on the disk only the pixels that count are read.
    pixels = pixels[:: _step(pixels), :: _step(pixels)]
    if pixels.dtype != np.uint8:
        pixels = (pixels >> EIGHT_BITS).astype(np.uint8)
    small = reduced(pixels, SIDE)
    high = WIDTH * small.shape[0] / small.shape[1]
    inner = image(photographed(small), WIDTH, high)
    shown: Picture = picture(WIDTH, high, f"{what} of {one.zone or one.panel}{day}{note}", inner)
    return Shown(drawn(shown, "photo", paper=paper), f"{what}{day}{note}.".replace("..", "."))


def _step(pixels: np.ndarray) -> int:
    """Every how manieth pixel is read: enough are left to be averaged."""
    return max(1, int(max(pixels.shape[:2])) // (4 * SIDE))
