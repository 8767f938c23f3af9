"""Steps of the notebook of trial panels: what a series shows, for which zones, what comes next."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from heritagecheck import figures
from heritagecheck.cards import Card, summary
from heritagecheck.documents.trial_sheet import trial_sheet
from heritagecheck.evidence.laser.scan import settings
from heritagecheck.evidence.laser.thresholds import published_thresholds
from heritagecheck.evidence.trials.series import SeriesTrial, read_series
from heritagecheck.evidence.trials.series_heat import by_laser, heat_lines, temperatures
from heritagecheck.evidence.trials.spot_fits import plan_after
from heritagecheck.figures.heat import draw_heat
from heritagecheck.judgement.gates.next_trial import next_trial
from heritagecheck.screens.notebook.step import Ask, NotYetError, step
from heritagecheck.screens.notebook.tables_and_pictures import Rows
from heritagecheck.screens.notebook.walk import Walk
from heritagecheck.sentences import ended, joined
from heritagecheck.survey.survey import Survey
from heritagecheck.tables import threshold
from heritagecheck.tables.cautions import WITH_CAUTIONS, in_words
from heritagecheck.tables.methods import method_name

NO_PANELS = (
    "This survey has no trial panels yet. Trials are works: they need consent, a controlled area "
    "and health controls. Record panels on the survey's own pages, under the zone they are on."
)
# What the example teaches best, series by series.
WORTH_A_LOOK = {
    "N06-pulse": "The laser on black crust: a window, and a setting laid above its end.",
    "N06-powder": "An abrasive that plucks mica as it cleans.",
    "N09-mist": "No spot is damaged, and one field of 150 is.",
    "N13-lift": "A panel without spots: there is no curve and no window.",
    "N15-pulse": "Red paint on granite rich in mica, which melts long before the red clears. A "
    "better operator or more panels cannot change that.",
    "T06-pulse": "Old paint on the tower's legs, gone over ten, twenty or forty times. More passes "
    "clean at a lower fluence; the curves hold for the number of passes named.",
}
ALL_PULSES = "all"


class TrialsWalk(Walk):
    """From all series of trial panels to the window of one, and to its next trial."""

    chooses = ("series",)
    _read: tuple[Survey, str, SeriesTrial] | None = None

    def _laid(self) -> dict[str, str]:
        """Series of the survey by code; there is at least one."""
        if not (laid := self.series()):
            raise NotYetError(NO_PANELS)
        return laid

    @property
    def trial(self) -> SeriesTrial:
        """The series that was chosen."""
        self._laid()
        known = self._read
        if known is None or known[:2] != (self.survey, self.series_code):
            trial = read_series(self.survey, self.series_code)
            self._read = known = self.survey, self.series_code, trial
        return known[2]

    @step
    def list(self, ask: Ask) -> Iterator[Any]:
        """Every series of panels; a press on a code chooses it."""
        chosen = self._laid()[self.series_code]
        panels = self.survey.panels.drop_duplicates("series")
        laid = zip(panels["method"], panels["soiling"], strict=True)
        table = panels.assign(method=[method_name(method, [soiling]) for method, soiling in laid])
        columns = {"series": "Series", "zone": "Zone", "method": "Method",
                   "panels_in_series": "Panels", "spots_laid": "Spots on a panel",
                   "reader_blind": "Reader blind"}  # fmt: skip
        rest = table.dropna(axis="columns", how="all").columns.drop([*columns], errors="ignore")
        yield Rows(table[[*columns, *rest]], columns, "row", picks="series", few=12)
        yield f"{chosen} is chosen; its card follows."
        yield self.in_example(WORTH_A_LOOK.get(self.series_code, ""))

    @step
    def card(self, ask: Ask) -> Iterator[Any]:
        """All that a series shows, on one card."""
        self._laid()
        yield trial_sheet(self.assessment, self.series_code)

    @step
    def setting(self, ask: Ask) -> Iterator[Any]:
        """What was dialled for the series, and what of it is not recorded."""
        import pandas as pd

        panels = self.trial.panels
        rows = pd.DataFrame(
            [(one.name, one.told) for one in panels.settings], columns=["name", "told"]
        )
        if rows.empty:
            yield "No quantity of the setting is recorded, so no window can be given for work."
        else:
            yield Rows(rows, {"name": "Quantity", "told": "As recorded"}, "value", few=20)
        yield f"In the words of whoever laid the panels: {ended(panels.setting)}"
        if panels.words_differ:
            yield f"These words differ from what is recorded: {ended(panels.words_differ)}"
        missing = [f"{one.setting} [{one.unit}]" if one.unit else one.setting
                   for one in self.trial.questions]  # fmt: skip
        if missing:
            yield f"Not recorded: {joined(missing, ', ')}. Ask whoever laid the panels."
        yield self._cautions()

    @step
    def spots(self, ask: Ask) -> Iterator[Any]:
        """Each spot at its setting, the curves, and the window with its margin and cautions."""
        trial = self.trial
        spots, window = trial.spots, trial.window
        if window is None:
            raise NotYetError(f"The spots are not read together: {ended(spots.why_not)}")
        yield figures.draw_trial(spots)
        yield window
        for one in (window, trial.strict):
            if one is not None:
                yield (
                    f"Margin {one.margin:.2g} by estimate, at least {one.margin_low:.3g}, where "
                    f"{100 * one.begins:g} % of the weakest spots are damaged."
                )
        yield self.in_example(
            "Here the margin falls just short: at least 1.3 is required. The setting that was "
            "dialled, 0.6 J/cm², is above the end of the window.",
            series="N06-pulse",
        )

    @step
    def counts(self, ask: Ask) -> Iterator[Any]:
        """How many spots, setting by setting, and where damage becomes likely."""
        spots = self.trial.spots
        columns = {"setting": "Setting", "component": "On", "spots": "Spots",
                   "cleaned": "Cleaned", "damaged": "Damaged"}  # fmt: skip
        yield f"Settings in {spots.dose_unit}."
        yield Rows(spots.table(), columns, "row", few=12)
        if spots.damage is None:
            raise NotYetError(f"There is no curve of damage: {ended(spots.why_not)}")
        columns = {"group": "On", "events": "Damaged", "spots": "Of spots",
                   "dose at 10 %, low": "10 % damaged, at the earliest",
                   "dose at 10 %": "By estimate"}  # fmt: skip
        yield Rows(spots.damage.table(), columns, "component")
        yield WITH_CAUTIONS

    @step
    def line(self, ask: Ask) -> Iterator[Any]:
        """The threshold of a straight line, compared with the curve."""
        damage = self.trial.spots.damage
        if damage is None:
            raise NotYetError(f"There is no line: {ended(self.trial.spots.why_not)}")
        if damage.straight_line is None:
            raise NotYetError(
                "No line can be drawn: that takes at least two classes of settings at which some "
                "spots were damaged and some were not."
            )
        yield f"{damage.straight_line} Settings in {self.trial.spots.dose_unit}."
        yield WITH_CAUTIONS

    @step
    def complete(self, ask: Ask) -> Iterator[Any]:
        """What gate 7 requires of the series, and what it answers."""
        trial = self.trial
        table = self.assessment.zone(trial.zone.zone).trials_table()
        table = table[table["series"] == trial.panels.series]
        if table.empty:
            raise NotYetError(
                f"Gate 7 of {trial.zone.zone} does not require these panels: their soiling is not "
                "one to be removed there, or it is listed housekeeping."
            )
        columns = {"required": "Required", "answer": "Answer", "in words": "In words"}
        yield Rows(table.drop(columns="series"), columns, "requirement", few=20)

    @step
    def applies(self, ask: Ask) -> Iterator[Any]:
        """Zones for which the results hold, and why not for others of the same substrate."""
        trial = self.trial
        columns = {"zone": "Zone", "results apply": "Results apply", "why not": "Why not"}
        yield Rows(trial.zones_table(), columns, "zone")
        if trial.elsewhere is not None:
            yield (
                f"On another bed every setting may be off by a factor of "
                f"{threshold('other_bed_factor'):g} either way. The margin there would be at least "
                f"{trial.elsewhere.margin_low:.3g}. Lay panels there."
            )

    @step
    def dial(self, ask: Ask) -> Iterator[Any]:
        """What a laser's settings bring to the wall."""
        yield "The numbers are invented until you write your own, measured at the wall."
        given = {
            "power_w": ask.number("Mean power [W]", 160),
            "rate_hz": ask.number("Pulses a second [Hz]", 20_000),
            "diameter_um": ask.number("Width of the spot, 1/e² [µm]", 800),
        }
        moves = ask.choice("The spot", {"moves": "moves along lines", "rests": "stays in place"})
        if moves == "moves":
            given["speed_mm_s"] = ask.number("Speed along a line [mm/s]", 4000)
            given["hatch_um"] = ask.number("From line to line [µm]", 200)
        dial = settings(**given)
        yield str(dial)
        columns = {"quantity": "Quantity", "value": "Value", "unit": "Unit"}
        yield Rows(dial.table(), columns, "value", few=20)

    @step
    def published(self, ask: Ask) -> Iterator[Any]:
        """Thresholds that others found, for the order of magnitude only."""
        table = published_thresholds()
        pulses = ask.choice(
            "Pulses", {"ns": "of nanoseconds", "ps": "of picoseconds", "fs": "of femtoseconds",
                       ALL_PULSES: "of any length"},
        )  # fmt: skip
        if pulses != ALL_PULSES:
            table = table[table["pulse"].str.contains(rf"\b{pulses}\b")]
        columns = {"material": "Material", "value": "Value", "unit": "Unit", "note": "Found on"}
        yield Rows(table, columns, "value", few=12)
        yield "Never a setting: the threshold of your stone is that of its own trial."

    @step
    def heat(self, ask: Ask) -> Iterator[Any]:
        """How hot the recorded setting of a laser makes the surface, and what that may alter."""
        trial = self.trial
        if not by_laser(trial.panels):
            raise NotYetError("Heat is calculated for lasers only. Choose a series by laser.")
        for one in temperatures(trial):
            if one.course is not None:
                yield draw_heat(one)
        yield from heat_lines(trial)
        yield WITH_CAUTIONS

    @step
    def plan(self, ask: Ask) -> Iterator[Any]:
        """Which panels to lay next, for the share of damage that is to be ruled out."""
        trial = self.trial
        policy = self.assessment.policy
        agreed = policy.damage(trial.zone.significance).bound
        share = ask.number("Share of spots damaged that is to be ruled out", agreed, 0.005, 0.5)
        yield f"Agreed for {trial.zone.zone}: {100 * agreed:g} %, which is {agreed:g}."
        about = self.survey, self.series_code, share

        def work(_: object) -> tuple[Any, Any]:
            found = next_trial(trial, policy)
            plan = found.plan
            if plan is not None and share != agreed:
                plan = plan_after(trial.spots, share, margin=plan.margin)
            return found, plan

        made = ask.work("Plan the next panels", about, work, "Planning")
        if made is None:
            return
        found, plan = made
        if plan is None:
            raise NotYetError(ended(str(found)))
        yield str(plan)
        columns = {"step": "Step", "setting": "Setting", "panels": "Panels",
                   "spots on each panel": "Spots on each", "why": "Why"}  # fmt: skip
        yield Rows(plan.table(), columns, "step", few=20)
        yield found.margin_hope
        if found.fields is not None:
            yield ended(str(found.fields))
        yield from heat_lines(trial)
        yield "Rules, fixed before the first spot:"
        yield from plan.stop_rules
        yield from plan.cautions
        yield self._cautions()

    @step
    def worth_a_look(self, ask: Ask) -> Iterator[Any]:
        """Which series to choose next."""
        import pandas as pd

        self._laid()
        if not self.is_example:
            raise NotYetError("Choose the next series in the list above.")
        table = pd.DataFrame(list(WORTH_A_LOOK.items()), columns=["series", "why"])
        yield Rows(table, {"series": "Series", "why": "What to look at"}, "row", picks="series")

    def _cautions(self) -> Card:
        """What goes with every setting of the series."""
        trial = self.trial
        lines = ((one.hazard, one.words) for one in trial.cautions)
        html = summary(f"Cautions of {trial.panels.series}, at any setting", "", cautions=lines)
        return Card(html, in_words(trial.cautions))
