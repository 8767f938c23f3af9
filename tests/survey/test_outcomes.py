"""An assessment is kept with what gave it, and says later what changed and why."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from guidance_form import read_cases, rows_of_case

import heritagecheck as hc
from heritagecheck import tables
from heritagecheck.judgement.evidence_snapshot import evidence_snapshot, same_policy
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.survey.places import build
from heritagecheck.survey.records import Zone

CASES = Path(__file__).parent.parent / "guidance" / "guidance_cases.csv"


def assessed(**altered: str) -> Assessment:
    """Case G03, which is cleaned, with some columns of its zone altered."""
    [case] = [one for one in read_cases(CASES) if one["case_id"] == "G03"]
    raw = rows_of_case(case)
    raw["zones"][0] |= altered
    return hc.assess(build(raw))


def test_what_is_saved_is_opened_again_whole(tmp_path: Path) -> None:
    """Version, rules, tables, head of the journal, seed and every zone come back."""
    found = assessed()
    path = found.save(tmp_path / "signed")
    saved = hc.open_assessment(tmp_path / "signed")

    assert path.name == "assessment.json"
    assert saved.version == hc.__version__
    assert saved.tables == tables.checksums()
    assert saved.journal_head == found.survey.journal_head
    assert [(one.zone, one.outcome) for one in saved.zones] == [("G03", "clean")]
    assert assessed().changes_since(saved).empty


def test_what_may_have_been_signed_is_not_overwritten(tmp_path: Path) -> None:
    """A second assessment goes into another folder."""
    assessed().save(tmp_path)
    before = (tmp_path / "assessment.json").read_bytes()

    with pytest.raises(FileExistsError, match=r"holds an assessment already\. Choose another"):
        assessed(condition="friable").save(tmp_path)
    assert (tmp_path / "assessment.json").read_bytes() == before


def test_changed_records_are_named(tmp_path: Path) -> None:
    """The stone was found friable since: the records changed, the rules did not."""
    assessed().save(tmp_path)

    [row] = (
        assessed(condition="friable").changes_since(hc.open_assessment(tmp_path)).values.tolist()
    )

    assert row == ["G03", "clean, nebulised water", "leave and monitor, gate 4",
                   "records changed since"]  # fmt: skip
    assert assessed(note="seen again").changes_since(hc.open_assessment(tmp_path)).empty


def test_an_outcome_that_todays_rules_change_is_listed(tmp_path: Path) -> None:
    """The same records, once cleaned, are left by other tables: rules changed since."""
    assessed().save(tmp_path)
    path = tmp_path / "assessment.json"
    kept = json.loads(path.read_text("utf-8"))
    kept["tables"]["hard_stops.csv"] = "0" * 12
    kept["zones"][0] |= {"outcome": "leave", "gate": 2, "method": ""}
    path.write_text(json.dumps(kept), "utf-8")

    [row] = assessed().changes_since(hc.open_assessment(tmp_path)).values.tolist()

    assert row == ["G03", "leave, gate 2", "clean, nebulised water", "rules changed since"]


def test_a_change_by_shared_records_is_not_left_without_a_reason() -> None:
    """Neither its records, rules nor policy differ: it rests on what several zones share."""
    now = assessed()
    saved = now.saved()
    [zone] = saved.zones
    other = zone.model_copy(update={"outcome": "leave", "gate": 2, "method": ""})
    [row] = now.changes_since(saved.model_copy(update={"zones": (other,)})).values.tolist()

    assert row[-1] == "records that several zones share changed since"


def test_a_policy_is_known_again_by_its_values() -> None:
    """The same values, however they were given, are the same policy; older files keep none."""
    [case] = [one for one in read_cases(CASES) if one["case_id"] == "G03"]
    survey = build(rows_of_case(case))
    now = hc.assess(survey).saved()
    again = hc.Policy(**(now.policy_values or {}))

    assert again == hc.assess(survey).policy
    assert now.model_copy(update={"policy_values": None}).policy == now.policy
    assert same_policy(now, now.model_copy(update={"policy": "0" * 12}))
    assert not same_policy(now, now.model_copy(update={"policy": "0" * 12, "policy_values": None}))


def signed_otherwise(folder: Path) -> None:
    """Make the one answer of a saved assessment one that other rules gave."""
    path = folder / "assessment.json"
    kept = json.loads(path.read_text("utf-8")) | {"rules": "0" * 12}
    kept["zones"][0] |= {"outcome": "leave", "gate": 2, "method": ""}
    path.write_text(json.dumps(kept), "utf-8")


def test_saved_assessments_beside_the_survey_are_found_and_held_against_it(tmp_path: Path) -> None:
    """In its folder or one within; what is as it was, or of other zones, is not listed."""
    [case] = [one for one in read_cases(CASES) if one["case_id"] == "G03"]
    found = hc.assess(build(rows_of_case(case), folder=tmp_path))
    assert found.changes_since_saved() == {}
    for name in ("as it was", "signed 2025", "elsewhere"):
        found.save(tmp_path / name)
    signed_otherwise(tmp_path / "signed 2025")
    other = tmp_path / "elsewhere" / "assessment.json"
    other.write_text(other.read_text("utf-8").replace('"zone": "G03"', '"zone": "Z9"'), "utf-8")

    [(name, changed)] = found.changes_since_saved().items()

    assert name == "signed 2025/assessment.json"
    assert changed.values.tolist() == [
        ["G03", "leave, gate 2", "clean, nebulised water", "rules changed since"]
    ]


def test_a_saved_assessment_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    """Passed over, it would look as if nothing had changed."""
    [case] = [one for one in read_cases(CASES) if one["case_id"] == "G03"]
    found = hc.assess(build(rows_of_case(case), folder=tmp_path))
    (tmp_path / "assessment.json").write_text("{}", "utf-8")

    with pytest.raises(hc.SurveyError, match="this is not an assessment saved by heritagecheck"):
        found.changes_since_saved()


def test_panels_of_another_zone_that_speak_here_are_among_the_records() -> None:
    """N10 rests on N09's panels; E15 on its own alone."""
    survey = hc.demo_survey()
    behind = {
        zone.zone: evidence_snapshot(survey, zone).by_kind
        for zone in survey.all(Zone) if zone.zone in {"N10", "E15"}
    }  # fmt: skip

    assert "panels of N09 6 " in behind["N10"]
    assert " of " not in behind["E15"]


def test_zones_that_one_of_two_does_not_hold_are_listed() -> None:
    """An assessment of some zones is no word about the others."""
    survey = hc.demo_survey()
    some, others = (hc.assess(survey, zones=zones) for zones in (["N01", "N04"], ["N04", "N05"]))

    assert others.changes_since(some).values.tolist() == [
        ["N01", "leave, gate 2", "", "assessed only before"],
        ["N05", "", "leave, gate 2", "assessed only now"],
    ]


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        (None, "there is no saved assessment in this folder"),
        ("{", "this is not an assessment saved by heritagecheck"),
        (
            '{"version": "1"}',
            "not an assessment saved by heritagecheck: rules Field required",
        ),
    ],
)
def test_what_is_no_assessment_is_refused(tmp_path: Path, text: str | None, fault: str) -> None:
    """A missing or foreign file is told, not guessed at."""
    if text is not None:
        (tmp_path / "assessment.json").write_text(text, "utf-8")

    with pytest.raises(hc.SurveyError, match=fault):
        hc.open_assessment(tmp_path)
