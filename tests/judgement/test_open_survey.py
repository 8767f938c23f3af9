"""A survey that is not closed yet: nothing in it is final, and no clock decides."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from bare_survey import bare_rows
from guidance_form import DAY

import heritagecheck as hc
from heritagecheck.judgement.evidence_snapshot import evidence_hash
from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.survey.places import build
from heritagecheck.survey.records import Zone
from heritagecheck.survey.survey import Survey

Judged = Callable[..., Recommendation]
Rows = dict[str, list[dict[str, Any]]]


def opened(raw: Rows) -> Rows:
    """The same rows, before anybody closed the survey."""
    return {**raw, "structure": [{**raw["structure"][0], "survey_date": None}]}


def test_no_cleaning_is_recommended_while_the_survey_is_open(
    judged: Judged, rows: Callable[..., Any]
) -> None:
    """What would be cleaned waits at gate 8, with no method, and says what to do."""
    raw = rows("G03")
    assert judged(raw).outcome == "clean"

    found = judged(opened(raw))

    assert (found.outcome, found.method, found.instruction) == ("leave and monitor", None, None)
    assert found.deciding_gate is not None
    assert found.deciding_gate.number == 8
    assert found.deciding_gate.reason.startswith(
        "the survey is still open, so close it and assess again. As it is now: "
    )


def test_nothing_is_left_for_good_while_the_survey_is_open(
    judged: Judged, rows: Callable[..., Any]
) -> None:
    """Somebody comes back: what is still to be recorded is not known."""
    raw = rows("G01")
    assert judged(raw).outcome == "leave"

    found = judged(opened(raw))

    assert found.outcome == "leave and monitor"
    assert "the survey is still open" in found.sentence


def test_a_scheduled_cure_does_not_count_while_the_survey_is_open(
    judged: Judged, rows: Callable[..., Any]
) -> None:
    """By the day on which it closes the cure may be overdue, which is a known stop."""
    raw = rows("G03", findings={"cause_birds": "scheduled"})
    birds = next(row for row in raw["observations"] if row["topic"] == "cause_birds")
    birds["due"] = DAY + timedelta(days=30)

    found = judged(opened(raw))

    assert found.gates[2].result == "not passed"
    assert "it counts once the survey is closed" in found.gates[2].reason


def test_age_is_counted_to_the_latest_record_of_any_zone(
    judged: Judged, rows: Callable[..., Any]
) -> None:
    """Panels read more than five years before it are too old; what lies ahead does not count."""
    raw = opened(rows("G03"))
    raw["zones"][0]["next_access"] = DAY + timedelta(days=4000)
    assert judged(raw).evidence.survey_date == DAY

    later = date(2032, 1, 1)
    raw["zones"].append({**raw["zones"][0], "zone": "Z99", "surveyed_on": later, "panels_laid": 0})
    survey = build(raw)
    found = hc.assess(survey, zones=[raw["zones"][0]["zone"]]).recommendations[0]

    assert survey.day == later
    assert "is too old to count" in found.gates[6].reason


def test_advice_from_an_open_survey_ends_when_it_closes(
    judged: Judged, rows: Callable[..., Any]
) -> None:
    """The card says so, and names the last day, counted from the latest record."""
    found = judged(opened(rows("G03")))

    assert found.holds_until == "the survey closes, at the latest until 1 June 2028"


@pytest.fixture(scope="module")
def named() -> Survey:
    """Give a survey whose structure has only a name."""
    raw = bare_rows({})
    raw["structure"] = [{"structure": "A mill"}]
    return build(raw)


def test_a_structure_with_only_a_name_can_be_assessed(named: Survey) -> None:
    """The notebook's card and `check` say what is not recorded."""
    said = set(named.check()["what"])

    assert hc.assess(named).recommendations[0].outcome != "clean"
    assert "The survey is still open." in named._repr_html_()
    assert "the survey is not closed yet: of its records the latest is of 1 May 2026" in said
    assert any(one.startswith("not recorded of the structure: Question of the") for one in said)
    assert not any("after the survey closed" in one for one in said)


def test_a_saved_answer_of_an_open_survey_ends_with_its_next_day(named: Survey) -> None:
    """Its fingerprint names the day to which age was counted, which a later record moves."""
    raw = bare_rows({}, {"surveyed_on": "2026-05-09"})
    raw["structure"] = [{"structure": "A mill"}]

    one, other = (evidence_hash(some, some.all(Zone)[0]) for some in (named, build(raw)))
    assert one != other
