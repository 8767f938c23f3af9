"""What to look at again in trials: hand-sized series of panels and spots, one thing amiss each."""

from __future__ import annotations

from typing import Any

import pytest

from heritagecheck.survey.checks.gaps import gaps_in_trials
from heritagecheck.survey.records import Panel, Setting, Spot, Zone

DIALLED = {
    "peak_fluence": (1.5, "J/cm²"), "pulse_duration": (10, "ns"), "repetition_rate": (10, "Hz"),
    "spot_diameter": (4, "mm"), "angle": (90, "°"), "measured_at": "wall",
}  # fmt: skip


def panel(name: str, **changes: Any) -> Panel:
    """Give a panel of series S on zone Z1 that carries two spots and was read by a blind reader."""
    whole = {
        "panel": name, "zone": "Z1", "series": "S", "panels_in_series": 2, "soiling": "graffiti",
        "method": "laser_ns_1064", "setting": "for people", "done_on": "2026-01-01",
        "read_on": "2026-05-01", "x50_fields": 10, "setting_quantity": "peak_fluence",
        "setting_unit": "J/cm²", "reader_blind": "yes", "spots_laid": 2, "passes": 8,
        "wetted": "no",
    }  # fmt: skip
    return Panel(**(whole | changes))


def spot(on: str, dose: float | None, **changes: Any) -> Spot:
    """Give a spot that was read, with the component under it."""
    whole = {
        "spot": f"{on}-{dose}", "panel": on, "zone": "Z1", "spots_on_panel": 2, "dose": dose,
        "dose_quantity": None if dose is None else "peak_fluence",
        "dose_unit": None if dose is None else "J/cm²", "cleaned": "yes", "damaged": "no",
        "read_on": "2026-05-01", "component": "biotite", "passes": 8, "wetted": "no",
    }  # fmt: skip
    return Spot(**(whole | changes))


def dialled(*without: str, series: str = "S") -> tuple[Setting, ...]:
    """Give what was dialled for a series, but for some of it."""
    return tuple(
        Setting(series=series, zone="Z1", quantity=quantity, words=told)
        if isinstance(told, str)
        else Setting(series=series, zone="Z1", quantity=quantity, value=told[0], unit=told[1])
        for quantity, told in DIALLED.items()
        if quantity not in without
    )


def zone(substrate: str = "granite") -> Zone:
    """Give the zone on which they lie."""
    return Zone(
        zone="Z1", elevation="north", name="A bay", area_m2=4, substrate=substrate, finish="tooled",
        condition="sound", exposure="sheltered", access="ground", significance="medium",
        significance_reason="Original", soilings="graffiti", surveyed_on="2026-05-01",
        surveyed_by="conservator",
    )  # fmt: skip


PANELS = (panel("P1"), panel("P2"))
SPOTS = (spot("P1", 0.5), spot("P1", 1.0), spot("P2", 0.5), spot("P2", 1.0))


def found(
    panels: tuple[Panel, ...] = PANELS,
    spots: tuple[Spot, ...] = SPOTS,
    on: Zone | None = None,
    settings: tuple[Setting, ...] = (*dialled(), *dialled(series="Q"), *dialled(series="R")),
) -> list[tuple[str, str, str]]:
    """Zone, table and words of every finding."""
    records = {
        "zones": (on or zone(),), "panels": panels, "spots": spots, "settings": settings,
    }  # fmt: skip
    findings = list(gaps_in_trials(records))
    assert all(len(one.what_to_do) > 10 for one in findings)
    return [(one.zone, one.table, one.what) for one in findings]


def test_a_series_in_which_nothing_is_amiss_is_not_found() -> None:
    """Setting in full, all spots here at two doses, components named, reader blind."""
    assert found() == []


def test_what_a_setting_does_not_tell_is_asked_once_a_series_with_its_unit() -> None:
    """Two panels, one line; whoever laid them is asked."""
    panels = tuple(one.changed(wetted=None) for one in PANELS)
    spots = tuple(one.changed(wetted=None) for one in SPOTS)

    assert found(panels, spots, settings=dialled("pulse_duration")) == [
        ("Z1", "settings",
         "setting incomplete: S lacks pulse duration [ns, ps or fs]; wet or dry")
    ]  # fmt: skip


def test_a_dose_that_stands_with_the_spots_need_not_stand_in_the_setting() -> None:
    """The fluence is varied from spot to spot, each with its dose."""
    varied, bare = dialled("peak_fluence"), tuple(one.changed(spots_laid=0) for one in PANELS)

    assert found(settings=varied) == []
    assert found(bare, (), settings=varied) == [
        ("Z1", "settings",
         "setting incomplete: S lacks fluence of one pulse, as peak or as mean [J/cm²]")
    ]  # fmt: skip


def test_the_sentence_tells_nothing() -> None:
    """Whatever stands in it, the same is asked."""
    told = "1.5 J/cm² peak, 10 ns, 10 Hz, spot 4 mm, dry, 8 pulses a spot, perpendicular"

    assert found(tuple(one.changed(setting=told) for one in PANELS), settings=()) == found(
        settings=()
    )
    assert "pulse duration" in found(settings=())[0][2]


def test_words_that_nobody_could_read_are_listed_until_somebody_does() -> None:
    """They came from an older survey, and stay as they were."""
    words = Setting(series="S", zone="Z1", quantity="not_read", words="3 clicks")

    assert found(settings=(*dialled(), words)) == [
        ("Z1", "settings", "words not read: S, 3 clicks")
    ]


def test_on_metal_the_preparation_grade_is_asked_as_well() -> None:
    """The zone says what is cleaned."""
    [(_, _, what)] = found(on=zone("riveted_steel"))

    assert what.endswith("lacks preparation grade aimed at [Sa, St, SP or WJ]")


@pytest.mark.parametrize(
    ("panels", "spots", "why"),
    [
        ((panel("P1"), panel("P2", spots_laid=None)), SPOTS,
         "panel P2 does not say how many spots were laid"),
        ((panel("P1", spots_laid=None), panel("P2", spots_laid=None)), SPOTS,
         "panel P1 does not say how many spots were laid; "
         "panel P2 does not say how many spots were laid"),
        (PANELS, SPOTS[:-1], "panel P2 has 2 spots laid, 1 recorded"),
        (PANELS, (*SPOTS[:-1], spot("P2", None)),
         "spot P2-None was not read, or its dose is not recorded"),
        (PANELS,
         (*SPOTS[:2], *(spot("P2", dose, dose_unit="mJ/cm²") for dose in (50, 90))),
         "doses are given in J/cm² peak and in mJ/cm² peak"),
    ],
)  # fmt: skip
def test_spots_that_cannot_be_read_together_are_found_with_the_reason(
    panels: tuple[Panel, ...], spots: tuple[Spot, ...], why: str
) -> None:
    """A lost spot must not make a window look wider, so all must be accounted for."""
    assert found(panels, spots) == [("Z1", "spots", f"spots not read together: S, {why}")]


def test_a_series_without_spots_is_not_asked_how_many_it_carries() -> None:
    """Spots are one way to try a method; most panels carry none."""
    panels = (panel("P1", spots_laid=None), panel("P2", spots_laid=0))

    assert found(panels, ()) == []


def test_many_reasons_are_cut_after_three() -> None:
    """One line a series stays one line."""
    panels = tuple(panel(f"P{number}", spots_laid=None) for number in range(5))
    [(_, _, what)] = found(panels, SPOTS)

    assert what.count("does not say") == 3
    assert what.endswith("; …")


def test_spots_in_another_quantity_than_their_panel_are_found() -> None:
    """Peak is not held against mean; another unit of the same quantity is converted."""
    mean = (panel("P1"), panel("P2", setting_quantity="mean_fluence"))
    milli = (panel("P1"), panel("P2", setting_unit="mJ/cm²"))
    unsaid = (panel("P1"), panel("P2", setting_quantity=None, setting_unit=None))

    assert found(mean) == [
        (
            "Z1",
            "spots",
            "units differ: S, spots in J/cm² peak, panels in J/cm² mean and J/cm² peak",
        )
    ]
    assert found(milli) == found(unsaid) == []


@pytest.mark.parametrize(
    ("unit", "doubt"),
    [
        ("J/cm²", "whether J/cm² is the peak fluence or the mean is not recorded"),
        ("mm", "what was measured in mm is not recorded"),
        (None, "the unit of the setting is not recorded"),
    ],
)
def test_a_unit_without_its_quantity_is_found(unit: str | None, doubt: str) -> None:
    """Where panels state their settings; in the spots as well."""
    bare = {"setting_quantity": None, "setting_unit": unit}
    stated = {"cleaning_low": 0.5, "cleaning_high": 0.6, "spots_laid": 0, **bare}
    spots = tuple(one.changed(dose_quantity=None) for one in SPOTS)
    panels = tuple(one.changed(setting_quantity=None, setting_unit=None) for one in PANELS)

    assert found((panel("P1", **stated), panel("P2", **stated)), ()) == [
        ("Z1", "panels", f"unit unclear: S, {doubt}")
    ]
    assert found(panels, spots) == [
        ("Z1", "spots",
         "unit unclear: S, whether J/cm² is the peak fluence or the mean is not recorded")
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("field", "words"),
    [("cleaning", "at which setting they cleaned"),
     ("damage", "at which setting they were damaged, if at all")],
)  # fmt: skip
def test_a_setting_that_one_panel_does_not_state_is_found(field: str, words: str) -> None:
    """One of several is an oversight, and leaves the margin unknown; none of them is a choice."""
    stated = PANELS[0].changed(**{f"{field}_low": 0.5, f"{field}_high": 0.6})

    assert found((stated, PANELS[1])) == [
        ("Z1", "panels", f"setting stated by some panels only: S, P2 not saying {words}")
    ]
    assert found((stated, stated.changed(panel="P2"))) == []


def test_spots_at_one_dose_only_are_found() -> None:
    """Four spots, all at the same fluence."""
    spots = tuple(spot(on, 1.5, spot=f"{on}-{turn}") for on in ("P1", "P2") for turn in "ab")

    assert found(spots=spots) == [
        ("Z1", "spots", "spots at one dose only: S, all at 1.5 J/cm² peak")
    ]  # fmt: skip


def test_components_named_under_some_spots_only_are_found() -> None:
    """Named under none is no finding; a spot that nobody read keeps the others from being read."""
    none = tuple(spot(one.panel, one.dose, component=None) for one in SPOTS)
    gone = {"cleaned": None, "damaged": None, "read_on": None, "not_read_because": "rain"}
    unread = spot("P2", 1.0, component=None, **gone)

    assert found(spots=(*SPOTS[:3], none[3])) == [
        (
            "Z1",
            "spots",
            "spots not read together: S, what lay under the spot is recorded for some spots only",
        )
    ]
    assert found(spots=none, on=zone("limestone")) == []
    assert [what for *_, what in found(spots=(*SPOTS[:3], unread))] == [
        "spots not read together: S, spot P2-1.0 was not read, or its dose is not recorded; "
        "what lay under the spot is recorded for some spots only"
    ]


def test_reader_who_knew_the_setting_is_not_told_to_write_what_is_written() -> None:
    """Who knew it is one thing, what nobody wrote another; panels without a reading are neither."""
    panels = (
        panel("P1", reader_blind=None), panel("P2"),
        panel("Q1", series="Q", spots_laid=0, reader_blind="no"),
        panel("R1", series="R", spots_laid=0, x50_fields=None, reader_blind=None),
    )  # fmt: skip

    assert [what for _, _, what in found(panels)] == [
        "not recorded whether the reader knew the setting: S",
        "reader knew the setting: Q",
    ]
    records = {"zones": (zone(),), "panels": panels, "spots": (), "settings": ()}
    [knew] = (one for one in gaps_in_trials(records) if one.kind == "reader knew the setting")
    assert "reader_blind" not in knew.what_to_do


def test_spots_alone_ask_for_a_blind_reader_too() -> None:
    """No field was read at ×50, but the spots were looked at one by one."""
    panels = (panel("P1", x50_fields=0, reader_blind=None), panel("P2"))

    assert [what for _, _, what in found(panels)] == [
        "not recorded whether the reader knew the setting: S"
    ]


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [("passes", 4, "the number of pulses or passes is recorded for some spots only"),
     ("wetted", "no", "whether the surface was wetted is recorded for some spots only")],
)  # fmt: skip
def test_conditions_told_of_some_spots_only_are_found(field: str, value: Any, words: str) -> None:
    """How spots of which they are not known compare with the others, nobody can tell."""
    none = tuple(one.changed(**{field: None}) for one in SPOTS)
    laid = (none[0].changed(**{field: value}), *none[1:])
    panels = tuple(one.changed(**{field: None}) for one in PANELS)

    assert found(panels, laid) == [("Z1", "spots", f"spots not read together: S, {words}")]


@pytest.mark.parametrize(
    ("field", "on_panels", "on_spots", "words"),
    [
        ("passes", None, (2, 2), "the spots record their pulses or passes, but the panels do not"),
        ("passes", None, (1, 2), "the spots record their pulses or passes, but the panels do not"),
        ("passes", 2, (None, None),
         "the panels record their pulses or passes, but their spots do not"),
        ("passes", 2, (1, 2), ""),
        ("passes", 2, (2, 2), ""),
        ("wetted", None, ("no", "no"), "the spots record their wetting, but the panels do not"),
        ("wetted", "yes", (None, None), "the panels record their wetting, but their spots do not"),
        ("wetted", "yes", ("no", "no"), "no spot was laid on a surface wetted like the panels'"),
        ("wetted", "yes", ("no", "yes"), ""),
    ],
)  # fmt: skip
def test_conditions_are_said_by_panels_and_spots_or_by_neither(
    field: str, on_panels: object, on_spots: tuple[object, object], words: str
) -> None:
    """Else nobody knows for which pulses and which surface the window is wanted."""
    laid = tuple(one.changed(**{field: on_spots[place % 2]}) for place, one in enumerate(SPOTS))
    said = tuple(one.changed(**{field: on_panels}) for one in PANELS)

    assert found(panels=said, spots=laid) == (
        [("Z1", "spots", f"spots not read together: S, {words}")] if words else []
    )


def test_spots_that_miss_the_weakest_mineral_are_found() -> None:
    """On granite biotite sets the limit; on limestone no mineral is named for it."""
    laid = tuple(one.changed(component=None) for one in SPOTS)
    quartz = tuple(one.changed(component="Quartz") for one in SPOTS)
    words = "weakest mineral not named: S, no spot is said to lie on biotite"

    assert found(spots=laid) == found(spots=quartz) == [("Z1", "spots", words)]
    assert found(spots=laid, on=zone("limestone")) == []
