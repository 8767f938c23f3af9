"""The precaution: limits, members, the weight of resources, the fabric cap."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from guidance_form import as_named

import heritagecheck as hc
from heritagecheck.evidence.zone_evidence import ZoneEvidence, gather
from heritagecheck.judgement.harm.normal_draws import DRAWS, Draws, rated_draws
from heritagecheck.judgement.harm.simulations import harm_draws, total, weighed
from heritagecheck.judgement.harm.treat_or_leave import (
    CORRELATIONS,
    AgainstLeaving,
    members_tested,
    precaution,
    shares_favouring,
    trial_worth,
)
from heritagecheck.judgement.options import Option, options_for
from heritagecheck.judgement.policy import CRITERIA, GRADES, Policy
from heritagecheck.survey.places import build
from heritagecheck.survey.records import Zone

Rows = Callable[..., Any]
EVEN = dict.fromkeys(CRITERIA, 100.0)


def evidence_of(raw: Any) -> ZoneEvidence:
    """Evidence of the one zone of plain rows."""
    survey = build(raw)
    return gather(survey, survey.only(Zone))


def tried(evidence: ZoneEvidence) -> tuple[Option, ...]:
    """Options that have panels."""
    return tuple(option for option in options_for(evidence) if option.series is not None)


def held_against_leaving(evidence: ZoneEvidence, policy: Policy) -> AgainstLeaving:
    """Test of the one option that has panels."""
    tests, _ = precaution(evidence, tried(evidence), policy, Draws(0))
    return next(iter(tests.values()))


@pytest.fixture(scope="module")
def hanger(rows: Rows) -> ZoneEvidence:
    """A lead-painted hanger with laser panels: about 95 % of draws favour treatment."""
    return evidence_of(rows("G21"))


@pytest.fixture(scope="module")
def cornice(rows: Rows) -> ZoneEvidence:
    """A crusted limestone cornice with mist panels."""
    return evidence_of(rows("G03"))


# -- Limits -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("errors", "passed"), [(-1.0, False), (0.0, False), (1.0, False), (1.9, False), (2.2, True)]
)
def test_within_two_standard_errors_of_the_limit_the_cautious_outcome_holds(
    hanger: ZoneEvidence, errors: float, passed: bool
) -> None:
    """The share of draws must lie two Monte Carlo standard errors above what was asked."""
    share = held_against_leaving(hanger, Policy()).least_share
    error = math.sqrt(share * (1 - share) / DRAWS)

    found = held_against_leaving(hanger, Policy(alpha=1 - (share - errors * error)))

    assert found.least_share == share
    assert found.passed is passed
    # Whoever reads the same share twice, as found and as required, reads why it does not pass.
    alike = round(100 * share) >= round(100 * (share - errors * error))
    assert ("required beyond the error of simulations" in found.reason) is (alike and not passed)


def test_a_stricter_alpha_never_lets_an_option_pass(hanger: ZoneEvidence) -> None:
    """From 40 % down to 1 %: once failed, failed for all that are stricter."""
    passed = [
        held_against_leaving(hanger, Policy(alpha=alpha / 100)).passed for alpha in range(40, 0, -3)
    ]

    assert passed == sorted(passed, reverse=True)
    assert set(passed) == {True, False}


def test_the_least_favourable_of_the_assumed_correlations_counts(hanger: ZoneEvidence) -> None:
    """Unknown correlations are tried at 0, 0.5 and 0.9; the smallest share is reported."""
    option = tried(hanger)[0]
    policy = Policy()
    shares = []
    for correlation in CORRELATIONS:
        harm = harm_draws(hanger, [option], Draws(0), years_counted=25, correlation=correlation)
        gain = weighed(harm.leave, 2) - weighed(harm.options[option.key], 2)
        shares += shares_favouring(gain, [policy.group()])

    assert CORRELATIONS == (0.0, 0.5, 0.9)
    assert len(set(shares)) == 3
    assert held_against_leaving(hanger, policy).least_share == min(shares)


def test_no_share_is_worded_as_certain(judged: Callable) -> None:
    """All draws for treatment are still draws: the words stop at 99 %."""
    reason = judged("G03").gates[7].reason

    assert "in more than 99 % of simulations it does less harm" in reason
    assert "given these ratings, weights and records" in reason


# -- Members ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("share", "members", "asked"),
    [(1.0, 1, 1), (1.0, 5, 5), (0.8, 5, 4), (0.75, 5, 4), (0.6, 5, 3), (0.5, 5, 3),
     (2 / 3, 3, 2), (0.7, 10, 7), (0.5, 10, 5)],
)  # fmt: skip
def test_the_agreed_share_is_a_number_of_members_rounded_up(
    share: float, members: int, asked: int
) -> None:
    """Rounding never lets a member less decide, and never asks one more for a last bit."""
    policy = Policy(weights={str(number): EVEN for number in range(members)}, agreed_share=share)

    assert members_tested(policy) == asked


@pytest.mark.parametrize(("agreed_share", "passed"), [(1.0, False), (0.6, False), (0.5, True)])
def test_as_many_members_as_agreed_must_pass(
    hanger: ZoneEvidence, agreed_share: float, passed: bool
) -> None:
    """One of two sees mostly what the work does to people and would rather leave it."""
    weights = {
        "owner": EVEN,
        "doctor": dict.fromkeys(CRITERIA, 1.0) | {"historic evidence": 100.0},
    }

    found = held_against_leaving(hanger, Policy(weights=weights, agreed_share=agreed_share))

    assert found.members_passing == 1
    assert found.passed is passed
    assert f"passes for 1 of 2 members ({members_tested(Policy(weights=weights, agreed_share=agreed_share))} required)" in found.reason  # fmt: skip  # noqa: E501


def test_the_least_share_over_members_is_printed(hanger: ZoneEvidence) -> None:
    """The member least convinced is the one whose share is told."""
    weights = {"owner": EVEN, "doctor": EVEN | {"people": 300.0}}

    found = held_against_leaving(hanger, Policy(weights=weights))

    assert set(found.shares) == set(weights)
    assert found.least_share == min(found.shares.values())


# -- Resources ----------------------------------------------------------------------------------


def test_money_alone_never_carries_a_treatment(rows: Rows) -> None:
    """What passes only by the weight of resources does not pass."""
    evidence = evidence_of(
        rows(
            "G03",
            findings={"decay_cause": "other"},
            panels={"method": "dry_brush_vacuum"},
            deltaE00_visible="",
            access="ground",
        )
    )
    greedy = {"owner": dict.fromkeys(CRITERIA, 1.0) | {"resources": 100.0}}

    found = held_against_leaving(evidence, Policy(weights=greedy))

    assert found.least_share > 0.95
    assert max(found.shares_without_resources.values()) < 0.9
    assert not found.passed
    assert found.reason.startswith("it passes only by the weight of resources; ")


def test_without_resources_is_what_the_other_weights_alone_say(hanger: ZoneEvidence) -> None:
    """Setting the weight to zero by hand gives the same share."""
    bare = held_against_leaving(hanger, Policy(weights={"owner": EVEN | {"resources": 0.0}}))

    found = held_against_leaving(hanger, Policy(weights={"owner": EVEN}))

    assert found.shares_without_resources == bare.shares


# -- Fabric cap ---------------------------------------------------------------------------------


def caps(value: float) -> dict[str, float]:
    """Give the same cap for every significance."""
    return dict.fromkeys(GRADES, value)


@pytest.mark.parametrize(
    ("beyond", "passed"), [(0.08, False), (0.051, False), (0.045, False), (0.04, True)]
)
def test_the_fabric_cap_holds_with_its_own_standard_error(
    cornice: ZoneEvidence, beyond: float, passed: bool
) -> None:
    """At most 5 % of draws may lose more; within two standard errors (0.7 %) none may."""
    option = tried(cornice)[0]
    losses = [
        harm_draws(
            cornice, [option], Draws(0), years_counted=25, correlation=correlation
        ).fabric_by_treatment
        for correlation in CORRELATIONS
    ]
    cap = max(float(np.quantile(item[option.key], 1 - beyond)) for item in losses)

    found = held_against_leaving(cornice, Policy(fabric_cap=caps(cap)))

    assert found.cap == cap
    assert found.beyond_cap == pytest.approx(beyond, abs=0.001)
    assert found.passed is passed
    if not passed:
        assert f"exceed the cap of {cap:g} on harm to fabric" in found.reason


def test_the_cap_counts_what_treatment_does_and_not_what_goes_on_anyway(rows: Rows) -> None:
    """Stone that is being lost by another cause does not use up the cap."""
    calm = evidence_of(rows("G03"))
    jacked = evidence_of(rows("G03", findings={"stone_jacking": "yes"}))

    assert (
        held_against_leaving(jacked, Policy()).beyond_cap
        == held_against_leaving(calm, Policy()).beyond_cap
    )


@pytest.mark.parametrize("code", ["G03", "G17", "G21"])
def test_no_gain_buys_past_the_cap(rows: Rows, code: str) -> None:
    """However much treatment saves elsewhere, a cap of nothing stops it."""
    found = held_against_leaving(evidence_of(rows(code)), Policy(fabric_cap=caps(0)))

    assert found.beyond_cap > 0.9
    assert not found.passed


# -- The sum ------------------------------------------------------------------------------------


def test_one_severe_harm_is_not_averaged_away() -> None:
    """With p = 2 a single 10 weighs more than five 4s; with p = 1 it weighs half as much."""
    one = np.array([[10.0], [0], [0], [0], [0], [0]])
    many = np.array([[0.0], [4], [4], [4], [4], [4]])
    weights = [1 / 6] * 6

    assert total(weighed(one, 2), weights) == pytest.approx([1 / 6])
    assert total(weighed(many, 2), weights) == pytest.approx([0.8 / 6])
    assert total(weighed(one, 1), weights) == pytest.approx([1 / 6])
    assert total(weighed(many, 1), weights) == pytest.approx([2 / 6])


def test_a_total_is_shown_on_the_scale_of_harm(hanger: ZoneEvidence) -> None:
    """S = 10 L^(1/p): harms of 5 everywhere give 5, whatever the power."""
    for power in (1, 2):
        found = held_against_leaving(hanger, Policy(power=power))

        assert found.total == pytest.approx(10 * found.expected ** (1 / power))
        assert 0 < found.total < 10
        assert sum(found.contributions.values()) == pytest.approx(found.expected)
        assert sum(found.contributions_of_leaving.values()) == pytest.approx(found.expected_leave)


def test_a_tie_is_no_gain() -> None:
    """Equal harm does not favour treatment."""
    same = np.zeros((6, 100))

    assert shares_favouring(same, [[1 / 6] * 6]) == [0]


def test_the_option_of_least_expected_harm_is_recommended(rows: Rows) -> None:
    """Of two series that pass, the one whose total is smaller."""
    raw = rows("G03", panels={"count": "8"})
    raw["zones"][0] |= {
        "panels_laid": 16, "not_tried": "low_pressure_water: the crust is too hard",
    }  # fmt: skip
    raw["panels"] += [
        row | {"panel": f"{row['panel']}s", "series": "steam", "method": "superheated_steam",
               "damage_low": 200}
        for row in raw["panels"]
    ]  # fmt: skip
    raw["spots"] += [
        row | {"spot": f"{row['spot']}s", "panel": f"{row['panel']}s"} for row in raw["spots"]
    ]
    raw["settings"] += as_named("steam", "G03", "superheated_steam", "limestone")
    found = hc.assess(build(raw)).recommendations[0]
    passing = {key: test for key, test in found.against_leaving.items() if test.passed}

    assert len(passing) == 2
    best = min(passing, key=lambda key: passing[key].expected)
    assert best.method == found.method


# -- Ratings and trials -------------------------------------------------------------------------


def test_harm_stays_on_its_scale(hanger: ZoneEvidence) -> None:
    """Every draw of every criterion lies between 0 and 10."""
    found = harm_draws(
        hanger, options_for(hanger), Draws(0), years_counted=25, correlation=0.9, cautious=False
    )

    for harm in (found.leave, *found.options.values(), *found.fabric_by_treatment.values()):
        assert harm.min() >= 0
        assert harm.max() <= 10


def test_harm_that_grows_counts_by_the_years_ahead(rows: Rows) -> None:
    """
    Rated for 25 years: over 5 years decay counts a fifth of it, draw by draw.

    Crust on limestone with slow decay: HL02 (fabric), HL09 (historic evidence), HL19 and HL21
    (resources) grow. Lead within reach (HL13, G21) is there from the first day.
    """
    cornice, hanger = evidence_of(rows("G03")), evidence_of(rows("G21"))
    growing = [CRITERIA.index(one) for one in ("fabric", "historic evidence", "resources")]

    def leave(evidence: ZoneEvidence, years: float) -> Any:
        return harm_draws(evidence, (), Draws(0), years_counted=years).leave

    assert np.all(leave(cornice, 25)[growing].mean(axis=1) > 1)
    assert np.allclose(leave(cornice, 5)[growing], leave(cornice, 25)[growing] / 5)
    people = CRITERIA.index("people")
    assert leave(hanger, 25)[people].mean() > 1
    assert np.array_equal(leave(hanger, 5)[people], leave(hanger, 25)[people])


def test_a_rating_spreads_by_its_source() -> None:
    """One standard deviation up and down, as tables/source_grades.csv says."""
    z = np.array([-1.0, 0.0, 1.0, 9.0, -9.0])

    assert rated_draws(z, 5, "standard") == pytest.approx([4.2, 5, 5.6, 10, 0])
    assert rated_draws(z, 5, "from memory")[2] > rated_draws(z, 5, "paper")[2]


def test_only_a_trial_here_narrows_the_harm_to_fabric(rows: Rows) -> None:
    """More undamaged fields, less doubt: the upper end of the treatment's harm comes down."""
    high = [
        held_against_leaving(
            evidence_of(rows("G03", panels={"x50_fields": str(fields)})), Policy()
        ).harm["fabric"][2]
        for fields in (2, 5, 10, 30)
    ]

    assert high == sorted(high, reverse=True)


def test_a_further_trial_is_worth_its_harm_where_some_draws_favour_treatment(
    cornice: ZoneEvidence,
) -> None:
    """A tenth of the draws is enough with wide priors; with nothing to try there is no trial."""
    assert trial_worth(cornice, tried(cornice), Policy(), Draws(0))
    assert not trial_worth(cornice, (), Policy(), Draws(0))


def test_a_further_trial_is_not_worth_its_harm_where_hardly_a_draw_favours_treatment(
    rows: Rows,
) -> None:
    """Harmless dust on sound stone whose present look is agreed: no trial could change that."""
    evidence = evidence_of(
        rows(
            "G03", layers="general_soiling=not_valued", soiling="general_soiling",
            panels={}, access="rope",
            findings={"decay": "none", "decay_cause": "none", "agreed_appearance": "as_today",
                      "lead_shedding": "no"},
        )
    )  # fmt: skip

    left = tuple(option for option in options_for(evidence) if not option.ruled_out)

    assert left
    assert not trial_worth(evidence, left, Policy(), Draws(0))


def test_lead_that_is_not_there_cannot_come_off(rows: Rows) -> None:
    """On bare stone without lead an unanswered question about shedding paint adds no harm."""
    evidence = evidence_of(rows("G03", findings={"lead_shedding": None}))

    leave = harm_draws(evidence, (), Draws(0), years_counted=25, cautious=False).leave

    assert evidence.lead == "no"
    assert leave[CRITERIA.index("people")].mean() == 0
    assert leave[CRITERIA.index("environment")].mean() == 0


def test_a_method_that_takes_nothing_off_saves_nothing_later(rows: Rows) -> None:
    """Paint left to fail costs later, whoever went over it: that harm is averted with the paint."""
    raw = rows("G21")
    resources = CRITERIA.index("resources")
    harms = []
    for left in (0, 100):
        for panel in raw["panels"]:
            panel["residual_pct"] = left
        evidence = evidence_of(raw)
        (option,) = tried(evidence)
        drawn = harm_draws(evidence, (option,), Draws(0), years_counted=25)
        harms.append(drawn.options[option.key][resources])

    assert np.all(harms[1] >= harms[0])
    assert harms[1].mean() >= drawn.leave[resources].mean() * 0.95
