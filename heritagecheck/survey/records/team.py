"""What the team agreed and decided: its policy, weights, meetings, decisions and signatures."""

from __future__ import annotations

import re
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from heritagecheck.errors import Fields, Must
from heritagecheck.survey.records.record import (
    Key,
    Maybe,
    OptionalCount,
    OptionalNumber,
    OptionalText,
    Record,
    Words,
    Wrong,
    all_or_none,
    column,
    optional,
    parts_of_list,
    rule,
    term,
)


class AgreedPolicy(Record):
    """What the team agreed before any answer was shown."""

    alpha: float = column(
        "Share of simulations that may favour leaving",
        title="Share that may favour leaving",
        unit="1",
        gt=0,
        lt=0.5,
    )
    agreed_share: float = column(
        "Share of members who must pass", title="Members who must pass", unit="1", gt=0, le=1
    )
    fabric_cap_high: float = column(
        "Harm to fabric exceeded in at most 5 % of simulations, high significance",
        title="Cap, high significance",
        ge=0,
        le=10,
    )
    fabric_cap_medium: float = column(
        "Harm to fabric exceeded in at most 5 % of simulations, medium significance",
        title="Cap, medium significance",
        ge=0,
        le=10,
    )
    fabric_cap_low: float = column(
        "Harm to fabric exceeded in at most 5 % of simulations, low significance",
        title="Cap, low significance",
        ge=0,
        le=10,
    )
    margin: float = column("Damage margin required", ge=1, le=20)
    margin_high: float = column(
        "Damage margin required where significance is high",
        title="Margin, high significance",
        ge=1,
        le=20,
    )
    damage_limit: float = column(
        "Share of ×50 fields or trial spots that may be damaged, upper bound, low significance; "
        "at every significance where the four below are empty",
        title="Damage limit, low significance", unit="1", gt=0, lt=1,
    )  # fmt: skip
    horizon_years: float = column(
        "Years ahead for which harm of leaving counts that grows; more than 25 count as 25",
        title="Years ahead considered", unit="years", gt=0, le=200,
    )  # fmt: skip
    power: Literal[1, 2] = column(
        "Power in the sum of harm: usually 2; 1 where the team chooses it", title="Power in the sum"
    )
    agreed_on: date = column("Agreed on")
    damage_limit_medium: OptionalNumber = optional(
        "Share that may be damaged, upper bound, medium significance",
        title="Damage limit, medium significance",
        unit="1",
        gt=0,
        lt=1,
    )
    damage_limit_high: OptionalNumber = optional(
        "Share that may be damaged, upper bound, high significance",
        title="Damage limit, high significance",
        unit="1",
        gt=0,
        lt=1,
    )
    damage_seen: OptionalNumber = optional(
        "Share of ×50 fields or trial spots that may be seen damaged",
        title="Damage seen",
        unit="1",
        ge=0,
        lt=1,
    )
    damage_seen_high: OptionalNumber = optional(
        "Share that may be seen damaged, high significance",
        title="Damage seen, high significance",
        unit="1",
        ge=0,
        lt=1,
    )

    @model_validator(mode="before")
    @classmethod
    def _whole_power(cls, values: Any) -> Any:
        if isinstance(values, dict) and str(values.get("power", "")).strip() in {"1", "2"}:
            return {**values, "power": int(values["power"])}
        return values

    @rule
    def _stricter_where_more_is_at_stake(self) -> Wrong:
        if not self.fabric_cap_high <= self.fabric_cap_medium <= self.fabric_cap_low:
            yield "fabric_cap_high", _must_rise("fabric_cap_medium", "fabric_cap_low")
        if self.margin_high < self.margin:
            why = Must(f"must be {self.margin:g} or more, as margin is {self.margin:g}")
            yield "margin_high", why

    @rule
    def _damage_by_significance(self) -> Wrong:
        names = Fields(
            "damage_limit_medium", "damage_limit_high", "damage_seen", "damage_seen_high"
        )
        medium, high, seen, seen_high = (getattr(self, name) for name in names.names)
        yield from all_or_none(self, names, "together, or none of them")
        if None in {medium, high, seen, seen_high}:
            return
        if not high <= medium <= self.damage_limit:
            yield "damage_limit_high", _must_rise("damage_limit_medium", "damage_limit")
        if not (seen_high <= seen <= medium and seen_high <= high):
            limit, high_seen = Fields("damage_limit_medium"), Fields("damage_seen_high")
            either = Fields("damage_seen"), " or ", Fields("damage_limit_high")
            why = Must("must not be above ", limit, "; ", high_seen, " must not be above ", *either)
            yield "damage_seen", why


def _must_rise(medium: str, low: str) -> Must:
    """Fault of a limit that is less strict where significance is higher."""
    return Must("must not be above ", Fields(medium), ", nor that above ", Fields(low))


class View(Record):
    """One member's weight for one criterion, elicited as a swing on the harm scale."""

    member: Words = column("Member, by role")
    criterion: Literal[
        "fabric", "historic evidence", "appearance", "people", "environment", "resources"
    ] = column("Criterion")
    swing: float = column(
        "How much its worst matters, 0 to 100", title="Weight", unit="1", ge=0, le=100
    )


# -- Meetings --------------------------------------------------------------------------------------

FourOutcomes = Literal["clean", "trial first", "leave and monitor", "leave"]
OptionalOutcome = Annotated[FourOutcomes | None, Maybe]
# Members may score each; 0 is no harm and 10 the worst, as on the harm scale.
SCORES = {"harm_if_left": "Harm if it is left", "harm_if_cleaned": "Harm if it is cleaned"}
BEFORE, AFTER = "before talk", "after talk"
TREAT, NOT_DECIDED = "treat by override", "not decided"
# Outcomes after which somebody works at the wall, so that a method is named.
WORK = frozenset({"clean", "trial first", TREAT})
# A snapshot: the way in which records were hashed (none named up to 2026.7), the day, each kind.
SCHEME, NEWEST_SCHEME = "scheme", 2
SNAPSHOT = re.compile(
    rf"(?:{SCHEME} (?P<scheme>\d+); )?counted to [^;]+(?:; [^;]+ \d+ [0-9a-f]{{12}})*"
)
Digits = Annotated[str, Field(pattern=r"^[0-9a-f]{12}$")]


class Meeting(Record):
    """One meeting of the team: when, where, and who took part, by role."""

    meeting: Key = column("Code of the meeting")
    held_on: date = column("Day of the meeting")
    facilitator: Words = column("Who leads the meeting, by role", title="Facilitator, by role")
    members: Words = column(
        "Who decides, by role, separated by semicolons", title="Members, by role"
    )
    place: OptionalText = optional("Where the meeting was held")
    readers: OptionalText = optional(
        "Who only listened, by role, separated by semicolons", title="Listeners"
    )

    @rule
    def _each_once(self) -> Wrong:
        members = parts_of_list(self.members)
        if len(set(members)) < len(members):
            yield "members", "each role may occur once; number them where two people share one"
        if both := set(members) & set(parts_of_list(self.readers)):
            yield "readers", Must(f"must not be among the members: {', '.join(sorted(both))}")


class Opinion(Record):
    """What one member would do in one zone: given in private before talk, or after it."""

    meeting: Key = column("Meeting")
    zone: Key = column("Zone")
    member: Words = column("Member, by role")
    given: Literal["before talk", "after talk"] = column(
        "Given in private before talk, or after talk", title="When it was given"
    )
    outcome: OptionalOutcome = optional("Outcome that this member would choose", title="Outcome")
    why: OptionalText = optional("Why, in the member's own words", title="Why")
    veto: OptionalOutcome = optional(
        "Outcome that this member will not accept whatever the others think", title="Veto against"
    )
    dissent: OptionalText = optional(
        "Dissent from the decision, word for word", title="Dissent, word for word"
    )
    harm_if_left: OptionalCount = optional(
        "How much harm this member expects if the zone is left, from 0 (none) to 10 (worst)",
        title="Harm if it is left",
        unit="1",
        ge=0,
        le=10,
    )
    harm_if_cleaned: OptionalCount = optional(
        "How much harm this member expects if the zone is cleaned, from 0 (none) to 10 (worst)",
        title="Harm if it is cleaned",
        unit="1",
        ge=0,
        le=10,
    )

    @rule
    def _says_something(self) -> Wrong:
        if self.outcome is None and self.dissent is None:
            yield "outcome", "choose an outcome; only a dissent may be recorded without one"

    @rule
    def _veto_with_reason(self) -> Wrong:
        if self.veto is not None and self.veto == self.outcome:
            yield "veto", Must("must not be the outcome that this member chooses")
        if self.veto is not None and self.why is None:
            yield "why", "a veto needs its reason"

    @rule
    def _dissent_after_talk(self) -> Wrong:
        if self.dissent is not None and self.given != AFTER:
            yield "dissent", f"belongs to what is given {AFTER}"


class Decision(Record):
    """
    What a meeting decided for one zone, on the evidence as it was then.

    What the recommendation does not call clean is never decided as clean: it is an override.
    """

    meeting: Key = column("Meeting")
    zone: Key = column("Zone")
    outcome: Literal[
        "clean", "trial first", "leave and monitor", "leave", "treat by override", "not decided"
    ] = column("What was decided")
    reasons: Words = column("Reasons for the decision", title="Reasons")
    recommended: FourOutcomes = column(
        "What heritagecheck recommended at that time", title="Recommended then"
    )
    evidence: Digits = column(
        "First 12 digits of the hash of the records behind the recommendation",
        title="Hash of the evidence",
    )
    snapshot: Words = column(
        "How many records of each kind lay behind the recommendation, and their hash",
        title="Evidence by kind",
    )
    method: Annotated[OptionalText, term("methods")] = optional(
        "Method, where work at the wall was decided", title="Method", terms="methods"
    )
    conditions: OptionalText = optional("Conditions of the decision")
    override_reason: OptionalText = optional(
        "Why the team decides otherwise than recommended", title="Reason of override"
    )

    @property
    def override(self) -> bool:
        """Whether the team decided otherwise than was recommended."""
        return self.outcome not in {NOT_DECIDED, self.recommended}

    @property
    def in_words(self) -> str:
        """The decision as every page names it: an override always as one."""
        if not self.override:
            return self.outcome
        decided = "treat" if self.outcome == TREAT else self.outcome
        return f"{decided}, overriding the recommendation ({self.recommended})"

    @rule
    def _snapshot_can_be_read(self) -> Wrong:
        found = SNAPSHOT.fullmatch(self.snapshot)
        if found is None:
            yield "snapshot", Must("must be as a meeting wrote it; leave it as it was")
        elif int(found["scheme"] or NEWEST_SCHEME) > NEWEST_SCHEME:
            yield (
                "snapshot",
                f"{SCHEME} {found['scheme']} is of a later release of heritagecheck. Use that one",
            )

    @rule
    def _overrides_are_named(self) -> Wrong:
        if self.outcome == "clean" and self.recommended != "clean":
            yield (
                "outcome",
                Must(
                    f"must not be clean, because the recommendation is {self.recommended}. Write "
                    f"{TREAT} and its reason, or decide otherwise"
                ),
            )
        if self.outcome == TREAT and self.recommended == "clean":
            yield "outcome", Must("must not be an override, because the recommendation is clean")
        if self.override and self.override_reason is None:
            why = f"is needed, because the recommendation is {self.recommended}"
            yield "override_reason", why
        if not self.override and self.override_reason is not None:
            yield "override_reason", Must("must be empty, because nothing is overridden")

    @rule
    def _work_names_its_method(self) -> Wrong:
        if self.outcome in WORK and self.outcome != "trial first" and self.method is None:
            yield "method", f"is needed with the outcome {self.outcome}"
        if self.outcome not in WORK and self.method is not None:
            yield "method", Must(f"must be empty with the outcome {self.outcome}")


class OpenQuestion(Record):
    """Something that a meeting left open: who finds it out, and by when."""

    question: Key = column("Code of the question")
    meeting: Key = column("Meeting")
    zone: OptionalText = optional("Zone, where it is about one", title="Zone")
    words: Words = column("What is to be found out", title="Question")
    owner: Words = column("Who finds it out, by role", title="Owner, by role")
    due: date = column("By which day")


class Signature(Record):
    """A decision signed by one who took part: by name or role, over the hash of the evidence."""

    meeting: Key = column("Meeting")
    zone: Key = column("Zone")
    signer: Words = column("Who signs, by role", title="Role of the signer")
    signed_at: Annotated[
        str, Field(pattern=r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(Z|[+-]\d{2}:\d{2})$")
    ] = column("When it was signed, such as 2026-05-01T14:30:00+00:00", title="Signed at")
    evidence: Digits = column(
        "First 12 digits of the hash of the evidence that was signed", title="Hash of the evidence"
    )
    decision: Digits = column(
        "First 12 digits of the hash of the decision that was signed", title="Hash of the decision"
    )
    name: OptionalText = optional("Name, where the signer gives one", title="Name")


# Not evidence: no outcome depends on these records, and no record gets its age from them.
OF_MEETINGS: tuple[type[Record], ...] = (Meeting, Opinion, Decision, OpenQuestion, Signature)
