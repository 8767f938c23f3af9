"""Turns a case of tests/guidance/README.md into the survey records that a conservator writes."""

from __future__ import annotations

import csv
import re
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from guidance_series import (
    damaged_on_each,
    ends,
    laid_on,
    scale_of_case,
    spot_rows,
    spots_on_each,
)

from heritagecheck.evidence.colour import delta_e
from heritagecheck.judgement.gates.panel_requirements import method_limits
from heritagecheck.judgement.policy import CRITERIA
from heritagecheck.survey.places import build
from heritagecheck.survey.records import Zone
from heritagecheck.survey.records.fields import literal_choices
from heritagecheck.survey.records.old_settings import read
from heritagecheck.survey.records.quantities import units_of
from heritagecheck.survey.records.structure import list_of
from heritagecheck.survey.survey import Survey
from heritagecheck.tables import codes, keyed

DAY = date(2026, 6, 1)
# Typical L*, a*, b* of clean, dry stone: brief of the trade, from memory. They only place the
# synthetic readings; what a case states is the difference.
CLEAN = {
    "granite": (62, 0.5, 3), "granite_weathered": (60, 1, 5), "granite_polished": (58, 0.5, 2),
    "sandstone_siliceous": (66, 4, 16), "sandstone_clay_calc": (62, 6, 20),
    "riveted_steel": (50, 1, 3), "wrought_iron": (46, 1, 3), "cast_iron": (46, 1, 3),
    "lime_mortar_joint": (74, 2, 12), "limestone": (78, 1.5, 11), "marble": (86, 0, 3),
    "brick": (46, 20, 22),
}  # fmt: skip
NEEDED = (
    "case_id", "substrate", "substrate_condition", "significance", "exposure", "lead",
    "access", "expected_outcome", "methods_ruled_out", "methods_acceptable",
    "acceptable_conditional", "finish", "area_m2",
    "layers", "findings", "panels", "expected_hard_stops",
)  # fmt: skip
PANEL_KEYS = {
    "method", "setting", "quantity", "dialled", "count", "laid", "aged_days", "winter", "control",
    "x50_fields", "x50_weakest", "damaged", "component", "residual_pct", "delta_b", "late", "unit",
    "cleaning",
    "damage", "grade", "adhesion_mpa", "adhesion_required", "profile_um", "profile_required",
    "chloride_ug_cm2", "soiling", "passed_over", "ladder", "each", "clean_from",
    "bed", "read_ago",
    "damage_kind", "fields_before", "damaged_before", "before_on",
    "measured_below", "depth_removed_um", "roughness_change_pct",
}  # fmt: skip


NO_LEAD_SHOWN = {
    "coatings": "1", "lead_lab_pct": "0", "lead_detection_limit_pct": "0.005",
    "lead_full_depth": "yes",
}  # fmt: skip


class CaseError(ValueError):
    """A case that is not in the form of tests/guidance/README.md."""


def read_cases(path: Path) -> list[dict[str, str]]:
    """Read a file of cases; a file that holds none, or lacks a column, is an error."""
    if not path.is_file():
        raise CaseError(f"{path} is not a file.")
    with path.open(encoding="utf-8-sig", newline="") as file:
        cases = list(csv.DictReader(file))
    if not cases:
        raise CaseError(f"{path} holds no case.")
    missing = [name for name in NEEDED if name not in cases[0]]
    if missing:
        raise CaseError(f"{path} has no column {', '.join(missing)}.")
    return cases


def pairs(text: str, where: str) -> dict[str, str]:
    """Read ``name=value; name=value``."""
    found = {}
    for part in filter(None, (part.strip() for part in text.split(";"))):
        name, sign, value = (piece.strip() for piece in part.partition("="))
        if not sign or not value:
            raise CaseError(f"{where}: {part!r} is not of the form name=value.")
        if name in found:
            raise CaseError(f"{where}: {name} stands twice.")
        found[name] = value
    return found


def rows_of_case(case: dict[str, str]) -> dict[str, list[dict[str, Any]]]:
    """Plain rows of every table of the survey that a case describes."""
    name = case["case_id"]
    layers = pairs(case["layers"], f"{name}, layers")
    findings = pairs(case["findings"], f"{name}, findings")
    series = [pairs(part, f"{name}, panels") for part in (case["panels"] or "").split("||")]
    series = [given for given in series if given]
    for topic in findings:
        if topic not in codes("topics"):
            raise CaseError(
                f"{name}, findings: {topic} is no topic. Known: {', '.join(codes('topics'))}."
            )
    if unknown := {key for given in series for key in given} - PANEL_KEYS:
        raise CaseError(
            f"{name}, panels: unknown {', '.join(sorted(unknown))}. "
            f"Known: {', '.join(sorted(PANEL_KEYS))}."
        )
    masonry = keyed("substrates", "substrate")[case["substrate"]]["kind"] == "masonry"
    tested = case.get("lead_xrf_mg_cm2") or case.get("lead_lab_pct")
    if case["lead"] in {"yes", "no"} and not tested:
        findings.setdefault("lead", case["lead"])
        if case["lead"] == "no" and coated(layers, findings, masonry=masonry):
            # A case that states that a coating holds no lead means that it was shown.
            case = {**case, **NO_LEAD_SHOWN}
    # What guidance does not speak of was not seen there.
    silent = {"falling_material": "no", "stone_jacking": "no", "cause_other": "none",
              "stain_disfigures": "no"}  # fmt: skip
    findings = {**silent, **findings}
    condition = case["substrate_condition"]
    if condition not in literal_choices(Zone, "condition"):
        raise CaseError(f"{name}, substrate_condition = {condition}: not a condition.")
    zone = {
        "zone": name, "elevation": "A", "name": case.get("title") or name,
        "area_m2": case["area_m2"], "substrate": case["substrate"], "finish": case["finish"],
        "condition": condition, "exposure": case["exposure"], "access": case["access"],
        "significance": case["significance"], "significance_reason": "as the case says",
        "soilings": ";".join(layers), "biotite_pct": case.get("biotite_pct") or None,
        "surveyed_on": DAY, "surveyed_by": "conservator", "bed_or_system": case.get("bed") or None,
        "panels_laid": laid_on(series, None),
        "coatings": case.get("coatings") or None,
        "not_tried": not_tried(series),
    }  # fmt: skip
    rows = frame()
    rows["zones"] = [zone]
    for number, bed in enumerate(dict.fromkeys(given["bed"] for given in series if "bed" in given)):
        rows["zones"].append({
            **zone, "zone": f"{name}-elsewhere-{number + 1}", "bed_or_system": bed,
            "panels_laid": laid_on(series, bed),
        })  # fmt: skip
    lying = {one["bed_or_system"]: one["zone"] for one in rows["zones"][1:]}
    rows["layers"] = [
        layer_row(case, zone["zone"], number, soiling, words)
        for zone in rows["zones"]
        for number, (soiling, words) in enumerate(layers.items(), start=1)
    ]
    rows["observations"] = [
        observation(f"{name}-O{number}", name, topic, finding)
        for number, (topic, finding) in enumerate(findings.items(), start=1)
    ]
    rows["readings"] = list(readings(case, name))
    rows["panels"], rows["site_tests"], rows["spots"] = [], lead_tests(case, name), []
    rows["settings"] = []
    for number, given in enumerate(series, start=1):
        where = lying[given["bed"]] if "bed" in given else name
        code = name if number == 1 else f"{name}-{number}"
        panels, tests = panel_rows(given, where, list(layers), code)
        rows["panels"] += panels
        rows["site_tests"] += tests
        rows["spots"] += spot_rows(given, panels, case["substrate"])
        rows["settings"] += setting_rows(given, where, case["substrate"], code)
    return listing_beds(rows)


def listing_beds(rows: dict[str, list[dict[str, Any]]]) -> dict[str, list[dict[str, Any]]]:
    """Plain rows whose structure lists every bed that their zones name."""
    beds = list_of((zone["substrate"], zone.get("bed_or_system")) for zone in rows["zones"])
    return {**rows, "structure": [one | {"beds": beds or None} for one in rows["structure"]]}


def not_tried(series: list[dict[str, str]]) -> str | None:
    """Gentler methods that the source passes over."""
    named = [code for given in series for code in given.get("passed_over", "").split("+") if code]
    return "; ".join(f"{code.strip()}: the source passes it over" for code in named) or None


def layer_row(
    case: dict[str, str], zone: str, number: int, soiling: str, words: str
) -> dict[str, Any]:
    """One layer: what it is worth, and in brackets what it is made of."""
    value, material = re.fullmatch(r"(\w+)(?: \((.+)\))?", words.strip()).groups()
    if material is not None and material not in codes("materials"):
        raise CaseError(
            f"{case['case_id']}, layers: {material} is no material. "
            f"Known: {', '.join(codes('materials'))}."
        )
    return {
        "layer": f"{zone}-L{number}",
        "zone": zone,
        "soiling": soiling,
        "value": value,
        "made_of": material,
        "cover_pct": case.get("coverage_pct") or None,
        "thickness_mm": case.get("thickness_mm") or None,
    }


def coated(layers: dict[str, str], findings: dict[str, str], *, masonry: bool) -> bool:
    """Whether a case tells of a coating, or of metal that nobody says is bare."""
    kinds = keyed("soilings", "soiling")
    seen = any(kinds[soiling]["kind"] == "coating" for soiling in layers)
    return seen or (not masonry and findings.get("coating_state") != "none")


def frame() -> dict[str, list[dict[str, Any]]]:
    """Tables that every survey needs, with the default policy."""
    return {
        "structure": [{
            "structure": "Invented", "asked": "What to clean", "surveyed_by": "conservator",
            "survey_date": DAY, "significance": "as the case says",
        }],
        "elevations": [{
            "elevation": "A", "name": "only", "drawing": "a.svg", "width_m": 10, "height_m": 10,
        }],
        "policy": [{
            "alpha": 0.1, "agreed_share": 1, "fabric_cap_high": 2, "fabric_cap_medium": 4,
            "fabric_cap_low": 5, "margin": 1.3, "margin_high": 2, "damage_limit": 0.25,
            "horizon_years": 25, "power": 2, "agreed_on": DAY, "damage_limit_medium": 0.15,
            "damage_limit_high": 0.1, "damage_seen": 0.05, "damage_seen_high": 0.02,
        }],
        "views": [
            {"member": "team", "criterion": criterion, "swing": 100} for criterion in CRITERIA
        ],
    }  # fmt: skip


def observation(code: str, zone: str, topic: str, finding: str) -> dict[str, Any]:
    """One answer; a scheduled cure has an owner and a date."""
    due = {"owner": "owner", "due": DAY + timedelta(days=200)} if finding == "scheduled" else {}
    note = {"note": "named in the case"} if topic == "cause_other" and finding != "none" else {}
    return {
        "observation": code, "zone": zone, "topic": topic, "finding": finding,
        "seen_on": DAY, "seen_by": "conservator", **due, **note,
    }  # fmt: skip


def readings(case: dict[str, str], zone: str) -> Any:
    """Twelve readings each of clean and soiled stone whose means differ by the stated ΔE00."""
    if not case.get("deltaE00_visible"):
        return
    wanted = as_number(case["deltaE00_visible"], f"{zone}, deltaE00_visible")
    clean = np.array(CLEAN[case["substrate"]], dtype=float)
    shifts = np.arange(0, clean[0], 0.1)
    enough = shifts[delta_e(clean - shifts[:, None] * [1, 0, 0], clean) >= wanted]
    dark = enough[0] if len(enough) else clean[0] - 8
    spread = np.random.default_rng(7).normal(size=(12, 3)) * (1.8, 0.4, 0.8)
    spread -= spread.mean(axis=0)
    for target, mean in (("reference", clean), ("soiled", clean - [dark, 0, 0])):
        for number, lab in enumerate(mean + spread, start=1):
            yield {
                "reading": f"{zone}-{target}-{number}", "zone": zone,
                "set_name": f"{zone}-{target}",
                "set_size": 12, "target": target, "L_star": round(max(lab[0], 0.0), 2),
                "a_star": round(lab[1], 2), "b_star": round(lab[2], 2), "state": "dry",
                "geometry": "SCI", "aperture_mm": 25, "illuminant": "D65/10",
                "instrument": "sphere d/8", "read_on": DAY, "read_by": "conservator",
            }  # fmt: skip


def as_number(text: str, where: str) -> float:
    """Read a number, or say where none stands."""
    try:
        return float(text)
    except ValueError:
        raise CaseError(f"{where} = {text}: not a number.") from None


def whole(given: dict[str, str], name: str, zone: str) -> int:
    """Read a whole number of the panels; one panel where nothing is said."""
    found = as_number(given.get(name, "1"), f"{zone}, panels, {name}")
    if found != int(found):
        raise CaseError(f"{zone}, panels, {name} = {given[name]}: not a whole number.")
    return int(found)


def panel_rows(
    given: dict[str, str], zone: str, soilings: list[str], series: str
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Panels of one series, and the steel tests made on each."""
    if not given:
        return [], []
    for needed in ("method", "setting"):
        if needed not in given:
            raise CaseError(f"{zone}, panels: {needed} is missing.")
    count = whole(given, "count", zone)
    cleaning = ends(given.get("cleaning"))
    damage = ends(given.get("damage"))
    profile = ends(given.get("profile_required"))
    scale = scale_of_case(given)
    read = "aged_days" in given
    age = timedelta(days=whole(given, "aged_days", zone) if read else 0)
    total = whole(given, "damaged", zone) if "," not in given.get("damaged", ",") else None
    damaged = damaged_on_each(given.get("damaged"), total, count)
    seen = DAY - timedelta(days=whole(given, "read_ago", zone) if "read_ago" in given else 0)
    treated = [code.strip() for code in given.get("soiling", soilings[0]).split("+")]
    panels, tests = [], []
    for number in range(count):
        code = f"{series}-P{number + 1}"
        panels.append({
            "panel": code, "zone": zone, "series": f"{series}-S",
            "panels_in_series": given.get("laid", count),
            "soiling": treated[0], "also_treated": ";".join(treated[1:]) or None,
            "method": given["method"],
            "setting": given["setting"], "done_on": seen - age, "read_on": seen if read else None,
            "not_read_because": None if read else "not said",
            "winter_included": given.get("winter"),
            "control_kept": given.get("control"), "x50_fields": given.get("x50_fields"),
            "x50_fields_weakest": given.get("x50_weakest"), "damaged_fields": damaged[number],
            "damaged_component": given.get("component"), "residual_pct": given.get("residual_pct"),
            "delta_b": given.get("delta_b"), "late_effects": given.get("late"),
            "setting_quantity": scale.quantity, "setting_unit": scale.unit,
            "cleaning_low": cleaning[0], "cleaning_high": cleaning[1],
            "damage_low": damage[0], "damage_high": damage[1],
            "grade_reached": given.get("grade"),
            "required_adhesion_mpa": given.get("adhesion_required"),
            "required_profile_low_um": profile[0], "required_profile_high_um": profile[1],
            "spots_laid": spots_on_each(given),
            "damage_kind": given.get("damage_kind"), "before_on": given.get("before_on"),
            "fields_before": given.get("fields_before"),
            "damaged_before": given.get("damaged_before"),
            "measured_below": given.get("measured_below"),
        })  # fmt: skip
        for quantity in ("depth_removed_um", "roughness_change_pct"):
            tests += below_rows(given.get(quantity, ""), zone, quantity, code)
        for quantity in ("adhesion_mpa", "profile_um", "chloride_ug_cm2"):
            values = [
                value.strip() for value in given.get(quantity, "").split(",") if value.strip()
            ]
            tests += site_test_rows(zone, quantity, values, panel=code)
    return panels, tests


def below_rows(text: str, zone: str, quantity: str, panel: str) -> list[dict[str, Any]]:
    """What was measured below ×50 on a panel: of all of it, then mineral by mineral."""
    parts = [part.split() for part in text.split("+") if part.strip()]
    values = [part[-1].partition("~") for part in parts]
    rows = site_test_rows(zone, quantity, [value for value, _, _ in values], panel=panel)
    return [
        row | {"spread": error or None, "mineral": part[0] if len(part) > 1 else None}
        for row, part, (_, _, error) in zip(rows, parts, values, strict=True)
    ]


def setting_rows(
    given: dict[str, str], zone: str, substrate: str, series: str
) -> list[dict[str, Any]]:
    """
    What was dialled: as the case lists it, else as its words tell it.

    What decides whether a method is what its name says, and is not spoken of, is taken as the name
    says it: a source that speaks of mist does not add that it was no acid.
    """
    if not given:
        return []
    if "dialled" in given:
        told = [dialled(part, zone) for part in given["dialled"].split(",")]
    else:
        told = [one._asdict() for one in read(given["setting"], given["method"])[0]]
    known = {one["quantity"] for one in told} | {scale_of_case(given).quantity}
    known |= {"hardness", "free_silica"} if "medium" in known else set()
    rows = [{"series": f"{series}-S", "zone": zone, **one} for one in told]
    silent = as_named(f"{series}-S", zone, given["method"], substrate)
    return rows + [row for row in silent if row["quantity"] not in known]


def as_named(series: str, zone: str, method: str, substrate: str) -> list[dict[str, Any]]:
    """Rows of all that decides whether a series was laid as its method's name says: it was."""
    row = keyed("substrates", "substrate")[substrate]
    facts = {name: frozenset({row[name]}) for name in ("kind", "acid_sensitive")}
    return [
        {
            "series": series, "zone": zone, "quantity": limit.quantity,
            **({"words": limit.allowed[0]} if limit.allowed
               else {"value": limit.most, "unit": limit.unit}),
        }
        for limit in method_limits(method, facts)
    ]  # fmt: skip


def dialled(part: str, zone: str) -> dict[str, Any]:
    """One of ``quantity: value unit`` or ``quantity: word``."""
    quantity, sign, told = (piece.strip() for piece in part.partition(":"))
    if not sign or quantity not in codes("setting_quantities"):
        raise CaseError(f"{zone}, panels, dialled: {part.strip()!r} is not quantity: value unit.")
    number, _, unit = told.partition(" ")
    if unit in units_of(quantity):
        return {"quantity": quantity, "value": number, "unit": unit}
    return {"quantity": quantity, "words": told}


def site_test_rows(
    zone: str, quantity: str, values: list[str], *, panel: str | None = None
) -> list[dict[str, Any]]:
    """One whole set of site tests."""
    name = f"{panel or zone}-{quantity}"
    return [
        {
            "site_test": f"{name}-{number}",
            "zone": zone,
            "panel": panel,
            "quantity": quantity,
            "value": value,
            "set_name": name,
            "set_size": len(values),
            "method": "as the case says",
            "tested_on": DAY,
            "tested_by": "conservator",
        }
        for number, value in enumerate(values, start=1)
    ]


def lead_tests(case: dict[str, str], zone: str) -> list[dict[str, Any]]:
    """XRF and laboratory results, where a case gives them, with what the case says of the chips."""
    chips = {
        "detection_limit": case.get("lead_detection_limit_pct") or None,
        "full_depth": case.get("lead_full_depth") or None,
    }
    return [
        row | (chips if quantity == "lead_lab_pct" else {})
        for quantity in ("lead_xrf_mg_cm2", "lead_lab_pct")
        for row in site_test_rows(
            zone, quantity, [v.strip() for v in (case.get(quantity) or "").split(",") if v.strip()]
        )
    ]


def build_case(case: dict[str, str]) -> Survey:
    """Survey that a case describes."""
    return build(rows_of_case(case))


def listed(text: str | None) -> list[str]:
    """Read codes parted by semicolons."""
    return [part.strip() for part in (text or "").split(";") if part.strip()]


def known_methods() -> set[str]:
    """Codes of all methods."""
    return set(keyed("methods", "method"))
