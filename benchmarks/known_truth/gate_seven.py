"""How often a series meets what gate 7 asks, by the true excess of damage and by effort."""

from __future__ import annotations

import os
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import timedelta
from functools import partial

import numpy as np

import heritagecheck as hc
from heritagecheck.evidence.trials.damaged_fields import NO_PRIOR, FieldsRead, agreed_damage, meets
from heritagecheck.survey.records import AgreedPolicy
from known_truth.campaign import Effort, effort_asked, lay
from known_truth.surveyor import BEGUN, policy_row, sheet, survey_of
from known_truth.truth import LIMIT, Place, place

EXCESS = (0.0, 0.01, 0.05)
MORE = (1, 2)  # times the panels asked


def _good(rng: np.random.Generator, code: str, significance: str) -> tuple[Place, str]:
    """A zone on which nothing stands before cleaning but the damage itself."""
    found = place(rng, code, "granite rich in dark mica")
    method = "low_pressure_water"
    act = replace(
        found.acts[method], reach=0.97, late="", late_harm=0.0, yellow=0.5, clean_spread=0.2
    )
    return replace(
        found, significance=significance, soiling="general_soiling", condition="sound",
        decay="slow", decay_cause="soiling", hidden=True, delta_e=25.0, wanted=True, active="none",
        valued_beneath=False, acts={**found.acts, method: act},
    ), method  # fmt: skip


def passes(significance: str, effort: Effort, excess: float, seed: int, times: int) -> float:
    """
    Share of trials of a setting that pass gate 7.

    Parameters
    ----------
    significance : str
        Significance of the zone.
    effort : Effort
        Panels and fields.
    excess : float
        True share of fields damaged at the setting chosen, in excess. [0 to 1]
    seed : int
        Seed of the draws.
    times : int
        Trials.

    Returns
    -------
    float
    """
    rng = np.random.default_rng([seed, effort.panels, round(1000 * excess)])
    sheets = []
    for number in range(times):
        zone, method = _good(rng, f"G{number:03}", significance)
        one = sheet(rng, zone)
        one.zone |= {"condition": "sound", "soilings": "general_soiling",
                     "biotite_pct": round(zone.biotite, 1)}  # fmt: skip
        one.layers = [{**one.layers[0], "soiling": "general_soiling"}]
        one.second_visit()
        last = lay(rng, one, method, BEGUN, effort, excess=excess)
        sheets.append(one)
    survey = survey_of(sheets, last + timedelta(days=5))
    found = hc.assess(survey, progress=lambda done, of: None)
    # Asked of the series itself: that a gentler method comes first is another question.
    verdicts = [one for each in found.recommendations for one in each.trials.values()]
    return float(np.mean([one.result == "passed" for one in verdicts]))


def fields_meet(significance: str, effort: Effort, excess: float, seed: int, times: int) -> float:
    """
    Share of trials whose ×50 fields alone meet what was agreed, whatever the spots show.

    Parameters
    ----------
    significance, effort, excess, seed, times
        As for `passes`.

    Returns
    -------
    float
    """
    rng = np.random.default_rng([seed, effort.panels, round(1000 * excess), 1])
    limits = agreed_damage(AgreedPolicy(**policy_row()))[significance]
    met = 0
    for number in range(times):
        zone, method = _good(rng, f"F{number:03}", significance)
        one = sheet(rng, zone)
        lay(rng, one, method, BEGUN, effort, excess=excess)
        damaged, fields, before, read = (
            tuple(row[name] for row in one.panels)
            for name in ("damaged_fields", "x50_fields", "damaged_before", "fields_before")
        )
        met += meets(FieldsRead(damaged, fields, (sum(before), read)), limits, NO_PRIOR)
    return met / times


def gate_seven_table(seed: int, times: int) -> str:
    """
    Share of trials whose fields meet what was agreed, and that pass the whole gate, as Markdown.

    Parameters
    ----------
    seed : int
        Seed of the draws.
    times : int
        Trials for each cell; of fields alone ten times as many.

    Returns
    -------
    str
    """
    cells = []
    for grade in LIMIT:
        asked = effort_asked(grade)
        for more in MORE:
            effort = Effort(asked.panels * more, asked.fields)
            cells += [(grade, effort, excess) for excess in (*EXCESS, LIMIT[grade])]
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        shares = list(pool.map(partial(_cell, seed, times), cells))
    wide = len(EXCESS) + 1
    heads = [f"{100 * one:g} % damaged" for one in EXCESS]
    lines = [
        f"| significance | effort | {' | '.join(heads)} | at the limit |",
        f"|---|---|{'---|' * wide}",
    ]
    for at in range(0, len(cells), wide):
        grade, effort, _ = cells[at]
        row = " | ".join(
            f"{fields:.2f} and {whole:.2f}" for fields, whole in shares[at : at + wide]
        )
        lines.append(f"| {grade} | {effort.panels} × {effort.fields} | {row} |")
    return "\n".join(lines)


def _cell(seed: int, times: int, cell: tuple[str, Effort, float]) -> tuple[float, float]:
    """One cell of the table: fields alone, and the whole gate."""
    return fields_meet(*cell, seed, 10 * times), passes(*cell, seed, times)
