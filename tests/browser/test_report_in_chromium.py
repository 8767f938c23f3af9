"""The report as its readers meet it: from disk, in a browser, on screens of three sizes."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any

import pytest
from browsing import LAPTOP, PHONE, TABLET, Size, Window, window

import heritagecheck as hc
from heritagecheck.documents.zone_sheet import zone_sheet

ZONES = ["N06", "N13", "T05", "C03"]
# axe takes seconds a page; between them nothing is shown that neither of them shows.
WIDE_AND_NARROW = [LAPTOP, PHONE]

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

# The boxes of words of each picture of harm, that of the picture, and the size of its type.
BOXES = """() => [...document.querySelectorAll(SELECTOR)].map(picture => {
  const box = one => { const {left, right, top, bottom} = one.getBoundingClientRect();
                       return [left, right, top, bottom]; };
  const words = [...picture.querySelectorAll('text')];
  const scale = picture.getBoundingClientRect().width / picture.viewBox.baseVal.width;
  return {whole: box(picture), letters: 13 * scale,
          words: words.map(one => [one.textContent, ...box(one)])};
})"""
# What axe finds at least serious, with the first element it stands in.
AXE = """async () => (await axe.run(document, {resultTypes: ['violations']})).violations
  .filter(one => ['serious', 'critical'].includes(one.impact))
  .map(one => one.id + ': ' + one.nodes[0].html.slice(0, 200))"""


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


def test_what_unfolds_is_tall_enough_for_a_finger(opened: Window) -> None:
    """The screens show the same sheets: 44 px (WCAG 2.2, criterion 2.5.5, target size)."""
    heights = opened.page.evaluate(
        "() => [...document.querySelectorAll('.hc details > summary')]"
        ".filter(one => one.offsetParent).map(one => one.getBoundingClientRect().height)"
    )

    assert heights
    assert min(heights) >= 44


@pytest.mark.parametrize("zone", ZONES)
def test_outcome_of_each_zone_is_to_be_seen(opened: Window, assessment: Any, zone: str) -> None:
    """The sheet of a zone states its outcome, in sight and in words."""
    outcome = opened.page.locator(f"#sheet-{zone} .answer > .outcome")
    outcome.scroll_into_view_if_needed()

    assert outcome.is_visible()
    assert outcome.inner_text().strip() == assessment.zone(zone).outcome


@pytest.mark.parametrize("zone", ZONES)
def test_cautions_stand_beside_what_is_recommended(opened: Window, zone: str) -> None:
    """On laptop and tablet to its right, at the same height; on a telephone straight below it."""
    answer, cautions, rest = (
        opened.page.locator(f"#sheet-{zone} .zone-pair {name}").bounding_box()
        for name in ("> .answer", "> .cautions", "+ .pair")
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


@pytest.mark.parametrize("opened", WIDE_AND_NARROW, ids=lambda size: size.name, indirect=True)
def test_axe_finds_nothing_serious_in_the_report(opened: Window, axe: str) -> None:
    """Links without words, poor contrast, boxes that no keyboard reaches: none of them."""
    opened.page.evaluate(axe)

    assert opened.page.evaluate(AXE) == []


@pytest.mark.parametrize("size", WIDE_AND_NARROW, ids=lambda size: size.name)
def test_axe_finds_nothing_serious_in_the_card(
    browser: Any, assessment: Any, axe: str, size: Size
) -> None:
    """The card of a notebook, on a page of its own."""
    card = zone_sheet(assessment, "N06").html
    with window(browser, size) as shown:
        shown.page.set_content(f'<html lang="en"><title>N06</title><main>{card}</main></html>')
        shown.page.evaluate(axe)
        found = [one for one in shown.page.evaluate(AXE) if not one.startswith("heading-order")]

    assert found == []


def overprinted(page: Any, selector: str) -> tuple[int, list[str]]:
    """How many pictures there are, and what in them overlaps, is cut off or too small to read."""
    pictures = page.evaluate(BOXES.replace("SELECTOR", repr(selector)))
    faults = []
    for picture in pictures:
        left, right, top, bottom = picture["whole"]
        if picture["letters"] < 12:
            faults.append(f"letters of {picture['letters']:.1f} pixels")
        for word, x1, x2, y1, y2 in picture["words"]:
            if x1 < left - 1 or x2 > right + 1 or y1 < top - 1 or y2 > bottom + 1:
                faults.append(f"{word} is cut off")
        for (one, *a), (other, *b) in combinations(picture["words"], 2):
            # Boxes are as high as the line: what is written in them is not.
            low = 0.2 * (a[3] - a[2])
            across = min(a[1], b[1]) - max(a[0], b[0])
            down = min(a[3], b[3]) - max(a[2], b[2])
            if across > 1 and down > low:
                faults.append(f"{one} lies over {other}")
    return len(pictures), faults


def test_picture_of_harm_is_legible_in_the_report(opened: Window) -> None:
    """Whole labels, nothing over anything, at each width of screen."""
    count, faults = overprinted(opened.page, "svg.harm")

    assert count > 1
    assert faults == []


@pytest.mark.parametrize("size", [LAPTOP, TABLET, PHONE], ids=lambda size: size.name)
@pytest.mark.parametrize("face", ["serif", "DejaVu Sans", "Liberation Sans"])
def test_picture_of_harm_is_legible_in_a_notebook(
    browser: Any, assessment: Any, size: Size, face: str
) -> None:
    """A notebook lacks our face: also in a wider one nothing is cut off or overprinted."""
    shown = [hc.figures.draw_harm(assessment.zone(zone)) for zone in ("N06", "N13")]
    html = "".join(one._repr_html_() for one in shown).replace("'Source Sans 3'", f"'{face}'")
    with window(browser, size) as opened:
        opened.page.set_content(f"<body>{html}</body>")
        count, faults = overprinted(opened.page, "svg")

    assert count == 2
    assert faults == []


def test_menu_stays_in_view(opened: Window) -> None:
    """Wherever one reads, the parts of the report can be chosen, and no heading lies under them."""
    opened.page.evaluate("location.hash = '#sheet-T05'")
    opened.page.wait_for_timeout(100)
    menu = opened.page.locator("nav").bounding_box()
    heading = opened.page.locator("#sheet-T05").bounding_box()

    assert menu is not None
    assert heading is not None
    assert -1 <= menu["y"] <= 1
    assert heading["y"] >= menu["y"] + menu["height"] - 1


def test_both_families_are_carried(opened: Window) -> None:
    """Report and its pictures are set in our faces on a machine that has neither."""
    loaded = opened.page.evaluate(
        "async () => { await document.fonts.ready; return [...document.fonts]"
        ".filter(one => one.status === 'loaded')"
        ".map(one => one.family.replaceAll('\"', ''))}"
    )

    assert set(loaded) == {"Literata", "Source Sans 3"}
