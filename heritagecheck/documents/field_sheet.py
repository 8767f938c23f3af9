"""Sheets to be printed and filled in by hand at the wall, where no screen survives the rain."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from markupsafe import Markup

from heritagecheck import __version__, tables
from heritagecheck.documents.contents import short_name
from heritagecheck.documents.page_templates import drawn, filled
from heritagecheck.documents.pdf import as_pdf
from heritagecheck.errors import Fault, SurveyError
from heritagecheck.evidence.trials.below_x50 import found_below
from heritagecheck.figures.zone_location import draw_locator
from heritagecheck.survey.records import (
    Elevation,
    HeightMap,
    Layer,
    Observation,
    Panel,
    Reading,
    SectionReading,
    SiteTest,
    Spot,
    Structure,
    Zone,
)
from heritagecheck.survey.records.fields import literal_choices
from heritagecheck.survey.records.readings import STRESSES
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
    """Hazards at the wall."""
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
    html = filled("field_sheet.html", sheets=sheets, **common)
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
    # Earlier answers are asked again on site; tests need not be repeated.
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
    """The zone on its elevation; nothing if no drawing shows it yet."""
    try:
        picture = draw_locator(survey, zone.zone)
    except SurveyError:
        return Markup("")
    return drawn(picture, "locator", paper=True) if picture else Markup("")


# -- What instrument and laboratory still have to measure below ×50 --------------------------------

MAPS = frozenset({"depth_removed", "roughness_change"})
OF_MAPS = {
    "before": "height map before treatment", "after": "height map of the same place after it",
}  # fmt: skip
OF_SECTIONS = {"after": "profile after treatment", "control": "profile of an untreated control"}
OF_STRESS = {
    "before": "profile before treatment", "after": "profile after it",
    "control": "profile of an untreated control, measured on both days",
}  # fmt: skip
DAYS_OF_CONTROL = 2


class Wanted(NamedTuple):
    """A measurement that a panel names and lacks: of maps or of sections, and what is lacking."""

    panel: str
    name: str
    of_maps: bool
    lacking: str


def measurements_wanted(survey: Survey, zone: Zone) -> tuple[Wanted, ...]:
    """What the panels of a zone name below ×50, as far as gate 7 does not know it yet."""
    panels = survey.of_zone(zone.zone, Panel)
    sections = survey.of_zone(zone.zone, SectionReading)
    found = found_below(
        zone, panels, survey.of_zone(zone.zone, SiteTest), survey.of_zone(zone.zone, Spot), sections
    )
    maps = survey.of_zone(zone.zone, HeightMap)
    lacking = dict.fromkeys((one.panel, one.row.measure, one.row.name)
                            for one in found if one.holds is None)  # fmt: skip
    return tuple(
        Wanted(panel, name, measure in MAPS, "; ".join(_lacking(panel, measure, maps, sections)))
        for panel, measure, name in lacking
    )


def _lacking(
    panel: str, measure: str, maps: tuple[HeightMap, ...], sections: tuple[SectionReading, ...]
) -> Iterator[str]:
    """What is not recorded of a measurement; all of it once more where nothing is missing."""
    known: set[str]
    if measure in MAPS:
        every, known = (
            OF_MAPS,
            {one.moment for one in maps if (one.panel, one.spot) == (panel, None)},
        )
    else:
        stress = measure == "stress_change"
        every = OF_STRESS if stress else OF_SECTIONS
        alike = [
            one for one in sections
            if (one.quantity in STRESSES) == stress
            and one.panel in {panel, None} and one.spot is None
        ]  # fmt: skip
        known = {one.moment for one in alike}
        days = {one.measured_on for one in alike if one.moment == "control"}
        if stress and len(days) < DAYS_OF_CONTROL:
            known.discard("control")
    wanted = [words for moment, words in every.items() if moment not in known]
    yield from wanted or every.values()
