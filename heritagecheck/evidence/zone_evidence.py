"""All evidence of a zone in one place: facts with their records, colour, panels, numbers."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache, cached_property

from heritagecheck.cards import summary
from heritagecheck.errors import Fault, SurveyError
from heritagecheck.evidence.colour.comparison import ColourDifference
from heritagecheck.evidence.colour.zone_colour import ZoneColour, colour_of_zone
from heritagecheck.evidence.trials.damaged_fields import NO_POLICY, DamageLimits
from heritagecheck.evidence.trials.other_panels import (
    area_spoken_for,
    series_of_all,
    unaccounted,
    zones_that_speak,
)
from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.sentences import count_of
from heritagecheck.survey.records import (
    Layer,
    Observation,
    Photo,
    Reading,
    SiteTest,
    Structure,
    Zone,
    grouped,
)
from heritagecheck.survey.records.readings import complete_values
from heritagecheck.survey.records.structure import WHOLLY_VALUED
from heritagecheck.survey.records.zone_facts import (
    fact,
    facts_of,
    lead_by_lab,
    lead_by_xrf,
    lead_on,
    may_be_coated,
)
from heritagecheck.survey.survey import Survey
from heritagecheck.tables.conditions import Facts
from heritagecheck.tables.row_types import Substrate, Topic

# What a thing is made of does not change with the years.
LASTING = {"lead", "metal_identity", "polychromy"}
# What the surface is in for now, or what follows from answers at the wall.
CHANGING = {"condition", "lead", "coated", "partly_valued", "carried"}


@dataclass(frozen=True, eq=False)
class ZoneEvidence:
    """What is recorded and measured about one zone. Nothing here is a judgement."""

    zone: Zone
    # While the survey is open, the latest day on which a record of it was made.
    survey_date: date
    survey_open: bool
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
    def substrate(self) -> Substrate:
        """Row of the substrate in `tables/substrates.csv`."""
        return Substrate.named(self.zone.substrate)

    @property
    def metal(self) -> bool:
        """Whether the substrate is iron or steel."""
        return self.zone.metal

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
            ("Substrate", self.substrate.name),
            ("Layers", ", ".join(layer.soiling for layer in self.layers).replace("_", " ")),
            ("Colour", self.colour or self.colour_note),
            ("Lead", self.lead),
            ("Panels", ", ".join(one.series for one in self.series)),
        ]
        return summary("Evidence", f"{self}.", lines, more="zone.evidence_table()")

    def finding(self, topic: str) -> str | None:
        """Answer recorded for a topic; None where there is none."""
        observation = self.observations.get(topic)
        return observation.finding if observation else None

    def record(self, *topics: str) -> tuple[str, ...]:
        """Codes of the observations that answer some topics."""
        return tuple(
            self.observations[topic].observation for topic in topics if topic in self.observations
        )

    @cached_property
    def lead(self) -> str:
        """Lead in the coating: yes, trace, no, or unknown."""
        return lead_on(self.zone, self.finding("lead"), self.finding("coating_state"), self.tests)

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
            one.site_test: ("site_tests", one.tested_on) for one in self.tests if not one.of_lead
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
    def undescribed(self) -> tuple[str, ...]:
        """Soilings seen on the zone of which no layer says whether they are of value."""
        described = {layer.soiling for layer in self.layers}
        return tuple(code for code in self.zone.soiling_codes if code not in described)

    @property
    def layers_complete(self) -> bool:
        """Whether every soiling seen on the zone has its layer record."""
        return {layer.soiling for layer in self.layers} == set(self.zone.soiling_codes)

    @cached_property
    def facts(self) -> Facts:
        """Everything a rule may ask about; None where nothing is recorded."""
        findings = {topic: one.finding for topic, one in self.observations.items()}
        return facts_of(self.zone, findings, self.lead) | {
            "partly_valued": fact(self._partly_valued),
            "carried": fact(self._carried),
        }

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
        return self.zone.weakest_component


def lasting(facts: Facts) -> Facts:
    """Facts without those that may change: answers at the wall, and what follows from them."""
    return {**facts, **_unanswered()}


@cache
def _unanswered() -> Facts:
    """Facts that may change, as if nobody had recorded them."""
    return dict.fromkeys({row.topic for row in Topic.rows()} | CHANGING)


def gather(survey: Survey, zone: Zone, *, limits: DamageLimits = NO_POLICY) -> ZoneEvidence:
    """Gather the evidence of one zone; refuse records that contradict about lead or plate."""
    survey = survey.still()
    check_lead(survey, zone)
    check_plate(survey, zone)
    order = {code: place for place, code in enumerate(zone.soiling_codes)}
    readings = survey.of_zone(zone.zone, Reading)
    photos = survey.of_zone(zone.zone, Photo)
    tests = survey.of_zone(zone.zone, SiteTest)
    telling, warning = zones_that_speak(survey, zone)
    structure = survey.only(Structure)
    day = survey.day or zone.surveyed_on
    return ZoneEvidence(
        zone=zone,
        survey_date=day,
        survey_open=survey.closed_on is None,
        call_first=structure.call_first,
        observations={one.topic: one for one in survey.of_zone(zone.zone, Observation)},
        layers=tuple(
            sorted(survey.of_zone(zone.zone, Layer), key=lambda layer: order[layer.soiling])
        ),
        tests=tests,
        zone_colour=colour_of_zone(zone, readings, photos, survey.unsteady_sessions),
        colour_sets={
            "meter": _sets_read(readings, photographed=False),
            "photograph": _sets_read(readings, photographed=True),
        },
        colour_dates={
            name: min(one.read_on for one in found)
            for name, found in grouped(readings, lambda one: one.set_name).items()
        },
        series=series_of_all(survey, telling, limits),
        bed_series=series_of_all(survey, warning, limits),
        spoken_m2={one.zone: area_spoken_for(survey, one) for one in telling},
        panels_unaccounted=tuple(unaccounted(survey, zone, (*telling, *warning))),
        limit=limit_of_zone(tests, zone, day),
    )


def _sets_read(readings: Iterable[Reading], *, photographed: bool) -> tuple[str, ...]:
    """Sets of readings of soiled and clean stone, by photograph or by meter."""
    found = (
        one.set_name
        for one in readings
        if one.target != "panel" and (one.geometry == "photograph") == photographed
    )
    return tuple(dict.fromkeys(found))


# -- Evidence that contradicts itself is refused before anything is judged -------------------------


def check_lead(survey: Survey, zone: Zone) -> None:
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
    coated = may_be_coated(zone, _said(survey, zone, "coating_state"))
    if _lead_contradicts(given.values(), said, coated=coated):
        _refuse(
            zone, "lead", given,
            "Take a full-depth chip. Then leave the answer empty and say why under "
            "not_recorded_because or not_measured_because. Record a coating without lead as "
            "previous_coating",
        )  # fmt: skip


def _lead_contradicts(given: Iterable[str], said: str | None, *, coated: bool) -> bool:
    """Whether records of lead contradict: losing one would let another decide alone."""
    verdicts = set(given)
    # On a coating an answer "no" decides nothing: an unknown beside it does no harm if one is lost.
    doubtful = "unknown" in verdicts and (said == "yes" or (said == "no" and not coated))
    return len(verdicts & {"yes", "trace", "no"}) > 1 or doubtful


def check_plate(survey: Survey, zone: Zone) -> None:
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
    allowed = f"these contradict one another. {do}"
    raise SurveyError([Fault("observations", None, field, f"{zone.zone}: {words}", allowed)])


# -- Whether steel passes the engineer's limit before anyone can reach it again --------------------


@dataclass(frozen=True, slots=True)
class LimitPassed:
    """Probability of passing the engineer's limit, and when that probability reaches 5 %."""

    probability: float
    years_to_5_pct: float

    def __str__(self) -> str:
        """Say it in a sentence."""
        return (
            f"{100 * self.probability:.0f} % probability of passing the engineer's limit "
            "before the next access"
        )


def limit_of_zone(tests: tuple[SiteTest, ...], zone: Zone, day: date) -> LimitPassed | None:
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


def limit_passed(
    *,
    loss_pct: float,
    loss_sd: float,
    rate_pct_a: float,
    rate_sd: float,
    limit_pct: float,
    years: float,
) -> LimitPassed:
    """
    Probability that plate loss passes the engineer's limit within some years.

    Loss grows by a constant, normally distributed rate: P = Phi((loss + rate t - limit) / s),
    s^2 = s_loss^2 + (t s_rate)^2 (propagation of independent normal errors: JCGM 100:2008,
    clause 5). Pits, cracks and rivets are not in it, and a rate from two surveys says little about
    the next leak.
    """
    if min(loss_pct, loss_sd, rate_sd, limit_pct, years) < 0:
        raise ValueError("Losses, limits, spreads and years can't be negative.")
    if loss_sd == 0 and rate_sd == 0:
        raise ValueError(
            "Neither the loss nor its rate has a spread: give the standard deviation of one."
        )

    def probability(time: float) -> float:
        spread = math.hypot(loss_sd, rate_sd * time)
        short = limit_pct - loss_pct - rate_pct_a * time
        if spread == 0:
            return float(short < 0)
        return 0.5 * math.erfc(short / spread / math.sqrt(2))

    low, high = 0.0, 200.0
    if probability(high) < 0.05:
        return LimitPassed(probability(years), math.inf)
    while high - low > 1e-3:
        middle = (low + high) / 2
        low, high = (low, middle) if probability(middle) >= 0.05 else (middle, high)
    return LimitPassed(probability(years), high)
