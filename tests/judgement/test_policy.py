"""What a team may agree, and what it can't."""

from __future__ import annotations

from dataclasses import FrozenInstanceError

import pytest
from guidance_form import frame
from hypothesis import given
from hypothesis import strategies as st

import heritagecheck as hc
from heritagecheck.judgement.policy import CRITERIA, GRADES, Policy, agreed_policy

EVEN = dict.fromkeys(CRITERIA, 100.0)
swings = st.fixed_dictionaries(
    {name: st.floats(1 if name == "fabric" else 0, 100) for name in CRITERIA}
)


def weights(**changed: float) -> dict[str, dict[str, float]]:
    """Even weights of one member, some changed."""
    return {"member": EVEN | {name.replace("_", " "): swing for name, swing in changed.items()}}


def test_the_default_is_what_the_design_says() -> None:
    """Precaution of the project: alpha, agreed share, caps, margins, horizon and power."""
    policy = Policy()

    assert (policy.alpha, policy.agreed_share, policy.horizon_years, policy.power) == (
        0.1,
        1,
        25,
        2,
    )
    assert policy.fabric_cap == {"high": 2, "medium": 4, "low": 5}
    assert policy.margin == {"high": 2, "medium": 1.3, "low": 1.3}
    assert policy.group() == pytest.approx([1 / 6] * 6)


def test_a_policy_is_frozen() -> None:
    """What was agreed before the answer is not altered after it."""
    with pytest.raises(FrozenInstanceError, match="alpha"):
        Policy().alpha = 0.4
    with pytest.raises(TypeError, match="does not support item assignment"):
        Policy().fabric_cap["high"] = 10


@given(st.dictionaries(st.text(min_size=1), swings, min_size=1, max_size=4))
def test_shares_of_every_member_sum_to_one(given: dict[str, dict[str, float]]) -> None:
    """Only ratios count: with resources and without, weights sum to one."""
    policy = Policy(weights=given)

    for shares in (policy.shares(), policy.shares(resources=False)):
        assert list(shares) == list(given)
        assert all(sum(share) == pytest.approx(1) for share in shares.values())
    assert sum(policy.group()) == pytest.approx(1)


def test_without_resources_the_others_keep_their_ratios() -> None:
    """Setting resources to zero shifts its weight to the others in proportion."""
    policy = Policy(weights=weights(fabric=60, resources=40))

    shares = policy.shares(resources=False)["member"]

    assert shares[CRITERIA.index("resources")] == 0
    assert shares == pytest.approx((60 / 460, *[100 / 460] * 4, 0))


def test_the_group_is_the_mean_of_members_not_of_swings() -> None:
    """A member who shouts louder weighs no more: swings are scaled before the mean is taken."""
    loud = dict.fromkeys(CRITERIA, 0.0) | {"fabric": 100.0}
    quiet = dict.fromkeys(CRITERIA, 0.0) | {"people": 1.0}

    group = Policy(weights={"loud": loud, "quiet": quiet}).group()

    assert group == pytest.approx((0.5, 0, 0, 0.5, 0, 0))


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"weights": {}}, r"weights: a policy needs the weights of at least one member"),
        ({"weights": {"owner": {"fabric": 1.0}}}, r"weights of owner: give one swing each"),
        ({"weights": weights(beauty=3)}, r"weights of member: give one swing each.*beauty"),
        ({"weights": weights(fabric=-1)}, r"weights of member: a swing is a number from 0"),
        ({"weights": weights(fabric=float("inf"))}, r"a swing is a number from 0 upwards"),
        ({"weights": weights(fabric=float("nan"))}, r"a swing is a number from 0 upwards"),
        ({"weights": {"owner": dict.fromkeys(CRITERIA, 0.0) | {"resources": 5.0}}},
         r"weights of owner: some criterion but resources needs a swing above 0"),
        ({"alpha": 0}, r"alpha = 0: it lies above 0 and up to 0.5"),
        ({"alpha": 0.6}, r"alpha = 0.6: it lies above 0 and up to 0.5"),
        ({"alpha": float("nan")}, r"alpha = nan"),
        ({"agreed_share": 0}, r"agreed_share = 0: it lies above 0 and up to 1"),
        ({"agreed_share": 1.2}, r"agreed_share = 1.2"),
        ({"damage_limit": -0.1}, r"damage_limit = -0.1"),
        ({"power": 3}, r"power = 3: the sum of harm takes 2, or 1 on request"),
        ({"horizon_years": 0}, r"horizon_years = 0: it lies above 0"),
        ({"fabric_cap": {"high": 2, "low": 5}}, r"fabric_cap: give one number each for high"),
        ({"fabric_cap": {"high": 5, "medium": 4, "low": 5}}, r"fabric_cap: it can't be looser"),
        ({"fabric_cap": {"high": 2, "medium": 4, "low": 11}}, r"fabric_cap"),
        ({"margin": {"high": 1.2, "medium": 1.3, "low": 1.3}}, r"margin: it can't be smaller"),
        ({"margin": {"high": 2, "medium": 1.3, "low": 0.9}}, r"margin: .*nor below 1"),
    ],
)  # fmt: skip
def test_what_cannot_be_a_policy_is_refused(settings: dict, message: str) -> None:
    """Each limit by name, with what came and what is allowed."""
    with pytest.raises(ValueError, match=message):
        Policy(**settings)


def test_the_survey_gives_its_agreed_policy() -> None:
    """Caps, margins and every member's swings come from the records; nothing is defaulted."""
    survey = hc.demo_survey()
    policy = agreed_policy(survey)
    row = survey.frame("policy").iloc[0]

    assert policy.fabric_cap == {grade: row[f"fabric_cap_{grade}"] for grade in GRADES}
    assert policy.margin == {
        "high": row["margin_high"], "medium": row["margin"], "low": row["margin"],
    }  # fmt: skip
    assert (policy.alpha, policy.power) == (row["alpha"], row["power"])
    views = survey.frame("views")
    for member, swing in policy.weights.items():
        found = views[views["member"] == member]
        assert swing == dict(zip(found["criterion"], found["swing"], strict=True))
    assert set(policy.weights) == set(views["member"])


def test_the_assessment_uses_the_agreed_policy_unless_another_is_given() -> None:
    """None means the survey's own; a given one is kept with the answer."""
    survey, other = hc.demo_survey(), Policy(alpha=0.2)

    assert hc.assess(survey, zones=["N04"]).policy == agreed_policy(survey)
    assert hc.assess(survey, other, zones=["N04"]).policy is other


def test_the_guidance_cases_are_judged_by_the_default_policy() -> None:
    """The frame of the guidance cases writes down the defaults, number by number."""
    row, policy = frame()["policy"][0], Policy()

    assert row["alpha"] == policy.alpha
    assert [row[f"fabric_cap_{grade}"] for grade in GRADES] == list(policy.fabric_cap.values())
    assert (row["margin"], row["margin_high"]) == (policy.margin["low"], policy.margin["high"])
    assert row["damage_limit"] == policy.damage_limit
