"""What trial spots do to a recommendation: margin, damage and residual soiling come from them."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import cycle
from typing import Any

import pytest
from laid_spots import Rows, lay_spots

import heritagecheck as hc
from heritagecheck.judgement.handover.work_setting import (
    ABOVE_WINDOW,
    NOT_COMPARED,
    WorkSetting,
)
from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.sentences import rounded_down
from heritagecheck.survey.places import build
from heritagecheck.survey.records import TABLES, Panel

Judged = Callable[..., Recommendation]


@pytest.fixture
def with_spots(rows: Callable[..., Rows]) -> Callable[..., Rows]:
    """Give the plain rows of a clean case (mist on limestone) whose panels also carry spots."""

    def give(*, cleans: float = 22, harms: float = 1000, lost: int = 0, **panel: Any) -> Rows:
        found = lay_spots(rows("G03"), lambda _, dose: (dose > cleans, dose > harms))
        for one in found["panels"]:
            one.update(panel)
        del found["spots"][:lost]
        return found

    return give


def checks(recommendation: Recommendation) -> dict[str, str]:
    """Answers of gate 7 on the only series."""
    table = recommendation.trials_table()
    return dict(zip(table["required"], table["answer"], strict=True))


def setting(recommendation: Recommendation) -> WorkSetting:
    """Start and range of the only series."""
    [found] = [recommendation.settings[key] for key in recommendation.trials]
    return found


def fabric(recommendation: Recommendation) -> float:
    """Mean harm that the mist itself does to the fabric."""
    return recommendation.against_leaving["nebulised_water", "G03-S"].harm["fabric"][0]


def test_sound_spots_leave_a_passing_trial_passing(judged: Judged, with_spots: Any) -> None:
    """Three panels, nothing damaged up to six times what cleans: clean as before."""
    found = judged(with_spots())

    assert judged("G03").outcome == found.outcome == "clean"
    assert checks(found)["damage bound by spots"] == checks(found)["margin"] == "met"


def test_the_margin_of_the_spots_counts_where_it_is_the_smaller(
    judged: Judged, with_spots: Any
) -> None:
    """The panels state 2.7; spots damaged from 60 minutes on don't show the 2 asked."""
    found = judged(with_spots(harms=50))

    assert found.outcome == "trial first"
    assert checks(found)["margin"] == "not met"
    assert "from 96 spots (2 required)" in found.sentence


def test_the_margin_of_the_panels_is_not_said_to_come_from_the_spots(
    judged: Judged, with_spots: Any
) -> None:
    """
    The panels were sound up to 120 minutes a day and cleaned at 45 at most: 120 / 45 = 2.6.

    The spots show a larger margin, which is given as theirs.
    """
    said = judged(with_spots()).trials_table().set_index("required")["in words"]["margin"]
    spots = re.fullmatch(
        r"damage margin at least 2\.6, from the settings recorded on the panels "
        r"\(2 required; 96 spots alone give at least ([\d.]+)\)",
        said,
    )

    assert spots is not None, said
    assert float(spots[1]) > 120 / 45


def test_damage_seen_on_spots_at_the_setting_counts_although_no_field_shows_it(
    judged: Judged, with_spots: Any
) -> None:
    """Spots damaged from 60 minutes on, 45 being used: harm to fabric rises, gate 7 says why."""
    sound, damaged = judged(with_spots()), judged(with_spots(harms=50))

    assert fabric(damaged) > fabric(sound) + 0.5
    assert checks(damaged)["damage"] == "met"
    assert checks(damaged)["damage bound by spots"] == "not met"


def test_soiling_that_stays_on_the_spots_lowers_what_treatment_is_worth(
    judged: Judged, with_spots: Any
) -> None:
    """Spots come clean from 60 minutes on, 35 being used: the panels' 15 % is not believed."""
    found = judged(with_spots(cleans=50))

    assert found.outcome == "leave and monitor"
    assert found.deciding_gate is not None
    assert found.deciding_gate.number == 8


def test_a_lost_spot_leaves_the_margin_unknown(judged: Judged, with_spots: Any) -> None:
    """So the panels' own margin does not come back when an unwelcome spot is gone."""
    found = judged(with_spots(lost=1))

    assert found.outcome == "trial first"
    assert checks(found)["margin"] == "not known"
    assert "has 24 spots laid, 23 recorded" in found.sentence


def test_spots_in_another_quantity_than_the_panels_setting_do_not_speak_of_it(
    judged: Judged, with_spots: Any
) -> None:
    """Their margin is a ratio and still counts; what happens at 40 L/min they don't say."""
    flow = {"setting_quantity": "water_flow", "setting_unit": "L/min"}
    found = judged(with_spots(**flow, harms=50))

    assert "damage bound by spots" not in checks(found)
    assert checks(found)["margin"] == "not met"


def test_a_series_that_lacks_only_panels_is_carried_on(judged: Judged, with_spots: Any) -> None:
    """The margin is 2 or more by estimate and not shown: more panels before another method."""
    unsure, failed = judged(with_spots(harms=100, damage_low=80)), judged(with_spots(harms=50))

    assert unsure.trials["nebulised_water", "G03-S"].needs_panels
    assert unsure.method == "nebulised_water"
    assert not failed.trials["nebulised_water", "G03-S"].needs_panels
    assert failed.method != "nebulised_water"


def test_beside_a_series_that_lacks_panels_the_next_method_is_named(
    judged: Judged, with_spots: Any
) -> None:
    """Two may stand side by side; only a series that merely ages is waited for."""
    unsure = judged(with_spots(harms=100, damage_low=80))
    young = judged(with_spots(done_on="2026-05-25"))

    assert unsure.instruction is not None
    assert unsure.instruction.then
    assert young.trials["nebulised_water", "G03-S"].pending
    assert young.instruction is not None
    assert young.instruction.then == ()


def test_a_stray_spot_among_few_fails_the_gate_but_not_its_method(
    judged: Judged, rows: Callable[..., Rows]
) -> None:
    """One of some forty is more than 2 % and not shown to be: more spots settle it; ten are."""
    verdicts = []
    for hits in (1, 12):
        raw = lay_spots(rows("G03"), lambda _, dose: (dose > 22, False))
        clean = [one for one in raw["spots"] if one["cleaned"] == "yes" and one["dose"] <= 45]
        for one in clean[:hits]:
            one |= {"damaged": "yes", "damage_kind": "grains"}
        (verdict,) = judged(raw).trials.values()
        verdicts.append(next(one for one in verdict.checks if one.name == "damage on spots"))

    assert [one.holds for one in verdicts] == [False, False]
    assert [one.too_few for one in verdicts] == [True, False]


def test_limits_for_the_contractor_never_pass_what_spots_show(
    judged: Judged, with_spots: Any
) -> None:
    """Sound to 240 minutes: the panels' 30 to 45; damaged from 90 on: less; from 40: none."""
    sound, harmed, worse = (
        judged(with_spots(harms=harms, cleaning_low=30)) for harms in (1000, 70, 38)
    )

    assert setting(sound).steps[0].span == "30 to 45 min"
    window = harmed.evidence.series[0].spots.window
    assert 30 < window.high < 45
    assert setting(harmed).steps[0].span == f"30 to {rounded_down(window.high, 3):.3g} min"
    assert setting(worse).why_none.startswith("None. The ")
    assert not setting(worse).steps


def test_the_setting_names_damaged_fields(judged: Judged, with_spots: Any) -> None:
    """No spot was damaged, one field of the panels was: the spots alone would be untrue."""
    rows = with_spots()
    assert setting(judged(rows)).steps[0].damage.startswith("No trial spot was damaged up to")
    rows["panels"][0] |= {"damaged_fields": 1, "damage_kind": "grains"}

    said = setting(judged(rows)).steps

    assert not said or said[0].damage.startswith("1 of ")
    assert not said or " fields was damaged " in said[0].damage
    assert not said or ". No trial spot was damaged up to " in said[0].damage


def test_spots_that_name_no_mica_cannot_show_a_margin_on_granite() -> None:
    """Ninety-six spots on who knows what look better than those on mica: that opens no gate."""
    survey = hc.demo_survey()
    rows = {
        table: [record.model_dump() for record in survey.all(kind)]
        for table, kind in TABLES.items()
    }
    for spot in rows["spots"]:
        spot |= {"component": None, "damaged_component": None}
    found = hc.assess(build(rows), zones=["N06"]).zone("N06")
    verdict = found.trials["laser_ns_1064", "N06-pulse"]
    margin = next(check for check in verdict.checks if check.name == "margin")

    (series,) = (one for one in found.evidence.series if one.series == "N06-pulse")
    assert series.margin_low > 1.3
    assert margin.holds is None
    assert margin.words == "damage margin not known, because no spot is said to lie on biotite"
    assert found.outcome == "trial first"


# -- What may not open the way to clean ----------------------------------------------------------


@pytest.mark.parametrize(
    "blank",
    [{"damage_low": None, "damage_high": None}, {"cleaning_low": None, "cleaning_high": None}],
    ids=["first damage", "cleaning"],
)
def test_a_panel_that_does_not_state_its_settings_leaves_the_margin_unknown(
    judged: Judged, with_spots: Any, blank: dict[str, None]
) -> None:
    """Panels that state 1.3 fail the 2 asked; one left blank must not leave the spots alone."""
    stated, blanked = with_spots(damage_low=60), with_spots(damage_low=60)
    blanked["panels"][0] |= blank

    assert judged(stated).outcome == "trial first"
    found = judged(blanked)
    assert found.outcome == "trial first"
    assert checks(found)["margin"] == "not known"


@pytest.mark.parametrize(
    ("on_spots", "on_panels", "outcome"),
    [
        ({"passes": 1}, {"passes": 1}, "clean"),
        ({"passes": 1}, {"passes": None}, "trial first"),
        ({"passes": None}, {"passes": 40}, "trial first"),
        ({"wetted": "no"}, {"wetted": "no"}, "clean"),
        ({"wetted": "no"}, {"wetted": None}, "trial first"),
        ({"wetted": None}, {"wetted": "yes"}, "trial first"),
    ],
)
def test_pulses_and_wetting_left_blank_are_not_read_as_alike(
    judged: Judged, with_spots: Any, on_spots: Rows, on_panels: Rows, outcome: str
) -> None:
    """Spots of one pulse say little of panels of forty; a blank cell must not hide that."""
    rows = with_spots(**on_panels)
    for spot in rows["spots"]:
        spot.update(on_spots)

    assert judged(rows).outcome == outcome


@pytest.mark.parametrize(
    ("quantity", "unit"), [("time_per_day", "min a day"), (None, "min"), (None, None)]
)
def test_a_setting_that_cannot_be_held_against_its_spots_is_not_known(
    judged: Judged, with_spots: Any, quantity: str | None, unit: str | None
) -> None:
    """Another quantity, or none, hides what the spots say of the setting used."""
    found = judged(with_spots(setting_quantity=quantity, setting_unit=unit))

    assert found.outcome == "trial first"
    assert checks(found)["spots"] == "not known"
    doubt = found.evidence.series[0].unit_doubt
    assert setting(found).why_none.startswith(
        f"None. {doubt[:1].upper()}{doubt[1:]}" if doubt else NOT_COMPARED
    )


PEAK, MEAN = ("peak_fluence", "J/cm²"), ("mean_fluence", "J/cm²")


@pytest.mark.parametrize(
    ("scales", "doubt"),
    [
        ((PEAK,), ""),
        ((MEAN,), ""),
        (((None, "J/cm²"),), "whether J/cm² is the peak fluence or the mean is not recorded"),
        (((None, "kJ/m²"),), "whether kJ/m² is the peak fluence or the mean is not recorded"),
        (((None, None),), "the unit of the setting is not recorded"),
        ((PEAK, MEAN), "settings are given in J/cm² mean and in J/cm² peak"),
    ],
)
def test_a_setting_that_can_be_read_in_two_ways_does_not_pass(
    judged: Judged,
    rows: Callable[..., Rows],
    scales: tuple[tuple[str | None, str | None], ...],
    doubt: str,
) -> None:
    """The peak of a Gaussian beam is twice its mean (ISO 21254-1): no limit may hide which."""
    laser = rows("G21")
    for panel, (quantity, unit) in zip(laser["panels"], cycle(scales), strict=False):
        panel |= {"setting_quantity": quantity, "setting_unit": unit}
        panel |= {"cleaning_low": 2.8, "cleaning_high": 3.2}
    found = judged(laser)

    assert found.outcome == ("trial first" if doubt else "clean")
    assert checks(found).get("unit") == ("not known" if doubt else None)
    if doubt:
        assert setting(found).why_none.startswith(f"None. {doubt[:1].upper()}{doubt[1:]}")
    else:
        assert setting(found).steps[0].span.startswith("2.8 to 3.2 J/cm²")


def test_a_setting_says_the_same_in_every_unit(judged: Judged, with_spots: Any) -> None:
    """Panels in hours, spots in minutes: the same recommendation, to the digit."""
    hours = {"setting_unit": "h", "cleaning_low": 35 / 60, "cleaning_high": 45 / 60,
             "damage_low": 2}  # fmt: skip
    found, same = judged(with_spots()), judged(with_spots(**hours))

    assert same.outcome == found.outcome == "clean"
    assert checks(same) == checks(found)
    assert fabric(same) == pytest.approx(fabric(found))


def test_one_spot_damaged_at_the_setting_used_fails_it(judged: Judged, with_spots: Any) -> None:
    """One of the 24 that came clean up to it is 4 %, and 2 % may be seen; limits name it."""
    sound = judged(with_spots()).evidence.series[0].spots.window
    rows = with_spots()
    spot = next(one for one in rows["spots"] if one["dose"] == 40)
    spot["damaged"] = "yes"
    found = judged(rows)

    assert found.outcome == "trial first"
    assert checks(found)["damage on spots"] == "not met"
    assert found.evidence.series[0].spots.window.high < sound.high
    assert not setting(found).steps


def test_spots_of_a_twin_series_at_the_same_setting_are_not_outvoted(
    judged: Judged, with_spots: Any
) -> None:
    """Its fields are sound, its spots are not; a full stop more makes no other setting."""
    rows = with_spots()
    rows["zones"][0]["panels_laid"] = 8
    for panel in list(rows["panels"]):
        twin = panel | {
            "panel": f"{panel['panel']}b", "series": "B", "setting": panel["setting"] + ".",
        }  # fmt: skip
        rows["panels"].append(twin)
        rows["spots"] += [
            spot | {
                "spot": f"{spot['spot']}b", "panel": twin["panel"],
                "damaged": "yes" if spot["dose"] > 24 else "no",
            }
            for spot in rows["spots"] if spot["panel"] == panel["panel"]
        ]  # fmt: skip
    found = judged(rows)

    assert found.outcome == "trial first"
    assert "panels of B on G03 show damage from 25 min upwards" in found.sentence


def test_on_metal_a_lost_spot_is_seen_as_well(judged: Judged, rows: Callable[..., Rows]) -> None:
    """No margin is asked there, so it is the spots themselves that are not known."""
    whole, lost = (
        lay_spots(
            rows("G21"), lambda _, dose: (dose > 1.5, dose > 2.2),
            (0.8, 1.2, 1.6, 2.0, 2.4, 3.0, 4.0, 5.0) * 2, "J/cm²", "peak_fluence",
        )
        for _ in range(2)
    )  # fmt: skip
    for raw in (whole, lost):
        for panel in raw["panels"]:
            panel |= {"setting_quantity": "peak_fluence", "setting_unit": "J/cm²"}
            panel |= {"cleaning_low": 2.8, "cleaning_high": 3.2}
    del lost["spots"][0]

    assert judged("G21").outcome == "clean"
    assert checks(judged(whole))["damage on spots"] == "not met"
    assert judged(whole).outcome != "clean"
    assert checks(judged(lost))["spots"] == "not known"
    assert judged(lost).outcome != "clean"


def test_inside_the_tested_window_is_said_only_where_it_is(judged: Judged, with_spots: Any) -> None:
    """Spots come clean at 36 and more, the panels used 35: not inside."""
    inside, outside = judged(with_spots()), judged(with_spots(cleans=38))

    assert inside.evidence.series[0].windowed
    assert not outside.evidence.series[0].windowed


@pytest.mark.parametrize(
    ("kind", "answer"), [("grains", "met"), ("cracked", "not met"), (None, "not known")]
)
def test_a_few_damaged_spots_are_borne_where_they_are_few_and_mild(
    judged: Judged, rows: Callable[..., Rows], kind: str | None, answer: str
) -> None:
    """One of the 64 that came clean at low significance: 1.6 % of the 5 % that may be seen."""
    raw = lay_spots(
        rows("G03", significance="low", panels={"count": "8"}),
        lambda number, dose: (dose > 22, number == 13),
    )
    spot = raw["spots"][13]
    assert (spot["dose"], spot["damaged"]) == (10, "yes")
    raw["spots"][13] = spot | {"dose": 40, "cleaned": "yes", "damage_kind": kind}
    found = judged(raw)

    assert checks(found)["damage on spots"] == answer
    assert (found.outcome == "clean") == (answer == "met")


def test_a_setting_above_the_window_does_not_pass() -> None:
    """The contractor's limits end with the window: what was dialled above it can't be ordered."""
    survey = hc.demo_survey()
    laid = [panel for panel in survey.all(Panel) if panel.series == "T06-pulse"]
    survey.save(*(panel.changed(cleaning_high=3.4) for panel in laid), who="conservator")

    found = hc.assess(survey, zones=["T06"]).zone("T06")
    [verdict] = found.trials.values()

    assert found.outcome == "trial first"
    assert "setting above the window" in {
        check.name for check in verdict.checks if check.holds is False
    }


def test_no_setting_is_printed_that_spots_speak_against() -> None:
    """Whoever reads the box must not find a number that its own limits forbid (N06)."""
    instruction = hc.assess(hc.demo_survey(), zones=["N06"]).zone("N06").instruction

    assert instruction is not None
    assert instruction.setting.why_none.startswith(ABOVE_WINDOW)
    assert "0.6" not in str(instruction.setting.lines)


# -- Spots measured below ×50: expected before the first run ---------------------------------------


def depths(rows: Rows, *found: tuple[float | None, float], named: bool = True) -> Rows:
    """
    The rows with depths of the first panel, each of the panel itself (None) or of a spot's dose.

    Case G03 works at 35 to 45 minutes on tooled limestone of high significance: 10 µm are allowed.
    """
    panel = rows["panels"][0]
    panel["measured_below"] = "depth_removed" if named else None
    spots = {one["dose"]: one["spot"] for one in rows["spots"] if one["panel"] == panel["panel"]}
    rows["site_tests"] += [
        {
            "site_test": f"D{number}", "zone": panel["zone"], "panel": panel["panel"],
            "quantity": "depth_removed_um", "value": value, "spread": 0.5, "set_name": "D",
            "set_size": len(found), "method": "height maps", "tested_on": panel["read_on"],
            "tested_by": "conservator", "spot": None if dose is None else spots[dose],
        }
        for number, (dose, value) in enumerate(found)
    ]  # fmt: skip
    return rows


def test_depth_of_a_harsher_spot_never_stops_the_panels_setting(
    judged: Judged, with_spots: Any
) -> None:
    """40 µm at 60 minutes, named by the panel or not: clean, no harm added, and it is shown."""
    alone = judged(depths(with_spots(), (None, 3)))
    beside = judged(depths(with_spots(), (None, 3), (60, 40)))
    unnamed = judged(depths(with_spots(), (60, 40), named=False))

    assert alone.outcome == beside.outcome == unnamed.outcome == "clean"
    assert fabric(beside) == fabric(alone)
    assert beside.below_x50 == alone.below_x50
    for found in (beside, unnamed):
        assert [one.result for one in found.on_harsher_spots] == [
            "40 µm, at most 40.8 µm (10 µm allowed)"
        ]
    assert "60 min" in unnamed.on_harsher_spots[0].where


@pytest.mark.parametrize("dose", [40, 5])
def test_depth_of_a_spot_at_the_setting_or_gentler_stops_it(
    judged: Judged, with_spots: Any, dose: float
) -> None:
    """40 µm where the panel itself lost 3: trial first, and the spot is named."""
    found = judged(depths(with_spots(), (None, 3), (dose, 40)))

    assert found.outcome == "trial first"
    assert checks(found)["damage below ×50"] == "not met"
    assert f"at {dose} min" in found.sentence
    assert not found.on_harsher_spots


def test_a_gentler_spot_does_not_stand_in_for_the_panel(judged: Judged, with_spots: Any) -> None:
    """3 µm after 5 minutes leave open what 45 minutes take; a lost row of the set leaves it too."""
    gentler = judged(depths(with_spots(), (5, 3)))
    lost = depths(with_spots(), (None, 3), (60, 40))
    del lost["site_tests"][-1]

    assert gentler.outcome == judged(lost).outcome == "trial first"
    assert [(one.spot != "", one.holds) for one in gentler.below_x50] == [
        (False, None), (True, True),
    ]  # fmt: skip
    assert "neither the panel itself nor a spot" in gentler.sentence
