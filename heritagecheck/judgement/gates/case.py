"""What the gates of one zone read: evidence, options, trials, harm."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.gates.gate import PASSED
from heritagecheck.judgement.gates.series_verdict import TrialVerdict
from heritagecheck.judgement.harm.treat_or_leave import AgainstLeaving
from heritagecheck.judgement.options import Option, OptionKey
from heritagecheck.tables.row_types import Housekeeping, Soiling

CAUSE_WORDS = {
    "cause_moisture": "moisture",
    "cause_iron": "corroding iron",
    "cause_salts": "salts",
    "cause_birds": "birds",
    "cause_other": "another source (copper run-off, residues of an earlier treatment)",
}


@dataclass(frozen=True, eq=False)
class Case:
    """
    What the gates of one zone read.

    `gentler` maps each method to the gentler ones to be tried before it; `gentlest_first` lists the
    methods that might still answer the reason to act.
    """

    evidence: ZoneEvidence
    options: tuple[Option, ...]
    trials: dict[OptionKey, TrialVerdict]
    tests: dict[OptionKey, AgainstLeaving]
    harm_of_leaving: dict[str, tuple[float, float, float]]
    housekeeping: Housekeeping | None
    trial_worth: Callable[[], bool]
    gentler: Mapping[str, tuple[str, ...]]
    gentlest_first: tuple[str, ...]

    def option(self, key: OptionKey) -> Option:
        """Option by its key."""
        return next(option for option in self.options if option.key == key)

    @property
    def tried(self) -> tuple[Option, ...]:
        """Options with panels that no rule stops for good."""
        return tuple(
            option
            for option in self.options
            if (not option.ruled_out or option.waits) and option.key in self.trials
        )

    @property
    def panels_pass(self) -> tuple[Option, ...]:
        """Options whose panels pass gate 7."""
        return tuple(option for option in self.tried if self.trials[option.key].result == PASSED)

    @property
    def come_first(self) -> frozenset[str]:
        """Gentler methods to settle first; empty where an option whose panels pass needs none."""
        before = [frozenset(self.gentler[option.method]) for option in self.panels_pass]
        return frozenset().union(*before) if all(before) else frozenset()


def harm_active(evidence: ZoneEvidence) -> bool:
    """Whether decay or a failing coating is recorded, or not ruled out."""
    coated = evidence.facts["coated"] == frozenset({"yes"})
    worn = {None, "failing"} if coated else {"failing"}
    return evidence.finding("decay") != "none" or evidence.finding("coating_state") in worn


def change_credible(evidence: ZoneEvidence, kept: str | None = None) -> bool:
    """
    Whether a harmful change is credible if the zone is left.

    True where harm continues or is not recorded, a cause is active or not recorded, a soiling seen
    there is known to turn harmful, or the substrate is neither sound nor slightly weathered.
    `kept` is a soiling of value, whose own change does not count.
    """
    return (
        harm_active(evidence)
        or any(evidence.finding(topic) in {None, "active"} for topic in CAUSE_WORDS)
        or any(
            Soiling.named(code).change_credible
            for code in evidence.zone.soiling_codes
            if code != kept
        )
        or evidence.zone.condition not in {"sound", "slightly_weathered"}
    )


# -- Controls, season, consent and coating that must be in place -----------------------------------

LEAD_EXPOSURE = {"below_action_level", "above_action_level"}
CONSENT_HELD = {"in_principle", "granted", "not_needed"}


def required(case: Case, *, listed: bool) -> dict[str, tuple[str, set[str]]]:
    """What must be in place: topic to the words for a failure, and the answers that suffice."""
    evidence = case.evidence
    found: dict[str, tuple[str, set[str]]] = {
        "controls": ("controls are not in place", {"yes"}),
        "season": ("the season is unsuitable", {"suitable"}),
        "consent": ("consent is not held", CONSENT_HELD),
    }
    if evidence.metal and not listed:
        found["coating_order"] = ("no coating is ordered", {"yes"})
    coated = evidence.facts["coated"] == frozenset({"yes"})
    if evidence.lead != "no" and coated and not listed:
        above = evidence.finding("lead_exposure") == "above_action_level"
        if evidence.lead == "trace":
            found["lead_exposure"] = ("lead exposure is not assessed", LEAD_EXPOSURE)
        if evidence.lead != "trace" or above:
            found["containment"] = ("there is no containment for lead", {"yes"})
    return found


def not_in_place(case: Case, needed: Mapping[str, tuple[str, set[str]]]) -> list[str]:
    """What is recorded as not in place; what is not recorded is left out."""
    return [
        words
        for topic, (words, good) in needed.items()
        if case.evidence.finding(topic) not in {None, *good}
    ]
