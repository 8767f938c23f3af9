"""An elevation under the finger: its picture, and the zones that lie on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any, Protocol

from markupsafe import Markup

from heritagecheck.errors import SurveyError
from heritagecheck.figures.elevation import (
    FILLS,
    HATCHES,
    UNITS_A_METRE,
    Shape,
    bare_drawing,
    shape_of,
)
from heritagecheck.screens.app import Desk
from heritagecheck.survey.drawings.elevations import outlines, size_m
from heritagecheck.survey.drawings.outline_edits import outline_faults
from heritagecheck.survey.drawings.path_data import FloatArray
from heritagecheck.survey.entry.zone_edits import begun_zones
from heritagecheck.survey.records import Attachment, Elevation, Zone
from heritagecheck.survey.survey import Survey

# Sign, colour and hatch: glare, grey print and colour-blind eyes lose the colour.
KEY_OF_OUTCOMES = {
    outcome: (sign, FILLS[outcome], HATCHES[outcome])
    for outcome, sign in (
        ("clean", "C"), ("trial first", "T"), ("leave and monitor", "M"), ("leave", "L"),
    )
}  # fmt: skip
FEWEST_POINTS = 4  # tie a photograph to a drawing


def elevation_or_none(survey: Survey, code: str) -> Elevation | None:
    """Elevation by its code; None where there is none."""
    return next((one for one in survey.all(Elevation) if one.elevation == code), None)


class Plate:
    """
    The picture of an elevation with the outlines of its zones.

    Parameters
    ----------
    desk : Desk
        What all screens share.
    item : Elevation
        The elevation.
    """

    def __init__(self, desk: Desk, item: Elevation) -> None:
        self.desk = desk
        self.item = item
        self._seen: object = None
        self._rings: dict[str, list[FloatArray]] = {}
        self._shapes: dict[str, Shape] = {}
        self.fault = ""

    @cached_property
    def picture_name(self) -> str:
        """Name under which the browser keeps the picture: with the checksum of its content."""
        files = {one.file: one.sha256 for one in self.desk.survey.all(Attachment)}
        return f"ground-{files.get(self.item.drawing or '', '')[:16]}"

    @property
    def whole(self) -> str:
        """Left, top, width and height of the picture in units of the map."""
        width, height = (one * UNITS_A_METRE for one in size_m(self.item))
        return f"0 0 {width:g} {height:g}"

    def around(self, zone: str, points: Sequence[Sequence[float]] = ()) -> str:
        """The part of the picture around the points of a photograph, or else around a zone."""
        of_zone = [corner for ring in self.rings.get(zone, []) for corner in ring * UNITS_A_METRE]
        corners = points if len(points) >= FEWEST_POINTS else of_zone
        if not corners:
            return self.whole
        whole = [float(one) for one in self.whole.split()[2:]]
        spans = [(min(along), max(along)) for along in zip(*corners, strict=True)]
        share = min(1.0, 2 * max((b - a) / of for (a, b), of in zip(spans, whole, strict=True)))
        starts = [
            min(max((a + b - share * of) / 2, 0.0), (1 - share) * of)
            for (a, b), of in zip(spans, whole, strict=True)
        ]
        return " ".join(f"{one:g}" for one in (*starts, *(share * of for of in whole)))

    @property
    def rings(self) -> Mapping[str, list[FloatArray]]:
        """Outlines of the zones in metres, including zones not saved yet."""
        self._look_again()
        return self._rings

    @property
    def shapes(self) -> Mapping[str, Shape]:
        """The zones as they are drawn over the picture."""
        self._look_again()
        return self._shapes

    def _look_again(self) -> None:
        """Read the outlines again if a zone was changed or started since."""
        begun = [
            one
            for one in begun_zones(self.desk.survey, self.desk.drafts)
            if one.elevation == self.item.elevation and one.outline
        ]
        seen = (self.desk.survey.all(Zone), begun)
        if seen != self._seen:
            self._seen, self.fault, self._rings = seen, "", {}
            try:
                found = outlines(self.desk.survey, self.item.elevation)
                self._rings = {zone: list(one.rings) for zone, one in found.items()}
            except SurveyError as error:
                self.fault = error.sentences[0]
            self._rings |= {one.zone: one.rings for one in begun if not outline_faults(one.rings)}
            self._shapes = {zone: shape_of(zone, rings) for zone, rings in self._rings.items()}

    def picture(self, name: str) -> tuple[bytes, str]:
        """The picture itself."""
        if name != self.picture_name:
            raise LookupError(name)
        return bare_drawing(self.desk.survey, self.item), "image/svg+xml"


def plate_of(desk: Desk, item: Elevation | None) -> Plate | None:
    """The picture of an elevation with its zones, made once; None where it has none."""
    if item is None or item.drawing is None:
        return None
    key = f"plate/{item.elevation}"
    found: Plate | None = desk.at_hand.get(key)
    if found is None or found.item != item:
        found = desk.at_hand[key] = Plate(desk, item)
    return found


class OnElevation:
    """Base of screens on which an elevation can be tapped."""

    desk: Desk

    @property
    def item(self) -> Elevation | None:
        """The elevation."""
        raise NotImplementedError

    @property
    def plate(self) -> Plate | None:
        """Its picture with the zones, where it has one."""
        return plate_of(self.desk, self.item)

    def picture(self, name: str) -> tuple[bytes, str]:
        """The picture of the elevation."""
        if self.plate is None:
            raise LookupError(name)
        return self.plate.picture(name)


class Mapped(Protocol):
    """A zone as a map shows it."""

    @property
    def zone(self) -> str:
        """Its code."""

    @property
    def state(self) -> str:
        """Its state, by which it is coloured."""


def map_values(
    shown: Sequence[Mapped], here: Sequence[Mapped], plate: Plate | None,
    key: Mapping[str, tuple[str, str, str]],
) -> dict[str, Any]:  # fmt: skip
    """What the template of a map shows: zones with shapes, the others faded, key of the states."""
    shapes = {} if plate is None else plate.shapes
    states = {row.state for row in here}
    return {
        "plate": plate,
        "mapped": [(row, shapes[row.zone]) for row in shown if row.zone in shapes],
        "faded": [shapes[zone] for zone in shapes.keys() - {row.zone for row in shown}],
        "without": [row.zone for row in here if row.zone not in shapes],
        "key": {state: (sign, colour, Markup(hatch))
                for state, (sign, colour, hatch) in key.items() if state in states},
    }  # fmt: skip
