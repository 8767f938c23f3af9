"""Elevations by name; the picture of each is chosen, levelled, scaled by a known length, used."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from hashlib import sha256
from pathlib import Path
from typing import Any

from heritagecheck.figures.elevation import bare_svg
from heritagecheck.progress import Told
from heritagecheck.screens.app import Desk, Screen
from heritagecheck.screens.elevation_plate import elevation_or_none, plate_of
from heritagecheck.screens.live_page import Event, GivenFile
from heritagecheck.sentences import ended, upper_first
from heritagecheck.survey.drawings.drawing import faults_of, open_drawing, view_box
from heritagecheck.survey.drawings.pictures import (
    MOST_BYTES,
    SQUARE_ON,
    PlacedPicture,
    Point,
    as_jpeg,
    open_picture,
    place_picture,
)
from heritagecheck.survey.entry.codes import elevation_code
from heritagecheck.survey.entry.typed_values import NotTakenError, read_typed
from heritagecheck.survey.records import Elevation, Zone

ON_SCREEN = 1600  # pixels of the long side: the browser need not carry a camera's file
FIELDS = ("file", "upright", "level", "length", "length_m", "width_m")
LEVEL, LENGTH = "level", "length"


class ElevationsScreen(Screen):
    """The list of elevations, and a new one."""

    template = "elevations.html"
    title = "Elevations"
    name = ""
    fault = ""

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        zones = [zone.elevation for zone in self.desk.survey.all(Zone)]
        return {
            "elevations": [
                (one, zones.count(one.elevation)) for one in self.desk.survey.all(Elevation)
            ]
        }

    def typed(self, name: str, value: str) -> None:
        """Keep the name of a new elevation."""
        self.name, self.fault = value, ""

    def do_new(self, event: Event) -> None:
        """Keep a new elevation, and go on to its picture."""
        name = self.name.strip()
        if not name or name in {one.name for one in self.desk.survey.all(Elevation)}:
            self.fault = (
                "There is an elevation of this name. Write another."
                if name
                else "Write which side it is, such as north front."
            )
            self.desk.focus = "new.name"
            return
        new = Elevation(elevation=elevation_code(self.desk.survey, name), name=name)
        if self.desk.save(new, what=f"the elevation {name}"):
            self.name = ""
            self.desk.go("elevation", new.elevation)


class ElevationScreen(Screen):
    """The picture of one elevation."""

    template = "elevation.html"
    title = "Picture of an elevation"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.code = parts[0] if parts else ""
        self.task = f"elevation/{self.code}"
        self.typed_in = dict.fromkeys(FIELDS, "") | desk.drafts.read(desk.who, self.task)
        self.name = self.item.name if self.item else ""
        self.step = LENGTH if self._line(LEVEL, whole=True) else LEVEL
        self.faults: dict[str, str] = {}
        self.placed: PlacedPicture | None = None
        self._shown: dict[str, tuple[bytes, str]] = {}
        self._size: tuple[str, tuple[int, int]] = ("", (1, 1))

    @property
    def item(self) -> Elevation | None:
        """The elevation."""
        return elevation_or_none(self.desk.survey, self.code)

    @property
    def given(self) -> Path | None:
        """The file that was given and is not yet used."""
        return self.desk.survey.file(self.typed_in["file"]) if self.typed_in["file"] else None

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        item, given = self.item, self.given
        plate = plate_of(self.desk, item)
        svg = self.typed_in["file"].endswith(".svg")
        values: dict[str, Any] = {
            "item": item, "plate": plate, "given": given, "svg": svg, "square_on": SQUARE_ON,
            "typed": self.typed_in, "faults": self.faults, "placed": self.placed,
            "outlined": [
                zone.zone for zone in self.desk.survey.all(Zone)
                if item and zone.elevation == item.elevation and zone.outline
            ],
        }  # fmt: skip
        if given and not svg:
            values |= {
                "size": self._size_of(given), "lines": {k: self._line(k) for k in (LEVEL, LENGTH)},
                "ready": bool(self._line(LEVEL, whole=True) and self._line(LENGTH, whole=True)),
            }  # fmt: skip
        if given:
            values["name"] = f"given-{self.typed_in['file']}"
        if self.placed:
            values["placed_name"] = f"placed-{sha256(self.placed.jpeg).hexdigest()[:16]}"
        return values

    def _size_of(self, path: Path) -> tuple[int, int]:
        """Width and height of the picture that was given [pixel]; also makes its small copy."""
        name = f"given-{self.typed_in['file']}"
        if self._size[0] != name:
            image, size = open_picture(path.read_bytes(), ON_SCREEN)
            self._size, self._shown[name] = (name, size), (as_jpeg(image), "image/jpeg")
        return self._size[1]

    def _line(self, which: str, *, whole: bool = False) -> list[Point]:
        """Points of a line on the picture; of a whole line, none unless both ends are there."""
        points = [(x, y) for x, y in json.loads(self.typed_in[which] or "[]")]
        return [] if whole and len(points) < 2 else points

    def picture(self, name: str) -> tuple[bytes, str]:
        """A picture of the screen: of the elevation, the one given, or the one put in place."""
        if name.startswith("placed-") and self.placed:
            if name not in self._shown:
                small = open_picture(self.placed.jpeg, ON_SCREEN)[0]
                self._shown[name] = as_jpeg(small), "image/jpeg"
            return self._shown[name]
        if name.startswith("given-") and (given := self.given):
            if name.endswith(".svg") and self.item:
                return bare_svg(open_drawing(given).root, self.item), "image/svg+xml"
            self._size_of(given)
            return self._shown[name]
        plate = plate_of(self.desk, self.item)
        if plate is None:
            raise LookupError(name)
        return plate.picture(name)

    def typed(self, name: str, value: str) -> None:
        """Keep a length or a name that is typed."""
        field = name.rpartition(".")[2]
        self.faults.pop(field, None)
        if field == "name":
            self.name = value
        else:
            self._keep(**{field: value})

    def left(self, name: str) -> None:
        """Say what is wrong with a length."""
        field = name.rpartition(".")[2]
        if self.typed_in.get(field, "").strip():
            self._metres(field)

    def _keep(self, **values: str) -> None:
        self.typed_in |= values
        self.placed = None
        self.desk.drafts.write(self.desk.who, self.task, self.typed_in)

    def take(self, file: GivenFile) -> None:
        """Take in a photograph, a scan or an SVG, if it is one."""
        self.faults.clear()
        if not self.desk.knows_who():
            self.faults["file"] = "Say first who you are, then choose the file again."
            return
        try:
            ending = self._looked_at(file.path)
        except ValueError as why:
            self.faults["file"] = f"{file.name}: {why}"
            return
        name = self._attach(file.path, ending, "as it was given")
        self._keep(**dict.fromkeys(FIELDS, "") | {"file": name})
        self.step = LEVEL
        self.desk.say(f"{file.name} is kept with the survey. Now put it in place.")

    def _looked_at(self, path: Path) -> str:
        """Ending of a file that can be shown."""
        assert self.item is not None
        if path.stat().st_size > MOST_BYTES:
            raise ValueError(f"It is larger than {MOST_BYTES // 2**20} MB. Save it smaller.")
        data = path.read_bytes()
        if not data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<"):
            open_picture(data, ON_SCREEN)
            return ".jpg" if data.startswith(b"\xff\xd8") else ".png"
        drawing = open_drawing(path)
        faults = faults_of(drawing, self.item)
        if not faults and not len(drawing.root):
            faults = ["this drawing shows nothing. Export it again from the drawing program"]
        if faults:
            more = f" There are {len(faults) - 1} more faults." if len(faults) > 1 else ""
            raise ValueError(ended(upper_first(faults[0])) + more)
        return ".svg"

    def _attach(self, path: Path, ending: str, note: str) -> str:
        """Keep a file with the survey, and give its name there."""
        digest = sha256(path.read_bytes()).hexdigest()
        name = f"drawings/{self.code}-{digest[:8]}{ending}"
        if self.desk.survey.file(name) is None:
            self.desk.survey.attach(
                path, kind="drawing", file=name, who=self.desk.who, taken_by=self.desk.who,
                note=f"picture of the elevation {self.code}, {note}",
                reason=f"picture of the elevation {self.code}",
            )  # fmt: skip
        return name

    def do_upright(self, event: Event) -> None:
        """Say whether the two points lie level, or plumb above one another."""
        self._keep(upright=event.arg)

    def do_step(self, event: Event) -> None:
        """Put the points of the other line."""
        self.step = event.arg

    def do_points(self, event: Event) -> None:
        """A point was put or moved; of three, the first goes."""
        wide, high = self._size[1]
        points = [(min(max(x, 0), wide), min(max(y, 0), high)) for x, y in json.loads(event.value)]
        self._keep(**{self.step: json.dumps(points[-2:])})

    def _metres(self, field: str) -> float | None:
        """A length in metres as it was typed; None where it can't be taken, and why is said."""
        try:
            value = read_typed(Elevation, "width_m", self.typed_in[field])
        except NotTakenError as why:
            self.faults[field] = str(why)
            return None
        if value is None:
            self.faults[field] = "Write it in metres, such as 2,40."
        return float(value) if isinstance(value, float) else None

    def do_preview(self, event: Event) -> None:
        """Level and scale the picture, to be looked at."""
        self.faults.clear()
        given, length_m = self.given, self._metres("length_m")
        level, length = self._line(LEVEL, whole=True), self._line(LENGTH, whole=True)
        if not self.typed_in["upright"]:
            self.faults["upright"] = "Say whether the two points lie level or plumb."
        if not level or not length:
            self.faults["points"] = "Put two points for each of the two lines."
        if self.faults or given is None or length_m is None:
            self.desk.refuse("The picture is not in place yet.", *self.faults.values())
            return
        data, upright = given.read_bytes(), self.typed_in["upright"] == "plumb"

        def work(told: Told) -> PlacedPicture | ValueError:
            try:
                return place_picture(
                    data, level=(level[0], level[1]), upright=upright,
                    length=(length[0], length[1]), length_m=length_m,
                )  # fmt: skip
            except ValueError as why:
                return why

        self.desk.later("Putting the picture in place", work, self._has)

    def _has(self, found: PlacedPicture | ValueError) -> None:
        if isinstance(found, ValueError):
            self.faults["points"] = str(found)
        else:
            self.placed = found

    def do_back(self, event: Event) -> None:
        """Correct the points."""
        self.placed = None

    def do_use(self, event: Event) -> None:
        """Take what was put in place as the picture of the elevation."""
        if self.placed is None or not self.desk.knows_who():
            return
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "placed.jpg"
            path.write_bytes(self.placed.jpeg)
            name = self._attach(path, ".jpg", "put in place")
        self._use(name, self.placed.width_m, self.placed.height_m)

    def do_use_svg(self, event: Event) -> None:
        """Take the SVG as the drawing of the elevation."""
        self.faults.clear()
        item, width_m = self.item, self._metres("width_m")
        if self.given is None or item is None or width_m is None:
            return
        _, _, width, height = view_box(open_drawing(self.given).root, item)
        self._use(self.typed_in["file"], width_m, round(width_m * height / width, 3))

    def _use(self, name: str, width_m: float, height_m: float) -> None:
        assert self.item is not None
        changed = self.item.changed(drawing=name, width_m=width_m, height_m=height_m)
        if self.desk.save(changed, what=f"the picture of {self.item.name}"):
            self.do_drop(Event("drop"))

    def do_rename(self, event: Event) -> None:
        """Keep another name of the elevation; its code stays."""
        name = self.name.strip()
        if not name:
            self.faults["name"] = "Write which side it is, such as north front."
        elif self.item:
            self.desk.save(self.item.changed(name=name), what=f"the name of {name}")

    def do_drop(self, event: Event) -> None:
        """Begin again with another picture, or with none."""
        self.typed_in, self.placed, self.step = dict.fromkeys(FIELDS, ""), None, LEVEL
        self.faults.clear()
        self.desk.drafts.drop(self.desk.who, self.task)
