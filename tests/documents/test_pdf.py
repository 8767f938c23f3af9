"""What a template says, as the paper takes it: every word, and characters that can be printed."""

from __future__ import annotations

import base64
from html import escape
from typing import Any

import pytest
from fontTools.ttLib import TTFont

from heritagecheck.documents.pdf import as_pdf, has_sign, page_of
from heritagecheck.figures.svg import FONTS

SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 10"><text>שער 7</text></svg>'
PICTURE = '<img class="map" alt="a gate" src="data:image/svg+xml;base64,{}">'


def words(kids: list[Any]) -> str:
    """Words of a tree, one after the other."""
    return "".join(kid if isinstance(kid, str) else words(kid["kids"]) for kid in kids)


def test_lines_of_a_template_are_one_text() -> None:
    """White space between blocks is none, within a line it is one space."""
    page = page_of("<div>\n<p>One\n  <b>two</b> three</p>\n\n<p>four </p>\n</div>")

    assert page.tree[0]["kids"][0]["kids"][0] == "One "
    assert words(page.tree) == "One two threefour"


def test_a_link_that_leads_nowhere_is_mere_text() -> None:
    """A dead link would stop the whole report."""
    page = page_of('<p id="here"><a href="#here">a</a><a href="#gone">b</a></p>')
    [found, lost] = page.tree[0]["kids"]

    assert (found["href"], "href" in lost) == ("here", False)
    assert words(page.tree) == "ab"


@pytest.mark.parametrize(
    ("text", "shown", "names"),
    [
        ("שער", "□□□", "U+05E9 hebrew letter shin"),
        ("泵站", "□□", "U+6CF5 cjk unified ideograph-6cf5"),
        ("wet 💧", "wet □", "U+1F4A7 droplet"),
        ("Przęsło, Δ 5 µm, ×50", "Przęsło, Δ 5 µm, ×50", ""),
        ("Cafe\u0301", "Café", ""),
        ("left\u2067right", "leftright", ""),
    ],
    ids=["right to left", "ideographs", "emoji", "ours", "composed", "direction only"],
)
def test_characters_that_our_fonts_lack_are_replaced_and_named(
    text: str, shown: str, names: str
) -> None:
    """The text can be looked up by the names; what shows nothing is left out in silence."""
    page = page_of(f"<p>{text}</p>")

    assert words(page.tree) == shown
    if names:
        assert page.unseen[0]["text"] == shown
        assert names in page.unseen[0]["names"]
    else:
        assert page.unseen == []


def test_words_within_a_picture_are_looked_at_too() -> None:
    """One character that is missing there would stop the whole PDF."""
    page = page_of(PICTURE.format(base64.b64encode(SVG.encode()).decode()))

    assert "<text>□□□ 7</text>" in page.pictures[page.tree[0]["picture"]]
    assert page.tree[0]["ratio"] == 0.25
    assert page.unseen[0]["text"] == "□□□ 7"


def test_a_picture_from_elsewhere_is_refused() -> None:
    """Nothing is fetched, from the network or from this machine."""
    with pytest.raises(ValueError, match="must lie in its page, not at https://example"):
        page_of('<img class="map" alt="none" src="https://example.org/picture.svg">')


def test_a_tag_left_open_is_an_error() -> None:
    """What would follow it would be set as a part of it."""
    with pytest.raises(ValueError, match="</div> closes <p>"):
        page_of("<div><p>open</div>")


@pytest.mark.parametrize("name", ["SourceSans3-Regular.ttf", "SourceSans3-SemiBold.ttf"])
def test_list_of_characters_is_that_of_the_fonts(name: str) -> None:
    """One listed and not there would stop the PDF; one there and not listed would be lost."""
    found = set(TTFont(FONTS / name).getBestCmap())

    assert {sign for sign in range(0x20000) if has_sign(chr(sign))} == found
    assert set(TTFont(FONTS / "Literata-Regular.ttf").getBestCmap()) <= found


def test_a_page_of_any_signs_is_set() -> None:
    """Whatever a survey holds, its sheet is a PDF."""
    words = f"<h1>שער</h1><p>שער 泵站 💧 {escape(SVG)}</p>"
    html = f'<article id="sheet-1" label="zone שער">{words}</article>'
    content = as_pdf(
        html, "field_sheet.typ", title="泵站", edge={"made": "שער"}, day=None, values={"values": 1}
    )

    assert content.startswith(b"%PDF-")
