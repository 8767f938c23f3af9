"""What the steps of a notebook look at: which survey, which zone of it, which series of panels."""

from __future__ import annotations

import json
from collections.abc import Mapping
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from heritagecheck.errors import SurveyError, in_one_line
from heritagecheck.judgement.assess import assess
from heritagecheck.judgement.recommendation import Assessment, Recommendation
from heritagecheck.screens.app import templates
from heritagecheck.screens.live_page import Event
from heritagecheck.screens.notebook.step import NotYetError, Part, PartPage, Step
from heritagecheck.survey.places import demo_survey, open_survey
from heritagecheck.survey.records import Panel, Structure, Zone
from heritagecheck.survey.survey import Survey
from heritagecheck.whole_file import write_whole

if TYPE_CHECKING:
    from heritagecheck.progress import Told
    from heritagecheck.sentence_table import Table

EXAMPLE = "example"
ANOTHER = "another"
OWN = ("survey.db", "../survey.db")  # next to the notebooks, or in the folder above them
REMEMBERED = ".chosen.json"
NO_ZONE = "This survey has no zone yet. Begin one on its start page."
# Word of a notebook to the module and name of its steps.
NOTEBOOKS = {
    "begin": ("begin", "BeginWalk"),
    "colour": ("colour", "ColourWalk"),
    "compare": ("compare", "CompareWalk"),
    "report": ("report", "ReportWalk"),
    "survey": ("survey", "SurveyWalk"),
    "surface": ("surface", "SurfaceWalk"),
    "trials": ("trials", "TrialsWalk"),
    "zones": ("zones", "ZonesWalk"),
    "workshop": ("workshop", "WorkshopWalk"),
}


def notebook(subject: str) -> Walk:
    """
    The steps of one of the notebooks, and the list from which survey and zone are chosen.

    Parameters
    ----------
    subject : str
        Which notebook, such as ``"colour"``.

    Returns
    -------
    Walk
        Shows the list in a notebook; each of its methods shows one step, and follows the list.

    Raises
    ------
    ValueError
        There is no such notebook.
    ImportError
        anywidget is not installed.
    """
    if subject not in NOTEBOOKS:
        raise ValueError(f"There is no notebook {subject!r}. Known: {', '.join(NOTEBOOKS)}.")
    module, name = NOTEBOOKS[subject]
    made: type[Walk] = getattr(import_module(f"heritagecheck.screens.notebook.{module}"), name)
    return made()


class Walk:
    """
    What the steps of one notebook look at together.

    The survey is the one that was chosen in this folder before; else one's own, where there is one
    beside the notebooks; else the example.
    """

    # What can be chosen besides the survey, and the first choice in the example.
    chooses: ClassVar[tuple[str, ...]] = ("zone",)
    zone_of_example: ClassVar[str] = "N06"
    series_of_example: ClassVar[str] = "N06-pulse"
    beside_of_example: ClassVar[str] = "N07"

    def __init__(self) -> None:
        self._steps: dict[str, Step] = {}
        self._before = _remembered()
        self.place = str(self._before.get("survey", ""))
        if self.place not in self.places():
            self.place = next(iter(place for place in self.places() if place != EXAMPLE), EXAMPLE)
        self._take(self.place, _opened(self.place), None)
        self._picker = Picker(self)

    def _take(self, place: str, survey: Survey, found: Assessment | None) -> None:
        """Look at another survey from now on."""
        self.place, self.survey, self._assessment = place, survey, found
        self._findings: Table | None = None
        before = self._before.get(place, {})
        codes = [zone.zone for zone in survey.all(Zone)]
        wished = self.zone_of_example if self.is_example else before.get("zone", "")
        self.zone_code = wished if wished in codes else next(iter(codes), "")
        wished = self.series_of_example if self.is_example else before.get("series", "")
        self.series_code = wished if wished in self.series() else next(iter(self.series()), "")
        wished = self.beside_of_example if self.is_example else ""
        self.beside_code = wished if wished in codes else next(iter(codes[1:]), "")

    @staticmethod
    def places() -> dict[str, str]:
        """Surveys that can be chosen: where each is, to what it is called."""
        known = {EXAMPLE: "The example: Quillmere Pumping Station, all invented"}
        before = str(_remembered().get("survey", ""))
        for place in dict.fromkeys((*OWN, before)):
            if place and place != EXAMPLE and _is_there(place):
                known[place] = f"Your survey: {place}"
        return known

    @property
    def is_example(self) -> bool:
        """Whether the survey is the invented one."""
        return self.place == EXAMPLE

    @property
    def name(self) -> str:
        """What the structure is called; the file where that is not recorded yet."""
        named = self.survey.all(Structure)
        return named[0].structure if named else self.place

    @property
    def assessment(self) -> Assessment:
        """Answers of all zones, worked out once."""
        if not self.survey.all(Zone):
            raise NotYetError(NO_ZONE)
        if self._assessment is None:
            try:
                self._assessment = assess(self.survey)
            except SurveyError as error:
                why = in_one_line(error)
                raise NotYetError(f"The answers can’t be worked out yet: {why}") from error
        return self._assessment

    @property
    def findings(self) -> Table:
        """What is missing or odd in the survey, looked for once."""
        if self._findings is None:
            self._findings = self.survey.check()
        return self._findings

    @property
    def zone(self) -> Recommendation:
        """The zone that was chosen."""
        return self.assessment.zone(self.zone_code)

    @property
    def zone_record(self) -> Zone:
        """The zone that was chosen as it is recorded, before anything is worked out."""
        for one in self.survey.all(Zone):
            if one.zone == self.zone_code:
                return one
        raise NotYetError(NO_ZONE)

    def zones(self) -> dict[str, str]:
        """Codes of the zones to what they are called."""
        return {one.zone: f"{one.zone}  {one.name}" for one in self.survey.all(Zone)}

    def series(self) -> dict[str, str]:
        """Codes of the series of trial panels to what they are called."""
        return {one.series: f"{one.series}, on {one.zone}" for one in self.survey.all(Panel)}

    def pick(self, *, zone: str = "", series: str = "", beside: str = "") -> None:
        """Choose another zone or series, or another zone to compare with."""
        self.zone_code = zone if zone in self.zones() else self.zone_code
        self.beside_code = beside if beside in self.zones() else self.beside_code
        self.series_code = series if series in self.series() else self.series_code
        self._remember()
        self.show()

    def open(self, place: str) -> None:
        """Look at another survey, once its answers are worked out."""
        survey = _opened(place)
        still = survey.still()

        def work(told: Told) -> Assessment | None:
            # The step that needs it says what is missing.
            with suppress(SurveyError):
                return assess(still, progress=told) if still.all(Zone) else None
            return None

        def done(found: Assessment | None) -> None:
            self._take(place, survey, found)
            self._remember()
            self.show()

        self._picker.notice.later("Working out the answers", work, done)

    def keep(self, step: Step) -> Step:
        """Update a step when something else is chosen; a cell that is run again replaces it."""
        self._steps[step.name] = step
        return step

    def show(self) -> None:
        """Update the list and every step."""
        self._picker.notice.redraw()
        self.show_others()

    def show_others(self, name: str = "") -> None:
        """Show every step but the one that is being shown."""
        for one in self._steps.values():
            if one.name != name:
                one.notice.redraw()

    def in_example(self, words: str, zone: str = "", series: str = "") -> str:
        """A text about the example, if the example is shown; otherwise nothing."""
        here = zone in {"", self.zone_code} and series in {"", self.series_code}
        return words if self.is_example and here else ""

    def _remember(self) -> None:
        """Keep the choice for the next notebook of this folder; not where nobody may write."""
        self._before["survey"] = self.place
        if not self.is_example:
            self._before[self.place] = {"zone": self.zone_code, "series": self.series_code}
        with suppress(OSError):
            write_whole(Path(REMEMBERED), json.dumps(self._before).encode())

    def _repr_mimebundle_(self, **kwargs: Any) -> tuple[dict[str, Any], dict[str, Any]]:
        # Its page brings the type for every step.
        return PartPage(self._picker).as_cell(str(self))

    def __str__(self) -> str:
        """Say what is looked at."""
        return str(self.survey)


class Picker(Part):
    """What can be chosen for a notebook, and what is chosen."""

    def __init__(self, walk: Walk) -> None:
        super().__init__()
        self.walk = walk
        self.asks_place = False
        self.typed = ""

    def html(self) -> str:
        """The current list."""
        body = templates().get_template("notebook/picker.html").render(picker=self, walk=self.walk)
        return (
            templates().get_template("notebook/part.html").render(body=[body], notice=self.notice)
        )

    def _do(self, event: Event) -> None:
        self.notice.say("")
        if event.do == "type" and event.name == "place":
            self.typed = event.value
        elif event.do == "type" and event.name == "survey":
            self.asks_place = event.value == ANOTHER
            if not self.asks_place:
                self.walk.open(event.value)
        elif event.do == "type" and event.name in {"zone", "series", "beside"}:
            self.walk.pick(**{event.name: event.value})
        elif event.do == "open_typed":
            self.walk.open(self.typed.strip().strip('"'))
            self.asks_place = False
        elif event.do == "again":
            self.walk.open(self.walk.place)


def _opened(place: str) -> Survey:
    """A survey by where it is; one that is not there is never made."""
    if place == EXAMPLE:
        return demo_survey()
    if not _is_there(place):
        raise FileNotFoundError(
            f"There is no survey {place}. Give the file survey.db of its folder, or the address of "
            "a server."
        )
    return open_survey(place)


def _is_there(place: str) -> bool:
    """Whether a survey is there; of a server that is only known by asking it."""
    return "://" in place or Path(place).exists()


def _remembered() -> dict[str, Any]:
    """What was chosen in this folder; nothing where that can't be read."""
    try:
        found = json.loads(Path(REMEMBERED).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, Mapping) and isinstance(found, dict) else {}
