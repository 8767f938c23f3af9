"""An earlier assessment in a notebook: saved, chosen again, and what made answers change since."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from heritagecheck.cards import table
from heritagecheck.judgement.assess import assess
from heritagecheck.judgement.change_causes import ChangedAnswer, Comparison
from heritagecheck.judgement.recommendation import Assessment
from heritagecheck.screens.notebook.step import Ask, NotYetError
from heritagecheck.screens.notebook.tables_and_pictures import Rows
from heritagecheck.sentences import count_of
from heritagecheck.survey.places import demo_survey
from heritagecheck.survey.store.database_survey import DatabaseSurvey
from heritagecheck.survey.store.saved_assessment import (
    SavedAssessment,
    open_assessment,
    saved_beside,
)
from heritagecheck.survey.survey import Survey

if TYPE_CHECKING:
    from heritagecheck.progress import Told

SAVE = "Save this assessment"
# One trial panel's test of the example, which the exercise takes out and records again.
TAKEN_OUT = "site_tests", "T01-grit-1-adhesion_mpa-1"
EXERCISE = "an exercise: the example before one record was made"
EXERCISE_WORDS = (
    "The example comes without a second assessment, so this makes one as an exercise. On a copy, "
    "one site test is taken out, the copy is assessed, and the test is recorded again."
)
HEADS = {"zone": "Zone", "before": "Before", "now": "Now", "why": "What differs"}
CAUSE_HEADS = {"zone": "Zone", "change": "Answer, before and now", "cause": "What made it change"}
TRIED_HEADS = {"what": "Taken back to what it was", "answer": "Answer it then gives"}


@dataclass(frozen=True, eq=False)
class Earlier:
    """An earlier assessment, the present one, and the survey whose journal links them."""

    saved: SavedAssessment
    now: Assessment
    survey: Survey

    def comparison(self) -> Comparison:
        """Both compared."""
        changed = None
        if isinstance(self.survey, DatabaseSurvey) and self.saved.journal_head:
            head = self.now.survey.journal_head
            changed = self.survey.changed_records(self.saved.journal_head, head)
        return Comparison(self.now, self.saved, changed)


def saving(ask: Ask, now: Assessment) -> Iterator[Any]:
    """A button that saves the present assessment in a folder next to the survey."""
    place = now.survey.place
    if place is None:
        raise NotYetError(
            "Nobody said in which folder the files of this survey are, so no assessment can be "
            "saved beside it or found there."
        )
    if ask.press(SAVE):
        kept = Path(now.save(_free(place))).resolve()
        yield (
            f"Saved in {kept}. It holds each answer, the policy, checksums of records, rules and "
            "tables, and that of the journal’s last entry."
        )


def _free(place: Path) -> Path:
    """An unused folder next to the survey, named by the day."""
    name, number = f"assessment-{date.today().isoformat()}", 1
    folder = place / name
    while folder.exists():
        number += 1
        folder = place / f"{name}-{number}"
    return folder


def earlier_assessment(
    ask: Ask, survey: Survey, now: Assessment, zone: str, *, is_example: bool
) -> Iterator[Any]:
    """
    What became of the answers since the earlier assessment that is chosen.

    Raises
    ------
    NotYetError
        There is none.
    """
    saved = saved_beside(now.survey)
    names = {name: name for name in reversed(saved)} | ({EXERCISE: EXERCISE} if is_example else {})
    if not names:
        raise NotYetError(
            "No earlier assessment is beside this survey. Save this one. After the next change "
            "of a record, the policy or the rules, choose it here."
        )
    chosen = ask.choice("Earlier assessment", names)
    if chosen in saved:
        yield from _changed_answers(ask, Earlier(saved[chosen], now, survey), zone)
        return
    yield EXERCISE_WORDS
    made = ask.work("Make the earlier one", EXERCISE, exercise, "Assessing the example twice")
    if made is not None:
        yield from _changed_answers(ask, made, zone)


def exercise(told: Told) -> Earlier:
    """A copy of the example, assessed without one record, then with it: nothing else is changed."""
    copy = demo_survey()
    record = copy.record(*TAKEN_OUT)
    copy.delete(record, who="conservator", reason="exercise: as if it were not recorded yet")
    with TemporaryDirectory() as folder:
        assess(copy, progress=told).save(folder)
        saved = open_assessment(folder)
    copy.save(record, who="conservator", reason="exercise: recorded since")
    return Earlier(saved, assess(copy, progress=told), copy)


def _changed_answers(ask: Ask, earlier: Earlier, zone: str) -> Iterator[Any]:
    """Which answers are others, what made them so, and the present card of one with cautions."""
    found = earlier.now.changes_since(earlier.saved)
    compared = earlier.comparison()
    yield _what_differs(earlier, compared)
    yield from compared.not_known
    if found.empty:
        yield "No outcome, gate or method has changed."
        return
    yield f"{count_of(len(found), 'zone has', 'zones have')} another outcome, gate or method."
    causes = ask.work(
        "Find what made each change",
        (earlier.saved, earlier.now),
        lambda told: compared.changes(progress=told),
        "Assessing again with one thing at a time as it was",
    )
    known = {one.zone for one in causes or ()}
    said = {name: found[name].str.replace("_", " ") for name in ("before", "now")}
    rest = found.assign(**said)[~found["zone"].isin(known)]
    if not rest.empty:
        yield Rows(rest, HEADS, "zone", picks="zone")
    codes = found.loc[found["now"] != "", "zone"].tolist()
    shown = zone if zone in codes else next(iter(codes), "")
    if causes is not None:
        yield from _causes(causes, shown)
    if shown:
        yield f"{shown} now:"
        yield earlier.now.zone(shown)


def _what_differs(earlier: Earlier, compared: Comparison) -> str:
    """How much differs between the two, in a sentence."""
    records = count_of(len(compared.changed), "record")
    parts = [f"{records} changed since" if compared.journal else "", *compared.rules]
    values = len(compared.values)
    parts += [f"{count_of(values, 'value')} of the policy"] if values else []
    said = "; ".join(part for part in parts if part)
    zones = count_of(len(earlier.saved.zones), "zone")
    return f"The earlier assessment, by release {earlier.saved.version}, holds {zones}. {said}."


def _causes(causes: tuple[ChangedAnswer, ...], shown: str) -> Iterator[Any]:
    """What made each answer change, and for one zone what was tried to find out."""
    rows = [
        (one.zone, f"{one.before}; now {one.now}", "; ".join(one.causes) or "not established",
         one.shown)
        for one in causes
    ]  # fmt: skip
    frame = table(rows, ("zone", "change", "cause", "how it was shown"))
    heads = CAUSE_HEADS | {"how it was shown": "How that was shown"}
    yield Rows(frame, heads, "zone", picks="zone")
    for one in causes:
        if one.zone == shown and one.tried:
            yield f"What was tried for {shown}, each alone, by today’s rules:"
            yield Rows(table([(it.what, it.answer) for it in one.tried], ("what", "answer")),
                       TRIED_HEADS, "trial")  # fmt: skip
