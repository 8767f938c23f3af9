"""Zones that were begun and have no record yet: what is known of them is kept as drafts."""

from __future__ import annotations

import re
from dataclasses import dataclass

from heritagecheck.survey.drawings.outline_edits import rings_of
from heritagecheck.survey.drawings.path_data import FloatArray
from heritagecheck.survey.entry.codes import next_code
from heritagecheck.survey.entry.drafts import Drafts
from heritagecheck.survey.records import Zone
from heritagecheck.survey.survey import Survey

# The form of a zone keeps its draft under this task.
TASK = "zone/{}/what#zone"
OF_A_ZONE = re.compile(r"zone/(.+)/what#zone")


@dataclass(frozen=True, slots=True)
class BegunZone:
    """A zone without a record: its code, who began it, and what was given so far."""

    zone: str
    who: str
    name: str
    elevation: str
    outline: str

    @property
    def rings(self) -> list[FloatArray]:
        """Its outline as rings of corners, in metres on the drawing; none where it has none."""
        return rings_of(self.outline)


def begun_zones(survey: Survey, drafts: Drafts) -> tuple[BegunZone, ...]:
    """
    Every zone that was begun and has no record yet, in the order of their codes.

    Parameters
    ----------
    survey : Survey
        The survey.
    drafts : Drafts
        Its drafts.

    Returns
    -------
    tuple of BegunZone
        Of all persons; each goes on with their own.
    """
    kept = {zone.zone for zone in survey.all(Zone)}
    found = []
    for draft in drafts.all():
        task = OF_A_ZONE.fullmatch(draft.task)
        if task and task[1] not in kept:
            given = (draft.typed.get(name, "") for name in ("name", "elevation", "outline"))
            found.append(BegunZone(task[1], draft.who, *given))
    return tuple(sorted(found, key=lambda one: one.zone))


def begin_zone(survey: Survey, drafts: Drafts, who: str, *, elevation: str, name: str) -> str:
    """
    Begin a zone of which only the name is known.

    Parameters
    ----------
    survey : Survey
        The survey.
    drafts : Drafts
        Its drafts.
    who : str
        Who begins it, by role.
    elevation, name : str
        Where it lies, and what it is in words.

    Returns
    -------
    str
        Its code, in the habit of the elevation.
    """
    taken = [one.zone for one in begun_zones(survey, drafts)]
    code = next_code(survey, "zones", taken=taken, elevation=elevation)
    drafts.write(who, TASK.format(code), {"name": name, "elevation": elevation})
    return code


def give_outline(drafts: Drafts, who: str, zone: str, *, outline: str, area_m2: str) -> None:
    """
    Keep the outline of a zone that has no record yet in its draft.

    Parameters
    ----------
    drafts : Drafts
        The drafts of the survey.
    who : str
        Whose draft it is.
    zone : str
        Code of the zone.
    outline : str
        Corners as `heritagecheck.survey.drawings.outline_edits.as_text` writes them.
    area_m2 : str
        Area to be offered, as it would be typed; empty leaves what is there.
    """
    typed = drafts.read(who, TASK.format(zone))
    more = {"outline": outline} | ({"area_m2": area_m2} if area_m2 else {})
    drafts.write(who, TASK.format(zone), typed | more)
