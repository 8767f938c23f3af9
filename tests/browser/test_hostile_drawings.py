"""A survey of somebody else's whose drawings would run, fetch, hide and lie, in a real browser."""

from __future__ import annotations

import shutil
import zipfile
from pathlib import Path
from typing import Any

import pytest
from browsing import LAPTOP, window

import heritagecheck as hc
from heritagecheck.documents.field_sheet import write_field_sheets
from heritagecheck.documents.zone_sheet import zone_sheet
from heritagecheck.survey.places import example_folder

FAR = "https://example.org/taken"
XHTML = "http://www.w3.org/1999/xhtml"
RAN = "window.ran = true"
# What stands between the lines of the north front, each of it once an attack on a page.
HOSTILE = f"""
<script>{RAN}</script><Script>{RAN}</Script><SCRIPT>{RAN}</SCRIPT>
<script href="data:text/javascript,{RAN}"/><script xlink:href="{FAR}/a.js"/>
<h:script xmlns:h="{XHTML}">{RAN}</h:script><script xmlns="">{RAN}</script>
<div xmlns="{XHTML}"><iframe srcdoc="&lt;script&gt;parent.{RAN}&lt;/script&gt;"/></div>
<iframe xmlns="{XHTML}" src="{FAR}/frame"/><IFRAME src="javascript:parent.{RAN}"/>
<img src="x" onerror="{RAN}"/><img xmlns="{XHTML}" srcset="{FAR}/set 1x" src="y"/>
<image href="{FAR}/image"/><image xlink:href="{FAR}/xlink"/><feImage href="{FAR}/fe"/>
<table xmlns="{XHTML}" background="{FAR}/background"/><video xmlns="{XHTML}" poster="{FAR}/p"/>
<object xmlns="{XHTML}" data="{FAR}/object"/><embed xmlns="{XHTML}" src="{FAR}/embed"/>
<link xmlns="{XHTML}" rel="stylesheet" href="{FAR}/link"/><base href="{FAR}/"/>
<meta xmlns="{XHTML}" http-equiv="refresh" content="0;url={FAR}/meta"/>
<form xmlns="{XHTML}" action="{FAR}"><input autofocus="" onfocus="{RAN}"/></form>
<STYLE>body {{ display: none }}</STYLE><style>@import "{FAR}/sheet"; * {{ opacity: 0 }}</style>
<textarea/><title><textarea/></title><title><style>*{{display:none}}</style></title>
<desc><p xmlns="{XHTML}">in</p><title></title></desc><plaintext/><noscript/><template/><select/>
<foreignObject width="9999" height="9999"><body xmlns="{XHTML}" onload="{RAN}"/></foreignObject>
<rect width="9" height="9" onclick="{RAN}" onload="{RAN}" ONMOUSEOVER="{RAN}" fill="url({FAR}/f)"/>
<rect width="9" height="9" style="fill:u\\72l({FAR}/escaped);background:url({FAR}/b)"/>
<rect width="9" height="9" style="cursor:image-set('{FAR}/cursor' 1x);filter:url({FAR}/x#a)"/>
<rect width="9" height="9" style="position:fixed;inset:0;fill:-webkit-image-set(url({FAR}/i) 1x)"/>
<rect width="9" height="9" fill="url(#a) url({FAR}/two)" mask="url({FAR}/m#a)" filter="url(#f)"/>
<use href="{FAR}/use.svg#a"/><use xlink:href="data:image/svg+xml,&lt;svg/&gt;#a"/>
<a xlink:href="javascript:{RAN}" href="javascript:{RAN}"><rect width="2060" height="9"/></a>
<a href="{FAR}"><animate attributeName="href" values="javascript:{RAN}"/></a>
<set attributeName="onmouseover" to="{RAN}"/><animateTransform onbegin="{RAN}"/>
<handler xmlns:ev="http://www.w3.org/2001/xml-events" ev:event="load">{RAN}</handler>
<text x="1" y="9">&lt;/svg&gt;&lt;script&gt;{RAN}&lt;/script&gt;</text>
<text x="1" y="9"><![CDATA[</svg></title><script>{RAN}</script><img src=x onerror="{RAN}">]]></text>
<title>&lt;/title&gt;&lt;/svg&gt;&lt;style&gt;*{{display:none}}&lt;/style&gt;</title>
<!-- </svg><script>{RAN}</script> --><?xml-stylesheet href="{FAR}/pi"?><?php </svg>?>
<g id="main"/><use href="#main"/><g id="answer" class="skip" style="position:fixed;inset:0"/>
<svg overflow="visible" style="overflow:visible"><rect x="-9999" y="-9999" width="99999"
 height="99999" fill="#fff"/></svg>
"""
ROOT = (
    f'<svg xmlns:xlink="http://www.w3.org/1999/xlink" onload="{RAN}" overflow="visible" '
    'style="position:fixed;inset:0" '
)
# Words that a reader looks at, and something else lies over, or nothing is shown of.
HIDDEN = """() => [...document.querySelectorAll('h1, h2, h3, .outcome')].filter(one => {
  one.scrollIntoView({block: 'center'});
  const {left, top, width, height} = one.getBoundingClientRect();
  const met = document.elementFromPoint(left + Math.min(width, 20) / 2, top + height / 2);
  return !met || !(one.contains(met) || met.contains(one)) || getComputedStyle(one).opacity != 1;
}).map(one => one.outerHTML.slice(0, 120))"""

# What markup that slipped through would do on a page that lets it.
SLIPPED = f"""() => {{
  window.refused = [];
  document.addEventListener('securitypolicyviolation',
                            one => window.refused.push(one.effectiveDirective));
  const script = document.createElement('script'), image = new Image();
  script.textContent = '{RAN}';
  image.src = '{FAR}/slipped';
  document.body.append(script, image);
  document.body.setAttribute('style', "background: url({FAR}/slipped)");
}}"""


@pytest.fixture(scope="module")
def assessment(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Give an assessment of a survey that came as an archive; one drawing of it is past reading."""
    folder = tmp_path_factory.mktemp("theirs")
    theirs = folder / "theirs"
    shutil.copytree(
        example_folder(),
        theirs,
        ignore=shutil.ignore_patterns("*.py", "*.json", "drawing", "__pycache__"),
    )
    north, east = (theirs / "drawings" / f"{name}.svg" for name in ("north", "east"))
    text = north.read_text("utf-8").replace("<svg ", ROOT, 1)
    north.write_text(text.replace("<g ", f"{HOSTILE}<g ", 1), "utf-8")
    bomb = '<!DOCTYPE svg [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;">]>'
    east.write_text(bomb + east.read_text("utf-8"), "utf-8")
    table = theirs / "attachments.csv"  # it holds hashes of what was there before
    lines = table.read_text("utf-8").splitlines(keepends=True)
    table.write_text("".join(line for line in lines if "drawings/" not in line), "utf-8")
    packed = folder / "theirs.zip"
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in theirs.rglob("*"):
            archive.write(file, file.relative_to(theirs))
    hc.import_survey(packed, folder / "taken.db")
    return hc.assess(hc.open_survey(folder / "taken.db"), zones=["N06", "E03"])


def test_a_report_of_hostile_drawings_runs_asks_and_hides_nothing(
    browser: Any, assessment: Any, tmp_path: Path
) -> None:
    """
    Its own words all lie open; the drawing that can't be read is told at its place.

    The page would hold even if something slipped through: it may neither run nor fetch.
    """
    (report,) = hc.write_report(assessment, tmp_path, formats=("html",))
    with window(browser, LAPTOP) as shown:
        shown.page.goto(report.as_uri())
        shown.page.wait_for_timeout(300)

        assert shown.page.evaluate("window.ran") is None
        assert [one for one in shown.asked if not one.startswith("data:")] == [report.as_uri()]
        assert shown.complaints == []
        assert shown.page.evaluate(HIDDEN) == []
        assert shown.page.locator("svg.elevation").is_visible()
        assert shown.page.get_by_text("No picture: the drawing drawings/east.svg can't be").count()

        shown.page.evaluate(SLIPPED)
        shown.page.wait_for_timeout(200)

        assert shown.page.evaluate("window.ran") is None
        assert set(shown.page.evaluate("window.refused")) == {"script-src-elem", "img-src"}


def test_a_card_of_a_hostile_drawing_runs_asks_and_hides_nothing(
    browser: Any, assessment: Any
) -> None:
    """In a page without any policy of its own, as a notebook is."""
    card = zone_sheet(assessment, "N06").html + hc.figures.draw_elevation(
        assessment, "north"
    )._repr_html_()  # fmt: skip
    with window(browser, LAPTOP) as shown:
        shown.page.set_content(f"<main>{card}</main>")
        shown.page.evaluate("card => document.querySelector('main').innerHTML += card", card)
        shown.page.wait_for_timeout(300)

        assert shown.page.evaluate("window.ran") is None
        assert [one for one in shown.asked if not one.startswith("data:")] == []
        assert shown.page.evaluate(HIDDEN) == []


def test_the_form_for_the_wall_takes_a_hostile_drawing(assessment: Any, tmp_path: Path) -> None:
    """The typesetter gets the same lines, and no address."""
    sheets = write_field_sheets(assessment.survey, tmp_path / "sheets.pdf", zones=["N06"])

    assert b"example.org" not in sheets.read_bytes()
