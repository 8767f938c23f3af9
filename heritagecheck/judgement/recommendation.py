"""What comes out: one recommendation for a zone, one assessment for a survey."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from os import PathLike
from typing import TYPE_CHECKING

from heritagecheck import __version__, tables
from heritagecheck.cards import summary, table
from heritagecheck.errors import Fault, SurveyError
from heritagecheck.evidence.measured_values import evidence_table
from heritagecheck.evidence.trials.below_x50 import FoundBelow
from heritagecheck.evidence.zone_evidence import ZoneEvidence
from heritagecheck.judgement.evidence_snapshot import Answer, changes, evidence_hash, policy_hash
from heritagecheck.judgement.gates.gate import CLEAN, LEAVE, MONITOR, PASSED, TRIAL, Gate
from heritagecheck.judgement.gates.series_verdict import TrialVerdict
from heritagecheck.judgement.handover.instruction import Instruction
from heritagecheck.judgement.handover.urgency import Gap, Monitoring
from heritagecheck.judgement.handover.work_setting import WorkSetting
from heritagecheck.judgement.harm.treat_or_leave import AgainstLeaving
from heritagecheck.judgement.options import OptionKey, Stop
from heritagecheck.judgement.policy import CRITERIA, Policy, is_agreed, policy_notes
from heritagecheck.sentences import FOR_APPROVAL, count_of, day_in_words, ended, joined
from heritagecheck.survey.store.saved_assessment import (
    NEWEST,
    SavedAssessment,
    SavedZone,
    rules_checksum,
    saved_beside,
    written,
)
from heritagecheck.survey.survey import Survey
from heritagecheck.tables.cautions import WITH_CAUTIONS, Caution
from heritagecheck.tables.methods import method_name

if TYPE_CHECKING:
    import pandas as pd

OUTCOMES = (CLEAN, TRIAL, MONITOR, LEAVE)
MOST_CODES = 60  # zones on a card; the table has all
TABLE_COLUMNS = (
    "zone", "name", "elevation", "area_m2", "outcome", "urgency", "gate", "reason", "method",
    "least share favouring treatment",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Recommendation:
    """
    What is recommended for one zone. Written for approval; never permission to work.

    `conditions` are ready to copy. `settings` holds start and range of each option that has panels,
    by its key, and of the one named. `shares` is the share of draws that favour treatment, given
    these ratings, weights and records, member by member; it is empty where no method is left to
    weigh. `effort` says how many panels, ×50 fields and spots the first trial of the method takes;
    empty where panels were laid. `urgency_not_looked_at` holds the questions of urgency that nobody
    answered: where it is not empty, no urgency is recorded, which is less than none.
    """

    zone: str
    name: str
    outcome: str
    urgency: str
    act_by: date | None
    urgency_reasons: tuple[str, ...]
    urgency_not_looked_at: tuple[str, ...]
    sentence: str
    method: str | None
    settings: Mapping[OptionKey, WorkSetting]
    effort: str
    candidates: tuple[str, ...]
    gates: tuple[Gate, ...]
    conditions: tuple[str, ...]
    shares: Mapping[str, float]
    against_leaving: Mapping[OptionKey, AgainstLeaving]
    harm_of_leaving: Mapping[str, tuple[float, float, float]]
    goes_on: tuple[str, ...]
    ruled_out: Mapping[str, tuple[Stop, ...]]
    undecided: Mapping[str, tuple[Stop, ...]]
    trials: Mapping[OptionKey, TrialVerdict]
    gaps: tuple[Gap, ...]
    usual_cautions: tuple[Caution, ...]
    monitoring: Monitoring
    instruction: Instruction | None
    valid_until: date
    evidence: ZoneEvidence

    @property
    def deciding_gate(self) -> Gate | None:
        """First gate that does not pass; None where all do."""
        return next((gate for gate in self.gates if gate.result != PASSED), None)

    @property
    def answer(self) -> Answer:
        """Outcome, gate that decides, and method."""
        gate = self.deciding_gate
        return self.outcome, gate.number if gate else None, self.method or ""

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """Cautions of the zone and its methods, with what the heat of a laser may alter."""
        return self.usual_cautions if self.instruction is None else self.instruction.cautions

    @property
    def below_x50(self) -> tuple[FoundBelow, ...]:
        """What gate 7 holds against a limit below ×50, one measurement on one panel each."""
        checks = (check for verdict in self.trials.values() for check in verdict.checks)
        found = (check.below for check in checks if check.below is not None)
        return tuple(dict.fromkeys(found))

    @property
    def on_harsher_spots(self) -> tuple[FoundBelow, ...]:
        """What spots at a harsher dose than these panels show below ×50; it decides nothing."""
        tried = {verdict.series for verdict in self.trials.values()}
        return tuple(
            one for series in self.evidence.series if series.series in tried
            for one in series.harsher
        )  # fmt: skip

    @property
    def least_share(self) -> float | None:
        """Least share of draws that favour treatment, over the members."""
        return min(self.shares.values()) if self.shares else None

    @property
    def weighed(self) -> list[AgainstLeaving]:
        """Options compared with leaving, the least harmful first."""
        return sorted(self.against_leaving.values(), key=lambda test: test.expected)

    def leading(self, count: int) -> list[AgainstLeaving]:
        """
        Options that a figure or page has room for.

        Parameters
        ----------
        count : int
            At most so many.

        Returns
        -------
        list of AgainstLeaving
            The least harmful first, and always the method that is recommended or to be tried.
        """
        found = self.weighed
        named = [test for test in found[count:] if test.option.method == self.method]
        return found[: count - 1] + named[:1] if named else found[:count]

    def gates_table(self) -> pd.DataFrame:
        """
        All gates in order.

        Returns
        -------
        pandas.DataFrame
            Columns gate, question, result, reason, records.
        """
        return table(
            [
                (gate.number, gate.question, gate.result, gate.reason, ", ".join(gate.records))
                for gate in self.gates
            ],
            columns=["gate", "question", "result", "reason", "records"],
        )

    def harm_table(self) -> pd.DataFrame:
        """
        Harm of leaving and of each option weighed, 0 (none) to 10 (worst).

        Returns
        -------
        pandas.DataFrame
            Columns option, criterion, mean, low, high (90 % range).
        """
        options = {"leave": self.harm_of_leaving} | {
            str(key): test.harm for key, test in self.against_leaving.items()
        }
        return table(
            [
                (key, criterion, *harm[criterion])
                for key, harm in options.items()
                for criterion in CRITERIA
            ],
            columns=["option", "criterion", "mean", "low", "high"],
        )

    def ruled_out_table(self) -> pd.DataFrame:
        """
        Methods ruled out, by rule and source.

        Returns
        -------
        pandas.DataFrame
            Columns method, rule, kind (hard stop or ruled out), reason, source.
        """
        found = [
            (
                method_name(method),
                stop.rule,
                "hard stop" if stop.hard else "ruled out",
                stop.reason,
                stop.source_id,
            )
            for method, stops in self.ruled_out.items()
            for stop in stops
        ]
        return table(
            sorted(found, key=lambda row: row[2]),
            ["method", "rule", "kind", "reason", "source"],
        )

    def trials_table(self) -> pd.DataFrame:
        """
        What gate 7 requires of each series of trial panels, and what they answer.

        Returns
        -------
        pandas.DataFrame
            Columns series, required, answer (met, not met, not known), in words.
        """
        answers = {True: "met", False: "not met", None: "not known"}
        return table(
            [
                (verdict.series, check.name, answers[check.holds], check.words)
                for verdict in self.trials.values()
                for check in verdict.checks
            ],
            ["series", "required", "answer", "in words"],
        )

    def evidence_table(self) -> pd.DataFrame:
        """
        Measured evidence of the zone.

        Returns
        -------
        pandas.DataFrame
            Columns zone, quantity, mean, low, high, level, unit, records.
        """
        return evidence_table(self.evidence)

    @property
    def holds_until(self) -> str:
        """Until when the advice may be acted on: while the survey is open, only until it closes."""
        open_ = self.evidence.survey_open
        day = day_in_words(self.valid_until)
        return f"the survey closes, at the latest until {day}" if open_ else day

    @property
    def notes(self) -> tuple[str, ...]:
        """What somebody wrote down about the zone in words, which no rule reads."""
        zone, observations = self.evidence.zone, self.evidence.observations.values()
        found = [zone.note, *(one.note for one in observations if one is not None)]
        return tuple(dict.fromkeys(note for note in found if note))

    def __str__(self) -> str:
        """The answer in a sentence; one that names a method or panels points to the cautions."""
        said = f"{self.zone}: {self.sentence}"
        return f"{ended(said)} {WITH_CAUTIONS}" if self.method or self.trials else said

    __repr__ = __str__

    def _repr_html_(self) -> str:
        """Show it in a notebook as a short card, with every caution."""
        lines = [
            ("Urgency", self.urgency and f"{self.urgency}: {joined(self.urgency_reasons)}"),
            ("Urgency not looked at", joined(self.urgency_not_looked_at, " ")),
            (
                "Method for approval" if self.outcome == CLEAN else "Method to try",
                self.instruction.method if self.instruction else "",
            ),
            ("Gates", joined((f"{gate.number} {gate.result}" for gate in self.gates), ", ")),
            ("Not known", joined(gap.what for gap in self.gaps)),
            ("Monitoring", self.monitoring),
            ("Holds until", self.holds_until),
        ]
        return summary(
            f"{self.zone} {self.name}: {self.outcome}",
            f"{ended(self.sentence)} {FOR_APPROVAL}",
            lines,
            cautions=((one.hazard, one.words) for one in self.cautions),
            more=f'hc.zone_card(assessment, "{self.zone}")',
        )


@dataclass(frozen=True, eq=False)
class Assessment:
    """One recommendation for each zone, with the policy, seed and tables it rests on."""

    survey: Survey
    policy: Policy
    seed: int
    recommendations: tuple[Recommendation, ...]

    def zone(self, code: str) -> Recommendation:
        """
        Recommendation for one zone.

        Parameters
        ----------
        code : str
            Code of the zone.

        Returns
        -------
        Recommendation

        Raises
        ------
        SurveyError
            The assessment holds no such zone.
        """
        for recommendation in self.recommendations:
            if recommendation.zone == code:
                return recommendation
        known = ", ".join(item.zone for item in self.recommendations)
        raise SurveyError([Fault("zones", None, "zone", code, f"there is none. Known: {known}")])

    @property
    def policy_agreed(self) -> bool:
        """Whether the policy is the one that the team of the survey agreed."""
        return is_agreed(self.policy, self.survey)

    @property
    def policy_notes(self) -> tuple[str, ...]:
        """What to know of the policy: not agreed yet, or weights that no member gave."""
        return policy_notes(self.policy, self.survey)

    @property
    def table(self) -> pd.DataFrame:
        """One row a zone: outcome, urgency, deciding gate, method, share of draws, area."""
        return table(
            [
                (
                    item.zone,
                    item.name,
                    item.evidence.zone.elevation,
                    item.evidence.zone.area_m2,
                    item.outcome,
                    item.urgency,
                    item.deciding_gate.number if item.deciding_gate else None,
                    item.deciding_gate.reason if item.deciding_gate else item.sentence,
                    item.instruction.method if item.instruction else "",
                    item.least_share,
                )
                for item in self.recommendations
            ],
            TABLE_COLUMNS,
        ).astype({"gate": "Int64", "least share favouring treatment": "Float64"})

    def save(self, folder: str | PathLike[str]) -> PathLike[str]:
        """
        Keep the outcomes, with the version of records, rules and tables that gave them.

        Parameters
        ----------
        folder : str or path
            A folder that holds no assessment yet.

        Returns
        -------
        path
            The file; `heritagecheck.open_assessment` reads it again.

        Raises
        ------
        FileExistsError
            The folder holds one already.
        """
        return written(self.saved(), folder)

    def changes_since(self, other: Assessment | SavedAssessment) -> pd.DataFrame:
        """
        Zones whose outcome, gate or method is another than in an earlier assessment, and why.

        Parameters
        ----------
        other : Assessment or SavedAssessment
            The earlier one, perhaps signed.

        Returns
        -------
        pandas.DataFrame
            Columns zone, before, now, why, such as *rules changed since*.
        """
        before = other.saved() if isinstance(other, Assessment) else other
        return changes(self.saved(scheme=before.scheme), before)

    def changes_since_saved(self) -> dict[str, pd.DataFrame]:
        """
        Zones whose outcome differs from that in assessments saved next to the survey.

        Returns
        -------
        dict of str to pandas.DataFrame
            File of each that differs, from the survey's folder, to what `changes_since` gives;
            zones that only one of the two holds are left out.

        Raises
        ------
        SurveyError
            A saved assessment can't be read.
        """
        found = {}
        for name, saved in saved_beside(self.survey).items():
            changed = self.changes_since(saved)
            changed = changed[(changed["before"] != "") & (changed["now"] != "")]
            if len(changed):
                found[name] = changed
        return found

    def saved(self, *, scheme: int = NEWEST) -> SavedAssessment:
        """
        Give it as `save` keeps it.

        Parameters
        ----------
        scheme : int
            How records are hashed; an earlier one only to compare with what was saved in it.

        Returns
        -------
        SavedAssessment
        """
        return SavedAssessment(
            version=__version__,
            rules=rules_checksum(),
            tables=tables.checksums(),
            journal_head=self.survey.journal_head,
            seed=self.seed,
            policy=policy_hash(self.policy),
            policy_values=self.policy.values,
            scheme=scheme,
            zones=tuple(
                SavedZone(
                    zone=one.zone,
                    outcome=one.outcome,
                    gate=one.answer[1],
                    method=one.method or "",
                    sentence=one.sentence,
                    records=evidence_hash(self.survey, one.evidence.zone, scheme=scheme),
                )
                for one in self.recommendations
            ),
        )

    def __str__(self) -> str:
        """Count the outcomes, and say what to know of the policy."""
        counts = self.table["outcome"].value_counts()
        words = ", ".join(f"{outcome} {counts.get(outcome, 0)}" for outcome in OUTCOMES)
        counted = f"{count_of(len(self.recommendations), 'zone')}: {words}"
        return ". ".join((counted, *self.policy_notes))

    __repr__ = __str__

    def _repr_html_(self) -> str:
        """Show it in a notebook as a short card."""
        found = self.recommendations
        zones = {
            outcome: [one.zone for one in found if one.outcome == outcome] for outcome in OUTCOMES
        }
        urgent = [f"{one.zone} ({one.urgency})" for one in found if one.urgency]
        unseen = [one.zone for one in found if one.urgency_not_looked_at]
        lines = [(outcome, _some(codes)) for outcome, codes in zones.items()]
        lines += [("urgent", _some(urgent) or "none recorded")]
        lines += [("urgency not checked", _some(unseen))]
        return summary(
            "Assessment",
            f"{self}. {FOR_APPROVAL} Read the cautions beside each zone.",
            [*lines, ("seed", self.seed)],
            more='assessment.table, assessment.zone("…"), hc.zone_card(assessment, "…")',
        )


def _some(codes: Sequence[str]) -> str:
    """Codes as far as a card has room for them, and how many more there are."""
    more = f" and {len(codes) - MOST_CODES:,} more" if len(codes) > MOST_CODES else ""
    return " ".join(codes[:MOST_CODES]) + more
