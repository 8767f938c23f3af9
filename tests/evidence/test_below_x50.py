"""What instruments found below ×50 on panels: complete, within its limit, or not known."""

from __future__ import annotations

import math
from datetime import date
from typing import Any

import pytest

import heritagecheck as hc
from heritagecheck.evidence.trials.below_x50 import FoundBelow, found_below
from heritagecheck.survey.places import build, example_folder, read_folder
from heritagecheck.survey.records import Panel, SectionReading, SiteTest, Spot, Zone

SURVEY = read_folder(example_folder())
DAY = date(2026, 8, 24)


def stone(**more: Any) -> Zone:
    """A zone of granite, tooled, of medium significance."""
    return SURVEY.record("zones", "N06").changed(**more)  # type: ignore[return-value]


def depth(value: float, spread: float | None = 0.5, size: int = 1, number: int = 1) -> SiteTest:
    """Depth lost on the first panel of N06."""
    return SiteTest(
        site_test=f"D{number}", zone="N06", panel="N06-pulse-1", quantity="depth_removed_um",
        value=value, spread=spread, set_name="D", set_size=size, method="height maps",
        tested_on=DAY, tested_by="conservator",
    )  # fmt: skip


def on_stone(zone: Zone, *tests: SiteTest, measured: str = "depth_removed") -> FoundBelow:
    """What is found on the first panel of N06."""
    panel = SURVEY.record("panels", "N06-pulse-1").changed(measured_below=measured)
    (found,) = found_below(zone, [panel], tests, [], [])  # type: ignore[list-item]
    return found


@pytest.mark.parametrize(("value", "holds"), [(8.0, True), (19.5, None), (21.0, False)])
def test_a_depth_lies_within_its_limit_only_with_its_upper_end(
    value: float, holds: bool | None
) -> None:
    """Limit 20 µm on tooled stone of medium significance; the upper end is 1.645 × 0.5 above."""
    found = on_stone(stone(significance="medium", finish="tooled"), depth(value))

    assert found.limit == 20
    assert found.upper == pytest.approx(value + 0.8225)
    assert found.holds is holds


def test_more_is_asked_of_polish_and_of_high_significance() -> None:
    """2 µm on polished stone of high significance, where tooled stone of low may lose 50."""
    assert on_stone(stone(significance="high", finish="polished"), depth(1)).limit == 2
    assert on_stone(stone(significance="low", finish="tooled"), depth(1)).limit == 50


def test_what_a_panel_names_and_lacks_is_not_known() -> None:
    """Lost records, half a set, a value without its error: none of them passes."""
    zone = stone()

    assert on_stone(zone).holds is None
    assert on_stone(zone, depth(1, size=2)).holds is None
    bare = on_stone(zone, depth(1, spread=None))
    assert bare.upper == math.inf
    assert bare.holds is None
    assert on_stone(zone, depth(1), depth(30, number=2, size=1)).why_not


def test_smoother_is_as_much_a_change_as_rougher() -> None:
    """-18 % is beyond 15 %: smoother stone has lost material."""
    test = depth(-18).changed(quantity="roughness_change_pct")

    found = on_stone(stone(significance="medium"), test, measured="roughness_change")  # type: ignore[arg-type]

    assert found.holds is False
    assert found.said == "smoother by 18 %, at most 18.8 %"


def by_mineral(*values: tuple[str | None, float | None], lost: int = 0) -> list[FoundBelow]:
    """What depths of one set, each on a mineral, say of the first panel of N06."""
    tests = [
        depth(1, size=len(values) + lost, number=number).changed(
            mineral=mineral, value=value, spread=None if value is None else 0.5,
            not_measured_because=None if value is not None else "only 12 pixels of it seen",
        )
        for number, (mineral, value) in enumerate(values, start=1)
    ]  # fmt: skip
    panel = SURVEY.record("panels", "N06-pulse-1").changed(measured_below="depth_removed")
    return list(found_below(stone(), [panel], tests, [], []))  # type: ignore[list-item]


def test_the_mineral_that_is_lost_most_decides_and_the_weakest_comes_first() -> None:
    """1 µm of quartz is no comfort where 25 µm of biotite are gone (20 µm allowed)."""
    biotite, whole, quartz = by_mineral((None, 3), ("quartz", 1), ("biotite", 25))

    assert (biotite.name, biotite.holds) == ("Depth lost on biotite", False)
    assert (whole.name, whole.holds, quartz.holds) == ("Depth lost", True, True)
    assert "depth lost on biotite, panel N06-pulse-1: 25 µm" in biotite.words


def test_too_little_of_a_mineral_is_not_known_and_not_guessed() -> None:
    """Its reason is told; the mean over the whole square does not stand in for it."""
    biotite, whole = by_mineral((None, 3), ("biotite", None))

    assert biotite.holds is None
    assert biotite.result == "not known: only 12 pixels of it seen"
    assert whole.holds is True


def test_minerals_without_the_weakest_or_with_a_lost_row_are_not_known() -> None:
    """Where only quartz was told apart nobody knows of biotite; a lost row is a gap."""
    assert [one.holds for one in by_mineral(("quartz", 1))] == [None, True]
    assert by_mineral(("quartz", 1))[0].mineral == "biotite"
    (gap,) = by_mineral((None, 3), ("biotite", 2), lost=1)
    assert gap.holds is None
    assert "not complete" in gap.why_not


@pytest.mark.parametrize(("profile", "holds"), [(None, False), (40.0, True)])
def test_roughness_that_a_coating_requires_is_no_damage(profile: float | None, holds: bool) -> None:
    """Steel made 300 % rougher is damaged where it stays bare, and meant where it is coated."""
    (found,) = on_plate(300, profile)

    assert found.holds is holds
    assert ("meant for the coating" in found.words) == holds


def test_a_wanted_roughness_that_was_lost_is_not_known() -> None:
    """The panel names the measurement, so its loss is noticed whatever it was for."""
    assert on_plate(None, 40.0)[0].holds is None


def on_plate(change_pct: float | None, profile_um: float | None) -> tuple[FoundBelow, ...]:
    """What a change of roughness says of the first panel of T06."""
    panel = SURVEY.record("panels", "T06-pulse-1").changed(
        measured_below="roughness_change", required_profile_low_um=profile_um,
        required_profile_high_um=None if profile_um is None else 75.0,
    )  # fmt: skip
    test = SiteTest(
        site_test="R1", zone="T06", panel="T06-pulse-1", quantity="roughness_change_pct",
        value=change_pct, spread=5.0, set_name="R", set_size=1, method="height maps",
        tested_on=DAY, tested_by="conservator",
        not_measured_because=None if change_pct is not None else "file lost",
    )  # fmt: skip
    return found_below(SURVEY.record("zones", "T06"), [panel], [test], [], [])  # type: ignore[arg-type, list-item]


def on_steel(**dropped: Any) -> dict[str, FoundBelow]:
    """What T06 of the example shows, without the records for which a test holds."""
    zone: Zone = SURVEY.record("zones", "T06")  # type: ignore[assignment]
    kept = {
        kind: [
            one for one in SURVEY.of_zone("T06", kind) if not dropped.get(kind.__name__, _none)(one)
        ]
        for kind in (Panel, SiteTest, Spot, SectionReading)
    }
    found = found_below(zone, kept[Panel], kept[SiteTest], kept[Spot], kept[SectionReading])  # type: ignore[arg-type]
    return {one.row.measure: one for one in found}


def _none(_: object) -> bool:
    return False


def test_a_melted_spot_at_a_harsher_dose_does_not_speak_of_the_panel() -> None:
    """The spot at 12 J/cm² has melted; at 2.9 J/cm² the panel is as its control."""
    found = on_steel()

    assert found["altered_layer"].holds is True
    assert found["altered_layer"].upper == 6
    assert found["stress_change"].holds is True
    assert found["altered_layer"].files == ("sections T06",)


def test_a_melted_spot_of_unknown_dose_speaks_of_the_panel() -> None:
    """Without its spot record nobody knows that its dose was harsher."""
    found = on_steel(Spot=lambda spot: spot.spot == "T06-pulse-1-S09")

    assert found["altered_layer"].holds is False


@pytest.mark.parametrize(
    ("lost", "measure", "why"),
    [
        (lambda one: one.moment == "control", "altered_layer", "no profile of a control"),
        (lambda one: one.section_reading == "T06-HV-panel-3", "altered_layer", "5 of 6 readings"),
        (lambda one: one.profile == "T06-stress-before", "stress_change", "one profile before"),
        (lambda one: one.profile == "T06-stress-control-July", "stress_change", "both days"),
        (lambda one: one.moment == "after", "stress_change", "no profile after"),
    ],
)
def test_a_section_with_a_gap_is_not_known(lost: Any, measure: str, why: str) -> None:
    """A control, a reading, a profile or a whole moment lost: not known, and it says which."""
    found = on_steel(SectionReading=lost)[measure]

    assert found.holds is None
    assert why in found.words


# -- Spots: expected before the first run ----------------------------------------------------------

# The setting of N06-pulse-1 runs from 0.55 to 0.65 J/cm² peak; its limit is 20 µm.
SPOT = Spot(
    spot="S", panel="N06-pulse-1", zone="N06", spots_on_panel=1, dose=0.65,
    dose_quantity="peak_fluence", dose_unit="J/cm²", cleaned="yes", damaged="no", read_on=DAY,
)  # fmt: skip


def on_spot(
    dose: Spot | None, own: float | None, spot: float | None, **panel: Any
) -> tuple[tuple[FoundBelow, ...], tuple[FoundBelow, ...]]:
    """What depths of N06-pulse-1 itself and of its spot S say: what counts, what is shown."""
    values = [(None, own), ("S", spot)]
    tests = [
        depth(value, size=sum(one is not None for _, one in values), number=number).changed(
            spot=code, file=None
        )
        for number, (code, value) in enumerate(values) if value is not None
    ]  # fmt: skip
    laid = SURVEY.record("panels", "N06-pulse-1").changed(
        **({"measured_below": "depth_removed"} | panel)
    )
    given = stone(significance="medium", finish="tooled"), [laid], tests, [dose] if dose else [], []
    return found_below(*given), found_below(*given, harsher=True)  # type: ignore[arg-type]


@pytest.mark.parametrize("share", [1.01, 2, 10])
def test_a_spot_at_a_harsher_dose_is_shown_and_does_not_count(share: float) -> None:
    """40 µm at twice the setting says nothing of the setting; where and how much is told."""
    counts, shown = on_spot(SPOT.changed(dose=0.65 * share), own=3, spot=40)

    assert [(one.spot, one.holds) for one in counts] == [("", True)]
    assert [(one.spot, one.value, one.limit) for one in shown] == [("S", 40, 20)]
    assert shown[0].words == (
        f"depth lost, spot S at {0.65 * share:g} J/cm² peak: 40 µm, at most 40.8 µm (20 µm allowed)"
    )


@pytest.mark.parametrize(
    "spot",
    [
        SPOT,
        SPOT.changed(dose=0.3),
        SPOT.changed(dose=None, dose_unit=None, dose_quantity=None),
        SPOT.changed(dose_quantity="mean_fluence", dose=6.5),
        SPOT.changed(dose=650, dose_unit="mJ/cm²"),
        None,
    ],
    ids=["setting", "gentler", "dose not known", "another quantity", "another unit", "no record"],
)
def test_damage_of_a_spot_counts_unless_its_dose_is_known_to_be_harsher(spot: Spot | None) -> None:
    """40 µm at the setting or below, or at a dose that can't be compared: the panel is beyond."""
    counts, shown = on_spot(spot, own=3, spot=40)

    assert [(one.spot, one.holds) for one in counts] == [("", True), ("S", False)]
    assert not shown


@pytest.mark.parametrize(
    ("spot", "holds"),
    [
        (SPOT, [True]),
        (SPOT.changed(dose=650, dose_unit="mJ/cm²"), [True]),
        (SPOT.changed(dose=0.3), [None, True]),
        (SPOT.changed(dose=None, dose_unit=None, dose_quantity=None), [None, True]),
        (SPOT.changed(dose=1.3), [None]),
    ],
    ids=["setting", "another unit", "gentler", "dose not known", "harsher"],
)
def test_only_a_spot_at_the_setting_shows_that_nothing_is_lost(
    spot: Spot, holds: list[bool | None]
) -> None:
    """The panel names depth and was not measured itself; a gentler spot can't clear it."""
    counts, _ = on_spot(spot, own=None, spot=3)

    assert [one.holds for one in counts] == holds


def test_a_harsher_spot_is_not_required_of_its_panel() -> None:
    """The panel names no measurement; a gentler spot counts all the same."""
    counts, shown = on_spot(SPOT.changed(dose=1.3), own=None, spot=40, measured_below=None)
    assert (len(counts), len(shown)) == (0, 1)

    counts, shown = on_spot(SPOT.changed(dose=0.3), own=None, spot=40, measured_below=None)
    assert [one.holds for one in counts] == [False]
    assert not shown


def test_each_place_is_held_by_itself_mineral_by_mineral() -> None:
    """On the spot only quartz was told apart, so that its biotite is not known."""
    panel = SURVEY.record("panels", "N06-pulse-1").changed(measured_below="depth_removed")
    tests = [
        depth(3, size=2), depth(2, size=2, number=2).changed(spot="S", mineral="quartz"),
    ]  # fmt: skip

    found = found_below(stone(), [panel], tests, [SPOT], [])  # type: ignore[list-item]

    assert [(one.where, one.mineral, one.holds) for one in found] == [
        ("panel N06-pulse-1", "", True),
        ("spot S at 0.65 J/cm² peak", "biotite", None),
        ("spot S at 0.65 J/cm² peak", "quartz", True),
    ]


def test_sections_of_a_melted_spot_are_shown_against_the_panels_control() -> None:
    """231 and 224 HV down to 15 µm against 124 to 130 HV: the layer and its dose are told."""
    shown = found_below(
        SURVEY.record("zones", "T06"), SURVEY.of_zone("T06", Panel),  # type: ignore[arg-type]
        SURVEY.of_zone("T06", SiteTest), SURVEY.of_zone("T06", Spot),
        SURVEY.of_zone("T06", SectionReading), harsher=True,
    )  # fmt: skip

    layers = [one for one in shown if one.row.measure == "altered_layer"]
    assert {one.where for one in shown} == {"spot T06-pulse-1-S09 at 12 J/cm² peak"}
    # Deepest reading that differs, and the first that does not: 15 and 25 µm of hardness.
    assert layers[0].said.startswith("by hardness, to ")
    assert layers[0].value is not None
    assert layers[0].upper is not None
    assert 15 <= layers[0].value <= layers[0].upper <= 25


def test_a_stress_without_the_engineers_limit_is_not_known() -> None:
    """The engineer says what is allowed; nobody else does."""
    found = on_steel(SiteTest=lambda one: one.quantity == "stress_limit_mpa")

    assert found["stress_change"].holds is None
    assert "engineer's limit" in found["stress_change"].words


@pytest.mark.parametrize(("dose", "refused"), [(1.3, False), (0.65, True), (0.3, True)])
def test_a_harsher_spot_need_not_be_named_by_its_panel(dose: float, refused: bool) -> None:
    """Only what counts for the panel has to be named there, so that its loss is noticed."""
    rows = {table: [one.model_dump() for one in found] for table, found in SURVEY.records.items()}
    spot = next(one for one in rows["spots"] if one["panel"] == "N06-pulse-2")
    spot["dose"] = dose
    rows["site_tests"].append(
        depth(1).model_dump() | {"panel": "N06-pulse-2", "spot": spot["spot"]}
    )
    if refused:
        with pytest.raises(hc.SurveyError, match="does not name depth_removed"):
            build(rows)
    else:
        assert len(build(rows).all(SiteTest)) == len(rows["site_tests"])


@pytest.mark.parametrize(("table", "kind"), [("site_tests", SiteTest), ("height_maps", None)])
def test_a_spot_of_another_panel_is_refused(table: str, kind: object) -> None:
    """A spot lies on one panel; a test or map that names both wrongly says so."""
    rows = {table: [one.model_dump() for one in found] for table, found in SURVEY.records.items()}
    of_panel = next(
        one for one in rows[table] if one["panel"] == "N06-pulse-1"
        and (kind is None or one["quantity"] == "depth_removed_um")
    )  # fmt: skip
    of_panel["spot"] = "N06-pulse-3-S01"

    with pytest.raises(hc.SurveyError, match="spot N06-pulse-3-S01 lies on N06-pulse-3"):
        build(rows)
    of_panel["spot"] = "none such"
    with pytest.raises(hc.SurveyError, match="no spot none such"):
        build(rows)


def test_a_measurement_that_no_panel_names_is_refused() -> None:
    """If the panel does not name it, its loss would go unnoticed."""
    rows = {table: [one.model_dump() for one in found] for table, found in SURVEY.records.items()}
    rows["site_tests"].append(depth(1).model_dump() | {"panel": "N06-pulse-2"})

    with pytest.raises(hc.SurveyError, match="does not name depth_removed under measured_below"):
        build(rows)


def two_of_one_file(value: float, **more: Any) -> dict[str, list[dict[str, Any]]]:
    """Rows of the example, where N06-pulse-1 has a second depth beside its 1.56 ± 0.01 µm."""
    rows = {table: [one.model_dump() for one in found] for table, found in SURVEY.records.items()}
    depths = [one for one in rows["site_tests"] if one["quantity"] == "depth_removed_um"]
    for one in depths:
        one["set_size"] = len(depths) + 1
    first = next(one for one in depths if one["mineral"] is None)
    rows["site_tests"].append(first | {"site_test": "typed", "value": value, "spread": 0.1} | more)
    return rows


def test_two_numbers_of_one_file_that_disagree_are_refused() -> None:
    """1.56 ± 0.01 and 4 ± 0.1 µm of one map can't both be so; each is named with the other."""
    with pytest.raises(hc.SurveyError) as refused:
        build(two_of_one_file(4.0))

    assert "site_tests, row 176: value = 4.0: N06-pulse-1-depth_removed_um-1 says 1.56 of the " in (
        str(refused.value)
    )
    assert "Both can't be so" in str(refused.value)


@pytest.mark.parametrize(
    ("value", "more"),
    [(6.0, {"file": None}), (6.0, {"mineral": "hornblende"}), (6.0, {"file": "map H1"})],
    ids=["no file", "another mineral", "another file"],
)
def test_numbers_of_other_places_may_differ(value: float, more: dict[str, Any]) -> None:
    """Not of the same place and kind: both stay, and the worse counts."""
    survey = build(two_of_one_file(value, **more))
    panel = survey.record("panels", "N06-pulse-1")
    zone: Zone = survey.record("zones", "N06")  # type: ignore[assignment]

    found = found_below(zone, [panel], survey.of_zone("N06", SiteTest), [], [])  # type: ignore[list-item]

    assert max(one.value or 0 for one in found) == value


def test_numbers_of_one_file_may_differ_by_their_errors() -> None:
    """1.56 ± 0.01 and 1.6 ± 0.1 µm are the same finding."""
    assert build(two_of_one_file(1.6))
