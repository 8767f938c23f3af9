"""Ratings against panels: what is known before, and what ×50 can't see."""

from __future__ import annotations

from collections.abc import Callable

import pytest

import heritagecheck as hc
from heritagecheck.evidence.trials.damaged_fields import SharePrior
from heritagecheck.evidence.zone_evidence import gather
from heritagecheck.judgement.gates.panel_damage import damage_prior
from heritagecheck.judgement.options import options_for
from heritagecheck.judgement.policy import Policy
from heritagecheck.survey.places import build
from heritagecheck.survey.records import Zone
from heritagecheck.tables import rows as table_rows
from heritagecheck.tables import threshold


def test_means_rise_with_the_rating_and_end_at_that_of_the_unrated() -> None:
    """A worse rating never lets expect less damage."""
    found = [(float(row["rating"]), float(row["mean_share"])) for row in table_rows("damage_prior")]

    assert found == sorted(found)
    assert [share for _, share in found] == sorted({share for _, share in found})


@pytest.mark.parametrize(("panels", "holds"), [(2, False), (8, True)])
def test_a_pair_rated_badly_does_not_pass_on_twenty_sound_fields(
    rows: Callable, panels: int, holds: bool
) -> None:
    """At low significance two sound panels of ten fields would do for a gentler pair."""
    raw = rows(
        "G03", significance="low",
        panels={"method": "poultice_chelating", "count": str(panels), "x50_fields": "10",
                "ladder": None, "each": None, "clean_from": None},
    )  # fmt: skip
    survey = build(raw).complete()
    policy = Policy()
    evidence = gather(survey, survey.all(Zone)[0], limits=policy.damage("low"))
    option = next(one for one in options_for(evidence) if one.series is not None)
    prior = damage_prior(evidence, option)
    read = option.series.x50

    assert prior.mean >= 0.3
    assert read.upper <= policy.damage("low").bound
    assert (read.upper_given(prior) <= policy.damage("low").bound) is holds
    assert prior.worth == pytest.approx(2 * 10 / (1 + 9 * threshold("panel_correlation")))


@pytest.mark.parametrize(
    ("method", "quantity", "fluence", "says"),
    [
        ("laser_ns_1064", "peak_fluence", 0.44, ""),
        ("laser_ns_1064", "peak_fluence", 0.46, "peak may have reached 0.46 J/cm², and a limit "
         "of 0.5 J/cm² is published for this stone, counted from 0.45 on (LT-granite-ns, read as"),
        ("laser_ns_1064", "repetition_rate", 20, "the fluence is not recorded, and a limit of "
         "0.5 J/cm² is published for this stone"),
        ("laser_ns_355_dual", "mean_fluence", 0.22, ""),
        ("laser_ns_355_dual", "mean_fluence", 0.23, "peak may have reached 0.46 J/cm²"),
        ("laser_ultrashort", "peak_fluence", 0.85, ""),
        ("laser_ultrashort", "mean_fluence", 0.45, "a limit of 1 J/cm² is published for this "
         "stone, counted from 0.9 on (LT-granite"),
    ],
)  # fmt: skip
def test_a_setting_at_a_published_threshold_has_the_widest_prior(
    rows: Callable, method: str, quantity: str, fluence: float, says: str
) -> None:
    """Read as peak, from the lower end of its uncertainty on; a mean dialled is doubled."""
    prior = _prior_of_laser(rows, method, quantity, fluence)
    widest = max(float(row["mean_share"]) for row in table_rows("damage_prior"))

    assert (prior.mean == widest) is bool(says)
    assert (says or "harm to fabric is rated") in prior.why


def test_published_thresholds_of_another_stone_or_metal_raise_nothing(rows: Callable) -> None:
    """Sandstone has none; on steel the published ones are where bare metal is ablated."""
    for substrate in ("sandstone_siliceous", "riveted_steel"):
        assert not [
            row["row"] for row in table_rows("laser_thresholds")
            if substrate in row["damages"].split("|")
        ]  # fmt: skip
    limestone = _prior_of_laser(rows, "laser_ns_1064", "peak_fluence", 0.9, substrate="limestone")
    assert "harm to fabric is rated" in limestone.why


def test_a_threshold_that_is_only_remembered_is_not_called_published(rows: Callable) -> None:
    """It widens what is expected all the same."""
    limestone = _prior_of_laser(rows, "laser_ns_1064", "peak_fluence", 1.1, substrate="limestone")

    assert limestone.mean == max(float(row["mean_share"]) for row in table_rows("damage_prior"))
    assert "a limit of 3 J/cm² is known from memory for this stone, counted from 1 on" in (
        limestone.why
    )


def _prior_of_laser(
    rows: Callable, method: str, quantity: str, fluence: float, substrate: str = "granite"
) -> SharePrior:
    """What is expected of laser panels on a crust at one fluence."""
    raw = rows(
        "G03", substrate=substrate, layers="graffiti=not_valued", soiling="graffiti",
        biotite_pct="8", panels={"method": method, "ladder": None, "each": None,
                                 "clean_from": None},
    )  # fmt: skip
    raw["panels"] = [
        panel | {"setting": "as dialled", "setting_quantity": quantity,
                 "setting_unit": "Hz" if quantity == "repetition_rate" else "J/cm²",
                 "cleaning_low": fluence, "cleaning_high": fluence, "damage_low": None,
                 "damage_high": None, "soiling": "graffiti"}
        for panel in raw["panels"]
    ]  # fmt: skip
    raw["settings"] = []
    survey = build(raw).complete()
    evidence = gather(survey, survey.all(Zone)[0], limits=Policy().damage("medium"))
    option = next(one for one in options_for(evidence) if one.series is not None)
    return damage_prior(evidence, option)


@pytest.mark.parametrize(("method", "unseen"), [("poultice_chelating", True),
                                                ("nebulised_water", False)])  # fmt: skip
def test_what_fields_cannot_see_stays_rated(judged: Callable, method: str, unseen: bool) -> None:
    """Residues of a chemical stay in the harm of panels that look sound; water leaves none."""
    found = judged("G03", panels={"method": method, "count": "12"})
    harm = found.against_leaving[method, "G03-S"].harm["fabric"][0]
    rated = [
        float(row["risk"]) for row in table_rows("method_risk")
        if (row["method"], row["substrate"], row["soiling"]) == (
            method, "limestone", "black_gypsum_crust")
    ]  # fmt: skip

    assert (harm >= threshold("unseen_harm_share") * max(rated)) is unseen


def test_a_note_stands_beside_the_outcome(rows: Callable) -> None:
    """What the survey says in words is shown, since no rule reads it."""
    raw = rows("G03")
    raw["zones"][0]["note"] = "Do not clean before the sculptor has seen it"
    found = hc.assess(build(raw)).recommendations[0]

    assert found.notes[0] == "Do not clean before the sculptor has seen it"
