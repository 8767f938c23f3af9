"""One photograph is shown and measured: points in it and on the drawing, clean stone, chart."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from heritagecheck.errors import in_one_line
from heritagecheck.evidence.photograph.zone_photograph import PhotographedZone, measure
from heritagecheck.figures.elevation import UNITS_A_METRE
from heritagecheck.figures.photo_frame import reduced
from heritagecheck.figures.photograph import draw_photographed
from heritagecheck.progress import Told
from heritagecheck.screens.app import Desk
from heritagecheck.screens.elevation_plate import Plate, elevation_or_none, plate_of
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.zone.zone_screen import ZoneScreen
from heritagecheck.survey.drawings.pictures import as_jpeg, is_picture, open_picture
from heritagecheck.survey.entry.colour_entry import zone_with_sets
from heritagecheck.survey.entry.photo_in_hand import POINTED, PhotoInHand
from heritagecheck.survey.instruments.photo_file import open_photograph
from heritagecheck.survey.records import Attachment, Photo, Reading, SiteTest
from heritagecheck.survey.records.record import Record

THUMB, LARGE = 320, 1600  # pixels of the long side
EIGHT_BITS = 8
STEPS = {
    "points": "1. Points on the wall", "clean": "2. Clean stone", "chart": "3. Chart",
    "measure": "4. Measure",
}  # fmt: skip


def shown_photograph(path: Path, most: int) -> tuple[bytes, tuple[int, int]]:
    """
    A photograph as JPEG, and its full size as it is shown: width, height.

    Raises
    ------
    ValueError
        It is no picture that can be shown, with the reason and what to do.
    """
    data = path.read_bytes()
    if is_picture(data) or not data.startswith((b"II", b"MM")):
        image, size = open_picture(data, most)
        return as_jpeg(image), size
    from PIL import Image

    pixels = open_photograph(path).pixels
    rows, columns = pixels.shape[:2]
    step = max(1, max(rows, columns) // (4 * most))
    pixels = pixels[::step, ::step]
    if pixels.dtype != np.uint8:
        pixels = (pixels >> EIGHT_BITS).astype(np.uint8)
    return as_jpeg(Image.fromarray(reduced(pixels, most))), (columns, rows)


class PhotoMeasuring(ZoneScreen):
    """What a screen needs that measures photographs."""

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.measuring, self.step = "", "points"
        self.found: PhotographedZone | None = None
        self.refusal = ""
        self._drawn = 0
        self._in_hand: dict[str, PhotoInHand] = {}

    def measuring_values(self) -> Mapping[str, Any]:
        """What is shown of the photograph in hand."""
        item = self.attachment(self.measuring)
        if item is None:
            return {"item": None}
        now, plate = self.in_hand(item.attachment), self._plate()
        ready = self.found if self.found and self.found.photo.photo == self.measuring else None
        return {
            "item": item, "pointed": now, "plate": plate, "steps": STEPS, "step": self.step,
            "size": self.size_of(item), "missing": now.missing(), "found": ready,
            "wall_points": [(x * UNITS_A_METRE, y * UNITS_A_METRE) for x, y in now.wall],
            "found_picture": f"found-{self.measuring}-{self._drawn}",
            "refusal": self.refusal, "wetness": ("dry", "damp", "wet"),
            "boards": [one for one in self.photographs() if one.attachment != item.attachment],
        }  # fmt: skip

    def photographs(self) -> Sequence[Attachment]:
        """Photographs of the zone and of its panels."""
        raise NotImplementedError

    def attachment(self, code: str) -> Attachment | None:
        """One of them by its code."""
        return next((one for one in self.photographs() if one.attachment == code), None)

    def size_of(self, item: Attachment) -> tuple[int, int]:
        """Width and height of a photograph, in pixels."""
        raise NotImplementedError

    def _plate(self) -> Plate | None:
        """The drawing of the zone's elevation, where it has one."""
        zone = self.hand.record()
        item = elevation_or_none(self.desk.survey, zone.elevation) if zone else None
        return plate_of(self.desk, item)

    def _kept(self, code: str) -> Photo | None:
        photos = self.desk.survey.all(Photo)
        return next((one for one in photos if one.attachment == code and one.photo == code), None)

    def _task(self, code: str) -> str:
        return f"zone/{self.hand.code}/photographs#{code}"

    def in_hand(self, code: str) -> PhotoInHand:
        """A photograph as it was left."""
        if code not in self._in_hand:
            draft = self.desk.drafts.read(self.desk.who, self._task(code))
            self._in_hand[code] = PhotoInHand.of(draft, self._kept(code))
        return self._in_hand[code]

    def _keep(self) -> None:
        now = self.in_hand(self.measuring)
        self.desk.drafts.write(self.desk.who, self._task(self.measuring), now.typed)
        self.hand.in_hand.add(self.task)
        self.found, self.refusal = None, ""

    def do_take_up(self, event: Event) -> None:
        """Take one photograph in hand."""
        self.measuring, self.step, self.refusal = event.arg, "points", ""

    def do_step(self, event: Event) -> None:
        """Go to a step."""
        self.step = event.arg

    def do_points(self, event: Event) -> None:
        """Take points that were put, moved or taken away."""
        now = self.in_hand(self.measuring)
        if event.arg not in POINTED:
            return
        scale = UNITS_A_METRE if event.arg == "wall" else 1.0
        points = [(round(x / scale, 4), round(y / scale, 4)) for x, y in json.loads(event.value)]
        if event.arg == "chart" and len(points) > 4:
            self.desk.refuse("The chart has four corners. Move one, or take one away first.")
            return
        setattr(now, event.arg, points)
        self._keep()

    def do_back_point(self, event: Event) -> None:
        """Take the last point away."""
        now = self.in_hand(self.measuring)
        setattr(now, event.arg, getattr(now, event.arg)[:-1])
        self._keep()

    def do_photo_state(self, event: Event) -> None:
        """Say whether the stone was dry, damp or wet."""
        self.in_hand(self.measuring).state = event.arg
        self._keep()

    def do_board(self, event: Event) -> None:
        """Say which photograph shows the grey board; once more for none."""
        now = self.in_hand(self.measuring)
        now.board = "" if now.board == event.arg else event.arg
        self._keep()

    def do_measure(self, event: Event) -> None:
        """Save the points, then measure beside the page."""
        item, zone = self.attachment(self.measuring), self.hand.record()
        if item is None or not self.desk.knows_who() or not self.known():
            return
        now = self.in_hand(item.attachment)
        wrong = now.missing()
        if item.taken_on is None:
            wrong.append("Say on which day it was taken: see the list of photographs.")
        if wrong:
            self.desk.refuse("Not measured yet.", *wrong)
            return
        assert zone is not None
        day = item.taken_on or date.today()
        made = now.record(
            item.attachment, item, zone.zone, day, item.taken_by or self.desk.who
        )  # fmt: skip
        if not self.desk.save(made, what=f"points of photograph {made.photo}"):
            return
        self.desk.drafts.drop(self.desk.who, self._task(item.attachment))
        self.hand.in_hand.discard(self.task)
        survey = self.desk.survey.still()

        def work(_: Told) -> PhotographedZone | str:
            try:
                return measure(survey, made.photo)
            except ValueError as error:
                return in_one_line(error)

        self.desk.later(f"Measuring photograph {made.photo}", work, self._measured)

    def _measured(self, found: PhotographedZone | str) -> None:
        """Show what was found, or why nothing was, beside the picture."""
        self._drawn += 1
        self.found, self.refusal = None, ""
        if isinstance(found, str):
            self.refusal = found
            self.desk.refuse("This photograph was not measured.", found)
        else:
            self.found = found
            self.desk.say("Look at the pictures below; then keep the result or not.")

    def do_keep_found(self, event: Event) -> None:
        """Save what was measured, in place of what the same photograph gave before."""
        found, zone = self.found, self.hand.record()
        if found is None or zone is None or not self.desk.knows_who():
            return
        old = self._measured_before(found.photo.photo)
        new = {(type(one), _key(one)) for one in found.records}
        gone = [one for one in old if (type(one), _key(one)) not in new]
        before = self.desk.survey.of_zone(zone.zone, Reading)
        counted = zone_with_sets(zone, before, found.readings)
        what = f"what photograph {found.photo.photo} shows"
        if self.desk.save(*found.records, *counted, what=what, in_place_of=gone):
            self.found = None

    def _measured_before(self, photo: str) -> list[Record]:
        """Readings and tests that a photograph gave before."""
        survey, code = self.desk.survey, self.hand.code
        return [
            *(one for one in survey.of_zone(code, Reading) if one.photo == photo),
            *(one for one in survey.of_zone(code, SiteTest)
              if one.method == f"photograph {photo}"),
        ]  # fmt: skip

    def found_picture(self) -> bytes:
        """The pictures to judge a result by."""
        assert self.found is not None
        return draw_photographed(self.found).svg.encode()


def _key(record: Record) -> str:
    """What tells a reading, a test or a photograph from the others."""
    return str(next(iter(record))[1])
