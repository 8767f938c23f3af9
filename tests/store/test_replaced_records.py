"""A record that is kept under another key takes the place of the one before, in one save."""

from pathlib import Path

import pytest

import heritagecheck as hc
from heritagecheck.survey.store.database_survey import DatabaseSurvey


def begun(folder: Path) -> DatabaseSurvey:
    """Give a survey that holds only its structure."""
    survey = DatabaseSurvey(folder / "survey.db")
    survey.save(hc.demo_survey().record("structure"), who="conservator")
    return survey


def test_renamed_structure_takes_the_place_of_the_first(tmp_path: Path) -> None:
    """One structure is left, one save tells of both, and one undo brings the first back."""
    survey = begun(tmp_path)
    first = survey.record("structure")
    second = first.changed(structure="Quillmere Engine House")

    survey.save(second, who="conservator", in_place_of=[first])

    assert survey.records["structure"] == (second,)
    assert survey.verify()
    survey.undo(who="conservator")
    assert survey.records["structure"] == (first,)


def test_what_somebody_else_changed_since_is_not_taken_out(tmp_path: Path) -> None:
    """Nothing is replaced that this survey has not seen as it is."""
    survey = begun(tmp_path)
    first = survey.record("structure")
    with DatabaseSurvey(tmp_path / "survey.db") as other:
        other.save(first.changed(asked="Is it lead?"), who="engineer")

    second = first.changed(structure="Quillmere Engine House")
    with pytest.raises(hc.SurveyError, match=r"was saved by engineer at .* with Is it lead"):
        survey.save(second, who="conservator", in_place_of=[first])

    survey.refresh()
    assert [one.structure for one in survey.records["structure"]] == [first.structure]
