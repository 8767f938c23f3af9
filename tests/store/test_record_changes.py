"""What became of records between two heads of the journal, and the survey as it was."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from bare_survey import bare_rows

from heritagecheck.survey.records import TABLES, Zone
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.record_changes import as_if


@pytest.fixture
def survey(database: str, files: Path) -> Iterator[DatabaseSurvey]:
    """Give a survey of three zones, in either kind of database."""
    with DatabaseSurvey(database, files=files) as found:
        found.save(
            *(TABLES[table].model_validate(row)
              for table, rows in bare_rows({}, {}, {}).items() for row in rows),
            who="office",
        )  # fmt: skip
        yield found


def change(survey: DatabaseSurvey, zone: str, reason: str = "seen again", **values: object) -> None:
    """Save other values of a zone."""
    record = survey.record("zones", zone)
    survey.save(record.changed(**values), who="conservator", reason=reason)


def test_a_change_names_fields_who_and_why(survey: DatabaseSurvey) -> None:
    """Old and new value of each field, the last reason; what is as it was is not listed."""
    before = survey.journal_head
    change(survey, "Z1", condition="friable")
    change(survey, "Z1", "looked closely", condition="scaling", note="flakes")
    change(survey, "Z2", note="wet")
    change(survey, "Z2", note=None)
    found = survey.changed_records(before, survey.journal_head)

    assert found is not None
    [one] = found
    assert (one.who, one.reason, one.zones) == ("conservator", "looked closely", {"Z1"})
    assert one.words == (
        "zone Z1, condition of the substrate: not assessed became scaling; note: nothing became "
        "flakes"
    )
    assert str(one) == f"{one.words} (conservator, {one.when[:10]}: looked closely)"
    assert len(one.when) > 10


def test_what_came_and_what_went_is_told(survey: DatabaseSurvey) -> None:
    """A record that was not there before, and one that is not there any more."""
    before = survey.journal_head
    new = survey.record("zones", "Z1").changed(zone="Z9")
    survey.save(new, who="conservator", reason="one more")
    survey.delete(survey.record("zones", "Z3"), who="conservator", reason="twice")
    found = survey.changed_records(before, survey.journal_head)

    assert [one.words for one in found or ()] == ["zone Z9 was recorded", "zone Z3 was taken out"]


def test_heads_that_this_journal_never_had_are_not_guessed_at(survey: DatabaseSurvey) -> None:
    """Of another survey, or the wrong way round: None; the same head twice: no change."""
    before = survey.journal_head
    change(survey, "Z1", condition="friable")
    now = survey.journal_head

    assert survey.changed_records("ab" * 32, now) is None
    assert survey.changed_records(now, before) is None
    assert survey.changed_records(now, now) == ()


def test_a_survey_as_it_was_changes_nothing_of_the_present(survey: DatabaseSurvey) -> None:
    """Records, also those by zone, are as they were; files and the present survey stay."""
    then, before = survey.still(), survey.journal_head
    change(survey, "Z1", condition="friable")
    survey.delete(survey.record("zones", "Z3"), who="conservator", reason="twice")
    now = survey.still()
    changed = survey.changed_records(before, survey.journal_head)
    assert changed is not None
    back = as_if(now, {one.place: one.before for one in changed})

    assert back.fingerprint == then.fingerprint
    assert dict(back.by_zone) == dict(then.by_zone)
    assert back.place == now.place
    assert [zone.zone for zone in now.all(Zone)] == ["Z1", "Z2"]
    assert now.record("zones", "Z1").condition == "friable"
