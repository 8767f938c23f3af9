"""Each hazard of each method reaches card, page, trial sheet and the contractor's box."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

import heritagecheck as hc
from heritagecheck.documents.contents import plain_text
from heritagecheck.documents.page_templates import templates
from heritagecheck.documents.trial_sheet import on_page, trial_values
from heritagecheck.documents.zone_sheet import sheet_values
from heritagecheck.judgement.gates.gate import TRIAL
from heritagecheck.judgement.handover.cautions import cautions_of
from heritagecheck.judgement.handover.instruction import instruction_for
from heritagecheck.judgement.handover.work_setting import work_setting
from heritagecheck.judgement.options import options_for
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.survey.records import TABLES, Panel, Setting
from heritagecheck.survey.survey import Survey
from heritagecheck.tables import check_hazards, codes, keyed, rows
from heritagecheck.tables.cautions import WITH_CAUTIONS, usual_cautions

METHODS = codes("methods")
LASERS = ("laser_ultrashort", "laser_ns_355_dual", "laser_ns_1064")
BLASTS = ("micro_abrasive_dry", "wet_abrasive_lowp", "sponge_media", "dry_grit_blast")
WET = ("low_pressure_water", "nebulised_water", "superheated_steam", "wet_abrasive_lowp",
       "alkaline", "acidic", "uhp_water", "fluoride_acid")  # fmt: skip
# What whoever works so must have read, by the trade; the table of methods is not asked.
ASKED = {
    "legionella": ("nebulised_water",),
    "Steam and hot water scald": ("superheated_steam",),
    "Let pressure off before uncoupling": (
        "low_pressure_water",
        "superheated_steam",
        "uhp_water",
        "dry_ice",
        *BLASTS,
    ),
    "residual-current devices": WET,
    "boots that grip": WET,
    "fire watch for an hour after work": ("power_tools_shrouded", "induction", "flame", *LASERS),
    "hot-work permit": ("power_tools_shrouded", "induction", "flame", *LASERS),
    "silica-free abrasive": BLASTS,
    "Spent media carry what came off": BLASTS,
    "calcium gluconate": ("fluoride_acid",),
    "never alone": ("fluoride_acid",),
    "eyewear rated for the wavelength and pulses": LASERS,
    "even off wet or metal surfaces": LASERS,
    "hearing protection": ("power_tools_shrouded", "uhp_water", "dry_ice", *BLASTS),
    "classify waste before work": METHODS,
    "keep the public away": METHODS,
    "asbestos": METHODS,
    "Bats, roosts and birds' nests": METHODS,
    "Block gullies": (*WET, "poultice_chelating", "desalination_poultice", "biocide"),
    "licensed or certified people come first": METHODS,
}
# A granite flank under crust, and riveted steel under lead paint: a zone of each with panels.
TRIED = {"N06": "N06-powder", "T06": "T06-pulse"}
LEADED = {
    "as far above the limit until it is measured": (
        "dry_brush_vacuum",
        "hand_tools",
        "dry_ice",
        "power_tools_shrouded",
        *BLASTS,
    ),
    "turn paint and lead into fume": ("induction", "flame", *LASERS),
    "Water and sludge carry lead away": (
        "low_pressure_water",
        "nebulised_water",
        "superheated_steam",
        "uhp_water",
        "wet_abrasive_lowp",
        "solvent_gel_stripper",
        "alkaline",
    ),
    "Lead is present": METHODS,
}
SURVEY = hc.demo_survey()


@cache
def judged() -> Assessment:
    """Zones on which panels were laid, judged."""
    return hc.assess(SURVEY, zones=list(TRIED))


def named_there(zone: str, method: str) -> Recommendation:
    """Say of a zone that a method is to be tried there, whatever rules it out."""
    found = judged().zone(zone)
    option = next(one for one in options_for(found.evidence) if one.method == method)
    cautions = tuple(cautions_of(TRIAL, found.evidence, option, []))
    box = instruction_for(
        TRIAL, option, work_setting(option, None), found.evidence, judged().policy,
        fields="", ruled_out={}, then=(), cautions=cautions,
    )  # fmt: skip
    return replace(found, outcome=TRIAL, method=method, usual_cautions=cautions, instruction=box)


def tried_there(zone: str, method: str) -> Assessment:
    """Give the same zones with their panels laid by another method, and no spots on them."""
    rows = {name: SURVEY.all(kind) for name, kind in TABLES.items()}
    rows["panels"] = tuple(
        one.model_copy(update={"method": method}) if one.series == TRIED[zone] else one
        for one in SURVEY.all(Panel)
    )
    return replace(judged(), survey=Survey(rows | {"spots": (), "settings": ()}))


def shown(name: str, html: str) -> str:
    """Words of one place of a page."""
    found = {
        "card": html.partition('<section class="site">')[0],
        "box": html.partition('<section class="site">')[2].partition("</section>")[0],
    }[name]
    return plain_text(found)


def asked_of(zone: str, method: str) -> list[str]:
    """Words that must be read wherever a method is named on a zone."""
    asked = ASKED | (LEADED if zone == "T06" else {})
    return [words for words, methods in asked.items() if method in methods]


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("zone", TRIED)
def test_hazards_reach_card_page_and_box(zone: str, method: str) -> None:
    """Whatever is named on stone or on leaded steel, each hazard stands there with its control."""
    asked, one = asked_of(zone, method), named_there(zone, method)
    values = sheet_values(judged(), one)
    said = {"printed": str(one.instruction), "shown": repr(one.instruction)}
    for name in ("zone", "zone_page"):
        html = templates().get_template(f"{name}.html").render(s=values, annexe="records.pdf")
        for place in ("card", "box"):
            said[f"{place} of {name}"] = shown(place, html)

    assert len(asked) >= 5
    missing = {place: [one for one in asked if one not in words] for place, words in said.items()}
    assert not any(missing.values()), missing


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("zone", TRIED)
def test_hazards_reach_the_trial_sheet(zone: str, method: str) -> None:
    """Panels laid by it have a sheet, and the printed series has the same cautions."""
    values = on_page(trial_values(tried_there(zone, method), TRIED[zone]))
    html = templates().get_template("trial.html").render(t=values)
    asked = asked_of(zone, method)

    for said in (plain_text(html), str(values["trial"]), repr(values["trial"])):
        assert [words for words in asked if words not in said] == []


@pytest.mark.parametrize("method", METHODS)
def test_every_hazard_of_a_method_is_answered_by_a_caution(method: str) -> None:
    """None of its tokens is left to a reader's guess; where the zone has it, it is told."""
    row = keyed("methods", "method")[method]
    for hazard in row["hazards"].split(";"):
        answers = [
            one for one in rows("cautions")
            if one["methods"].startswith("hazards=")
            and hazard in one["methods"].removeprefix("hazards=").split("|")
        ]  # fmt: skip
        assert answers, hazard
        for answer in answers:
            facts = {
                name: frozenset(words.split("|"))
                for name, _, words in (term.partition("=") for term in answer["when"].split(";"))
                if name
            }
            told = {one.words for one in usual_cautions(facts, (method,))}
            assert answer["words"] in told


def test_a_hazard_without_a_caution_is_refused() -> None:
    """The loader names each, as a spreadsheet counts rows; a method must name some hazard."""
    methods = tuple(dict(row) for row in rows("methods"))
    methods[1]["hazards"] += ";quicksand"
    methods[4]["hazards"] = ""

    with pytest.raises(
        ValueError,
        match=r"names hazards without a caution: row 3, low_pressure_water: quicksand; "
        r"row 6, desalination_poultice: no hazard\. Each hazard belongs in",
    ):
        check_hazards(methods, rows("cautions"))


def test_a_caution_that_is_taken_away_is_missed() -> None:
    """Without the row against legionella the table of methods is not loaded."""
    left = tuple(row for row in rows("cautions") if row["hazard"] != "Legionella")

    with pytest.raises(ValueError, match="row 4, nebulised_water: legionella"):
        check_hazards(rows("methods"), left)


def test_every_caution_of_a_hazard_names_one_that_a_method_has() -> None:
    """A slip of the pen would leave a caution that nobody ever reads."""
    known = {hazard for row in rows("methods") for hazard in row["hazards"].split(";")}
    named = {
        hazard for row in rows("cautions") if row["methods"].startswith("hazards=")
        for hazard in row["methods"].removeprefix("hazards=").split("|")
    }  # fmt: skip

    assert named == known


def test_dry_work_that_makes_dust_is_told_of_silica() -> None:
    """What the table calls dusty frees silica where the stone holds it."""
    for row in rows("methods"):
        assert (row["dust_or_fume"] == "yes") == ("respirable_silica" in row["hazards"].split(";"))
        assert row["wet"] == "no" or {"slip", "electrical"} < set(row["hazards"].split(";"))


def test_every_method_that_a_box_names_has_its_cautions_there() -> None:
    """The one named, its steps, and those to be tried after it where it leaves too much."""
    boxes = [one for one in hc.assess(SURVEY).recommendations if one.instruction is not None]

    assert len(boxes) > 10
    for one in boxes:
        named = {one.method, *(one.candidates if one.instruction.then else ())}
        told = {caution.words for caution in one.instruction.cautions}
        for caution in usual_cautions(one.evidence.facts, sorted(named)):
            assert caution.words in told, (one.zone, caution.hazard)


@pytest.mark.parametrize(
    ("series", "hazard"), [("N06-pulse", "class 4 beam"), ("N09-mist", "legionella")]
)
def test_nothing_that_holds_a_setting_is_shown_without_its_cautions(
    series: str, hazard: str
) -> None:
    """Not the series, its panels, its window and plan, nor what they look like as an object."""
    trial = hc.trials.read_series(SURVEY, series)
    assessment = hc.assess(SURVEY, zones=[series[:3]])
    plan, settings = trial_values(assessment, series)["next"], assessment.zone(series[:3]).settings
    drawn = hc.figures.draw_trial(trial.spots).svg
    bare = [trial.panels, trial.spots, *settings.values(), *([plan] if plan else [])]

    for one in (trial, trial.window, trial.elsewhere, trial.strict):
        assert hazard in str(one)
        assert hazard in repr(one)
    # The sentence of a zone may say where its panels were laid and where the window ends.
    assert str(assessment.zone(series[:3])).endswith(f". {WITH_CAUTIONS}")
    assert WITH_CAUTIONS in str(trial.spots)
    assert "No setting is used without the cautions" in drawn
    assert [type(one) for one in bare if WITH_CAUTIONS not in repr(one)] == []


def test_a_gentle_name_does_not_hide_hydrofluoric_acid() -> None:
    """Panels called acidic cleaning with hydrofluoric acid carry its caution."""
    told = [
        one for one in SURVEY.all(Setting) if one.series == "N09-mist" and one.quantity == "acid"
    ]
    changed = told[0].model_copy(update={"words": "hydrofluoric"})
    tables = {name: SURVEY.all(kind) for name, kind in TABLES.items()}
    tables["settings"] = tuple(changed if one is told[0] else one for one in SURVEY.all(Setting))

    found = hc.trials.read_series(Survey(tables), "N09-mist").cautions

    assert any("calcium gluconate" in one.words for one in found)
    assert not any(
        "calcium gluconate" in one.words
        for one in hc.trials.read_series(SURVEY, "N09-mist").cautions
    )


def test_diseases_of_droppings_are_named() -> None:
    """On a sill under guano both are named, and that nobody sweeps it dry."""
    (found,) = hc.assess(SURVEY, zones=["N13"]).recommendations
    said = str(found.instruction)

    assert "histoplasmosis, cryptococcosis" in said
    assert "Never sweep dry" in said


def test_cautions_are_short_and_ask_nothing() -> None:
    """A sentence has at most 25 words, so that a sheet of many can be read; none is a question."""
    for row in (*rows("cautions"), *rows("outcome_cautions")):
        assert "?" not in row["words"], row["words"]
        for sentence in row["words"].split(". "):
            assert len(sentence.split()) <= 25, sentence
