"""Gentlest first: no method passes, or is named, while a gentler one stands open."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

import heritagecheck as hc
from heritagecheck.evidence.zone_evidence import gather
from heritagecheck.judgement.gates.panel_gate import gentler_first, still_open
from heritagecheck.judgement.harm.simulations import fabric_rating
from heritagecheck.judgement.options import options_for
from heritagecheck.judgement.policy import agreed_policy
from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.survey.places import build
from heritagecheck.survey.records import Zone

Judged = Callable[..., Recommendation]
Rows = dict[str, list[dict[str, Any]]]
OPEN = "gentler methods are not settled by panels here: solvent gel; try them first"


@pytest.fixture
def hanger(rows: Callable[..., Rows]) -> Rows:
    """Lead paint on a hanger: laser panels that pass, and nothing said of the solvent gel."""
    return rows("G21", panels={"passed_over": "laser_ultrashort"})


def with_gel(raw: Rows, **changes: Any) -> Rows:
    """Rows with one panel series by solvent gel more."""
    gel = [
        panel | {"panel": f"gel-{number}", "series": "gel", "method": "solvent_gel_stripper",
                 "setting": "neutral gel under film, 2 h", **changes}
        for number, panel in enumerate(raw["panels"], 1)
    ]  # fmt: skip
    tests = [
        test | {"site_test": f"gel {test['site_test']}", "set_name": f"gel {test['set_name']}",
                "panel": f"gel-{int(test['panel'][-1])}"}
        for test in raw["site_tests"] if test["panel"]
    ]  # fmt: skip
    zone = raw["zones"][0] | {"panels_laid": 2 * len(gel)}
    acid = {"series": "gel", "zone": zone["zone"], "quantity": "acid", "words": "none"}
    return {
        **raw, "zones": [zone], "panels": [*raw["panels"], *gel],
        "site_tests": [*raw["site_tests"], *tests], "settings": [*raw["settings"], acid],
    }  # fmt: skip


def test_a_harsher_method_does_not_pass_while_a_gentler_one_is_untried(
    judged: Judged, hanger: Rows
) -> None:
    """NPS Brief 1: the gentlest means possible. Good laser panels do not spare trying the gel."""
    found = judged(hanger)

    assert (found.outcome, found.method) == ("trial first", "solvent_gel_stripper")
    assert found.deciding_gate is not None
    assert found.deciding_gate.number == 7
    assert OPEN in found.deciding_gate.reason
    assert "What was tried passes: Nanosecond" in found.deciding_gate.reason


@pytest.mark.parametrize(
    ("gel", "outcome", "method"),
    [
        ({"residual_pct": 60}, "clean", "laser_ns_1064"),
        ({"late_effects": "rust"}, "clean", "laser_ns_1064"),
        ({"read_on": None, "not_read_because": "rain"}, "trial first", "solvent_gel_stripper"),
        ({"control_kept": "no"}, "trial first", "solvent_gel_stripper"),
        ({"done_on": "2026-05-25"}, "trial first", "solvent_gel_stripper"),
    ],
    ids=("leaves too much", "rusts", "unread", "no control", "too young"),
)
def test_panels_of_the_gentler_method_settle_it_by_their_result_alone(
    judged: Judged, hanger: Rows, gel: dict[str, Any], outcome: str, method: str
) -> None:
    """What the panels show settles it; how poorly they were laid or read does not."""
    found = judged(with_gel(hanger, **gel))

    assert (found.outcome, found.method) == (outcome, method)


def test_where_both_pass_least_harm_decides(judged: Judged, hanger: Rows) -> None:
    """A gentler method that was tried is weighed like any other, not preferred."""
    found = judged(with_gel(hanger))

    assert found.outcome == "clean"
    assert {key.method for key in found.against_leaving} == {
        "laser_ns_1064", "solvent_gel_stripper",
    }  # fmt: skip


def test_a_recorded_reason_settles_a_gentler_method_and_is_printed(
    judged: Judged, hanger: Rows
) -> None:
    """The team may pass a method over; whoever approves reads why."""
    hanger["zones"][0]["not_tried"] += "; solvent_gel_stripper: no profile for the coating"
    found = judged(hanger)

    assert (found.outcome, found.method) == ("clean", "laser_ns_1064")
    for words in (found.gates[6].reason, found.gates[6].brief):
        assert "not tried: ultrashort laser (the source passes it over)" in words
        assert "solvent gel (no profile for the coating)" in words


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("gel: no profile", "gel: no profile must be the code of a method, a colon and a reason"),
        ("hand_tools", "hand_tools must be the code of a method, a colon and a reason"),
        ("hand_tools: ", "hand_tools: must be the code of a method, a colon and a reason"),
    ],
)
def test_a_method_is_passed_over_by_its_code_and_with_a_reason(
    rows: Callable[..., Rows], text: str, fault: str
) -> None:
    """Silence is no reason."""
    raw = rows("G21")
    raw["zones"][0]["not_tried"] = text

    with pytest.raises(hc.SurveyError, match=fault):
        build(raw)


def test_what_cannot_act_on_every_layer_is_no_competitor(
    judged: Judged, rows: Callable[..., Rows]
) -> None:
    """Solvent gel is rated gentler than grit, and rated ineffective on the rust beneath."""
    found = judged("G17")

    assert found.outcome == "clean"
    assert "solvent" not in found.gates[6].reason


@pytest.mark.parametrize(("finding", "answer"), [("joints", "open"), ("frost_possible", "yes")])
def test_what_can_be_put_right_shows_no_method_unfit(
    judged: Judged, rows: Callable[..., Rows], finding: str, answer: str
) -> None:
    """Open joints stop mist today; that is a reason to point them, not to take up the powder."""
    case = {
        "panels": {"method": "micro_abrasive_dry", "setting": "2 bar, calcite", "unit": "bar",
                   "passed_over": "low_pressure_water", "cleaning": "2-2.1", "damage": "6-",
                   "count": "12", "ladder": "0.5-6", "clean_from": "1"},
        "significance": "medium",
    }  # fmt: skip
    sound, stopped = judged("G03", **case), judged("G03", **case, findings={finding: answer})

    for found in (sound, stopped):
        assert found.outcome == "trial first"
        assert "not settled by panels here: nebulised" in found.gates[6].reason
    assert sound.method == "nebulised_water"
    assert stopped.method is None


def test_what_is_tried_next_is_named_gentlest_first(judged: Judged) -> None:
    """Where too much soiling stays on the day, the crew need not wait for another answer."""
    found = judged("G03", panels={})

    assert found.outcome == "trial first"
    assert found.instruction is not None
    assert found.candidates[0] == found.method
    assert len(found.instruction.then) == len(found.candidates) - 1 > 0
    ranks = [
        fabric_rating(found.evidence, option)[0]
        for code in found.candidates
        for option in options_for(found.evidence)
        if option.method == code
    ]
    assert ranks == sorted(ranks)
    assert any("the next method" in rule for rule in found.instruction.hold_points)


def test_nothing_is_named_after_a_method_that_is_to_be_used(judged: Judged) -> None:
    """A cleaning has one method; what might be tried besides is no part of its order."""
    found = judged("G03")

    assert found.outcome == "clean"
    assert found.instruction is not None
    assert found.instruction.then == ()


def test_a_trial_of_one_method_calls_the_conservator_where_soiling_stays(judged: Judged) -> None:
    """Nothing to be tried next is named there, so no rule speaks of it."""
    found = judged("G17", panels={"aged_days": "6"})

    assert found.outcome == "trial first"
    assert found.instruction is not None
    assert found.instruction.then == ()
    [rule] = [one for one in found.instruction.hold_points if "Too much soiling left" in one]
    assert rule.endswith("call the conservator")


# What a conservator would not try: each cannot take off what it is set against.
UNABLE = [
    ("granite", "graffiti", "poultice_chelating"),
    ("granite_polished", "film", "dry_brush_vacuum"),
    ("brick", "subflorescence", "dry_brush_vacuum"),
    ("limestone", "biofilm", "nebulised_water"),
    ("riveted_steel", "pack_rust", "laser_ns_1064"),
    ("cast_iron", "pack_rust", "micro_abrasive_dry"),
    ("riveted_steel", "mill_scale", "laser_ns_1064"),
    ("riveted_steel", "previous_coating", "laser_ultrashort"),
]


@pytest.mark.parametrize(("substrate", "soiling", "method"), UNABLE)
def test_what_cannot_take_the_soiling_off_comes_before_nothing(
    rows: Callable[..., Rows], substrate: str, soiling: str, method: str
) -> None:
    """Also where the soiling is else looked up as another that the method does take off."""
    metal = substrate in {"cast_iron", "riveted_steel"}
    finish = {"granite_polished": "polished", "brick": "fired", "cast_iron": "cast"}
    raw = rows(
        "G17" if metal else "G03", panels={}, substrate=substrate, layers=f"{soiling}=not_valued",
        soiling=soiling, finish="rolled" if substrate == "riveted_steel" else finish.get(
            substrate, "tooled"
        ),
    )  # fmt: skip
    survey = build(raw)
    zone = survey.all(Zone)[0]
    evidence = gather(survey, zone, limits=agreed_policy(survey).damage(zone.significance))
    options = options_for(evidence)
    comes_before = gentler_first(evidence, options, {})

    assert {one.suitability for one in options if one.method == method} == {"ineffective"}
    assert method not in still_open(evidence, options, {})
    assert not any(method in first for first in comes_before.values())
    assert still_open(evidence, options, {})
