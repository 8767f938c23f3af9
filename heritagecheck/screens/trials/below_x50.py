"""All that is measured below ×50 on the panels of a zone: maps, profiles, and what they show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from heritagecheck.errors import SurveyError
from heritagecheck.evidence.surface.zone_height_maps import check_surface
from heritagecheck.evidence.trials.below_x50 import FoundBelow, found_below
from heritagecheck.figures.section import draw_section
from heritagecheck.screens.app import Desk
from heritagecheck.screens.links import FileLink, link_to
from heritagecheck.screens.live_page import Event, GivenFile
from heritagecheck.screens.trials.trial_screen import TrialScreen
from heritagecheck.sentences import count_of, day_in_words, ended, upper_first
from heritagecheck.survey.instruments.profile_files import left_open, read_surface
from heritagecheck.survey.records import (
    Attachment,
    HeightMap,
    Panel,
    SectionReading,
    SiteTest,
    Spot,
)

Kind = tuple[str, str | None]
Shown = tuple[str, str, list[FileLink]]


class BelowX50Screen(TrialScreen):
    """Files of maps and profiles, sections of the laboratory, and what is found against limits."""

    template = "below_x50.html"
    heading = "Below ×50: height maps and sections"

    def __init__(self, desk: Desk, *parts: str) -> None:
        super().__init__(desk, *parts)
        self.faults: list[str] = []
        self._last = True

    def values(self) -> Mapping[str, Any]:
        """What it shows."""
        files = {one.attachment: one for one in self.desk.survey.all(Attachment)}
        maps = {one.attachment: one for one in self.of_zone(HeightMap)}
        return {
            **super().values(), "map_faults": self.faults,
            "maps": [
                (link_to(self.desk.survey, one), maps.get(one.attachment), _of_map(maps, one))
                for one in files.values() if one.kind == "height_map" and one.zone == self.code
            ],
            "profiles": self._profiles(files), **self._found(files),
            "drawn": [(f"kind-{place}-{self.mark}", _named(kind))
                      for place, kind in enumerate(self._kinds())],
            "cautions": self.cautions(()), "any_panel": bool(self.of_zone(Panel)),
        }  # fmt: skip

    def _kinds(self) -> list[Kind]:
        """Quantities of which sections are recorded."""
        every = self.of_zone(SectionReading)
        return list(dict.fromkeys((one.quantity, one.element) for one in every))

    def _profiles(self, files: Mapping[str, Attachment]) -> list[tuple[str, str, FileLink | None]]:
        """Profiles of sections: name, what each holds, and the laboratory's report."""
        rows: dict[str, list[SectionReading]] = {}
        for one in self.of_zone(SectionReading):
            rows.setdefault(one.profile, []).append(one)
        found = []
        for name, readings in rows.items():
            first = readings[0]
            where = first.spot or first.panel or "beside all panels"
            size = f"{len(readings)} of {first.profile_size}" if (
                len(readings) != first.profile_size) else f"{len(readings)}"  # fmt: skip
            words = f"{_named((first.quantity, first.element))}, {first.moment}, {where}; " + (
                f"{size} readings, {day_in_words(first.measured_on)}"
            )
            item = files.get(first.file or "")
            found.append((name, words, link_to(self.desk.survey, item) if item else None))
        return found

    def _found(self, files: Mapping[str, Attachment]) -> dict[str, list[Shown]]:
        """What panels show against their limits, and what their harsher spots show."""
        measured = (
            self.zone, self.of_zone(Panel), self.of_zone(SiteTest), self.of_zone(Spot),
            self.of_zone(SectionReading),
        )  # fmt: skip
        names = {one.attachment: one.file for one in files.values()}
        named = {one.file: one for one in files.values()}
        every = {
            "found": found_below(*measured, names=names),
            "harsher": found_below(*measured, names=names, harsher=True),
        }
        return {
            what: [self._shown(one, named) for one in found] for what, found in every.items()
        }  # fmt: skip

    def _shown(self, one: FoundBelow, named: Mapping[str, Attachment]) -> Shown:
        """One measurement: its state, its words with records, and its files."""
        return (
            {True: "met", False: "not met", None: "not known"}[one.holds],
            ended(f"{one.name}, {one.where}: {one.result}")
            + (f" Records: {', '.join(one.records)}." if one.records else ""),
            [link_to(self.desk.survey, named[name]) for name in one.files if name in named],
        )

    def take(self, file: GivenFile) -> None:
        """Keep a map or profile with the survey, once it is known to be one."""
        if file.use != "map":
            super().take(file)
            return
        self.faults, self._last = ([] if self._last else self.faults), file.last
        if why := _why_not(file):
            self.faults = [*self.faults, why]
            return
        if not self.may_keep_file():
            return
        if same := self.same_file(file):
            self.faults = [*self.faults, f"{file.name} is here already, as {same.attachment}."]
            return
        kept = self.keep_file(file, "height_map", "instruments", "height map")
        self.desk.say(f"The file {file.name} is kept with the survey. Confirm what it says.")
        self.desk.go("zone", self.code, "below", "map", kept.attachment)

    def do_map(self, event: Event) -> None:
        """To one map."""
        self.desk.go("zone", self.code, "below", "map", event.arg)

    def do_section(self, event: Event) -> None:
        """To one profile, or to a new one."""
        self.desk.go("zone", self.code, "below", "section", event.arg)

    def picture(self, name: str) -> tuple[bytes, str]:
        """All profiles of one quantity."""
        place = int(name.split("-")[1])
        kinds = self._kinds()
        if place >= len(kinds):
            raise LookupError(name)
        every = self.of_zone(SectionReading)
        alike = [one for one in every if (one.quantity, one.element) == kinds[place]]
        return draw_section(alike).svg.encode(), "image/svg+xml"


def _why_not(file: GivenFile) -> str:
    """Why a file is not taken, in a sentence that names it; empty where it is."""
    try:
        check_surface(read_surface(file.path))
    except SurveyError as error:
        if left_open(error):
            return ""
        more = len(error.sentences) - 1
        rest = f" {count_of(more, 'more fault')} follow." if more else ""
        why = ended(error.sentences[0]) + rest
    except (ValueError, ImportError) as error:
        why = ended(f"{file.path.name}: {error}")
    else:
        return ""
    said = why.replace(f"{file.path.name}: ", "").replace(file.path.name, file.name)
    return f"{file.name} was not taken. {upper_first(said)}"


def _of_map(maps: Mapping[str, HeightMap], item: Attachment) -> str:
    """What is recorded of a file."""
    one = maps.get(item.attachment)
    if one is None:
        return "not confirmed yet"
    kind = "profile" if one.rows == 1 else "map"
    words = [f"{kind} {one.height_map}, {one.moment}", one.spot or one.panel or "beside all panels"]
    words += [f"pair of {one.before_map}"] if one.before_map else []
    return "; ".join([*words, day_in_words(one.measured_on)])


def _named(kind: Kind) -> str:
    """A quantity in words."""
    quantity, element = kind
    return element or quantity.replace("_", " ")
