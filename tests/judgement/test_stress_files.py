"""A laboratory's stress files from the table to gate 7: before, after, and the control twice."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import heritagecheck as hc
from heritagecheck.evidence.trials.below_x50 import FoundBelow, found_below
from heritagecheck.judgement.gates.panel_damage import BELOW
from heritagecheck.survey.instruments import read_stress_file
from heritagecheck.survey.places import build, example_folder, read_folder
from heritagecheck.survey.records import Attachment, Panel, SectionReading, SiteTest, Spot, Zone
from heritagecheck.survey.store.database_survey import DatabaseSurvey

SURVEY = read_folder(example_folder())
DEPTHS_UM = (5, 20, 50)
PSI_DEG = (-45, -33, -20, 0, 20, 33, 45)
UNTREATED = (-40.0, -20.0, -8.0)
DAYS = {"before": "2026-07-03", "after": "2026-08-24"}
NOISE = 8e-6  # of a spacing: 3 MPa of a stress


def sheet(folder: Path, name: str, stress_mpa: tuple[float, ...]) -> Path:
    """A file of tilts that Hooke's law gives for these stresses, with a little noise."""
    stream = np.random.default_rng([*name.encode()])
    lines = ["½S2; 5.8 1/TPa", "hkl; {211}", "direction; along", "depth [µm]; ψ [°]; d [nm]"]
    for depth, stress in zip(DEPTHS_UM, stress_mpa, strict=True):
        for psi in PSI_DEG:
            strain = 5.8e-6 * stress * np.sin(np.radians(psi)) ** 2 + stream.normal(0, NOISE)
            lines.append(f"{depth}; {psi}; {0.11702 * (1 + strain):.8f}")
    path = folder / f"{name}.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def read(
    folder: Path, name: str, moment: str, day: str, stress_mpa: tuple[float, ...]
) -> list[SectionReading]:
    """Records of a file, as a user makes them."""
    found = hc.section.readings_from(
        read_stress_file(sheet(folder, name, stress_mpa)), zone="T06", profile=name,
        panel=None if moment == "control" else "T06-pulse-1", moment=moment,
        method="X-ray diffraction, sin²ψ", measured_on=day, measured_by="laboratory",
        file="sections T06",
    )  # fmt: skip
    return list(found)


def profiles(
    folder: Path,
    after: tuple[float, ...],
    control: tuple[float, ...] = UNTREATED,
    before: tuple[float, ...] = UNTREATED,
) -> list[SectionReading]:
    """Stress before and after, and of a control on both days."""
    return [
        *read(folder, "B", "before", DAYS["before"], before),
        *read(folder, "A", "after", DAYS["after"], after),
        *read(folder, "C1", "control", DAYS["before"], UNTREATED),
        *read(folder, "C2", "control", DAYS["after"], control),
    ]


def judged(sections: list[SectionReading], limit_mpa: float | None = 80.0) -> FoundBelow:
    """What is found on the panel against the engineer's limit."""
    zone: Zone = SURVEY.record("zones", "T06")  # type: ignore[assignment]
    tests = [
        one.changed(value=limit_mpa) for one in SURVEY.of_zone("T06", SiteTest)
        if one.quantity == "stress_limit_mpa" and limit_mpa is not None
    ]  # fmt: skip
    panels = [one for one in SURVEY.of_zone("T06", Panel) if one.panel == "T06-pulse-1"]
    found = found_below(zone, panels, tests, SURVEY.of_zone("T06", Spot), sections)
    (stress,) = [one for one in found if one.row.measure == "stress_change"]
    return stress


def test_no_measurable_change_lies_within_and_says_what_could_have_been_measured(
    tmp_path: Path,
) -> None:
    """The same stress before and after: within 80 MPa, with the least change that would show."""
    found = judged(profiles(tmp_path, UNTREATED))

    assert found.holds is True
    assert "no measurable change" in found.words
    assert "MPa would have been found" in found.words
    assert found.files == ("sections T06",)


@pytest.mark.parametrize(
    "after",
    [(240.0, 70.0, -8.0), (-240.0, -20.0, -8.0), (-40.0, -20.0, 192.0)],
    ids=["tension", "relieved", "in the depth"],
)
def test_a_change_beyond_the_limit_is_damage_either_way_and_at_any_depth(
    tmp_path: Path, after: tuple[float, ...]
) -> None:
    """200 MPa or more, up or down, against a limit of 80 MPa."""
    found = judged(profiles(tmp_path, after))

    change = max(abs(now - then) for now, then in zip(after, UNTREATED, strict=True))
    assert found.holds is False
    assert found.value == pytest.approx(change / 80, abs=0.3)


def test_a_control_that_changed_as_much_leaves_it_not_known(tmp_path: Path) -> None:
    """60 MPa more on the panel and on the control too: the day, or the mounting; nobody knows."""
    after = tuple(one + 60 for one in UNTREATED)

    steady, unsteady = judged(profiles(tmp_path, after)), judged(profiles(tmp_path, after, after))

    # 60 MPa, give or take an error of some 4.
    assert steady.value == pytest.approx(60 / 80, abs=0.15)
    assert "no measurable change" in unsteady.words
    assert unsteady.holds is None
    assert steady.upper is not None
    assert unsteady.upper is not None
    assert unsteady.upper > 2 * steady.upper


def test_a_limit_finer_than_what_can_be_measured_is_not_met(tmp_path: Path) -> None:
    """No measurable change, but 5 MPa can't be told from nothing: not known, never within."""
    found = judged(profiles(tmp_path, UNTREATED), limit_mpa=5.0)

    assert found.holds is None
    assert "no measurable change" in found.words
    assert judged(profiles(tmp_path, UNTREATED), limit_mpa=None).holds is None


@pytest.mark.parametrize(
    ("after", "answer"),
    [(UNTREATED, True), ((240.0, 70.0, -8.0), False)],
    ids=["unchanged", "changed"],
)
def test_gate_7_takes_the_stress_of_a_file(
    tmp_path: Path, after: tuple[float, ...], answer: bool
) -> None:
    """The panel's own stress after treatment, in place of the example's."""
    rows = {table: [one.model_dump() for one in found] for table, found in SURVEY.records.items()}
    others = [row for row in rows["section_readings"] if "stress" not in row["quantity"]]
    rows["section_readings"] = others + [
        one.model_dump() for one in profiles(tmp_path, after)
    ]  # fmt: skip
    zone = hc.assess(build(rows), zones=["T06"]).zone("T06")

    # Of the altered layer and of the stress, of which only the latter is changed here.
    checks = next(one for one in zone.trials.values() if one.series == "T06-pulse").checks
    assert all(one.holds for one in checks if one.name == BELOW) is answer
    assert (zone.outcome == "clean") is answer


def test_from_the_file_to_the_record_and_back_out_of_the_survey(tmp_path: Path) -> None:
    """Attached, read, saved, undone, done again, exported and taken in: same file, same records."""
    path = sheet(tmp_path, "tilts", (-33.0, -20.0, -8.0))
    with hc.import_survey(example_folder(), tmp_path / "survey.db") as survey:
        kept = survey.attach(
            path, kind="document", file="laboratory/tilts.csv", zone="T06", who="office"
        )
        readings = hc.section.readings_from(
            survey.stress_file(kept.file), zone="T06", profile="again", moment="control",
            method="X-ray diffraction", measured_on="2026-08-24", measured_by="laboratory",
            file=kept.attachment,
        )  # fmt: skip
        survey.save(*readings, who="office", reason="laboratory's stress file")
        survey.undo(who="office", reason="looked at again")
        gone = [one for one in survey.all(SectionReading) if one.profile == "again"]
        survey.redo(who="office", reason="it is right")
        survey.export(tmp_path / "out.zip")

    assert gone == []
    with hc.import_survey(tmp_path / "out.zip", tmp_path / "again.db") as again:
        assert isinstance(again, DatabaseSurvey)
        assert [one for one in again.all(SectionReading) if one.profile == "again"] == [*readings]
        (found,) = [one for one in again.all(Attachment) if one.attachment == kept.attachment]
        assert again.stress_file(found.file).sha256 == found.sha256 == kept.sha256
