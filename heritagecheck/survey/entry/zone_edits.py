"""Zones started, split and joined: which records change, and when that is refused."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from heritagecheck.sentences import count_of, joined
from heritagecheck.survey.drawings.outline_edits import (
    SLIVER_M2,
    Rings,
    area_of,
    as_text,
    join_outlines,
    overlap_m2,
    rings_of,
    split_outline,
)
from heritagecheck.survey.drawings.path_data import FloatArray
from heritagecheck.survey.entry.codes import next_code
from heritagecheck.survey.entry.drafts import Drafts
from heritagecheck.survey.records import TABLE_OF, Decision, Zone
from heritagecheck.survey.records.fields import title_of
from heritagecheck.survey.records.team import NOT_DECIDED
from heritagecheck.survey.survey import Survey

# -- Split and joined ------------------------------------------------------------------------------

# Counted or measured on the whole zone, so not known for a part.
NOT_COPIED = ("biotite_pct", "panels_laid", "colour_sets")
# One decision covers a whole zone, so two zones can be joined only if these agree.
MUST_AGREE = (
    "substrate", "finish", "condition", "exposure", "access", "significance", "soilings",
    "bed_or_system", "coatings",
)  # fmt: skip
WHOLE_FROM_M2 = 10.0
FORM_M = 0.01
SHARED = 0.01  # of an outline
SIDE_BY_SIDE_M = 0.1  # common practice: so far apart lie hand-drawn neighbours


def rounded_area(rings: Rings) -> float:
    """
    Area of an outline [m²] to two digits below 10 m², else to whole square metres.

    A hand-drawn outline supports no more digits (common practice).
    """
    area = area_of(rings)
    return float(f"{area:.2g}") if area < WHOLE_FROM_M2 else float(round(area))


def area_in_words(area_m2: float) -> str:
    """
    A rounded area with its unit.

    Examples
    --------
    >>> area_in_words(2.0), area_in_words(0.5), area_in_words(12.0)
    ('2.0 m²', '0.50 m²', '12 m²')
    """
    return f"{area_m2:#.2g} m²" if area_m2 < WHOLE_FROM_M2 else f"{area_m2:.0f} m²"


def split_zone(zone: Zone, rings: Rings, line: ArrayLike, *, code: str) -> tuple[Zone, Zone]:
    """
    A zone in two along a line: the larger part, which keeps all records, and the new zone.

    Outline and line are in metres on the drawing. What was counted or measured on the whole zone
    is not copied. ValueError if the line does not cut the outline in two.
    """
    first, second = split_outline(rings, line)
    return (
        zone.changed(outline=as_text(first), area_m2=rounded_area(first)),
        zone.changed(
            zone=code, name=f"{zone.name}, part split off", outline=as_text(second),
            area_m2=rounded_area(second), **dict.fromkeys(NOT_COPIED),
        ),
    )  # fmt: skip


def records_of(survey: Survey, zone: str) -> list[str]:
    """Numbers of records that name a zone, such as ``"12 readings"``, table by table."""
    return [
        count_of(len(records), TABLE_OF[kind].replace("_", " ").removesuffix("s"))
        for kind, records in survey.by_zone.get(zone, {}).items()
        if records
    ]


def gap_m(rings: Rings, other_rings: Rings) -> float:
    """Shortest distance between two outlines [m]; 0 if they touch."""
    from shapely import GeometryCollection, LinearRing

    one, other = (GeometryCollection(list(map(LinearRing, of))) for of in (rings, other_rings))
    return float(one.distance(other))


def corners_to_edit(rings: Rings) -> list[FloatArray]:
    """An outline [m] with as few corners as keep its shape to a centimetre, to edit by hand."""
    from shapely import Polygon

    return [
        np.array(Polygon(np.asarray(ring)).simplify(FORM_M).exterior.coords)[:-1] for ring in rings
    ]


def overlapped(rings: Rings, others: Mapping[str, Rings]) -> dict[str, float]:
    """Zones that an outline overlaps, with the shared area [m²], if it is more than a sliver."""
    ends = _ends(rings)
    near = {
        zone: one
        for zone, one in others.items()
        if (_ends(one)[0] < ends[1]).all() and (_ends(one)[1] > ends[0]).all()
    }
    shared = {zone: overlap_m2(rings, one) for zone, one in near.items()}
    least = max(SLIVER_M2, SHARED * area_of(rings))
    return {zone: area for zone, area in shared.items() if area > least}


def _ends(rings: Rings) -> FloatArray:
    """Least and greatest x and y of an outline."""
    every = np.concatenate([np.asarray(ring, dtype=float) for ring in rings])
    return np.stack([every.min(axis=0), every.max(axis=0)])


def why_not_joined(survey: Survey, one: Zone, other: Zone) -> str:
    """Why two zones can't be joined, as a sentence; empty if they can."""
    if differ := [name for name in MUST_AGREE if getattr(one, name) != getattr(other, name)]:
        titles = joined((title_of(Zone, name) for name in differ), ", ")
        return f"The records of {one.zone} and {other.zone} differ: {titles}."
    if (held := records_of(survey, other.zone)) and records_of(survey, one.zone):
        every = joined(held, ", ")
        return (
            f"Both have records of their own; of {other.zone} there are {every}. What was recorded "
            "on one zone says nothing of the other."
        )
    return ""


def joined_zone(kept: Zone, rings: Rings, other_rings: Rings) -> Zone:
    """The zone `kept` with the outline and area of both. Outlines in metres on the drawing."""
    both = join_outlines(rings, other_rings)
    return kept.changed(outline=as_text(both), area_m2=rounded_area(both))


# -- Started, and without a record yet -------------------------------------------------------------

# The form of a zone keeps its draft under this task.
TASK = "zone/{}/what#zone"
OF_A_ZONE = re.compile(r"zone/(.+)/what#zone")


@dataclass(frozen=True, slots=True)
class BegunZone:
    """A zone without a record: its code, who started it, and what was given so far."""

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
    """Every zone that somebody started and that has no record yet, by code."""
    kept = {zone.zone for zone in survey.all(Zone)}
    found = []
    for draft in drafts.all():
        task = OF_A_ZONE.fullmatch(draft.task)
        if task and task[1] not in kept:
            given = (draft.typed.get(name, "") for name in ("name", "elevation", "outline"))
            found.append(BegunZone(task[1], draft.who, *given))
    return tuple(sorted(found, key=lambda one: one.zone))


def begin_zone(survey: Survey, drafts: Drafts, who: str, *, elevation: str, name: str) -> str:
    """Start a zone of which only the name is known: its code, in the pattern of the elevation."""
    taken = [one.zone for one in begun_zones(survey, drafts)]
    code = next_code(survey, "zones", taken=taken, elevation=elevation)
    drafts.write(who, TASK.format(code), {"name": name, "elevation": elevation})
    return code


def give_outline(drafts: Drafts, who: str, zone: str, *, outline: str, area_m2: str) -> None:
    """
    Save the outline of a zone without a record in its draft.

    `area_m2` is text, as it would be typed; if it is empty, the former area stays.
    """
    typed = drafts.read(who, TASK.format(zone))
    more = {"outline": outline} | ({"area_m2": area_m2} if area_m2 else {})
    drafts.write(who, TASK.format(zone), typed | more)


# -- Split or joined during a meeting --------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Recut:
    """
    A zone that is split in two, or joined with another.

    `kept` keeps its code and records. Either `new` is split off from it, or `gone` is joined to it.
    """

    kept: Zone
    new: Zone | None = None
    gone: Zone | None = None

    @property
    def in_words(self) -> str:
        """What was done."""
        if self.new is not None:
            return f"{self.kept.zone} split into {self.kept.zone} and {self.new.zone}"
        assert self.gone is not None
        return f"{self.kept.zone} and {self.gone.zone} joined"

    @property
    def before(self) -> tuple[str, ...]:
        """Codes of the zones before, about which answers were given."""
        return (self.kept.zone, *((self.gone.zone,) if self.gone else ()))

    @property
    def now(self) -> tuple[str, ...]:
        """Codes of the zones now, about which answers are required."""
        return (self.kept.zone, *((self.new.zone,) if self.new else ()))

    def notes(self) -> dict[str, str]:
        """What everybody is shown about each zone."""
        code = self.kept.zone
        of_what = "both parts" if self.new else f"{code} without {self.before[-1]}"
        said = f"{self.in_words} in this meeting. What was said of {code} before is about {of_what}"
        return dict.fromkeys(self.now, f"{said}: answer and decide again.")

    def planned(self, agenda: Iterable[str]) -> tuple[str, ...]:
        """The plan of the meeting: a part that was split off follows its zone."""
        found: list[str] = []
        for zone in agenda:
            found += self.now if zone in self.before else [zone]
        return tuple(dict.fromkeys(found))


def withdrawn(decision: Decision, recut: Recut) -> Decision:
    """The decision on a zone that was split or joined since: not decided."""
    return decision.changed(
        outcome=NOT_DECIDED, method=None, conditions=None, override_reason=None,
        reasons=f"{recut.in_words} after the decision: {decision.in_words}. Decide again. "
        f"Reasons then: {decision.reasons}",
    )  # fmt: skip


def words_given_back(
    typed: Mapping[str, str], given: Mapping[str, str], zones: Sequence[str]
) -> str:
    """What a member wrote about some zones in private, typed or given; each text once."""
    words = [typed.get(f"answer.{zone}.why") or given.get(zone, "") for zone in zones]
    return "\n".join(dict.fromkeys(one.strip() for one in words if one.strip()))
