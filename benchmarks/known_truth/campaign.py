"""A trial of one method, as the planner asks for it: spots, panels, readings, all on record."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from heritagecheck.evidence.trials.damaged_fields import (
    NO_PRIOR,
    SharePrior,
    agreed_damage,
    plan_fields,
)
from heritagecheck.survey.records import AgreedPolicy
from heritagecheck.tables import keyed, threshold
from heritagecheck.tables.ages import ageing_required
from known_truth.spots import (
    READER_SEES,
    Group,
    Wall,
    confirmation,
    dose_that_damages,
    first_damage,
    gentlest_that_cleans,
    ladder,
    reads,
    spots_asked,
)
from known_truth.surveyor import Row, Sheet, policy_row
from known_truth.truth import Act

ADHESION_REQUIRED = 4.0
PROFILE_REQUIRED = (25, 75)
# Quantity varied with its unit, its usual value, and the sentence around it.
SETTINGS = {
    "laser": (("peak_fluence", "J/cm²"), 0.8, "10 ns, spot 4 mm, dry, square on, {} J/cm² peak"),
    "abrasive": (("passes", "passes"), 4, "calcite 50 µm at 45°, {} passes"),
    "solvent": (("dwell", "h"), 2, "neutral gel as supplied, 18 °C, rinsed twice, {} h"),
    "alkali": (("dwell", "min"), 30, "5 %, pH 12, 18 °C, rinsed to background, {} min"),
    "poultice": (("dwell", "h"), 12, "citrate 3 %, 18 °C, rinsed to background, {} h"),
    "biocide": (("dwell", "h"), 24, "2 % without phosphate, 18 °C, no rinse, {} h"),
    "acid": (("dwell", "min"), 3, "2 %, pH 3, 18 °C, rinsed to background, {} min"),
    "water": (("dwell", "min"), 40, "fan 40°, 250 mm, 6 L/min, {} min"),
}  # fmt: skip
OTHER = (("passes", "passes"), 4, "soft bristle brush and spatula, {} passes")


@dataclass(frozen=True, slots=True)
class Effort:
    """Panels, and fields at ×50 on each."""

    panels: int
    fields: int


def effort_asked(significance: str, prior: SharePrior = NO_PRIOR) -> Effort:
    """
    Effort that is likely to do for a setting that damages one field in a hundred.

    Parameters
    ----------
    significance : str
        Significance of the zone.
    prior : SharePrior
        What ratings of the method let expect.

    Returns
    -------
    Effort
    """
    fields = int(threshold(f"planned_fields_{significance}"))
    least = int(threshold(f"replicates_{significance}"))
    limits = agreed_damage(AgreedPolicy(**policy_row()))[significance]
    return Effort(plan_fields(limits, fields, least_panels=least, prior=prior).likely, fields)


def lay(
    rng: np.random.Generator,
    sheet: Sheet,
    method: str,
    begun: date,
    effort: Effort,
    *,
    excess: float | None = None,
) -> date:
    """
    Lay and read a series of panels of one method, or carry it on.

    Parameters
    ----------
    rng : numpy Generator
        Source of draws.
    sheet : Sheet
        Records of the zone, to which the series is added.
    method : str
        Method tried.
    begun : date
        Day on which the spots are laid.
    effort : Effort
        Panels and fields.
    excess : float, optional
        True share of fields damaged at the setting chosen, in place of what the method does.

    Returns
    -------
    date
        Day on which the panels are read.

    Notes
    -----
    Where no setting of the ladder came clean, its own panels are all that is laid, at its harshest
    setting. A series that is carried on keeps its setting and gets no second ladder.
    """
    place, act = sheet.place, sheet.place.acts[method]
    usual = SETTINGS.get(act.family, OTHER)[1]
    name = f"{place.code}-{method}"
    earlier = [row for row in sheet.panels if row["series"] == name]
    plan = spots_asked(place)
    wanted = max(effort.panels, plan.panels, 0 if earlier else plan.replicates)
    codes = [f"{name}-{len(earlier) + number + 1}" for number in range(wanted)]
    tilt = {code: float(rng.normal(0, np.sqrt(act.likeness) * act.damage_spread))
            for code in codes}  # fmt: skip
    wall = Wall(act, act.damage_50, tilt, place.before)
    laid: list[Group] = []
    chosen: float | None = None
    if earlier:
        chosen = earlier[0]["cleaning_low"] / usual
    elif excess is None:
        laid = ladder(rng, wall, plan, codes[: plan.replicates])
        chosen = gentlest_that_cleans(laid)
    else:
        # The setting is chosen on a wall that nothing damages, so that its share is as given.
        firm = ladder(rng, replace(wall, damage_50=1e9), plan, codes[: plan.replicates])
        chosen = gentlest_that_cleans(firm) or plan.settings[-1]
        wall = replace(wall, damage_50=dose_that_damages(act, chosen, excess))
        laid = ladder(rng, wall, plan, codes[: plan.replicates])
    if chosen is None:
        codes, chosen = codes[: plan.replicates], max(one.step for one in laid)
    else:
        laid += confirmation(rng, wall, plan, codes, chosen)
    kind = "metal" if place.metal else "masonry"
    days, _ = ageing_required(kind, method, place.significance, urgent=False)
    read_on = begun + timedelta(days=days + 20)
    _record_spots(sheet, method, laid, read_on)
    for code in codes:
        damaged = reads(rng, rng.random(effort.fields) < wall.share(code, chosen), place.before)
        spots = sum(len(one.damaged) for one in laid if one.panel == code)
        sheet.panels.append(
            _panel(rng, sheet, act, code, chosen, laid, damaged, begun, read_on, spots)
        )
        if place.metal:
            sheet.tests += list(_steel_tests(rng, place.code, code, act, read_on))
    for row in sheet.panels:
        if row["series"] == name:
            row["panels_in_series"] = len(earlier) + len(codes)
    sheet.zone["panels_laid"] = len(sheet.panels)
    return read_on


def _record_spots(sheet: Sheet, method: str, laid: list[Group], read_on: date) -> None:
    """Write down the spots, panel by panel."""
    scale, usual, _ = SETTINGS.get(sheet.place.acts[method].family, OTHER)
    counts: dict[str, int] = {}
    for one in laid:
        counts[one.panel] = counts.get(one.panel, 0) + len(one.damaged)
    for number, one in enumerate(laid):
        sheet.spots += [
            _spot(sheet, f"{one.panel}-{number}-{place_at}", one, place_at, scale, usual, read_on,
                  counts[one.panel])
            for place_at in range(len(one.damaged))
        ]  # fmt: skip


def _begins(first: float | None, chosen: float, damaged: Any) -> float | None:
    """Setting of first damage; no lower than the panel's own where that shows none."""
    return first if first is None or damaged.any() else max(first, chosen)


def _component(sheet: Sheet) -> str | None:
    """Component under the spots: dark mica wherever the survey counted enough of it."""
    counted = sheet.zone["biotite_pct"]
    weakest = keyed("substrates", "substrate")[sheet.place.substrate]["weakest_components"]
    return weakest if weakest and (counted or 0) >= threshold("weakest_component_pct") else None


def _kind(sheet: Sheet) -> str:
    """Damage as ×50 shows it first: single grains of stone, a tint on steel."""
    return "heat_tint" if sheet.place.metal else "grains"


def _spot(
    sheet: Sheet,
    code: str,
    group: Group,
    number: int,
    scale: tuple[str, str],
    usual: float,
    read_on: date,
    laid: int,
) -> Row:
    """Record of one spot."""
    damaged = bool(group.damaged[number])
    return {
        "spot": code, "panel": group.panel, "zone": sheet.place.code,
        "spots_on_panel": laid, "dose": float(f"{group.step * usual:.4g}"),
        "dose_quantity": scale[0], "dose_unit": scale[1],
        "cleaned": "yes" if group.cleaned[number] else "no", "damaged": "yes" if damaged else "no",
        "read_on": read_on, "read_by": "conservator", "component": _component(sheet),
        "damage_kind": _kind(sheet) if damaged else None,
    }  # fmt: skip


def _panel(
    rng: np.random.Generator,
    sheet: Sheet,
    act: Act,
    code: str,
    chosen: float,
    laid: list[Group],
    fields: Any,
    begun: date,
    read_on: date,
    spots: int,
) -> Row:
    """Record of one panel, read at the end of its ageing."""
    scale, usual, words = SETTINGS.get(act.family, OTHER)
    dose, damaged = float(f"{chosen * usual:.4g}"), int(fields.sum())
    first = _begins(first_damage(laid), chosen, fields)
    highest = max((one.step for one in laid), default=chosen)
    left = 100 * (1 - act.cleaned(chosen)) + float(rng.normal(0, 3))
    days = (read_on - begun).days
    late = act.late if act.late and days > act.late_day and rng.random() < READER_SEES else "none"
    nothing = np.zeros(len(fields), dtype=bool)
    row: Row = {
        "panel": code, "zone": sheet.place.code, "series": f"{sheet.place.code}-{act.method}",
        "panels_in_series": 0,
        "soiling": sheet.layers[0]["soiling"], "method": act.method,
        "setting": words.format(f"{dose:g}"), "done_on": begun, "read_on": read_on,
        "winter_included": "yes" if days >= 300 else "no", "control_kept": "yes",
        "joint_included": "no" if sheet.place.metal else "yes",
        "x50_fields": len(fields), "x50_fields_weakest": len(fields),
        "damaged_fields": damaged, "damaged_component": _component(sheet) if damaged else None,
        "damage_kind": _kind(sheet) if damaged else None, "before_on": "panel",
        "fields_before": len(fields),
        "damaged_before": int(reads(rng, nothing, sheet.place.before).sum()),
        "residual_pct": round(min(max(left, 0.0), 100.0)), "late_effects": late,
        "delta_b": round(act.yellow + float(rng.normal(0, 0.4)), 1),
        "setting_quantity": scale[0], "setting_unit": scale[1],
        "cleaning_low": dose, "cleaning_high": dose,
        "damage_low": float(f"{(highest if first is None else first) * usual:.4g}"),
        "damage_high": None if first is None else float(f"{first * usual:.4g}"),
        "read_by": "conservator", "reader_blind": "yes", "spots_laid": spots,
    }  # fmt: skip
    if sheet.place.metal:
        row |= {"grade_reached": "yes" if act.grade else "no",
                "required_adhesion_mpa": ADHESION_REQUIRED,
                "required_profile_low_um": PROFILE_REQUIRED[0],
                "required_profile_high_um": PROFILE_REQUIRED[1]}  # fmt: skip
    return row


def _steel_tests(rng: np.random.Generator, zone: str, panel: str, act: Act, day: date) -> list[Row]:
    """Three tests each of adhesion, profile and chloride on one panel."""
    adhesion = rng.normal(7.0 if act.grade else 3.5, 1.0, 3)
    measured = {
        "adhesion_mpa": np.maximum(adhesion, 0.2), "profile_um": rng.normal(act.profile_um, 4, 3),
        "chloride_ug_cm2": act.chloride * np.exp(rng.normal(0, 0.3, 3)),
    }  # fmt: skip
    return [
        {"site_test": f"{panel}-{quantity}-{number}", "zone": zone, "panel": panel,
         "quantity": quantity, "value": round(float(value), 1), "set_name": f"{panel}-{quantity}",
         "set_size": 3, "method": "as the standard says", "tested_on": day,
         "tested_by": "conservator"}
        for quantity, values in measured.items() for number, value in enumerate(values, start=1)
    ]  # fmt: skip
