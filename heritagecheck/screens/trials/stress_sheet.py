"""A laboratory's stress file on the screen of a profile: its numbers as they would be typed."""

from __future__ import annotations

from heritagecheck.evidence.section.stress_readings import ACROSS, ALONG, stresses_in
from heritagecheck.survey.entry.result_sets import COLUMNS
from heritagecheck.survey.records.row_reading import shown
from heritagecheck.survey.store.database_survey import DatabaseSurvey

OF_STRESS = "stress_"


def typed_of(survey: DatabaseSurvey, name: str, quantity: str) -> dict[str, str]:
    """
    Columns of a profile, quantity and constants of a stress file that is kept with the survey.

    Where no stress is chosen yet, the first direction of the file is taken. SurveyError says why a
    file is not taken.
    """
    chosen = quantity.removeprefix(OF_STRESS) if quantity.startswith(OF_STRESS) else ""
    file = survey.stress_file(name, also={"direction": chosen} if chosen else None)
    found = stresses_in(file)
    direction = chosen or next(
        (way for way in (ALONG, ACROSS) if any(one.direction == way for one in found)), ALONG
    )
    mine = [one for one in found if one.direction == direction]
    columns = {column: "\n".join(shown(one.columns[column]) for one in mine) for column in COLUMNS}
    notes = dict.fromkeys(one.note for one in mine if one.note)
    return columns | {
        "quantity": f"{OF_STRESS}{direction}", "elastic_constants": file.constants,
        "note": " ".join(notes),
    }  # fmt: skip
