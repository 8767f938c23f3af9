"""A page of our templates as a tree of plain data, which the style of the paper reads."""

from __future__ import annotations

import base64
import csv
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from html.parser import HTMLParser
from types import MappingProxyType
from typing import Any

from heritagecheck.documents.typefaces import FONTS

Node = dict[str, Any]
INLINE = {"a", "b", "br", "code", "em", "i", "span", "strong", "sup"}
EMPTY = {"br", "img"}
SUBSTITUTE = "□"
SVG_HEAD = "data:image/svg+xml;base64"
SPACE = re.compile(r"[ \t\r\n\f]+")


@dataclass(frozen=True, slots=True)
class Page:
    """
    What is to be set, as plain data.

    `tree` holds nodes: a text, or a mapping of its tag, classes and children; `edge` the words at
    the edge of every sheet; `unseen` the texts that hold characters which our fonts lack, each
    with the names of these.
    """

    tree: list[Any]
    edge: dict[str, str]
    unseen: list[dict[str, str]]


def page_of(html: str, beside: Mapping[str, str] = MappingProxyType({})) -> Page:
    """
    Read a page that one of our templates gave.

    Parameters
    ----------
    html : str
        The page: what stands in its body.
    beside : mapping of str to str
        Words that stand at the edge of every sheet, under names of the style.

    Returns
    -------
    Page
        Runs of white space are one space. A link that leads nowhere is mere text. Characters that
        our fonts lack are shown by a substitute, and listed.
    """
    reader = _Reader()
    reader.feed(html)
    reader.close()
    unseen: dict[str, str] = {}
    edge = {name: _shown(words, unseen) for name, words in beside.items()}
    tree = [_finished(kid, reader.places, unseen) for kid in _trimmed(reader.root["kids"])]
    return Page(tree, edge, [{"text": text, "names": names} for text, names in unseen.items()])


class _Reader(HTMLParser):
    """Elements in one another, with the names that links may lead to."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root: Node = {"tag": "body", "kids": []}
        self.open = [self.root]
        self.places: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        node: Node = {"tag": tag, "class": given.pop("class", "").split(), **given, "kids": []}
        if "id" in given:
            self.places.add(given["id"])
        self.open[-1]["kids"].append(node)
        if tag not in EMPTY:
            self.open.append(node)

    def handle_endtag(self, tag: str) -> None:
        if self.open[-1]["tag"] != tag:
            raise ValueError(f"</{tag}> closes <{self.open[-1]['tag']}>.")
        self.open.pop()

    def handle_data(self, data: str) -> None:
        kids = self.open[-1]["kids"]
        if kids and isinstance(kids[-1], str):
            data = kids.pop() + data
        kids.append(SPACE.sub(" ", data))


def _trimmed(kids: list[Any]) -> list[Any]:
    """Children without the white space at the ends of their lines."""
    found = []
    for place, kid in enumerate(kids):
        words = kid
        if isinstance(kid, str):
            if place == 0 or not _inline(kids[place - 1]):
                words = words.removeprefix(" ")
            if place == len(kids) - 1 or not _inline(kids[place + 1]):
                words = words.removesuffix(" ")
        if words:
            found.append(words)
    return found


def _inline(kid: Any) -> bool:
    """Whether a child stands in a line of text."""
    return isinstance(kid, str) or kid["tag"] in INLINE


def _finished(kid: Any, places: set[str], unseen: dict[str, str]) -> Any:
    """A child as it is handed over."""
    if isinstance(kid, str):
        return _shown(kid, unseen)
    kids = kid["kids"] if kid["tag"] in INLINE else _trimmed(kid["kids"])
    node = kid | {"kids": [_finished(one, places, unseen) for one in kids]}
    if node.get("href", "#").removeprefix("#") not in places:
        node.pop("href", None)
    if "label" in node:
        node["label"] = _shown(node["label"], unseen)
    if "src" in node:
        head, _, carried = node.pop("src").partition(",")
        if head != SVG_HEAD:
            raise ValueError(f"A picture must lie in its page, not at {head[:80]}.")
        source = base64.b64decode(carried).decode()
        node["svg"] = re.sub(r"(?<=>)[^<>]+(?=<)", lambda words: _shown(words[0], unseen), source)
        node["ratio"] = _ratio(source)
    return node


def _ratio(svg: str) -> float:
    """Height of a drawing over its width."""
    box = re.search(r'viewBox="([^"]*)"', svg)
    assert box is not None, svg[:200]
    _, _, width, height = (float(number) for number in box[1].replace(",", " ").split())
    return height / width


def _shown(text: str, unseen: dict[str, str]) -> str:
    """A text in characters that our fonts have; a text that had others is noted."""
    if text.isascii():
        return text
    text = unicodedata.normalize("NFC", text)
    missing = dict.fromkeys(sign for sign in text if not has_sign(sign) and not sign.isspace())
    # Marks that only direct how others are set show nothing themselves.
    named = [sign for sign in missing if unicodedata.category(sign) != "Cf"]
    table = {ord(sign): SUBSTITUTE if sign in named else None for sign in missing}
    shown = text.translate(table)
    for line in shown.splitlines() if named else ():
        if SUBSTITUTE in line and len(line) < 400:
            unseen.setdefault(line.strip(), "; ".join(map(_name, named)))
    return shown


def _name(sign: str) -> str:
    """Name of a character by which it can be looked up."""
    return f"U+{ord(sign):04X} {unicodedata.name(sign, 'without a name').lower()}"


def has_sign(sign: str) -> bool:
    """
    Whether our sans, which stands in for the serif as well, has a character.

    Parameters
    ----------
    sign : str
        One character.

    Returns
    -------
    bool
    """
    return ord(sign) in _signs()


@cache
def _signs() -> frozenset[int]:
    """Characters of our sans."""
    with (FONTS / "signs.csv").open(encoding="ascii", newline="") as lines:
        return frozenset(
            sign
            for row in csv.DictReader(lines)
            for sign in range(int(row["first"], 16), int(row["last"], 16) + 1)
        )
