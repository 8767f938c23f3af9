"""Settings that older surveys wrote in words: read where that is certain, else kept and listed."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

import heritagecheck as hc
from heritagecheck.survey.places import example_folder
from heritagecheck.survey.records import Panel, Setting, Spot
from heritagecheck.survey.records.old_settings import as_now, read, scale_of
from heritagecheck.survey.records.quantities import Scale


def told(method: str, text: str) -> dict[str, str]:
    """What the words tell: quantity to what a page shows of it; `left` is what was not read."""
    seen, left = read(text, method)
    found = {
        one.quantity: Setting(series="S", zone="Z", **one._asdict()).told for one in seen
    }  # fmt: skip
    return found | ({"left": left} if left else {})


@pytest.mark.parametrize(
    ("written", "scale"),
    [
        ("bar", ("pressure", "bar")),
        (" Bar ", ("pressure", "bar")),
        ("psi", ("pressure", "psi")),
        ("J/cm² peak", ("peak_fluence", "J/cm²")),
        ("J/cm2 Peak", ("peak_fluence", "J/cm²")),
        ("peak J cm-2", ("peak_fluence", "J/cm²")),
        ("mJ/cm^2 mean", ("mean_fluence", "mJ/cm²")),
        ("mJ/mm² flat-top", ("peak_fluence", "mJ/mm²")),
        ("minutes a day", ("time_per_day", "min a day")),
        (" Min ", ("dwell", "min")),
        ("pulses", ("passes", "passes")),
        ("J/cm2", (None, "J/cm²")),
        ("J/cm² (peak or mean not known)", (None, "J/cm²")),
        ("J/cm², average power 3 W", (None, "J/cm²")),
        ("mm", (None, "mm")),
        ("°C", (None, "°C")),
        ("clicks", (None, None)),
    ],
)
def test_a_unit_is_read_where_one_quantity_has_it(
    written: str, scale: tuple[str | None, str | None]
) -> None:
    """Spelling makes no other unit; fluence needs its basis, a length what was measured."""
    assert scale_of(written)[0] == Scale(*scale)


def test_words_of_a_unit_that_were_not_read_stand_in_the_note() -> None:
    """Also the flat top, whose peak is its mean; a note that stands there stays before it."""
    clicks = as_now("spots", {"dose": 3, "dose_unit": "clicks"})
    flat = as_now("panels", {"setting_unit": "J/cm² flat top", "note": "sharp edge"})

    assert clicks == {
        "dose": 3, "dose_quantity": None, "dose_unit": None, "note": "unit as written: clicks",
    }  # fmt: skip
    assert flat["note"] == "sharp edge; unit as written: J/cm² flat top"
    assert as_now("panels", flat) == flat
    assert as_now("zones", {"setting_unit": "clicks"}) == {"setting_unit": "clicks"}


def test_a_number_that_its_quantity_cannot_have_leaves_the_quantity_open() -> None:
    """An older survey refused no 60,000 bar; it is kept, and asked about."""
    found = as_now("panels", {"setting_unit": "bar", "cleaning_low": 60000})

    assert (found["setting_quantity"], found["setting_unit"]) == (None, "bar")
    assert found["cleaning_low"] == 60000
    assert found["note"] == "unit as written: bar"


@pytest.mark.parametrize(
    ("method", "text", "found"),
    [
        ("laser_ns_1064",
         "1.5 J/cm² peak, 10 ns, 10 Hz, spot 4 mm, square on, energy measured at the wall",
         {"peak_fluence": "1.5 J/cm² peak", "pulse_duration": "10 ns", "repetition_rate": "10 Hz",
          "spot_diameter": "4 mm", "angle": "90°", "measured_at": "wall"}),
        ("laser_ns_1064", "1.5 J/cm2, 10 ns", {"pulse_duration": "10 ns", "left": "1.5 J/cm²"}),
        ("laser_ns_1064", "mean power 20 W, spot at 300 mm from the lens",
         {"distance": "300 mm", "left": "mean power 20 W"}),
        ("micro_abrasive_dry", "2,5 bar at the nozzle, calcite powder 50 µm, 60 ± 5°, Mohs 3",
         {"pressure": "2.5 bar", "pressure_read_at": "nozzle", "medium": "calcite",
          "grain_size": "50 µm", "angle": "55 to 65°", "hardness": "3 Mohs"}),
        ("micro_abrasive_dry", "nozzle of 8 mm, glass masked, 100 mm",
         {"left": "nozzle of 8 mm; glass masked; 100 mm"}),
        ("micro_abrasive_dry", "stand-off 100 mm, 40-50 um",
         {"distance": "100 mm", "grain_size": "40 to 50 µm"}),
        ("low_pressure_water", "9 bar, 30 bar at the nozzle",
         {"pressure_read_at": "nozzle", "left": "9 bar; 30 bar at the nozzle"}),
        ("low_pressure_water", "1,400 psi", {"left": "1,400 psi"}),
        ("low_pressure_water", "400 psi; fan 40°; cold",
         {"pressure": "400 psi", "fan_angle": "40°", "nozzle": "fan", "temperature": "unheated"}),
        ("low_pressure_water", "pressure not recorded, 9 bar?",
         {"left": "pressure not recorded; 9 bar?"}),
        ("acidic", "hydrofluoric acid 2 %, pH 3, 3 min at 18 °C, rinsed for 5 min to pH 7",
         {"acid": "hydrofluoric", "concentration": "2 %", "ph": "pH 3", "dwell": "3 min",
          "temperature": "18 °C", "left": "rinsed for 5 min to pH 7"}),
        ("acidic", "no hydrofluoric acid, not rinsed",
         {"rinse": "none", "left": "no hydrofluoric acid"}),
        ("hand_tools", "scalpel and wire brush", {"left": "scalpel and wire brush"}),
        ("hand_tools", "rotary wire brush", {"tool": "rotary wire brush"}),
        ("dry_grit_blast", "6 bar, steel grit of 50 HRC, 5 kg/min, to Sa 2½",
         {"pressure": "6 bar", "medium": "steel grit", "metal_hardness": "50 HRC",
          "medium_flow": "5 kg/min", "preparation_grade": "Sa 2 1/2"}),
        ("nebulised_water", "3 bar, 40 min a day", {"pressure": "3 bar",
                                                    "time_per_day": "40 min a day"}),
        ("low_pressure_water", "low pressure", {"left": "low pressure"}),
    ],
)  # fmt: skip
def test_words_are_read_where_they_can_mean_one_thing(
    method: str, text: str, found: dict[str, str]
) -> None:
    """What could mean two things, or is doubted or denied, is left as it was written."""
    assert told(method, text) == found


@pytest.fixture
def older(tmp_path: Path) -> Path:
    """Give the example as a package of the older form, its units in words."""
    folder = tmp_path / "older"
    shutil.copytree(example_folder(), folder)
    (folder / "settings.csv").unlink()
    (folder / "datapackage.json").unlink()
    for table, quantity, unit in (
        ("panels", "setting_quantity", "setting_unit"), ("spots", "dose_quantity", "dose_unit"),
    ):  # fmt: skip
        path = folder / f"{table}.csv"
        frame = hc.demo_survey().panels if table == "panels" else hc.demo_survey().spots
        bases = {"peak_fluence": " peak", "mean_fluence": " mean"}
        frame[unit] = [
            None if isinstance(one, float) or one is None else f"{one}{bases.get(what, '')}"
            for one, what in zip(frame[unit], frame[quantity], strict=True)
        ]
        frame.drop(columns=[quantity, *(["note"] if table == "spots" else [])]).to_csv(
            path, index=False
        )
    return folder


def test_a_package_of_the_older_form_is_imported_and_says_what_was_not_read(
    older: Path, tmp_path: Path
) -> None:
    """Units and sentences are read once; the sentences stay, and the list is kept."""
    survey = hc.import_survey(older, tmp_path / "new.db")
    said = str(survey.imported)
    example = hc.demo_survey()

    assert {one.scale for one in survey.all(Spot)} == {one.scale for one in example.all(Spot)}
    assert [one.scale for one in survey.all(Panel)] == [one.scale for one in example.all(Panel)]
    assert [one.setting for one in survey.all(Panel)] == [one.setting for one in example.all(Panel)]
    assert "settings were read from their wording, except these:" in said
    assert "  N06-powder: 100 mm" in said.splitlines()
    assert any(what == "words not read: N06-powder, 100 mm" for what in survey.check()["what"])
    survey.close()


def test_what_the_older_form_lacks_leaves_the_trial_not_known_and_never_cleans(
    older: Path, tmp_path: Path
) -> None:
    """The words of the mist name no acid, and none is made of that."""
    with hc.import_survey(older, tmp_path / "new.db") as survey:
        found = hc.assess(survey, zones=["N09"]).zone("N09")

    assert found.outcome == "trial first"
    assert "because it is not recorded: acid in the product" in found.gates[6].reason


def test_fields_that_the_survey_has_already_are_not_overwritten_by_words(
    older: Path, tmp_path: Path
) -> None:
    """Who imports the older package again keeps what was corrected since."""
    with hc.import_survey(older, tmp_path / "new.db") as survey:
        row = next(one for one in survey.all(Setting) if one.series == "N06-powder")
        survey.save(row.changed(value=2.4), who="conservator", reason="read again")
    with hc.import_survey(older, tmp_path / "new.db") as survey:
        again = next(one for one in survey.all(Setting) if one.series == "N06-powder")

    assert again.value == 2.4
