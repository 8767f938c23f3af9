"""Steps of the notebook that goes from zone to zone: all answers, then the reasons of one."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from heritagecheck import figures
from heritagecheck.cards import Card, summary
from heritagecheck.documents.contents import short_name
from heritagecheck.documents.page_templates import drawing_fault
from heritagecheck.documents.zone_sheet import zone_sheet
from heritagecheck.figures.colours import draw_swatches
from heritagecheck.figures.elevation import draw_key
from heritagecheck.figures.zone_answer import ABOUT, draw_gates
from heritagecheck.figures.zone_location import draw_detail, draw_locator
from heritagecheck.judgement.handover.urgency import MAKE_SAFE
from heritagecheck.judgement.options import option_name
from heritagecheck.judgement.recommendation import OUTCOMES, Assessment
from heritagecheck.screens.notebook.step import Ask, NotYetError, step
from heritagecheck.screens.notebook.tables_and_pictures import PICK, Beside, Rows, Wall
from heritagecheck.screens.notebook.walk import Walk
from heritagecheck.sentences import FOR_APPROVAL, count_of, ended, joined, upper_first
from heritagecheck.survey.records import Elevation
from heritagecheck.tables.cautions import WITH_CAUTIONS

if TYPE_CHECKING:
    import pandas as pd

ANY, NONE = "", "-"
DRAW = "Add or draw it on the survey's own pages: choose Elevations there."
BEFORE_GOING = "Read these before anybody goes to the zone to watch, look or test."
NOT_LOOKED_AT = "not looked at in full"
# What the example teaches best, zone by zone.
WORTH_A_LOOK = {
    "N06": "A bright trial panel hides plucked mica. Read what its panels do not yet show.",
    "N09": "A year of panels opens every gate. Read how its work is bounded all the same.",
    "N15": "The laser melts dark mica before the red paint clears, and is ruled out.",
    "T05": "It is urgent, and goes to the engineer first.",
    "E15": "Members of the team differ. Read who requires what.",
    "C02": "Nobody has seen inside this closed leg. Read what that alone decides.",
}
ZONES = {
    "zone": "Zone",
    "outcome": "Outcome",
    "urgency": "Urgency",
    "deciding": "Deciding gate",
    "name": "What it is",
}


class ZonesWalk(Walk):
    """From all zones to the reasons of one."""

    @step
    def outcomes(self, ask: Ask) -> Iterator[Any]:
        """How many zones have which outcome, and what has to be looked at first."""
        yield ended(str(self.assessment))
        yield FOR_APPROVAL
        found = self.assessment.recommendations
        urgent = [f"{one.zone} ({one.urgency})" for one in found if one.urgency]
        unseen = [one.zone for one in found if one.urgency_not_looked_at]
        if urgent:
            yield f"Urgent: {joined(urgent, ', ')}."
        elif not unseen:  # else the sentence would read as if somebody had looked
            yield "No urgency is recorded."
        if unseen:
            many = count_of(len(unseen), "zone")
            yield (
                f"Whether {many} {'is' if len(unseen) == 1 else 'are'} urgent was not looked at "
                f"in full: {joined(unseen, ', ')}. Look there first."
            )

    @step
    def wall(self, ask: Ask) -> Iterator[Any]:
        """An elevation by outcome; a press on a zone chooses it."""
        known = self._elevations()
        here = ask.choice("Elevation", known, self.zone.evidence.zone.elevation)
        self._has_drawing(here)
        yield Wall(figures.draw_elevation(self.assessment, here, link=PICK))
        yield _key()
        urgency = f", {self.zone.urgency}" if self.zone.urgency else ""
        yield (
            f"{self.zone_code} {self.zone.name} is chosen: {self.zone.outcome}{urgency}. "
            "Its card, with the cautions, is below the next list."
        )

    @step
    def list(self, ask: Ask) -> Iterator[Any]:
        """Every zone with its outcome, as somebody wants to see them; then the one chosen."""
        table = _in_order(self.assessment)
        for column, label, names in (
            ("outcome", "Outcome", {}),
            ("elevation", "Elevation", self._elevations()),
            ("deciding", "Deciding gate", {}),
            ("urgency", "Urgency", {NONE: "none recorded"}),
        ):
            known = [str(one) or NONE for one in table[column].drop_duplicates().sort_values()]
            wanted = ask.choice(label, {ANY: "any"} | {one: names.get(one, one) for one in known})
            if wanted:
                table = table[table[column].astype(str) == ("" if wanted == NONE else wanted)]
        yield Rows(table, ZONES, "zone", picks="zone")
        yield self.zone
        yield self.in_example(WORTH_A_LOOK.get(self.zone_code, ""))

    @step
    def where(self, ask: Ask) -> Iterator[Any]:
        """Where the zone is."""
        self._has_drawing(self.zone.evidence.zone.elevation)
        drawn = (
            draw_locator(self.survey, self.zone_code),
            draw_detail(self.survey, self.zone_code),
        )
        pictures = tuple(one for one in drawn if one is not None)
        if not pictures:
            raise NotYetError(
                f"The drawing of this elevation shows no outline of {self.zone_code}. {DRAW}"
            )
        yield Beside(pictures)

    def _elevations(self) -> dict[str, str]:
        """Codes of the elevations to what they are called."""
        return {one.elevation: short_name(one, self.name) for one in self.survey.all(Elevation)}

    def _has_drawing(self, elevation: str) -> None:
        """Say what to do where an elevation can't be drawn."""
        if fault := drawing_fault(self.survey, elevation):
            raise NotYetError(f"{ended(upper_first(fault))} {DRAW} The list has every zone.")

    @step
    def colour(self, ask: Ask) -> Iterator[Any]:
        """Its colour against that of clean stone."""
        evidence = self.zone.evidence
        if evidence.colour is None:
            note = evidence.colour_note or "no colour was read"
            metal = "On metal the colour does not decide. " if evidence.metal else ""
            raise NotYetError(
                f"{metal}{ended(upper_first(note))} "
                "03_colour shows how colours are read and compared."
            )
        yield ended(str(evidence.colour))
        drawn = draw_swatches(self.zone.evidence), figures.draw_colour(self.zone)
        yield from (one for one in drawn if one is not None)

    @step
    def evidence(self, ask: Ask) -> Iterator[Any]:
        """What was measured."""
        table = self.zone.evidence_table()
        if table.empty:
            raise NotYetError(
                "Nothing was measured on this zone. Its page of the survey asks for the tests "
                "that its gates need."
            )
        columns = {"quantity": "Quantity", "mean": "Mean", "low": "Low", "high": "High",
                   "unit": "Unit"}  # fmt: skip
        yield Rows(table.drop(columns="zone"), columns, "number")

    @step
    def gates(self, ask: Ask) -> Iterator[Any]:
        """Every gate, and the reason for its result."""
        yield draw_gates(self.zone)
        columns = {"gate": "Gate", "result": "Result", "reason": "Reason"}
        yield Rows(self.zone.gates_table(), columns, "gate")
        if self.zone.trials:
            yield WITH_CAUTIONS

    @step
    def harm(self, ask: Ask) -> Iterator[Any]:
        """Harm of leaving and of each option that is still open."""
        if not self.zone.weighed:
            why = "" if self.zone.deciding_gate is None else f" {self.zone.deciding_gate}"
            raise NotYetError(f"No method is left to be weighed against leaving.{ended(why)}")
        yield figures.draw_harm(self.zone)
        table = self.zone.harm_table()
        soilings = self.zone.evidence.zone.soiling_codes
        names = {str(one.option): option_name(one.option, soilings) for one in self.zone.weighed}
        columns = {"option": "Option", "criterion": "Criterion", "mean": "Mean", "low": "Low",
                   "high": "High"}  # fmt: skip
        yield Rows(table.replace({"option": names}).round(1), columns, "number", few=6)

    @step
    def ruled_out(self, ask: Ask) -> Iterator[Any]:
        """Methods that are ruled out, by rule."""
        table = self.zone.ruled_out_table()
        if table.empty:
            raise NotYetError(
                "No rule speaks against a method here, as recorded. That alone recommends none."
            )
        columns = {"method": "Method", "kind": "How", "reason": "Why"}
        yield Rows(table, columns, "reason", few=6)

    @step
    def open_points(self, ask: Ask) -> Iterator[Any]:
        """What is not known, what to watch, and until when the answer holds."""
        import pandas as pd

        zone = self.zone
        unseen = joined(zone.urgency_not_looked_at, " ")
        # Where nobody looked, no sentence may read as if nothing were urgent.
        said = upper_first(zone.urgency) or ("" if unseen else "No urgency recorded")
        yield f"{zone.zone}: {zone.outcome}." + (f" {said}." if said else "")
        if unseen:
            yield f"Urgency was not looked at in full. Answer this first: {unseen}"
        yield ended(upper_first(str(zone.monitoring)))
        yield f"The answer holds until {zone.holds_until}."
        if zone.gaps:
            yield "Not known:"
            gaps = [(gap.what, gap.why, gap.what_to_do) for gap in zone.gaps]
            columns = {"what": "What is not known", "why": "Why", "do": "What settles it"}
            yield Rows(pd.DataFrame(gaps, columns=list(columns)), columns, "point")
        else:
            yield "No required record is missing."
        cautions = [(one.hazard, one.words) for one in zone.cautions]
        words = "\n".join(f"{hazard}. {caution}" for hazard, caution in cautions)
        yield Card(summary("Cautions", BEFORE_GOING, cautions=cautions), words)

    @step
    def card(self, ask: Ask) -> Iterator[Any]:
        """All of the zone on one card."""
        yield zone_sheet(self.assessment, self.zone_code)

    @step
    def worth_a_look(self, ask: Ask) -> Iterator[Any]:
        """Which zone to choose next: those that teach most, or those that are urgent."""
        import pandas as pd

        if self.is_example:
            shown = WORTH_A_LOOK
        else:
            shown = {
                one.zone: joined(one.urgency_reasons) or joined(one.urgency_not_looked_at, " ")
                for one in self.assessment.recommendations
                if one.urgency or one.urgency_not_looked_at
            }
        if not shown:
            raise NotYetError("No zone is urgent, as recorded. Choose any zone from the list.")
        rows = [(code, self.assessment.zone(code).outcome, why) for code, why in shown.items()]
        table = pd.DataFrame(rows, columns=["zone", "outcome", "why"])
        columns = {"zone": "Zone", "outcome": "Outcome", "why": "What to look at"}
        yield Rows(table, columns, "zone", picks="zone")


def _key() -> Card:
    """What the colours and hatches of an elevation mean."""
    keys = "".join(
        f'<span class="key">{draw_key(outcome).svg} {outcome}</span>' for outcome in OUTCOMES
    )
    return Card(f'<div class="hc-screen part"><p class="keys">{keys}</p></div>', "")


def _in_order(assessment: Assessment) -> pd.DataFrame:
    """Table of all zones whose outcomes, urgencies and gates sort as they are meant."""
    import pandas as pd

    table = assessment.table
    # Where nobody looked at all that makes a zone urgent, an empty cell would read as "not".
    urgency = [
        one.urgency or (NOT_LOOKED_AT if one.urgency_not_looked_at else "")
        for one in assessment.recommendations
    ]
    # One day may be that of several zones.
    dated = {one.act_by: one.urgency for one in assessment.recommendations if one.act_by}
    order = [MAKE_SAFE, *(dated[day] for day in sorted(dated)), NOT_LOOKED_AT, ""]
    gates = {number: f"{number} {about}" for number, about in enumerate(ABOUT, start=1)}
    return table.drop(columns="gate").assign(
        outcome=pd.Categorical(table["outcome"], OUTCOMES, ordered=True),
        urgency=pd.Categorical(urgency, order, ordered=True),
        deciding=table["gate"].map(gates).fillna("all pass"),
    )
