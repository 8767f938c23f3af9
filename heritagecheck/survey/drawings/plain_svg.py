"""A drawing from elsewhere, rewritten with nothing but known shapes, words and colours."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from hashlib import sha256
from typing import Any
from xml.etree import ElementTree as ET

from defusedxml import DefusedXmlException
from defusedxml import ElementTree as SafeET

from heritagecheck.survey.drawings.path_data import (
    FARTHEST,
    NUMBER,
    check_steps,
    matrix_of,
    within_reach,
)

SVG = "http://www.w3.org/2000/svg"
XLINK_HREF = "{http://www.w3.org/1999/xlink}href"
# More than a page should carry, and no more than is read in some seconds.
MOST_BYTES = 4 * 2**20
MOST_ELEMENTS = 50_000  # each as often as another element shows it
MOST_ZONES = 3_000
DEEPEST = 100
LONGEST = 1_000  # letters of a value, other than of an outline
MOST_TOLD = 20  # faults; more are counted
SHOWN = 40  # letters of a value in a message

WORDS = {"text", "tspan", "title", "desc"}
ELEMENTS = WORDS | {
    "svg", "g", "defs", "symbol", "use", "path", "rect", "circle", "ellipse", "line", "polyline",
    "polygon", "clipPath", "linearGradient", "radialGradient", "stop", "pattern",
}  # fmt: skip
# A link leads away and a switch asks the browser: what they hold is a group like any other.
AS_GROUP = {"a", "switch"}
ABOUT_THE_FILE = {"metadata", "view", "cursor"}  # not visible, so their loss is not reported

_LENGTH = re.compile(rf"({NUMBER.pattern})(px|pt|pc|mm|cm|in|em|ex|%)?", re.ASCII)
_PATH = re.compile(r"[MmLlHhVvCcSsQqTtAaZzEe0-9+\-., ]*", re.ASCII)
_PAINT = re.compile(
    r"#[0-9a-f]{3,8}|[a-z]+|rgba?\([0-9.,% /]+\)|hsla?\([0-9.,% /a-z]+\)"
    r"|(?-i:url)\(#[^ ()'\"]+\)(?: ?(?:#[0-9a-f]{3,8}|[a-z]+))?",
    re.ASCII | re.IGNORECASE,
)
_WORD = re.compile(r"[A-Za-z0-9 -]+", re.ASCII)
_FACE = re.compile(r"[\w ,.-]+")
_POINTED = re.compile(r"url\(#([^ ()'\"]+)\)")


def _is_number(value: str) -> bool:
    """Whether a value is one plain number."""
    return bool(NUMBER.fullmatch(value)) and within_reach(value)


def _is_length(value: str) -> bool:
    """Whether a value is one number, with or without a unit."""
    found = _LENGTH.fullmatch(value)
    return bool(found and within_reach(found[1]))


def _are_numbers(value: str) -> bool:
    """Whether a value is a row of numbers."""
    found = NUMBER.findall(value)
    return bool(found) and not NUMBER.sub("", value).strip(" ,") and all(map(within_reach, found))


# Where a shape lies: what can't be followed here is a fault, for the shape would lie elsewhere.
_A_LENGTH, _NUMBERS = (_is_length, "a number such as 12.5"), (_are_numbers, "numbers")
PLACES: dict[str, tuple[Callable[[str], bool], str]] = {
    **dict.fromkeys(
        ("x", "y", "width", "height", "cx", "cy", "r", "rx", "ry", "x1", "y1", "x2", "y2",
         "fx", "fy", "offset"),
        _A_LENGTH,
    ),
    **dict.fromkeys(("points", "dx", "dy", "rotate", "viewBox"), _NUMBERS),
    **dict.fromkeys(("data-label-x", "data-label-y"), (_is_number, "a number such as 12.5")),
}  # fmt: skip
TRANSFORMS = {"transform", "gradientTransform", "patternTransform"}
# How it looks: what is not known here is left out.
STYLE: dict[str, Callable[[str], object]] = {
    **dict.fromkeys(
        ("stroke-width", "stroke-miterlimit", "stroke-dashoffset", "font-size", "letter-spacing",
         "opacity", "fill-opacity", "stroke-opacity", "stop-opacity"),
        _is_length,
    ),
    "stroke-dasharray": lambda value: value == "none" or _are_numbers(value),
    "font-family": _FACE.fullmatch,
    **dict.fromkeys(("fill", "stroke", "stop-color", "color", "clip-path"), _PAINT.fullmatch),
    **dict.fromkeys(
        ("fill-rule", "clip-rule", "stroke-linecap", "stroke-linejoin", "text-anchor",
         "font-style", "font-weight", "dominant-baseline", "text-decoration", "display",
         "visibility", "vector-effect", "paint-order"),
        _WORD.fullmatch,
    ),
}  # fmt: skip
LOOKS = STYLE | dict.fromkeys(
    ("gradientUnits", "spreadMethod", "patternUnits", "patternContentUnits", "clipPathUnits",
     "preserveAspectRatio"),
    _WORD.fullmatch,
)  # fmt: skip
POINTERS = ("id", "href", "fill", "stroke", "clip-path")


@dataclass(frozen=True, slots=True)
class PlainDrawing:
    """A drawing as it may be shown, what is wrong in it, and what was left out of it."""

    root: ET.Element
    faults: tuple[str, ...]
    left_out: tuple[str, ...]


@lru_cache(maxsize=16)
def plain_drawing(content: bytes) -> PlainDrawing:
    """A drawing rewritten from only what is known to be harmless."""
    copyist = _Copyist()
    parser = SafeET.XMLParser(target=copyist)
    try:
        if len(content) > MOST_BYTES:
            raise _TooMuchError(
                f"it is larger than {MOST_BYTES // 2**20} MB. Save it with fewer decimals, or "
                "without what the report need not show"
            )
        copyist.expat = parser.parser
        parser.feed(content)
        parser.close()
        root = copyist.finished(f"d{sha256(content).hexdigest()[:8]}-")
    except _TooMuchError as error:
        return _refused(str(error))
    except DefusedXmlException:
        return _refused("this is not plain SVG: it defines entities. Save it as plain SVG")
    except (ET.ParseError, LookupError, ValueError) as error:
        return _refused(f"this is not plain SVG: {error}")
    more = len(copyist.faults) - MOST_TOLD
    faults = [*copyist.faults[:MOST_TOLD], *([f"and {more} more like these"] if more > 0 else [])]
    return PlainDrawing(root, tuple(faults), tuple(dict.fromkeys(copyist.left_out)))


class _TooMuchError(ValueError):
    """A drawing that is too large or too complex."""


def _refused(said: str) -> PlainDrawing:
    """An empty drawing, and why."""
    return PlainDrawing(ET.Element(f"{{{SVG}}}svg"), (said,), ())


def renamed(root: ET.Element, before: str) -> None:
    """Put a prefix before every name in a drawing, so that a page may hold it twice."""
    for element in root.iter():
        for name in POINTERS:
            value = element.get(name)
            if value is None:
                continue
            if name == "id":
                element.set(name, before + value)
            elif name == "href" and value.startswith("#"):
                element.set(name, f"#{before}{value[1:]}")
            else:
                element.set(name, value.replace("url(#", f"url(#{before}"))


class _Copyist:
    """Receives the parts of a file from the parser, and copies what is allowed."""

    def __init__(self) -> None:
        self.expat: Any = None
        self.root: ET.Element | None = None
        self.open: list[ET.Element] = []
        self.last: ET.Element | None = None  # closed before what is read now, in the same one
        self.skipped = self.count = self.zones = 0
        self.faults: list[str] = []
        self.left_out: list[str] = []

    def start(self, tag: str, given: dict[str, str]) -> None:
        """Copy an element, or start to skip it with its contents."""
        self.count += 1
        if self.count > MOST_ELEMENTS:
            raise _TooMuchError(_too_many())
        if len(self.open) + self.skipped >= DEEPEST:
            raise _TooMuchError(
                f"line {self.expat.CurrentLineNumber}: its groups are nested more than {DEEPEST} "
                "deep. Ungroup them"
            )
        space, _, name = tag.rpartition("}")
        if self.root is None and tag != f"{{{SVG}}}svg":
            raise ValueError(f'it begins with <{name[:SHOWN]}>, not with <svg xmlns="{SVG}">')
        if self.skipped or not self._may_stand(space, name):
            self.skipped += 1
            return
        name = "g" if name in AS_GROUP else name
        element = ET.Element(f"{{{SVG}}}{name}")
        if self.open:
            self.open[-1].append(element)
        else:
            self.root = element
        self._copy(element, name, given)
        self.open.append(element)
        self.last = None

    def end(self, _: str) -> None:
        """Close an element."""
        if self.skipped:
            self.skipped -= 1
        else:
            self.last = self.open.pop()

    def data(self, words: str) -> None:
        """Copy words where words are shown; between elements only as part of a text."""
        if self.skipped or not self.open:
            return
        element = self.open[-1]
        if element.tag.rpartition("}")[2] not in WORDS:
            return
        if self.last is None:
            element.text = (element.text or "") + words
        else:
            self.last.tail = (self.last.tail or "") + words

    def close(self) -> None:
        """Required of a parser's target; nothing to do."""

    def _may_stand(self, space: str, name: str) -> bool:
        """Whether an element is allowed; notes those that somebody may miss."""
        if space != f"{{{SVG}":
            if space == "{http://www.w3.org/1999/xhtml" or not space:
                self.left_out.append(f"<{name[:SHOWN]}>")
            return False
        inside = self.open[-1].tag.rpartition("}")[2] if self.open else ""
        # In HTML the content of an SVG title counts as part of the page.
        known = name in ELEMENTS | AS_GROUP and inside not in {"title", "desc"}
        if not known and name not in ABOUT_THE_FILE:
            self.left_out.append(f"<{name[:SHOWN]}>")
        return known

    def _copy(self, element: ET.Element, tag: str, given: dict[str, str]) -> None:
        """Copy the allowed attributes, each with an allowed value."""
        zone = given.get("data-zone", "") if tag == "path" else ""
        who = (
            f"line {self.expat.CurrentLineNumber}, {f'zone {_short(zone)}' if zone else f'<{tag}>'}"
        )
        if zone:
            element.set("data-zone", zone)
            self.zones += 1
        if self.zones > MOST_ZONES:
            raise _TooMuchError(
                f"it outlines more than {MOST_ZONES:,} zones. Share them out between drawings"
            )
        if zone and "d" not in given:
            self.faults.append(f"{who}: it has no outline d. Draw it")
        for key, value in given.items():
            name = "href" if key == XLINK_HREF else key
            try:
                if name in STYLE:
                    self._look(element, name, value)
                elif name == "style":
                    self._declare(element, value)
                else:
                    self._copy_one(element, name, " ".join(value.split()), tag)
            except ValueError as error:
                self.faults.append(f"{who}: {error}")

    def _copy_one(self, element: ET.Element, name: str, value: str, tag: str) -> None:
        """Copy one attribute if it is known; where a shape lies must be plain."""
        whole, zone = element is self.root, element.get("data-zone")
        if whole and name in {"viewBox", "width", "height"}:
            element.set(name, value[:LONGEST])  # `view_box` looks at them
        elif name == "d" and tag == "path":
            _check_path(value, zone=bool(zone))
            element.set(name, value)
        elif name in TRANSFORMS:
            if whole:
                raise ValueError(
                    "the whole drawing is transformed, which is unsupported. Remove that"
                )
            if len(value) > LONGEST:
                raise ValueError(f"{name} is longer than {LONGEST:,} letters")
            matrix_of(value)
            element.set(name, value)
        elif name in PLACES and (zone or not name.startswith("data-")):
            fits, wanted = _NUMBERS if tag in WORDS and name in {"x", "y"} else PLACES[name]
            if not fits(value):
                raise ValueError(f'{name} = "{_short(value)}" must be {wanted}')
            element.set(name, value)
        elif name == "id" or (name == "href" and tag == "use" and value.startswith("#")):
            element.set(name, value)
        elif name in LOOKS:
            self._look(element, name, value)
        elif name == "href" or name.lower().startswith("on"):
            self.left_out.append(name[:SHOWN])

    def _declare(self, element: ET.Element, style: str) -> None:
        """Copy a style, which overrides the attributes."""
        for one in style.split(";"):
            name, _, value = one.partition(":")
            name = name.strip().lower()
            if name == "transform":
                raise ValueError(
                    "it is transformed by a style, which is unsupported. Use the attribute "
                    "transform"
                )
            if name in STYLE:
                self._look(element, name, value)

    def _look(self, element: ET.Element, name: str, value: str) -> None:
        """Copy an attribute of appearance, or note that it was left out."""
        plain = " ".join(value.replace("!important", "").split())
        if name == "font-family":
            plain = plain.replace('"', "").replace("'", "")
        if len(plain) <= LONGEST and LOOKS[name](plain):
            element.set(name, plain)
        else:
            self.left_out.append(f'{name}="{_short(value)}"')

    def finished(self, before: str) -> ET.Element:
        """The drawing, with names only for elements that are referenced."""
        root = self.root
        if root is None:
            raise ValueError("it is empty")
        sizes = [_LENGTH.fullmatch(root.attrib.pop(name, "")) for name in ("width", "height")]
        if "viewBox" not in root.attrib and all(size and size[2] in {None, "px"} for size in sizes):
            root.set("viewBox", f"0 0 {' '.join(size[1] for size in sizes if size)}")
        named: dict[str, ET.Element] = {}
        for element in root.iter():
            if name := element.attrib.pop("id", ""):
                named.setdefault(name, element)
        _Names(named).give(root)
        renamed(root, before)
        return root


@dataclass(slots=True)
class _Names:
    """Names in a drawing, and how many elements each shows."""

    named: dict[str, ET.Element]
    sizes: dict[ET.Element, tuple[int, int]] = field(default_factory=dict)

    def give(self, root: ET.Element) -> None:
        """Number the referenced names; remove references to nothing."""
        count, _ = self._size(root, 1)
        if count > MOST_ELEMENTS:
            raise _TooMuchError(_too_many())
        numbers: dict[ET.Element, str] = {}
        for element in root.iter():
            for name, target in list(_pointers(element)):
                aim = self.named.get(target)
                if aim is None:
                    del element.attrib[name]
                    continue
                number = numbers.setdefault(aim, str(len(numbers) + 1))
                element.set(name, element.attrib[name].replace(f"#{target}", f"#{number}", 1))
        for element, number in numbers.items():
            element.set("id", number)

    def _size(self, element: ET.Element, level: int) -> tuple[int, int]:
        """Number of elements that one shows, with those it references, and their depth."""
        if element not in self.sizes and level <= 2 * DEEPEST:
            aims = [self.named[name] for _, name in _pointers(element) if name in self.named]
            found = [self._size(one, level + 1) for one in (*element, *aims)]
            self.sizes[element] = (
                1 + sum(count for count, _ in found),
                1 + max((depth for _, depth in found), default=0),
            )
        size = self.sizes.get(element)
        if size is None or size[1] > 2 * DEEPEST:
            raise _TooMuchError(
                f"a clone shows itself, or others through more than {2 * DEEPEST} steps. Turn "
                "clones into shapes"
            )
        return size


def _pointers(element: ET.Element) -> Iterator[tuple[str, str]]:
    """Attributes that reference another element, with its name."""
    for name in POINTERS[1:]:
        value = element.get(name, "")
        if name == "href" and value:
            yield name, value[1:]
        elif found := _POINTED.match(value):
            yield name, found[1]


def _check_path(outline: str, *, zone: bool) -> None:
    """Check an outline: that of a zone step by step, others only by their letters."""
    if zone:
        check_steps(outline)
    elif not _PATH.fullmatch(outline) or not all(map(within_reach, NUMBER.findall(outline))):
        raise ValueError(
            f'd = "{_short(outline)}" must hold steps of an outline, with numbers below '
            f"{FARTHEST:,.0f}"
        )


def _short(value: str) -> str:
    """A value for a message."""
    return value if len(value) <= SHOWN else f"{value[:SHOWN]}…"


def _too_many() -> str:
    """Message for a drawing of too many parts."""
    return (
        f"it shows more than {MOST_ELEMENTS:,} parts. Leave out what the report need not show, or "
        "join lines of one kind into one path"
    )
