"""Sheets to be printed and filled in by hand at the wall, where no screen survives the rain."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from markupsafe import Markup

from heritagecheck import __version__, tables
from heritagecheck.documents.contents import short_name
from heritagecheck.documents.measurements_wanted import measurements_wanted
from heritagecheck.documents.page_templates import drawn, templates
from heritagecheck.documents.pdf import as_pdf
from heritagecheck.errors import Fault, SurveyError
from heritagecheck.figures.zone_location import draw_locator
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
from heritagecheck.survey.records.zone_facts import (
    by_heading,
    facts_at_the_wall,
    questions_asked,
)
from heritagecheck.survey.survey import Survey
from heritagecheck.tables.cautions import ALWAYS, of_outcome, usual_cautions
from heritagecheck.tables.conditions import Facts
from heritagecheck.tables.row_types import Quantity, Soiling, Substrate
from heritagecheck.whole_file import write_whole

LAYER_ROWS = 4


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
        "quantities": Quantity.rows(),
        "drift": tables.threshold("tile_drift_max"),
        "fields": int(tables.threshold("x50_fields_min")),
    }


def _zone_values(survey: Survey, zone: Zone) -> dict[str, Any]:
    """What the sheet of one zone shows."""
    said = survey.of_zone(zone.zone, Observation)
    facts = facts_at_the_wall(zone, said, survey.of_zone(zone.zone, SiteTest))
    # What was answered before is asked again; what was tested need not be.
    answers = set(tables.codes("topics")) - {"lead"}
    facts = {name: value for name, value in facts.items() if name not in answers}
    named = survey.all(Structure)
    names = {
        item.elevation: short_name(item, named[0].structure if named else "")
        for item in survey.all(Elevation)
    }
    substrate = Substrate.named(zone.substrate)
    layers = [Soiling.named(code).name for code in zone.soiling_codes]
    return {
        "zone": zone,
        "label": f"zone {zone.zone}",
        "elevation": names.get(zone.elevation, zone.elevation),
        "substrate": substrate.name,
        "kind": substrate.kind,
        "soilings": layers,
        "layers": layers + [""] * max(LAYER_ROWS - len(layers), 1),
        "locator": _locator(survey, zone),
        "questions": by_heading(questions_asked(substrate.kind, facts)),
        "cautions": list(cautions(facts)),
        "wanted": measurements_wanted(survey, zone),
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
        "questions": by_heading(questions_asked("", {})),
        "cautions": list(cautions(facts)),
        "wanted": (),
    }


def _locator(survey: Survey, zone: Zone) -> Markup:
    """Where the zone lies on its elevation; nothing where no drawing shows it yet."""
    try:
        picture = draw_locator(survey, zone.zone)
    except SurveyError:
        return Markup("")
    return drawn(picture, "locator", paper=True) if picture else Markup("")
