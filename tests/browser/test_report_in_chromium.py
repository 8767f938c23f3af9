"""The report as its readers meet it: from disk, in a browser, on screens of three sizes."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from browsing import LAPTOP, PHONE, TABLET, Window, window

import heritagecheck as hc

ZONES = ["N06", "N13", "T05", "C03"]

NAMELESS = """() => [...document.querySelectorAll('img, svg[role="img"]')]
  .filter(one => !['aria-label', 'alt'].some(name => (one.getAttribute(name) || '').trim()))
  .filter(one => !(one.tagName === 'IMG' && one.getAttribute('alt') === ''))
  .map(one => one.outerHTML.slice(0, 120))"""
DEAD_LINKS = """() => [...document.querySelectorAll('a[href^="#"], use[href^="#"]')]
  .map(link => link.getAttribute('href').slice(1))
  .filter(name => !document.getElementById(decodeURIComponent(name)))"""
IDS = "() => [...document.querySelectorAll('[id]')].map(one => one.id)"
HEADINGS = """() => [...document.querySelectorAll('h1, h2, h3, h4, h5, h6')]
  .map(one => [Number(one.tagName[1]), one.textContent.trim()])"""
# What sticks out of the page, unless a box of its own lets it be moved.
TOO_WIDE = """width => [...document.querySelectorAll('body *')]
  .filter(one => one.getBoundingClientRect().right > width + 1 && !one.closest('.scroll'))
  .map(one => one.outerHTML.slice(0, 120))"""


@pytest.fixture(scope="module")
def assessment() -> Any:
    """Give an assessment of four zones: each outcome but one, stone and steel, urgent and not."""
    return hc.assess(hc.demo_survey(), zones=ZONES)


@pytest.fixture(scope="module")
def report(assessment: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the written report."""
    (path,) = hc.write_report(assessment, tmp_path_factory.mktemp("report"), formats=("html",))
    return path


@pytest.fixture(scope="module", params=[LAPTOP, TABLET, PHONE], ids=lambda size: size.name)
def opened(request: pytest.FixtureRequest, browser: Any, report: Path) -> Iterator[Window]:
    """Give the report opened from disk."""
    with window(browser, request.param) as shown:
        shown.page.goto(report.as_uri())
        yield shown


def test_report_asks_for_nothing_but_itself(opened: Window, report: Path) -> None:
    """No font, script or picture is fetched, from the network or from beside the report."""
    asked = [address for address in opened.asked if not address.startswith("data:")]

    assert asked == [report.as_uri()]


def test_browser_complains_of_nothing(opened: Window) -> None:
    """No error stands in the browser's console."""
    assert opened.complaints == []


def test_page_is_no_wider_than_the_screen(opened: Window) -> None:
    """Nobody has to push the page to the side; wide tables move in boxes of their own."""
    wide = opened.page.evaluate(TOO_WIDE, opened.size.width_px)
    width = opened.page.evaluate("document.documentElement.scrollWidth")

    assert width <= opened.size.width_px, "\n".join(wide[:10])


@pytest.mark.parametrize("zone", ZONES)
def test_outcome_of_each_zone_is_to_be_seen(opened: Window, assessment: Any, zone: str) -> None:
    """The sheet of a zone states its outcome, in sight and in words."""
    outcome = opened.page.locator(f"#sheet-{zone} .outcome")
    outcome.scroll_into_view_if_needed()

    assert outcome.is_visible()
    assert outcome.inner_text().strip() == assessment.zone(zone).outcome


@pytest.mark.parametrize("zone", ZONES)
def test_cautions_stand_beside_what_is_recommended(opened: Window, zone: str) -> None:
    """On laptop and tablet to its right, at the same height; on a telephone straight below it."""
    answer, cautions, rest = (
        opened.page.locator(f"#sheet-{zone} .zone-pair > .{name}").bounding_box()
        for name in ("answer", "cautions", "rest")
    )
    said = opened.page.locator(f"#sheet-{zone} .sentence").bounding_box()

    if opened.size.width_px > PHONE.width_px:
        assert cautions["x"] >= said["x"] + said["width"]
        assert cautions["y"] <= said["y"] <= cautions["y"] + cautions["height"]
    else:
        assert answer["y"] + answer["height"] <= cautions["y"]
        assert cautions["y"] + cautions["height"] <= rest["y"]


def test_links_within_the_report_lead_somewhere(opened: Window) -> None:
    """Every link to a place on the page finds that place."""
    assert opened.page.evaluate(DEAD_LINKS) == []


def test_every_name_stands_once(opened: Window) -> None:
    """No id is there twice: a link or a hatch would take the first of them, of another zone."""
    names = opened.page.evaluate(IDS)

    assert sorted({name for name in names if names.count(name) > 1}) == []


def test_every_picture_has_a_name(opened: Window) -> None:
    """Who can't see a picture hears what it shows."""
    assert opened.page.evaluate(NAMELESS) == []


def test_headings_skip_no_level(opened: Window) -> None:
    """Who walks by the headings finds one at the top and none a step too deep."""
    headings = opened.page.evaluate(HEADINGS)
    skipped = [
        f"{after[1]!r} below {before[1]!r}"
        for before, after in pairwise(headings)
        if after[0] > before[0] + 1
    ]

    assert headings[0][0] == 1
    assert not skipped, "\n".join(skipped)


@pytest.mark.parametrize("zone", ZONES)
def test_all_numbers_open_by_keyboard(opened: Window, zone: str) -> None:
    """The numbers and records of a zone open, and close again, without a mouse."""
    details = opened.page.locator(f"#sheet-{zone} details")
    details.locator("summary").focus()
    opened.page.keyboard.press("Enter")
    shown = details.locator("table").first.is_visible()
    opened.page.keyboard.press("Enter")

    assert shown
    assert not details.locator("table").first.is_visible()
