"""Deleting any one record never turns another outcome into clean."""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any

import pytest
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st
from tiers import examples, some_of

import heritagecheck as hc
from heritagecheck.survey.places import build
from heritagecheck.survey.records import TABLES
from heritagecheck.survey.records.structure import stone_of

from .mutated import (
    Mutant,
    guidance,
    housekeeping,
    judged,
    mutants,
    near_clean,
    quillmere,
    steel,
    stone,
)

Rows = dict[str, list[dict[str, Any]]]
CASES = sorted(guidance())


def without(raw: Rows, table: str, number: int) -> Rows:
    """Give the tables without one row."""
    return raw | {table: [row for place, row in enumerate(raw[table]) if place != number]}


def places(raw: Rows) -> Iterator[tuple[str, int]]:
    """Every row, but of the readings of a set only the first: the others are like it."""
    seen = set()
    for table, found in raw.items():
        for number, row in enumerate(found):
            if table != "readings" or row["set_name"] not in seen:
                seen.add(row.get("set_name"))
                yield table, number


def outcome(raw: Rows) -> str | None:
    """Outcome of the first zone; None where the survey is refused."""
    try:
        return judged(raw).outcome
    except hc.SurveyError:
        return None


def made_clean(raw: Rows) -> list[str]:
    """Every record whose loss would make the zone clean, where it has another outcome with it."""
    if outcome(raw) in {None, "clean"}:
        return []
    return [
        f"{table}: {next(iter(raw[table][number].values()))}"
        for table, number in places(raw)
        if outcome(without(raw, table, number)) == "clean"
    ]


@pytest.mark.parametrize("code", some_of(CASES, short=CASES[::3]))
def test_no_record_of_a_guidance_case_can_be_lost_into_clean(code: str) -> None:
    """Row by row: what the guidance would not clean is not cleaned for lack of a record."""
    assert made_clean(Mutant(code).rows()) == []


# -- Altered guidance cases ---------------------------------------------------------------------


def second_set(raw: Rows) -> Rows:
    """A further reading of a steel panel, worse than the rest, taken on another day."""
    found = [row for row in raw["site_tests"] if row["quantity"] == "chloride_ug_cm2"]
    again = [
        {**found[0], "site_test": "again", "set_name": "again", "set_size": 1, "value": "60"}
    ] if found else []  # fmt: skip
    return raw | {"site_tests": raw["site_tests"] + again}


def lead_reading(raw: Rows) -> Rows:
    """One XRF reading that shows lead, whatever else was recorded."""
    zone = raw["zones"][0]["zone"]
    xrf = {
        "site_test": "xrf", "zone": zone, "quantity": "lead_xrf_mg_cm2", "value": "2.4",
        "set_name": "xrf", "set_size": 1, "method": "XRF", "tested_on": "2026-06-01",
        "tested_by": "conservator",
    }  # fmt: skip
    return raw | {"site_tests": [*raw["site_tests"], xrf]}


def colour_set_with_a_gap(raw: Rows) -> Rows:
    """A larger set of soiled readings, of which one alone is on record."""
    found = [row for row in raw["readings"] if row["target"] == "soiled"]
    more = [
        {**found[0], "reading": "alone", "set_name": "larger", "set_size": 30}
    ] if found else []  # fmt: skip
    return raw | {"readings": raw["readings"] + more}


def second_series(raw: Rows) -> Rows:
    """One further panel of the same method, on which everything was damaged."""
    if not raw["panels"]:
        return raw
    worse = copy.copy(raw["panels"][0]) | {
        "panel": "worse", "series": "worse", "panels_in_series": 1,
        "damaged_fields": raw["panels"][0]["x50_fields"], "damage_low": 0.2, "damage_high": 0.3,
    }  # fmt: skip
    zone = raw["zones"][0] | {"panels_laid": len(raw["panels"]) + 1}
    return raw | {"zones": [zone], "panels": [*raw["panels"], worse]}


ADDITIONS: tuple[Callable[[Rows], Rows], ...] = (
    lambda raw: raw, second_set, lead_reading, colour_set_with_a_gap, second_series,
)  # fmt: skip


@settings(max_examples=examples(30, long=50))
@given(
    st.one_of(mutants(), stone(), steel(), housekeeping(), near_clean()),
    st.sampled_from(ADDITIONS),
    st.data(),
)
def test_deleting_any_record_never_turns_another_outcome_into_clean(
    mutant: Mutant, addition: Callable[[Rows], Rows], data: st.DataObject
) -> None:
    """Over altered cases, some with records that contradict one another."""
    raw = addition(mutant.rows())
    table, number = data.draw(st.sampled_from(list(places(raw))))
    before = outcome(raw)
    assume(before not in {None, "clean"})

    after = outcome(without(raw, table, number))
    event(f"{table}: {before} → {after}")

    assert after != "clean", f"was {before} with {raw[table][number]}"


PAINTED = Mutant(
    "G21",
    {"layers": "guano=not_valued", "soiling": "guano", "coverage_pct": "5", "lead": "no",
     "significance": "low", "substrate_condition": "sound", "access": "ground"},
    {"coating_state": "sound", "coating_order": "no", "decay": "none", "decay_cause": "none",
     "other_reason": "health"},
    {"method": None},
)  # fmt: skip


def painted_rows() -> Rows:
    """Droppings on sound paint, with a team that minds fabric and people most."""
    raw = PAINTED.rows()
    most = {"fabric", "people"}
    return raw | {
        "views": [row | {"swing": 100 if row["criterion"] in most else 10} for row in raw["views"]]
    }


HIDDEN = Mutant("G03", findings={"decay": "none", "decay_cause": "none", "detail_hidden": "yes"})
FROST = Mutant("G11", {"significance": "low"}, {"frost_possible": "yes"})
TELLING: dict[str, Rows] = {
    "today's appearance is the agreed one": Mutant(
        "G03", findings={"agreed_appearance": "as_today"}
    ).rows(),
    "nobody has ordered a new coating": Mutant("G21", findings={"coating_order": "no"}).rows(),
    "the wall is still damp": Mutant("G03", findings={"cause_moisture": "active"}).rows(),
    "the engineer's limit is passed": Mutant("G21", findings={"engineer_limit": "beyond"}).rows(),
    "the only panel of housekeeping is damaged": FROST.but(panels={"damaged": "10"}).rows(),
    "the only panel of housekeeping has no margin": FROST.but(
        panels={"cleaning": "10-12", "damage": "5-6"}
    ).rows(),
    "one XRF reading contradicts the record of lead": lead_reading(painted_rows()),
    "one more chloride reading on a panel": second_set(Mutant("G17").rows()),
    "a larger set of colour readings with a gap": colour_set_with_a_gap(HIDDEN.rows()),
    "a second series that did damage": second_series(Mutant("G03").rows()),
}


@pytest.mark.parametrize("what", TELLING)
def test_no_telling_record_can_be_lost_into_clean(what: str) -> None:
    """Cases in which one record alone holds the zone back: losing it never frees the way."""
    assert outcome(TELLING[what]) != "clean"
    assert made_clean(TELLING[what]) == []


@pytest.mark.parametrize(
    ("what", "message"),
    [
        ("one XRF reading contradicts the record of lead", "lead = G21: observation no, XRF yes"),
        ("one more chloride reading on a panel", "site_tests, row "),
        ("a larger set of colour readings with a gap", "readings, row "),
    ],
)
def test_records_that_contradict_one_another_are_refused(what: str, message: str) -> None:
    """Losing one of them would leave the other to decide alone, so neither is read."""
    with pytest.raises(hc.SurveyError, match=message):
        judged(TELLING[what])


def test_painted_metal_and_hidden_form_are_clean_without_the_telling_record() -> None:
    """The two cases above that no guidance case gives would be clean but for that record."""
    assert (outcome(painted_rows()), outcome(HIDDEN.rows())) == ("clean", "clean")


# -- The example survey -------------------------------------------------------------------------


@cache
def quillmere_outcomes() -> dict[str, str]:
    """Outcome of every zone with all records."""
    found = hc.assess(build(quillmere())).recommendations
    return {item.zone: item.outcome for item in found}


def touched(table: str, number: int) -> list[str]:
    """Zones that one row can bear on: its own, those of the same stone, or all."""
    raw = quillmere()
    row = raw[table][number]
    if row.get("zone") is None:
        return list(quillmere_outcomes())
    zones = {zone["zone"]: zone for zone in raw["zones"]}
    stone = stone_of(zones[row["zone"]]["substrate"])
    shared = table in {"panels", "site_tests", "spots", "zones"}
    return [
        code
        for code, zone in zones.items()
        if code == row["zone"] or (shared and stone_of(zone["substrate"]) == stone)
    ]


@settings(max_examples=examples(30, long=40))
@given(st.data())
def test_no_record_of_the_example_survey_can_be_lost_into_clean(data: st.DataObject) -> None:
    """A random row of any table; the zones it bears on, or all for policy and structure."""
    raw = quillmere()
    table = data.draw(st.sampled_from([name for name in TABLES if raw[name]]))
    number = data.draw(st.integers(0, len(raw[table]) - 1))
    before = quillmere_outcomes()
    left = [code for code in touched(table, number) if before[code] != "clean"]
    try:
        survey = build(without(raw, table, number))
    except hc.SurveyError:
        event(f"{table}: refused")
        return
    kept = [code for code in left if code in set(survey.zones["zone"])]
    event(f"{table}: {len(kept)} zones")

    after = {item.zone: item.outcome for item in hc.assess(survey, zones=kept).recommendations}

    assert [code for code, found in after.items() if found == "clean"] == []
