"""What the colour readings of a zone say while they are taken, drafts included."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import NamedTuple

from heritagecheck.evidence.colour.colour_difference import display_colour
from heritagecheck.evidence.colour.reading_sets import SetSoFar, lying_apart, set_so_far
from heritagecheck.evidence.colour.spectra import lab_of_munsell
from heritagecheck.evidence.colour.zone_colour import colour_of_zone
from heritagecheck.screens.app import Desk
from heritagecheck.sentences import count_of, ended, upper_first
from heritagecheck.survey.entry.colour_entry import Drafted, Lab, SetInHand
from heritagecheck.survey.records import Photo, Reading, Zone
from heritagecheck.survey.survey import Survey

WET = "Wet or damp stone is darker. These readings are kept and shown, and never compared."
NOT_HARM = "A colour difference says nothing about whether cleaning would do harm."


class Swatch(NamedTuple):
    """A patch of colour: how it looks, and its words."""

    colour: str
    words: str


class Help(NamedTuple):
    """What is shown while readings are typed."""

    swatches: tuple[Swatch, ...]
    of_set: tuple[str, ...]
    of_zone: tuple[str, ...]


def swatch_of(one: Drafted) -> str:
    """How one reading looks; empty where that is not known."""
    try:
        lab = one.lab if one.lab else lab_of_munsell(one.munsell or "")
    except ValueError:  # a notation beyond the chips that were ever made
        return ""
    return display_colour(lab)


def help_of(
    survey: Survey, zone: Zone | None, chosen: SetInHand | None, drafted: Sequence[Reading]
) -> Help:
    """
    What the readings say, those in hand included.

    Parameters
    ----------
    survey : Survey
        The survey.
    zone : Zone or None
        The zone, once it is saved.
    chosen : SetInHand or None
        The set that is being read.
    drafted : sequence of Reading
        What all sets in hand would be as records.
    """
    swatches, of_set = [], []
    if chosen and (dry := chosen.dry_lab()):
        so_far = set_so_far(dry)
        of_set = _of_set(chosen, so_far)
        swatches.append(_swatch("this set", so_far.mean))
    if zone is None:
        return Help(tuple(swatches), tuple(of_set), ())
    readings = [*survey.of_zone(zone.zone, Reading), *drafted]
    photos = survey.of_zone(zone.zone, Photo)
    found = colour_of_zone(zone, readings, photos, survey.unsteady_sessions)
    if found.used is None:
        return Help(
            tuple(swatches),
            tuple(of_set),
            (f"Not compared yet. {ended(upper_first(found.meter_note))}",),
        )
    swatches += [
        _swatch("soiled", found.used.mean_soiled), _swatch("clean", found.used.mean_reference),
    ]  # fmt: skip
    counted = f"{found.used.n_soiled} soiled and {found.used.n_reference} clean readings compared."
    note = [f"{upper_first(found.note)}."] if found.note else []
    said = (str(found.used), counted, *note, *found.used.cautions, NOT_HARM)
    return Help(tuple(swatches), tuple(of_set), said)


def _swatch(name: str, lab: Lab) -> Swatch:
    """The mean of a set as a patch."""
    return Swatch(display_colour(lab), f"{name}: {numbers(lab)}")


def numbers(lab: Lab) -> str:
    """A colour in numbers."""
    return "L* {:.1f}, a* {:.1f}, b* {:.1f}".format(*lab)


def _of_set(chosen: SetInHand, so_far: SetSoFar) -> list[str]:
    """How far the set has come."""
    found = [
        f"{count_of(so_far.count, 'dry reading')}, mean {numbers(so_far.mean)}; they lie "
        f"{so_far.spread:.1f} ΔE00 from it on average."
    ]
    if so_far.needed is None:
        found.append("Five dry readings that differ are the least that can be compared; take ten.")
    elif so_far.needed > so_far.count:
        more = count_of(so_far.needed - so_far.count, "more dry reading")
        found.append(f"{more}, and the mean is known to ±1 CIELAB unit.")
    else:
        found.append("The mean is known to ±1 CIELAB unit.")
    if any(one.state != "dry" for one in chosen.readings):
        found.append(WET)
    return found


class Apart:
    """Readings that lie apart from their set; looked for while the next one is typed."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._known: dict[tuple[Lab, ...], tuple[int, ...]] = {}
        self._asked: set[tuple[Lab, ...]] = set()

    def of(self, lab: Sequence[Lab]) -> tuple[int, ...]:
        """Which of them do, counted from 0; none as long as that is being worked out."""
        key = tuple(lab)
        if key in self._known or key in self._asked:
            return self._known.get(key, ())
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            # Nobody waits at a page.
            return self._known.setdefault(key, lying_apart(key) if key else ())
        self._asked.add(key)
        self._task = loop.create_task(self._look(key))
        return ()

    async def _look(self, key: tuple[Lab, ...]) -> None:
        """Work it out beside the page, then show it."""
        found = await asyncio.get_running_loop().run_in_executor(None, lying_apart, key)
        self._known[key] = found
        if found:
            self._desk.redraw()
