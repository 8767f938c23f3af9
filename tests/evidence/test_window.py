"""The tested window between cleaning and damage, and the plan of the next trial."""

import math
import re

import numpy as np
import pytest

from heritagecheck.evidence.trials.curves import window as _window
from heritagecheck.evidence.trials.curves.dose_response import (
    DoseResponse,
    dose_levels,
    dose_response,
)
from heritagecheck.evidence.trials.curves.guarded_limits import lowest_damage_dose, most_damaged
from heritagecheck.evidence.trials.curves.plan import plan_trial
from heritagecheck.evidence.trials.curves.window import Window
from heritagecheck.evidence.trials.damaged_fields import NO_POLICY, upper_bound
from heritagecheck.tables import threshold

LADDER = np.array([0.2, 0.4, 0.8, 1.6, 3.2])
PANELS = ["P1", "P2", "P3", "P4"]


def curve(events: list[int], each: int = 12, group: str | None = None) -> DoseResponse:
    """Spots on four panels, so many events at each dose of the ladder."""
    happened = np.concatenate([np.arange(each) < hit for hit in events])
    panel = PANELS * (LADDER.size * each // 4)
    names = None if group is None else [group] * happened.size
    return dose_response(np.repeat(LADDER, each), happened, names, panel=panel)


def window(removal: list[int], damage: list[int], **settings: object) -> Window:
    """Window of two ladders; a twentieth of the spots may be damaged where nothing else is said."""
    return _window.tested_window(
        curve(removal), curve(damage), **{"damage_limit": 0.05, **settings}
    )


WIDE = ([1, 11, 12, 12, 12], [0, 0, 0, 1, 10])


def test_a_wide_window_is_found_with_a_gentle_setting() -> None:
    """Cleaning near 0.4, first damage at 1.6: the setting lies in the gentle half between."""
    found = window(*WIDE, damage_limit=0.25)

    assert not found.empty
    assert 0.25 < found.low < 0.55
    assert found.low < found.high <= 1.6
    assert found.setting is not None
    assert found.low <= found.setting <= math.sqrt(found.low * found.high)
    assert found.margin > 1.5
    assert "damage to more than 25 % of spots is excluded" in str(found)


def test_the_margin_takes_both_curves_at_their_worst_at_once() -> None:
    """Lower bound of damage over upper bound of removal: wider than the joint interval."""
    removal, damage = curve(WIDE[0]), curve(WIDE[1])
    found = _window.tested_window(removal, damage, damage_limit=0.05)
    cleans, harms = removal.dose_at(0.9), damage.dose_at(0.05)

    assert found.margin_low == pytest.approx(lowest_damage_dose(damage, 0.05, 0.975) / cleans.high)
    assert found.margin_high == pytest.approx(harms.high / cleans.low)
    assert found.margin == pytest.approx(harms.estimate / cleans.estimate)
    even = (np.arange(4096) + 0.5) / 4096
    shuffled = np.random.default_rng(1).permutation(even)
    joint = np.quantile(
        dose_levels(damage, 0.05, even) / dose_levels(removal, 0.9, shuffled, hardest=True),
        [0.025, 0.975],
    )
    assert found.margin_low < joint[0] < found.margin < joint[1] < found.margin_high


def test_what_stays_and_what_is_damaged_at_the_setting_comes_from_the_curves() -> None:
    """The window's shares are the curves' own at its setting, within the limit asked."""
    removal, damage = curve(WIDE[0]), curve(WIDE[1])
    found = _window.tested_window(removal, damage, damage_limit=0.25)
    assert found.setting is not None
    assert found.residual is not None
    assert found.damage_probability is not None
    left, harmed = removal.probability(found.setting), damage.probability(found.setting)
    most = most_damaged(damage, found.setting, np.array([0.975]))

    assert found.residual.estimate == pytest.approx(1 - float(left.estimate))
    assert found.residual.high == pytest.approx(1 - float(left.low))
    assert found.damage_probability.estimate == pytest.approx(float(harmed.estimate))
    assert found.damage_probability.high == pytest.approx(float(most[0]))
    assert float(harmed.high) <= found.damage_probability.high <= 0.25


def test_no_window_is_said_plainly() -> None:
    """Damage from 0.4 and cleaning from 1.6: nothing to offer, even at best."""
    found = window([0, 0, 1, 11, 12], [0, 10, 12, 12, 12])

    assert found.empty
    assert found.margin_high < 1
    assert found.setting is found.residual is found.damage_probability is None
    assert str(found).startswith("No setting does both")


def test_touching_curves_have_no_window_by_estimate() -> None:
    """What cleans nine in ten damages more than one in twenty, and the spots leave some doubt."""
    found = _window.tested_window(
        curve([0, 1, 3, 4, 4], each=4), curve([0, 0, 1, 3, 4], each=4), damage_limit=0.05
    )

    assert found.empty
    assert "by estimate" in found.reason


def test_too_few_spots_are_told_from_no_window() -> None:
    """Five sound spots at one dose do not show a window, and the reason says what would."""
    removal = dose_response([0.2, 0.2, 0.4, 0.4] * 4, [0, 0, 1, 1] * 4, panel=PANELS * 4)
    damage = dose_response([1.0] * 5, [False] * 5, panel=["P1", "P1", "P2", "P2", "P3"])
    found = _window.tested_window(removal, damage, damage_limit=0.05)

    assert found.empty
    assert "More panels may show a window" in found.reason
    assert found.margin_high == math.inf


def test_nothing_outside_the_doses_tried_is_offered() -> None:
    """Cleaning never reached, or damage never tried as far, is no window."""
    never = window([0, 0, 0, 1, 3], [0, 0, 0, 0, 0])
    assert never.empty
    assert "No dose tried got 90 % of spots clean; the highest was 3.2" in never.reason

    gentle = dose_response([0.1] * 80, [False] * 80, panel=[f"P{k}" for k in range(8)] * 10)
    short = _window.tested_window(curve(WIDE[0]), gentle, damage_limit=0.05)
    assert short.empty
    assert any("do not overlap. Give both in one unit" in one for one in short.cautions)


def test_a_window_ends_at_the_first_damage_seen() -> None:
    """One spot damaged at 0.4 closes it, however many were sound above."""
    found = window([1, 11, 12, 12, 12], [0, 1, 0, 0, 0])

    assert found.high <= 0.4


def test_the_weakest_mineral_sets_the_window() -> None:
    """Quartz alone would allow more than biotite and quartz together."""
    biotite, quartz = [0, 0, 0, 5, 12], [0, 0, 0, 0, 6]
    happened = np.concatenate([np.arange(12) < hit for hit in biotite + quartz])
    both = dose_response(
        np.tile(np.repeat(LADDER, 12), 2),
        happened,
        ["biotite"] * 60 + ["quartz"] * 60,
        panel=PANELS * 30,
    )
    mixed = _window.tested_window(curve(WIDE[0]), both, damage_limit=0.05)
    hard = window(WIDE[0], quartz)

    assert mixed.high < hard.high
    assert mixed.margin_low < hard.margin_low


def test_the_hardest_lithotype_sets_what_cleans() -> None:
    """Where one lithotype needs more, the window begins there, not at the average."""
    easy, hard = [1, 11, 12, 12, 12], [0, 2, 11, 12, 12]
    happened = np.concatenate([np.arange(12) < hit for hit in easy + hard])
    both = dose_response(
        np.tile(np.repeat(LADDER, 12), 2),
        happened,
        ["fine"] * 60 + ["coarse"] * 60,
        panel=PANELS * 30,
    )
    found = _window.tested_window(both, curve([0, 0, 0, 0, 3]), damage_limit=0.05)
    alone = window(hard, [0, 0, 0, 0, 3])

    assert found.low >= alone.low * 0.999
    assert found.margin_low <= alone.margin_low * 1.001


def test_another_bed_widens_everything_by_the_stated_factor() -> None:
    """Bounds move apart by 1.5 each, estimates stay; the window shrinks, and a caution says why."""
    here, there = window(*WIDE), window(*WIDE, same_bed=False)

    assert there.margin_low == pytest.approx(here.margin_low / threshold("other_bed_factor") ** 2)
    assert there.margin_high == pytest.approx(here.margin_high * threshold("other_bed_factor") ** 2)
    assert there.margin == pytest.approx(here.margin)
    assert there.high < here.high
    assert there.low == here.low
    assert any("same bed and finish" in one for one in there.cautions)


def test_a_margin_that_is_not_reached_is_cautioned() -> None:
    """The bound counts, not the estimate."""
    found = window(*WIDE, margin_required=50)

    assert any("does not reach the 50 required" in one for one in found.cautions)
    assert not any("required" in one for one in window(*WIDE, margin_required=0.1).cautions)


def test_a_harsher_limit_never_widens_the_window() -> None:
    """From 10 % over 5 % to 1 % of damage the upper end only falls."""
    ends = [window(*WIDE, damage_limit=limit).high for limit in (0.1, 0.05, 0.01)]

    assert ends == sorted(ends, reverse=True)


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"removed_share": 90}, "removed_share = 90 must lie between 0 and 1"),
        ({"damage_limit": 0}, "damage_limit = 0 must"),
        ({"level": 1}, "level = 1 must"),
        ({"margin_required": -1}, "margin_required = -1 must be a finite number above 0"),
    ],
)
def test_settings_that_mean_nothing_are_refused(settings: dict, said: str) -> None:
    """The message names what came."""
    with pytest.raises(ValueError, match=said):
        window(*WIDE, **settings)


@pytest.mark.parametrize(
    ("limit", "confidence", "spots"), [(0.01, 0.95, 299), (0.05, 0.95, 59), (0.1, 0.9, 22)]
)
def test_spots_needed_follow_the_exact_binomial(
    limit: float, confidence: float, spots: int
) -> None:
    """Zero failures: ln(1 - C) / ln(1 - p), rounded up (Clopper and Pearson 1934)."""
    plan = plan_trial(0.3, 1.5, limit=limit, confidence=confidence)

    assert plan.independent_spots == spots
    assert spots == math.ceil(math.log(1 - confidence) / math.log(1 - limit))
    # Kish 1965: 20 spots of a panel at r = 0.1 are worth 20 / 2.9.
    assert plan.design_effect == pytest.approx(2.9)
    assert plan.panels >= math.ceil(spots * 2.9 / 20)
    assert plan.shows <= limit


def test_three_panels_can_never_show_one_per_cent() -> None:
    """3 panels at r = 0.1 are worth 30 spots at most: 1 - 0.05^(1/30) = 9.5 %."""
    plan = plan_trial(0.3, 1.5, limit=0.01, panels=3)

    assert plan.shows > 0.095
    (said,) = (one for one in plan.cautions if "of any size" in one)
    least = int(re.search(r"at least (\d+) of any size", said)[1])
    bound = float(
        re.search(r"However many spots they carry, 3 panels show ([\d.]+) % at best", said)[1]
    )
    assert least >= 30
    assert bound >= 9.5


@pytest.mark.parametrize("panels", [1, 2, 3, 5, 9])
def test_a_plan_promises_no_more_than_the_curve_will_show(panels: int) -> None:
    """The bound of `dose_response` for the very spots planned, all sound; gate 7 reads that."""
    plan = plan_trial(0.3, 1.5, limit=0.25, panels=panels)
    names = [f"P{k}" for k in range(panels) for _ in range(20)]
    read = dose_response([1.0] * len(names), [False] * len(names), panel=names)
    exact = upper_bound(0, math.floor(panels * 20 / 2.9), 0.95)

    assert plan.shows == pytest.approx(max(float(read.probability(1.0, 0.90).high), exact))
    assert (plan.shows <= 0.25) == (panels >= plan_trial(0.3, 1.5, limit=0.25).panels)


def test_however_many_spots_is_said_at_the_confidence_asked() -> None:
    """At 80 % two panels show more than at 95 %, and the words say which it is."""
    bounds = {}
    for confidence in (0.8, 0.95):
        plan = plan_trial(0.3, 1.5, limit=0.05, panels=2, confidence=confidence)
        found = re.search(
            r"However many.* show ([\d.]+) % at best \((\d+) % conf", plan.cautions[1]
        )
        bounds[int(found[2])] = float(found[1])

    assert list(bounds) == [80, 95]
    assert bounds[80] < bounds[95]


def test_settings_rise_in_equal_ratios() -> None:
    """From the gentlest to the harshest, no step above the one asked, twelve at most."""
    plan = plan_trial(0.3, 1.5, step=1.25)
    ratio = np.array(plan.settings[1:]) / plan.settings[:-1]
    long = plan_trial(0.01, 100)

    assert (plan.settings[0], plan.settings[-1]) == pytest.approx((0.3, 1.5))
    assert np.ptp(ratio) < 1e-12
    assert 1 < ratio[0] <= 1.25
    assert len(long.settings) == 12
    # (100 / 0.01)^(1/11) = 2.31
    assert any("2.3 times the one before, not 1.25 times as chosen" in one for one in long.cautions)
    assert not any("as chosen" in one for one in plan.cautions)


def test_known_curves_give_the_range() -> None:
    """From where a tenth comes clean to where a tenth is damaged."""
    removal, damage = curve(WIDE[0]), curve(WIDE[1])
    plan = plan_trial(removal=removal, damage=damage)

    assert plan.settings[0] == pytest.approx(removal.dose_at(0.1).estimate, rel=0.5)
    assert plan.settings[-1] == pytest.approx(damage.dose_at(0.1).estimate)
    with pytest.raises(ValueError, match="what cleans already damages"):
        plan_trial(removal=damage, damage=removal)


def test_a_plan_shows_itself_in_the_order_of_work() -> None:
    """Gentlest first, confirmation last, and the stop at first damage in words."""
    plan = plan_trial(0.3, 1.5, limit=0.05)
    table = plan.table()

    assert list(table["step"])[-1] == "then"
    assert table["setting"].iloc[0] == "0.3"
    assert len(table) == len(plan.settings) + 1
    assert "No damage there shows, with 95 % confidence" in str(plan)
    assert any("Stop at the first damage" in rule for rule in plan.stop_rules)


def test_a_plan_for_a_margin_lays_spots_where_the_margin_ends() -> None:
    """As many at 1.3 times the setting chosen: gentler ones never show what happens there."""
    plan, without = plan_trial(0.3, 1.5, margin=1.3), plan_trial(0.3, 1.5)

    assert list(plan.table()["setting"])[-2:] == ["the gentlest that cleans", "1.3 times that"]
    assert plan.panels == without.panels
    assert "As many spots on each at 1.3 times that setting show the margin. No " in str(plan)
    assert "margin" not in str(without)


def test_spots_planned_for_a_margin_show_it() -> None:
    """By the design planned, all sound up to there and all clean: the bound is the margin asked."""
    plan = plan_trial(0.25, 4, limit=0.25, confidence=0.975, margin=1.3)
    panels = [f"P{k}" for k in range(plan.panels)]
    laid = [(dose, name) for dose in plan.settings if dose <= 1 for name in panels[:3]] * 5
    laid += [(dose, name) for dose in (1.0, 1.3) for name in panels] * plan.spots_per_panel
    dose, panel = zip(*laid, strict=True)
    read = [dose_response(dose, hit, panel=panel)
            for hit in ([one > 0.8 for one in dose], [False] * len(dose))]  # fmt: skip

    assert _window.tested_window(*read).margin_low > 1.29


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({}, "range of settings is not known"),
        ({"lowest": 1, "highest": 0.5}, "is not below highest"),
        ({"lowest": -1, "highest": 0.5}, "finite and above 0"),
        ({"lowest": 1, "highest": 2, "limit": 1}, "limit = 1 must lie"),
        ({"lowest": 1, "highest": 2, "panels": 0}, "panels = 0: at least 1"),
        ({"lowest": 1, "highest": 2, "panels": 2.5}, "panels = 2.5: a whole number"),
        ({"lowest": 1, "highest": 2, "panels": True}, "panels = True: a whole number"),
        ({"lowest": 1, "highest": 2, "panels": math.nan}, "panels = nan: a whole number"),
        ({"lowest": 1, "highest": 2, "step": 1}, "step = 1: each setting"),
        ({"lowest": 1, "highest": 2, "margin": 1}, "margin = 1: a margin to be shown lies above 1"),
    ],
)
def test_plans_that_lead_nowhere_are_refused(settings: dict, said: str) -> None:
    """The message says what is missing."""
    with pytest.raises(ValueError, match=said):
        plan_trial(**settings)


def test_one_limit_of_damage_holds_where_none_is_agreed() -> None:
    """Window, plan and the reading of a series take the same, named in one place."""
    spots = curve(WIDE[0]), curve(WIDE[1])

    assert _window.tested_window(*spots).damage_limit == NO_POLICY.bound
    assert plan_trial(0.3, 1.5).limit == NO_POLICY.bound
    assert NO_POLICY.begins == NO_POLICY.bound


def test_nothing_below_the_gentlest_spot_is_offered() -> None:
    """Where every spot came clean, no gentler dose is known to: begin where it was tried."""
    doses = [0.5, 0.7, 1.0, 1.4] * 30
    panels = [f"P{number // 20}" for number in range(120)]
    removal = dose_response(doses, [True] * 120, panel=panels)
    damage = dose_response(doses, [False] * 120, panel=panels)

    window = _window.tested_window(removal, damage, damage_limit=0.25)

    assert removal.dose_at(0.9).estimate < 0.5
    assert window.low == 0.5
    assert 0.5 <= window.setting < 0.55
