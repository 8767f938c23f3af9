"""A day with the colour meter: what all its readings share, and its white tile."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime
from typing import Any, Self

from heritagecheck.survey.entry.codes import next_code, next_name
from heritagecheck.survey.entry.colour_set import LAB, Lab
from heritagecheck.survey.entry.drafts import Drafts
from heritagecheck.survey.records import TileReading
from heritagecheck.survey.survey import Survey

TASK = "meter of the day"
LONGEST_MIN = 1440


@dataclass(frozen=True, slots=True)
class MeterDay:
    """
    The meter of one person on one day, as that person confirmed it.

    `begun_at` is when its white tile was read first; `last_told` marks the last tile reading that
    was taken over, so that one told twice is kept once.
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
        """
        What somebody confirmed today.

        Returns
        -------
        MeterDay or None
            None where nothing was confirmed yet today.
        """
        kept = drafts.read(who, TASK)
        return cls(**kept) if kept.get("confirmed_on") == today.isoformat() else None

    @classmethod
    def confirmed(
        cls, survey: Survey, values: Mapping[str, str], who: str, today: date, session: str = ""
    ) -> Self:
        """
        A day that somebody confirms.

        Parameters
        ----------
        survey : Survey
            The survey.
        values : mapping of str to str
            Instrument, geometry, aperture_mm, illuminant, read_on and read_by.
        who : str
            Who, by role.
        today : date
            The day of this computer.
        session : str
            A session that goes on; a new one where none is given.
        """
        name = f"{values['read_on']} {who}"
        return cls(
            **values, confirmed_on=today.isoformat(),
            session=session or next_name(survey, "tile_readings", "session", name),
        )  # fmt: skip

    def keep(self, drafts: Drafts, who: str) -> None:
        """Keep it for the rest of the day."""
        drafts.write(who, TASK, asdict(self))

    def shared(self, survey: Survey) -> dict[str, Any]:
        """
        What each reading of the day holds.

        Returns
        -------
        dict
            Field of a `Reading` to value. The session only where its white tile was read.
        """
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
        One more reading of the white tile.

        Parameters
        ----------
        survey : Survey
            The survey.
        lab : tuple of float
            L*, a*, b*. [CIELAB units]
        now : datetime
            When it was read.
        told : str
            What tells it from the same reading told again.

        Returns
        -------
        tuple of MeterDay and tuple of TileReading
            The day as it is then, and the records to save together: each says how many there are,
            so that one that is lost is missed.
        """
        before = self.tiles(survey)
        begun = datetime.fromisoformat(self.begun_at) if self.begun_at else now
        since = (now - begun).total_seconds() / 60
        # A clock that was set back must not put a reading before those that were made before it.
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
        day = replace(self, begun_at=begun.isoformat(timespec="seconds"), last_told=told)
        counted = [one.changed(tile_readings_in_session=count) for one in before]
        return day, (*counted, new)
