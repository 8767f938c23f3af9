"""What to look at again in trials: hand-sized series of panels and spots, one thing amiss each."""

from __future__ import annotations

from typing import Any

import pytest

from heritagecheck.survey.check_trials import trial_findings
from heritagecheck.survey.records import Panel, Spot, Zone

IN_FULL = (
    "1.5 J/cm² peak, 10 ns, 10 Hz, spot 4 mm, dry, 8 pulses a spot, perpendicular, energy "
    "measured at the wall"
)


def panel(name: str, **changes: Any) -> Panel:
    """Give a panel of series S on zone Z1 that carries two spots and was read by a blind reader."""
    whole = {
        "panel": name, "zone": "Z1", "series": "S", "panels_in_series": 2, "soiling": "graffiti",
        "method": "laser_ns_1064", "setting": IN_FULL, "done_on": "2026-01-01",
        "read_on": "2026-05-01", "x50_fields": 10, "setting_unit": "J/cm² peak",
        "reader_blind": "yes", "spots_laid": 2,
    }  # fmt: skip
    return Panel(**(whole | changes))


def spot(on: str, dose: float | None, **changes: Any) -> Spot:
    """Give a spot that was read, with the component under it."""
    whole = {
        "spot": f"{on}-{dose}", "panel": on, "zone": "Z1", "spots_on_panel": 2, "dose": dose,
        "dose_unit": None if dose is None else "J/cm² peak", "cleaned": "yes", "damaged": "no",
        "read_on": "2026-05-01", "component": "biotite",
    }  # fmt: skip
    return Spot(**(whole | changes))


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
) -> list[tuple[str, str, str]]:
    """Zone, table and words of every finding."""
    records = {"zones": (on or zone(),), "panels": panels, "spots": spots}
    findings = list(trial_findings(records))
    assert all(len(what_to_do) > 10 for *_, what_to_do in findings)
    return [(where, table, what) for where, table, what, _ in findings]


def test_a_series_in_which_nothing_is_amiss_is_not_found() -> None:
    """Setting in full, all spots here at two doses, components named, reader blind."""
    assert found() == []


def test_what_a_setting_does_not_tell_is_asked_once_a_series_with_its_unit() -> None:
    """Two panels, one line; whoever laid them is asked, and may answer that it is there."""
    short = {"setting": IN_FULL.replace(" 10 ns,", "").replace(" dry,", "")}
    panels = (panel("P1", **short), panel("P2", **short))
    [(*_, what_to_do)] = trial_findings({"zones": (zone(),), "panels": panels, "spots": SPOTS})

    assert found(panels) == [
        ("Z1", "panels",
         "setting perhaps not in full: S does not seem to tell pulse duration [ns, ps or fs]; "
         "wet or dry")
    ]  # fmt: skip
    assert what_to_do == (
        "Ask whoever laid the panels and write it into the setting of each of them "
        '("Setting in full, with units"); if it stands there in other words, leave it'
    )


def test_a_dose_that_stands_with_the_spots_need_not_stand_in_the_setting() -> None:
    """The fluence is varied from spot to spot, each with its dose."""
    varied = {"setting": IN_FULL.replace("1.5 J/cm² peak", "peak fluence varied")}
    bare = {**varied, "spots_laid": 0}

    assert found((panel("P1", **varied), panel("P2", **varied))) == []
    assert found((panel("P1", **bare), panel("P2", **bare)), ()) == [
        ("Z1", "panels",
         "setting perhaps not in full: S does not seem to tell fluence of one pulse [J/cm²]")
    ]  # fmt: skip


def test_on_metal_the_preparation_grade_is_asked_as_well() -> None:
    """The zone says what is cleaned."""
    [(_, _, what)] = found(on=zone("riveted_steel"))

    assert what.endswith("does not seem to tell preparation grade aimed at [Sa, St, SP or WJ]")


@pytest.mark.parametrize(
    ("panels", "spots", "why"),
    [
        ((panel("P1"), panel("P2", spots_laid=None)), SPOTS,
         "panel P2 does not say how many spots were laid"),
        ((panel("P1", spots_laid=None), panel("P2", spots_laid=None)), SPOTS,
         "panel P1 does not say how many spots were laid; "
         "panel P2 does not say how many spots were laid"),
        (PANELS, SPOTS[:-1], "panel P2 carries 2 spots, 1 are on record"),
        (PANELS, (*SPOTS[:-1], spot("P2", None)),
         "spot P2-None was not read, or its dose is not recorded"),
        ((panel("P1"), panel("P2", setting_unit=None)),
         (*SPOTS[:2],
          *(spot("P2", dose, dose_unit="mJ/cm² peak") for dose in (50, 90))),
         "doses stand in J/cm² peak and in mJ/cm² peak"),
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


def test_spots_in_another_unit_than_their_panel_are_found() -> None:
    """Written differently is not held against one another either."""
    panels = (panel("P1"), panel("P2", setting_unit="mJ/cm² peak"))

    assert found(panels) == [
        (
            "Z1",
            "spots",
            "units differ: S, spots in J/cm² peak, panels in J/cm² peak and mJ/cm² peak",
        )
    ]
    assert found((panel("P1"), panel("P2", setting_unit=None))) == []


@pytest.mark.parametrize(
    ("unit", "doubt"),
    [
        ("J/cm²", "whether J/cm² is the peak fluence or the mean is not recorded"),
        (None, "the unit of the setting is not recorded"),
    ],
)
def test_a_unit_that_can_be_read_in_two_ways_is_found(unit: str | None, doubt: str) -> None:
    """Where panels state their settings; in the spots as well."""
    stated = {"cleaning_low": 0.5, "cleaning_high": 0.6, "setting_unit": unit, "spots_laid": 0}
    spots = tuple(spot(one.panel, one.dose, dose_unit="J/cm²") for one in SPOTS)

    assert found((panel("P1", **stated), panel("P2", **stated)), ()) == [
        ("Z1", "panels", f"unit in doubt: S, {doubt}")
    ]
    assert found((panel("P1", setting_unit=None), panel("P2", setting_unit=None)), spots) == [
        ("Z1", "spots",
         "unit in doubt: S, whether J/cm² is the peak fluence or the mean is not recorded")
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


def test_readers_not_known_to_be_blind_are_one_line_for_the_survey() -> None:
    """Who knew the setting first, then where nobody wrote it; panels without a reading are not."""
    panels = (
        panel("P1", reader_blind=None), panel("P2"),
        panel("Q1", series="Q", spots_laid=0, reader_blind="no"),
        panel("R1", series="R", spots_laid=0, x50_fields=None, reader_blind=None),
    )  # fmt: skip

    assert found(panels) == [
        ("", "panels", "reader perhaps not blind to the setting: Q (not blind), S")
    ]


def test_spots_alone_ask_for_a_blind_reader_too() -> None:
    """No field was read at ×50, but the spots were looked at one by one."""
    panels = (panel("P1", x50_fields=0, reader_blind=None), panel("P2"))

    assert [what for _, _, what in found(panels)] == ["reader perhaps not blind to the setting: S"]


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [("passes", 4, "the number of pulses or passes is recorded for some spots only"),
     ("wetted", "no", "whether the surface was wetted is recorded for some spots only")],
)  # fmt: skip
def test_conditions_told_of_some_spots_only_are_found(field: str, value: Any, words: str) -> None:
    """How spots of which they are not known compare with the others, nobody can tell."""
    laid = (SPOTS[0].changed(**{field: value}), *SPOTS[1:])

    assert found(spots=laid) == [("Z1", "spots", f"spots not read together: S, {words}")]


@pytest.mark.parametrize(
    ("field", "on_panels", "on_spots", "words"),
    [
        ("passes", None, (2, 2), "the spots say their pulses or passes, and the panels do not"),
        ("passes", None, (1, 2), "the spots say their pulses or passes, and the panels do not"),
        ("passes", 2, (None, None),
         "the panels say their pulses or passes, and their spots do not"),
        ("passes", 2, (1, 2), ""),
        ("passes", 2, (2, 2), ""),
        ("wetted", None, ("no", "no"), "the spots say their wetting, and the panels do not"),
        ("wetted", "yes", (None, None), "the panels say their wetting, and their spots do not"),
        ("wetted", "yes", ("no", "no"), "no spot was laid on a surface wet or dry as that of the "
                                        "panels"),
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


def test_what_fields_of_their_own_say_is_not_asked_of_the_setting() -> None:
    """Pulses and wetting stand with panels and spots; the words of the setting need not repeat."""
    short = IN_FULL.replace(" 8 pulses a spot,", "").replace(" dry,", "")
    told = {"setting": short, "passes": 8, "wetted": "no"}
    spots = tuple(one.changed(passes=8, wetted="no") for one in SPOTS)

    assert found(tuple(one.changed(**told) for one in PANELS), spots) == []
    assert found(tuple(one.changed(setting=short) for one in PANELS)) == [
        ("Z1", "panels",
         "setting perhaps not in full: S does not seem to tell pulses per spot, or speed, hatch "
         "and passes; wet or dry")
    ]  # fmt: skip


def test_two_spellings_of_a_unit_are_one_unit() -> None:
    """Findings do not fall silent because somebody wrote cm2."""
    spots = (*SPOTS[:2], *(spot("P2", one.dose, dose_unit="J/cm2 Peak") for one in SPOTS[2:]))
    bare = tuple(
        one.changed(dose_unit=unit)
        for one, unit in zip(SPOTS, ["J/cm²", "J/cm²", "J/cm2", "J/cm2"], strict=True)
    )

    assert found(spots=spots) == []
    assert {what.partition(":")[0] for _, _, what in found(spots=bare)} == {
        "units differ", "unit in doubt",
    }  # fmt: skip


def test_spots_that_miss_the_weakest_mineral_are_found() -> None:
    """On granite biotite sets the limit; on limestone no mineral is named for it."""
    laid = tuple(one.changed(component=None) for one in SPOTS)
    quartz = tuple(one.changed(component="Quartz") for one in SPOTS)
    words = "weakest mineral not named: S, no spot is said to lie on biotite"

    assert found(spots=laid) == found(spots=quartz) == [("Z1", "spots", words)]
    assert found(spots=laid, on=zone("limestone")) == []
