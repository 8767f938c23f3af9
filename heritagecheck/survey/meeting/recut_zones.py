"""A zone split or joined during a meeting: what was given of the whole is asked again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from heritagecheck.survey.records import Decision, Zone
from heritagecheck.survey.records.meetings import NOT_DECIDED


@dataclass(frozen=True, slots=True)
class Recut:
    """
    A zone that is split into two, or that takes in another.

    `kept` keeps its code and its records. Either `new` is split off from it, or `gone` is taken
    into it.
    """

    kept: Zone
    new: Zone | None = None
    gone: Zone | None = None

    @property
    def in_words(self) -> str:
        """What was done."""
        if self.new is not None:
            return f"{self.kept.zone} split into {self.kept.zone} and {self.new.zone}"
        assert self.gone is not None
        return f"{self.kept.zone} and {self.gone.zone} joined"

    @property
    def before(self) -> tuple[str, ...]:
        """Codes of what was there before, of which answers were given."""
        return (self.kept.zone, *((self.gone.zone,) if self.gone else ()))

    @property
    def now(self) -> tuple[str, ...]:
        """Codes of what is there now, of which answers are asked."""
        return (self.kept.zone, *((self.new.zone,) if self.new else ()))

    def notes(self) -> dict[str, str]:
        """What everybody is told of each zone."""
        code = self.kept.zone
        of_what = "both parts" if self.new else f"{code} without {self.before[-1]}"
        said = f"{self.in_words} in this meeting. What was said of {code} before is about {of_what}"
        return dict.fromkeys(self.now, f"{said}: answer and decide again.")

    def planned(self, agenda: Iterable[str]) -> tuple[str, ...]:
        """The plan of the meeting: a part that was split off follows its zone."""
        found: list[str] = []
        for zone in agenda:
            found += self.now if zone in self.before else [zone]
        return tuple(dict.fromkeys(found))


def withdrawn(decision: Decision, recut: Recut) -> Decision:
    """A decision on a zone that is not there any more as it was: nothing is decided now."""
    return decision.changed(
        outcome=NOT_DECIDED, method=None, conditions=None, override_reason=None,
        reasons=f"{recut.in_words} after the decision: {decision.in_words}. Decide again. "
        f"Reasons then: {decision.reasons}",
    )  # fmt: skip


def words_given_back(
    typed: Mapping[str, str], given: Mapping[str, str], zones: Sequence[str]
) -> str:
    """What a member wrote on some zones in private, typed or given; each text once."""
    words = [typed.get(f"answer.{zone}.why") or given.get(zone, "") for zone in zones]
    return "\n".join(dict.fromkeys(one.strip() for one in words if one.strip()))
