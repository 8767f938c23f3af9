"""Trial panels: damage with its bound, margin, and what a series leaves open."""

from __future__ import annotations

import math
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import beta, binomtest

from heritagecheck.evidence.trials.damaged_fields import (
    damage_share_draws,
    damage_share_upper,
    effective_fields,
)
from heritagecheck.evidence.trials.panels import margin_bounds, panel_series
from heritagecheck.survey.records import Panel, SiteTest
from heritagecheck.survey.records.readings import complete_values
from heritagecheck.tables import threshold

DAY = date(2026, 6, 1)
series_of_fields = st.lists(st.integers(1, 60), min_size=1, max_size=8)


def panel(code: str = "P1", **changed: Any) -> Panel:
    """One panel of two, with everything read and nothing damaged."""
    usual = {
        "panel": code, "zone": "Z", "series": "S", "panels_in_series": 2,
        "soiling": "black_gypsum_crust", "method": "nebulised_water", "setting": "40 min a day",
        "done_on": DAY - timedelta(days=400), "read_on": DAY, "winter_included": "yes",
        "control_kept": "yes", "x50_fields": 10, "x50_fields_weakest": 10, "damaged_fields": 0,
        "residual_pct": 5, "delta_b": 1, "late_effects": "none", "cleaning_low": 35,
        "cleaning_high": 45, "damage_low": 120,
    }  # fmt: skip
    return Panel.model_validate(usual | changed)


def steel_test(
    quantity: str, number: int, value: float | None, size: int, **changed: Any
) -> SiteTest:
    """One test on panel P1."""
    usual = {
        "site_test": f"{quantity}-{number}", "zone": "Z", "panel": "P1", "quantity": quantity,
        "value": value, "set_name": quantity, "set_size": size, "method": "as read",
        "tested_on": DAY, "tested_by": "conservator",
        "not_measured_because": None if value is not None else "rain",
    }  # fmt: skip
    return SiteTest.model_validate(usual | changed)


def only_series(*panels: Panel, tests: tuple[SiteTest, ...] = ()):
    """The one series of some panels."""
    (found,) = panel_series(panels, tests)
    return found


# -- Bound of the share damaged -----------------------------------------------------------------


@given(st.integers(1, 80), st.data(), st.sampled_from((0.8, 0.9, 0.95, 0.99)))
def test_with_one_field_on_each_panel_the_bound_is_that_of_clopper_and_pearson(
    count: int, data: st.DataObject, level: float
) -> None:
    """Fields on panels of their own are independent: the exact binomial bound, one-sided."""
    damaged = data.draw(st.integers(0, count))

    found = damage_share_upper(damaged, [1] * count, level)

    exact = binomtest(damaged, count, alternative="less").proportion_ci(level, method="exact").high
    assert found == pytest.approx(exact, rel=1e-9)
    if damaged < count:
        assert found == pytest.approx(beta.ppf(level, damaged + 1, count - damaged), rel=1e-9)


@pytest.mark.parametrize(("count", "bound"), [(3, 0.632), (10, 0.259), (29, 0.098), (59, 0.0495)])
def test_no_damage_in_few_fields_is_weak_evidence(count: int, bound: float) -> None:
    """The rule of three, roughly: nothing among n leaves up to 1 - 0.05^(1/n) open."""
    assert damage_share_upper(0, [1] * count) == pytest.approx(1 - 0.05 ** (1 / count), rel=1e-9)
    assert damage_share_upper(0, [1] * count) == pytest.approx(bound, abs=6e-4)


@given(series_of_fields, st.data())
def test_more_damage_is_never_a_lower_bound(fields: list[int], data: st.DataObject) -> None:
    """Field by field, the bound rises until all are damaged."""
    damaged = data.draw(st.integers(0, sum(fields) - 1))

    assert damage_share_upper(damaged + 1, fields) >= damage_share_upper(damaged, fields)


@given(series_of_fields, st.data(), st.integers(1, 30))
def test_more_undamaged_fields_never_raise_the_bound(
    fields: list[int], data: st.DataObject, more: int
) -> None:
    """Whether they lie on a panel that is there or on a further one."""
    damaged = data.draw(st.integers(0, sum(fields)))
    place = data.draw(st.integers(0, len(fields) - 1))
    longer = [n + more * (number == place) for number, n in enumerate(fields)]
    usual = damage_share_upper(damaged, fields)

    assert damage_share_upper(damaged, longer) <= usual + 1e-9
    assert damage_share_upper(damaged, [*fields, more]) <= usual + 1e-9


@given(st.integers(2, 8), st.integers(2, 20))
def test_fields_on_one_panel_tell_less_than_fields_on_many(panels: int, each: int) -> None:
    """Fields of one panel resemble one another: spread over panels, the same number says more."""
    assert damage_share_upper(0, [each] * panels) < damage_share_upper(0, [each * panels])
    assert damage_share_upper(0, [1] * (panels * each)) < damage_share_upper(0, [each] * panels)


@given(series_of_fields)
def test_fields_are_worth_at_least_one_a_panel_and_at_most_their_number(fields: list[int]) -> None:
    """The design effect of Kish: n / (1 + (n - 1) r) for each panel."""
    found = effective_fields(fields)
    share = threshold("panel_correlation")

    assert len(fields) - 1e-9 <= found <= sum(fields) + 1e-9
    assert found == pytest.approx(sum(n / (1 + (n - 1) * share) for n in fields))


@given(series_of_fields, st.data())
def test_the_bound_lies_above_what_was_seen_and_not_above_one(
    fields: list[int], data: st.DataObject
) -> None:
    """A share of fields, at least the one observed."""
    damaged = data.draw(st.integers(0, sum(fields)))

    found = damage_share_upper(damaged, fields)

    assert damaged / sum(fields) <= found + 1e-12 <= 1 + 1e-9
    assert (found == 1) == (damaged == sum(fields))


@pytest.mark.parametrize("fields", [[], [0], [0, 0]])
def test_no_field_gives_no_bound(fields: list[int]) -> None:
    """Nothing was looked at: that is said, and no number given."""
    with pytest.raises(ValueError, match="No field was read at ×50, so no share of damage can be"):
        damage_share_upper(0, fields)


def test_more_damage_than_fields_is_refused() -> None:
    """Both numbers are named."""
    with pytest.raises(ValueError, match="7 damaged fields can't be among 6 fields read"):
        damage_share_upper(7, [3, 3])


@given(series_of_fields, st.data())
def test_draws_of_the_share_follow_the_posterior(fields: list[int], data: st.DataObject) -> None:
    """Jeffreys' posterior on the effective fields: median and upper end, read off normal draws."""
    damaged = data.draw(st.integers(0, sum(fields)))
    number = effective_fields(fields)
    hits = damaged * number / sum(fields)
    z = np.array([-1.6448536269514722, 0.0, 1.6448536269514722])

    found = damage_share_draws(damaged, fields, z)

    exact = beta.ppf([0.05, 0.5, 0.95], hits + 0.5, number - hits + 0.5)
    assert found == pytest.approx(exact, abs=2e-3)
    assert np.all(np.diff(found) >= 0)


@given(series_of_fields, st.data())
def test_more_damage_moves_every_draw_up(fields: list[int], data: st.DataObject) -> None:
    """Draw by draw, never only on average."""
    damaged = data.draw(st.integers(0, sum(fields) - 1))
    z = np.linspace(-4, 4, 41)

    less, more = (damage_share_draws(n, fields, z) for n in (damaged, damaged + 1))

    assert np.all(more >= less - 1e-12)


# -- Margin -------------------------------------------------------------------------------------


@given(*[st.floats(0.1, 100)] * 4)
def test_the_margin_is_first_damage_over_cleaning(
    one: float, two: float, three: float, four: float
) -> None:
    """The narrowest and the widest that the ranges of both settings allow."""
    clean, damage = sorted((one, two)), sorted((three, four))

    low, high = margin_bounds(
        panel(cleaning_low=clean[0], cleaning_high=clean[1], damage_low=damage[0],
              damage_high=damage[1], damaged_fields=None)
    )  # fmt: skip

    assert low == pytest.approx(damage[0] / clean[1])
    assert high == pytest.approx(damage[1] / clean[0])
    assert low <= high


def test_damage_sought_and_not_found_leaves_the_margin_open_upwards() -> None:
    """The highest setting tried without damage is a lower bound and no more."""
    assert margin_bounds(panel(damage_low=90)) == (2.0, math.inf)


@pytest.mark.parametrize(
    "missing",
    [{"cleaning_low": None, "cleaning_high": None}, {"cleaning_high": None}, {"damage_low": None}],
    ids=str,
)
def test_a_margin_with_a_setting_missing_is_not_known(missing: dict[str, None]) -> None:
    """No end of it is guessed."""
    assert margin_bounds(panel(**missing)) == (None, None)


# -- Series -------------------------------------------------------------------------------------


def test_the_least_favourable_panel_of_a_series_counts() -> None:
    """Age, control, yellowing, late effects and margin: always the worse of the two."""
    found = only_series(
        panel(),
        panel("P2", done_on=DAY - timedelta(days=90), winter_included="no", control_kept="no",
              x50_fields=12, x50_fields_weakest=4, damaged_fields=3, damaged_component="biotite",
              residual_pct=18, delta_b=-4, late_effects="salts", damage_low=60, damage_high=70),
    )  # fmt: skip

    assert (found.aged_days, found.winter, found.control) == (90, False, False)
    assert (found.fields, found.fields_weakest, found.damaged) == ((10, 12), 4, 3)
    assert (found.component, found.late_effects) == ("biotite", "salts")
    assert found.delta_b == -4
    assert found.margin_low == pytest.approx(60 / 45)
    assert found.margin_high == pytest.approx(70 / 35)
    assert found.complete
    assert not found.shown_sound


def test_soiling_that_stays_is_a_mean_with_the_worst_beside_it() -> None:
    """A worst of many panels is worse than one of few, so more of the same would close the gate."""
    found = only_series(panel(residual_pct=14), panel("P2", residual_pct=22))

    assert (found.residual_pct, found.residual_worst_pct) == (18, 22)


@pytest.mark.parametrize(
    ("field", "name"),
    [("winter_included", "winter"), ("control_kept", "control"), ("damaged_fields", "damaged"),
     ("x50_fields_weakest", "fields_weakest"), ("residual_pct", "residual_pct"),
     ("delta_b", "delta_b"), ("late_effects", "late_effects"), ("damage_low", "margin_low")],
)  # fmt: skip
def test_what_one_panel_leaves_unread_is_not_known_of_the_series(field: str, name: str) -> None:
    """One gap is enough: nothing is averaged over the panels that were read."""
    assert getattr(only_series(panel(), panel("P2")), name) is not None
    assert getattr(only_series(panel(), panel("P2", **{field: None})), name) is None


def test_a_series_is_whole_only_with_all_its_panels_read() -> None:
    """A panel missing, or not read, leaves a gap that is named."""
    unread = panel("P2", read_on=None, not_read_because="the scaffold is down")

    assert only_series(panel(), panel("P2")).complete
    assert not only_series(panel()).complete
    assert not only_series(panel(), unread).complete
    assert only_series(panel(), unread).unread == ("P2: the scaffold is down",)
    assert only_series(panel(), unread).aged_days is None


def test_panels_are_gathered_by_series_in_the_order_of_their_first() -> None:
    """Two series of two stay two."""
    found = panel_series(
        [panel("P1", series="B"), panel("P2", series="A"), panel("P3", series="B")], []
    )

    assert [(series.series, series.panels) for series in found] == [
        ("B", ("P1", "P3")), ("A", ("P2",)),
    ]  # fmt: skip


def test_no_field_read_is_shown_sound_by_nobody() -> None:
    """Zero of zero fields damaged shows nothing, and has no bound."""
    nothing = {"x50_fields": 0, "x50_fields_weakest": 0}

    found = only_series(panel(**nothing), panel("P2", **nothing))

    assert found.x50 is None
    assert not found.shown_sound


def test_damage_seen_in_the_margin_is_damage_seen() -> None:
    """An upper bound of the margin below 1 tells against undamaged fields; none is recorded so."""
    narrow = {"damage_low": 10, "damage_high": 20}
    older = (panel(code).model_copy(update=narrow) for code in ("P1", "P2"))

    assert not only_series(*older).shown_sound
    assert only_series(panel(), panel("P2")).shown_sound
    with pytest.raises(ValueError, match="damage began below the cleaning setting"):
        panel(**narrow)
    assert panel(**narrow, damaged_fields=1, damage_kind="grains").damaged_fields == 1


def test_damage_within_what_was_agreed_does_not_speak_against_a_series() -> None:
    """One grain of twenty is 5 %; two, a crack, or a kind that nobody wrote down are too much."""
    one = {"damaged_fields": 1, "damage_kind": "grains"}

    assert only_series(panel(**one), panel("P2")).shown_sound
    assert not only_series(panel(**one), panel("P2", **one)).shown_sound
    assert not only_series(panel(**one | {"damage_kind": "cracked"}), panel("P2")).shown_sound
    assert not only_series(panel(damaged_fields=1), panel("P2")).shown_sound
    assert not only_series(panel(damage_kind="visible"), panel("P2")).shown_sound


@pytest.mark.parametrize(
    ("before", "message"),
    [
        ({"fields_before": 10}, "give fields_before, damaged_before and before_on together"),
        ({"fields_before": 10, "damaged_before": 11, "before_on": "panel"},
         "damaged_before: must be 10 or fewer, as fields_before says"),
    ],
)  # fmt: skip
def test_fields_read_before_come_whole(before: dict[str, Any], message: str) -> None:
    """How many, how many damaged, and where: or none of it."""
    with pytest.raises(ValueError, match=message):
        panel(**before)


def test_fields_read_before_count_only_where_every_panel_has_them() -> None:
    """One panel without leaves all damage to the treatment."""
    before = {"fields_before": 10, "damaged_before": 4, "before_on": "panel",
              "damaged_fields": 4, "damage_kind": "grains"}  # fmt: skip
    whole = only_series(panel(**before), panel("P2", **before))
    partly = only_series(panel(**before), panel("P2", damaged_fields=4, damage_kind="grains"))

    assert whole.x50.before == (8, (10, 10))
    assert partly.x50.before is None
    assert whole.x50.upper < partly.x50.upper


def test_a_panel_read_more_closely_before_excuses_no_other() -> None:
    """One was damaged before and read for it on fifty fields; the others were sound."""

    def read(name: str, fields: int, hit: int) -> Panel:
        return panel(
            name, fields_before=fields, damaged_before=hit, before_on="panel",
            damaged_fields=4, damage_kind="grains",
        )  # fmt: skip

    sound = [read(name, 10, 0) for name in ("P2", "P3", "P4")]
    even = only_series(read("P1", 10, 4), *sound).x50
    closely = only_series(read("P1", 50, 20), *sound).x50

    assert even.before == (4, (10, 10, 10, 10))
    assert closely.before == (8, (50, 10, 10, 10))
    assert closely.seen == pytest.approx(even.seen) == pytest.approx(0.3)
    assert closely.upper > 0.25


def test_one_control_of_all_panels_is_read_once() -> None:
    """Two damaged fields of ten on one control excuse less than the same on each of five panels."""
    told = {"damaged_fields": 2, "damage_kind": "grains", "fields_before": 10, "damaged_before": 2}
    names = [f"P{number}" for number in range(5)]

    one, each = (
        only_series(*(panel(name, before_on=place, panels_in_series=5, **told) for name in names))
        for place in ("control", "panel")
    )

    assert one.x50.before == (2, (10,))
    assert each.x50.before == (10, (10,) * 5)
    assert one.x50.upper > each.x50.upper
    assert one.x50.seen > each.x50.seen == 0


def test_a_panel_without_fields_before_excuses_nothing() -> None:
    """None were read on it, so none of its fields counts as damaged before."""
    some = {"before_on": "panel", "damaged_fields": 4, "damage_kind": "grains"}
    one = panel(fields_before=10, damaged_before=4, **some)
    other = panel("P2", fields_before=0, damaged_before=0, **some)

    assert only_series(one, other).x50.before == (2, (10, 0))


# -- Steel --------------------------------------------------------------------------------------


def test_chloride_is_bounded_with_its_field_spread() -> None:
    """Mean of 3, 4 and 5 with half of it as spread: 4 (1 + 1.645 x 0.5 / sqrt 3) = 5.9."""
    tests = tuple(steel_test("chloride_ug_cm2", n, v, 3) for n, v in enumerate((3, 4, 5)))

    found = only_series(panel(panels_in_series=1), tests=tests)

    assert found.steel.chloride_upper_ug_cm2 == pytest.approx(4 * (1 + 1.645 * 0.5 / math.sqrt(3)))


@pytest.mark.parametrize(
    ("values", "required", "ok"),
    [((5.2, 4.8, 5.0), 4, True), ((5.2, 3.9, 5.0), 4, False), ((4.0, 4.0, 4.0), 4, True),
     ((5.2, 4.8, 5.0), None, None), ((5.2, 4.8), 4, None), ((5.2,), 4, None), ((3.9,), 4, False),
     ((), 4, None)],
)  # fmt: skip
def test_every_adhesion_value_must_reach_what_is_required(
    values: tuple[float, ...], required: float | None, ok: bool | None
) -> None:
    """One dolly below is below; nothing required, or fewer than three, and nothing is shown."""
    tests = tuple(steel_test("adhesion_mpa", n, v, len(values)) for n, v in enumerate(values))

    found = only_series(panel(panels_in_series=1, required_adhesion_mpa=required), tests=tests)

    assert found.steel.adhesion_ok is ok


@pytest.mark.parametrize(
    ("values", "ok"), [((40, 75), True), ((39, 60), False), ((60, 76), False), ((), None)]
)
def test_every_profile_value_must_lie_within_what_is_required(
    values: tuple[float, ...], ok: bool | None
) -> None:
    """Neither too smooth nor too rough for the coating."""
    tests = tuple(steel_test("profile_um", n, v, len(values)) for n, v in enumerate(values))
    asked = {"required_profile_low_um": 40, "required_profile_high_um": 75}

    assert only_series(panel(panels_in_series=1, **asked), tests=tests).steel.profile_ok is ok


@given(st.lists(st.one_of(st.none(), st.floats(0, 50)), min_size=1, max_size=5), st.integers(1, 6))
def test_a_set_with_a_gap_is_never_read_as_whole(values: list[float | None], size: int) -> None:
    """A test missing or without result: no value of the set is used."""
    assume(len(values) <= size)
    tests = [steel_test("adhesion_mpa", n, value, size) for n, value in enumerate(values)]

    found = complete_values(tests, "adhesion_mpa", panel="P1")

    whole = len(values) == size and None not in values
    assert found == (values if whole else None)


def test_tests_of_another_panel_or_of_the_zone_are_not_those_of_a_panel() -> None:
    """A zone's own values are asked for without a panel."""
    on_panel, on_zone = steel_test("profile_um", 1, 50, 1), steel_test("profile_um", 2, 60, 1, panel=None)  # fmt: skip  # noqa: E501

    assert complete_values([on_panel, on_zone], "profile_um", panel="P1") == [50]
    assert complete_values([on_panel, on_zone], "profile_um") == [60]
    assert complete_values([on_panel, on_zone], "profile_um", panel="P2") is None
