"""Steps of the notebook of a meeting, on the example and on surveys that were only begun."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from bare_survey import bare_rows, keep

from heritagecheck.screens.live_page import Event
from heritagecheck.screens.notebook.workshop import WorkshopWalk

STEPS = ("weights", "views", "spread", "at_stake", "try_weights", "hours")


def said(page: Any) -> str:
    """Words of a step as a reader without widgets has them."""
    return page.as_cell(str(page.shown))[0]["text/plain"]


def typed(page: Any, name: str, value: str) -> str:
    """Words of a step once something else is chosen in it."""
    page.shown.hear(Event("type", name=name, value=value))
    return said(page)


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> Iterator[WorkshopWalk]:
    """Give the notebook on the example; its answers are worked out once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(tmp_path_factory.mktemp("example"))
        yield WorkshopWalk()


@pytest.mark.parametrize("zones", [0, 3])
def test_every_step_says_what_a_survey_lacks(
    zones: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With no zone, weight or meeting each step gives a sentence and what to do."""
    keep(bare_rows(*[{}] * zones), tmp_path / "survey.db")
    monkeypatch.chdir(tmp_path)
    own = WorkshopWalk()
    words = {name: said(getattr(own, name)()) for name in STEPS}

    assert words["weights"].startswith("No member has given all six weights yet.")
    assert words["views"].startswith("No meeting is recorded yet.")
    assert words["spread"].startswith("No meeting is recorded yet.")
    assert all(said_.strip() for said_ in words.values())
    assert not any(bad in said_ for said_ in words.values() for bad in ("Traceback", "failed"))


def test_weights_show_where_members_are_furthest_apart(example: WorkshopWalk) -> None:
    """The lowest and highest share of each criterion, in percent."""
    page = example.weights()

    assert "(Kendall's W): 0.55" in said(page)
    assert "Lowest [%]" in page.html
    assert "environment" in page.html


def test_views_of_both_rounds_are_shown(example: WorkshopWalk) -> None:
    """In private four of five would clean N10; after talk the ecologist would as well."""
    page = example.views()

    assert "agree on 0 of 3 zones, with 1 veto" in said(page)
    assert "clean: ecologist would change" in page.html

    assert "agree on 1 of 3 zones" in typed(page, "Given", "talked")


def test_the_zone_shows_every_view_in_its_own_words(example: WorkshopWalk) -> None:
    """Reasons and the veto stand there; the way to agreement leaves the veto alone."""
    page = example.spread()

    assert "To agree on leave: engineer, owner would change." in said(page)
    assert "heritage authority against clean holds until that member withdraws it" in said(page)
    assert "a scratch stays" in page.html
    assert "Dissent" not in said(page)

    assert "Dissent of owner, word for word: I do not object" in typed(page, "Given", "talked")


def test_what_weights_change_comes_with_the_cautions_of_the_zone(example: WorkshopWalk) -> None:
    """A method is named, so every caution of the zone stands with it, whole."""
    page = example.at_stake()

    assert "passes by the weights of 3 of 5 members (5 required)" in said(page)
    assert "appearance from 30 to 40 points" in page.html
    assert all(one.words in said(page) for one in example.zone.cautions)


def test_no_weights_are_offered_against_a_gate(example: WorkshopWalk) -> None:
    """Where a gate before the eighth decides, the step says so and shows no weight."""
    example.pick(zone="E01")
    words = said(example.at_stake()), said(example.try_weights())
    example.pick(zone="E15")

    assert all("weights change nothing, because gate 3 decides first" in one for one in words)


def test_own_weights_are_tried_by_points_and_by_pairs(example: WorkshopWalk) -> None:
    """Points change the answer; comparisons that contradict one another are named."""
    page = example.try_weights()

    assert "By your weights: treatment passes" in said(page)
    assert "By your weights: treatment does not pass" in typed(page, "Appearance", "10")
    assert "No criterion has 100 points" not in said(page)

    assert "consistency ratio 0.00" in typed(page, "Give weights by", "pairs")
    for pair, times in (("Fabric against people", "9"), ("Fabric against resources", "1/9"),
                        ("People against resources", "9")):  # fmt: skip
        words = typed(page, pair, times)
    assert "Look at this again: fabric against people: 9 times given" in words


def test_an_agenda_fits_the_minutes(example: WorkshopWalk) -> None:
    """More minutes hold more zones; the table is sorted and cut to a type of zone."""
    page = example.hours()
    few, many = (typed(page, "Minutes for zones", minutes) for minutes in ("60", "400"))

    assert few.startswith("Minutes for zones: 60\n8 zones in 60 of 60 minutes. 44 zones left out")
    assert "left out" not in many
    assert "52 zones." in many
    assert "2 zones." in typed(page, "Type of zone", "limestone: black crust")

    typed(page, "Minutes for zones", "0")

    assert "Write a number from 1 to 1440." in page.shown.html()
