"""The outline of a zone is drawn on its elevation: corners are put, moved, taken away, undone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from heritagecheck.figures.elevation import UNITS_A_METRE, steps_of
from heritagecheck.screens.app import Desk, Screen
from heritagecheck.screens.elevation_plate import elevation_or_none
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.zone_cutting import Corner, ZoneCutting
from heritagecheck.sentences import ended, upper_first
from heritagecheck.survey.drawings.outline_edits import as_text, outline_faults, rings_of
from heritagecheck.survey.entry.zone_edits import (
    area_in_words,
    begun_zones,
    give_outline,
    overlapped,
    rounded_area,
)
from heritagecheck.survey.records import Elevation, Zone

Rings = list[list[Corner]]
NUDGES = {"left": (-1, 0), "right": (1, 0), "up": (0, -1), "down": (0, 1)}
NUDGE_M = 0.01


class OutlineScreen(ZoneCutting, Screen):
    """The outline of one zone."""

    template = "outline.html"
    title = "Outline of a zone"
    saved_here = False

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.elevation, self.zone = (*parts, "", "")[:2]
        self.task = f"outline/{self.elevation}/{self.zone}"
        self.begin()

    @property
    def item(self) -> Elevation | None:
        """The elevation."""
        return elevation_or_none(self.desk.survey, self.elevation)

    def begin(self) -> None:
        """Start with the draft, otherwise with the saved outline."""
        self.mode = "draw"
        self.line: list[Corner] = []
        self.name = self.record.name if self.record else ""
        self.kept = self._kept()
        draft = self.desk.drafts.read(self.desk.who, self.task).get("outline")
        self.rings = self.kept if draft is None else _corners(draft)
        self.part = 0
        self.chosen = len(self.corners) - 1
        self._before: list[Rings] = []
        self._after: list[Rings] = []

    @property
    def begun_name(self) -> str | None:
        """Name of a zone that is not saved yet."""
        begun = begun_zones(self.desk.survey, self.desk.drafts)
        return next((one.name for one in begun if one.zone == self.zone), None)

    def _kept(self) -> Rings:
        """The stored outline: of the record, of the zone's draft, or of the drawing."""
        for one in begun_zones(self.desk.survey, self.desk.drafts):
            if one.zone == self.zone:
                return _corners(one.outline)
        return _corners(as_text(self.outline_kept()))

    @property
    def corners(self) -> list[Corner]:
        """Corners of the part in hand."""
        return self.rings[self.part]

    @property
    def drawn(self) -> list[np.ndarray[Any, Any]]:
        """Every part that has a corner, in metres."""
        return [np.array(one) for one in self.rings if one]

    @property
    def complete(self) -> bool:
        """Whether each part has corners enough to hold something."""
        return bool(self.drawn) and all(len(one) >= 3 for one in self.drawn)

    @property
    def fault(self) -> str:
        """What is wrong with the outline, said at once; an outline in the making is not wrong."""
        why = outline_faults(self.drawn) if self.complete else ""
        return ended(upper_first(why)) if why else ""

    @property
    def changed(self) -> bool:
        """Whether something was drawn that is not saved."""
        return as_text(self.drawn) != as_text([np.array(one) for one in self.kept if one])

    @property
    def meanwhile(self) -> bool:
        """Whether another outline was saved since this edit started."""
        return self._kept() != self.kept

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        if self.meanwhile and not self.changed:
            self.begin()
        if self.plate is None or (self.record is None and self.begun_name is None):
            return {"plate": None, "item": self.item, "name": None}
        sound = self.complete and not self.fault
        others = {zone: one for zone, one in self.plate.rings.items() if zone != self.zone}
        points = self.line if self.mode == "split" else self.corners
        return {
            "item": self.item, "plate": self.plate,
            "name": self.record.name if self.record else self.begun_name,
            "record": self.record, "sound": sound, "fault": self.fault,
            "points": [(round(x * UNITS_A_METRE, 2), round(y * UNITS_A_METRE, 2), _place(x, y))
                       for x, y in points],
            "others": [one for zone, one in self.plate.shapes.items() if zone != self.zone],
            "parts": [steps_of([np.array(one)]) for place, one in enumerate(self.rings)
                      if one and (place != self.part or self.mode == "split")],
            "area": area_in_words(rounded_area(self.drawn)) if sound else "",
            "overlaps": overlapped(self.drawn, others) if sound else {},
            "changed": self.changed, "meanwhile": self.meanwhile,
            "can_undo": bool(self._before), "can_redo": bool(self._after),
            **self.cutting_values(others, sound=sound),
        }  # fmt: skip

    def typed(self, name: str, value: str) -> None:
        """Keep the new name of the zone."""
        self.name = value

    def change(self, rings: Rings) -> None:
        """Take a change of the outline, and keep it as a draft."""
        self._before.append([list(one) for one in self.rings])
        self._after.clear()
        self._show(rings)

    def _show(self, rings: Rings) -> None:
        self.rings = rings or [[]]
        self.part = min(self.part, len(self.rings) - 1)
        self.chosen = min(self.chosen, len(self.corners) - 1)
        self.desk.drafts.write(self.desk.who, self.task, {"outline": as_text(self.drawn)})

    def _with(self, corners: list[Corner]) -> Rings:
        """All parts, the one in hand with other corners."""
        return [corners if place == self.part else one for place, one in enumerate(self.rings)]

    def do_points(self, event: Event) -> None:
        """A corner was put, moved or taken away; a new one follows the corner that is chosen."""
        points = self.points_put(event)
        if self.mode == "split":
            self.line = points
            return
        if len(points) > len(self.corners):
            points.insert(self.chosen + 1, points.pop())
            self.chosen += 1
        else:
            moved = [
                k for k, (p, q) in enumerate(zip(points, self.corners, strict=False)) if p != q
            ]
            self.chosen = moved[0] if len(points) == len(self.corners) and moved else self.chosen
        self.change(self._with(points))

    def do_choose(self, event: Event) -> None:
        """Choose a corner."""
        self.chosen = int(event.arg)

    def do_remove(self, event: Event) -> None:
        """Take the chosen corner away."""
        if self.mode == "split":
            self.line = self.line[:-1]
        elif self.corners:
            left = [one for place, one in enumerate(self.corners) if place != self.chosen]
            self.chosen = max(self.chosen - 1, 0) if left else -1
            self.change(self._with(left))

    def do_between(self, event: Event) -> None:
        """Put a corner halfway between the chosen one and the next."""
        (x1, y1), (x2, y2) = (
            self.corners[self.chosen],
            self.corners[(self.chosen + 1) % len(self.corners)],
        )
        self.chosen += 1
        corners = list(self.corners)
        corners.insert(self.chosen, ((x1 + x2) / 2, (y1 + y2) / 2))
        self.change(self._with(corners))

    def do_nudge(self, event: Event) -> None:
        """Move the chosen corner by a centimetre."""
        (x, y), (right, down) = self.corners[self.chosen], NUDGES[event.arg]
        corners = list(self.corners)
        corners[self.chosen] = (x + right * NUDGE_M, y + down * NUDGE_M)
        self.change(self._with(corners))

    def do_undo(self, event: Event) -> None:
        """Take the last change of the outline back."""
        if self._before:
            self._after.append(self.rings)
            self._show(self._before.pop())

    def do_redo(self, event: Event) -> None:
        """Make it again."""
        if self._after:
            self._before.append(self.rings)
            self._show(self._after.pop())

    def do_saved(self, event: Event) -> None:
        """Show the outline as it is saved; Undo brings back what was drawn."""
        self.change([list(one) for one in self.kept])

    def do_part(self, event: Event) -> None:
        """Take another part in hand."""
        self.part = int(event.arg)
        self.chosen = len(self.corners) - 1

    def do_new_part(self, event: Event) -> None:
        """Begin a further part of the zone."""
        self.change([*self.rings, []])
        self.part, self.chosen = len(self.rings) - 1, -1

    def do_drop_part(self, event: Event) -> None:
        """Take the part in hand away."""
        self.change([one for place, one in enumerate(self.rings) if place != self.part])

    def do_theirs(self, event: Event) -> None:
        """Take the outline that was saved meanwhile."""
        self.finished()

    def do_mine(self, event: Event) -> None:
        """Keep what is drawn here; Save then replaces the other."""
        self.kept = self._kept()

    def do_save(self, event: Event) -> None:
        """Keep the outline; with `area` in the event also its area as that of the zone."""
        if self.meanwhile:
            self.desk.refuse(
                "The outline was not saved.", "Choose first which of the two is right."
            )
            return
        if not self.complete or self.fault:
            self.desk.refuse(
                "The outline was not saved.", self.fault or "Each part needs three corners or more."
            )
            return
        text, area = as_text(self.drawn), rounded_area(self.drawn)
        if self.record is None:
            give_outline(self.desk.drafts, self.desk.who, self.zone, outline=text,
                         area_m2=f"{area:g}" if event.arg == "area" else "")  # fmt: skip
            self.desk.say(f"Outline kept as a draft. It is saved together with zone {self.zone}.")
        else:
            more = {"area_m2": area} if event.arg == "area" else {}
            changed = self.record.changed(outline=text, **more)
            if not self._saved(changed, what=f"the outline of {self.zone}"):
                return
        self.finished()

    def show_zone(self, zone: Zone) -> None:
        """Show the outline of another zone."""
        self.desk.go("outline", zone.elevation, zone.zone)

    def keep_split(self, first: Zone, second: Zone, what: str) -> bool:
        """Save both parts."""
        return self._saved(first, second, what=what)

    def keep_joined(self, whole: Zone, gone: Zone, what: str) -> bool:
        """Save one zone in place of two."""
        return self._saved(whole, what=what, gone=[gone])

    def _saved(self, *zones: Zone, what: str, gone: Sequence[Zone] = ()) -> bool:
        """Save zones; what is saved here last can be taken back."""
        done = self.desk.save(*zones, what=what, in_place_of=gone)
        self.saved_here = self.saved_here or done
        return done

    def do_rename(self, event: Event) -> None:
        """Give the zone another name; its code stays, as drawings and tags carry it."""
        assert self.record is not None
        if not self.name.strip():
            self.desk.refuse("The name was not saved.", "Write the name in a few words.")
            return
        named = self.record.changed(name=self.name.strip())
        if self._saved(named, what=f"the name of {self.zone}"):
            self.mode = "draw"

    def do_take_back(self, event: Event) -> None:
        """Take back what was saved here last."""
        if not self.desk.undo():
            return
        self.saved_here = False
        self.finished()

    def finished(self) -> None:
        """What was drawn is saved: the draft goes."""
        self.desk.drafts.drop(self.desk.who, self.task)
        self.begin()


def _corners(text: str) -> Rings:
    """Corners of an outline that is written as text."""
    return [[(float(x), float(y)) for x, y in one] for one in rings_of(text)] or [[]]


def _place(x: float, y: float) -> str:
    """Position of a corner, in words."""
    return f"{x:.2f} m from the left, {y:.2f} m from the top"
