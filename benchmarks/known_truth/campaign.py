"""A campaign of trials as the answer asks for it: spots from gentle to harsh, panels, readings."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np

from heritagecheck.evidence.damaged_fields import SharePrior, agreed_damage
from heritagecheck.evidence.field_effort import NO_PRIOR
from heritagecheck.evidence.trials import plan_fields, plan_trial
from heritagecheck.survey.records import AgreedPolicy
from heritagecheck.tables import keyed, threshold
from heritagecheck.tables.ageing import ageing_asked
from known_truth.surveyor import Row, Sheet, policy_row
from known_truth.truth import Act

READER_SEES = 0.9  # share of damaged fields that a reader calls damaged
READER_INVENTS = 0.003  # share of sound ones
BEFORE_TOLD_APART = 0.8  # share of earlier damage that the before-picture shows to be earlier
GENTLEST, HARSHEST = 0.25, 6.0  # settings tried, times the usual one
ADHESION_REQUIRED = 4.0
PROFILE_REQUIRED = (25, 75)
# Quantity varied with its unit, its usual value, and the sentence around it.
SETTINGS = {
    "laser": (("peak_fluence", "J/cm²"), 0.8, "10 ns, spot 4 mm, dry, square on, {} J/cm² peak"),
    "abrasive": (("passes", "passes"), 4, "2 bar at the nozzle, calcite 50 µm, 45°, {} passes"),
    "solvent": (("dwell", "h"), 2, "neutral gel as supplied, 18 °C, rinsed twice, {} h"),
    "alkali": (("dwell", "min"), 30, "5 %, pH 12, 18 °C, rinsed to background, {} min"),
    "poultice": (("dwell", "h"), 12, "citrate 3 %, pH 7.5, 18 °C, rinsed to background, {} h"),
    "biocide": (("dwell", "h"), 24, "2 % without phosphate, 18 °C, no rinse, {} h"),
    "acid": (("dwell", "min"), 3, "2 %, pH 3, 18 °C, rinsed to background, {} min"),
    "water": (("dwell", "min"), 40, "3 bar at the nozzle, fan 40°, 250 mm, 6 L/min, cold, {} min"),
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
    Lay and read a series of panels of one method.

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
    """
    place, act = sheet.place, sheet.place.acts[method]
    scale, usual, words = SETTINGS.get(act.family, OTHER)
    name = f"{place.code}-{method}"
    earlier = [row for row in sheet.panels if row["series"] == name]
    codes = [f"{name}-{len(earlier) + number + 1}" for number in range(effort.panels)]
    plan = plan_trial(GENTLEST, HARSHEST, limit=0.25)
    steps, each = plan.settings, plan.spots_per_setting
    on_ladder = codes[: plan.replicates]
    tilt = {code: float(rng.normal(0, np.sqrt(act.likeness) * act.damage_spread))
            for code in codes}  # fmt: skip
    cleaned = {
        (code, step): rng.random(each) < act.spot_clean(step) for code in on_ladder
        for step in steps
    }  # fmt: skip
    chosen = earlier[0]["cleaning_low"] / usual if earlier else _gentlest(cleaned)
    damage_50 = act.damage_50
    if excess is not None:
        from scipy.special import ndtri

        damage_50 = chosen * float(np.exp(-ndtri(max(excess, 1e-9)) * act.damage_spread))
    ageing = ageing_asked("metal" if place.metal else "masonry", method, place.significance)
    read_on = begun + timedelta(days=int(ageing["days"]) + 20)
    seen_steps = []
    for (code, step), clean in cleaned.items():
        share = _damaged_share(act, damage_50, step, tilt[code])
        # Nobody takes a picture of each spot beforehand for the record, but the reader has one.
        hits = _reads(rng, rng.random(each) < share, place.before * (1 - BEFORE_TOLD_APART))
        seen_steps += [step] * int(hits.sum())
        sheet.spots += [
            _spot(sheet, code, number, step * usual, scale, clean[number], hits[number], read_on,
                  len(steps) * each)
            for number in range(each)
        ]  # fmt: skip
    # One damaged spot may be a slip of the reader; damage begins where it recurs.
    first = min((step for step in seen_steps if seen_steps.count(step) > 1), default=None)
    for code in codes:
        share = _damaged_share(act, damage_50, chosen, tilt[code])
        damaged = _reads(rng, rng.random(effort.fields) < share, place.before)
        sheet.panels.append(_panel(
            rng, sheet, act, code, name, chosen, _begins(first, chosen, damaged),
            int(damaged.sum()), effort, begun, read_on,
            scale, usual, words, steps[-1], len(steps) * each if code in on_ladder else 0,
        ))  # fmt: skip
        if place.metal:
            sheet.tests += list(_steel_tests(rng, place.code, code, act, read_on))
    for row in sheet.panels:
        if row["series"] == name:
            row["panels_in_series"] = len(earlier) + effort.panels
    sheet.zone["panels_laid"] = len(sheet.panels)
    return read_on


def _begins(first: float | None, chosen: float, damaged: Any) -> float | None:
    """Setting of first damage; no lower than the panel's own where that shows none."""
    return first if first is None or damaged.any() else max(first, chosen)


def _gentlest(cleaned: dict[tuple[str, float], Any]) -> float:
    """Gentlest setting from which all but one spot in twenty come clean; else the most cleaning."""
    steps = sorted({step for _, step in cleaned})
    shares = [
        float(np.mean([spots for (_, one), spots in cleaned.items() if one == step]))
        for step in steps
    ]
    good = [step for step, share in zip(steps, shares, strict=True) if share >= 0.94]
    return float(good[0] if good else steps[int(np.argmax(shares))])


def _damaged_share(act: Act, damage_50: float, step: float, tilt: float) -> float:
    """Share of fields damaged on one panel, which lies a little above or below the others."""
    from scipy.special import ndtr

    spread = np.sqrt(1 - act.likeness) * act.damage_spread
    return float(ndtr((np.log(step / damage_50) + tilt) / spread))


def _reads(rng: np.random.Generator, damaged: Any, before: float) -> Any:
    """What a reader at ×50 calls damaged: what is, what was before, and what never was."""
    count = len(damaged)
    seen = damaged & (rng.random(count) < READER_SEES)
    return seen | (rng.random(count) < before) | (rng.random(count) < READER_INVENTS)


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
    number: int,
    dose: float,
    scale: tuple[str, str],
    cleaned: bool,
    damaged: bool,
    read_on: date,
    laid: int,
) -> Row:
    """Record of one spot."""
    return {
        "spot": f"{code}-{dose:.4g}-{number}", "panel": code, "zone": sheet.place.code,
        "spots_on_panel": laid, "dose": float(f"{dose:.4g}"),
        "dose_quantity": scale[0], "dose_unit": scale[1],
        "cleaned": "yes" if cleaned else "no", "damaged": "yes" if damaged else "no",
        "read_on": read_on, "read_by": "conservator", "component": _component(sheet),
        "damage_kind": _kind(sheet) if damaged else None,
    }  # fmt: skip


def _panel(
    rng: np.random.Generator,
    sheet: Sheet,
    act: Act,
    code: str,
    series: str,
    chosen: float,
    first: float | None,
    damaged: int,
    effort: Effort,
    begun: date,
    read_on: date,
    scale: tuple[str, str],
    usual: float,
    words: str,
    highest: float,
    spots: int,
) -> Row:
    """Record of one panel, read at the end of its ageing."""
    dose = float(f"{chosen * usual:.4g}")
    left = 100 * (1 - act.cleaned(chosen)) + float(rng.normal(0, 3))
    days = (read_on - begun).days
    late = act.late if act.late and days > act.late_day and rng.random() < READER_SEES else "none"
    nothing = np.zeros(effort.fields, dtype=bool)
    row: Row = {
        "panel": code, "zone": sheet.place.code, "series": series, "panels_in_series": 0,
        "soiling": sheet.layers[0]["soiling"], "method": act.method,
        "setting": words.format(f"{dose:g}"), "done_on": begun, "read_on": read_on,
        "winter_included": "yes" if days >= 300 else "no", "control_kept": "yes",
        "joint_included": "no" if sheet.place.metal else "yes",
        "x50_fields": effort.fields, "x50_fields_weakest": effort.fields,
        "damaged_fields": damaged, "damaged_component": _component(sheet) if damaged else None,
        "damage_kind": _kind(sheet) if damaged else None, "before_on": "panel",
        "fields_before": effort.fields,
        "damaged_before": int(_reads(rng, nothing, sheet.place.before).sum()),
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
