"""The steps of the trial panels, on the example and on surveys that hold next to nothing."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from html import unescape
from pathlib import Path

import pytest
from bare_survey import bare_rows, keep

from heritagecheck.judgement.assess import assess
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.notebook.trials import WORTH_A_LOOK, TrialsWalk
from heritagecheck.screens.notebook.walk import notebook

STEPS = ("list", "card", "setting", "spots", "counts", "line", "complete", "applies", "dial",
         "published", "heat", "plan", "worth_a_look")  # fmt: skip
WITHOUT_TRIALS = {"dial", "published", "worth_a_look"}
PLAN = "Plan the next panels"
PANEL = {
    "panel": "Z1-mist-1", "zone": "Z1", "series": "Z1-mist", "method": "nebulised_water",
    "panels_in_series": 2, "setting": "Mist, cold", "soiling": "black_gypsum_crust",
    "done_on": "2026-04-01", "not_read_because": "still to be read",
}  # fmt: skip


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TrialsWalk]:
    """Give the steps of the example, with the answers of the zones that the course looks at."""
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(tmp_path_factory.mktemp("course"))
        walk = notebook("trials")
        walk._assessment = assess(walk.survey, zones=["N06", "N13", "N15"])
        yield walk


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., TrialsWalk]:
    """Give the steps of a survey of one's own: so many zones, and panels on the first."""

    def begun(zones: int, *panels: dict[str, object]) -> TrialsWalk:
        rows = bare_rows(*[{} for _ in range(zones)])
        rows["zones"] = rows["zones"][:zones]
        keep(rows | {"panels": list(panels)}, tmp_path / "survey.db")
        monkeypatch.chdir(tmp_path)
        return notebook("trials")

    return begun


def shown(walk: TrialsWalk, name: str) -> str:
    """Give a step as a browser gets it."""
    return unescape(getattr(walk, name)().html)


def test_every_step_is_tried() -> None:
    """No step of the notebook is left out of these tests."""
    named = [name for name, one in vars(TrialsWalk).items() if hasattr(one, "__wrapped__")]

    assert named == list(STEPS)


@pytest.mark.parametrize("series", ["N06-pulse", "N13-lift", "N15-pulse"])
def test_steps_show_a_series_of_the_course(example: TrialsWalk, series: str) -> None:
    """A window, no spots, no window: each step shows something; none fails."""
    assert set(WORTH_A_LOOK) <= set(example.series())

    example.pick(series=series)
    for name in STEPS:
        words = shown(example, name)

        assert "The program failed" not in words, name
        assert "can’t be shown" not in words, name
        assert any(part in words for part in ("<p>", "<svg", "<td>")), name

    example.pick(series="N06-pulse")


def test_the_list_names_no_dry_brush_for_droppings(example: TrialsWalk) -> None:
    """Guano is never swept dry (GSA, removing bird excrement); card and list name one method."""
    example.pick(series="N13-lift")
    named = "amping and lifting by hand"

    assert named in shown(example, "list")
    assert "Dry brushing" not in shown(example, "list")
    assert named in shown(example, "card")

    example.pick(series="N06-pulse")


@pytest.mark.parametrize(("zones", "panels"), [(0, 0), (3, 0), (3, 1)])
def test_no_step_fails_where_next_to_nothing_is_recorded(
    own: Callable[..., TrialsWalk], zones: int, panels: int
) -> None:
    """No zone, no panel, one panel of two: each step says something, in whole sentences."""
    walk = own(zones, *[PANEL][:panels])
    for name in STEPS:
        words = shown(walk, name)

        assert "The program failed" not in words, name
        assert "Traceback" not in words, name
        assert any(part in words for part in ("<p>", "<svg", "<td>")), name
        if not panels and name not in WITHOUT_TRIALS:
            assert "no trial panels yet. Trials are works: they need consent" in words, name


def test_a_series_without_spots_says_what_counts(own: Callable[..., TrialsWalk]) -> None:
    """There is no curve, window or plan of a series without spots; what is not recorded is said."""
    walk = own(1, PANEL)

    for name in ("spots", "counts", "line"):
        assert "so there is no curve. Read its panels instead." in shown(walk, name)
    assert "No quantity of the setting is recorded" in shown(walk, "setting")
    assert "Not recorded: " in shown(walk, "setting")

    page = walk.plan()
    page.shown.hear(Event("press", arg=PLAN))

    assert "No next trial of this series is planned: no spots were laid." in page.shown.html()


@pytest.mark.parametrize("name", ["card", "setting", "spots", "plan"])
def test_what_gives_a_setting_gives_every_caution(example: TrialsWalk, name: str) -> None:
    """Beside card, setting, window and plan stands each caution of the series, in full."""
    page = getattr(example, name)()
    page.shown.hear(Event("press", arg=PLAN))
    words = unescape(page.shown.html())

    assert len(example.trial.cautions) > 10
    for one in example.trial.cautions:
        assert one.words in words


def test_a_press_on_a_series_changes_every_step(example: TrialsWalk) -> None:
    """Another series in the list is the one of card and window."""
    page, card = example.list(), example.card()

    assert 'data-do="pick_series" data-arg="N15-pulse"' in page.html

    page.shown.hear(Event("pick_series", arg="N15-pulse"))

    assert "N15-pulse, on N15 is chosen" in page.shown.html()
    assert "N15-pulse: " in card.shown.html()
    assert "No setting does both" in shown(example, "spots")

    example.pick(series="N06-pulse")


def test_window_and_margin_are_as_the_report_has_them(example: TrialsWalk) -> None:
    """The window of N06-pulse ends below its setting, and its margin falls just short of 1.3."""
    words = shown(example, "spots")

    assert "up to 0.54 J/cm² peak, damage to more than 15 % of biotite spots is excluded" in words
    assert "Margin 2 by estimate, at least 1.27, where 25 %" in words
    assert "at least 0.386, where 5 %" in words
    assert "the margin falls just short: at least 1.3 is required" in words


def test_dial_is_worked_out_again_for_what_is_typed(example: TrialsWalk) -> None:
    """Half the power is half the fluence; a spot that rests has no lines; nonsense is refused."""
    page = example.dial()

    def typed(name: str, value: str) -> str:
        page.shown.hear(Event("type", name=name, value=value))
        return unescape(page.shown.html())

    assert "peak fluence of 3.18 J/cm²" in unescape(page.html)
    assert "peak fluence of 1.59 J/cm²" in typed("Mean power [W]", "80")
    assert "From line to line" not in typed("The spot", "rests")
    assert "peak fluence" not in typed("Mean power [W]", "-3")
    assert "above 0" in typed("Mean power [W]", "-3")


def test_plan_follows_the_share_that_is_to_be_ruled_out(example: TrialsWalk) -> None:
    """Ruling out rarer damage takes more panels; nothing is planned before the button."""
    page = example.plan()

    assert "settings from" not in page.html

    page.shown.hear(Event("press", arg=PLAN))
    agreed = page.shown.html()
    page.shown.hear(Event("type", name="Share of spots damaged that is to be ruled out",
                          value="0,05"))  # fmt: skip

    assert "settings from" not in page.shown.html()

    page.shown.hear(Event("press", arg=PLAN))

    assert panels_of(agreed) < panels_of(page.shown.html())


def panels_of(page: str) -> int:
    """On how many panels a plan is confirmed."""
    return int(re.findall(r"20 spots on each of (\d+) panels", page)[0])


def test_published_thresholds_are_never_a_setting(example: TrialsWalk) -> None:
    """Those of nanosecond pulses come first, with the words that none is a setting."""
    words = shown(example, "published")

    assert "dark gypsum crust on limestone or marble" in words
    assert "biotite" not in words
    assert "Never a setting" in words
