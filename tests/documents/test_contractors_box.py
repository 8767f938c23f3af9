"""The contractor's box: one setting wherever it is printed, and all that goes with it."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from printed_setting import ACCEPTED, faults_of, places, starts_in, told_in, trial_sheet_words
from small_report import ZONES, close_up, example

import heritagecheck as hc
from heritagecheck.documents.page_templates import templates
from heritagecheck.documents.trial_sheet import series_of
from heritagecheck.documents.zone_sheet import sheet_values
from heritagecheck.judgement.decisions import no_work
from heritagecheck.judgement.handover.instruction import NOBODY, instruction_for
from heritagecheck.judgement.handover.work_setting import CONTRADICT, work_setting
from heritagecheck.judgement.options import options_for
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.sentences import day_in_words
from heritagecheck.survey.records import Panel, Setting, Structure

# What a trial sheet says that its setting is for; each once.
USES = (
    "For work: ", "For trial panels only: ", "no work at this setting is recommended here: ",
    "the team decided otherwise: ",
)  # fmt: skip


# Asked inside the tests, not for their names: else every worker judges the example to list them.
def boxed() -> list[Recommendation]:
    """Give the zones that are cleaned or tried, and not decided otherwise by the team."""
    return [
        one
        for one in example().recommendations
        if one.instruction is not None and not no_work(example(), one.zone)
    ]


def test_every_zone_that_is_cleaned_or_tried_has_a_box() -> None:
    """And no other zone has one; those whose hazards are open first are not tried yet."""
    for one in example().recommendations:
        asked = one.method is not None
        assert (one.instruction is not None) == asked
        assert asked or one.outcome != "clean"
    assert len(boxed()) > 12


def test_one_setting_stands_in_box_card_conditions_and_text() -> None:
    """The same words with the same numbers, and one start within one range."""
    for one in boxed():
        assert one.instruction is not None
        setting = one.instruction.setting
        said = places(example(), one)

        untold = {name: told_in(words, setting) for name, words in said.items()}
        assert {name: missed for name, missed in untold.items() if missed} == {}, one.zone
        assert faults_of(one) == [], one.zone
        steps = {step.start for step in setting.steps if step.start is not None}
        starts = {name: starts_in(words) for name, words in said.items()}
        assert starts == dict.fromkeys(said, steps), one.zone


def test_the_trial_sheet_prints_the_setting_of_its_zone() -> None:
    """What box and card of a zone say of a series, its own sheet says too."""
    for series in series_of(example()):
        words = trial_sheet_words(example(), series)
        boxes = [
            one.instruction.setting
            for one in boxed()
            if one.instruction is not None and one.settings
            for key in one.settings
            if key.series == series and one.settings[key] is one.instruction.setting
        ]

        for setting in boxes:
            assert told_in(words, setting) == [], series
        assert "begin at" not in words, series
        assert sum(map(words.count, USES)) == 1, series


@pytest.mark.parametrize(
    ("series", "use"),
    [("N09-mist", "For work: Start: 40 min a day"),
     ("E16-gel", "For trial panels only: Start: 2 h"),
     ("T07-pulse", "For trial panels only: Start: as on the panels"),
     ("N06-powder", "For trial panels only: Setting: None."),
     ("T03-grit", "For information only; the team decided otherwise: "),
     ("E15-wash", "no work at this setting is recommended here: Start: 9 bar")],
)  # fmt: skip
def test_a_trial_sheet_says_what_its_setting_is_for(series: str, use: str) -> None:
    """Where a zone is left, or only tried, nobody reads a setting for work."""
    words = trial_sheet_words(example(), series)

    assert use in words
    assert ("For work: " in words) == use.startswith("For work")


def test_paper_prints_the_same_setting(pages: list[str], assessment: Assessment) -> None:
    """In the words that a reader of the PDF finds, box and conditions alike."""
    words = close_up("".join(pages)).lower()
    boxed = [assessment.zone(code).instruction for code in ZONES]

    assert any(boxed)
    for box in filter(None, boxed):
        for _, text in box.setting.lines:
            assert words.count(close_up(text).lower()) >= 2, text


def test_a_box_says_where_by_what_limit_and_whom_to_call() -> None:
    """Code, name, area, a picture of the place, criteria of acceptance, cautions, whom to call."""
    for one in boxed():
        box = one.instruction
        assert box is not None
        words = places(example(), one)["box of zone"]

        said = [box.zone, box.name, box.area, box.call_first, *box.accepted, *box.hold_points]
        said += [text for each in one.cautions for text in (each.hazard, each.words)]
        assert [text for text in said if text not in words] == [], one.zone
        values = sheet_values(example(), one)
        html = templates().get_template("site.html").render(s=values)
        assert f'<div class="place">{values["locator"]}</div>' in html, one.zone
        assert values["locator"].startswith("<svg"), one.zone
        assert box.accepted, one.zone
        assert ACCEPTED in words, one.zone


def test_nobody_to_call_is_said() -> None:
    """A blank stays no blank on the sheet."""
    survey = hc.demo_survey()
    [structure] = survey.all(Structure)
    survey.save(structure.changed(call_first=None), who="conservator")
    box = hc.assess(survey, zones=["N09"]).zone("N09").instruction

    assert box is not None
    assert box.call_first == NOBODY


# -- Contradictions ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("dialled", 60.0, "60 min a day was dialled, and panel N09-mist-1 came clean at 35 to 45"),
        ("passes", 2, "panels of one series differ in pulses or passes"),
        ("apart", 41.0, "no setting cleaned on every panel: their settings do not overlap"),
    ],
)
def test_records_that_contradict_give_no_setting_and_no_clean(
    tmp_path: pytest.TempPathFactory, field: str, value: object, said: str
) -> None:
    """The box says so, the zone is not clean, and the rest of the report is written."""
    survey = hc.demo_survey()
    panels = [one for one in survey.all(Panel) if one.series == "N09-mist"]
    changed = {
        "dialled": [
            one.changed(value=value)
            for one in survey.all(Setting)
            if (one.series, one.quantity) == ("N09-mist", "time_per_day")
        ],
        "passes": [one.changed(passes=place + 1) for place, one in enumerate(panels)],
        "apart": [panels[0].changed(cleaning_low=value), panels[1].changed(cleaning_high=40)],
    }[field]
    survey.save(*changed, who="conservator")
    assessment = hc.assess(survey, zones=["N09", "N10", "N13"])
    one = assessment.zone("N09")
    [setting] = one.settings.values()

    assert one.outcome == "trial first"
    assert said in one.sentence
    assert setting.why_none.startswith(CONTRADICT)
    assert assessment.zone("N13").outcome == "clean"
    box = one.instruction
    if box is not None and box.setting is setting:
        assert "40 min" not in places(assessment, one)["box of zone"]
    [written] = hc.write_report(assessment, tmp_path, formats=("html",))
    assert "N13" in written.read_text(encoding="utf-8")


def test_words_that_differ_from_the_fields_are_printed_on_no_box() -> None:
    """They decide nothing, so the zone stays clean; but nobody finds a second number to dial."""
    survey = hc.demo_survey()
    words = "Mist at 5 bar, warm, 90 min a day, soft brush"
    panels = [one.changed(setting=words) for one in survey.all(Panel) if one.series == "N09-mist"]
    survey.save(*panels, who="conservator")
    assessment = hc.assess(survey, zones=["N09"])
    one = assessment.zone("N09")
    said = places(assessment, one)

    assert one.outcome == "clean"
    for name, text in said.items():
        assert words not in text, name
        assert "pressure 3 bar" in text.lower(), name
        assert "say otherwise, so ask whoever laid them" in text, name
    assert "differ from what is recorded: 5 bar is written, 3 recorded" in trial_sheet_words(
        assessment, "N09-mist"
    )
    assert any("words differ from fields: N09-mist" in row for row in survey.check()["what"])


# -- What goes with it ---------------------------------------------------------------------------


def test_hold_points_fit_the_job() -> None:
    """A handful of guano has no start panel of 0.1 m² and no ten fields at ×50; a cornice has."""
    small, large = (str(example().zone(zone).instruction) for zone in ("N13", "N09"))

    assert "0.1 m²" in large
    assert "ten fields at ×50" in large
    assert not {"0.1 m²", "0.25 m²", "ten fields", "each shift"} & set(small.split("; "))
    assert "0.1 m²" not in small
    assert "ten fields" not in small
    assert "first tenth" in small
    walkway = str(example().zone("T14").instruction)
    assert "primer" not in walkway
    assert "0.25 m²" not in walkway


def test_what_is_never_swept_dry_is_not_dry_by_name() -> None:
    """Method, setting and cautions agree on droppings."""
    soiled = [one for one in boxed() if "guano" in one.evidence.zone.soilings]

    assert soiled
    for one in soiled:
        assert "Never sweep dry" in str(one.instruction), one.zone
        assert "dry brushing" not in one.sentence.lower(), one.zone
        assert "dry brushing" not in places(example(), one)["card"].lower(), one.zone
        assert one.instruction is not None
        assert "dry" not in one.instruction.method.lower(), one.zone
        settings = " ".join(text for _, text in one.instruction.setting.lines)
        assert "damp" in settings.lower(), one.zone


def test_a_trial_has_conditions_ready_to_copy() -> None:
    """Panels alone, by which method, at which setting, with a control, and until when."""
    for one in example().recommendations:
        if one.outcome != "trial first":
            continue
        said = "; ".join(one.conditions)
        if one.instruction is None:
            assert "no cleaning and no trial panel here" in said
            continue
        assert "trial panels only, by " in said or (
            one.instruction.then and "trial panels only, each method on its own panels" in said
        )
        assert "An untreated control is kept beside each panel" in said
        assert f"no work after {day_in_words(one.valid_until)} without a new inspection" in said
        assert "accepted by the criteria of the contractor's box" in said


@pytest.mark.parametrize(
    ("zone", "begins"),
    [("N06", "Lay new panels at a gentler setting"), ("E11", "No method has passed yet")],
)
def test_what_to_try_never_sounds_harsher_or_surer_than_the_records(zone: str, begins: str) -> None:
    """Above the window of the spots only gentler is left; where nothing passed, that is said."""
    assert sheet_values(example(), example().zone(zone))["trying"].startswith(begins)


@pytest.mark.parametrize("zone", ["T01", "T02", "T06", "T07"])
def test_blasting_and_lasers_on_lead_paint_carry_their_conditions(zone: str) -> None:
    """Containment, air, waste and hold points stand among the conditions, ready to copy."""
    one = example().zone(zone)
    assert one.evidence.lead == "yes"
    heads = {words.partition(":")[0] for words in one.conditions}

    assert {"Containment", "Air", "Waste", "Hold points"} <= heads


@pytest.mark.parametrize(
    ("zone", "said"),
    [
        ("N06", "10 fields on each, after 90 days"),
        ("N03", "4 panels, 25 fields on each, after 365 days and a winter"),
        ("N15", "after 90 days (Solvent gel, Alkaline cleaner: after 365 days and a winter)"),
        # T03 is urgent, and its coating cures no sooner for that.
        ("T03", "10 fields on each, after 28 days"),
    ],
)
def test_panels_of_each_method_named_age_as_long_as_it_requires(zone: str, said: str) -> None:
    """A method tried next is not read by the shorter wait of the first."""
    box = example().zone(zone).instruction
    assert box is not None

    assert box.accepted[-1].endswith(said)


def test_the_box_and_the_page_require_the_same_panels_and_fields() -> None:
    """Who reads the box alone lays no fewer panels, and reads no fewer fields, than are planned."""
    untried = [one for one in boxed() if one.effort]
    sheet = trial_sheet_words(example(), "N06-pulse")
    relaid = example().zone("N06").instruction
    assert len(untried) >= 3
    assert relaid is not None

    for one in untried:
        panels, fields = re.match(r"(\d+) panels with (\d+) fields", one.effort).groups()  # type: ignore[union-attr]
        assert one.instruction is not None
        assert (
            f"Read at least {panels} panels, {fields} fields on each, "
            in (one.instruction.accepted[-1])
        )
    # New panels of a series are laid as its sheet plans them.
    assert "4 panels with 10 fields at ×50 on each" in sheet
    assert relaid.accepted[-1].startswith("Read at least 4 panels, 10 fields on each, ")


def test_a_box_names_everything_that_is_forbidden() -> None:
    """However many methods are ruled out by a hard stop, none of them is left to be guessed."""
    one = example().zone("N03")
    assert one.instruction is not None
    names = tuple(f"Method {number}" for number in range(12))
    box = replace(one.instruction, forbidden=(*one.instruction.forbidden, *names))
    words = places(example(), replace(one, instruction=box))["box of zone_page"]

    assert "Wire brush or wire wheel" in words
    assert [name for name in names if name not in words] == []


def test_what_is_tried_next_on_droppings_is_not_dry_by_name() -> None:
    """Nor among the methods that nobody tried: brushing is a damp lift wherever guano lies."""
    assessment = example()
    one = assessment.zone("N13")
    option = next(each for each in options_for(one.evidence) if each.method == "hand_tools")
    box = instruction_for(
        "trial first", option, work_setting(option, None), one.evidence, assessment.policy,
        fields="", ruled_out={}, then=("dry_brush_vacuum",), cautions=one.cautions,
    )  # fmt: skip
    untried = sheet_values(
        assessment, replace(one, against_leaving={}, candidates=("dry_brush_vacuum",))
    )["untried"]

    assert box.then == ("Damping and lifting by hand",)
    assert untried == ["Damping and lifting by hand"]


def test_no_box_orders_more_than_twenty_five_words_at_a_time() -> None:
    """Rules of the site are sentences that can be read at the wall."""
    from heritagecheck.tables import rows

    for row in rows("site_rules"):
        assert len(row["words"].split()) <= 25, row["words"]


def test_methods_tried_next_bring_their_hold_points_stops_and_conditions() -> None:
    """A laser behind a gel on lead paint is still a laser: officer, containment and air stand."""
    gel, water = example().zone("E11"), example().zone("N03")
    assert gel.instruction is not None
    assert water.instruction is not None

    assert gel.method == "solvent_gel_stripper"
    assert "Nanosecond Q-switched laser 1064 nm" in gel.instruction.then
    assert any("laser safety officer" in words for words in gel.instruction.hold_points)
    assert any(words.startswith("Air: ") for words in gel.conditions)
    assert any(words.startswith("Containment: ") for words in gel.conditions)
    assert any("dark grains" in words for words in water.instruction.stop_rules)
    for one in (gel, water):
        assert one.instruction is not None
        named = next(words for words in one.conditions if words.startswith("trial panels only"))
        assert all(name.lower() in named.lower() for name in one.instruction.then)
