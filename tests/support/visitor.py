"""Somebody at the survey's pages in a real browser, whose key strokes and taps are counted."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import Any

from browsing import LAPTOP, PHONE, TABLET, Window

TO_ANSWER_MS = 30_000
SETTLED = "document.querySelector('.hc-live')?.dataset.waiting === '0'"
FITS = "width => innerWidth === width && document.documentElement.scrollWidth <= width"
# What axe finds at least serious, with the first element it is found in.
AXE = """async () => (await axe.run('.hc-live', {resultTypes: ['violations']})).violations
  .filter(one => ['serious', 'critical'].includes(one.impact))
  .map(one => one.id + ': ' + one.nodes[0].html.slice(0, 200))"""
SMALL = """() => [...document.querySelectorAll(
    '.hc-screen :is(button, input, select, textarea, summary)')]
  .filter(one => one.offsetParent && one.type !== 'file')
  .map(one => [one.getBoundingClientRect().height, one.outerHTML.slice(0, 120)])
  .filter(([height]) => height < 43.5)"""
PROGRAM_FAULTS = "Traceback|The program failed|undefined|\\bnan\\b"


@dataclass
class Visitor:
    """One person at one page."""

    window: Window
    axe: str
    strokes: int = 0
    taps: int = 0
    began_s: float = field(default_factory=time.monotonic)

    @property
    def page(self) -> Any:
        """The page in the browser."""
        return self.window.page

    def arrive(self, address: str, role: str) -> None:
        """Open the start page and say who it is."""
        self.page.set_default_timeout(TO_ANSWER_MS)
        self.page.goto(address, timeout=3 * TO_ANSWER_MS)
        self.arrive_again()
        if self.page.get_by_label("Your role").count():
            self.write("Your role", role)
            self.press("Begin")

    def arrive_again(self) -> None:
        """Wait until the page is there, as after a reload."""
        self.page.locator(".hc-screen h1").wait_for(timeout=3 * TO_ANSWER_MS)
        self.page.add_script_tag(content=self.axe)
        self.settle()

    def settle(self) -> None:
        """Wait until the program has answered everything."""
        self.page.wait_for_function(SETTLED)

    def press(self, name: str, *, exact: bool = False, within: str = ".hc-screen") -> None:
        """Press the first button of that name."""
        found = self.page.locator(within).get_by_role("button", name=name, exact=exact)
        found.first.click()
        self.taps += 1
        self.settle()

    def write(self, label: str, text: str, *, enter: bool = False) -> None:
        """Type into the first field of that label."""
        field = self.page.get_by_label(label).first
        field.click()
        self.taps += 1
        field.fill("")
        field.press_sequentially(text)
        self.strokes += len(text)
        if enter:
            self.key("Enter")
        self.settle()

    def fill(self, name: str, text: str) -> None:
        """Type into the field of that name."""
        self.page.locator(f'[name="{name}"]').fill(text)
        self.strokes += len(text)

    def begin_to_count(self) -> None:
        """Count strokes, taps and seconds from here on."""
        self.strokes, self.taps, self.began_s = 0, 0, time.monotonic()

    @property
    def told(self) -> str:
        """What it took since counting began."""
        seconds = time.monotonic() - self.began_s
        return f"{self.strokes} key strokes, {self.taps} taps, {seconds:.0f} s"

    def key(self, name: str) -> None:
        """Press one key."""
        self.page.keyboard.press(name)
        self.strokes += 1
        self.settle()

    def tap(self, across: float, down: float) -> None:
        """Tap on the picture, at a share of its width and of its height."""
        plate = self.page.locator("svg.plate")
        plate.scroll_into_view_if_needed()
        box = plate.bounding_box()
        place = (box["x"] + across * box["width"], box["y"] + down * box["height"])
        self.page.touchscreen.tap(*place) if self.window.size.touch else self.page.mouse.click(
            *place
        )
        self.taps += 1
        self.settle()

    def sees(self, words: str) -> bool:
        """Whether the page says so now."""
        return words in self.text

    @property
    def text(self) -> str:
        """Everything the page says."""
        said: str = self.page.locator(".hc-live").inner_text()
        return said

    def look(self, name: str) -> None:
        """See that the screen is sound at three widths."""
        for size in (PHONE, LAPTOP, TABLET):
            self.page.set_viewport_size({"width": size.width_px, "height": size.height_px})
            self.page.wait_for_function(FITS, arg=size.width_px)
        assert self.page.evaluate(SMALL) == [], f"{name}: targets under 44 px"
        assert self.page.evaluate(AXE) == [], f"{name}: axe"
        assert self.window.outside == [], f"{name}: asked of another machine"
        assert self.window.complaints == [], f"{name}: the browser complains"
