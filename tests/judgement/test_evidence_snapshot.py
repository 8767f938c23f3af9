"""The hash of a zone's evidence: what changes it, and that older signatures are known again."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import pytest
from bare_survey import Rows, bare_rows
from pydantic import ValidationError, create_model

import heritagecheck as hc
from heritagecheck.judgement.decisions import changes_of_evidence, decision_hash
from heritagecheck.judgement.evidence_snapshot import (
    Snapshot,
    differences,
    evidence_hash,
    evidence_snapshot,
    scheme_of,
)
from heritagecheck.survey.places import build
from heritagecheck.survey.records import TABLES, Decision, Zone
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.store.saved_assessment import FIRST, NEWEST, SavedAssessment, line_signed
from heritagecheck.survey.survey import Survey

BED = {"bed_or_system": "east quarry", "biotite_pct": 4, "condition": "sound"}
DAY = {"read_on": "2026-04-20", "read_by": "conservator"}
# What release 2026.7 (commit ba89b76) itself wrote for the records below.
THEN = Snapshot(
    "a16822074e6b",
    "counted to closed 2026-05-02; layers 1 ee33a53e86fd; observations 1 2b82eee53a0e; "
    "readings 1 78614d2c4ee0; site_tests 1 9e0357ffb154; zones of Z1 1 c7ce74974ca6; "
    "panels of Z1 1 32fb9ee40764; settings of Z1 1 8054c7a626fc; zones 1 0f4ad2c6f9ec",
)
SIGNED_THEN = "470cde54a581"


def rows() -> Rows:
    """Two bays of one bed, the first with a panel, the second with a record of most kinds."""
    raw = bare_rows(BED | {"panels_laid": 1}, BED)
    raw["structure"][0]["beds"] = "granite: east quarry"
    raw["panels"] = [
        {"panel": "P1", "zone": "Z1", "series": "S", "panels_in_series": 1,
         "soiling": "black_gypsum_crust", "method": "nebulised_water", "setting": "Mist",
         "done_on": "2025-04-01", "x50_fields": 25, "damaged_fields": 0, "residual_pct": 12.5,
         **DAY}
    ]  # fmt: skip
    raw["settings"] = [
        {"series": "S", "zone": "Z1", "quantity": "pressure", "value": 3, "unit": "bar"}
    ]
    raw["layers"] = [{"layer": "L1", "zone": "Z2", "soiling": "black_gypsum_crust",
                      "value": "not_valued"}]  # fmt: skip
    raw["observations"] = [
        {"observation": "O1", "zone": "Z2", "topic": "decay", "finding": "none",
         "seen_on": "2026-04-20", "seen_by": "conservator"}
    ]  # fmt: skip
    raw["readings"] = [
        {"reading": "R1", "zone": "Z2", "set_name": "A", "set_size": 1, "target": "reference",
         "L_star": 64.54, "a_star": 0.41, "b_star": 3.16, "state": "dry", "geometry": "SCI",
         "aperture_mm": 25, "illuminant": "D65/10", "instrument": "sphere d/8", "session": "1",
         **DAY}
    ]  # fmt: skip
    raw["tile_readings"] = [
        {"tile_reading": f"T{session}", "session": session, "tile_readings_in_session": 1,
         "minutes": 0, "L_star": 96.84, "a_star": -0.14, "b_star": 1.31,
         "instrument": "sphere d/8", **DAY}
        for session in ("1", "2")
    ]  # fmt: skip
    raw["site_tests"] = [
        {"site_test": "ST1", "zone": "Z2", "quantity": "lead_xrf_mg_cm2", "value": 0.6,
         "set_name": "X", "set_size": 1, "method": "XRF", "tested_on": "2026-04-20",
         "tested_by": "conservator"}
    ]  # fmt: skip
    return raw


def changed(table: str, place: int, **values: Any) -> Survey:
    """Give the survey with one record changed."""
    raw = rows()
    raw[table][place] |= values
    return build(raw)


def snapshot(survey: Survey, scheme: int = NEWEST, code: str = "Z2") -> Snapshot:
    """Give the evidence of the second bay."""
    zone = survey.record("zones", code)
    assert isinstance(zone, Zone)
    return evidence_snapshot(survey, zone, scheme=scheme)


def decision(kept: Snapshot) -> Decision:
    """Give a decision on some evidence."""
    return Decision(
        meeting="M1", zone="Z2", outcome="leave", reasons="Nothing to gain", recommended="leave",
        evidence=kept.evidence, snapshot=kept.by_kind,
    )  # fmt: skip


def test_what_release_2026_7_signed_is_known_again() -> None:
    """The digits that it wrote itself, of the evidence and of the decision."""
    assert snapshot(build(rows()), FIRST) == THEN
    assert decision_hash(decision(THEN)) == SIGNED_THEN
    assert changes_of_evidence(decision(THEN), build(rows())) == ()
    assert changes_of_evidence(decision(THEN), changed("layers", 0, cover_pct=60)) == (
        "layers: changed among 1 record",
    )


def test_what_release_2026_7_saved_is_compared_by_its_own_hashes() -> None:
    """No zone is said to rest on other records because the release hashes them otherwise."""
    now = hc.assess(build(rows()), zones=["Z2"])
    kept = now.saved(scheme=FIRST).model_dump(mode="json", exclude={"scheme"})
    kept["zones"][0] |= {"outcome": "clean", "method": "nebulised_water"}
    kept["rules"] = "0" * 12
    assert kept["zones"][0]["records"] == THEN.evidence

    [row] = now.changes_since(SavedAssessment.model_validate(kept)).values.tolist()

    assert row[-1] == "rules changed since"


@pytest.mark.parametrize("scheme", [FIRST, NEWEST])
@pytest.mark.parametrize("table", ["zones", "panels", "readings", "settings"])
def test_a_field_of_a_later_release_changes_nothing_while_it_is_empty(
    table: str, scheme: int
) -> None:
    """Empty, the line is the same; filled in, it is another."""
    kind = TABLES[table]
    later = create_model(kind.__name__, __base__=kind, newly_asked=(str | None, None))
    [row, *_] = rows()[table]

    then = line_signed(kind.model_validate(row), scheme)

    assert line_signed(later.model_validate(row), scheme) == then
    filled = later.model_validate(row | {"newly_asked": "yes"})
    assert line_signed(filled, scheme) == then[:-1] + ',"newly_asked":"yes"}'


def test_the_hash_can_be_made_again_by_hand() -> None:
    """SHA-256 over the sorted lines: name of the record and its filled fields as JSON."""
    raw = bare_rows()
    lines = [
        "Zone " + json.dumps(raw["zones"][0] | {"area_m2": 4.0}, separators=(",", ":")),
        "closed 2026-05-02",
    ]  # fmt: skip
    by_hand = hashlib.sha256("\n".join(lines).encode()).hexdigest()[:12]
    survey = build(raw)

    assert evidence_hash(survey, survey.all(Zone)[0]) == by_hand


def test_the_white_tile_of_its_readings_is_evidence() -> None:
    """The tile of the session in which the zone was read, and of no other session."""
    then = decision(snapshot(build(rows())))

    assert changes_of_evidence(then, changed("tile_readings", 0, L_star=95)) == (
        "tile readings: changed among 1 record",
    )
    assert changes_of_evidence(then, changed("tile_readings", 1, L_star=95)) == ()


def test_the_area_that_panels_speak_for_is_evidence() -> None:
    """A lesser bay speaks for no other, but with it the panels have more to speak for."""
    raw = rows()
    raw["zones"].append(raw["zones"][1] | {"zone": "Z3", "area_m2": 900, "significance": "low"})
    then = decision(snapshot(build(rows())))

    assert changes_of_evidence(then, build(raw)) == ("area that panels speak for: changed",)
    other = changed("zones", 0, note="Seen again")
    assert changes_of_evidence(then, other) == ("zones of Z1: changed among 1 record",)


def test_a_scheme_of_a_later_release_is_refused_in_words() -> None:
    """Its hashes can't be made here, which is never shown as changed evidence."""
    kept = snapshot(build(rows()))
    assert scheme_of(kept.by_kind) == NEWEST
    with pytest.raises(ValidationError, match="scheme 3 is of a later release"):
        decision(Snapshot(kept.evidence, kept.by_kind.replace("scheme 2", "scheme 3")))
    with pytest.raises(ValidationError, match="must be as a meeting wrote it"):
        decision(Snapshot(kept.evidence, "nothing changed"))


def test_kinds_that_came_and_went_are_said() -> None:
    """Counts then and now; new and gone."""
    assert differences(
        "scheme 2; counted to closed 2026-05-02; layers 1 aaaaaaaaaaaa",
        "scheme 2; counted to open on 2026-05-03; readings 2 bbbbbbbbbbbb",
    ) == (
        "age of records: survey closed 2026-05-02 then, open on 2026-05-03 now",
        "layers: 1 record gone", "readings: 2 records new",
    )  # fmt: skip


def test_every_field_that_may_be_empty_was_thought_of() -> None:
    """A record of 2026.7 named in the old scheme still has each of the fields named there."""
    from heritagecheck.survey.store.saved_assessment import _NULLS

    kinds: dict[str, type[Record]] = {kind.__name__: kind for kind in TABLES.values()}
    for name, fields in _NULLS.items():
        assert fields <= set(kinds[name].model_fields), name
