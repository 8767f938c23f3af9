"""What was surveyed: the structure, its elevations and zones, their layers and findings."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from functools import lru_cache
from itertools import combinations
from typing import Annotated, Any, Literal
from unicodedata import normalize

from pydantic import ValidationInfo, field_validator

from heritagecheck.errors import Codes, Fields, Message, Must, WithCodes
from heritagecheck.survey.drawings.outline_edits import outline_faults, rings_of
from heritagecheck.survey.drawings.path_data import FloatArray
from heritagecheck.survey.records.fields import entry_of_message
from heritagecheck.survey.records.record import (
    Key,
    Maybe,
    OptionalCount,
    OptionalDate,
    OptionalFile,
    OptionalNumber,
    OptionalText,
    Record,
    Words,
    Wrong,
    column,
    listed,
    listed_parts,
    not_listed,
    optional,
    parts_of_list,
    rule,
    term,
)
from heritagecheck.tables import codes, threshold
from heritagecheck.tables.row_types import Soiling, Substrate, Topic

# -- Beds ------------------------------------------------------------------------------------------

LONG = 4  # letters; "bed A" and "bed B" are two beds, not two spellings


@lru_cache(maxsize=4096)
def plain_bed(bed: str | None) -> str:
    """Name of a bed without capitals, blanks and punctuation."""
    return "".join(_words(bed or ""))


def same_bed(one: str | None, other: str | None) -> bool:
    """Whether two names mean one bed, so that good panels on one count for the other."""
    return plain_bed(one) == plain_bed(other) != ""


def near_names(one: str | None, other: str | None) -> bool:
    """Whether two names of beds differ so little that one may be a typing error."""
    return _near(*sorted((one or "", other or "")))


def may_be_one_bed(one: str | None, other: str | None) -> bool:
    """Whether harm on one bed must be expected on the other too."""
    unnamed = not plain_bed(one) or not plain_bed(other)
    return unnamed or same_bed(one, other) or near_names(one, other)


def stone_of(substrate: str) -> str:
    """Stone or metal of a substrate, whatever its weathering or polish."""
    return Substrate.named(substrate).parent or substrate


def listed_beds(beds: str | None) -> dict[str, tuple[str, ...]]:
    """Beds and coating systems that a survey lists, by their stone or metal."""
    found: dict[str, list[str]] = {}
    for part in parts_of_list(beds):
        substrate, _, name = (one.strip() for one in part.partition(":"))
        if substrate not in codes("substrates") or not plain_bed(name):
            wanted = "a substrate, a colon and the name of a bed"
            example = "granite: grey granite, bed A"
            raise ValueError(_not_an_entry(part, wanted, example, codes("substrates")))
        known = found.setdefault(stone_of(substrate), [])
        if any(same_bed(name, other) for other in known):
            raise ValueError(f"{part} is listed twice; write it once")
        known.append(name)
    return {stone: tuple(names) for stone, names in found.items()}


def _not_an_entry(part: str, wanted: str, example: str, known: Iterable[str]) -> WithCodes:
    """Fault of an entry that is not a code, a colon and more."""
    said, such = entry_of_message(part), entry_of_message(example)
    why = Message(said, f" must be the code of {wanted}, such as ", such)
    return WithCodes(why, "Codes: ", Codes(*known))


def list_of(named: Iterable[tuple[str, str | None]]) -> str:
    """Beds as one text, in the form of the field `beds`."""
    found: dict[tuple[str, str], str] = {}
    for substrate, bed in named:
        if plain := plain_bed(bed):
            stone = stone_of(substrate)
            found.setdefault((stone, plain), f"{stone}: {(bed or '').replace(';', ',')}")
    return "; ".join(found.values())


def names_to_ask_about(listed: Mapping[str, Iterable[str]]) -> Iterator[tuple[str, str]]:
    """Pairs of listed beds that may be one bed, spelt in two ways."""
    for names in listed.values():
        yield from (pair for pair in combinations(names, 2) if near_names(*pair))


def _words(bed: str) -> list[str]:
    """Words and numbers of a name."""
    return re.findall(r"[^\W_]+", normalize("NFKC", bed).casefold())


@lru_cache(maxsize=4096)
def _near(one: str, other: str) -> bool:
    """Whether two names, in alphabetical order, differ as by a typing error."""
    mine, yours = _words(one), _words(other)
    if mine == yours or "".join(mine) == "".join(yours):
        return False
    if sorted(mine) == sorted(yours):
        return True
    return len(mine) == len(yours) and all(map(_slip, mine, yours))


def _slip(one: str, other: str) -> bool:
    """Whether two words differ by one letter at most; a number or short word is never an error."""
    if one == other:
        return True
    short, long = sorted((one, other), key=len)
    if len(long) < LONG or any(letter.isdigit() for letter in one + other):
        return False
    pairs = enumerate(zip(short, long, strict=False))
    start = next((place for place, (mine, yours) in pairs if mine != yours), len(short))
    if len(short) == len(long):
        turned = short[start + 1 : start + 2] + short[start] + short[start + 2 :]
        return short[start + 1 :] == long[start + 1 :] or turned == long[start:]
    return short[start:] == long[start + 1 :]


# -- Structure, elevations, zones, layers, findings ------------------------------------------------

Significance = Literal["high", "medium", "low"]
Condition = Literal[
    "sound", "slightly_weathered", "friable", "scaling", "cracked", "corroding", "not_assessed"
]
Finish = Literal[
    "rock_faced", "tooled", "fine_tooled", "sawn", "honed", "polished", "fired", "glazed", "cast",
    "rolled", "forged",
]  # fmt: skip
Access = Literal[
    "ground", "ladder", "scaffold", "scaffold_enclosed", "rope", "platform", "confined"
]
LayerValue = Literal[
    "not_valued", "significant", "protective", "rare", "original_surface", "partly", "not_assessed"
]
WHOLLY_VALUED = frozenset({"significant", "protective", "rare", "original_surface"})


class Structure(Record):
    """The structure surveyed."""

    structure: Words = column("Name of the structure")
    asked: OptionalText = optional(
        "What this survey was commissioned to find out", title="Question of the survey"
    )
    surveyed_by: OptionalText = optional("Who surveyed (roles, no names)")
    survey_date: OptionalDate = optional(
        "Date on which the survey closed; leave empty while the survey is open",
        title="Survey closed on",
    )
    significance: OptionalText = optional(
        "Why the structure matters, in a sentence", title="Why it matters"
    )
    licence: OptionalText = optional(
        "Licence under which these records go to others, as SPDX writes it",
        title="Licence of the records",
    )
    call_first: OptionalText = optional(
        "Whom a contractor calls first when work stops: role, and how to reach it",
        title="Whom to call first",
    )
    beds: OptionalText = optional(
        "Every quarry bed and coating system that zones may name, each after its stone or metal, "
        "separated by semicolons, such as granite: grey granite, bed A; granite: pale, bed B",
        title="Beds and coating systems",
        terms_within="substrates",
    )

    @rule
    def _beds_are_a_list(self) -> Wrong:
        try:
            listed_beds(self.beds)
        except ValueError as why:
            yield "beds", why.args[0]

    @property
    def listed_beds(self) -> dict[str, tuple[str, ...]]:
        """Beds and coating systems that zones may name, by their stone or metal."""
        return listed_beds(self.beds)


class Elevation(Record):
    """One side of the structure, with its drawing where there is one."""

    elevation: Key = column("Code of the elevation")
    name: Words = column("Its name")
    drawing: OptionalFile = optional(
        "File of its drawing, beside the tables: SVG, or a photograph or scan as JPEG or PNG. "
        "Without one its zones are listed",
        title="File of the drawing",
    )
    width_m: OptionalNumber = optional("Width of the drawing", unit="m", gt=0)
    height_m: OptionalNumber = optional("Height of the drawing", unit="m", gt=0)

    @rule
    def _drawing_has_a_size(self) -> Wrong:
        given = {name: getattr(self, name) for name in ("drawing", "width_m", "height_m")}
        missing = [name for name, value in given.items() if value is None]
        if 0 < len(missing) < len(given):
            yield (
                missing[0],
                Message("give ", Fields(*given), " together, or none of them"),
            )


class Zone(Record):
    """The largest area on which one decision can be defended."""

    zone: Key = column("Code of the zone, as on drawings and tags", title="Code of the zone")
    elevation: Key = column("Elevation on which it lies", title="Elevation")
    name: Words = column("What it is, in words")
    area_m2: float = column("Area", unit="m²", gt=0, le=100_000)
    substrate: Annotated[str, term("substrates")] = column("Substrate", terms="substrates")
    finish: Finish = column("Finish of the surface")
    condition: Condition = column("Condition of the substrate")
    exposure: Annotated[str, term("exposure")] = column("Exposure", terms="exposure")
    access: Access = column("How it is reached")
    significance: Significance = column("Significance of this zone")
    significance_reason: Words = column(
        "Reason for that grade, in a sentence", title="Reason for the significance"
    )
    soilings: Words = column(
        "Codes of every soiling seen, outermost first, separated by semicolons",
        title="Soilings, outermost first",
        terms_within="soilings",
    )
    biotite_pct: OptionalNumber = optional("Dark mica by point count", unit="% area", ge=0, le=100)
    bed_or_system: OptionalText = optional(
        "Quarry bed of the stone, or coating system of the metal, as the structure lists it",
        title="Bed or coating system",
    )
    panels_laid: OptionalCount = optional(
        "Trial panels laid on this zone; 0 where none was",
        title="Trial panels laid here",
        ge=0,
        le=1000,
    )
    colour_sets: OptionalCount = optional(
        "Sets of colour readings of soiled and clean stone, by meter, eye and photograph; needed "
        "where a photograph replaces the meter",
        title="Sets of colour readings",
        ge=0,
        le=100,
    )
    next_access: OptionalDate = optional("When the zone can next be reached", title="Next access")
    surveyed_on: date = column("Date", title="Date of the survey")
    surveyed_by: Words = column("Role of the surveyor")
    note: OptionalText = optional("Anything else", title="Note")
    coatings: OptionalCount = optional(
        "Coatings of different history, each to be tested for lead; 0 where there is none",
        title="Number of different coatings",
        ge=0,
        le=50,
    )
    not_tried: OptionalText = optional(
        "Gentler methods that were not tried, each with its reason, separated by semicolons, such "
        "as hand_tools: leaves no profile for the coating; dry_ice: no supplier",
        title="Gentler methods not tried",
        terms_within="methods",
    )
    outline: OptionalText = optional(
        "Its outline on the elevation: corners x y in metres from the left and from the top of "
        "the drawing, separated by semicolons, such as 0 0; 2.5 0; 2.5 1.2; parts separated by an "
        "upright bar",
        title="Outline on the elevation",
    )

    @field_validator("soilings", mode="before")
    @classmethod
    def _soilings_as_listed(cls, value: Any) -> Any:
        return listed_parts(value, codes("soilings"))

    @rule
    def _soilings_are_terms(self) -> Wrong:
        yield from not_listed("soilings", self.soiling_codes, codes("soilings"), of="soilings")
        coatings = {row.soiling for row in Soiling.rows() if row.kind == "coating"}
        seen = [code for code in self.soiling_codes if code in coatings]
        if self.coatings == 0 and seen:
            yield (
                "coatings",
                Must("must be 1 or more, because the soilings name ", Codes(*seen)),
            )

    @rule
    def _not_tried_are_methods(self) -> Wrong:
        for part in parts_of_list(self.not_tried):
            method, _, reason = part.partition(":")
            if method.strip() not in codes("methods") or not reason.strip():
                wanted, example = "a method, a colon and a reason", "hand_tools: leaves no profile"
                yield "not_tried", _not_an_entry(part, wanted, example, codes("methods"))

    @rule
    def _outline_can_be_drawn(self) -> Wrong:
        if self.outline is not None:
            try:
                why = outline_faults(self.rings)
            except ValueError as error:
                why = str(error)
            if why:
                yield "outline", why

    @property
    def rings(self) -> list[FloatArray]:
        """Its outline as rings of corners, in metres on the drawing; empty if it has none."""
        return rings_of(self.outline)

    @property
    def reasons_not_tried(self) -> dict[str, str]:
        """Methods that the team did not try, and why."""
        said = (part.partition(":") for part in parts_of_list(self.not_tried))
        return {method.strip(): reason.strip() for method, colon, reason in said if colon}

    @property
    def soiling_codes(self) -> tuple[str, ...]:
        """Soilings, outermost first."""
        return tuple(code.strip() for code in self.soilings.split(";"))

    @property
    def metal(self) -> bool:
        """Whether the substrate is iron or steel."""
        return Substrate.named(self.substrate).kind == "metal"

    @property
    def weakest_component(self) -> str | None:
        """Component that sets the limit; if nobody counted it, it is assumed to be there."""
        least, share = threshold("weakest_component_pct"), self.biotite_pct
        named = Substrate.named(self.substrate).weakest_components
        return named if share is None or share >= least else None

    @property
    def confined(self) -> bool:
        """Whether work there is in a confined space."""
        return self.exposure == "closed_section" or self.access == "confined"


class Layer(Record):
    """One layer on a zone: soiling, growth, salt or coating, and whether it is itself of value."""

    layer: Key = column("Code of the layer")
    zone: Key = column("Zone")
    soiling: Annotated[str, term("soilings")] = column("What it is", terms="soilings")
    cover_pct: OptionalNumber = optional("Cover", unit="% area", ge=0, le=100)
    thickness_mm: OptionalNumber = optional("Thickness", unit="mm", ge=0, le=500)
    value: LayerValue = column(
        "Is the layer itself significant, protective or rare?", title="Value of the layer"
    )
    value_reason: OptionalText = optional("Why, and who said so", title="Reason for the value")
    made_of: Annotated[str | None, term("materials"), Maybe] = optional(
        "What a layer of value is made of", title="Made of", terms="materials"
    )


class Observation(Record):
    """One question answered at the wall or at the desk."""

    observation: Key = column("Code of the observation")
    zone: Key = column("Zone")
    topic: Annotated[str, term("topics")] = column("Question", terms="topics")
    finding: OptionalText = optional("Answer, one of the findings of its question", title="Answer")
    not_recorded_because: OptionalText = optional("Why there is no answer")
    owner: OptionalText = optional(
        "Who owns the cure, where one is scheduled", title="Owner of the cure"
    )
    due: OptionalDate = optional("When it is due", title="Due on")
    seen_on: date = column("Date", title="Date seen")
    seen_by: Words = column("Role", title="Seen by")
    note: OptionalText = optional("In words", title="Note")

    @field_validator("finding", mode="before")
    @classmethod
    def _finding_as_listed(cls, value: Any, info: ValidationInfo) -> Any:
        topic = info.data.get("topic")
        return value if not isinstance(topic, str) else listed(value, _findings_of(topic))

    @rule
    def _finding_fits(self) -> Wrong:
        allowed = _findings_of(self.topic)
        if (self.finding is None) == (self.not_recorded_because is None):
            yield (
                "finding",
                Message(
                    "give an answer, or write under ",
                    Fields("not_recorded_because"),
                    " why there is none",
                ),
            )
        if self.finding is not None and self.finding not in allowed:
            yield "finding", Message(Codes(self.topic), " takes one of: ", Codes(*allowed))
        if self.finding == "scheduled" and not (self.owner and self.due):
            yield "finding", "a scheduled cure needs an owner and a due date"
        if self.topic == "cause_other" and self.finding not in {None, "none"} and not self.note:
            yield "note", "name the other source here"


def _findings_of(topic: str) -> tuple[str, ...]:
    """The answers that a question takes."""
    return Topic.named(topic).findings
