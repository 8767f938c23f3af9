"""What made an answer change is tried out: one thing at a time as it was, by today's rules."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from bare_survey import keep
from guidance_form import read_cases, rows_of_case

import heritagecheck as hc
from heritagecheck.judgement.change_causes import ChangedAnswer, Comparison
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.saved_assessment import SavedAssessment

CASES = Path(__file__).parent.parent / "guidance" / "guidance_cases.csv"


@pytest.fixture
def survey(tmp_path: Path) -> Iterator[DatabaseSurvey]:
    """Give case G03, which is cleaned, in a database."""
    [case] = [one for one in read_cases(CASES) if one["case_id"] == "G03"]
    rows = json.loads(json.dumps(rows_of_case(case), default=str))
    with DatabaseSurvey(keep(rows, tmp_path / "survey.db")) as found:
        yield found


def alter(survey: DatabaseSurvey, **values: object) -> None:
    """Save other values of the zone."""
    survey.save(survey.record("zones", "G03").changed(**values), who="conservator", reason="seen")


def remark(survey: DatabaseSurvey) -> None:
    """Save a note on an answer of the survey, which moves no outcome."""
    one = survey.records["observations"][0]
    survey.save(one.changed(note="in the rain"), who="conservator", reason="seen")


def compared(survey: DatabaseSurvey, before: SavedAssessment, now: Assessment) -> Comparison:
    """Both assessments with what the journal says between them."""
    changed = survey.changed_records(before.journal_head, now.survey.journal_head)
    return Comparison(now, before, changed)


def only(comparison: Comparison) -> ChangedAnswer:
    """The one answer that changed."""
    [found] = comparison.changes()
    return found


def by_older_release(saved: SavedAssessment, **values: object) -> SavedAssessment:
    """A saved assessment as a release wrote it that kept no values of the policy."""
    return saved.model_copy(update={"policy_values": None, **values})


def test_one_record_that_undoes_the_change_is_its_cause(survey: DatabaseSurvey) -> None:
    """Of two that changed, the one that gives the earlier answer again when taken back alone."""
    before = hc.assess(survey).saved()
    alter(survey, condition="friable")
    remark(survey)
    found = only(compared(survey, before, hc.assess(survey)))

    assert found.before == "clean, nebulised water"
    assert found.now == "leave and monitor, gate 4"
    [cause] = found.causes
    assert cause.startswith("zone G03, condition of the substrate: ")
    assert " became friable (conservator, " in cause
    assert found.shown == "Taken back alone, it gives the earlier answer again."
    assert len(found.candidates) == 2
    assert [one.answer for one in found.tried] == [
        "clean, nebulised water", "clean, nebulised water", "leave and monitor, gate 4",
    ]  # fmt: skip


def test_what_another_change_would_hold_back_is_said(survey: DatabaseSurvey) -> None:
    """The layer decides at gate 1; without it, what was seen of the stone would at gate 4."""
    before = hc.assess(survey).saved()
    alter(survey, condition="friable")
    [layer] = survey.records["layers"]
    survey.save(layer.changed(value="significant", value_reason="old"), reason="seen")
    now = hc.assess(survey)
    found = only(compared(survey, before, now))

    assert len(found.causes) == 1
    assert "significant" in found.causes[0]
    assert found.shown.startswith("It alone gives today’s answer. Taken back alone, it does not")


def test_a_policy_value_is_told_from_records(survey: DatabaseSurvey) -> None:
    """Records changed too; the answer follows the policy, by the very value."""
    before = hc.assess(survey)
    remark(survey)
    policy = replace(before.policy, fabric_cap=dict.fromkeys(before.policy.fabric_cap, 0.0),
                     alpha=0.2)  # fmt: skip
    found = only(compared(survey, before.saved(), hc.assess(survey, policy)))

    [cause] = found.causes
    assert cause.startswith("policy: cap on harm to fabric, high significance: ")
    assert found.shown == "Taken back alone, it gives the earlier answer again."


def test_rules_are_the_cause_where_all_else_as_it_was_gives_todays_answer(
    survey: DatabaseSurvey,
) -> None:
    """The table is named; a record that changed meanwhile is not blamed."""
    before = hc.assess(survey).saved()
    remark(survey)
    [zone] = before.zones
    before = before.model_copy(update={
        "tables": {**before.tables, "hard_stops.csv": "0" * 12},
        "zones": (zone.model_copy(update={"outcome": "leave", "gate": 2, "method": ""}),),
    })  # fmt: skip
    found = only(compared(survey, before, hc.assess(survey)))

    assert found.causes == ("table hard_stops",)
    assert found.shown.endswith("so the rules made it change.")
    assert str(found).startswith("G03: leave, gate 2 became clean, nebulised water. table hard_st")


def test_what_can_not_be_taken_apart_is_said(survey: DatabaseSurvey) -> None:
    """Neither answer comes of everything as it was: rules and more had a part in it."""
    before = hc.assess(survey).saved()
    alter(survey, condition="friable")
    [zone] = before.zones
    before = before.model_copy(update={
        "rules": "0" * 12,
        "zones": (zone.model_copy(update={"outcome": "leave", "gate": 2, "method": ""}),),
    })  # fmt: skip
    found = only(compared(survey, before, hc.assess(survey)))

    assert found.causes == ()
    assert "It can’t be taken apart." in found.shown
    assert len(found.candidates) == 2


def test_an_older_assessment_gets_its_policy_from_the_journal(survey: DatabaseSurvey) -> None:
    """Its checksum proves that it is the same; where it is not, that is said, and nothing more."""
    before = by_older_release(hc.assess(survey).saved())
    agreed = survey.records["policy"][0]
    caps = dict.fromkeys(("fabric_cap_high", "fabric_cap_medium", "fabric_cap_low"), 0.0)
    survey.save(agreed.changed(**caps), who="team", reason="agreed again")
    now = hc.assess(survey)

    assert only(compared(survey, before, now)).causes[0].startswith("policy: cap on harm to fabric")

    found = compared(survey, by_older_release(before, policy="0" * 12), now)

    assert found.policy is None
    assert found.not_known[0].startswith("The policy differs, and the earlier one is not known")
    assert only(found).causes == ()


def test_without_a_journal_nothing_is_guessed(survey: DatabaseSurvey) -> None:
    """Records changed, but no journal says which: that is all that is said."""
    before = hc.assess(survey).saved()
    alter(survey, condition="friable")
    found = Comparison(hc.assess(survey), before, None)

    assert found.not_known[0].startswith("No journal says which records changed")
    assert only(found).causes == ()
    assert "No journal says" in only(found).shown


def test_panels_of_another_zone_are_found_as_the_cause() -> None:
    """T02 rests on the panels of T01: two tests less there, and both answers are others."""
    survey, zones = hc.demo_survey(), ["T01", "T02"]
    names = [f"T01-grit-{panel}-adhesion_mpa-1" for panel in (1, 2)]
    tests = [survey.record("site_tests", name) for name in names]
    whole = hc.assess(survey, zones=zones).saved()
    survey.delete(*tests, reason="exercise")
    lacking = hc.assess(survey, zones=zones)
    lost = compared(survey, whole, lacking).changes()
    survey.save(*tests, reason="exercise")
    made = compared(survey, lacking.saved(), hc.assess(survey, zones=zones)).changes()

    assert [one.zone for one in lost] == [one.zone for one in made] == zones
    for one in lost:
        assert one.causes == (f"2 records of site tests: {', '.join(names)}",)
        assert one.shown == "Taken back together, they give the earlier answer again."
    for one in made:
        said = [f"site test {name} was recorded (" for name in names]
        assert [cause.startswith(head) for cause, head in zip(one.causes, said, strict=True)] == [
            True, True,
        ]  # fmt: skip
        assert one.shown.startswith("They made it change together: ")


def test_values_that_are_no_policy_are_told(survey: DatabaseSurvey, tmp_path: Path) -> None:
    """A saved file that somebody changed is refused in a sentence."""
    path = Path(hc.assess(survey).save(tmp_path / "signed"))
    kept = json.loads(path.read_text("utf-8"))
    kept["policy_values"]["alpha"] = 0.9
    path.write_text(json.dumps(kept), "utf-8")
    saved = hc.open_assessment(tmp_path / "signed")

    with pytest.raises(hc.SurveyError, match=r"this is not a policy:  alpha = 0\.9: it must be"):
        assert compared(survey, saved, hc.assess(survey)).policy
