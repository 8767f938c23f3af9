"""Ratings against panels: what is known before, and what ×50 can't see."""

from __future__ import annotations

from collections.abc import Callable

import pytest

import heritagecheck as hc
from heritagecheck.evidence.gather import gather
from heritagecheck.judgement.damage_prior import damage_prior
from heritagecheck.judgement.options import options_for
from heritagecheck.judgement.policy import Policy
from heritagecheck.survey.records import Zone
from heritagecheck.survey.validate import build
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


@pytest.mark.parametrize(("method", "unseen"), [("poultice_chelating", True),
                                                ("nebulised_water", False)])  # fmt: skip
def test_what_fields_cannot_see_stays_rated(judged: Callable, method: str, unseen: bool) -> None:
    """Residues of a chemical stay in the harm of panels that look sound; water leaves none."""
    found = judged("G03", panels={"method": method, "count": "12"})
    harm = found.against_leaving[f"{method}, panels G03-S"].harm["fabric"][0]
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
