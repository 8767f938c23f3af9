"""The templates of the pages: their words, style and type, and how a figure is put on a page."""

from __future__ import annotations

import base64
import re
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup, escape

from heritagecheck.cards import Picture
from heritagecheck.figures.elevation import draw_key, why_listed
from heritagecheck.judgement.gates.panel_requirements import in_sentences
from heritagecheck.judgement.harm.treat_or_leave import per_cent
from heritagecheck.judgement.options import option_name
from heritagecheck.sentences import (
    day_in_words,
    ended,
    joined,
    lower_bound,
    lower_first,
    moment_in_words,
    upper_first,
)
from heritagecheck.survey.drawings.drawing import faults_of
from heritagecheck.survey.drawings.elevations import drawing_of, elevation_of
from heritagecheck.survey.survey import Survey
from heritagecheck.tables.methods import brief_method, method_name
from heritagecheck.tables.row_types import Material

# A row of a table as pandas hands it over.
Row = dict[Any, Any]


# A full stop behind a sign that already ends the sentence, as where a recorded text asks something.
ENDED_TWICE = re.compile(r"([?!.…](?:</\w+>|[\"”’)\]])*)\.(?=[\s<]|$)")


class _Page(Template):
    """A template whose sentences end once, whatever sign a recorded text ends with."""

    def render(self, *args: Any, **values: Any) -> str:
        """Fill it in."""
        return ENDED_TWICE.sub(r"\1", super().render(*args, **values))


@cache
def templates() -> Environment:
    """Templates of the pages; text is escaped, and a name that is not given is an error."""
    found = Environment(
        loader=PackageLoader("heritagecheck", "documents/templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.template_class = _Page
    found.filters |= {
        "join": joined,
        "words": lambda code: str(code).replace("_", " "),
        "material": lambda code: Material.named(code).name,
        "method": method_name,
        "brief": brief_method,
        "option": option_name,
        "share": per_cent,
        "at_least": lower_bound,
        "sentence": lambda text: upper_first(str(text)),
        "ended": ended,
        "shown_up_to": shown_up_to,
        "sentences": in_sentences,
        "lower_first": lower_first,
        "date": day_in_words,
        "moment": moment_in_words,
    }
    found.globals |= {"key": _key, "source": source_mark}
    return found


def filled(template: str, **values: Any) -> str:
    """One of the templates, filled in."""
    return templates().get_template(template).render(values)


def _key(outcome: str) -> Markup:
    """Colour key of an outcome, shown with its name."""
    given = Markup('<svg class="key" aria-hidden="true" ')
    return Markup(draw_key(outcome).svg).replace("<svg ", given, 1)


def look_of_screen() -> Markup:
    """Style sheet of pages and cards on the screen."""
    loader = templates().loader
    assert loader is not None
    return Markup(loader.get_source(templates(), "screen.css")[0])


def source_mark(code: str) -> Markup:
    """Mark of a source, placed after what rests on it."""
    return Markup('<a class="cite" href="#source-{}">{}</a>').format(code, code)


def source_named(code: str) -> Markup:
    """The same on a card: the list of sources is in the report, and a link would lead nowhere."""
    return Markup('<span class="cite">{}</span>').format(code)


def shortened(text: str, limit: int) -> str:
    """A text no longer than a limit, cut where it pauses and marked where it was cut."""
    if len(text) <= limit:
        return text
    head = text[: limit - 1]
    pause = max(head.rfind("; "), head.rfind(". "))
    place = pause if pause >= limit // 2 else head.rfind(" ")
    return f"{head[: place if place > 0 else limit - 2].rstrip(' ,;:.')} …"


def shown_up_to(text: str, limit: int) -> str:
    """A text of a meeting as far as a block of a page has room, and where the rest of it is."""
    cut = shortened(text, limit)
    return text if cut == text else f"{cut} (in full in the minutes)"


def anchor(kind: str, code: str) -> str:
    """Name of a place on the page."""
    return re.sub(r"[^\w-]", "-", f"{kind}-{code}")


def drawn(
    picture: Picture, css_class: str = "", *, group: bool = False, paper: bool = False
) -> Markup:
    """A picture for a page, which says in words what it shows."""
    if paper:
        return Markup('<img class="{}" alt="{}" src="{}">').format(
            css_class,
            picture.alt,
            f"data:image/svg+xml;base64,{base64.b64encode(picture.svg.encode()).decode()}",
        )
    head, _, rest = picture.svg.partition(">")
    head = re.sub(r'\s(role|aria-label|class)="[^"]*"', "", head)
    rest = re.sub(r"^\s*<title>[^<]*</title>", "", rest)
    role = "group" if group else "img"
    given = Markup(' class="{}" role="{}" aria-label="{}"').format(css_class, role, picture.alt)
    return Markup(f"{head}{given}><title>{escape(picture.alt)}</title>{rest}")


def why_not_drawn(survey: Survey, elevation: str) -> str:
    """Why an elevation has no picture, and what to do before the next report."""
    fault = drawing_fault(survey, elevation)
    listed = why_listed(survey, elevation_of(survey, elevation))
    return fault if listed or not fault else f"{fault}. Correct it, then write the report again"


def drawing_fault(survey: Survey, elevation: str) -> str:
    """Why an elevation has no picture; empty where it has one."""
    item = elevation_of(survey, elevation)
    if why := why_listed(survey, item):
        return why
    faults = faults_of(drawing_of(survey, item), item)
    if not faults:
        return ""
    more = f" ({len(faults) - 1} more in heritagecheck check)" if len(faults) > 1 else ""
    return f"the drawing {item.drawing} can't be shown: {faults[0].rstrip('.')}{more}"


def paper_key(outcome: str) -> Markup:
    """Colour key of an outcome on paper: decoration next to its name."""
    return Markup('<span class="key {}"></span>').format(outcome.replace(" ", "-"))
