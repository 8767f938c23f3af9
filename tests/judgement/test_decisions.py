"""Decisions of the team: the evidence they rest on, what no override lifts, what changed since."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import heritagecheck as hc
from heritagecheck.errors import SurveyError
from heritagecheck.judgement.decisions import (
    changes_of_evidence,
    decision_state,
    last_decision,
    signature_of,
    why_not_decided,
)
from heritagecheck.judgement.evidence_snapshot import evidence_hash, evidence_snapshot
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.survey.records import Decision, Meeting, Opinion, Reading, Signature, Zone
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.survey import Survey

ZONES = ["N09", "N10", "N11", "N13", "E09", "E15", "T03"]


@pytest.fixture(scope="module")
def example() -> Assessment:
    """Judge a few zones of the example, three of which its meeting decided."""
    return hc.assess(hc.demo_survey(), zones=ZONES)


def zone_of(survey: Survey, code: str) -> Zone:
    """Give one zone."""
    return next(zone for zone in survey.all(Zone) if zone.zone == code)


def decided(example: Assessment, zone: str, outcome: str, **more: Any) -> Decision:
    """Give a decision about a zone on the evidence of the example."""
    snapshot = evidence_snapshot(example.survey, zone_of(example.survey, zone))
    given = {
        "meeting": "M1", "zone": zone, "outcome": outcome, "reasons": "As discussed",
        "recommended": example.zone(zone).outcome, "evidence": snapshot.evidence,
        "snapshot": snapshot.by_kind,
    }  # fmt: skip
    return Decision.model_validate(given | more)


def test_the_snapshot_has_the_hash_that_the_page_prints(example: Assessment) -> None:
    """One hash over the evidence of a zone, wherever it is shown."""
    for one in example.recommendations:
        zone = one.evidence.zone

        assert evidence_snapshot(example.survey, zone).evidence == evidence_hash(
            example.survey, zone
        )


def test_what_the_meeting_said_is_no_evidence(example: Assessment) -> None:
    """Decisions, opinions and signatures change neither the hash nor the day of the survey."""
    survey = example.survey
    silent = {"meetings", "opinions", "decisions", "open_questions", "signatures"}
    before = Survey({**survey.records, **dict.fromkeys(silent, ())}, survey.folder)

    for zone in ZONES:
        assert evidence_snapshot(before, zone_of(before, zone)) == evidence_snapshot(
            survey, zone_of(survey, zone)
        )
    opened = {
        **survey.records,
        "structure": (survey.records["structure"][0].changed(survey_date=None),),
    }
    assert Survey(opened).day == Survey({**opened, **dict.fromkeys(silent, ())}).day


def test_the_decisions_of_the_example_hold(example: Assessment) -> None:
    """Each is on the evidence as it is, signed by two, and allowed beside the recommendation."""
    for zone in ("N10", "E15", "T03"):
        state = decision_state(example.survey, example.zone(zone))
        assert state is not None

        assert state.changed == ()
        assert state.void == ()
        assert len(state.signatures) == 2
        assert why_not_decided(example.zone(zone), state.decision) == ()
    assert decision_state(example.survey, example.zone("N09")) is None


def test_an_override_is_named_as_one(example: Assessment) -> None:
    """T03 is left although a trial was recommended; the sentence says so."""
    state = decision_state(example.survey, example.zone("T03"))
    assert state is not None

    assert state.in_words == "T03: leave and monitor, overriding the recommendation (trial first)"
    assert [one.words for one in state.questions] == [
        "Thickness of the bottom ring at each rivet row"
    ]


def test_dissent_and_veto_are_kept_word_for_word(example: Assessment) -> None:
    """E15: the owner's own words, and the veto of the heritage authority."""
    state = decision_state(example.survey, example.zone("E15"))
    assert state is not None

    assert [(one.member, one.dissent) for one in state.dissents] == [
        ("owner",
         "I do not object to waiting, but the date must be readable within five years.")
    ]  # fmt: skip
    assert [(one.member, one.veto) for one in state.vetoes] == [("heritage authority", "clean")]


@pytest.mark.parametrize(
    ("zone", "outcome", "method", "says"),
    [
        ("N11", "trial first", "dry_grit_blast", "No override lifts it"),
        ("N11", "treat by override", "dry_grit_blast", "No override lifts it"),
        ("N11", "trial first", None, "name the method"),
        ("E09", "treat by override", "solvent_gel_stripper", "gate 5 is not known"),
        ("T03", "treat by override", "nebulised_water", "No override lifts it"),
    ],
)
def test_no_override_lifts_a_hard_stop(
    example: Assessment, zone: str, outcome: str, method: str | None, says: str
) -> None:
    """Ruled-out methods, unnamed methods and unknown lead are refused, each in a sentence."""
    decision = decided(
        example, zone, outcome, override_reason="We want it", method=method
    )  # fmt: skip
    refused = why_not_decided(example.zone(zone), decision)

    assert refused
    assert any(says in one for one in refused)


def test_clean_covers_only_the_method_that_was_shown(example: Assessment) -> None:
    """N09 is clean by mist; the same word with another method is refused."""
    assert why_not_decided(
        example.zone("N09"), decided(example, "N09", "clean", method="nebulised_water")
    ) == ()  # fmt: skip
    refused = why_not_decided(
        example.zone("N09"), decided(example, "N09", "clean", method="laser_ns_1064")
    )

    assert "Nebulised water only" in refused[0]


def test_a_decision_on_droppings_names_no_dry_brush(example: Assessment) -> None:
    """Guano is never swept dry (GSA, removing bird excrement), so no page says so of N13."""
    refused = why_not_decided(
        example.zone("N13"), decided(example, "N13", "clean", method="laser_ns_1064")
    )

    assert "with Damping and lifting by hand only" in refused[0]


def test_a_decision_on_another_answer_is_refused(example: Assessment) -> None:
    """Where the recommendation moved while people talked, they look at it again first."""
    late = decided(example, "N09", "leave", recommended="leave")

    assert "the recommendation is clean now" in why_not_decided(example.zone("N09"), late)[0]


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[DatabaseSurvey]:
    """Keep the example in a database, to be changed."""
    with hc.import_survey("data/quillmere", tmp_path / "survey.db") as survey:
        assert isinstance(survey, DatabaseSurvey)
        yield survey


def test_what_changed_after_signing_is_named(kept: DatabaseSurvey, example: Assessment) -> None:
    """A reading corrected, one taken away, the zone's own record: each kind is said."""
    decision = last_decision(kept, "E15")
    assert decision is not None
    assert changes_of_evidence(decision, kept) == ()
    first, second, *_ = kept.of_zone("E15", Reading)
    zone = zone_of(kept, "E15")
    kept.save(first.changed(note="read again"), zone.changed(note="seen wet"), reason="corrected")
    kept.delete(second, reason="read on the wrong zone")

    assert changes_of_evidence(decision, kept) == (
        "readings: 30 records then, 29 now", "zones: changed among 1 record",
    )  # fmt: skip
    state = decision_state(kept, example.zone("E15"))
    assert state is not None
    assert state.in_words.endswith("Evidence changed since signing")


def test_a_signature_is_over_the_words_of_the_decision(
    kept: DatabaseSurvey, example: Assessment
) -> None:
    """Words changed after signing leave the signatures outdated; a new one counts."""
    decision = last_decision(kept, "E15")
    assert decision is not None
    new = decision.changed(conditions="Wash the step below")
    kept.save(new, who="facilitator", reason="condition forgotten")
    state = decision_state(kept, example.zone("E15"))
    assert state is not None

    assert (len(state.signatures), len(state.outdated)) == (0, 2)
    kept.save(signature_of(new, signer="owner", signed_at="2026-10-07T16:00:00+00:00"), who="owner")
    state = decision_state(kept, example.zone("E15"))
    assert state is not None
    assert [one.signer for one in state.signatures] == ["owner"]


def test_a_veto_stays_a_veto(kept: DatabaseSurvey, example: Assessment) -> None:
    """What a member vetoed can't be decided until that member takes it back after talk."""
    held = next(one for one in kept.of_zone("E15", Opinion) if one.veto)
    before = held.changed(veto="leave", outcome="clean")

    with pytest.raises(SurveyError, match="heritage authority holds a veto against leave in E15"):
        kept.save(before, who="heritage authority", reason="changed")
    kept.save(
        before,
        held.changed(given="after talk", outcome="leave", veto=None, why="Convinced"),
        who="heritage authority", reason="taken back",
    )  # fmt: skip
    state = decision_state(kept, example.zone("E15"))
    assert state is not None
    assert state.vetoes == ()


def test_nobody_signs_or_speaks_who_was_not_there(kept: DatabaseSurvey) -> None:
    """A role that is not among the members is refused; so is a signature under nothing."""
    decision = last_decision(kept, "E15")
    assert decision is not None
    signed = signature_of(decision, signer="mayor", signed_at="2026-10-07T16:00:00+00:00")

    with pytest.raises(SurveyError, match="is not a member of meeting M1"):
        kept.save(signed, who="mayor")
    with pytest.raises(SurveyError, match="decided nothing for N01 to sign"):
        kept.save(signed.changed(zone="N01", signer="owner"), who="owner")
    with pytest.raises(SurveyError, match="is not a member of meeting M1"):
        kept.save(
            Opinion(meeting="M1", zone="N01", member="mayor", given="after talk", outcome="leave")
        )
    meeting = kept.all(Meeting)[0]
    with pytest.raises(SurveyError, match="is not a member of meeting M1"):
        kept.save(meeting.changed(members="engineer; conservator"), reason="struck out")
    assert len(kept.all(Signature)) == 6
