"""How often a series meets what gate 7 asks, by the true excess of damage and by effort."""

from __future__ import annotations

import os
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import timedelta
from functools import partial

import numpy as np

import heritagecheck as hc
from known_truth.campaign import Effort, effort_asked, lay
from known_truth.surveyor import BEGUN, sheet, survey_of
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


def gate_seven_table(seed: int, times: int) -> str:
    """
    Share of trials that pass, as Markdown.

    Parameters
    ----------
    seed : int
        Seed of the draws.
    times : int
        Trials for each cell.

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
        row = " | ".join(f"{share:.2f}" for share in shares[at : at + wide])
        lines.append(f"| {grade} | {effort.panels} × {effort.fields} | {row} |")
    return "\n".join(lines)


def _cell(seed: int, times: int, cell: tuple[str, Effort, float]) -> float:
    """One cell of the table."""
    return passes(*cell, seed, times)
