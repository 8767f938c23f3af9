"""What a team may agree, and what it can't."""

from __future__ import annotations

from dataclasses import FrozenInstanceError
from pathlib import Path

import pytest
from guidance_form import frame, read_cases, rows_of_case
from hypothesis import given
from hypothesis import strategies as st

import heritagecheck as hc
from heritagecheck.judgement.policy import CRITERIA, GRADES, Policy, agreed_policy
from heritagecheck.survey.places import build
from heritagecheck.survey.records import AgreedPolicy

GUIDANCE = Path(__file__).parent.parent / "guidance" / "guidance_cases.csv"

EVEN = dict.fromkeys(CRITERIA, 100.0)
swings = st.fixed_dictionaries(
    {name: st.floats(20 if name in {"fabric", "people"} else 0, 100) for name in CRITERIA}
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
    loud = dict.fromkeys(CRITERIA, 0.0) | {"fabric": 80.0, "appearance": 20.0}
    quiet = dict.fromkeys(CRITERIA, 0.0) | {"people": 0.8, "appearance": 0.2}

    group = Policy(weights={"loud": loud, "quiet": quiet}).group()

    assert group == pytest.approx((0.4, 0, 0.2, 0.4, 0, 0))


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"weights": {}}, r"weights: a policy needs the weights of at least one member"),
        ({"weights": {"owner": {"fabric": 1.0}}}, r"weights of owner: give one weight each"),
        ({"weights": weights(beauty=3)}, r"weights of member: give one weight each.*beauty"),
        ({"weights": weights(fabric=-1)}, r"weights of member: a weight is a number from 0"),
        ({"weights": weights(fabric=float("inf"))}, r"a weight is a number from 0 upwards"),
        ({"weights": weights(fabric=float("nan"))}, r"a weight is a number from 0 upwards"),
        ({"weights": {"owner": dict.fromkeys(CRITERIA, 0.0) | {"resources": 5.0}}},
         r"weights of owner: give a weight above 0 to a criterion other than resources"),
        ({"alpha": 0}, r"alpha = 0: it must be above 0 and at most 0.5"),
        ({"alpha": 0.6}, r"alpha = 0.6: it must be above 0 and at most 0.5"),
        ({"alpha": float("nan")}, r"alpha = nan"),
        ({"agreed_share": 0}, r"agreed_share = 0: it must be from 0.5 to 1"),
        ({"agreed_share": 1.2}, r"agreed_share = 1.2"),
        ({"agreed_share": 0.4}, r"fewer than half of the members accept is not agreed"),
        ({"weights": weights(**dict.fromkeys(("historic_evidence", "appearance", "people",
                                              "environment", "resources"), 0.1))},
         r"weights of member: fabric holds more than 99 % .* One criterion holds 99 % at most"),
        ({"fabric_cap": {"high": 2, "medium": 4, "low": 8}},
         r"fabric_cap: high 2, medium 4, low 8 came; each must be from 0 to below 8"),
        ({"damage_limit": 0.25}, r"damage_limit: give one number each for high"),
        ({"damage_limit": {"high": 0.2, "medium": 0.15, "low": 0.25}},
         r"damage_limit: .*can't be looser where significance is higher"),
        ({"damage_seen": {"high": 0.12, "medium": 0.12, "low": 0.12}},
         r"damage_seen: it must be from 0 up to damage_limit"),
        ({"damage_limit": {"high": -0.1, "medium": 0.15, "low": 0.25}},
         r"damage_limit: it must be above 0"),
        ({"power": 3}, r"power = 3: it must be 2 or 1"),
        ({"horizon_years": 0}, r"horizon_years = 0: it must be above 0"),
        ({"fabric_cap": {"high": 2, "low": 5}}, r"fabric_cap: give one number each for high"),
        ({"fabric_cap": {"high": 5, "medium": 4, "low": 5}}, r"fabric_cap: .*it can't be looser"),
        ({"fabric_cap": {"high": 2, "medium": 4, "low": 11}}, r"fabric_cap: .*below 8"),
        ({"fabric_cap": dict.fromkeys(GRADES, 10)}, r"fabric_cap: high 10, medium 10, low 10 came"),
        ({"margin": {"high": 1.2, "medium": 1.3, "low": 1.3}}, r"margin: .*it can't be smaller"),
        ({"margin": {"high": 2, "medium": 1.3, "low": 0.9}}, r"margin: .*must be above 1"),
        ({"margin": {"high": 2, "medium": 1.3, "low": 1}}, r"at 1 what cleans already damages"),
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
    assert policy.damage_limit == {
        "high": row["damage_limit_high"], "medium": row["damage_limit_medium"],
        "low": row["damage_limit"],
    }  # fmt: skip
    assert policy.damage_seen == {
        "high": row["damage_seen_high"], "medium": row["damage_seen"], "low": row["damage_seen"],
    }  # fmt: skip


def agreed(**changed: float | None) -> AgreedPolicy:
    """The default policy as a record, some of it changed."""
    return AgreedPolicy.model_validate(frame()["policy"][0] | changed)


ONE_LIMIT = dict.fromkeys(
    ("damage_limit_medium", "damage_limit_high", "damage_seen", "damage_seen_high")
)


def test_a_survey_that_agreed_one_limit_of_damage_keeps_it() -> None:
    """At every significance, with no damage seen; and the policy says that it is that."""
    raw = rows_of_case(read_cases(GUIDANCE)[0])
    raw["policy"] = [raw["policy"][0] | ONE_LIMIT | {"damage_limit": 0.3}]
    policy = agreed_policy(build(raw))

    assert set(policy.damage_limit.values()) == {0.3}
    assert set(policy.damage_seen.values()) == {0}
    assert policy.one_limit
    assert not Policy().one_limit


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"damage_seen": None}, "together, or none of them"),
        ({"damage_limit_high": 0.2}, "damage_limit_high: must not be above damage_limit_medium"),
        ({"damage_seen_high": 0.06}, "damage_seen_high must not be above damage_seen"),
    ],
)
def test_limits_of_damage_are_agreed_whole(changed: dict[str, float | None], message: str) -> None:
    """All four or none, and never looser where more is at stake."""
    with pytest.raises(ValueError, match=message):
        agreed(**changed)


@pytest.mark.parametrize(
    ("policy", "swings", "message"),
    [
        ({"agreed_share": 0.4}, {}, r"policy: agreed_share = 0.4: it must be from 0.5 to 1"),
        ({"fabric_cap_high": 10, "fabric_cap_medium": 10, "fabric_cap_low": 10}, {},
         r"policy: fabric_cap: high 10, medium 10, low 10 came; each must be from 0 to below 8"),
        ({"margin": 1, "margin_high": 1}, {},
         r"policy: margin: high 1, medium 1, low 1 came; each must be above 1"),
        ({}, dict.fromkeys(CRITERIA, 0) | {"appearance": 100},
         r"views: weights of team: appearance holds more than 99 % of the weight"),
    ],
)  # fmt: skip
def test_what_cannot_be_a_policy_is_told_where_it_stands(
    policy: dict[str, float], swings: dict[str, float], message: str
) -> None:
    """A survey that agreed so is not assessed until its team agrees again."""
    raw = rows_of_case(read_cases(GUIDANCE)[0])
    raw["policy"] = [raw["policy"][0] | policy]
    raw["views"] = [row | {"swing": swings.get(row["criterion"], 100)} for row in raw["views"]]

    with pytest.raises(hc.SurveyError, match=rf"{message}.*Agree on it again, and save") as told:
        hc.assess(build(raw))
    assert "Nothing was assessed" in str(told.value)
