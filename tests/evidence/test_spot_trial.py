"""Spots of a series read together: what they show, and what hinders that they are read."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from heritagecheck.evidence.trials.curves.dose_response import as_if_none
from heritagecheck.evidence.trials.curves.guarded_limits import most_damaged
from heritagecheck.evidence.trials.panels import panel_series
from heritagecheck.evidence.trials.spot_fits import panels_for_margin
from heritagecheck.evidence.trials.spots import SpotTrial, spot_trial
from heritagecheck.survey.records import Panel, Spot

DOSES = (0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.2)


def panel(number: int, **values: Any) -> Panel:
    """One of two panels of a series, with eight spots and a margin of its own of 2 to 3."""
    return Panel(**{
        "panel": f"P{number}", "zone": "Z1", "series": "S", "panels_in_series": 2,
        "soiling": "general_soiling", "method": "laser_ns_1064", "setting": "as the spots say",
        "done_on": "2026-05-01", "read_on": "2026-06-01", "spots_laid": 8,
        "cleaning_low": 0.5, "cleaning_high": 0.5, "damage_low": 1.0, "damage_high": 1.5, **values,
    })  # fmt: skip


def spots(number: int, *, cleans: float = 0.35, harms: float = 9.0, **values: Any) -> list[Spot]:
    """Spots of one panel: clean from one dose on, damaged from another."""
    return [
        Spot(**{
            "spot": f"P{number}-{place}", "panel": f"P{number}", "zone": "Z1", "spots_on_panel": 8,
            "dose": dose, "dose_quantity": "peak_fluence",
            "dose_unit": "J/cm²", "cleaned": "yes" if dose > cleans else "no",
            "damaged": "yes" if dose > harms else "no", "read_on": "2026-06-01",
            "component": "biotite", **values,
        })
        for place, dose in enumerate(DOSES)
    ]  # fmt: skip


PANELS = [panel(1), panel(2)]
SPOTS = [*spots(1, harms=0.9), *spots(2, harms=1.1)]


def margins(panels: list[Panel], laid: list[Spot]) -> tuple[float | None, float | None]:
    """Margin of the series that panels and spots make."""
    (series,) = panel_series(panels, (), laid)
    return series.margin_low, series.margin_high


def test_the_smaller_margin_counts() -> None:
    """The panels state 2 to 3; sixteen spots on two panels can't show that much."""
    without = margins([panel(1, spots_laid=None), panel(2, spots_laid=None)], [])
    low, high = margins(PANELS, SPOTS)

    assert without == (2.0, 3.0)
    assert 0 < low < 2.0
    assert high <= 3.0


def test_a_mineral_that_fails_first_sets_the_limit() -> None:
    """Spots on mica damaged from half the dose on: the limit is the mica's, not an average."""
    mica = spots(1, harms=0.45)
    quartz = spots(2, harms=9.0, component="quartz")

    found = spot_trial(PANELS, [*mica, *quartz])

    assert found.damage.weakest == "biotite"
    assert found.window.high < 0.45 + 0.06


@pytest.mark.parametrize(
    ("panels", "laid", "why"),
    [
        (PANELS[:1], SPOTS[:8], "1 of 2 panels recorded"),
        ([panel(1), panel(2, spots_laid=None)], SPOTS, "panel P2 does not say how many spots"),
        (PANELS, SPOTS[1:], "panel P1 has 8 spots laid, 7 recorded"),
        (PANELS, [], "panel P1 has 8 spots laid, 0 recorded"),
        (
            PANELS, [*SPOTS[:8], *spots(2, dose_quantity="pressure", dose_unit="bar")],
            "doses are given in J/cm² peak and in bar",
        ),
        (
            PANELS,
            [*SPOTS[:15], SPOTS[15].changed(cleaned=None, damaged=None, read_on=None)],
            "spot P2-7 was not read",
        ),
        (
            PANELS, [SPOTS[0].changed(component=None), *SPOTS[1:]],
            "what lay under the spot is recorded for some spots only",
        ),
        (
            PANELS, [*spots(1, passes=4), *SPOTS[8:]],
            "the number of pulses or passes is recorded for some spots only",
        ),
        (
            PANELS, [*SPOTS[:8], *spots(2, wetted="no")],
            "whether the surface was wetted is recorded for some spots only",
        ),
    ],
    ids=["a panel gone", "not counted", "a spot gone", "all gone", "two units", "one unread",
         "minerals of some", "pulses of some", "water of some"],
)  # fmt: skip
def test_spots_that_are_not_all_there_leave_the_margin_unknown(
    panels: list[Panel], laid: list[Spot], why: str
) -> None:
    """So a lost spot never makes a window look wider, nor the panels' own margin come back."""
    found = spot_trial(panels, laid)

    assert found.window is None
    assert found.why_not.startswith(why)
    assert margins(panels, laid) == (None, None)


def test_spots_that_no_panel_counts_are_not_left_aside() -> None:
    """Nobody can tell whether all are there, so they leave the margin unknown."""
    uncounted = [panel(1, spots_laid=None), panel(2, spots_laid=None)]

    assert spot_trial(uncounted, []) is None
    assert margins(uncounted, []) == (2.0, 3.0)
    assert margins(uncounted, SPOTS) == (None, None)


# -- What they say of the panels' own setting, and of more panels ---------------------------------

PEAK = {"setting_quantity": "peak_fluence", "setting_unit": "J/cm²"}
IN_UNIT = [panel(1, **PEAK), panel(2, **PEAK, cleaning_high=0.6)]


def test_the_setting_used_is_the_widest_that_the_panels_name() -> None:
    """Only where all give it, and in the quantity of the spots; other units are converted."""
    milli = {"setting_unit": "mJ/cm²", "cleaning_low": 500, "cleaning_high": 600}
    used = [
        spot_trial(panels, SPOTS).used
        for panels in (IN_UNIT, [IN_UNIT[0], IN_UNIT[1].changed(**milli)], PANELS,
                       [IN_UNIT[0], panel(2, **PEAK | {"setting_quantity": "mean_fluence"})],
                       [IN_UNIT[0], panel(2, **PEAK, cleaning_low=None, cleaning_high=None)])
    ]  # fmt: skip

    assert used == [(0.5, 0.6), (0.5, 0.6), None, None, None]


def test_draws_have_the_quantiles_of_the_curves() -> None:
    """Damage at the harshest end of the setting used, removal at its gentlest."""
    found = spot_trial(IN_UNIT, SPOTS)
    z = np.array([-1.6448536, 0.0, 1.6448536])

    damage, removal = found.damage_draws(z), found.removal_draws(z)

    at = found.damage.probability(0.6, level=0.90)
    firm = as_if_none(found.damage).probability(0.6, level=0.90)
    high = float(most_damaged(found.damage, 0.6, np.array([0.95]))[0])
    assert damage[1] >= float(at.estimate)
    assert damage[2] == pytest.approx(high, rel=0.01)
    assert high >= max(float(at.high), float(firm.high))
    assert (np.diff(damage) > 0).all()
    assert found.damage_share == pytest.approx((float(at.estimate), high))
    assert found.residual_share == pytest.approx((1 - removal[1], 1 - removal[0]), rel=1e-3)


def test_where_the_setting_is_not_known_nothing_is_said_of_it() -> None:
    """The curves are there; at which setting to ask them is not."""
    found = spot_trial(PANELS, SPOTS)

    assert found.damage_draws(np.zeros(3)) is None
    assert found.removal_draws(np.zeros(3)) is None
    assert found.damage_share is None
    assert found.residual_share is None


def test_spots_are_counted_by_setting_and_component() -> None:
    """Each row holds spots, panels, cleaned and damaged."""
    counts = spot_trial(PANELS, [*SPOTS[:8], *spots(2, component="quartz")]).table()

    assert counts["spots"].sum() == 16
    assert list(counts.columns) == [
        "setting", "unit", "pulses", "wet", "component", "spots", "panels", "cleaned", "damaged",
    ]  # fmt: skip
    row = counts[(counts["setting"] == 1.0) & (counts["component"] == "biotite")].iloc[0]
    assert row[["spots", "panels", "cleaned", "damaged"]].tolist() == [1, 1, 1, 1]


def test_more_panels_like_these_show_a_margin_that_two_do_not() -> None:
    """By estimate there is room for it; how many panels it takes is a whole multiple of two."""
    found = spot_trial(PANELS, SPOTS)
    wanted = 1.2

    number = panels_for_margin(found, wanted)

    assert found.window.margin > wanted > found.window.margin_low
    assert number is not None
    assert number > 2
    assert number % 2 == 0


def test_no_number_of_panels_shows_a_margin_that_is_not_there() -> None:
    """What is damaged before it comes clean stays so, however often it is tried."""
    found = spot_trial(PANELS, [*spots(1, harms=0.25), *spots(2, harms=0.25)])

    assert panels_for_margin(found, 1.3) is None


def test_a_margin_that_is_shown_takes_no_more_panels() -> None:
    """The panels there are, without reading anything anew."""
    found = spot_trial(PANELS, SPOTS)

    assert panels_for_margin(found, 0.9 * found.window.margin_low) == 2


def test_no_panels_show_a_margin_beyond_the_doses_tried() -> None:
    """All clean and sound at 0.5 and 0.6: 1.2 is the most, whatever the curves would allow."""
    laid = [
        one.changed(dose=(0.5, 0.6)[place % 2])
        for place, one in enumerate([*spots(1, cleans=0.0), *spots(2, cleans=0.0)])
    ]
    found = spot_trial(PANELS, laid)

    assert found.window.margin_tried == pytest.approx(1.2)
    assert found.window.margin > 1.3
    assert panels_for_margin(found, 1.3) is None


def test_a_margin_of_nothing_is_refused() -> None:
    """The message names the value."""
    found = spot_trial(PANELS, SPOTS)

    with pytest.raises(ValueError, match="margin = 0: it must be above 0"):
        panels_for_margin(found, 0)


def of_passes(number: int, passes: int, **values: Any) -> list[Spot]:
    """Eight spots of one panel that carries twenty-four, all of one number of passes."""
    return [
        one.changed(spot=f"{one.spot}-{passes}", spots_on_panel=24)
        for one in spots(number, passes=passes, **values)
    ]


def test_spots_of_several_passes_are_read_for_the_passes_of_the_panels() -> None:
    """Where twice the passes clean at half the setting, the curve for four lies lower."""
    laid = [
        one
        for number in (1, 2)
        for passes, cleans in ((1, 0.9), (2, 0.55), (4, 0.25))
        for one in of_passes(number, passes, cleans=cleans, harms=9.0)
    ]
    four, one = (
        spot_trial([panel(n, spots_laid=24, passes=passes) for n in (1, 2)], laid)
        for passes in (4, 1)
    )
    unsaid = spot_trial([panel(n, spots_laid=24) for n in (1, 2)], laid)

    assert four.conditions == "4 pulses or passes a spot"
    assert one.conditions == "1 pulse or pass a spot"
    assert four.removal.dose_at(0.5).estimate < 0.6 * one.removal.dose_at(0.5).estimate
    assert unsaid.why_not == "the spots record their pulses or passes, but the panels do not"


def test_damage_by_more_pulses_is_no_damage_at_this_setting_or_gentler() -> None:
    """Spots of eight passes were damaged; the panels were cleaned by four."""
    laid = [
        one
        for number in (1, 2)
        for passes, harms in ((1, 9.0), (4, 0.9), (8, 0.3))
        for one in of_passes(number, passes, harms=harms)
    ]
    four, eight = (
        spot_trial([panel(n, spots_laid=24, passes=passes) for n in (1, 2)], laid)
        for passes in (4, 8)
    )

    # At 1.0: of each panel one spot of four passes, and of eight passes those from 0.4 to 1.0.
    assert sum(row.damaged for row in four.up_to(1.0)) == 2
    assert sum(row.damaged for row in eight.up_to(1.0)) == 2 * (1 + 5)


def test_spots_wet_and_dry_are_read_for_the_surface_of_the_panels() -> None:
    """And not at all where the panels don't say, or where no spot was as they were."""
    mixed = [one.changed(wetted="yes" if place % 2 else "no") for place, one in enumerate(SPOTS)]
    dry = [one.changed(wetted="no") for one in SPOTS]

    def read(laid: list[Spot], wetted: str | None) -> SpotTrial:
        return spot_trial([panel(n, wetted=wetted) for n in (1, 2)], laid)

    assert read(mixed, "yes").conditions == "wet surface"
    assert read(mixed, "no").conditions == "dry surface"
    assert read(mixed, None).why_not == "the spots record their wetting, but the panels do not"
    assert read(dry, "no").conditions == "dry surface"
    assert read(dry, "yes").why_not == "no spot was laid on a surface wetted like the panels'"


def test_what_was_damaged_must_have_lain_under_the_spot() -> None:
    """A damaged component with nothing named under the spot is half a record."""
    laid = [one.changed(component=None) for one in SPOTS]
    half = [laid[0].changed(damaged_component="biotite"), *laid[1:]]

    assert spot_trial(PANELS, laid).window is not None
    assert spot_trial(PANELS, half).why_not == (
        "spot P1-0 names what was damaged, not what lay under it"
    )


def test_damage_at_harsh_settings_never_makes_gentle_ones_look_better_than_none() -> None:
    """All spots at the harshest setting damaged: steeper, but no better than all of them sound."""
    sound = spot_trial(PANELS, [*spots(1), *spots(2)])
    harsh = spot_trial(PANELS, [*spots(1, harms=1.1), *spots(2, harms=1.1)])

    assert harsh.window.margin_low <= sound.window.margin_low
    assert harsh.window.high <= sound.window.high


def test_minerals_are_one_whatever_their_letters() -> None:
    """Biotite, biotite and a blank behind it are the same mineral."""
    laid = [
        one.changed(component=name)
        for one, name in zip(SPOTS, ["Biotite", "biotite", "biotite "] * 6, strict=False)
    ]

    assert spot_trial(PANELS, laid).components == {"biotite"}


def _marked(*hit: tuple[float, str], cleans: float = 0.35) -> list[Spot]:
    """Five times the spots of two panels, none damaged but one at each dose named, by its kind."""
    laid = [
        one.changed(spot=f"{one.spot}-{turn}", spots_on_panel=40)
        for turn in range(5) for one in (*spots(1, cleans=cleans), *spots(2, cleans=cleans))
    ]  # fmt: skip
    for dose, kind in hit:
        at = next(n for n, one in enumerate(laid) if one.dose == dose and one.damaged == "no")
        laid[at] = laid[at].changed(damaged="yes", damage_kind=kind)
    return laid


@pytest.mark.parametrize("cleans", [0.35, 9.0], ids=("cleans", "never cleans"))
@pytest.mark.parametrize(
    ("hit", "first"),
    [
        ([(0.4, "grains")], math.inf),
        ([(1.0, "grains")] * 5 + [(1.2, "grains")] * 5, 1.0),
        ([(0.4, "grains")] + [(1.0, "grains")] * 5 + [(1.2, "grains")] * 5, 1.0),
        ([(0.4, "cracked")], 0.4),
    ],
    ids=("one stray spot", "damage", "damage beside it", "a crack"),
)
def test_a_stray_spot_is_outweighed_by_sound_ones_as_harsh(
    hit: list[tuple[float, str]], first: float, cleans: float
) -> None:
    """One of 80 is no harm from there on; it hides none either, and a crack is one at once."""
    laid = [panel(number, spots_laid=40) for number in (1, 2)]
    found = spot_trial(laid, _marked(*hit, cleans=cleans))

    assert found.first_harm(0.05) == first


@pytest.mark.parametrize("dose", DOSES)
def test_one_damaged_spot_more_never_puts_harm_further_off(dose: float) -> None:
    """Wherever it lies."""
    laid = [panel(number, spots_laid=40) for number in (1, 2)]
    before = [(0.6, "grains"), *[(0.8, "grains")] * 3, *[(1.0, "grains")] * 4, (1.2, "grains")]
    found = spot_trial(laid, _marked(*before))
    worse = spot_trial(laid, _marked(*before, (dose, "grains")))

    assert worse.first_harm(0.05) <= found.first_harm(0.05)


def _laid(per_panel: dict[int, list[tuple[float, int, dict[str, Any]]]]) -> list[Spot]:
    """Spots of two panels: at each dose so many damaged ones of ten, and what else they say."""
    found = []
    for number, doses in per_panel.items():
        told = {"panel": f"P{number}", "spots_on_panel": 10 * len(doses)}
        for place, (dose, damaged, values) in enumerate(doses):
            found += [
                spots(number)[0].changed(
                    **told,
                    **values,
                    spot=f"P{number}-{place}-{turn}",
                    dose=dose,
                    cleaned="yes",
                    damaged="yes" if turn < damaged else "no",
                    damage_kind="grains" if turn < damaged else None,
                )
                for turn in range(10)
            ]
    return found


HARSHER = (0.8, 1.0, 1.2, 1.5)
QUARTZ, ONCE, DRY, WET = (
    {"component": "quartz"}, {"passes": 1}, {"wetted": "no"}, {"wetted": "yes"},
)  # fmt: skip


@pytest.mark.parametrize(
    ("gentle", "harsh"),
    [(QUARTZ | {"component": "biotite"}, QUARTZ), ({"passes": 10}, ONCE), (DRY, WET)],
    ids=("another component", "fewer pulses", "wet"),
)
def test_sound_spots_of_another_kind_outweigh_no_damage(
    gentle: dict[str, Any], harsh: dict[str, Any]
) -> None:
    """Three of twenty spots of mica are damaged; eighty harsher ones on quartz say nothing."""
    each = {n: [(0.6, n, gentle), *((dose, 0, harsh) for dose in HARSHER)] for n in (1, 2)}
    panels = [
        panel(number, spots_laid=50, passes=gentle.get("passes"), wetted=gentle.get("wetted"))
        for number in (1, 2)
    ]
    found = spot_trial(panels, _laid(each))
    alike = {n: [(0.6, n, gentle), *((dose, 0, gentle) for dose in HARSHER)] for n in (1, 2)}

    assert found.first_harm(0.05) == 0.6
    assert spot_trial(panels, _laid(alike)).first_harm(0.05) == math.inf


def test_a_panel_left_off_where_it_was_damaged_is_not_outweighed_by_a_firmer_one() -> None:
    """Three of ten are damaged on it; the other panel goes on without any, which says nothing."""
    each = {1: [(0.6, 3, {})], 2: [(dose, 0, {}) for dose in (0.6, *HARSHER)]}
    on = {1: [(0.6, 3, {}), *((dose, 0, {}) for dose in HARSHER)], 2: each[2]}

    def harm(laid: dict[int, list[tuple[float, int, dict[str, Any]]]]) -> float:
        panels = [panel(number, spots_laid=10 * len(doses)) for number, doses in laid.items()]
        return spot_trial(panels, _laid(laid)).first_harm(0.05)

    assert harm(each) == 0.6
    assert harm(on) == math.inf


def _harm(laid: dict[int, list[tuple[float, int, dict[str, Any]]]]) -> float:
    """From which dose on spots show harm, where a twentieth may be seen damaged."""
    panels = [panel(number, spots_laid=10 * len(doses)) for number, doses in laid.items()]
    panels = [one.changed(panels_in_series=len(laid)) for one in panels]
    return spot_trial(panels, _laid(laid)).first_harm(0.05)


def _sound(*doses: float) -> list[tuple[float, int, dict[str, Any]]]:
    """Ten sound spots at each dose."""
    return [(dose, 0, {}) for dose in doses]


@pytest.mark.parametrize(
    ("laid", "first"),
    [
        (
            {
                1: [*_sound(0.4), (0.6, 1, {})],
                2: [*_sound(0.4, 0.6), (0.8, 1, {})],
                3: [*_sound(0.4, 0.6, 0.8), (1.0, 1, {})],
            },
            0.8,
        ),
        (
            {n: [*_sound(0.4), (0.6, 1, {})] for n in (1, 2)}
            | {n: _sound(0.4, 0.6, 0.8, 1.0, 1.2) for n in (3, 4, 5, 6)},
            0.8,
        ),
        ({n: [*_sound(*(0.1 * k for k in range(1, 9))), (1.0, 4, {})] for n in (1, 2, 3)}, 1.0),
        (
            {1: [*_sound(0.4), (0.6, 1, {})]}
            | {n: _sound(0.4, 0.6, 0.8, 1.0, 1.2) for n in (2, 3, 4, 5, 6)},
            math.inf,
        ),
        (
            {n: [(0.4, 1, {}), *_sound(0.6, 0.8, 1.0, 1.2)] for n in (1, 2)}
            | {n: _sound(0.4, 0.6, 0.8, 1.0, 1.2) for n in (3, 4)},
            math.inf,
        ),
    ],
    ids=("each left off", "two of six left off", "thinned out", "one left off", "strays"),
)
def test_damage_that_recurs_is_no_stray(
    laid: dict[int, list[tuple[float, int, dict[str, Any]]]], first: float
) -> None:
    """Several panels left off at their first damage excuse nothing; one, or gentle slips, do."""
    assert _harm(laid) == pytest.approx(first)
