"""What says that a coating holds lead, a trace of it, or none."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from guidance_form import read_cases, rows_of_case, site_test_rows

import heritagecheck as hc
from heritagecheck.evidence.zone_evidence import ZoneEvidence, gather
from heritagecheck.survey.places import build
from heritagecheck.survey.records import SiteTest, Zone
from heritagecheck.survey.records.zone_facts import lead_by_lab, lead_by_xrf

GUIDANCE = Path(__file__).parent.parent / "guidance" / "guidance_cases.csv"
CASES = {case["case_id"]: case for case in read_cases(GUIDANCE)}
PAINTED = {"layers": "previous_coating=not_valued", "soiling": "previous_coating", "lead": ""}
GOOD_CHIPS = {
    "lead_lab_pct": "0,0", "lead_detection_limit_pct": "0.005", "lead_full_depth": "yes",
    "coatings": "1",
}  # fmt: skip


def evidence_of(code: str, *, answer: str | None = None, **columns: str) -> ZoneEvidence:
    """Evidence of a guidance case with some columns changed, and with a bare answer on lead."""
    case = CASES[code] | columns
    if answer is not None:
        case["findings"] += f"; lead={answer}"
    survey = build(rows_of_case(case))
    return gather(survey, survey.all(Zone)[0])


def set_of(quantity: str, *values: str, **fields: Any) -> list[SiteTest]:
    """One whole set of site tests."""
    rows = site_test_rows("Z", quantity, list(values))
    return [SiteTest.model_validate(row | fields) for row in rows]


@pytest.mark.parametrize(
    ("values", "verdict"),
    [(("0.1",), "low"), (("0.39",), "low"), (("0.4",), "unknown"), (("1.2",), "unknown"),
     (("1.21",), "yes"), (("0.1", "0.2", "2.0"), "yes"), (("0.1", "0.5"), "unknown"), ((), None)],
)  # fmt: skip
def test_xrf_says_yes_or_nothing(values: tuple[str, ...], verdict: str | None) -> None:
    """Above 1.2 mg/cm² it is lead; a low reading is never a no; the highest reading counts."""
    assert lead_by_xrf(set_of("lead_xrf_mg_cm2", *values)) == verdict


@pytest.mark.parametrize(
    ("values", "verdict"),
    [(("0.5",), "yes"), (("0.49",), "trace"), (("0.45",), "trace"), (("0.1", "0.7"), "yes"),
     (("0.006",), "trace"), (("0.005",), "trace"), (("0.004",), "no"), (("0", "0"), "no"),
     (("0", "0.02"), "trace"), ((), None)],
)  # fmt: skip
def test_the_laboratory_tells_lead_a_trace_and_none(
    values: tuple[str, ...], verdict: str | None
) -> None:
    """From 0.5 % on it is lead, up to there a trace; none only below the detection limit."""
    chips = set_of("lead_lab_pct", *values, detection_limit=0.005, full_depth="yes")

    assert lead_by_lab(chips, 1) == verdict


@pytest.mark.parametrize(
    ("fields", "coatings", "verdict"),
    [
        ({"detection_limit": 0.009, "full_depth": "yes"}, 1, "no"),
        ({"detection_limit": 0.01, "full_depth": "yes"}, 1, "trace"),
        ({"detection_limit": 0.5, "full_depth": "yes"}, 1, "unknown"),
        ({"full_depth": "yes"}, 1, "unknown"),
        ({"detection_limit": 0.005}, 1, "unknown"),
        ({"detection_limit": 0.005, "full_depth": "no"}, 1, "unknown"),
        ({"detection_limit": 0.005, "full_depth": "yes"}, None, "unknown"),
        ({"detection_limit": 0.005, "full_depth": "yes"}, 0, "unknown"),
        ({"detection_limit": 0.005, "full_depth": "yes"}, 2, "unknown"),
        ({"detection_limit": 0.005, "full_depth": "yes", "coating": "alkyd"}, 2, "unknown"),
    ],
)
def test_none_needs_full_depth_chips_of_every_coating_by_a_fine_method(
    fields: dict[str, Any], coatings: int | None, verdict: str
) -> None:
    """A coarse method, a shallow chip, a coating left out or not counted: never a no."""
    assert lead_by_lab(set_of("lead_lab_pct", "0", "0", **fields), coatings) == verdict


def test_chips_of_each_of_two_coatings_say_so() -> None:
    """Patches of another history are tested by themselves."""
    fields = {"detection_limit": 0.005, "full_depth": "yes"}
    alkyd, epoxy = set_of("lead_lab_pct", "0", "0", **fields)
    chips = [
        alkyd.model_copy(update={"coating": "alkyd"}), epoxy.model_copy(update={"coating": "epoxy"})
    ]  # fmt: skip

    assert lead_by_lab(chips, 2) == "no"


@pytest.mark.parametrize("quantity", ["lead_xrf_mg_cm2", "lead_lab_pct"])
def test_a_set_with_a_gap_says_nothing_about_lead(quantity: str) -> None:
    """One reading of three is missing: not known, however low the others are."""
    tests = set_of(quantity, "0.1", "0.1", "0.1", full_depth="yes")[:2]
    verdict = lead_by_xrf(tests) if quantity == "lead_xrf_mg_cm2" else lead_by_lab(tests, 1)

    assert verdict == "unknown"


@pytest.mark.parametrize(
    ("given", "lead"),
    [
        ({"answer": "no"}, "unknown"),
        ({"lead_xrf_mg_cm2": "0.05,0.02"}, "unknown"),
        ({"answer": "no", "lead_xrf_mg_cm2": "0.05,0.02"}, "unknown"),
        ({"answer": "no", "lead_lab_pct": "0,0"}, "unknown"),
        ({"lead_lab_pct": "0.45"}, "unknown"),
        (GOOD_CHIPS, "no"),
        (GOOD_CHIPS | {"lead_lab_pct": "0.45"}, "trace"),
        (GOOD_CHIPS | {"lead_xrf_mg_cm2": "0.8"}, "no"),
        ({"answer": "yes"}, "yes"),
    ],
    ids=str,
)
def test_a_coating_is_lead_free_by_its_chips_alone(given: dict[str, str], lead: str) -> None:
    """Neither an answer nor XRF nor chips of which too little is recorded says no."""
    assert evidence_of("G18", **PAINTED | given).lead == lead


@pytest.mark.parametrize(
    ("columns", "lead"),
    [({"coatings": "0"}, "no"), ({"findings": "coating_state=none"}, "no"), ({}, "unknown")],
    ids=str,
)
def test_bare_metal_holds_no_lead_where_somebody_says_that_it_is_bare(
    columns: dict[str, str], lead: str
) -> None:
    """Bare-looking old iron may keep paint in its pits, so somebody has to look."""
    bare = {"layers": "rust=not_valued", "soiling": "rust", "lead": "", "findings": "decay=none"}
    found = evidence_of("G17", answer="no", **bare | columns)

    assert found.lead == lead
    assert found.facts["coated"] == {"no" if lead == "no" else "yes"}


def test_an_answer_is_enough_on_bare_stone() -> None:
    """Where no coating lies, none can hold lead."""
    assert evidence_of("G03").lead == "no"


@pytest.mark.parametrize(
    ("code", "columns", "said"),
    [
        ("G03", {"answer": "no", "lead": "", "lead_lab_pct": "3.0"},
         "observation no, laboratory yes"),
        ("G03", {"answer": "no", "lead": "", "lead_lab_pct": "0.1"},
         "observation no, laboratory unknown"),
        ("G18", PAINTED | GOOD_CHIPS | {"answer": "no", "lead_lab_pct": "0.1"},
         "observation no, laboratory trace"),
        ("G18", PAINTED | GOOD_CHIPS | {"answer": "yes"}, "observation yes, laboratory no"),
        ("G18", PAINTED | GOOD_CHIPS | {"lead_xrf_mg_cm2": "2"}, "XRF yes, laboratory no"),
    ],
    ids=str,
)  # fmt: skip
def test_records_that_contradict_one_another_about_lead_are_refused(
    code: str, columns: dict[str, str], said: str
) -> None:
    """Nobody can say which would be right: both are named."""
    with pytest.raises(hc.SurveyError, match=rf"lead = {code}: {said}: these"):
        evidence_of(code, **columns)


def test_a_zone_with_a_coating_has_at_least_one() -> None:
    """A coating among the soilings beside a count of none is refused."""
    with pytest.raises(
        hc.SurveyError, match="must be 1 or more, because the soilings name previous_coating"
    ):
        evidence_of("G18", **PAINTED | {"coatings": "0"})
