"""What gate 7 makes of one series of trial panels, check by check."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from heritagecheck.evidence.trials.damaged_fields import SharePrior
from heritagecheck.evidence.trials.other_panels import Against, seen_against
from heritagecheck.evidence.trials.panels import PanelSeries
from heritagecheck.evidence.trials.spots import SpotTrial
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.gate import NOT_KNOWN, NOT_PASSED, PASSED
from heritagecheck.judgement.gates.panel_damage import (
    ABOVE_WINDOW,
    damage_checks,
    damage_prior,
    prospect,
)
from heritagecheck.judgement.gates.panel_requirements import (
    ASK_UNIT,
    COMPLETE_SPOTS,
    LAY_SPOTS,
    Check,
    beyond_method,
    in_sentences,
    not_recorded,
    reach_checks,
)
from heritagecheck.judgement.options import Option
from heritagecheck.judgement.policy import Policy
from heritagecheck.sentences import count_of, day_in_words, lower_bound
from heritagecheck.tables import threshold
from heritagecheck.tables.ages import ageing_required

STEEL_TO_DO = "Record what is required, and measure it on every panel"
WORST_PANEL = 2  # times the residual soiling allowed: beyond it the place needs its own zone


@dataclass(frozen=True, slots=True)
class TrialVerdict:
    """
    Result of gate 7 for one series of panels.

    `prospect` says what more panels could change about damage; empty where it meets the limits.
    """

    series: str
    result: str
    reason: str
    records: tuple[str, ...]
    checks: tuple[Check, ...]
    prospect: str

    @property
    def pending(self) -> bool:
        """Whether it fails only because panels are still ageing or unread."""
        waits = {"ageing", "winter"}
        return self.result != PASSED and all(
            check.holds is not False or check.name in waits for check in self.checks
        )

    @property
    def needs_panels(self) -> bool:
        """Whether it fails only because of time, or because there are too few panels or spots."""
        waits = {"ageing", "winter", "replicates"}
        return self.result != PASSED and all(
            check.holds is not False or check.name in waits or check.too_few
            for check in self.checks
        )

    @property
    def failed(self) -> int:
        """How many checks it fails."""
        return sum(check.holds is False for check in self.checks)


def trial_verdict(
    option: Option, series: PanelSeries, evidence: ZoneEvidence, policy: Policy, *, urgent: bool
) -> TrialVerdict:
    """
    Judge a series of panels by the checks of gate 7.

    Not passed where a check fails, not known where one is not known, passed otherwise.
    """
    prior = damage_prior(evidence, option)
    checks = tuple(_checks(series, evidence, policy, prior, urgent=urgent))
    failed = [check.words for check in checks if check.holds is False]
    not_known = [check.words for check in checks if check.holds is None]
    method = ", then ".join(one.named for one in (*series.before, series))
    # Of more than three panels, the first and the last are enough to find them all.
    few = len(series.panels) <= 3
    named = ", ".join(series.panels) if few else f"{series.panels[0]} to {series.panels[-1]}"
    head = f"{method}, panels {named}: "
    if failed:
        result, reason = NOT_PASSED, head + in_sentences(failed)
    elif not_known:
        # An incomplete series says so once; everything else not known follows from it.
        said = not_known if series.complete else not_known[:1]
        result, reason = NOT_KNOWN, head + in_sentences(said)
    else:
        result = PASSED
        reason = head + "; ".join(_said(checks))
    records = (
        *series.panels,
        *(panel for one in _against(series, evidence) for panel in one.series.panels),
    )
    # More panels at a setting that the spots rule out would be useless.
    above = any(check.name == ABOVE_WINDOW and check.holds is False for check in checks)
    further = None if above else prospect(series, prior)
    return TrialVerdict(
        series.series, result, reason, records, checks, "" if further is None else str(further)
    )


def _said(checks: Sequence[Check]) -> Iterator[str]:
    """Words of the checks; measurements below ×50 are listed elsewhere, so here only counted."""
    below = [check for check in checks if check.below is not None]
    for check in checks:
        if check.below is None:
            yield check.words
        elif check is below[0]:
            yield f"{count_of(len(below), 'measurement')} below ×50, within what is allowed"


def _checks(
    series: PanelSeries,
    evidence: ZoneEvidence,
    policy: Policy,
    prior: SharePrior,
    *,
    urgent: bool,
) -> Iterator[Check]:
    """Every check of gate 7 on a series."""
    grade = evidence.zone.significance
    needed = int(threshold(f"replicates_{grade}"))
    laid = len(series.panels)
    if series.complete:
        panels = count_of(laid, "replicate panel")
        yield Check("replicates", laid >= needed, f"{panels} ({needed} required)")
    else:
        gap = "; ".join(series.unread) or f"{laid} of {series.panels_laid} panels recorded"
        yield Check("replicates", None, f"the series is incomplete; {gap}")
    if series.last_read is not None and series.last_read > evidence.survey_date:
        yield Check(
            "date", None,
            f"read on {day_in_words(series.last_read)}, after the survey was closed on "
            f"{day_in_words(evidence.survey_date)}",
            what_to_do="Correct the date, or close the survey again",
        )  # fmt: skip
    yield from reach_checks(series, evidence)
    yield from _ageing(series, evidence, urgent=urgent)
    yield Check(
        "control", series.control,
        {True: "control kept", False: "no control was kept", None: "control not recorded"}[
            series.control
        ],
    )  # fmt: skip
    yield from _unit(series)
    yield from _within_method(series, evidence)
    yield from damage_checks(series, evidence, prior)
    for one in _against(series, evidence):
        yield Check("other panels", False if one.shows else None, one.words)
    yield from _result(series, evidence)
    if evidence.metal:
        yield from _steel(series, evidence, urgent=urgent)
    else:
        yield _margin(series, policy.margin[grade], evidence.weakest_component)


def _against(series: PanelSeries, evidence: ZoneEvidence) -> tuple[Against, ...]:
    """Harm seen on other panels of the zone or its bed at this setting or a gentler one."""
    others = (*evidence.series, *evidence.bed_series)
    return tuple(seen_against(series, others, evidence.zone.substrate))


def _unit(series: PanelSeries) -> Iterator[Check]:
    """Whether the setting is unambiguous, and its records agree."""
    if series.unit_doubt:
        yield Check("unit", None, series.unit_doubt, what_to_do=ASK_UNIT)
    for step in (*series.before, series):
        if step.setting_contradiction:
            yield Check(
                "one setting", None, f"the records contradict: {step.setting_contradiction}",
                what_to_do="Ask whoever laid the panels what was dialled, and put it right",
            )  # fmt: skip


def _within_method(series: PanelSeries, evidence: ZoneEvidence) -> Iterator[Check]:
    """Whether every step was laid within the limits of its method."""
    for step in (*series.before, series):
        beyond = tuple(beyond_method(step, evidence.facts))
        for words in beyond:
            yield Check("method", False, words)
        lacking = ", ".join(not_recorded(step, evidence.facts))
        if lacking and not beyond:
            yield Check(
                "method", None,
                "not known whether it was laid as its name says, because it is not recorded: "
                f"{lacking}",
                what_to_do=f"Ask whoever laid the panels, and record as settings: {lacking}",
            )  # fmt: skip


def _wait(series: PanelSeries, evidence: ZoneEvidence, *, urgent: bool) -> tuple[int, bool]:
    """Days that the panels must age, and whether a winter must pass over them."""
    grade = evidence.zone.significance
    return ageing_required(evidence.substrate.kind, series.method, grade, urgent=urgent)


def _ageing(series: PanelSeries, evidence: ZoneEvidence, *, urgent: bool) -> Iterator[Check]:
    """Whether the panels aged long enough, and through a winter where one is required."""
    days, winter = _wait(series, evidence, urgent=urgent)
    age = series.aged_days
    yield Check(
        "ageing", None if age is None else age >= days,
        f"age of the panels not recorded ({days} days required)" if age is None
        else f"aged {age} days ({days} required)",
    )  # fmt: skip
    if winter:
        # When winter is depends on the hemisphere, so only too short an age is caught by dates.
        short = age is not None and age < threshold("winter_days")
        held = False if short and series.winter else series.winter
        yield Check(
            "winter", held,
            f"{age} days are less than a whole winter" if held is not series.winter
            else {True: "a winter included", False: "no winter included",
                  None: "winter not recorded"}[series.winter],
        )  # fmt: skip


def _result(series: PanelSeries, evidence: ZoneEvidence) -> Iterator[Check]:
    """Residual soiling, yellowing and late effects."""
    most = threshold("residual_soiling_max_pct")
    left, worst = series.residual_pct, series.residual_worst_pct
    yield Check(
        "residual soiling", None if left is None else left <= most,
        "residual soiling not recorded" if left is None
        else f"{left:.3g} % soiling left ({most:g} % allowed)",
    )  # fmt: skip
    if worst is not None and worst > WORST_PANEL * most:
        yield Check(
            "residual soiling", False,
            f"{worst:g} % left on one panel: record its place as a zone of its own",
        )  # fmt: skip
    if not evidence.metal:
        white = evidence.zone.substrate == "marble"
        limit = threshold("delta_b_max_white" if white else "delta_b_max")
        shift = series.delta_b
        yield Check(
            "yellowing", None if shift is None else abs(shift) <= limit,
            "yellowing not recorded" if shift is None
            else f"b* moved by {shift:+.1f} against the control ({limit:g} allowed)",
        )  # fmt: skip
    late = series.late_effects
    yield Check(
        "late effects", None if late is None else late == "none",
        "late effects not recorded" if late is None
        else "no late effects" if late == "none" else f"late effect: {late}",
    )  # fmt: skip


def _steel(series: PanelSeries, evidence: ZoneEvidence, *, urgent: bool) -> Iterator[Check]:
    """Acceptance criteria for steel, in place of a damage margin."""
    if series.margin_high is not None and series.margin_high < 1:
        yield Check("window", False, "damage begins below the setting that cleans")
    most = threshold("chloride_max_ug_cm2")
    upper = series.steel.chloride_upper_ug_cm2
    yield Check(
        "chloride", None if upper is None else upper <= most,
        "chloride after cleaning not measured" if upper is None
        else f"chloride up to {math.ceil(upper)} µg/cm², field spread counted ({most:g} allowed)",
    )  # fmt: skip
    yield _as_required("preparation grade", series.grade_reached)
    yield _adhesion(series, _wait(series, evidence, urgent=urgent)[0])
    yield _as_required("profile", series.steel.profile_ok)


def _as_required(name: str, holds: bool | None, why: str = "") -> Check:
    """One criterion of the coating: reached, not reached, or not shown, with the reason."""
    words = {True: f"{name} as required", False: f"{name} not reached",
             None: f"{name} not shown{why}"}[holds]  # fmt: skip
    return Check(name, holds, words, what_to_do=STEEL_TO_DO)


def _adhesion(series: PanelSeries, wait: int) -> Check:
    """Adhesion of the coating; a pull-off test before it has cured shows nothing."""
    steel = series.steel
    if steel.adhesion_ok and steel.adhesion_days is not None and steel.adhesion_days < wait:
        early = f": pulled off after {steel.adhesion_days} days ({wait} required)"
        return _as_required("adhesion", None, early)
    few = steel.adhesion_tests and (
        f": {steel.adhesion_tests} readings on a panel "
        f"({threshold('adhesion_tests_min'):g} required)"
    )
    return _as_required("adhesion", steel.adhesion_ok, few or "")


def _margin(series: PanelSeries, asked: float, weakest: str | None) -> Check:
    """
    Lower bound of the damage margin against the margin required.

    It can fail, but not pass, where no spot is known to lie on the weakest component, or where
    settings were only typed on panels and no spots show them.
    """
    low, spots = series.margin_low, series.spots
    if spots is not None and spots.window is None:
        words = f"damage margin not known, because {spots.why_not}"
        return Check("margin", None, words, what_to_do=COMPLETE_SPOTS)
    if low is None:
        return Check(
            "margin", None, "damage margin not known, so it counts as below 1",
            what_to_do=LAY_SPOTS,
        )  # fmt: skip
    if spots is None and low >= asked:
        return Check(
            "margin", None, "damage margin not known, because no spots show what the panels give",
            what_to_do=LAY_SPOTS,
        )  # fmt: skip
    missed = spots is not None and weakest is not None and weakest not in spots.components
    if missed and low >= asked:
        return Check(
            "margin", None, f"damage margin not known, because no spot is said to lie on {weakest}",
            what_to_do=f"Name what lay under each spot; lay spots on {weakest}",
        )  # fmt: skip
    estimate = asked if spots is None or spots.window is None else spots.window.margin
    return Check(
        "margin", low >= asked,
        f"damage margin at least {lower_bound(low)}{_margin_from(low, spots, asked)}",
        too_few=estimate >= asked and series.margin_high is not None
        and series.margin_high >= asked,
    )  # fmt: skip


def _margin_from(low: float, spots: SpotTrial | None, asked: float) -> str:
    """Whether settings written on the panels or the spots give the margin, and what is required."""
    if spots is None or spots.window is None:
        return f" ({asked:g} required)"
    many, shown = count_of(len(spots.rows), "spot"), spots.window.margin_low
    if low < shown:
        return (
            f", from the settings recorded on the panels ({asked:g} required; {many} alone give "
            f"at least {lower_bound(shown)})"
        )
    return f", from {many} ({asked:g} required)"
