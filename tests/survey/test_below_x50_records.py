"""Records of sections and of pairs of height maps: what is refused, and in which words."""

from __future__ import annotations

from datetime import date
from typing import Any, get_args

import pytest
from pydantic import ValidationError

from heritagecheck.survey.places import demo_survey
from heritagecheck.survey.records import HeightMap, Panel, SectionReading, SiteTest
from heritagecheck.survey.records.readings import Mineral
from heritagecheck.tables.row_types import Sensitivity

STRESS: dict[str, Any] = {
    "section_reading": "S1", "zone": "T06", "panel": "T06-pulse-1", "profile": "P",
    "profile_size": 3, "moment": "after", "quantity": "stress_along", "depth_um": 10,
    "value": -40, "standard_error": 9, "elastic_constants": "½S2 = 5.8 /TPa",
    "method": "X-ray diffraction", "measured_on": date(2026, 8, 24), "measured_by": "laboratory",
}  # fmt: skip
HARDNESS = STRESS | {
    "quantity": "hardness", "value": 128, "standard_error": None, "elastic_constants": None,
}  # fmt: skip
MAP: dict[str, Any] = {
    "height_map": "H2", "attachment": "A", "zone": "N06", "moment": "after", "height_unit": "m",
    "pixel_x_um": 8, "pixel_y_um": 8, "rows": 128, "columns": 128, "lowest_um": -10,
    "highest_um": 10, "unseen": 0, "instrument": "focus variation",
    "measured_on": date(2026, 9, 7), "confirmed_by": "conservator",
}  # fmt: skip


PICTURED = {"photo": "P", "photo_points": "0 0 1 1; 9 0 5 1; 9 9 5 5; 0 9 1 5; 4 4 3 3"}


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (STRESS | {"elastic_constants": None}, "needs the elastic constants"),
        (STRESS | {"standard_error": None}, "give the standard error of a stress"),
        (STRESS | {"value": 210_000}, "stress_along runs from -3000 to 3000 MPa. Check the unit"),
        (HARDNESS | {"elastic_constants": "E = 210 GPa"}, "give them for a stress only"),
        (HARDNESS | {"quantity": "element", "value": 0.2}, "name an element"),
        (HARDNESS | {"panel": None}, "only a control may lie beside all panels"),
        (HARDNESS | {"depth_um": 0}, "greater than 0"),
    ],
)  # fmt: skip
def test_a_reading_of_a_section_that_says_too_little_is_refused(
    wrong: dict[str, Any], said: str
) -> None:
    """A stress without constants or error, a unit off by a thousand, an unnamed element."""
    with pytest.raises(ValidationError, match=said):
        SectionReading(**wrong)


def test_a_control_may_lie_beside_all_panels() -> None:
    """One control serves several panels of a zone."""
    assert SectionReading(**(HARDNESS | {"moment": "control", "panel": None})).panel is None


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"moment": "before", "before_map": "H1"}, "only where this one was measured after"),
        ({"before_map": "H2"}, "can't be the one before itself"),
        ({"treated": "1 1; 9 9"}, "2 rows; 3 or more are needed"),
        ({"treated": "1,5 1; 9 1; 9 9"}, "Write decimal points, no commas"),
        ({"spot": "S1"}, "name the panel on which the spot lies"),
        ({"photo": "P1"}, "give photo and photo_points together"),
        ({"photo_minerals": "biotite: 1 1; 9 1; 5 8"}, "name the photograph in which"),
        (PICTURED | {"photo_minerals": "mica: 1 1; 9 1; 5 8"}, "mica is no mineral of the list"),
        (PICTURED | {"photo_minerals": "quartz: 1 1; 9 1"}, "2 rows; 3 or more are needed"),
    ],
)
def test_a_pair_of_height_maps_that_contradicts_is_refused(
    wrong: dict[str, Any], said: str
) -> None:
    """A map before itself, an outline of two corners, a photograph without points."""
    with pytest.raises(ValidationError, match=said):
        HeightMap(**(MAP | wrong))


def test_a_panel_names_its_measurements_by_the_terms_of_the_list() -> None:
    """Capitals and blanks are as good; another word is refused with the list."""
    panel = dict(demo_survey().record("panels", "T06-pulse-1"))

    assert Panel(**(panel | {"measured_below": "Depth removed;stress_change"})).measures == (
        "depth_removed", "stress_change",
    )  # fmt: skip
    with pytest.raises(ValidationError, match="not in the list of measurements: gloss"):
        Panel(**(panel | {"measured_below": "gloss"}))


def test_grains_are_read_by_mineral_and_corner() -> None:
    """Two grains, one named with a capital and a blank."""
    text = "Biotite: 1 1; 9 1; 5 8 / K feldspar: 20 20; 30 20; 25 30"

    assert HeightMap(**(MAP | PICTURED | {"photo_minerals": text})).grains == (
        ("biotite", ((1, 1), (9, 1), (5, 8))), ("k_feldspar", ((20, 20), (30, 20), (25, 30))),
    )  # fmt: skip


def test_every_mineral_of_the_list_is_rated() -> None:
    """The table of sensitivities knows each, so that none is a word without consequence."""
    rated = {row.component for row in Sensitivity.rows() if row.sensitivity_0_10 is not None}

    assert set(get_args(Mineral)) <= rated


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"quantity": "roughness_sa_um"}, "name a spot for depth_removed_um or rough"),
        ({"panel": None}, "name the panel on which the spot lies"),
    ],
)
def test_a_spot_belongs_to_a_depth_or_roughness_of_its_panel(
    wrong: dict[str, Any], said: str
) -> None:
    """Of anything else a spot would be taken for the panel."""
    given = {
        "site_test": "R", "zone": "N06", "panel": "N06-pulse-1", "quantity": "depth_removed_um",
        "value": 3, "set_name": "R", "set_size": 1, "method": "maps",
        "tested_on": date(2026, 9, 7), "tested_by": "conservator", "spot": "S1",
    }  # fmt: skip
    assert SiteTest(**given).spot == "S1"
    with pytest.raises(ValidationError, match=said):
        SiteTest(**(given | wrong))


def test_a_mineral_belongs_to_a_depth() -> None:
    """A roughness is of a field, whatever lies in it."""
    with pytest.raises(ValidationError, match="name a mineral for depth_removed_um only"):
        SiteTest(
            site_test="R", zone="N06", panel="N06-pulse-1", quantity="roughness_change_pct",
            value=3, set_name="R", set_size=1, method="maps", tested_on=date(2026, 9, 7),
            tested_by="conservator", mineral="biotite",
        )  # fmt: skip
