"""A set of colour readings in hand: drafts, one after another, until the set is saved."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any, Self, cast

from heritagecheck.survey.entry.codes import next_codes, next_name
from heritagecheck.survey.entry.colour_rows import LAB, ColourRow, Lab
from heritagecheck.survey.entry.record_form import RecordForm
from heritagecheck.survey.records import Reading, Zone
from heritagecheck.survey.survey import Survey

SIDES = ("soiled", "reference")
BY_EYE = {
    "geometry": "visual", "aperture_mm": None, "illuminant": "C/2",
    "instrument": "Munsell chips, matched by eye", "session": None,
}  # fmt: skip
STONE = "Stone"


@dataclass(frozen=True, slots=True)
class Drafted:
    """One reading that is not saved yet; `told` tells it from the same one told again."""

    lab: Lab | None
    munsell: str | None
    place: str | None
    state: str
    told: str = ""


@dataclass(slots=True)
class SetInHand:
    """
    One set that is being read.

    Attributes
    ----------
    key : str
        ``"soiled"``, ``"reference"``, or the code of a trial panel.
    state : str
        Dry, damp or wet: of the readings that are typed from now on.
    place : str
        Stone of the readings that are typed from now on; empty where none is named.
    places : list of str
        The stones to choose from.
    """

    key: str
    state: str = ""
    place: str = ""
    by_eye: str = ""
    readings: list[Drafted] = field(default_factory=list)
    places: list[str] = field(default_factory=lambda: [f"{STONE} 1", f"{STONE} 2"])

    @classmethod
    def of(cls, key: str, typed: Mapping[str, str]) -> Self:
        """
        A set as a draft holds it.

        Parameters
        ----------
        key : str
            Which set.
        typed : mapping of str to str
            The draft; nothing for a set that is begun.
        """
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
        """What is read, as a record says it."""
        return self.key if self.key in SIDES else "panel"

    def add(self, row: ColourRow, told: str = "") -> None:
        """
        Take one more reading; one that was told before is not taken twice.

        Parameters
        ----------
        row : ColourRow
            The colour.
        told : str
            What tells it from the same reading told again.
        """
        if told and any(one.told == told for one in self.readings):
            return
        place = row.place or self.place or None
        if place and place not in self.places:
            self.places.append(place)
        self.readings.append(Drafted(row.lab, row.munsell, place, self.state, told))

    def new_place(self) -> None:
        """Go on to a stone that was not read before."""
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
        The records that the set makes.

        Parameters
        ----------
        zone : str
            Code of the zone.
        shared : mapping
            What all readings of the day hold, as `MeterDay.shared` gives it.
        survey : Survey, optional
            Where they are to be saved; without it they get codes only to be looked at.

        Raises
        ------
        SurveyError
            A reading can't be taken.
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
                # To be looked at only; its values were checked one by one as they were typed.
                found.append(Reading.model_construct(**values))
            else:
                found.append(cast("Reading", RecordForm(Reading, {}, values).record()))
        return tuple(found)

    @property
    def _stem(self) -> str:
        """What the name of the set says of it."""
        return "colour" if self.target == "panel" else self.target


def _numbered(place: str) -> bool:
    """Whether a stone bears a number of ours."""
    return place.startswith(STONE) and place.removeprefix(STONE).strip().isdecimal()


def by_eye_of(who: str, today: date) -> dict[str, Any]:
    """
    What readings by eye hold, for which no meter is needed.

    Parameters
    ----------
    who : str
        Who, by role.
    today : date
        The day.
    """
    return {**BY_EYE, "read_on": today, "read_by": who}


def zone_with_sets(
    zone: Zone, before: Iterable[Reading], new: Sequence[Reading]
) -> tuple[Zone, ...]:
    """
    The zone with the number of its sets of colour readings, where that can be said.

    Parameters
    ----------
    zone : Zone
        The zone.
    before : iterable of Reading
        Its readings that are saved.
    new : sequence of Reading
        Those that are saved with it.

    Returns
    -------
    tuple of Zone
        Empty where the new sets do not count, or where nobody said how many there were before:
        what is on record then may not be all that was read.
    """
    saved = {one.set_name for one in before if one.target in SIDES}
    added = {one.set_name for one in new if one.target in SIDES} - saved
    if not added or (zone.colour_sets is None and saved):
        return ()
    return (zone.changed(colour_sets=(zone.colour_sets or 0) + len(added)),)
