"""Photographs of a zone and of its panels, as small as a page needs them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from heritagecheck.cards import Picture
from heritagecheck.documents.page_templates import drawn
from heritagecheck.figures.photo_frame import image, photographed, reduced
from heritagecheck.figures.svg import picture
from heritagecheck.survey.instruments.photo_file import open_photograph
from heritagecheck.survey.records import Attachment, Panel, Photo
from heritagecheck.survey.survey import Survey

MOST = 4
WIDTH = 360.0  # pixel
SIDE = 900  # pixels of a photograph that a page carries
EIGHT_BITS = 8


@dataclass(frozen=True, slots=True)
class Shown:
    """A photograph on a page and what stands below it; where it can't be shown, why."""

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
    day = f", {one.taken_on.day} {one.taken_on:%B %Y}" if one.taken_on else ""
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
