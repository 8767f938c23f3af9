"""Colour readings as they are typed: a day with the meter, its white tile, a set in hand."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import date, datetime
from typing import Any, NamedTuple, Self

from heritagecheck.survey.entry.codes import next_code, next_codes, next_name
from heritagecheck.survey.entry.drafts import Drafts
from heritagecheck.survey.entry.record_form import RecordForm
from heritagecheck.survey.entry.typed_values import NotTakenError, brief, read_typed
from heritagecheck.survey.records import Reading, TileReading, Zone
from heritagecheck.survey.records.readings import MUNSELL
from heritagecheck.survey.survey import Survey

SIDES = ("soiled", "reference")
BY_EYE = {
    "geometry": "visual", "aperture_mm": None, "illuminant": "C/2",
    "instrument": "Munsell chips, matched by eye", "session": None,
}  # fmt: skip
STONE = "Stone"


@dataclass(frozen=True, slots=True)
class Drafted:
    """One reading that is not saved yet; `told` identifies the page's event that reported it."""

    lab: Lab | None
    munsell: str | None
    place: str | None
    state: str
    told: str = ""


@dataclass(slots=True)
class SetInHand:
    """
    One set of readings that is being taken: soiled, reference, or of the trial panel `key`.

    `state`, `place` (stone; empty if none is named) and `by_eye` are those of the next readings.
    `places` holds the stones to choose from.
    """

    key: str
    state: str = ""
    place: str = ""
    by_eye: str = ""
    readings: list[Drafted] = field(default_factory=list)
    places: list[str] = field(default_factory=lambda: [f"{STONE} 1", f"{STONE} 2"])

    @classmethod
    def of(cls, key: str, typed: Mapping[str, str]) -> Self:
        """The set `key` as a draft holds it; an empty draft gives a new set."""
        found = cls(key, typed.get("state", ""), typed.get("place", ""), typed.get("by_eye", ""))
        for one in json.loads(typed.get("readings", "[]")):
            lab = one.pop("lab")
            found.readings.append(Drafted(lab=tuple(lab) if lab else None, **one))
        found.places = json.loads(typed.get("places", "null")) or found.places
        return found

    @property
    def typed(self) -> dict[str, str]:
        """The set as a draft holds it."""
        return {
            "state": self.state, "place": self.place, "by_eye": self.by_eye,
            "readings": json.dumps([asdict(one) for one in self.readings]),
            "places": json.dumps(self.places),
        }  # fmt: skip

    @property
    def target(self) -> str:
        """What is read, as in the field `target` of a record."""
        return self.key if self.key in SIDES else "panel"

    def add(self, row: ColourRow, told: str = "") -> None:
        """Add a reading, unless the same event of the page, `told`, already added it."""
        if told and any(one.told == told for one in self.readings):
            return
        place = row.place or self.place or None
        if place and place not in self.places:
            self.places.append(place)
        self.readings.append(Drafted(row.lab, row.munsell, place, self.state, told))

    def new_place(self) -> None:
        """Choose a stone that was not read before."""
        numbers = (int(one.removeprefix(STONE)) for one in self.places if _numbered(one))
        self.place = f"{STONE} {max(numbers, default=0) + 1}"
        self.places.append(self.place)

    def dry_lab(self) -> list[Lab]:
        """L*, a*, b* of the readings that count: by a meter, on dry stone."""
        return [one.lab for one in self.readings if one.lab and one.state == "dry"]

    def records(
        self, zone: str, shared: Mapping[str, Any], survey: Survey | None = None
    ) -> tuple[Reading, ...]:
        """
        Records of the set, with the fields that all readings of the day share.

        Without a survey they get placeholder codes, for display only.
        """
        panel = self.key if self.target == "panel" else None
        count = len(self.readings)
        if survey is None:
            name, codes = "in hand", tuple(f"in hand {number}" for number in range(count))
        else:
            beside = {"zone": zone, "target": self.target} | ({"panel": panel} if panel else {})
            codes = next_codes(survey, "readings", count, **beside)
            name = next_name(survey, "readings", "set_name", f"{panel or zone}-{self._stem}")
        found = []
        for code, one in zip(codes, self.readings, strict=True):
            values = {
                **shared, **(BY_EYE if one.munsell else {}), "reading": code, "zone": zone,
                "set_name": name, "set_size": count, "target": self.target, "panel": panel,
                "munsell": one.munsell, "state": one.state, "place": one.place,
                **dict(zip(LAB, one.lab or (None, None, None), strict=True)),
            }  # fmt: skip
            if survey is None:
                # For display only; its values were checked one by one when they were typed.
                found.append(Reading.model_construct(**values))
            else:
                found.append(RecordForm(Reading, {}, values).record())
        return tuple(found)

    @property
    def _stem(self) -> str:
        """What the name of the set says of it."""
        return "colour" if self.target == "panel" else self.target


def _numbered(place: str) -> bool:
    """Whether the name of a stone is one that `new_place` made."""
    return place.startswith(STONE) and place.removeprefix(STONE).strip().isdecimal()


def by_eye_of(who: str, today: date) -> dict[str, Any]:
    """Fields that all readings by eye share; they need no meter."""
    return {**BY_EYE, "read_on": today, "read_by": who}


def zone_with_sets(
    zone: Zone, before: Iterable[Reading], new: Sequence[Reading]
) -> tuple[Zone, ...]:
    """
    The zone with its new number of colour sets; empty where the number stays as it is.

    If nobody gave a number but sets are recorded, the number stays open: there may have been more.
    """
    saved = {one.set_name for one in before if one.target in SIDES}
    added = {one.set_name for one in new if one.target in SIDES} - saved
    if not added or (zone.colour_sets is None and saved):
        return ()
    return (zone.changed(colour_sets=(zone.colour_sets or 0) + len(added)),)


# -- Rows of colours -------------------------------------------------------------------------------

LAB = ("L_star", "a_star", "b_star")
EXAMPLE = "write L*, a* and b*, such as 61,2 1,8 9,4"
MUNSELL_EXAMPLE = "write hue, value and chroma, such as 10YR 6/4, or N 5/"
MOST_ROWS = 1000  # no set is larger; a workbook pasted by mistake would take minutes
CELLS = re.compile(r"[\t;]")
# Commas part the numbers where each has its own decimal point, or a blank behind the comma.
PARTING_COMMA = re.compile(r",\s+|(?<=\d),(?=[+-]?\d+\.\d)")
LETTER = re.compile(r"[^\W\d_]")

Lab = tuple[float, float, float]


class ColourRow(NamedTuple):
    """One colour that was read: by its numbers or its Munsell notation, and the stone, if said."""

    lab: Lab | None
    munsell: str | None
    place: str | None


def read_row(text: str) -> ColourRow:
    """
    L*, a*, b* in one row, between blanks, tabs or semicolons; the stone may follow in words.

    Examples
    --------
    >>> read_row("61,2 1,8 9,4 Stone 2")
    ColourRow(lab=(61.2, 1.8, 9.4), munsell=None, place='Stone 2')
    """
    cells = _cells(text)
    numbers, rest = cells[:3], " ".join(cells[3:])
    if len(numbers) < 3 or (rest and not LETTER.search(rest)):
        count = len(cells)
        raise NotTakenError(
            f"{brief(text)} holds {count} value{'' if count == 1 else 's'}, not three; {EXAMPLE}."
        )
    lightness, red, yellow = map(_number, LAB, numbers)
    return ColourRow((lightness, red, yellow), None, rest or None)


def read_munsell(text: str) -> ColourRow:
    """
    A Munsell notation with a blank after the hue, in any case, with a decimal point or comma.

    Examples
    --------
    >>> read_munsell("7,5yr 6/2").munsell
    '7.5YR 6/2'
    """
    notation = " ".join(text.upper().replace(",", ".").split())
    if not MUNSELL.fullmatch(notation):
        raise NotTakenError(f"{brief(text)} is not a Munsell notation; {MUNSELL_EXAMPLE}.")
    return ColourRow(None, notation, None)


def read_rows(text: str, *, by_eye: bool = False) -> tuple[list[ColourRow], list[str]]:
    """Colours of pasted text, and a sentence for each row that can't be read; skips empty lines."""
    read, wrong = [], []
    lines = [(number, line) for number, line in enumerate(text.splitlines(), 1) if line.strip()]
    for number, line in lines[:MOST_ROWS]:
        try:
            read.append((read_munsell if by_eye else read_row)(line))
        except NotTakenError as why:
            wrong.append(f"Row {number}: {why}")
    if len(lines) > MOST_ROWS:
        wrong.append(
            f"Rows beyond the first {MOST_ROWS} were not read: paste the readings of one set."
        )
    return read, wrong


def _cells(text: str) -> list[str]:
    """Text between tabs or semicolons; without these, between blanks."""
    line = text.strip()
    if CELLS.search(line):
        parts: Iterable[str] = CELLS.split(line)
    else:
        parts = PARTING_COMMA.sub(" ", line).split()
    return [part.strip() for part in parts if part.strip()]


def _number(field: str, text: str) -> float:
    """One number, within its limits."""
    try:
        value = read_typed(Reading, field, text)
    except NotTakenError as why:
        raise NotTakenError(f"{field.replace('_star', '*')}: {why}") from None
    assert isinstance(value, float | int)
    return float(value)


# -- A day with the meter, and its white tile ------------------------------------------------------

TASK = "meter of the day"
LONGEST_MIN = 1440


@dataclass(frozen=True, slots=True)
class MeterDay:
    """
    The meter that one person confirmed for one day.

    `begun_at` is the time of the first white tile; `last_told` identifies the last tile reading
    that was saved, so that a repeated event is ignored.
    """

    instrument: str
    geometry: str
    aperture_mm: str
    illuminant: str
    read_on: str
    read_by: str
    session: str
    confirmed_on: str
    begun_at: str = ""
    last_told: str = ""

    @classmethod
    def of(cls, drafts: Drafts, who: str, today: date) -> Self | None:
        """The meter that somebody confirmed today; None if none was."""
        kept = drafts.read(who, TASK)
        return cls(**kept) if kept.get("confirmed_on") == today.isoformat() else None

    @classmethod
    def confirmed(
        cls, survey: Survey, values: Mapping[str, str], who: str, today: date, session: str = ""
    ) -> Self:
        """A meter that `who` confirms today, in `session`; if that is empty, in a new session."""
        name = f"{values['read_on']} {who}"
        return cls(
            **values, confirmed_on=today.isoformat(),
            session=session or next_name(survey, "tile_readings", "session", name),
        )  # fmt: skip

    def keep(self, drafts: Drafts, who: str) -> None:
        """Save it for the rest of the day."""
        drafts.write(who, TASK, asdict(self))

    def shared(self, survey: Survey) -> dict[str, Any]:
        """Fields that all readings of the day share; the session only if its tile was read."""
        return {
            "instrument": self.instrument, "geometry": self.geometry,
            "aperture_mm": float(self.aperture_mm.replace(",", ".")),
            "illuminant": self.illuminant, "read_on": date.fromisoformat(self.read_on),
            "read_by": self.read_by, "session": self.session if self.tiles(survey) else None,
        }  # fmt: skip

    def tiles(self, survey: Survey) -> tuple[TileReading, ...]:
        """Readings of the white tile in its session, in the order of time."""
        found = [one for one in survey.all(TileReading) if one.session == self.session]
        return tuple(sorted(found, key=lambda one: one.minutes))

    def with_tile(
        self, survey: Survey, lab: Lab, now: datetime, told: str
    ) -> tuple[Self, tuple[TileReading, ...]]:
        """
        One more reading of the white tile: the day after it, and the records to save together.

        Each record holds the number of tile readings in the session, so that a lost one is noticed.
        `told` identifies the event of the page.
        """
        before = self.tiles(survey)
        start = datetime.fromisoformat(self.begun_at) if self.begun_at else now
        since = (now - start).total_seconds() / 60
        # A clock that was set back must not change the order of readings.
        last = before[-1].minutes if before else 0.0
        minutes = min(max(round(since), last), LONGEST_MIN)
        count = len(before) + 1
        new = TileReading.model_validate(
            dict(zip(LAB, lab, strict=True)) | {
                "tile_reading": next_code(survey, "tile_readings", session=self.session),
                "session": self.session, "tile_readings_in_session": count, "minutes": minutes,
                "instrument": self.instrument, "read_on": date.fromisoformat(self.read_on),
                "read_by": self.read_by,
            }
        )  # fmt: skip
        day = replace(self, begun_at=start.isoformat(timespec="seconds"), last_told=told)
        counted = [one.changed(tile_readings_in_session=count) for one in before]
        return day, (*counted, new)
