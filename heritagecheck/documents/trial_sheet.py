"""One series of trial panels: what it shows, for which zones it counts, what comes next."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from heritagecheck import tables
from heritagecheck.cards import Card
from heritagecheck.documents.page_templates import (
    anchor,
    drawn,
    filled,
    look_of_screen,
    source_named,
)
from heritagecheck.evidence.trials.series import SeriesTrial, read_series
from heritagecheck.evidence.trials.series_heat import heat_lines
from heritagecheck.evidence.trials.spots import SpotTrial
from heritagecheck.figures import draw_trial
from heritagecheck.judgement.decisions import no_work
from heritagecheck.judgement.gates.gate import PASSED, TRIAL
from heritagecheck.judgement.gates.next_trial import next_trial
from heritagecheck.judgement.gates.series_verdict import TrialVerdict
from heritagecheck.judgement.handover.cautions import heat_caution
from heritagecheck.judgement.handover.work_setting import WorkSetting
from heritagecheck.judgement.options import OptionKey
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.survey.records import Panel, Zone


def trial_sheet(assessment: Assessment, series: str) -> Card:
    """Sheet of one series of trial panels."""
    values = trial_values(assessment, series)
    html = filled("trial_card.html", t=on_page(values), style=look_of_screen(), source=source_named)
    return Card(html, str(values["trial"]))


def series_of(assessment: Assessment) -> tuple[str, ...]:
    """Series of trial panels that lie on the zones assessed."""
    zones = {one.zone for one in assessment.recommendations}
    panels = assessment.survey.all(Panel)
    return tuple(dict.fromkeys(panel.series for panel in panels if panel.zone in zones))


def trial_values(assessment: Assessment, series: str) -> dict[str, Any]:
    """What the templates show of a series, but for heat; its picture is to be put on their page."""
    survey, policy = assessment.survey, assessment.policy
    laid_on = next(one.zone for one in survey.all(Panel) if one.series == series)
    zone = next(one for one in survey.all(Zone) if one.zone == laid_on)
    limit = policy.damage(zone.significance)
    trial = read_series(survey, series, damage_limit=limit.bound)
    spots = trial.panels.spots
    verdict = _verdict(assessment, trial)
    outcomes = {one.zone: one.outcome for one in assessment.recommendations}
    work = assessment.zone(laid_on).settings.get(OptionKey(trial.panels.method, series))
    return {
        "trial": trial,
        "anchor": anchor("trial", series),
        "picture": draw_trial(spots) if spots is not None and spots.rows else None,
        "counts": _counts(spots),
        "verdict": verdict,
        "work": work,
        "use": _use(assessment, laid_on, work),
        "against": [check.words for check in verdict.checks if not check.holds] if verdict else [],
        "passes_without": _passes_without(assessment, trial, verdict),
        "least_harm": _least_harm(assessment, trial, verdict),
        "bed_factor": tables.threshold("other_bed_factor"),
        "told": [(code, outcomes.get(code, "")) for code in trial.speaks_for],
        "not_told": list(_by_reason(trial)),
        "damage_seen": limit.seen,
        # Panels that meet all requirements need no further ones, so none are mentioned.
        "next": None
        if verdict is not None and verdict.result == PASSED
        else next_trial(trial, assessment.policy),
    }


def on_page(values: dict[str, Any], *, paper: bool = False) -> dict[str, Any]:
    """Values of a series with its picture as a part of the page, and with what is said of heat."""
    picture, trial, work = (values[name] for name in ("picture", "trial", "work"))
    return values | {
        "picture": drawn(picture, "trial", paper=paper) if picture else None,
        "heat": heat_lines(trial),
        "heat_caution": work and heat_caution(trial.panels, work, trial.zone.substrate),
    }


def _use(assessment: Assessment, zone: str, work: WorkSetting | None) -> str:
    """What a setting is for; a zone that is left, or treated otherwise, is not worked by it."""
    recommendation = assessment.zone(zone)
    box = recommendation.instruction
    if no_work(assessment, zone):
        return "For information only; the team decided otherwise"
    if work is not None and work.steps and (box is None or box.setting is not work):
        return "For information only; no work at this setting is recommended here"
    return "For trial panels only" if recommendation.outcome == TRIAL else "For work"


def _verdict(assessment: Assessment, trial: SeriesTrial) -> TrialVerdict | None:
    """What gate 7 of the zone tried makes of the series; None where it does not ask for it."""
    found = assessment.zone(trial.zone.zone).trials.values()
    return next((one for one in found if one.series == trial.panels.series), None)


def _passes_without(
    assessment: Assessment, trial: SeriesTrial, verdict: TrialVerdict | None
) -> str:
    """Why gate 7 passes although this series does not; empty where it does not."""
    gate = next(one for one in assessment.zone(trial.zone.zone).gates if one.number == 7)
    without = gate.result == PASSED and verdict is not None and verdict.result != PASSED
    return gate.reason if without else ""


def _least_harm(assessment: Assessment, trial: SeriesTrial, verdict: TrialVerdict | None) -> str:
    """Result of least harm for this option, if it does not pass there."""
    key = OptionKey(trial.panels.method, trial.panels.series)
    test = assessment.zone(trial.zone.zone).against_leaving.get(key)
    if test is None or test.passed:
        return ""
    passed = verdict is not None and verdict.result == PASSED
    says = "does not pass" if passed else "would not pass either"
    return f"Least harm (gate 8) {says}: {test.brief}."


def _counts(spots: SpotTrial | None) -> list[tuple[str, list[dict[str, Any]]]]:
    """Rows of the counts of each setting, with its pulses and wetting where they differ."""
    if spots is None:
        return []
    rows = spots.counts()
    several = {name for name in ("pulses", "wet") if len({row[name] for row in rows}) > 1}
    found: dict[str, list[dict[str, Any]]] = {}
    for row in rows:
        name = f"{row['setting']:g}"
        name += f", {row['pulses']} pulses or passes" if "pulses" in several else ""
        name += (", wet" if row["wet"] else ", dry") if "wet" in several else ""
        found.setdefault(name, []).append(row)
    return list(found.items())


def _by_reason(trial: SeriesTrial) -> Iterator[tuple[str, list[str]]]:
    """Zones of the same substrate for which the series does not count, by reason."""
    found: dict[str, list[str]] = {}
    for code, why in trial.alike:
        found.setdefault(why, []).append(code)
    yield from found.items()
