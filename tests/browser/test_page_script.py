"""The script of the survey screens alone, in a real browser, against a program that is played."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from heritagecheck.screens import live_page

SCRIPT = Path(live_page.__file__).with_name("page.js").read_text(encoding="utf-8")
# A program that notes what it is told, and answers when the test says so.
PLAYED = """() => {
window.told = [];
window.acts = {};
window.values = {html: "", route: "zone/N01/what", kept_as: "survey.db"};
const model = {
  get: (name) => window.values[name],
  on: (name, act) => { window.acts[name] = act; },
  send: (event, _, buffers) => window.told.push({ ...event, bytes: buffers?.[0]?.byteLength }),
};
window.shows = (html) => { window.values.html = html; window.acts["change:html"](); };
window.answers = (number) => window.acts["msg:custom"]({ answered: number }, []);
const script = URL.createObjectURL(new Blob([window.script], { type: "text/javascript" }));
window.opened = import(script).then(({ default: it }) => it.render({ model, el: document.body }));
}"""
FIELD = '<input type="text" name="new.name" value="{}" data-enter="new">'


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    """A page of its own, with a store of its own."""
    context = browser.new_context()
    found = context.new_page()
    found.route("http://survey.test/**", lambda route: route.fulfill(
        body="<!doctype html><body></body>", content_type="text/html"))  # fmt: skip
    found.goto("http://survey.test/")
    yield found
    context.close()


def opened(page: Any) -> None:
    """Let the script begin on the page."""
    page.evaluate("script => { window.script = script; }", SCRIPT)
    page.evaluate(PLAYED)
    page.evaluate("() => window.opened")


def told(page: Any, do: str) -> list[dict[str, Any]]:
    """What the program was told of one kind."""
    found: list[dict[str, Any]] = page.evaluate(
        "what => window.told.filter((one) => one.do === what)", do
    )
    return found


def test_what_the_program_never_read_is_told_again(page: Any) -> None:
    """A tablet that is reloaded while nobody listened loses neither text nor reading."""
    left = [
        {"name": "zone.name", "value": "door jamb", "route": "zone/N01/what"},
        {"do": "line", "value": "45\t1\t8", "once": "7", "route": "zone/N01/colour"},
    ]
    page.evaluate("left => localStorage.setItem('page survey.db', left)", json.dumps(left))

    opened(page)

    assert [(one["name"], one["value"]) for one in told(page, "type")] == [
        ("zone.name", "door jamb")
    ]
    assert [(one["value"], one["once"]) for one in told(page, "line")] == [("45\t1\t8", "7")]


def test_a_field_is_emptied_by_enter_although_its_text_is_read_first(page: Any) -> None:
    """The next name is not written behind the last, whichever answer comes first."""
    opened(page)
    page.evaluate("html => window.shows(html)", FIELD.format(""))
    page.click("input")
    page.keyboard.type("north front")
    page.keyboard.press("Enter")
    # On a slow machine the text is told in several pieces.
    typed, pressed = ([one["number"] for one in told(page, do)] for do in ("type", "new"))

    page.evaluate("html => window.shows(html)", FIELD.format("north front"))
    for number in typed:
        page.evaluate("number => window.answers(number)", number)
    page.evaluate("html => window.shows(html)", FIELD.format(""))
    page.evaluate("number => window.answers(number)", pressed[-1])

    assert page.input_value("input") == ""


def test_more_than_the_browser_can_keep_still_reaches_the_program(page: Any) -> None:
    """A pasted book is sent, and refused there in a sentence, though no store holds it."""
    opened(page)
    page.evaluate("html => window.shows(html)", FIELD.format(""))
    page.evaluate("""() => {
        const field = document.querySelector("input");
        field.value = "x".repeat(11_000_000);
        field.dispatchEvent(new Event("input", { bubbles: true }));
        field.dispatchEvent(new Event("focusout", { bubbles: true }));
    }""")

    assert len(told(page, "type")[-1]["value"]) == 11_000_000


def test_files_go_over_one_after_the_other(page: Any) -> None:
    """Two files chosen at once on two fields both arrive whole."""
    opened(page)
    fields = '<input type="file" data-take="photo"><input type="file" data-take="meter">'
    page.evaluate("html => window.shows(html)", fields)
    for place, name in enumerate(("a.jpg", "b.csv")):
        page.locator("input").nth(place).set_input_files(
            {"name": name, "mimeType": "text/plain", "buffer": b"x" * 600_000}
        )

    for number in range(1, 5):
        page.wait_for_function(
            "n => window.told.filter((one) => one.do === 'file').length === n", arg=number
        )
        page.evaluate("number => window.answers(number)", told(page, "file")[-1]["number"])

    sent = [(one["name"], one["from"], one["bytes"], one["last"]) for one in told(page, "file")]
    assert sent == [
        ("a.jpg", 0, 524_288, False), ("a.jpg", 524_288, 75_712, True),
        ("b.csv", 0, 524_288, False), ("b.csv", 524_288, 75_712, True),
    ]  # fmt: skip


def test_what_is_being_typed_is_not_overwritten_by_an_older_page(page: Any) -> None:
    """A page that Python wrote before it read the last letters leaves text and caret alone."""
    opened(page)
    page.evaluate("html => window.shows(html)", FIELD.format(""))
    page.click("input")
    page.keyboard.type("north front")

    page.evaluate("html => window.shows(html)", FIELD.format("nor"))

    assert page.input_value("input") == "north front"
    assert page.evaluate("document.activeElement.selectionStart") == len("north front")
