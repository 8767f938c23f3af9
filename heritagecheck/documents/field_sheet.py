"""Sheets to be printed and filled in by hand at the wall, where no screen survives the rain."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from markupsafe import Markup

from heritagecheck import __version__, tables
from heritagecheck.documents.contents import short_name
from heritagecheck.documents.page_templates import drawn, templates
from heritagecheck.documents.pdf import as_pdf
from heritagecheck.errors import Fault, SurveyError
from heritagecheck.evidence.colour.zone_colour import colour_of_zone
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.figures import draw_locator
from heritagecheck.survey.records import (
    Elevation,
    Layer,
    Observation,
    Reading,
    SiteTest,
    Structure,
    Zone,
)
from heritagecheck.survey.records.fields import literal_choices
from heritagecheck.survey.survey import Survey
from heritagecheck.tables.cautions import ALWAYS, of_outcome, usual_cautions
from heritagecheck.tables.conditions import Facts, holds
from heritagecheck.tables.topics import IF_NAMED
from heritagecheck.whole_file import write_whole

# What each gate asks, as one would ask it at the wall; danger to people comes first.
GATES = {
    "urgency": "First: is anybody in danger?",
    "2": "Is there a reason to clean?",
    "3": "What causes it, and is the cause cured?",
    "4": "Is it firm enough to be touched?",
    "5": "What must be known before anything is touched?",
    "6": "Can work reach it without harm?",
    "8": "What is agreed and arranged? Look up at the desk what can't be seen at the wall.",
}
LAYER_ROWS = 4


@dataclass(frozen=True, slots=True)
class Question:
    """One question with its boxes to tick."""

    topic: str
    question: str
    findings: tuple[str, ...]
    only: str
    how: str


def write_field_sheets(
    survey: Survey, path: str | Path, *, zones: Sequence[str] | None = None
) -> Path:
    """Write empty sheets for the wall as a PDF: A4, black on white."""
    known = {zone.zone: zone for zone in survey.all(Zone)}
    wanted = list(known) if zones is None else list(dict.fromkeys(zones))
    unknown = [code for code in wanted if code not in known]
    if unknown:
        some = ", ".join(known) or "none"
        raise SurveyError(
            [
                Fault("zones", None, "zone", code, f"there is none. Known: {some}")
                for code in unknown
            ],
            nothing="written",
        )
    sheets = [_zone_values(survey, known[code]) for code in wanted] or [_blank_values()]
    content = _set(survey, sheets)
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, content)
    return path


def questions(kind: str, facts: Facts) -> dict[str, list[Question]]:
    """Questions that are asked of a zone, by the gate that needs the answer."""
    found: dict[str, list[Question]] = {words: [] for words in GATES.values()}
    for row in tables.rows("topics"):
        applies = holds(row["asked_where"], facts)
        if applies is False or (kind and row["kind"] not in {"all", kind, IF_NAMED}):
            continue
        only = [] if applies else [_where(row["asked_where"])]
        if row["kind"] == IF_NAMED:
            only.insert(0, "there is one")
        elif not kind and row["kind"] != "all":
            only.insert(0, row["kind"])
        found[GATES[row["gate"]]].append(
            Question(
                row["topic"], row["question"], tuple(row["findings"].split("|")),
                "; ".join(only), row["what_to_do"],
            )
        )  # fmt: skip
    return {words: asked for words, asked in found.items() if asked}


def _where(condition: str) -> str:
    """Put a condition on one recorded thing into words."""
    said = {
        "coated=yes": "it is coated", "confined=yes": "it is a confined space",
        "lead=trace": "a trace of lead was found",
    }  # fmt: skip
    return said.get(condition) or condition.replace("=", " is ").replace("|", " or ").replace(
        "_", " "
    )


def cautions(facts: Facts) -> Iterator[tuple[str, str]]:
    """What may hurt whoever stands at the wall."""
    for one in (*usual_cautions(facts, ()), of_outcome(ALWAYS)):
        yield one.hazard, one.words


def _set(survey: Survey, sheets: list[dict[str, Any]]) -> bytes:
    """Set the sheets, each of which says how many pages it has."""
    named = survey.all(Structure)
    made = f"heritagecheck {__version__}"
    title, day = "Field sheets", None
    if named:
        made = f"{named[0].structure}; {made}"
        title, day = f"{title}: {named[0].structure}", named[0].survey_date
    common = _common_values()
    html = templates().get_template("field_sheet.html").render(sheets=sheets, **common)
    return as_pdf(
        html,
        "field_sheet.typ",
        title=title,
        edge={"made": made},
        day=day,
        values={"values": len(common["layer_values"])},
    )


def _common_values() -> Mapping[str, Any]:
    """What every sheet shows."""
    return {
        "layer_values": literal_choices(Layer, "value"),
        "states": literal_choices(Reading, "state"),
        "geometries": literal_choices(Reading, "geometry"),
        "illuminants": literal_choices(Reading, "illuminant"),
        "quantities": tables.rows("quantities"),
        "drift": tables.threshold("tile_drift_max"),
        "fields": int(tables.threshold("x50_fields_min")),
    }


def _zone_values(survey: Survey, zone: Zone) -> dict[str, Any]:
    """What the sheet of one zone shows."""
    facts = _facts(survey, zone)
    named = survey.all(Structure)
    names = {
        item.elevation: short_name(item, named[0].structure if named else "")
        for item in survey.all(Elevation)
    }
    soilings = tables.keyed("soilings", "soiling")
    substrate = tables.keyed("substrates", "substrate")[zone.substrate]
    layers = [soilings[code]["name"] for code in zone.soiling_codes]
    return {
        "zone": zone,
        "label": f"zone {zone.zone}",
        "elevation": names.get(zone.elevation, zone.elevation),
        "substrate": substrate["name"],
        "kind": substrate["kind"],
        "soilings": layers,
        "layers": layers + [""] * max(LAYER_ROWS - len(layers), 1),
        "locator": _locator(survey, zone),
        "questions": questions(substrate["kind"], facts),
        "cautions": list(cautions(facts)),
    }


def _blank_values() -> dict[str, Any]:
    """What a sheet shows that is for any zone."""
    facts: Facts = {"lead": frozenset({"unknown"})}
    return {
        "zone": None,
        "label": "zone __________",
        "kind": "",
        "layers": [""] * LAYER_ROWS,
        "locator": "",
        "questions": questions("", {}),
        "cautions": list(cautions(facts)),
    }


def _facts(survey: Survey, zone: Zone) -> Facts:
    """What is recorded of a zone, but for the answers that are asked anew."""
    evidence = ZoneEvidence(
        zone=zone,
        survey_date=date.min,
        call_first=None,
        observations={one.topic: one for one in survey.of_zone(zone.zone, Observation)},
        layers=survey.of_zone(zone.zone, Layer),
        tests=survey.of_zone(zone.zone, SiteTest),
        zone_colour=colour_of_zone(zone, ()),
        colour_sets={},
        colour_dates={},
        series=(),
        bed_series=(),
        panels_unaccounted=(),
        spoken_m2={},
        limit=None,
    )
    answers = set(tables.codes("topics")) - {"lead"}
    return {name: value for name, value in evidence.facts.items() if name not in answers}


def _locator(survey: Survey, zone: Zone) -> Markup:
    """Where the zone lies on its elevation; nothing where no drawing shows it yet."""
    try:
        picture = draw_locator(survey, zone.zone)
    except SurveyError:
        return Markup("")
    return drawn(picture, "locator", paper=True) if picture else Markup("")
