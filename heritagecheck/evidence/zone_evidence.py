"""All evidence of a zone in one place: facts with their records, colour, panels, numbers."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache, cached_property
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

from heritagecheck.cards import summary
from heritagecheck.errors import Fault, SurveyError
from heritagecheck.evidence.colour.readings import ColourDifference
from heritagecheck.evidence.colour.zone_colour import ZoneColour, colour_of_zone
from heritagecheck.evidence.corrosion import LimitPassed, limit_passed
from heritagecheck.evidence.lead import (
    lead_by_lab,
    lead_by_xrf,
    lead_contradicts,
    lead_of,
    may_be_coated,
)
from heritagecheck.evidence.rounding import LEAST_SHARE
from heritagecheck.evidence.trials.damaged_fields import NO_POLICY, DamageLimits
from heritagecheck.evidence.trials.panels import PanelSeries, complete_values, panel_series
from heritagecheck.evidence.trials.transfer import transfers
from heritagecheck.sentences import count_of
from heritagecheck.survey.records import (
    Layer,
    Observation,
    Panel,
    Photo,
    Reading,
    Setting,
    SiteTest,
    Spot,
    Structure,
    Zone,
)
from heritagecheck.survey.records.beds import may_be_one_bed, plain_bed, stone_of
from heritagecheck.survey.survey import Survey
from heritagecheck.tables import keyed, rows, threshold
from heritagecheck.tables.conditions import Facts

if TYPE_CHECKING:
    import pandas as pd

# Panels of one zone speak of many, and are read once. Records of a survey at rest never change.
_READ: WeakKeyDictionary[Survey, dict[tuple[str, DamageLimits], tuple[PanelSeries, ...]]] = (
    WeakKeyDictionary()
)
# What a thing is made of does not change with the years.
LASTING = {"lead", "metal_identity", "polychromy"}
# What the surface is in for now, or what follows from answers at the wall.
CHANGING = {"condition", "lead", "coated", "partly_valued", "carried"}
_AREAS: WeakKeyDictionary[Survey, dict[str, float]] = WeakKeyDictionary()
WHOLLY_VALUED = {"significant", "protective", "rare", "original_surface"}


@dataclass(frozen=True, eq=False)
class ZoneEvidence:
    """What is recorded and measured about one zone. Nothing here is a judgement."""

    zone: Zone
    survey_date: date
    call_first: str | None
    observations: dict[str, Observation]
    layers: tuple[Layer, ...]
    tests: tuple[SiteTest, ...]
    zone_colour: ZoneColour
    colour_sets: dict[str, tuple[str, ...]]
    colour_dates: Mapping[str, date]
    series: tuple[PanelSeries, ...]
    bed_series: tuple[PanelSeries, ...]
    panels_unaccounted: tuple[str, ...]
    spoken_m2: Mapping[str, float]
    limit: LimitPassed | None

    @property
    def colour(self) -> ColourDifference | None:
        """Difference between soiled and clean stone that the judgement rests on."""
        return self.zone_colour.used

    @property
    def colour_note(self) -> str:
        """What to know about it, or why there is none."""
        return self.zone_colour.note

    @property
    def colour_records(self) -> tuple[str, ...]:
        """Sets of readings of soiled and clean stone."""
        return tuple(name for names in self.colour_sets.values() for name in names)

    @property
    def substrate(self) -> dict[str, str]:
        """Row of the substrate in `tables/substrates.csv`."""
        return keyed("substrates", "substrate")[self.zone.substrate]

    @property
    def metal(self) -> bool:
        """Whether the substrate is iron or steel."""
        return self.substrate["kind"] == "metal"

    def __str__(self) -> str:
        """Say in a sentence what there is."""
        parts = (
            count_of(len(self.observations), "observation"),
            count_of(len(self.layers), "layer"),
            count_of(len(self.colour_records), "set of colour readings", "sets of colour readings"),
            count_of(len(self.tests), "site test"),
            count_of(len(self.series), "series of trial panels", "series of trial panels"),
        )
        return f"Evidence of {self.zone.zone}, {self.zone.name}: {', '.join(parts)}"

    __repr__ = __str__

    def _repr_html_(self) -> str:
        """Show it in a notebook as a short card."""
        lines = [
            ("Substrate", self.substrate["name"]),
            ("Layers", ", ".join(layer.soiling for layer in self.layers).replace("_", " ")),
            ("Colour", self.colour or self.colour_note),
            ("Lead", self.lead),
            ("Panels", ", ".join(one.series for one in self.series)),
        ]
        return summary("Evidence", f"{self}.", lines, more="zone.evidence_table()")

    def finding(self, topic: str) -> str | None:
        """
        Answer recorded for a topic; None where there is none.

        Parameters
        ----------
        topic : str
            Code of `tables/topics.csv`.

        Returns
        -------
        str or None
        """
        observation = self.observations.get(topic)
        return observation.finding if observation else None

    def record(self, *topics: str) -> tuple[str, ...]:
        """
        Codes of the observations that answer some topics.

        Parameters
        ----------
        *topics : str
            Codes of topics.

        Returns
        -------
        tuple of str
        """
        return tuple(
            self.observations[topic].observation for topic in topics if topic in self.observations
        )

    @cached_property
    def lead(self) -> str:
        """Lead in the coating: yes, trace, no, or unknown."""
        return lead_of(
            self.finding("lead"),
            lead_by_xrf(self.tests),
            lead_by_lab(self.tests, self.zone.coatings),
            coated=may_be_coated(self.zone, self.finding("coating_state"), metal=self.metal),
        )

    @cached_property
    def dated(self) -> dict[str, tuple[str, date]]:
        """Table and date of each record that may be too old: code or set name to both."""
        surveyed = "zones", self.zone.surveyed_on
        found = {one.layer: surveyed for one in self.layers} | {self.zone.zone: surveyed}
        found |= {
            one.observation: ("observations", one.seen_on)
            for topic, one in self.observations.items()
            if topic not in LASTING
        }
        found |= {
            one.site_test: ("site_tests", one.tested_on)
            for one in self.tests
            if not one.quantity.startswith("lead_")
        }
        return found | {name: ("readings", day) for name, day in self.colour_dates.items()}

    @cached_property
    def targets(self) -> tuple[Layer, ...]:
        """Layers that would be removed: those lying over the first that is of value."""
        found: list[Layer] = []
        for layer in self.layers:
            if layer.value in WHOLLY_VALUED:
                break
            found.append(layer)
        return tuple(found)

    @property
    def layers_complete(self) -> bool:
        """Whether every soiling seen on the zone has its layer record."""
        return {layer.soiling for layer in self.layers} == set(self.zone.soiling_codes)

    @cached_property
    def facts(self) -> Facts:
        """Everything a rule may ask about; None where nothing is recorded."""
        zone, substrate = self.zone, self.substrate
        found: dict[str, frozenset[str] | None] = {
            topic["topic"]: _fact(self.finding(topic["topic"])) for topic in rows("topics")
        }
        found |= {
            "substrate": _fact(zone.substrate),
            "kind": _fact(substrate["kind"]),
            "acid_sensitive": _fact(substrate["acid_sensitive"]),
            "silica": _fact(substrate["silica"]),
            "finish": frozenset(
                {zone.finish} | ({"polished"} if zone.substrate == "granite_polished" else set())
            ),
            "condition": _fact(None if zone.condition == "not_assessed" else zone.condition),
            "exposure": _fact(zone.exposure),
            "access": _fact(zone.access),
            "confined": _fact("yes" if zone.confined else "no"),
            "significance": _fact(zone.significance),
            "soiling": frozenset(zone.soiling_codes),
            "lead": _fact(self.lead),
            "coated": _fact(self._coated),
            "partly_valued": _fact(self._partly_valued),
            "carried": _fact(self._carried),
        }
        return found

    @property
    def _coated(self) -> str:
        """Whether there is a coating: lead lies in one; metal has one unless lead is ruled out."""
        soilings = keyed("soilings", "soiling")
        seen = any(soilings[code]["kind"] == "coating" for code in self.zone.soiling_codes)
        leaded = self.lead in {"yes", "trace"} or (self.metal and self.lead != "no")
        return "yes" if seen or leaded else "no"

    @property
    def _partly_valued(self) -> str | None:
        values = {layer.value for layer in self.layers}
        if values & (WHOLLY_VALUED | {"partly"}):
            return "yes"
        return None if "not_assessed" in values or not self.layers_complete else "no"

    @property
    def _carried(self) -> str | None:
        """Whether something can be carried into a confined space."""
        if not self.zone.confined:
            return "yes"
        plan, remote = self.finding("closed_plan"), self.finding("remote_access")
        if plan == "yes" or remote == "shown":
            return "yes"
        return "no" if plan == "no" and remote == "not_shown" else None

    @property
    def weakest_component(self) -> str | None:
        """Component that sets the limit; taken as present where nobody counted it."""
        share = self.zone.biotite_pct
        named = self.substrate["weakest_components"] or None
        return named if share is None or share >= threshold("weakest_component_pct") else None


def lasting(facts: Facts) -> Facts:
    """
    Give facts without those that may change: answers at the wall, and what follows from them.

    Parameters
    ----------
    facts : mapping of str to frozenset of str
        Facts of a zone, and of a method where there is one.

    Returns
    -------
    mapping of str to frozenset of str
        What the zone is made of, how it is finished and reached, and what is rated for it.
    """
    return {**facts, **_unanswered()}


@cache
def _unanswered() -> Facts:
    """Facts that may change, as if nobody had recorded them."""
    return dict.fromkeys({row["topic"] for row in rows("topics")} | CHANGING)


def _fact(value: str | None) -> frozenset[str] | None:
    """One recorded value as a fact."""
    return None if value is None else frozenset({value})


def gather(survey: Survey, zone: Zone, *, limits: DamageLimits = NO_POLICY) -> ZoneEvidence:
    """
    Gather the evidence of one zone.

    Parameters
    ----------
    survey : Survey
        The survey.
    zone : Zone
        One of its zones.
    limits : DamageLimits
        Share of fields or spots that may be damaged, at its upper bound and as seen.

    Returns
    -------
    ZoneEvidence

    Raises
    ------
    SurveyError
        Records of the zone contradict one another about lead or about the engineer's limit.
    """
    survey = survey.still()
    _check_lead(survey, zone)
    _check_plate(survey, zone)
    order = {code: place for place, code in enumerate(zone.soiling_codes)}
    readings = survey.of_zone(zone.zone, Reading)
    colour = colour_of_zone(
        zone, readings, survey.of_zone(zone.zone, Photo), survey.unsteady_sessions,
    )  # fmt: skip
    tests = survey.of_zone(zone.zone, SiteTest)
    telling, warning = zones_that_speak(survey, zone)
    structure = survey.only(Structure)
    day = structure.survey_date
    return ZoneEvidence(
        zone=zone,
        survey_date=day,
        call_first=structure.call_first,
        observations={
            observation.topic: observation for observation in survey.of_zone(zone.zone, Observation)
        },
        layers=tuple(
            sorted(survey.of_zone(zone.zone, Layer), key=lambda layer: order[layer.soiling])
        ),
        tests=tests,
        zone_colour=colour,
        colour_sets={
            by: tuple(
                dict.fromkeys(
                    reading.set_name
                    for reading in readings
                    if reading.target != "panel"
                    and (reading.geometry == "photograph") == photographed
                )
            )
            for by, photographed in (("meter", False), ("photograph", True))
        },
        colour_dates={
            name: min(one.read_on for one in readings if one.set_name == name)
            for name in dict.fromkeys(one.set_name for one in readings)
        },
        series=_series_of_all(survey, telling, limits),
        bed_series=_series_of_all(survey, warning, limits),
        spoken_m2={one.zone: _area_spoken_for(survey, one) for one in telling},
        panels_unaccounted=tuple(_unaccounted(survey, zone, (*telling, *warning))),
        limit=_limit(tests, zone, day),
    )


def _check_lead(survey: Survey, zone: Zone) -> None:
    """Refuse contradictory records of lead: whichever were lost, the other would decide alone."""
    tests = survey.of_zone(zone.zone, SiteTest)
    said = _said(survey, zone, "lead")
    kept = any(layer.made_of == "lead_paint" for layer in survey.of_zone(zone.zone, Layer))
    seen = (
        kept or "lead_paint" in zone.soiling_codes or _said(survey, zone, "lead_shedding") == "yes"
    )
    verdicts = {"observation": said, "XRF": lead_by_xrf(tests),
                "laboratory": lead_by_lab(tests, zone.coatings),
                "lead paint among the soilings or shedding": "yes" if seen else None}  # fmt: skip
    given = {name: verdict for name, verdict in verdicts.items() if verdict is not None}
    metal = keyed("substrates", "substrate")[zone.substrate]["kind"] == "metal"
    coated = may_be_coated(zone, _said(survey, zone, "coating_state"), metal=metal)
    if lead_contradicts(given.values(), said, coated=coated):
        _refuse(
            zone, "lead", given,
            "Take a full-depth chip; then leave the answer empty and give the reason under "
            "not_recorded_because or not_measured_because; a coating without lead is a "
            "previous_coating",
        )  # fmt: skip


def _check_plate(survey: Survey, zone: Zone) -> None:
    """Refuse a statement that plate lies within the limit beside a loss measured beyond it."""
    tests = survey.of_zone(zone.zone, SiteTest)
    loss = complete_values(tests, "plate_loss_pct")
    limit = complete_values(tests, "plate_loss_limit_pct")
    within = _said(survey, zone, "engineer_limit") == "within"
    if within and loss and limit and max(loss) >= min(limit):
        given = {"observation": "within", "plate loss": f"{max(loss):g} %",
                 "limit": f"{min(limit):g} %"}  # fmt: skip
        _refuse(zone, "engineer_limit", given, "Ask the engineer again")


def _said(survey: Survey, zone: Zone, topic: str) -> str | None:
    """Answer recorded on a zone for a topic."""
    answers = survey.of_zone(zone.zone, Observation)
    return next((one.finding for one in answers if one.topic == topic), None)


def _refuse(zone: Zone, field: str, given: dict[str, str], do: str) -> None:
    """Refuse what contradicts itself, naming everything that was said."""
    words = ", ".join(f"{name} {verdict}" for name, verdict in given.items())
    allowed = f"these can't stand side by side. {do}"
    raise SurveyError([Fault("observations", None, field, f"{zone.zone}: {words}", allowed)])


def zones_that_speak(survey: Survey, zone: Zone) -> tuple[list[Zone], list[Zone]]:
    """
    Zones whose panels tell about one, and zones whose panels only warn of it.

    Parameters
    ----------
    survey : Survey
        The survey.
    zone : Zone
        One of its zones.

    Returns
    -------
    list of Zone
        Itself, and those of its bed that are no sounder, plainer or less valued.
    list of Zone
        The others with panels on the same stone, weathered or polished, that are of its bed or may
        be. They can't speak for it, but harm there is harm to be expected here.
    """
    bed = plain_bed(zone.bed_or_system)
    # Panels of another bed tell nothing, which spares most zones of a large survey a look.
    alike = survey.by_bed[bed] if bed else (zone,)
    telling = [one for one in alike if one.zone == zone.zone or transfers(one, zone)]
    told = {one.zone for one in telling}
    warning = [
        one
        for zones in survey.tested.get(stone_of(zone.substrate), {}).values()
        if may_be_one_bed(zones[0].bed_or_system, zone.bed_or_system)
        for one in zones
        if one.zone not in told
    ]
    return telling, warning


def series_of(survey: Survey, zone: Zone, limits: DamageLimits) -> tuple[PanelSeries, ...]:
    """
    Series of panels on one zone.

    Parameters
    ----------
    survey : Survey
        The survey, as it is at one moment.
    zone : Zone
        The zone.
    limits : DamageLimits
        Share of fields or spots that may be damaged, at its upper bound and as seen.

    Returns
    -------
    tuple of PanelSeries
    """
    read = _READ.setdefault(survey, {})
    if (zone.zone, limits) not in read:
        read[zone.zone, limits] = panel_series(
            survey.of_zone(zone.zone, Panel),
            survey.of_zone(zone.zone, SiteTest),
            survey.of_zone(zone.zone, Spot),
            survey.of_zone(zone.zone, Setting),
            limits=limits,
        )
    return read[zone.zone, limits]


def _area_spoken_for(survey: Survey, tested: Zone) -> float:
    """Area of all zones about which the panels on one tell, itself among them, in m²."""
    if tested.zone not in (known := _AREAS.setdefault(survey, {})):
        alike = survey.by_bed.get(plain_bed(tested.bed_or_system), (tested,))
        known[tested.zone] = math.fsum(
            one.area_m2 for one in alike if one.zone == tested.zone or transfers(tested, one)
        )
    return known[tested.zone]


def _series_of_all(
    survey: Survey, zones: Iterable[Zone], limits: DamageLimits
) -> tuple[PanelSeries, ...]:
    """Series of panels on some zones."""
    return tuple(one for zone in zones for one in series_of(survey, zone, limits))


def _unaccounted(survey: Survey, zone: Zone, speaking: Iterable[Zone]) -> Iterable[str]:
    """Zones whose panels count here and of which not as many are recorded as were laid."""
    for one in speaking:
        recorded = len(survey.of_zone(one.zone, Panel))
        if one.panels_laid is None and (recorded or one.zone == zone.zone):
            yield f"{one.zone}: not recorded how many panels were laid"
        elif one.panels_laid is not None and one.panels_laid != recorded:
            yield f"{one.zone}: {one.panels_laid} panels laid, {recorded} recorded"


def _limit(tests: tuple[SiteTest, ...], zone: Zone, day: date) -> LimitPassed | None:
    """Probability that plate loss passes the engineer's limit before the next access."""
    loss = complete_values(tests, "plate_loss_pct")
    limit = complete_values(tests, "plate_loss_limit_pct")
    rate = [test for test in tests if test.quantity == "plate_loss_rate_pct_a"]
    if not loss or not limit or not rate or rate[0].value is None:
        return None
    if zone.next_access is None or zone.next_access < day:
        return None
    spread = next(
        test.spread or 0.0
        for test in tests
        if test.quantity == "plate_loss_pct" and test.value == max(loss)
    )
    if not spread and not rate[0].spread:
        return None
    return limit_passed(
        loss_pct=max(loss),
        loss_sd=spread,
        rate_pct_a=rate[0].value,
        rate_sd=rate[0].spread or 0.0,
        limit_pct=min(limit),
        years=(zone.next_access - day).days / 365.25,
    )


def _by_spots(series: PanelSeries) -> Iterable[tuple[object, ...]]:
    """What the spots of a series show at the setting of its panels."""
    spots = series.spots
    if spots is None:
        return
    for name, share in (("damaged", spots.damage_share), ("left soiled", spots.residual_share)):
        if share is not None:
            # Digits below a thousandth are a grid's, not the spots': they are rounded up.
            expected, upper = (max(round(one, 3), LEAST_SHARE) for one in share[:2])
            yield (
                f"spots {name}, {series.series}",
                expected, None, upper, 0.95, "1", ", ".join(series.panels),
            )  # fmt: skip


_EVIDENCE = ["zone", "quantity", "mean", "low", "high", "level", "unit", "records"]


def evidence_table(evidence: Iterable[ZoneEvidence]) -> pd.DataFrame:
    """
    All measured evidence as one long table.

    Parameters
    ----------
    evidence : iterable of ZoneEvidence
        Evidence of the zones.

    Returns
    -------
    pandas.DataFrame
        Columns zone, quantity, mean, low, high, level, unit, records. Low and high are empty where
        the record gives no spread.
    """
    from heritagecheck.cards import table

    rows = [row for item in evidence for row in evidence_rows(item)]
    return table([tuple(row.values()) for row in rows], _EVIDENCE)


def evidence_rows(item: ZoneEvidence) -> list[dict[str, Any]]:
    """
    Measured evidence of one zone, row by row.

    Parameters
    ----------
    item : ZoneEvidence
        Evidence of the zone.

    Returns
    -------
    list of dict
        Rows of `evidence_table`, None where it is empty.
    """
    found: list[tuple[object, ...]] = []
    code = item.zone.zone
    for name, colour in (
        ("colour difference", item.zone_colour.by_meter),
        ("colour difference, by photograph", item.zone_colour.by_photograph),
    ):
        if colour is not None:
            by = "photograph" if "photograph" in name else "meter"
            found.append(
                (code, name, colour.delta_e, colour.low, colour.high, colour.level, "ΔE00",
                 ", ".join(item.colour_sets[by]))
            )  # fmt: skip
    for series in item.series:
        if series.x50 is not None:
            found.append(
                (code, f"×50 fields damaged, {series.series}",
                 series.x50.seen, None if series.x50.seen else 0.0,
                 series.x50.upper, 0.95, "1", ", ".join(series.panels))
            )  # fmt: skip
        if series.margin_low is not None:
            found.append(
                (code, f"damage margin, {series.series}", None, series.margin_low,
                 series.margin_high, None, "1", ", ".join(series.panels))
            )  # fmt: skip
        found += [(code, *row) for row in _by_spots(series)]
    for test in item.tests:
        if test.value is not None:
            quantity = keyed("quantities", "quantity")[test.quantity]
            spread = test.spread
            found.append(
                (code, quantity["name"], test.value,
                 None if spread is None else test.value - 1.96 * spread,
                 None if spread is None else test.value + 1.96 * spread,
                 None if spread is None else 0.95, quantity["unit"], test.site_test)
            )  # fmt: skip
    return [dict(zip(_EVIDENCE, row, strict=True)) for row in found]
