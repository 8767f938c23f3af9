"""A page of our templates becomes a tagged PDF, without clock or network: a tree, set by Typst."""

from __future__ import annotations

import base64
import csv
import json
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, NamedTuple

from heritagecheck.documents.typst_process import typeset
from heritagecheck.figures.svg import FONTS

if TYPE_CHECKING:
    from typst import PDFStandard

STYLES = Path(__file__).parent / "templates"
# Kept readable for decades, and by ear.
STANDARDS: list[PDFStandard] = ["a-2a", "ua-1"]
# Only this one takes files along.
WITH_FILES: list[PDFStandard] = ["a-3a", "ua-1"]
# A survey that has no date yet was closed on none; the file then says nothing of our day.
NO_DATE = date(1970, 1, 1)
# Zones measured by one process, which takes some 5 MB for each until it ends.
MEASURED_AT_ONCE = 20
# What is only measured needs no drawing: its height is known from its ratio.
BLANK = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"/>'


def as_pdf(
    html: str,
    style: str,
    *,
    title: str,
    edge: Mapping[str, str],
    day: date | None,
    values: Mapping[str, Any] = MappingProxyType({}),
) -> bytes:
    """Set a page as a PDF."""
    return set_page(read_page(html, title=title, edge=edge, values=values), style, day=day)


class PageRead(NamedTuple):
    """What a style reads of a page, as JSON, and the drawings of the page by their files."""

    told: str
    pictures: dict[str, bytes]


def read_page(
    html: str,
    *,
    title: str,
    edge: Mapping[str, str],
    values: Mapping[str, Any] = MappingProxyType({}),
    beside: Sequence[str] = (),
) -> PageRead:
    """Read a page for a style; neither the page nor its tree, which are large, is needed then."""
    page = page_of(html, edge)
    told = json.dumps({
        **values, "title": title, "beside": beside, **page.edge, "tree": page.tree,
        "unseen": page.unseen,
    })  # fmt: skip
    return PageRead(told, {f"{place}.svg": svg.encode() for place, svg in enumerate(page.pictures)})


def set_page(
    page: PageRead,
    style: str,
    *,
    day: date | None,
    beside: Mapping[str, bytes] = MappingProxyType({}),
    measured: bool = False,
) -> bytes:
    """Typeset a page with its attached files."""
    told, pictures = page
    how = {"font_paths": [FONTS], "ignore_system_fonts": True}
    if measured:
        files = _files(style, told) | dict.fromkeys(pictures, BLANK)
        told = f'{told[:-1]}, "measured": {json.dumps(_measured(files, how))}}}'
    return typeset(
        "compile",
        {**_files(style, told), **pictures, **beside},
        format="pdf",
        pdf_standards=WITH_FILES if beside else STANDARDS,
        timestamp=datetime.combine(day or NO_DATE, time(), UTC),
        **how,
    )


def _measured(files: Mapping[str, bytes], how: Mapping[str, Any]) -> list[Any]:
    """What a style measures of each zone: some zones at a time, since Typst keeps all of it."""
    found: list[Any] = []
    while len(found) % MEASURED_AT_ONCE == 0:
        part = {"from": str(len(found)), "count": str(MEASURED_AT_ONCE)}
        told = typeset("query", files, selector="<measured>", field="value", sys_inputs=part, **how)
        more = json.loads(told)
        if not more:
            break
        found += more
    return found


def _files(style: str, told: str) -> dict[str, bytes]:
    """Files of a style, with the values that it reads."""
    return {
        "main.typ": (STYLES / style).read_bytes(),
        "paper.typ": (STYLES / "paper.typ").read_bytes(),
        "given.json": told.encode(),
    }


Node = dict[str, Any]
INLINE = {"a", "b", "br", "code", "em", "i", "span", "strong", "sup"}
EMPTY = {"br", "img"}
SUBSTITUTE = "□"
SVG_HEAD = "data:image/svg+xml;base64"
SPACE = re.compile(r"[ \t\r\n\f]+")
WORDS = re.compile(r"(?<=>)[^<>]+(?=<)")


@dataclass(frozen=True, slots=True)
class Page:
    """
    What is to be set, as plain data.

    `tree` holds nodes: a text, or a mapping of its tag, classes and children; `pictures` the
    drawings to which nodes point by their place; `edge` the words at the edge of every sheet;
    `unseen` the texts that hold characters which our fonts lack, each with the names of these.
    """

    tree: list[Any]
    pictures: list[str]
    edge: dict[str, str]
    unseen: list[dict[str, str]]


def page_of(html: str, beside: Mapping[str, str] = MappingProxyType({})) -> Page:
    """Read a page that one of our templates gave."""
    reader = _Reader()
    reader.feed(html)
    reader.close()
    made = _Made(reader.places)
    tree = [made.node(kid) for kid in _trimmed(reader.root["kids"])]
    edge = {name: made.shown(words) for name, words in beside.items()}
    unseen = [{"text": text, "names": names} for text, names in made.unseen.items()]
    return Page(tree, list(made.pictures), edge, unseen)


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
    """Whether a child is inline text."""
    return isinstance(kid, str) or kid["tag"] in INLINE


class _Made:
    """Nodes as they are handed over, and what was found in them."""

    def __init__(self, places: set[str]) -> None:
        self.places = places
        self.pictures: dict[str, int] = {}
        self.unseen: dict[str, str] = {}

    def node(self, kid: Any) -> Any:
        """Make a text or an element ready."""
        if isinstance(kid, str):
            return self.shown(kid)
        kids = kid["kids"] if kid["tag"] in INLINE else _trimmed(kid["kids"])
        made: Node = {"tag": kid["tag"], "class": kid["class"], "kids": [*map(self.node, kids)]}
        made |= {name: kid[name] for name in ("id", "colspan", "alt") if name in kid}
        if "label" in kid:
            made["label"] = self.shown(kid["label"])
        if kid.get("href", "").removeprefix("#") in self.places:
            made["href"] = kid["href"].removeprefix("#")
        if "src" in kid:
            svg = self._picture(kid["src"])
            made["picture"] = self.pictures.setdefault(svg, len(self.pictures))
            made["ratio"] = _ratio(svg)
        return made

    def _picture(self, address: str) -> str:
        """Read a drawing that an address carries."""
        head, _, carried = address.partition(",")
        if head != SVG_HEAD:
            raise ValueError(f"A picture must lie in its page, not at {address[:80]}.")
        svg = base64.b64decode(carried).decode()
        return WORDS.sub(lambda words: self.shown(words[0]), svg)

    def shown(self, text: str) -> str:
        """Give a text in characters that our fonts have; a text that had others is noted."""
        if text.isascii():
            return text
        text = unicodedata.normalize("NFC", text)
        missing = dict.fromkeys(sign for sign in text if not has_sign(sign) and not sign.isspace())
        # Marks that only direct how others are set show nothing themselves.
        named = [sign for sign in missing if unicodedata.category(sign) != "Cf"]
        shown = text.translate({ord(one): SUBSTITUTE if one in named else None for one in missing})
        if named:
            self.unseen.setdefault(shown.strip(), "; ".join(map(_name, named)))
        return shown


def _ratio(svg: str) -> float:
    """Height of a drawing over its width."""
    box = re.search(r'viewBox="([^"]*)"', svg)
    if box is None:
        raise ValueError(f"A picture has no viewBox: {svg[:80]}.")
    _, _, width, height = (float(number) for number in box[1].replace(",", " ").split())
    return height / width


def _name(sign: str) -> str:
    """Name of a character by which it can be looked up."""
    return f"U+{ord(sign):04X} {unicodedata.name(sign, 'without a name').lower()}"


def has_sign(sign: str) -> bool:
    """Whether the sans font, the fallback of the serif too, has a character."""
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
