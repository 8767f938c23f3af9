"""Which colour readings of a zone are compared: by a meter, or by a photograph in its place."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np

from heritagecheck.evidence.colour.colour_difference import FloatArray
from heritagecheck.evidence.colour.comparison import ColourDifference, compare
from heritagecheck.sentences import count_of
from heritagecheck.survey.records import Photo, Reading, Zone
from heritagecheck.survey.records.readings import FEWEST_COMPARED

_SIDES = ("soiled", "reference")

# The arguments of a comparison as a reader of the zone knows them.
_STONES = {"lab_soiled": "soiled stone", "lab_reference": "clean stone"}


@dataclass(frozen=True, slots=True, eq=False)
class ZoneColour:
    """Colour of a zone against clean stone, by meter and by photograph."""

    by_meter: ColourDifference | None
    meter_note: str
    by_photograph: ColourDifference | None
    photograph_note: str
    stands_in: bool

    @property
    def used(self) -> ColourDifference | None:
        """The difference that the judgement rests on."""
        return self.by_photograph if self.stands_in else self.by_meter

    @property
    def note(self) -> str:
        """What to know about it, or why there is none."""
        return self.photograph_note if self.stands_in else self.meter_note


def colour_of_zone(
    zone: Zone,
    readings: Iterable[Reading],
    photos: Iterable[Photo] = (),
    unsteady: Mapping[str, str] = MappingProxyType({}),
) -> ZoneColour:
    """Colour difference between soiled and reference stone; `unsteady` are sessions, with why."""
    # Only dry readings of whole sets are compared, taken with one meter and one set-up in steady
    # sessions, or in one photograph. A photograph stands in only where the meter took fewer than
    # five dry readings of a side, where every set is whole, and where as many sets are on record as
    # the zone says were taken. So no record that is lost lets a photograph speak in place of a
    # meter that said otherwise.
    readings = tuple(readings)
    compared = [one for one in readings if one.target in _SIDES and one.geometry != "visual"]
    by_eye: set[str] = {one.target for one in readings if one.geometry == "visual"}
    metered = [one for one in compared if one.geometry != "photograph"]
    pictured = [one for one in compared if one.geometry == "photograph"]
    by_meter, meter_note = _by_meter(metered, by_eye, unsteady)
    by_photograph, photograph_note = _by_photograph(pictured, tuple(photos))
    stands_in = False
    if by_photograph is not None and by_meter is None:
        why = _why_not(zone, metered, {one.set_name for one in readings if one.target in _SIDES})
        stands_in = not why
        if why:
            meter_note = f"{meter_note}; its photograph does not replace it: {why}"
    return ZoneColour(by_meter, meter_note, by_photograph, photograph_note, stands_in)


def _by_side(readings: list[Reading]) -> dict[str, list[Reading]]:
    """Readings of soiled stone, and of clean stone."""
    return {target: [one for one in readings if one.target == target] for target in _SIDES}


def _by_meter(
    readings: list[Reading], by_eye: set[str], unsteady: Mapping[str, str]
) -> tuple[ColourDifference | None, str]:
    """Difference by the meter, and what to know about it."""
    chosen: dict[str, list[Reading]] = {}
    for target, found in _by_side(readings).items():
        if not found:
            eye = f"the {target} stone was matched to chips by eye only"
            return None, eye if target in by_eye else f"no {target} stone was read"
        chosen[target], why = _whole_set(found, unsteady)
        if why:
            return None, why
    setups = {
        (reading.geometry, reading.aperture_mm, reading.illuminant, reading.instrument)
        for found in chosen.values()
        for reading in found
    }
    if len(setups) > 1:
        return None, "soiled and reference stone were read with different set-ups"
    dry = {target: _dry_lab(found) for target, found in chosen.items()}
    places = {target: _places(found) for target, found in chosen.items()}
    for target, lab in dry.items():
        if len(lab) < FEWEST_COMPARED:
            left = len(chosen[target]) - len(lab)
            return None, (
                f"{len(lab)} dry readings of {target} stone are too few "
                f"({left} of the set were wet, damp or not taken)"
            )
    left = sum(len(chosen[target]) - len(dry[target]) for target in dry)
    were = (
        "was wet, damp or not taken and is" if left == 1 else "were wet, damp or not taken and are"
    )
    note = f"{count_of(left, 'reading')} {were} left out" if left else ""
    return _compared(dry, None, note, places)


def _by_photograph(
    readings: list[Reading], photos: tuple[Photo, ...]
) -> tuple[ColourDifference | None, str]:
    """Difference by a photograph, with the error of its calibration, and what to know about it."""
    if not readings:
        return None, "no photograph was measured"
    sides = _by_side(readings)
    named = {reading.photo for reading in readings}
    photo = next((one for one in photos if one.photo in named), None)
    if photo is None or photo.error_L is None or photo.error_a is None or photo.error_b is None:
        return None, "the calibration of its photograph is not on record"
    if why := _gaps(sides, named):
        return None, why
    dry = {target: _dry_lab(found) for target, found in sides.items()}
    # Each side errs by itself: the chart says how far, but not which way for these two colours.
    error = 2 * np.diag(np.square([photo.error_L, photo.error_a, photo.error_b]))
    note = f"measured in photograph {photo.photo}"
    if photo.chart_error is not None:
        note += f" (uncertainty of the chart {photo.chart_error:.1f} ΔE00)"
    return _compared(dry, error, note, {})


def _gaps(sides: Mapping[str, list[Reading]], named: set[str | None]) -> str:
    """What the sets of a photograph lack to be compared; empty where they lack nothing."""
    if len(named) > 1:
        return "soiled and clean stone were measured in different photographs"
    for target, found in sides.items():
        if not found:
            return f"the photograph was not measured for {target} stone"
        if len(found) < found[0].set_size:
            return f"set {found[0].set_name} holds {len(found)} of {found[0].set_size} squares"
        if len(_dry_lab(found)) < FEWEST_COMPARED:
            return f"the photograph shows too little dry {target} stone"
    return ""


def _why_not(zone: Zone, metered: list[Reading], recorded: set[str]) -> str:
    """Why a photograph may not replace the meter; empty if it may."""
    if zone.colour_sets is None:
        return "the zone does not say how many sets of colour readings were taken"
    if zone.colour_sets != len(recorded):
        return f"{zone.colour_sets} sets of colour readings were taken, {len(recorded)} recorded"
    sets = _by_side(metered).values()
    if any(found and len(found) < found[0].set_size for found in sets):
        return "a set of the meter is not whole"
    if all(len(_dry_lab(found)) >= FEWEST_COMPARED for found in sets):
        return "the meter took enough readings; correct what keeps them from being compared"
    return ""


def _compared(
    dry: Mapping[str, FloatArray],
    systematic: FloatArray | None,
    note: str,
    places: Mapping[str, tuple[str, ...] | None],
) -> tuple[ColourDifference | None, str]:
    """Both sides compared, or why they can't be."""
    error = None if systematic is None else _Lab(systematic)
    try:
        sides = (_Lab(dry["soiled"]), _Lab(dry["reference"]))
        return _difference(*sides, error, places.get("soiled"), places.get("reference")), note
    except ValueError as why:
        words = str(why).rstrip(".")
        for argument, stone in _STONES.items():
            words = words.replace(argument, stone)
        return None, f"the readings can't be compared. {words[:1].upper()}{words[1:]}"


class _Lab:
    """Rows of three numbers, hashable by value so that results can be cached."""

    def __init__(self, rows: FloatArray) -> None:
        self.rows = rows
        self._bytes = rows.tobytes()

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Lab) and self._bytes == other._bytes

    def __hash__(self) -> int:
        return hash(self._bytes)


@lru_cache(maxsize=1024)
def _difference(
    soiled: _Lab,
    reference: _Lab,
    systematic: _Lab | None,
    places_soiled: tuple[str, ...] | None,
    places_reference: tuple[str, ...] | None,
) -> ColourDifference:
    """Both sides compared; the same readings only once, however often a survey is assessed."""
    error = None if systematic is None else systematic.rows
    return compare(
        soiled.rows, reference.rows, systematic=error,
        places_soiled=places_soiled, places_reference=places_reference,
    )  # fmt: skip


def _whole_set(found: list[Reading], unsteady: Mapping[str, str]) -> tuple[list[Reading], str]:
    """Readings of the largest set of a meter, or why they can't be compared."""
    leader = max(found, key=lambda reading: (reading.set_size, reading.set_name))
    chosen = [reading for reading in found if reading.set_name == leader.set_name]
    if len(chosen) < leader.set_size:
        return [], f"set {leader.set_name} holds {len(chosen)} of {leader.set_size} readings"
    shaky = [unsteady[one.session] for one in chosen if one.session and one.session in unsteady]
    return chosen, f"{shaky[0]}: read the set again" if shaky else ""


def _dry(readings: list[Reading]) -> list[Reading]:
    """Readings that were taken, dry, with the meter."""
    return [one for one in readings if one.state == "dry" and one.L_star is not None]


def _dry_lab(readings: list[Reading]) -> FloatArray:
    """Dry readings as an array, shape (readings, 3)."""
    values = [(one.L_star, one.a_star, one.b_star) for one in _dry(readings)]
    return np.array(values, dtype=float).reshape(-1, 3)


def _places(readings: list[Reading]) -> tuple[str, ...] | None:
    """Place of each dry reading, those without one together; None where none is recorded."""
    named = tuple((one.place or "").strip().casefold() for one in _dry(readings))
    return named if any(named) else None
