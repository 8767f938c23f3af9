"""What must hold for any input: what may never move an outcome, and which way."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st
from tiers import examples

from heritagecheck.judgement.harm.normal_draws import rated_draws
from heritagecheck.judgement.policy import GRADES, agreed_policy
from heritagecheck.survey.places import build
from heritagecheck.tables import rows, threshold

from .mutated import (
    CLEAN_CASES,
    CONDITIONS,
    RANK,
    SIGNIFICANCES,
    Mutant,
    any_guidance,
    housekeeping,
    mutants,
    near_clean,
    rank,
    steel,
    stone,
)


def not_towards_cleaning(before: Mutant, after: Mutant) -> None:
    """Hold the outcome after a change for the worse against the outcome before."""
    first, then = before.judged(), after.judged()
    event(f"{first.outcome} → {then.outcome}")

    assert rank(then) <= rank(first), f"{first} | {then}"


def test_examples_reach_every_outcome() -> None:
    """Clean, trial first and both ways of leaving are all common among the cases tried here."""
    seen: Counter[str] = Counter()

    @settings(max_examples=examples(90, long=150))
    @given(mutants())
    def count(mutant: Mutant) -> None:
        seen[mutant.judged().outcome] += 1

    count()

    assert set(seen) == set(RANK)
    assert min(seen["clean"], seen["trial first"], seen["leave and monitor"]) >= 10


# -- What must not move an outcome towards cleaning ---------------------------------------------


@given(st.one_of(stone(), near_clean()), st.lists(st.floats(0, 100), min_size=2, max_size=2))
def test_more_dark_mica_never_moves_the_outcome_towards_cleaning(
    mutant: Mutant, shares: list[float]
) -> None:
    """A stone that holds more of its weakest component is never cleaned the sooner."""
    less, more = sorted(shares)

    not_towards_cleaning(
        mutant.but(columns={"biotite_pct": str(less)}),
        mutant.but(columns={"biotite_pct": str(more)}),
    )


@settings(max_examples=examples(12, long=40))
@given(stone(), st.floats(0, 100))
def test_uncounted_dark_mica_is_taken_as_present(mutant: Mutant, share: float) -> None:
    """Where nobody counted the dark mica the outcome is never nearer to cleaning."""
    not_towards_cleaning(
        mutant.but(columns={"biotite_pct": str(share)}), mutant.but(columns={"biotite_pct": ""})
    )


@given(mutants(), st.data())
def test_a_more_friable_condition_never_moves_the_outcome_towards_cleaning(
    mutant: Mutant, data: st.DataObject
) -> None:
    """The weaker the substrate, the further from cleaning, all else alike."""
    order = CONDITIONS[mutant.kind]
    firm = data.draw(st.integers(0, len(order) - 2))
    weak = data.draw(st.integers(firm + 1, len(order) - 1))

    not_towards_cleaning(
        mutant.but(columns={"substrate_condition": order[firm]}),
        mutant.but(columns={"substrate_condition": order[weak]}),
    )


@given(mutants(), st.sampled_from((("low", "medium"), ("medium", "high"), ("low", "high"))))
def test_higher_significance_never_moves_the_outcome_towards_cleaning(
    mutant: Mutant, grades: tuple[str, str]
) -> None:
    """What matters more is never cleaned on less."""
    low, high = grades

    not_towards_cleaning(
        mutant.but(columns={"significance": low}), mutant.but(columns={"significance": high})
    )


@settings(max_examples=examples(12, long=40))
@given(mutants())
def test_higher_significance_never_lowers_the_evidence_required(mutant: Mutant) -> None:
    """Replicates, days of ageing, winter and margin: what passes when it is high, passes lower."""
    verdicts = []
    for grade in SIGNIFICANCES:
        trials = mutant.but(columns={"significance": grade}).judged().trials
        verdicts.append(
            {key: {check.name for check in found.checks if check.holds is not True}
             for key, found in trials.items()}
        )  # fmt: skip

    for lower, higher in pairwise(verdicts):
        for key in set(lower) & set(higher):
            assert lower[key] <= higher[key]


@settings(max_examples=examples(6, long=20))
@given(mutants())
def test_higher_significance_never_loosens_a_cap(mutant: Mutant) -> None:
    """Cap, margin, replicates and ageing are never easier where significance is higher."""
    policy = agreed_policy(build(mutant.rows()))
    caps = [policy.fabric_cap[grade] for grade in GRADES]
    margins = [policy.margin[grade] for grade in GRADES]
    replicates = [threshold(f"replicates_{grade}") for grade in GRADES]
    found = [mutant.but(columns={"significance": grade}).judged() for grade in GRADES]
    used = [{test.cap for test in item.against_leaving.values()} for item in found]

    assert caps == sorted(caps)
    assert margins == sorted(margins, reverse=True)
    assert replicates == sorted(replicates, reverse=True)
    assert all(seen <= {cap} for seen, cap in zip(used, caps, strict=True))


def test_ageing_is_never_shorter_where_significance_is_higher() -> None:
    """For every kind and family the days and the winter asked grow with significance."""
    asked: dict[tuple[str, str], dict[str, tuple[int, bool]]] = {}
    for row in rows("ageing"):
        for family in row["families"].split("|"):
            for grade in row["significance"].split("|"):
                asked.setdefault((row["kind"], family), {})[grade] = (
                    int(row["days"]), row["winter"] == "yes",
                )  # fmt: skip

    for grades in asked.values():
        days, winters = zip(*(grades[grade] for grade in SIGNIFICANCES), strict=True)
        assert list(days) == sorted(days)
        assert list(winters) == sorted(winters)


# -- Less favourable trial evidence -------------------------------------------------------------


def fields_read(mutant: Mutant) -> int:
    """×50 fields on each panel."""
    return int(mutant.panel("x50_fields", "10"))


def panels_laid(mutant: Mutant) -> int:
    """How many panels there are."""
    return int(mutant.panel("count", "1"))


def more_damage(mutant: Mutant, draw: Callable) -> Mutant:
    """More ×50 fields damaged."""
    damaged = int(mutant.panel("damaged", "0"))
    most = fields_read(mutant) * panels_laid(mutant)
    return mutant.but(panels={"damaged": str(draw(st.integers(damaged, most)))})


def fewer_fields(mutant: Mutant, draw: Callable) -> Mutant:
    """Fewer ×50 fields read, the damaged ones among them."""
    least = -(-int(mutant.panel("damaged", "0")) // panels_laid(mutant))
    fields = draw(st.integers(least, fields_read(mutant)))
    weakest = mutant.panel("x50_weakest", "")
    held = {"x50_weakest": str(min(fields, int(weakest)))} if weakest else {}
    return mutant.but(panels={"x50_fields": str(fields), **held})


def fewer_fields_of_the_weakest(mutant: Mutant, draw: Callable) -> Mutant:
    """Fewer fields that hold the weakest component."""
    held = int(mutant.panel("x50_weakest", "0"))
    return mutant.but(panels={"x50_weakest": str(draw(st.integers(0, held)))})


def fewer_replicates(mutant: Mutant, draw: Callable) -> Mutant:
    """Fewer panels laid, as much damage."""
    least = max(1, -(-int(mutant.panel("damaged", "0")) // fields_read(mutant)))
    return mutant.but(panels={"count": str(draw(st.integers(least, panels_laid(mutant))))})


def a_panel_lost(mutant: Mutant, draw: Callable) -> Mutant:
    """A panel that was laid and is not on record."""
    return mutant.but(panels={"laid": str(panels_laid(mutant) + draw(st.integers(1, 3)))})


def shorter_ageing(mutant: Mutant, draw: Callable) -> Mutant:
    """Panels read sooner."""
    age = int(mutant.panel("aged_days", "0"))
    return mutant.but(panels={"aged_days": str(draw(st.integers(0, age)))})


def smaller_margin(mutant: Mutant, draw: Callable) -> Mutant:
    """Damage begins at a lower setting; from below the cleaning setting the panels show it."""
    low, _, high = mutant.panel("damage", "120-").partition("-")
    first = draw(st.integers(5, int(low)))
    last = draw(st.integers(first, int(high) if high else 400))
    damaged = mutant.panel("damaged", "0")
    if damaged == "0" and last < int(mutant.panel("cleaning", "35-45").partition("-")[0]):
        damaged = mutant.panel("count", "1")
    return mutant.but(panels={"damage": f"{first}-{last}", "damaged": damaged})


def more_residual_soiling(mutant: Mutant, draw: Callable) -> Mutant:
    """More soiling stays."""
    left = int(mutant.panel("residual_pct", "0"))
    return mutant.but(panels={"residual_pct": str(draw(st.integers(left, 100)))})


def more_yellowing(mutant: Mutant, draw: Callable) -> Mutant:
    """b* moves further from the control."""
    shift = float(mutant.panel("delta_b", "0"))
    return mutant.but(panels={"delta_b": str(draw(st.floats(shift, 30)))})


def late_effects(mutant: Mutant, draw: Callable) -> Mutant:
    """Something came late."""
    return mutant.but(panels={"late": draw(st.sampled_from(("salts", "growth", "yellowing")))})


def no_control(mutant: Mutant, _: Callable) -> Mutant:
    """No control was kept."""
    return mutant.but(panels={"control": "no"})


def no_winter(mutant: Mutant, _: Callable) -> Mutant:
    """No winter passed over the panels."""
    return mutant.but(panels={"winter": "no"})


def higher_chloride(mutant: Mutant, draw: Callable) -> Mutant:
    """More chloride stays on the steel."""
    values = [int(value) for value in mutant.panel("chloride_ug_cm2", "5,5,5").split(",")]
    more = [str(value + draw(st.integers(0, 20))) for value in values]
    return mutant.but(panels={"chloride_ug_cm2": ",".join(more)})


def lower_adhesion(mutant: Mutant, draw: Callable) -> Mutant:
    """The coating holds less well."""
    values = [float(value) for value in mutant.panel("adhesion_mpa", "5,5,5").split(",")]
    less = [f"{value * draw(st.floats(0, 1)):.2f}" for value in values]
    return mutant.but(panels={"adhesion_mpa": ",".join(less)})


def grade_not_reached(mutant: Mutant, _: Callable) -> Mutant:
    """The preparation grade was not reached."""
    return mutant.but(panels={"grade": "no"})


FOR_BOTH = (
    more_damage, fewer_fields, fewer_replicates, a_panel_lost, shorter_ageing,
    more_residual_soiling, late_effects, no_control,
)  # fmt: skip
FOR_STONE = (*FOR_BOTH, fewer_fields_of_the_weakest, smaller_margin, more_yellowing, no_winter)
FOR_STEEL = (*FOR_BOTH, higher_chloride, lower_adhesion, grade_not_reached)
tried_stone = st.one_of(stone(), housekeeping(), st.sampled_from((Mutant("G03"), Mutant("G11"))))


@pytest.mark.parametrize("worse", FOR_STONE, ids=lambda worse: worse.__name__)
@settings(max_examples=examples(8, long=20))
@given(tried_stone, st.data())
def test_less_favourable_trial_evidence_on_stone_never_moves_the_outcome_towards_cleaning(
    worse: Callable, mutant: Mutant, data: st.DataObject
) -> None:
    """A trial that shows less, or shows worse, is never a step towards cleaning stone."""
    not_towards_cleaning(mutant, worse(mutant, data.draw))


@pytest.mark.parametrize("worse", FOR_STEEL, ids=lambda worse: worse.__name__)
@settings(max_examples=examples(8, long=20))
@given(steel(), st.data())
def test_less_favourable_trial_evidence_on_metal_never_moves_the_outcome_towards_cleaning(
    worse: Callable, mutant: Mutant, data: st.DataObject
) -> None:
    """A trial that shows less, or shows worse, is never a step towards cleaning metal."""
    not_towards_cleaning(mutant, worse(mutant, data.draw))


@given(st.one_of(stone(), steel(), housekeeping()), st.data())
def test_a_trial_value_left_unread_never_makes_an_outcome_clean(
    mutant: Mutant, data: st.DataObject
) -> None:
    """Whatever was not read on the panels never makes clean of what was not clean before."""
    names = [
        name
        for name in ("damaged", "residual_pct", "late", "control", "winter", "x50_weakest",
                     "delta_b", "damage", "grade", "adhesion_mpa", "chloride_ug_cm2", "profile_um")
        if mutant.panel(name, "")
    ]  # fmt: skip
    assume(names)
    before = mutant.judged()
    assume(before.outcome != "clean")

    after = mutant.but(panels={data.draw(st.sampled_from(names)): None}).judged()

    assert after.outcome != "clean", f"{before} | {after}"


# -- More harmful soiling -----------------------------------------------------------------------


@given(
    st.one_of(near_clean(), stone(), steel(), any_guidance()),
    st.sampled_from((("none", "slow"), ("slow", "active"), ("none", "active"))),
)
def test_more_harmful_soiling_never_moves_the_outcome_towards_leaving(
    mutant: Mutant, decay: tuple[str, str]
) -> None:
    """Where the soiling drives the decay, faster decay is never a reason to leave it."""
    less, more = (
        mutant.but(findings={"decay": pace, "decay_cause": "soiling"}).judged() for pace in decay
    )
    event(f"{less.outcome} → {more.outcome}")

    assert rank(more) >= rank(less), f"{less} | {more}"


# -- Ratings ------------------------------------------------------------------------------------


@given(
    st.floats(0, 10),
    st.integers(0, 2**32 - 1),
    st.sampled_from([row["evidence"] for row in rows("source_grades")]),
    st.sampled_from([row["evidence"] for row in rows("source_grades")]),
)
def test_a_poorer_source_never_lowers_a_rated_harm(
    mean: float, seed: int, one: str, other: str
) -> None:
    """Neither the mean nor an upper quantile of a harm is lower where its source is poorer."""
    order = [row["evidence"] for row in rows("source_grades")]
    better, poorer = sorted((one, other), key=order.index)
    z = np.random.default_rng(seed).normal(size=4096)

    well, ill = rated_draws(z, mean, better), rated_draws(z, mean, poorer)

    assert ill.mean() >= well.mean() - 1e-12
    for level in (0.5, 0.75, 0.9, 0.95, 0.99):
        assert np.quantile(ill, level) >= np.quantile(well, level) - 1e-12


@given(
    st.floats(0, 10),
    st.integers(0, 2**32 - 1),
    st.sampled_from([row["evidence"] for row in rows("source_grades")]),
    st.sampled_from([row["evidence"] for row in rows("source_grades")]),
)
def test_a_poorer_source_never_raises_the_harm_of_leaving(
    mean: float, seed: int, one: str, other: str
) -> None:
    """What speaks for treating never speaks louder because less is known of it."""
    order = [row["evidence"] for row in rows("source_grades")]
    better, poorer = sorted((one, other), key=order.index)
    z = np.random.default_rng(seed).normal(size=4096)

    well, ill = (rated_draws(z, mean, grade, leaving=True) for grade in (better, poorer))

    assert ill.mean() <= well.mean() + 1e-12
    for level in (0.05, 0.25, 0.5, 0.9, 0.99):
        assert np.quantile(ill, level) <= np.quantile(well, level) + 1e-12


# -- Ignorance buys nothing ---------------------------------------------------------------------

BEARS_ON_LEAVING = (
    "decay", "decay_cause", "coating_state", "falling_material", "lead_shedding", "stone_jacking",
)  # fmt: skip
BEARS_ON_TREATING = (
    "agreed_appearance", "cause_moisture", "cause_iron", "cause_salts", "coating_order",
    "containment", "carbonate_near",
)  # fmt: skip


def treatment_not_helped(mutant: Mutant, topic: str) -> None:
    """Hold the outcome and the shares of draws without one answer against those with it."""
    before = mutant.judged()
    after = mutant.but(findings={topic: None}).judged()
    event(f"{topic}: {before.outcome} → {after.outcome}")

    assert before.outcome == "clean" or after.outcome != "clean", f"{before} | {after}"
    for key in set(before.against_leaving) & set(after.against_leaving):
        known, unknown = before.against_leaving[key], after.against_leaving[key]
        assert not (unknown.passed and not known.passed), f"{key}: {known.reason}"
        assert unknown.least_share <= known.least_share + 0.02


known_topics = st.one_of(near_clean(), stone(), steel(), housekeeping())


@given(known_topics, st.sampled_from(BEARS_ON_LEAVING), st.data())
def test_unrecorded_harm_of_leaving_never_helps_treatment(
    mutant: Mutant, topic: str, data: st.DataObject
) -> None:
    """What nobody recorded about the harm of leaving counts for nothing."""
    answers = {"decay": ("none", "slow", "active"), "decay_cause": ("none", "soiling", "other"),
               "coating_state": ("none", "sound", "failing")}.get(topic, ("no", "yes"))  # fmt: skip
    # Shedding lead paint beside "no lead" is refused.
    assume(topic != "lead_shedding" or mutant.case["lead"] != "no")

    treatment_not_helped(mutant.but(findings={topic: data.draw(st.sampled_from(answers))}), topic)


@given(known_topics, st.sampled_from(BEARS_ON_TREATING), st.data())
def test_unrecorded_harm_of_treating_never_helps_treatment(
    mutant: Mutant, topic: str, data: st.DataObject
) -> None:
    """What nobody recorded about the harm of treating counts at its upper 95 % value."""
    causes = ("none", "cured", "active")
    answers = {
        "agreed_appearance": ("as_today", "as_reference"),
        **dict.fromkeys(("cause_moisture", "cause_iron", "cause_salts"), causes),
    }.get(topic, ("no", "yes"))
    assume(topic != "coating_order" or mutant.kind == "metal")

    treatment_not_helped(mutant.but(findings={topic: data.draw(st.sampled_from(answers))}), topic)


@pytest.mark.parametrize("code", CLEAN_CASES)
def test_the_clean_guidance_cases_are_clean_here(code: str) -> None:
    """The ground the cases grow on is what the guidance says."""
    assert rank(Mutant(code).judged()) == 2
