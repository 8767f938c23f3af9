"""Spots of several pulse numbers, wet and dry, read together: what may be learnt, and what not."""

import math

import numpy as np
import pytest
from numpy.polynomial.hermite_e import hermegauss
from scipy import stats
from scipy.integrate import simpson
from scipy.special import expit
from tiers import two_sizes

from heritagecheck.evidence.trials.curves import window as _window
from heritagecheck.evidence.trials.curves.dose_response import (
    DoseResponse,
    dose_levels,
    dose_response,
)
from heritagecheck.evidence.trials.curves.groups import mixture
from heritagecheck.evidence.trials.curves.posterior import classes_of

LADDER = np.array([0.5, 0.84, 1.41, 2.38, 4.0])
CORRELATION = 0.1  # panel_correlation of tables/thresholds.csv


def trial(
    generator: np.random.Generator, rounds: int, b: float, c: float = 0.0
) -> dict[str, np.ndarray]:
    """Spots at all doses, of 1, 10 and 100 pulses, each wet and dry; half of them at 1.5 for 10."""
    dose, pulses, wet = (
        one.ravel() for one in np.meshgrid(np.repeat(LADDER, rounds), [1.0, 10.0, 100.0], [0, 1])
    )
    p = expit((np.log(dose / 1.5) + b * np.log(pulses / 10) + c * wet) / 0.25)
    happened = generator.random(dose.size) < p
    return {"dose": dose, "happened": happened, "pulses": pulses, "wet": wet.astype(bool)}


def width(fit: DoseResponse, p: float = 0.5) -> float:
    """Ratio of both ends of a dose, as its logarithm."""
    at = fit.dose_at(p)
    return math.log(at.high / at.low)


@pytest.mark.parametrize(("b", "c"), [(0.15, 0.4), (0.5, 0.0), (0.85, -0.6)])
def test_what_pulses_and_water_do_is_found_again(b: float, c: float) -> None:
    """1,200 spots of a known law: effects within 0.1 and 0.2, and inside 99 % of their doubt."""
    fit = dose_response(**trial(np.random.default_rng(4), 40, b, c), at_pulses=10, at_wet=False)

    assert fit.pulse_effect is not None
    assert fit.wet_effect is not None
    for effect, true, off in ((fit.pulse_effect, b, 0.1), (fit.wet_effect, c, 0.2)):
        reach = (effect.high - effect.low) * 2.576 / 3.29
        assert effect.estimate == pytest.approx(true, abs=min(off, reach))
    assert fit.dose_at(0.5).low < 1.5 < fit.dose_at(0.5).high


@pytest.mark.parametrize("s", [0.98, 0.8, 0.55])
def test_thresholds_follow_the_incubation_law(s: float) -> None:
    """F(N) = F(1) N^(S - 1) (Jee, Becker and Walser 1988), from sharp thresholds at 1, 10, 100."""
    first = 2.0
    doses = np.geomspace(0.1, 4, 24)
    dose, pulses = (one.ravel() for one in np.meshgrid(doses, [1.0, 10.0, 100.0]))
    happened = dose > first * pulses ** (s - 1)
    for asked in (1, 10, 100, 30):
        found = dose_response(dose, happened, pulses=pulses, at_pulses=asked).dose_at(0.5)
        law = first * asked ** (s - 1)

        assert found.estimate == pytest.approx(law, rel=0.08)
        assert found.low < law < found.high


@pytest.mark.parametrize(("trials", "least"), two_sizes((20, 0.74), (80, 0.86)))
def test_intervals_held_under_conditions_that_vary(trials: int, least: float) -> None:
    """95 % of the trials at pulses tried and not tried; fewer would be 1 in 1,000."""
    generator = np.random.default_rng(8)
    held = []
    for _ in range(trials):
        b = generator.uniform(0, 1)
        given = trial(generator, 2, b)
        given.pop("wet")
        for asked in (10, 1000):
            at = dose_response(**given, at_pulses=asked).dose_at(0.5)
            held.append(at.low <= 1.5 * (asked / 10) ** -b <= at.high)

    assert np.mean(held[::2]) > least
    assert np.mean(held[1::2]) > least


def given_by_hand() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Six spots on one panel: dose, pulses and outcome."""
    dose = np.array([0.5, 0.5, 1.0, 1.0, 2.0, 2.0])
    return dose, np.array([1.0, 20.0] * 3), np.array([False, False, False, True, True, True])


def evidence(b: float, panelled: bool) -> float:
    """Likelihood of the six spots for one exponent, priors of the docstring integrated out."""
    dose, pulses, happened = given_by_hand()
    log_pulses = np.log(pulses)
    x = np.log(dose) + b * (log_pulses - log_pulses.mean())
    low, high = x.min(), x.max()
    m = np.linspace(low - 8, high + 8, 321)[:, None]
    log_s = np.linspace(math.log(0.3) - 2.6, math.log(0.3) + 2.6, 61)[None, :]
    s = np.exp(log_s)
    outside = np.maximum(0, np.maximum(low - m, m - high))
    prior = np.exp(-outside / s) / (high - low + 2 * s) * stats.norm.pdf(log_s, math.log(0.3), 1)
    scale = math.sqrt(CORRELATION / (1 - CORRELATION) * math.pi**2 / 3) / stats.halfnorm.ppf(0.5)
    sds = scale * stats.halfnorm.ppf((np.arange(12) + 0.5) / 12) if panelled else [0.0]
    nodes, weights = hermegauss(11)
    likelihood = np.zeros(prior.shape)
    for sd in sds:
        for u, weight in zip(nodes, weights / weights.sum(), strict=True):
            eta = (x[:, None, None] - m) / s + sd * u
            each = np.logaddexp(0, np.where(happened[:, None, None], -eta, eta))
            likelihood += weight / len(sds) * np.exp(-each.sum(axis=0))
    return float(simpson(simpson(likelihood * prior, x=log_s[0], axis=1), x=m[:, 0]))


@pytest.mark.parametrize("panelled", [False, True])
def test_weights_agree_with_integrals_by_brute_force(panelled: bool) -> None:
    """Each exponent weighs as its likelihood, integrated by scipy over all else, within 1 %."""
    dose, pulses, happened = given_by_hand()
    rows = np.column_stack([np.zeros((6, 2)), np.log(dose), np.log(pulses / 7), np.zeros(6)])
    found = mixture(*classes_of(rows, happened, panelled=panelled), CORRELATION)
    some = [0, 5, 10]
    expected = np.array([evidence(found.pulses[k], panelled) for k in some])
    weight = found.weight[some]

    assert found.pulses.size == 11
    assert weight / weight.sum() == pytest.approx(expected / expected.sum(), rel=0.01)
    assert np.ptp(weight) > 0.5 * weight.max()


def test_weights_of_groups_agree_with_those_of_one_group() -> None:
    """A group of one spot says nothing about pulses: the others' weights stay as they were."""
    dose, pulses, happened = given_by_hand()
    alone = dose_response(dose, happened, pulses=pulses)
    beside = dose_response(
        [*dose, 1.0], [*happened, True], ["mica"] * 6 + ["quartz"], pulses=[*pulses, 4.47]
    )

    assert alone.pulse_effect is not None
    assert beside.pulse_effect is not None
    assert beside.pulse_effect.estimate == pytest.approx(alone.pulse_effect.estimate, abs=0.04)
    assert beside.pulse_effect.high == pytest.approx(alone.pulse_effect.high, abs=0.04)


def numbers(fit: DoseResponse) -> list[float]:
    """Whatever digits a fit shows."""
    at, share = fit.dose_at(0.1), fit.probability(1.1)
    return [
        at.low, at.estimate, at.high, float(share.low), float(share.high), float(share.next_spot),
        fit.lowest_dose, fit.highest_dose, fit.first_event,
    ]  # fmt: skip


def test_conditions_that_are_all_alike_change_no_digit() -> None:
    """Eight pulses at every dry spot: the curve without them, and the words."""
    given = trial(np.random.default_rng(1), 2, 0.3)
    bare = {"dose": given["dose"], "happened": given["happened"]}
    plain = dose_response(**bare)
    fit = dose_response(**bare, pulses=[8] * 60, wet=[False] * 60)

    assert numbers(fit) == numbers(plain)
    assert fit.cautions == plain.cautions
    assert fit.conditions == "8 pulses or passes a spot, dry surface"
    assert plain.conditions == ""
    assert str(fit) == f"{plain} The curve is for 8 pulses or passes a spot, dry surface."
    assert fit.pulse_effect is None


def test_the_same_spots_give_the_same_digits() -> None:
    """In any order, and called twice."""
    given = trial(np.random.default_rng(1), 2, 0.3, 0.2)
    order = np.random.default_rng(2).permutation(60)
    shuffled = {name: values[order] for name, values in given.items()}
    asked = {"at_pulses": 10, "at_wet": True}

    assert numbers(dose_response(**given, **asked)) == numbers(dose_response(**given, **asked))
    assert numbers(dose_response(**shuffled, **asked)) == pytest.approx(
        numbers(dose_response(**given, **asked)), rel=1e-9
    )


def test_what_spots_say_about_pulses_does_not_hang_on_what_is_asked() -> None:
    """The exponent is the same for a curve of 1, of 10 and of 5,000 pulses."""
    given = trial(np.random.default_rng(5), 1, 0.4)
    found = [dose_response(**given, at_wet=False, at_pulses=n).pulse_effect for n in (1, 10, 5000)]

    assert found[0] is not None
    for one in found[1:]:
        assert one is not None
        assert (one.low, one.estimate, one.high) == pytest.approx(
            (found[0].low, found[0].estimate, found[0].high), abs=1e-9
        )


def test_more_pulses_damage_at_a_lower_dose() -> None:
    """The dose of 50 % falls from 1 to 10 to 100 pulses, never by more than their ratio."""
    given = trial(np.random.default_rng(6), 3, 0.4)
    one, ten, hundred = (
        dose_response(**given, at_wet=False, at_pulses=n).dose_at(0.5) for n in (1, 10, 100)
    )

    assert hundred.estimate < ten.estimate < one.estimate < 100 * hundred.estimate
    assert hundred.low < ten.low < one.low


def test_far_from_what_was_tried_less_is_known() -> None:
    """Intervals widen from the pulses tried to 100 and 10,000."""
    given = trial(np.random.default_rng(6), 2, 0.3)
    few = given["pulses"] < 100
    given = {name: values[few] for name, values in given.items()}
    widths = [
        width(dose_response(**given, at_wet=False, at_pulses=n)) for n in (3, 100, 1000, 10_000)
    ]

    assert widths == sorted(widths)
    assert widths[-1] > 1.5 * widths[0]


def test_pulses_of_which_none_was_tried_rest_on_the_prior_alone() -> None:
    """Five everywhere, 5,000 asked: dose over 1,000 to a power even in 0 to 1, without steps."""
    spots = {"dose": [1.0, 1.4, 2.0] * 9, "happened": [0, 1, 1] * 9, "pulses": [5] * 27}
    even = (np.arange(20_000) + 0.5) / 20_000
    five = dose_levels(dose_response(**spots), 0.5, even)
    power = np.random.default_rng(7).permutation(even)
    found = dose_levels(dose_response(**spots, at_pulses=5000), 0.5, even)

    assert stats.ks_2samp(found, five / 1000**power).statistic < 0.015


def test_water_of_which_the_spots_say_nothing_rests_on_the_prior_alone() -> None:
    """One sound wet spot far below all others: log factor normal about 0, sd 0.5, 90 % within."""
    fit = dose_response([1.0, 1.4, 2.0] * 9 + [0.02], [0, 1, 1] * 9 + [0], wet=[0] * 27 + [1])
    assert fit.wet_effect is not None
    found = [fit.wet_effect.low, fit.wet_effect.estimate, fit.wet_effect.high]

    assert found == pytest.approx(stats.norm.ppf([0.05, 0.5, 0.95], 0, 0.5), abs=0.08)


def test_pulses_that_go_with_water_leave_open_which_did_it() -> None:
    """All wet spots of 10 pulses, all dry of 1: ten on a dry stone is known less well."""
    generator = np.random.default_rng(9)
    dose = np.repeat(LADDER, 16)
    wet = np.tile([False, True], 40)
    happened = generator.random(80) < expit((np.log(dose / 1.5) + 0.7 * wet) / 0.2)
    given = {"dose": dose, "happened": happened, "pulses": np.where(wet, 10, 1), "wet": wet}
    both = dose_response(**given, at_pulses=10, at_wet=True)
    mixed = dose_response(**given, at_pulses=10, at_wet=False)

    assert width(mixed) > 1.4 * width(both)
    assert any("0 of 80 spots have the very condition" in one for one in mixed.cautions)


def test_spots_of_several_pulses_are_not_pooled_as_if_alike() -> None:
    """Damage at 100 pulses alone: pooled it would spread over doses, read rightly it does not."""
    dose = np.tile(np.repeat(LADDER, 4), 2)
    pulses = np.repeat([1, 100], 20)
    happened = np.concatenate([np.zeros(20, bool), dose[:20] > 1])
    pooled = dose_response(dose, happened)
    single = dose_response(dose, happened, pulses=pulses, at_pulses=1)
    many = dose_response(dose, happened, pulses=pulses, at_pulses=100)

    assert float(many.probability(1.41).estimate) > float(pooled.probability(1.41).estimate)
    assert float(single.probability(1.41).estimate) < float(pooled.probability(1.41).estimate)
    assert many.dose_at(0.5).high < pooled.dose_at(0.5).high


def test_probability_never_falls_with_dose() -> None:
    """Estimate, both ends and the next spot rise along the doses, also beyond those tried."""
    fit = dose_response(**trial(np.random.default_rng(3), 1, 0.6, 0.3), at_pulses=30, at_wet=True)
    share = fit.probability(np.geomspace(0.05, 40, 60))

    for one in (share.estimate, share.low, share.high, share.next_spot):
        assert (np.diff(one) >= -1e-12).all()


def test_groups_share_what_pulses_do() -> None:
    """Quartz was tried with one pulse alone: mica tells of 100, yet quartz never looks safer."""
    generator = np.random.default_rng(10)
    given = trial(generator, 2, 0.6)
    given.pop("wet")
    quartz = np.repeat(LADDER, 4)
    happened = generator.random(20) < expit(np.log(quartz / 2.5) / 0.2)
    dose = np.concatenate([given["dose"], quartz])
    outcome = np.concatenate([given["happened"], happened])
    pulses = np.concatenate([given["pulses"], np.ones(20)])
    names = ["mica"] * 60 + ["quartz"] * 20
    fit = dose_response(dose, outcome, names, pulses=pulses, at_pulses=100)
    mica = dose_response(**given, at_pulses=100)
    alone = dose_response(quartz, happened, pulses=[1] * 20, at_pulses=100)

    assert fit.pulse_effect is not None
    assert mica.pulse_effect is not None
    assert fit.pulse_effect.estimate == pytest.approx(mica.pulse_effect.estimate, abs=0.05)
    for p in (0.05, 0.5):
        assert fit.dose_at(p, group="mica").low <= mica.dose_at(p).low * 1.0001
        assert fit.dose_at(p, group="quartz").low <= alone.dose_at(p).low * 1.0001
        assert fit.dose_at(p, group="quartz").estimate <= alone.dose_at(p).estimate * 1.0001


def test_many_spots_of_one_panel_count_as_ten_for_each_condition_by_itself() -> None:
    """Forty sound spots of one panel at one dose: of 4 pulse numbers none is beyond ten."""
    panel = ["P1"] * 40 + ["P2"] * 40 + ["P3"] * 40
    of_one = dose_response([1.0] * 120, [False] * 120, panel=panel, pulses=[5] * 120)
    of_four = dose_response([1.0] * 120, [False] * 120, panel=panel, pulses=[2, 3, 4, 5] * 30)

    assert any("More than 10 spots on one panel" in one for one in of_one.cautions)
    assert not any("More than 10 spots on one panel" in one for one in of_four.cautions)


def test_no_damage_under_several_conditions_is_not_no_risk() -> None:
    """The upper end at the most pulses lies above the exact bound of the spots laid there."""
    pulses = [1] * 10 + [10] * 10 + [100] * 10
    fit = dose_response([1.2] * 30, [False] * 30, pulses=pulses, at_pulses=100)

    assert float(fit.probability(1.2).high) > 1 - 0.05 ** (1 / 30)
    assert fit.dose_at(0.5).high == math.inf
    assert any("does not mean never" in one for one in fit.cautions)


def test_a_curve_is_for_most_spots_unless_asked() -> None:
    """Most frequent pulses, of ties the largest; most frequent wetness; or what is asked."""
    spots = {"dose": [1.0, 1.2, 1.4, 1.6, 1.8], "happened": [0, 0, 0, 1, 1]}
    most = dose_response(**spots, pulses=[5, 5, 2, 9, 9], wet=[1, 1, 1, 0, 0])
    asked = dose_response(**spots, pulses=[5, 5, 2, 9, 9], at_pulses=1)

    assert most.conditions == "9 pulses or passes a spot, wet surface"
    assert asked.conditions == "1 pulse or pass a spot"


def test_doses_tried_are_those_of_the_condition_asked() -> None:
    """At least the pulses asked count as tried; else fewer count at the dose of the same total."""
    dose, pulses = [0.5, 1.0, 2.0, 4.0, 3.0], [1, 10, 10, 1, 100]
    happened = [False, True, True, True, True]
    ten = dose_response(dose, happened, pulses=pulses, at_pulses=10)
    single = dose_response(dose, happened, pulses=pulses, at_pulses=1)
    beyond = dose_response(dose, happened, pulses=pulses, at_pulses=200)
    wet = dose_response(dose, happened, wet=[1, 1, 0, 0, 0], at_wet=True)

    assert (ten.lowest_dose, ten.highest_dose, ten.first_event) == (1.0, 3.0, 1.0)
    assert (single.lowest_dose, single.highest_dose, single.first_event) == (0.5, 4.0, 4.0)
    assert (beyond.lowest_dose, beyond.highest_dose) == (0.5 / 200, 1.5)
    assert beyond.first_event == 1.0
    assert (wet.lowest_dose, wet.highest_dose, wet.first_event) == (0.5, 1.0, 1.0)


def test_an_event_of_more_pulses_stands_in_where_there_is_no_other() -> None:
    """Damage at 100 pulses alone still caps a window for one pulse: it is all that was seen."""
    fit = dose_response([1.0, 2.0, 0.7], [False, False, True], pulses=[1, 1, 100], at_pulses=1)

    assert fit.first_event == 0.7


def test_a_window_for_many_pulses_lies_below_one_for_few() -> None:
    """Both ends sink with pulses, and the upper never passes a dose at which a spot was damaged."""
    dose, pulses = (one.ravel() for one in np.meshgrid(np.repeat(LADDER, 6), [1.0, 10.0]))
    panel = [f"P{k % 6}" for k in range(dose.size)]
    effective = dose * pulses**0.5
    few, many = (
        _window.tested_window(
            dose_response(dose, effective > 1.0, panel=panel, pulses=pulses, at_pulses=n),
            dose_response(dose, effective > 7.0, panel=panel, pulses=pulses, at_pulses=n),
        )
        for n in (1, 10)
    )

    assert many.low < few.low
    assert many.high < few.high
    assert many.high <= 2.38
    assert any(one.startswith("Damage: Spots of 1 to 10 pulses") for one in many.cautions)


def test_cautions_say_what_the_reading_rests_on() -> None:
    """How pulses and water act, with 90 %, and how few spots lie under the curve's condition."""
    given = trial(np.random.default_rng(4), 2, 0.5, 0.3)
    said = dose_response(**given, at_pulses=30, at_wet=True).cautions
    enough = dose_response(**given, at_pulses=10, at_wet=True).cautions
    unsaid = dose_response([1.0] * 6, [0, 0, 0, 1, 1, 1], pulses=[2] * 6, at_pulses=5).cautions

    assert any("1 to 100 pulses or passes are read together for 30" in one for one in said)
    assert any("Ten times as many act like 3" in one for one in said)
    assert any("Wet and dry spots are read together" in one for one in said)
    assert any("0 of 60 spots have the very condition of the curve (30 p" in one for one in said)
    assert not any("very condition of the curve" in one for one in enough)
    assert not any("hardly show" in one for one in said)
    assert any("The spots themselves hardly show it" in one for one in unsaid)


SPOTS = {"dose": [0.5, 1.0, 2.0, 2.5], "happened": [False, False, True, True]}


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"pulses": [1, 2]}, r"pulses has shape \(2,\) for 4 spots"),
        ({"pulses": [1, 2, 0, 3]}, "pulses = 0: a spot receives one pulse or pass, or more"),
        ({"pulses": [1, 2, math.inf, 3]}, "pulses = inf"),
        ({"pulses": [1, 2, 2, 3], "at_pulses": 0.5}, "at_pulses = 0.5: give a number"),
        ({"pulses": [1, 2, 2, 3], "at_pulses": math.nan}, "at_pulses = nan"),
        ({"at_pulses": 5}, "at_pulses = 5, but pulses is not given: say it for each spot"),
        ({"at_wet": True}, "at_wet = True, but wet is not given: say it for each spot"),
        ({"wet": [True, False, True]}, r"wet has shape \(3,\) for 4 spots"),
        ({"wet": ["yes", "no", "no", "no"]}, "wet must be True or False"),
        ({"wet": [1, 1, 0, 0]}, "2 spots were wet and as many dry: say by at_wet"),
        ({"wet": [0, 0, 0, 0], "at_wet": True}, "no spot was tried wet"),
        ({"wet": [1, 1, 1, 1], "at_wet": False}, "no spot was tried dry"),
    ],
)
def test_conditions_that_say_nothing_are_refused(given: dict, said: str) -> None:
    """The message names what came and what to do."""
    with pytest.raises(ValueError, match=said):
        dose_response(**SPOTS, **given)
