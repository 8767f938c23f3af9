"""Drawings of others: what may stand in one, what is told of it, and how much of it is taken."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from heritagecheck.survey.drawings import plain_svg
from heritagecheck.survey.drawings.plain_svg import SVG, PlainDrawing, plain_drawing, renamed
from heritagecheck.survey.places import example_folder

ZONE = '<path data-zone="Z1" data-label-x="5" data-label-y="5" d="M0 0H9V9z"/>'
HEAD = f'<svg xmlns="{SVG}" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="0 0 9 9">'


def read(inner: str) -> PlainDrawing:
    """Read a drawing of nine units by nine."""
    return plain_drawing(f"{HEAD}\n{inner}</svg>".encode())


def shown(drawing: PlainDrawing) -> list[tuple[str, dict[str, str]]]:
    """Elements of a drawing below its root, each with its attributes."""
    return [(one.tag.removeprefix(f"{{{SVG}}}"), one.attrib) for one in drawing.root.iter()][1:]


@pytest.mark.parametrize(
    ("inner", "said"),
    [
        ('<path data-zone="Z1"/>', "line 2, zone Z1: it has no outline d. Draw it"),
        (ZONE.replace('"5"', '"12,5"', 1), 'line 2, zone Z1: data-label-x = "12,5" must be'),
        (ZONE.replace("V9", "VNaN"), 'line 2, zone Z1: a number of a step is missing or too large'),
        ('<circle r="NaN"/>', 'line 2, <circle>: r = "NaN" must be a number such as 12.5'),
        ('<rect width="1e999"/>', 'line 2, <rect>: width = "1e999" must be a number'),
        ('<rect x="12,5"/>', 'line 2, <rect>: x = "12,5" must be a number'),
        ('<line x1="٣"/>', 'line 2, <line>: x1 = "٣" must be a number'),
        ('<polygon points="0 0 9 x"/>', 'line 2, <polygon>: points = "0 0 9 x" must be'),
        ('<path d="M0 0L1e9 0"/>', "must hold steps of an outline, with numbers below 10,000,000"),
        ('<g transform="rotate(abc)"/>', '2, <g>: transform = "rotate(abc)" can\'t be followed'),
        ('<g transform="rotate(1e999)"/>', 'transform = "rotate(1e999)" can\'t be followed'),
        ('<g transform="skewX(90)"/>', 'transform = "skewX(90)" can\'t be followed'),
        ("<g>" * 1000 + "</g>" * 1000, "its groups are nested more than 100 deep"),
        ('<g id="a"><use href="#a"/></g>', "a clone shows itself, or others through more than 200"),
    ],
)  # fmt: skip
def test_what_cannot_be_followed_is_told_with_its_place(inner: str, said: str) -> None:
    """Line, element or zone, value, and what is allowed; the drawing is not shown as if right."""
    [fault] = read(inner).faults

    assert said in fault


def test_every_fault_of_a_drawing_is_told_and_many_are_counted() -> None:
    """Twenty of a kind are enough to see what is wrong."""
    assert len(read('<circle r="NaN"/><g transform="turn(3)"/>').faults) == 2
    assert read('<circle r="NaN"/>' * 25).faults[-2:] == (
        'line 2, <circle>: r = "NaN" must be a number such as 12.5',
        "and 5 more like these",
    )


@pytest.mark.parametrize("name", ["north", "east", "tower", "legs"])
def test_drawings_of_the_example_stay_as_they_are(name: str) -> None:
    """Each shape, word, colour and place; names to which nothing points go, and classes."""
    content = (example_folder() / "drawings" / f"{name}.svg").read_bytes()
    drawing = plain_drawing(content)
    unused = {"id", "class", "role"}
    before, after = (
        [
            (one.tag, {key: one.attrib[key] for key in one.attrib if key not in unused},
             (one.text or "").strip())
            for one in root.iter()
        ]
        for root in (ET.fromstring(content), drawing.root)
    )  # fmt: skip

    assert (drawing.faults, drawing.left_out) == ((), ())
    assert after == before


def test_what_drawing_programs_write_keeps_its_look() -> None:
    """Styles become attributes and are stronger; links and switches are groups; clones stay."""
    drawing = read(
        '<path fill="red" style="fill:#fff;stroke-width:0.5px;-inkscape-stroke:none;'
        'font-family:\'Source Sans\'" d="M 0,0\n   h 9"/>'
        '<switch><a href="https://example.org"><rect id="r" width="100%"/></a></switch>'
        '<use xlink:href="#r" x="1"/><metadata/><text x="1 2 3">abc<tspan>d</tspan>e</text>'
        '<linearGradient id="l"><stop offset="5%"/></linearGradient><rect fill="url(#l) #abc"/>'
    )
    drawn = shown(drawing)
    names = [given["id"] for _, given in drawn if "id" in given]

    assert drawing.faults == ()
    assert drawn[0] == ("path", {"fill": "#fff", "stroke-width": "0.5px",
                                 "font-family": "Source Sans", "d": "M 0,0 h 9"})  # fmt: skip
    assert [tag for tag, _ in drawn[1:4]] == ["g", "g", "rect"]
    assert drawn[4] == ("use", {"href": f"#{names[0]}", "x": "1"})
    assert drawn[-1] == ("rect", {"fill": f"url(#{names[1]}) #abc"})
    assert "".join(drawing.root.itertext()).strip() == "abcde"


def test_names_stand_before_what_is_pointed_to_and_nothing_else() -> None:
    """A page that holds a drawing twice, or a heading of that name, still finds each."""
    root = read('<g id="answer"/><g id="main"/><use href="#main"/><use href="#gone"/>').root
    first = [one.get("id") or one.get("href") for one in root]
    renamed(root, "again-")
    second = [one.get("id") or one.get("href") for one in root]

    assert first[0] is None
    assert first[3] is None
    assert first[2] == f"#{first[1]}"
    assert first[1] != "main"
    assert second == [None, f"again-{first[1]}", f"#again-{first[1]}", None]


@pytest.mark.parametrize(
    ("inner", "left"),
    [
        ("<script>1</script>", "<script>"),
        ("<SCRIPT>1</SCRIPT>", "<SCRIPT>"),
        ('<script xmlns="">1</script>', "<script>"),
        ('<div xmlns="http://www.w3.org/1999/xhtml"><path d="M0 0"/></div>', "<div>"),
        ("<title><style>*{}</style></title>", "<style>"),
        ("<foreignObject><rect/></foreignObject>", "<foreignObject>"),
        ('<g ONCLICK="1"/>', "ONCLICK"),
        ('<a xlink:href="javascript:1"/>', "href"),
        ('<use href="other.svg#a"/>', "href"),
        (r'<g fill="u\72l(https://example.org)"/>', r'fill="u\72l(https://example.org)"'),
        ('<g style="fill:url(//example.org/a)"/>', 'fill="url(//example.org/a)"'),
        ('<g fill="URL(#a)"/>', 'fill="URL(#a)"'),
    ],
)
def test_what_runs_or_fetches_is_left_out_and_named(inner: str, left: str) -> None:
    """It stands nowhere in what is shown, with all that it holds; the rest is shown."""
    drawing = read(inner + ZONE)
    written = ET.tostring(drawing.root, encoding="unicode")

    assert drawing.faults == ()
    assert drawing.left_out == (left,)
    assert shown(drawing)[-1][0] == "path"
    assert not [word for word in ("script", "example", "click", 'M0 0"') if word in written.lower()]


def test_a_large_drawing_is_refused_before_it_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """By its bytes, its zones, its elements, and by how often clones show them."""
    large = f"{HEAD}<!--{'x' * plain_svg.MOST_BYTES}--></svg>"
    monkeypatch.setattr(plain_svg, "MOST_ELEMENTS", 99)
    monkeypatch.setattr(plain_svg, "MOST_ZONES", 9)
    clones = "".join(f'<g id="a{n}">{f"""<use href="#a{n - 1}"/>""" * 10}</g>' for n in range(1, 4))

    assert "it is larger than 4 MB" in plain_drawing(large.encode()).faults[0]
    assert "it outlines more than 9 zones" in read(ZONE * 10).faults[0]
    assert "it shows more than 99 parts" in read("<g/>" * 100).faults[0]
    assert "it shows more than 99 parts" in read(f'<g id="a0"/>{clones}<use href="#a3"/>').faults[0]


BOMBS = """
import resource
resource.setrlimit(resource.RLIMIT_AS, (2 * 2**30,) * 2)
resource.setrlimit(resource.RLIMIT_CPU, (40, 40))
import numpy as np
from heritagecheck.survey.drawings.outline import self_crossing
from heritagecheck.survey.drawings.path_data import followed
from heritagecheck.survey.drawings.plain_svg import plain_drawing

steps = np.arange(6000)
dense = np.stack([500 * (steps % 2) + 0.3 * steps, 400.0 * (steps % 2)], axis=-1)
for work in (
    lambda: self_crossing([dense]),
    lambda: followed("M0 0" + "C9e6 9e6-9e6 9e6 0 1" * 3000, 0.001),
    lambda: followed("M0 0" + "a9e6 9e6 0 1 1 1 1" * 3000, 1e-300),
    lambda: followed("M0 0" + "h1" * 20_000, 1),
):
    try:
        work()
    except ValueError as error:
        print(error)
for d in ("M0 0L1 1" + " " * 10**6 + "h", "M" + "1" * 10**6, "M1 1" + "C2 9e6 3-9e6 4 4" * 10**5):
    svg = f'<svg xmlns="http://www.w3.org/2000/svg"><path d="{d}"/></svg>'
    print(len(plain_drawing(svg.encode()).faults))
"""


def test_outlines_that_would_take_gigabytes_are_refused_in_a_sentence(tmp_path: Path) -> None:
    """Lines to and fro, endless curves and numbers; in a process that would be stopped."""
    ran = subprocess.run(
        [sys.executable, "-c", BOMBS], capture_output=True, text=True, check=True, cwd=tmp_path
    )
    said = ran.stdout.splitlines()

    assert said[0].startswith("its lines lie so close together that crossings can't be looked")
    assert all(line.startswith("it takes more than 10,000 points. Simpl") for line in said[1:4])
    assert said[4:] == ["0", "1", "0"]
