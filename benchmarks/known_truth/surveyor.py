"""Records that a surveyor who errs writes of a zone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np

from heritagecheck.judgement.gates.panel_requirements import method_limits
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.survey.places import build
from heritagecheck.survey.records.structure import list_of
from heritagecheck.survey.survey import Survey
from heritagecheck.tables import keyed
from known_truth.truth import SOILINGS, Place

BEGUN = date(2026, 6, 1)
# Shares of answers that are wrong, and that the first visit leaves empty; guesses of a good survey.
WRONG = {"condition": 0.05, "decay": 0.07, "decay_cause": 0.08, "hidden": 0.05, "soiling": 0.03,
         "valued": 0.04, "cause": 0.04, "coating": 0.05}  # fmt: skip
LEFT_OUT = 0.03
# What the truth counts for the work itself is about a tenth of its ratings: the team agrees.
SWINGS = {"people": 10, "environment": 10, "resources": 10}
CLEAN_STONE = {"granite": (62, 0.5, 3), "limestone": (78, 1.5, 11)}
Row = dict[str, Any]


@dataclass
class Sheet:
    """What is on record of one zone."""

    place: Place
    zone: Row
    layers: list[Row]
    answers: dict[str, str]
    forgotten: set[str]
    readings: list[Row]
    panels: list[Row] = field(default_factory=list)
    spots: list[Row] = field(default_factory=list)
    tests: list[Row] = field(default_factory=list)

    def second_visit(self) -> None:
        """Answer what the first assessment said is not known."""
        self.forgotten.clear()


def _perhaps(rng: np.random.Generator, what: str, true: str, others: Iterable[str]) -> str:
    """The true answer, or by mistake another."""
    wrong = [other for other in others if other != true]
    return str(rng.choice(wrong)) if wrong and rng.random() < WRONG[what] else true


def sheet(rng: np.random.Generator, place: Place) -> Sheet:
    """
    Survey one zone, with mistakes.

    Parameters
    ----------
    rng : numpy Generator
        Source of draws.
    place : Place
        What is true.

    Returns
    -------
    Sheet
    """
    soiling = _perhaps(rng, "soiling", place.soiling, SOILINGS[place.substrate])
    if place.metal and "lead_paint" in {soiling, place.soiling}:
        soiling = place.soiling  # the laboratory says which paint holds lead
    valued = place.valued_beneath != (rng.random() < WRONG["valued"] * (1 if place.valued_beneath
                                                                        else 0.3))  # fmt: skip
    beneath = "previous_coating" if soiling != "previous_coating" else "film"
    soilings = [soiling, beneath] if valued else [soiling]
    condition = place.condition
    if not place.metal:
        condition = _perhaps(
            rng, "condition", condition, ("sound", "slightly_weathered", "friable")
        )
    counted = place.biotite * float(np.exp(rng.normal(0, 0.3)))
    zone: Row = {
        "zone": place.code, "elevation": "A", "name": f"{place.kind}, {soiling}",
        "area_m2": round(place.area, 1), "substrate": place.substrate,
        "finish": "rolled" if place.metal else "tooled", "condition": condition,
        "exposure": "exposed" if place.metal else "rain_washed", "access": "scaffold",
        "significance": place.significance, "significance_reason": "drawn",
        "soilings": ";".join(soilings), "panels_laid": 0,
        "biotite_pct": round(counted, 1) if place.substrate == "granite" else None,
        "coatings": 1 if place.metal else None, "bed_or_system": f"of {place.code} alone",
        "surveyed_on": BEGUN, "surveyed_by": "conservator",
    }  # fmt: skip
    layers = [
        {"layer": f"{place.code}-L{number}", "zone": place.code, "soiling": code,
         "value": "not_valued" if number == 1 else "significant", "cover_pct": 60,
         "made_of": None if number == 1 else "oil_paint"}
        for number, code in enumerate(soilings, start=1)
    ]  # fmt: skip
    answers = _answers(rng, place)
    forgotten = {topic for topic in answers if rng.random() < LEFT_OUT}
    found = Sheet(place, zone, layers, answers, forgotten, list(_readings(rng, place)))
    if place.metal and place.soiling != "lead_paint":
        found.tests.append(_no_lead(place.code))
    return found


def _no_lead(zone: str) -> Row:
    """Full-depth chip of the one coating, in which the laboratory found no lead."""
    return {
        "site_test": f"{zone}-lead", "zone": zone, "panel": None, "quantity": "lead_lab_pct",
        "value": 0, "detection_limit": 0.005, "full_depth": "yes", "set_name": f"{zone}-lead",
        "set_size": 1, "method": "full-depth chip", "tested_on": BEGUN,
        "tested_by": "laboratory",
    }  # fmt: skip


def _answers(rng: np.random.Generator, place: Place) -> dict[str, str]:
    """Answers to all topics that bear on the zone."""
    decay = _perhaps(rng, "decay", place.decay, ("none", "slow", "active"))
    cause = _perhaps(rng, "decay_cause", place.decay_cause, ("none", "soiling", "other"))
    if decay != "none" and cause == "none":
        cause = "other"
    hidden = place.hidden != (rng.random() < WRONG["hidden"])
    answers = {
        "decay": decay, "decay_cause": "none" if decay == "none" else cause,
        "detail_hidden": "yes" if hidden and not place.metal else "no", "other_reason": "none",
        "agreed_appearance": "as_reference" if place.wanted else "as_today",
        "polychromy": "none", "frost_possible": "no", "controls": "yes", "season": "suitable",
        "consent": "granted", "falling_material": "no", "stone_jacking": "no",
        "containment": "yes", "carbonate_near": "yes" if place.kind == "limestone" else "no",
        "stain_disfigures": "no",
    }  # fmt: skip
    for topic in ("cause_moisture", "cause_iron", "cause_salts", "cause_birds",
                  "cause_other"):  # fmt: skip
        active = place.active == topic
        missed = rng.random() < WRONG["cause"]
        answers[topic] = "active" if active and not missed else "none"
    if place.metal:
        # The coating is looked at by itself, and who ordered another is no matter of looking.
        failing = place.decay != "none"
        looks = failing != (rng.random() < WRONG["coating"])
        answers |= {
            "coating_state": "failing" if looks else "sound",
            "coating_order": "yes" if failing else "no", "metal_identity": "confirmed",
            "engineer_limit": "within",
            "lead": "yes" if place.soiling == "lead_paint" else "no", "lead_shedding": "no",
        }  # fmt: skip
    else:
        answers |= {
            "joints": "sound", "lead": "no", "coating_state": "none", "pointing": "lime",
            "glass_near": "no",
        }  # fmt: skip
    return answers


def _readings(rng: np.random.Generator, place: Place) -> Iterator[Row]:
    """Twelve readings each of clean and soiled stone."""
    if place.metal:
        return
    clean = np.array(CLEAN_STONE[place.substrate], dtype=float)
    # ΔL* that gives about the true ΔE00 in the middle of the scale, by the lightness weight alone.
    darker = place.delta_e * (1 + 0.015 * abs(clean[0] - place.delta_e / 2 - 50))
    for target, mean in (("reference", clean), ("soiled", clean - [darker, 0, 0])):
        for number in range(1, 13):
            lab = mean + rng.normal(size=3) * (1.8, 0.4, 0.8)
            yield {
                "reading": f"{place.code}-{target}-{number}", "zone": place.code,
                "set_name": f"{place.code}-{target}", "set_size": 12, "target": target,
                "L_star": round(max(lab[0], 0.0), 2), "a_star": round(lab[1], 2),
                "b_star": round(lab[2], 2), "state": "dry", "geometry": "SCI",
                "aperture_mm": 25, "illuminant": "D65/10", "instrument": "sphere d/8",
                "read_on": BEGUN, "read_by": "conservator",
            }  # fmt: skip


def survey_of(sheets: Iterable[Sheet], closed: date) -> Survey:
    """
    Make a survey of what is on record.

    Parameters
    ----------
    sheets : iterable of Sheet
        Zones.
    closed : date
        Day on which the survey closes; answers are dated to it.

    Returns
    -------
    Survey
    """
    found = list(sheets)
    tables: dict[str, list[Row]] = {
        "structure": [{"structure": "Simulated", "asked": "What to clean",
                       "surveyed_by": "conservator", "survey_date": closed,
                       "significance": "drawn",
                       "beds": list_of((one.zone["substrate"], one.zone["bed_or_system"])
                                       for one in found)}],
        "elevations": [{"elevation": "A", "name": "only", "drawing": "a.svg", "width_m": 10,
                        "height_m": 10}],
        "policy": [policy_row()],
        "views": [
            {"member": "team", "criterion": one, "swing": SWINGS.get(one, 100)} for one in CRITERIA
        ],
        "observations": [
            {"observation": f"{one.place.code}-{topic}", "zone": one.place.code, "topic": topic,
             "finding": answer, "seen_on": closed, "seen_by": "conservator"}
            for one in found for topic, answer in one.answers.items()
            if topic not in one.forgotten
        ],
    }  # fmt: skip
    for table, name in (("zones", "zone"), ("layers", "layers"), ("readings", "readings"),
                        ("panels", "panels"), ("spots", "spots"),
                        ("site_tests", "tests")):  # fmt: skip
        tables[table] = [
            row for one in found
            for row in ([one.zone] if name == "zone" else getattr(one, name))
        ]  # fmt: skip
    tables["settings"] = [row for one in found for row in _dialled(one)]
    return build(tables)


def _dialled(one: Sheet) -> Iterator[Row]:
    """What decides whether panels were laid as their method's name says: they were."""
    substrate = keyed("substrates", "substrate")[one.place.substrate]
    facts = {name: frozenset({substrate[name]}) for name in ("kind", "acid_sensitive")}
    methods = {row["series"]: row["method"] for row in one.panels}
    for series, method in methods.items():
        for limit in method_limits(method, facts):
            told = (
                {"words": limit.allowed[0]} if limit.allowed
                else {"value": limit.most, "unit": limit.unit}
            )  # fmt: skip
            yield {
                "series": series, "zone": one.place.code, "quantity": limit.quantity, **told,
            }  # fmt: skip


def policy_row() -> Row:
    """Row of the usual policy."""
    return {
        "alpha": 0.1, "agreed_share": 1, "fabric_cap_high": 2, "fabric_cap_medium": 4,
        "fabric_cap_low": 5, "margin": 1.3, "margin_high": 2, "damage_limit": 0.25,
        "damage_limit_medium": 0.15,
        "damage_limit_high": 0.1, "damage_seen": 0.05, "damage_seen_high": 0.02,
        "horizon_years": 25, "power": 2, "agreed_on": BEGUN,
    }  # fmt: skip
