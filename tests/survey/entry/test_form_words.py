"""Why a save was refused, in the words of the form."""

from __future__ import annotations

import copy

import pytest

import heritagecheck as hc
from heritagecheck.errors import Codes, Fault, Fields, Message, SurveyError, WithCodes
from heritagecheck.survey.entry.record_form import in_form_words, refusals
from heritagecheck.survey.places import example_folder
from heritagecheck.survey.records import Observation, Setting
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.store.database_survey import DatabaseSurvey


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> DatabaseSurvey:
    """Give the example survey in a database; no test of this file changes it."""
    return hc.import_survey(example_folder(), into=tmp_path_factory.mktemp("kept") / "survey.db")


def refused(survey: DatabaseSurvey, *records: Record) -> tuple[str, ...]:
    """What a save is refused for."""
    with pytest.raises(SurveyError) as told:
        survey.save(*records, who="conservator")
    return refusals(told.value)


def test_rules_between_records_are_told_with_titles_and_labels(kept: DatabaseSurvey) -> None:
    """No name of a table, a field or a code is left in what a person reads."""
    layer, reading = kept.record("layers", "N06-L1"), kept.record("readings", "N06-S01")
    zone, panel = kept.record("zones", "N06"), kept.record("panels", "N06-pulse-1")
    answer = kept.of_zone("N06", Observation)[0].changed(observation="N06-O99")

    assert refused(kept, layer.changed(layer="N06-L2", soiling="film")) == (
        "What it is, film: the soilings of zone N06 are: black crust.",
    )
    assert refused(kept, answer) == (
        "Zone and Question, N06, decay: already given; each may occur once.",
    )
    assert refused(kept, reading.changed(session="x")) == (
        "Session with the meter, x: no white tile was read in this session; write its readings "
        "into tile readings, or leave the session empty.",
    )
    assert refused(kept, zone.changed(panels_laid=0)) == (
        "Trial panels laid here, 0: 8 panels recorded on this zone.",
    )
    assert refused(kept, panel.changed(panels_in_series=3))[0] == (
        "Panels laid in that series, 6: must be the same for all of series N06-pulse; the first "
        "says 3."
    )


def test_what_several_records_share_is_said_once(kept: DatabaseSurvey) -> None:
    """Five panels that no longer agree with the first are one thing to correct."""
    panel = kept.record("panels", "N06-pulse-1").changed(panels_in_series=3)

    assert len(refused(kept, panel)) == 1


def test_faults_of_a_whole_record_name_it() -> None:
    """A record that somebody else saved is named by kind and code; other faults as they are."""
    by_other = Fault("site_tests", None, "record", "N06-1", "was saved by engineer at noon")
    no_table = Fault("journal", None, "who", "conservator", "has nothing to undo")
    no_value = Fault("survey", None, "", "", "there is no such folder")

    assert refusals(SurveyError([by_other, no_table, no_value])) == (
        "Site test N06-1 was saved by engineer at noon.",
        "conservator has nothing to undo.",
        "survey: there is no such folder.",
    )


def test_what_a_person_wrote_stays_as_it_is(kept: DatabaseSurvey) -> None:
    """A name that somebody gave is no field and no code, whatever it looks like."""
    panel = kept.record("panels", "N06-pulse-1")

    assert refused(kept, panel.changed(after_series="damage_kind")) == (
        "Series laid before: must be the same for all of series N06-pulse; the first says "
        "damage_kind.",
        "Series laid before, damage_kind: no panel of that series lies on zone N06.",
    )


def test_a_message_is_copied_with_its_parts() -> None:
    """Faults are copied where they become a table; their form is not lost."""
    codes = WithCodes(
        Message("see ", Fields("zone", "name")), "Codes: ", Codes("a", "b", sign="; ")
    )

    copied = copy.deepcopy(codes)

    assert (copied, copied.parts, copied.bare.parts) == (codes, codes.parts, codes.bare.parts)
    assert copied == "see zone and name. Codes: a; b"
    assert [type(part) for part in copied.parts] == [str, Fields, str, str, Codes]


def test_a_word_with_a_capital_inside_stays_as_it_is() -> None:
    """The sentence about pH does not begin with PH."""
    assert in_form_words(Setting, "pH runs from 0 to 14 pH") == "pH runs from 0 to 14 pH."
