"""Makes the example survey: the invented Quillmere Pumping Station. Every record is made up.

Run from anywhere: ``python data/quillmere/make_quillmere.py``. The same bytes come out each time.
"""

from __future__ import annotations

import shutil
import tempfile
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from below_x50 import attached, height_maps, section_readings, write_files
from dialled import settings
from drawing import ELEVATIONS, area_m2, write
from findings import (
    CHIP_LIMIT_PCT,
    CLEAN_STONE,
    COATINGS,
    COLOURS,
    FINDINGS,
    MADE_OF,
    NOT_TRIED,
    PANELS,
    TESTS,
    ZONES,
)  # fmt: skip
from grains import attached_photograph, on_map, write_photograph
from measured import METER, SPOTS, by_eye, sessions, spots, spots_laid, tile_readings
from meeting import meeting
from meter_export import exported
from pictured import SHOTS, TAKEN_ON, photograph, photos
from tilts import stress_of_tilts, tilts_attached, write_tilts

from heritagecheck.evidence.photograph import measure
from heritagecheck.evidence.surface.zone_height_maps import measure_pair, pair_records
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.survey.places import build
from heritagecheck.survey.records import KEYS, TABLE_OF
from heritagecheck.survey.records.record import Record
from heritagecheck.survey.records.structure import list_of
from heritagecheck.survey.store.attachments import attachment_of
from heritagecheck.survey.survey import Survey

HERE = Path(__file__).parent
CLOSED = date(2026, 9, 18)
SEEN = date(2026, 9, 8)
METER_FILE = "instruments/lift-3.txt"

MASONRY = {
    "decay": "none", "decay_cause": "none", "detail_hidden": "no", "other_reason": "none",
    "coating_state": "none", "cause_moisture": "none", "cause_iron": "none", "cause_salts": "none",
    "cause_birds": "none", "cause_other": "none", "joints": "sound", "polychromy": "none",
    "lead": "no", "frost_possible": "no", "season": "suitable", "falling_material": "no",
    "stone_jacking": "no", "pointing": "lime", "carbonate_near": "no", "glass_near": "no",
}  # fmt: skip
METAL = {
    "decay": "none", "decay_cause": "none", "detail_hidden": "no", "other_reason": "none",
    "coating_state": "sound", "coating_order": "no", "cause_moisture": "none", "cause_iron": "none",
    "cause_salts": "none", "cause_birds": "none", "cause_other": "none", "polychromy": "none",
    "metal_identity": "confirmed", "engineer_limit": "within", "lead": "yes",
    "frost_possible": "no", "season": "suitable",
    "falling_material": "no", "lead_shedding": "no", "stone_jacking": "no",
    "carbonate_near": "no",
}  # fmt: skip

# What a panel that nobody could read leaves empty.
UNREAD = (
    "read_on", "x50_fields", "damaged_fields", "damage_kind", "residual_pct", "late_effects",
    "grade_reached",
)  # fmt: skip

# Of soiled and of clean stone, by meter and by photograph.
COLOUR_SETS = {"N04": 4, "E04": 4, "E05": 4}
# Pulses or passes of the panels themselves, and whether they were wetted.
AS_LAID = {
    "N06-powder": {"wetted": "no"}, "N06-pulse": {"passes": 60, "wetted": "no"},
    "N13-lift": {"passes": 1, "wetted": "yes"}, "N15-pulse": {"passes": 8, "wetted": "no"},
    "E15-wash": {"passes": 2}, "T06-pulse": {"passes": 20, "wetted": "no"},
    "T07-pulse": {"passes": 30, "wetted": "no"},
}  # fmt: skip
MEASURED_BELOW = {
    "T06-pulse-1": "altered_layer; stress_change",
}  # fmt: skip
SPOTS_LAID = {panel: spots_laid(laid) for panel, laid in SPOTS.items()}

# Swings that five invented roles gave before they saw an answer.
SWINGS = {
    "conservator": (100, 90, 50, 70, 50, 20),
    "engineer": (90, 50, 30, 100, 60, 50),
    "heritage authority": (100, 100, 60, 60, 50, 10),
    "owner": (80, 60, 70, 80, 50, 60),
    "ecologist": (80, 60, 40, 80, 100, 30),
}


def observations() -> list[dict[str, Any]]:
    """Answers given at the wall and the desk."""
    found = []
    for zone, row in ZONES.items():
        usual = (
            METAL if row["substrate"] in {"riveted_steel", "wrought_iron", "cast_iron"} else MASONRY
        )
        answers = {**usual, **FINDINGS.get(zone, {})}
        number = 0
        for topic, answer in answers.items():
            if answer is None:
                continue
            number += 1
            record = {
                "observation": f"{zone}-O{number:02d}", "zone": zone, "topic": topic,
                "seen_on": SEEN, "seen_by": "conservator",
            }  # fmt: skip
            if isinstance(answer, str):
                record["finding"] = answer
            else:
                record |= answer
            found.append(record)
    return found


def readings() -> list[dict[str, Any]]:
    """Colour readings of soiled and clean stone, with the spread that the stone itself has."""
    found = []
    session = sessions([zone for zone, plan in COLOURS.items() if "not_measured" not in plan])
    for zone, plan in COLOURS.items():
        if "not_measured" in plan:
            found.append(reading(zone, "soiled", 1, 1, None, "dry", plan["not_measured"]))
            continue
        clean = CLEAN_STONE[plan["stone"]]
        rng = np.random.default_rng([1887, *zone.encode()])
        for target in ("reference", "soiled"):
            count = plan["n"] if target == "soiled" else max(plan["n"], 12)
            mean = np.array(clean["mean"]) + (plan["shift"] if target == "soiled" else 0)
            spread = np.linalg.cholesky(np.array(clean["cov"]))
            if target == "soiled":
                spread = spread * plan.get("patchy", 1.0)
            wet = plan.get("wet", 0) if target == "soiled" else 0
            for number in range(1, count + 1):
                state = "wet" if number > count - wet else "dry"
                lab = mean + spread @ rng.normal(size=3) - (8 if state == "wet" else 0, 0, 0)
                row = reading(zone, target, number, count, lab, state, None)
                found.append(row | {"session": session[zone]})
    return [*found, *by_eye()]


def reading(
    zone: str, target: str, number: int, count: int, lab: Any, state: str, why: str | None
) -> dict[str, Any]:
    """One colour reading, as the meter gives it."""
    row = {
        "reading": f"{zone}-{target[0].upper()}{number:02d}", "zone": zone,
        "set_name": f"{zone}-{target}", "set_size": count, "target": target, "state": state,
        "geometry": "SCI", "aperture_mm": 25, "illuminant": "D65/10",
        "instrument": METER, "read_on": SEEN + timedelta(days=1 + len(zone) % 3),
        "read_by": "conservator", "not_measured_because": why,
    }  # fmt: skip
    if lab is not None:
        row |= {
            "L_star": round(min(max(float(lab[0]), 1.0), 99.0), 2),
            "a_star": round(float(lab[1]), 2), "b_star": round(float(lab[2]), 2),
        }  # fmt: skip
    return row


def panels() -> list[dict[str, Any]]:
    """Trial panels, series by series."""
    found = []
    for series, plan in PANELS.items():
        count = plan["count"]
        for number in range(1, count + 1):
            row = {
                "panel": f"{series}-{number}", "series": series, "panels_in_series": count,
                "read_by": "conservator", "reader_blind": "yes",
                "spots_laid": SPOTS_LAID.get(f"{series}-{number}", 0),
                "measured_below": MEASURED_BELOW.get(f"{series}-{number}"),
                **AS_LAID.get(series, {}),
            } | plan["record"]  # fmt: skip
            row["damaged_fields"] = plan.get("damaged", (0,) * count)[number - 1]
            if row["damaged_fields"]:
                row["damage_kind"] = plan["kind"]
            row["residual_pct"] = plan["residual"][number - 1]
            if "yellowing" in plan:
                row["delta_b"] = plan["yellowing"][number - 1]
            if number in plan.get("unread", {}):
                row |= dict.fromkeys(UNREAD) | {"not_read_because": plan["unread"][number]}
            found.append(row)
    return found


def site_tests() -> list[dict[str, Any]]:
    """Measured numbers: on zones, and on the steel panels."""
    found = []
    for zone, panel, quantity, values, spread, method in TESTS:
        name = f"{panel or zone}-{quantity}"
        for number, value in enumerate(values, start=1):
            row = {
                "site_test": f"{name}-{number}", "zone": zone, "panel": panel, "quantity": quantity,
                "spread": spread, "set_name": name, "set_size": len(values), "method": method,
                "tested_on": SEEN, "tested_by": "conservator",
            }  # fmt: skip
            row["not_measured_because" if isinstance(value, str) else "value"] = value
            if quantity == "lead_lab_pct":
                row |= {"detection_limit": CHIP_LIMIT_PCT, "full_depth": "yes"}
            found.append(row)
    return found


def zones_and_layers() -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Zones with their areas from the drawings, and the layers on them."""
    zones, layers = [], []
    for zone, row in ZONES.items():
        fields = {key: value for key, value in row.items() if key != "layers"}
        elevation = next(name for name, item in ELEVATIONS.items() if zone in item.zones)
        zones.append(
            {
                "zone": zone,
                "elevation": elevation,
                "area_m2": round(area_m2(zone), 2),
                "soilings": ";".join(layer[0] for layer in row["layers"]),
                "panels_laid": sum(
                    plan["count"] for plan in PANELS.values() if plan["record"]["zone"] == zone
                ),
                "colour_sets": COLOUR_SETS.get(zone),
                "coatings": COATINGS.get(zone),
                "not_tried": NOT_TRIED.get(zone),
                "surveyed_on": SEEN,
                "surveyed_by": "conservator",
                **fields,
            }
        )
        for number, (soiling, cover, thickness, value, why) in enumerate(row["layers"], start=1):
            layers.append(
                {
                    "layer": f"{zone}-L{number}",
                    "zone": zone,
                    "soiling": soiling,
                    "cover_pct": cover,
                    "thickness_mm": thickness,
                    "value": value,
                    "value_reason": why,
                    "made_of": MADE_OF.get(f"{zone}-L{number}"),
                }
            )
    return zones, layers


def survey(pictures: list[dict[str, Any]]) -> dict[str, list[dict[str, Any]]]:
    """All tables of the example survey, as plain rows."""
    zones, layers = zones_and_layers()
    elevations = [
        {
            "elevation": name,
            "name": item.title,
            "drawing": f"drawings/{name}.svg",
            "width_m": round(item.box[2] - item.box[0], 2),
            "height_m": round(item.box[3] - item.box[1], 2),
        }
        for name, item in ELEVATIONS.items()
    ]
    return {
        "structure": [{
            "structure": "Quillmere Pumping Station",
            "asked": "Which zones of the engine house and the water tower to clean before the "
            "re-coating contract of 2027, by which method, and which to leave",
            "surveyed_by": "conservator; engineer for the tower",
            "survey_date": CLOSED,
            "significance": "A granite engine house of 1887 and its riveted tower of 1889, whole "
            "with early coatings and a maker's plate",
            "licence": "CC0-1.0",
            "beds": list_of((row["substrate"], row.get("bed_or_system")) for row in zones),
            "call_first": "Project conservator, site radio channel 4; else the site office",
        }],
        "elevations": elevations,
        "zones": zones,
        "layers": layers,
        "observations": observations(),
        "tile_readings": tile_readings([
            row["session"] for row in readings() if row.get("session")
        ]),
        "readings": readings(),
        "site_tests": site_tests(),
        "panels": panels(),
        "settings": settings({name: plan["record"]["zone"] for name, plan in PANELS.items()}),
        "spots": spots(),
        "section_readings": [*section_readings(), *stress_of_tilts(HERE)],
        "attachments": [
            *attachments(elevations, pictures), *attached(HERE), *tilts_attached(HERE),
            attached_photograph(HERE),
        ],
        "height_maps": [
            one | on_map() if one["height_map"] == "H1" else one for one in height_maps()
        ],
        "photos": photos(),
        "policy": [{
            "alpha": 0.10, "agreed_share": 1.0, "fabric_cap_high": 2, "fabric_cap_medium": 4,
            "fabric_cap_low": 5, "margin": 1.3, "margin_high": 2, "damage_limit": 0.25,
            "horizon_years": 25, "power": 2, "agreed_on": date(2026, 3, 12),
            "damage_limit_medium": 0.15, "damage_limit_high": 0.1, "damage_seen": 0.05,
            "damage_seen_high": 0.02,
        }],
        "views": [
            {"member": member, "criterion": criterion, "swing": swing}
            for member, swings in SWINGS.items()
            for criterion, swing in zip(CRITERIA, swings, strict=True)
        ],
        "meetings": [], "opinions": [], "decisions": [], "open_questions": [], "signatures": [],
    }  # fmt: skip


def attachments(
    elevations: list[dict[str, Any]], pictures: list[dict[str, Any]]
) -> list[dict[str, Any]]:
    """Files beside the tables, which must be written before: drawings, and one of the meter."""
    records = [
        attachment_of(
            HERE / one["drawing"], kind="drawing", attachment=f"drawing {one['elevation']}",
            file=one["drawing"],
        )
        for one in elevations
    ]  # fmt: skip
    meter = attachment_of(
        HERE / METER_FILE, kind="instrument_file", attachment="meter lift 3", file=METER_FILE,
        zone="N12", taken_on=date(2026, 9, 11), taken_by="conservator",
        note="Clean reference of the parapet; to be taken into the readings",
    )  # fmt: skip
    shots = [
        attachment_of(
            HERE / one["file"], kind="photograph", taken_on=TAKEN_ON, taken_by="conservator", **one
        )
        for one in pictures
    ]  # fmt: skip
    return [record.model_dump() for record in (*records, meter, *shots)]


def measured(made: Survey) -> tuple[Record, ...]:
    """What the package itself measures in the photographs, and in the pair of height maps."""
    in_photographs = [record for code in SHOTS for record in measure(made, code).records]
    of_pair, _ = pair_records(made, measure_pair(made, "H2"), "conservator")
    return (*in_photographs, *of_pair)


def main() -> None:
    """Write drawings and files, then the tables as the package itself exports them."""
    write(HERE / "drawings")
    (HERE / METER_FILE).parent.mkdir(exist_ok=True)
    (HERE / METER_FILE).write_text(exported(), encoding="utf-8", newline="")
    write_files(HERE)
    write_tilts(HERE)
    pictures = photograph(HERE)
    write_photograph(HERE)
    rows = survey(pictures)
    for record in measured(build(rows, folder=HERE)):
        table = rows[TABLE_OF[type(record)]]
        key = KEYS[TABLE_OF[type(record)]][0]
        row = record.model_dump()
        known = [one[key] for one in table]
        at = known.index(row[key]) if row[key] in known else len(table)
        table[at : at + 1] = [row]
    for record in meeting(build(rows, folder=HERE)):
        rows[TABLE_OF[type(record)]].append(record.model_dump())
    made = build(rows, folder=HERE)
    with tempfile.TemporaryDirectory() as folder:
        for path in made.export(Path(folder) / "quillmere").glob("*.*"):
            shutil.copyfile(path, HERE / path.name)
    print(made)


if __name__ == "__main__":
    main()
