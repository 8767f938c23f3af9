"""Dose-response curves of trial spots: what they must show, and what they must not claim."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit
from tiers import two_sizes

from heritagecheck.evidence.trials.curves.dose_response import (
    DoseResponse,
    dose_response,
    probability_levels,
)

LADDER = np.array([0.5, 0.84, 1.41, 2.38, 4.0])
CORRELATION = 0.1  # panel_correlation of tables/thresholds.csv


def spots(dose: np.ndarray, each: int, events: list[int]) -> tuple[np.ndarray, np.ndarray]:
    """Dose and outcome of each spot, from counts a dose."""
    happened = [np.arange(each) < hit for hit in events]
    return np.repeat(dose, each), np.concatenate(happened)


def drawn(
    generator: np.random.Generator, count: int, half: float, spread: float, panels: int, sd: float
) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Spots of a true logistic curve, on panels whose logits scatter by sd."""
    dose = np.resize(LADDER, count)
    panel = (np.arange(count) // LADDER.size) % panels
    shift = sd * generator.normal(size=panels)
    p = expit(np.log(dose / half) / spread + shift[panel])
    return dose, generator.random(count) < p, [f"P{k}" for k in panel]


def from_prior(
    dose: np.ndarray, happened: np.ndarray, panel: np.ndarray | None, number: int = 600_000
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Log dose of 50 %, probability at the middle dose, and weights, by draws from the prior."""
    generator = np.random.default_rng(3)
    x = np.log(dose)
    low, high = x.min(), x.max()
    spread = np.exp(math.log(0.3) + generator.normal(size=number))
    # Even between the ends, an exponential tail of one spread beyond each.
    side = generator.random(number) * (high - low + 2 * spread)
    tail = spread * generator.exponential(size=number)
    half = np.where(side < high - low, low + side, high + tail)
    half = np.where(side > high - low + spread, low - tail, half)
    log_weight = np.zeros(number)
    if panel is None:
        shift, sd = np.zeros((1, number)), np.zeros(number)
        index = np.zeros(x.size, int)
    else:
        scale = math.sqrt(CORRELATION / (1 - CORRELATION) * math.pi**2 / 3) / 0.6745
        sd = scale * np.abs(generator.normal(size=number))
        shift = sd * generator.normal(size=(panel.max() + 1, number))
        index = panel
    for one, hit, here in zip(x, happened, index, strict=True):
        eta = (one - half) / spread + shift[here]
        log_weight -= np.logaddexp(0, -eta if hit else eta)
    nodes, weights = np.polynomial.hermite_e.hermegauss(40)
    middle = (low + high) / 2
    eta = (middle - half) / spread
    p = sum(w * expit(eta + sd * u) for u, w in zip(nodes, weights, strict=True))
    return half, p / weights.sum(), np.exp(log_weight - log_weight.max())


def weighted(values: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """2.5 %, 50 % and 97.5 % quantiles of weighted draws."""
    order = np.argsort(values)
    share = np.cumsum(weights[order]) / weights.sum()
    return values[order][np.searchsorted(share, [0.025, 0.5, 0.975])]


@pytest.mark.parametrize(
    ("events", "panelled"),
    [([0, 1, 2, 3, 4], False), ([0, 1, 2, 3, 4], True), ([0, 0, 0, 1, 2], True)],
)
def test_the_grid_agrees_with_draws_from_the_stated_priors(
    events: list[int], panelled: bool
) -> None:
    """Weighted draws from the priors of the docstring give the same medians and ends."""
    dose, happened = spots(LADDER, 4, events)
    panel = np.arange(dose.size) % 2 if panelled else None
    fit = dose_response(dose, happened, panel=None if panel is None else [f"P{k}" for k in panel])
    half, p, weights = from_prior(dose, happened, panel)
    at, share = fit.dose_at(0.5), fit.probability(math.exp(np.log(LADDER[[0, -1]]).mean()))

    found = np.log([at.low, at.estimate, at.high])
    expected = weighted(half, weights)
    assert found == pytest.approx(expected, abs=0.05 * np.ptp(expected))
    assert [share.low, share.estimate, share.high] == pytest.approx(weighted(p, weights), abs=0.02)


@pytest.mark.parametrize("count", [3, 5, 10, 20, 60, 200])
def test_no_damage_is_not_no_risk(count: int) -> None:
    """The upper end of 95 % lies above the exact one-sided bound of 90 % (Clopper, Pearson)."""
    fit = dose_response([1.2] * count, [False] * count)
    exact = 1 - 0.1 ** (1 / count)

    assert float(fit.probability(1.2).high) > exact
    assert fit.dose_at(0.5).high == math.inf
    assert any("does not mean never" in one for one in fit.cautions)


def test_no_damage_at_many_doses_is_bounded_at_the_highest() -> None:
    """Twenty spots spread over five doses show less at the highest than twenty laid there."""
    spread = dose_response(np.repeat(LADDER, 4), [False] * 20)
    laid = dose_response([4.0] * 20, [False] * 20)

    assert float(spread.probability(4.0).high) > float(laid.probability(4.0).high)
    assert float(laid.probability(4.0).high) > 1 - 0.05 ** (1 / 20)


def undamaged(panels: int, each: int) -> float:
    """Upper bound of the damaged share where so many panels hold so many sound spots each."""
    labels = [f"P{k}" for k in range(panels) for _ in range(each)]
    fit = dose_response([1.0] * len(labels), [False] * len(labels), panel=labels)
    return float(fit.probability(1.0).high)


@pytest.mark.parametrize("panels", [1, 2, 4, 8])
def test_spots_on_few_panels_stay_weak_evidence(panels: int) -> None:
    """However many spots: never below the exact bound on 1 / r spots a panel (design effect)."""
    floor = 1 - 0.05 ** (CORRELATION / panels)
    bounds = [undamaged(panels, each) for each in (2, 10, 100, 3000)]

    assert bounds[-1] >= floor
    assert bounds[-1] == pytest.approx(bounds[1], rel=1e-6)
    assert bounds[0] > bounds[1]


def test_more_panels_say_more_than_more_spots() -> None:
    """Eighty sound spots on eight panels bound damage lower than eight hundred on two."""
    assert undamaged(8, 10) < 0.5 * undamaged(2, 400)


@pytest.mark.parametrize(("trials", "least"), two_sizes((30, 0.79), (120, 0.88)))
def test_intervals_hold_the_truth_about_as_often_as_they_say(trials: int, least: float) -> None:
    """95 % of the trials, with and without differing panels; fewer would be 1 in 1,000."""
    generator = np.random.default_rng(11)
    inside, high = [], []
    for k in range(trials):
        sd = (0.0, 0.6)[k % 2]
        half, spread = generator.uniform(0.8, 3), generator.uniform(0.1, 0.5)
        dose, happened, panel = drawn(generator, 30, half, spread, 3, sd)
        fit = dose_response(dose, happened, panel=panel)
        at = fit.dose_at(0.5)
        nodes, weights = np.polynomial.hermite_e.hermegauss(40)
        truth = float(
            (weights * expit(math.log(1.41 / half) / spread + sd * nodes)).sum() / weights.sum()
        )
        share = fit.probability(1.41)
        inside.append(at.low <= half <= at.high)
        high.append(float(share.low) <= truth <= float(share.high))

    assert np.mean(inside) > least
    assert np.mean(high) > least


def test_dose_and_probability_are_one_curve() -> None:
    """The probability at the dose of p is p, and its bound there is the bound of the dose."""
    fit = dose_response(*spots(LADDER, 6, [0, 1, 3, 4, 6]), panel=["A", "B", "C"] * 10)
    for p in (0.02, 0.1, 0.5, 0.9):
        at = fit.dose_at(p)

        assert float(fit.probability(at.estimate).estimate) == pytest.approx(p, abs=0.01)
        assert float(fit.probability(at.low).high) == pytest.approx(p, abs=0.012)


def test_the_unit_of_the_dose_changes_nothing() -> None:
    """Joule or millijoule, kilopascal or bar: the same curve."""
    dose, happened = spots(LADDER, 5, [0, 0, 2, 4, 5])
    one = dose_response(dose, happened).dose_at(0.1)
    other = dose_response(1000 * dose, happened).dose_at(0.1)

    assert [other.low, other.estimate, other.high] == pytest.approx(
        [1000 * one.low, 1000 * one.estimate, 1000 * one.high], rel=1e-6
    )


def test_order_and_names_of_spots_change_nothing() -> None:
    """Shuffled spots on panels of other names give the same numbers."""
    dose, happened = spots(LADDER, 6, [0, 1, 2, 5, 6])
    panel = np.array(["A", "B", "C"] * 10)
    order = np.random.default_rng(2).permutation(30)
    one = dose_response(dose, happened, panel=list(panel)).dose_at(0.1)
    names = {"A": "z", "B": "y", "C": "x"}
    other = dose_response(
        dose[order], happened[order], panel=[names[k] for k in panel[order]]
    ).dose_at(0.1)

    assert (one.low, one.estimate, one.high) == pytest.approx(
        (other.low, other.estimate, other.high), rel=1e-9
    )


@pytest.mark.parametrize("seed", range(6))
def test_damage_at_the_gentlest_dose_never_looks_safer(seed: int) -> None:
    """One more damaged spot there raises neither estimate nor lower end of the damage dose."""
    generator = np.random.default_rng(seed)
    dose, happened, panel = drawn(generator, 25, 1.6, 0.3, 3, 0.6)
    before = dose_response(dose, happened, panel=panel)
    worse = happened.copy()
    worse[np.flatnonzero(~happened & (dose == dose.min()))[0]] = True
    after = dose_response(dose, worse, panel=panel)

    for p in (0.05, 0.1, 0.5):
        assert after.dose_at(p).estimate < before.dose_at(p).estimate
        assert after.dose_at(p).low < before.dose_at(p).low


def minerals() -> tuple[np.ndarray, np.ndarray, list[str], list[str]]:
    """Biotite fails first, quartz later, and of hornblende three spots were seen, all sound."""
    dose = np.concatenate([np.repeat(LADDER, 4), np.repeat(LADDER, 4), [0.5, 0.84, 1.41]])
    happened = np.concatenate(
        [spots(LADDER, 4, [0, 2, 4, 4, 4])[1], spots(LADDER, 4, [0, 0, 0, 2, 4])[1], [False] * 3]
    )
    group = ["biotite"] * 20 + ["quartz"] * 20 + ["hornblende"] * 3
    return dose, happened, group, ["P1", "P2", "P3", "P4"] * 10 + ["P1", "P2", "P3"]


def test_the_weakest_group_sets_the_limit() -> None:
    """Biotite is named, and no end lies above its own."""
    dose, happened, group, panel = minerals()
    fit = dose_response(dose, happened, group, panel=panel)
    all_of_them, biotite = fit.dose_at(0.1), fit.dose_at(0.1, group="biotite")

    assert fit.weakest == "biotite"
    assert all_of_them.low <= biotite.low
    assert all_of_them.estimate == biotite.estimate < fit.dose_at(0.1, group="quartz").estimate
    assert float(fit.probability(0.84).high) >= float(fit.probability(0.84, group="quartz").high)


def test_a_group_never_looks_safer_than_by_itself() -> None:
    """Borrowing from others lowers a damage dose or leaves it, for every group and probability."""
    dose, happened, group, panel = minerals()
    fit = dose_response(dose, happened, group, panel=panel)
    for name in set(group):
        here = np.array(group) == name
        alone = dose_response(
            dose[here], happened[here], panel=[p for p, k in zip(panel, here, strict=True) if k]
        )
        for p in (0.01, 0.1, 0.5):
            assert fit.dose_at(p, group=name).low <= alone.dose_at(p).low * 1.0001
            assert fit.dose_at(p, group=name).estimate <= alone.dose_at(p).estimate * 1.0001


def test_a_group_without_damage_borrows_and_says_so() -> None:
    """Three sound spots of hornblende do not make it harder than its neighbours."""
    dose, happened, group, panel = minerals()
    fit = dose_response(dose, happened, group, panel=panel)

    assert fit.dose_at(0.5, group="hornblende").low < fit.dose_at(0.5, group="quartz").low
    assert any(
        "No spot on hornblende showed it. Its curve takes its slope" in one for one in fit.cautions
    )


def test_a_mineral_that_stood_firm_does_not_set_the_limit() -> None:
    """Quartz as often and as hard tried as the mica, and sound: the mica's end is the limit."""
    dose, mica = spots(LADDER, 4, [0, 0, 2, 4, 4])
    group = ["biotite"] * 20 + ["quartz"] * 20
    fit = dose_response(
        np.tile(dose, 2), np.append(mica, np.zeros(20, dtype=bool)), group,
        panel=["P1", "P2", "P3", "P4"] * 10,
    )  # fmt: skip

    for p in (0.05, 0.25, 0.5):
        assert fit.dose_at(p).low == fit.dose_at(p, group="biotite").low
        assert fit.dose_at(p, group="quartz").low > fit.dose_at(p, group="biotite").low


def test_a_mineral_tried_less_keeps_its_own_doubt() -> None:
    """The same quartz, but never at the harshest dose: it may go there, and sets the lower end."""
    dose, mica = spots(LADDER, 4, [0, 0, 2, 4, 4])
    gentle = dose < 0.9
    fit = dose_response(
        np.append(dose, dose[gentle]), np.append(mica, np.zeros(gentle.sum(), dtype=bool)),
        ["biotite"] * 20 + ["quartz"] * int(gentle.sum()),
        panel=["P1", "P2", "P3", "P4"] * ((20 + int(gentle.sum())) // 4),
    )  # fmt: skip
    alone = dose_response(
        dose[gentle], [False] * int(gentle.sum()),
        panel=["P1", "P2", "P3", "P4"] * (int(gentle.sum()) // 4),
    )  # fmt: skip

    assert fit.dose_at(0.05, group="quartz").low <= alone.dose_at(0.05).low * 1.0001


def test_parted_spots_give_a_finite_interval_around_the_gap() -> None:
    """None damaged up to 1.41, all from 2.38: half lies between, give or take a class."""
    fit = dose_response(*spots(LADDER, 6, [0, 0, 0, 6, 6]))
    at = fit.dose_at(0.5)

    assert 1.41 < at.estimate < 2.38
    assert 0.84 < at.low < 1.6
    assert 2.1 < at.high < 4
    assert any("how steep" in one for one in fit.cautions)


def test_all_damaged_leaves_the_lower_end_open() -> None:
    """Where every spot was damaged, any lower dose may damage too."""
    fit = dose_response([0.5] * 6 + [1.0] * 6, [True] * 12)

    assert fit.dose_at(0.5).low == 0
    assert float(fit.probability(0.5).high) == 1
    assert "it begins at doses below those tried" in " ".join(fit.cautions)


@pytest.mark.parametrize("hit", [False, True])
def test_one_spot_tells_next_to_nothing(hit: bool) -> None:
    """An open end, an interval over most of 0 to 1, and a caution."""
    fit = dose_response([1.0], [hit])
    share = fit.probability(1.0)

    assert float(share.high) - float(share.low) > 0.75
    assert fit.dose_at(0.5).low == 0 if hit else fit.dose_at(0.5).high == math.inf
    assert any("prior assumptions" in one for one in fit.cautions)


def test_falling_outcomes_are_flagged() -> None:
    """Damage at low doses and none at high ones is likelier a mix-up than a curve."""
    fit = dose_response(*spots(LADDER, 4, [4, 3, 1, 0, 0]))

    assert any("The curve can't fall" in one for one in fit.cautions)


def test_the_next_spot_averages_over_the_uncertainty() -> None:
    """The mean of the quantiles is the chance for one spot on a new panel."""
    fit = dose_response(*spots(LADDER, 6, [0, 1, 2, 5, 6]))
    found = float(fit.probability(0.84).next_spot)
    even = probability_levels(fit, 0.84, (np.arange(8192) + 0.5) / 8192)

    assert found == pytest.approx(even.mean(), abs=0.003)


def test_the_straight_line_stands_beside_the_curve_where_they_disagree() -> None:
    """ISO 21254-2 says no damage below 0.730, where the curve still gives some."""
    dose, happened = spots(np.array([0.6, 0.8, 1.0, 1.2, 1.4, 1.6]), 10, [0, 1, 3, 5, 8, 10])
    fit = dose_response(dose, happened, panel=["A", "B", "C", "D", "E"] * 12)

    assert fit.straight_line is not None
    assert fit.straight_line.threshold == pytest.approx(0.7304347826, abs=1e-9)
    assert any("limits rest on the curve" in one for one in fit.cautions)
    assert dose_response([1.0, 2.0], [False, True]).straight_line is None


def test_results_show_themselves() -> None:
    """One sentence, a table with a row a group, and cautions in words."""
    dose, happened, group, panel = minerals()
    fit = dose_response(dose, happened, group, panel=panel)
    table = fit.table()

    assert str(fit) == "Event at 20 of 43 spots; ED50 for biotite 0.836 (95 % CI 0.577 to 1.16)."
    assert list(table["group"]) == ["biotite", "hornblende", "quartz"]
    assert list(table["events"]) == [14, 0, 6]
    assert math.isfinite(table["dose at 10 %, low"].min())

    none = dose_response([1, 1, 2, 2], [0] * 4, event="damage", unit="J/cm²")
    assert str(none).startswith("Damage at none of 4 spots; at 2 J/cm² up to ")
    assert str(none) in none._repr_html_()
    assert str(fit.dose_at(0.5, level=0.9)) == "0.836 (90 % CI 0.626 to 1.09)"


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"dose": [0.5, -1.0, 2.0]}, "dose = -1: a dose is a finite number above 0"),
        ({"dose": [0.5, 0.0, 2.0]}, "a control, not a dose of 0"),
        ({"dose": [0.5, np.nan, 2.0]}, "dose = nan"),
        ({"dose": [0.5, 1.0]}, r"shape \(2,\) and happened \(3,\)"),
        ({"dose": [], "happened": []}, "at least one spot"),
        ({"happened": [0, 1, 2]}, "must be True or False"),
        ({"happened": ["no", "no", "yes"]}, "must be True or False"),
        ({"group": ["biotite", "quartz"]}, "group has 2 labels for 3 spots"),
        ({"panel": ["P1", "", "P2"]}, "panel is missing for a spot"),
        ({"panel": ["P1", "NaN", "P2"]}, "panel is missing for a spot"),
        ({"panel": ["P1", "None", "P2"]}, "panel is missing for a spot"),
        ({"panel": ["P1", math.nan, "P2"]}, "panel is missing for a spot"),
        ({"panel": ["P1", pd.NA, "P2"]}, "panel is missing for a spot"),
        ({"panel": "P12"}, 'panel = "P12" is one text'),
    ],
)
def test_data_that_are_no_trial_are_refused(changed: dict, said: str) -> None:
    """The message names what came and what to do."""
    given = {"dose": [0.5, 1.0, 2.0], "happened": [False, False, True]} | changed
    with pytest.raises(ValueError, match=said):
        dose_response(given.pop("dose"), given.pop("happened"), **given)


def test_a_panel_is_one_however_it_is_spelt() -> None:
    """Capitals and blanks make no panel more; a limit would else rest on panels that are none."""
    dose, happened = spots(LADDER, 4, [0, 0, 1, 3, 4])
    one = dose_response(dose, happened, panel=["P1"] * 20)
    spelt = dose_response(dose, happened, panel=["P1", "P1 ", "p1", " P1"] * 5)

    assert spelt.n_panels == 1
    assert spelt.dose_at(0.25).low == one.dose_at(0.25).low


def simple() -> DoseResponse:
    """A fit of fifteen spots."""
    return dose_response(*spots(LADDER, 3, [0, 0, 1, 3, 3]))


def test_questions_without_an_answer_are_refused() -> None:
    """Probabilities outside 0 to 1, groups that are not there, doses below 0."""
    with pytest.raises(ValueError, match="p = 1 must lie between 0 and 1"):
        simple().dose_at(1)
    with pytest.raises(ValueError, match="level = 95 must lie"):
        simple().dose_at(0.5, level=95)
    with pytest.raises(ValueError, match=r'group = "mica" has no spot\. Known groups: all'):
        simple().dose_at(0.5, group="mica")
    with pytest.raises(ValueError, match="dose = -2"):
        simple().probability([1.0, -2.0])


def test_a_line_needs_two_rising_classes() -> None:
    """ISO's line can't be laid through one class, nor where damage is level or falls."""
    for events in ([0, 5, 10], [6, 3, 0], [3, 3, 3]):
        fit = dose_response(*spots(np.array([1.0, 2.0, 3.0]), 10, events))

        assert fit.straight_line is None
