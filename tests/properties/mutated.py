"""Cases made by altering a guidance case: the ground on which the properties are tried."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

from guidance_form import CLEAN, pairs, read_cases, rows_of_case
from hypothesis import strategies as st

import heritagecheck as hc
from heritagecheck.judgement.policy import Policy
from heritagecheck.judgement.recommendation import Recommendation
from heritagecheck.survey.places import build
from heritagecheck.survey.records import TABLES
from heritagecheck.tables import keyed, rows

GUIDANCE = Path(__file__).parent.parent / "guidance"
QUILLMERE = Path(__file__).parents[2] / "data" / "quillmere"
RANK = {"leave": 0, "leave and monitor": 0, "trial first": 1, "clean": 2}
# Cases whose guidance says: clean. Altered a little, they stay clean or fall just short of it.
CLEAN_CASES = ("G03", "G11", "G17", "G21")
SIGNIFICANCES = ("low", "medium", "high")
# From the firmest to the weakest, as far as a kind of substrate knows them.
CONDITIONS = {
    "masonry": ("sound", "slightly_weathered", "cracked", "friable", "scaling"),
    "metal": ("sound", "slightly_weathered", "corroding", "cracked"),
}
STONES = tuple(
    sorted(code for code in CLEAN if keyed("substrates", "substrate")[code]["kind"] == "masonry")
)
SOILINGS = ("black_gypsum_crust", "general_soiling", "algae", "graffiti", "iron_stain")
STONE_METHODS = (
    "nebulised_water", "low_pressure_water", "dry_brush_vacuum", "micro_abrasive_dry",
    "laser_ns_1064", "poultice_chelating", "superheated_steam",
)  # fmt: skip
METAL_METHODS = ("dry_grit_blast", "laser_ns_1064", "power_tools_shrouded", "hand_tools")
GENTLE_ON_METAL = ("hand_tools", "solvent_gel_stripper", "laser_ultrashort", "dry_ice")
ACCESSES = ("ground", "scaffold", "scaffold_enclosed", "platform", "rope")


@cache
def guidance() -> dict[str, dict[str, str]]:
    """Guidance cases by their code."""
    return {
        case["case_id"]: case
        for name in ("guidance_cases", "more_cases")
        for case in read_cases(GUIDANCE / f"{name}.csv")
    }


@cache
def blind() -> dict[str, dict[str, str]]:
    """Cases written blind, and those of layers and lead, by their code."""
    return {
        case["case_id"]: case
        for name in ("blind_cases", "layers_lead_cases", "below_x50_cases", "urgent_cases")
        for case in read_cases(GUIDANCE / f"{name}.csv")
    }


@cache
def quillmere() -> dict[str, list[dict[str, Any]]]:
    """Plain rows of the example survey."""
    found = {}
    for table in TABLES:
        with (QUILLMERE / f"{table}.csv").open(encoding="utf-8", newline="") as file:
            found[table] = [
                {name: cell or None for name, cell in row.items()} for row in csv.DictReader(file)
            ]
    return found


@dataclass(frozen=True)
class Mutant:
    """A guidance case with some of its columns, findings and panel values altered."""

    base: str
    columns: Mapping[str, str] = field(default_factory=dict)
    findings: Mapping[str, str | None] = field(default_factory=dict)
    panels: Mapping[str, str | None] = field(default_factory=dict)

    def but(
        self,
        *,
        columns: Mapping[str, str] | None = None,
        findings: Mapping[str, str | None] | None = None,
        panels: Mapping[str, str | None] | None = None,
    ) -> Mutant:
        """The same case with some more altered; None takes a finding or panel value away."""
        return replace(
            self,
            columns={**self.columns, **(columns or {})},
            findings={**self.findings, **(findings or {})},
            panels={**self.panels, **(panels or {})},
        )

    @property
    def kind(self) -> str:
        """Masonry or metal."""
        return keyed("substrates", "substrate")[self.case["substrate"]]["kind"]

    @property
    def condition(self) -> str:
        """Condition of the substrate."""
        return self.case["substrate_condition"]

    @property
    def significance(self) -> str:
        """Significance of the zone."""
        return self.case["significance"]

    @property
    def case(self) -> dict[str, str]:
        """The case in the form of tests/guidance/README.md."""
        case = {**guidance()[self.base], **self.columns}
        for name, altered in (("findings", self.findings), ("panels", self.panels)):
            values = {**pairs(case[name] or "", self.base), **altered}
            if name == "panels" and self.panels.get("method", "") is None:
                values = {}
            case[name] = "; ".join(f"{k}={v}" for k, v in values.items() if v is not None)
        if "lead_paint" in case["layers"] or "lead_shedding=yes" in case["findings"]:
            # Lead paint beside "no lead" is refused, so whoever draws an answer draws another.
            case["findings"] = case["findings"].replace("lead=no", "lead=yes")
            case["lead"] = "yes" if case["lead"] == "no" else case["lead"]
        return case

    def panel(self, name: str, otherwise: str) -> str:
        """One value of the panels."""
        return pairs(self.case["panels"] or "", self.base).get(name, otherwise)

    def rows(self) -> dict[str, list[dict[str, Any]]]:
        """Plain rows of the survey that the case describes, without the answers taken away."""
        raw = rows_of_case(self.case)
        gone = {topic for topic, finding in self.findings.items() if finding is None} - {"lead"}
        kept = [row for row in raw["observations"] if row["topic"] not in gone]
        return raw | {"observations": kept}

    def judged(self, policy: Policy | None = None) -> Recommendation:
        """Recommendation for its one zone."""
        return judged(self.rows(), policy)


def judged(raw: dict[str, list[dict[str, Any]]], policy: Policy | None = None) -> Recommendation:
    """Recommendation for the first zone of plain rows."""
    return hc.assess(build(raw), policy, zones=[raw["zones"][0]["zone"]]).recommendations[0]


def rank(found: Recommendation) -> float:
    """
    How far an outcome goes towards cleaning.

    0 for leaving, 1 for a trial, 2 for cleaning. Gate 8 stands behind gate 7, so leaving or
    postponing there, with good panels in hand, is nearer to cleaning than a trial still to be laid.
    """
    gate = found.deciding_gate
    return 1.5 if gate is not None and gate.number == 8 else RANK[found.outcome]


def topics(kind: str) -> dict[str, tuple[str, ...]]:
    """Topics that are asked of one kind of substrate, with their answers."""
    return {
        row["topic"]: tuple(row["findings"].split("|"))
        for row in rows("topics")
        if row["kind"] in {"all", kind}
    }


@st.composite
def findings(draw: st.DrawFn, kind: str, most: int = 3) -> dict[str, str | None]:
    """Draw a few answers that are changed or taken away."""
    known = topics(kind)
    names = draw(st.lists(st.sampled_from(sorted(known)), max_size=most, unique=True))
    return {name: draw(st.sampled_from((*known[name], None))) for name in names}


@st.composite
def stone(draw: st.DrawFn) -> Mutant:
    """Draw a soiled stone with panels, mostly with complete evidence."""
    soiling = draw(st.sampled_from(SOILINGS))
    columns = {
        "substrate": draw(st.sampled_from(("granite", "granite_weathered", *STONES))),
        "substrate_condition": draw(st.sampled_from(("sound", "slightly_weathered"))),
        "significance": draw(st.sampled_from(SIGNIFICANCES)),
        "access": draw(st.sampled_from(ACCESSES)),
        "finish": draw(st.sampled_from(("tooled", "sawn", "fine_tooled"))),
        "soiling": soiling,
        "layers": f"{soiling}=not_valued",
        "deltaE00_visible": draw(st.sampled_from(("", "6", "18", "32"))),
        "biotite_pct": draw(st.sampled_from(("", "0", "4", "6", "20"))),
    }
    damage = draw(st.sampled_from(("120-", "120-140", "60-80", "20-30")))
    panels = {
        "method": draw(st.sampled_from(STONE_METHODS)),
        "x50_weakest": "10",
        # Damage from below the cleaning setting shows on the panel too, or the record is refused.
        "damaged": "4" if damage == "20-30" else draw(st.sampled_from(("0", "0", "0", "1", "4"))),
        "residual_pct": draw(st.sampled_from(("5", "15", "30"))),
        "damage": damage,
        "count": draw(st.sampled_from(("3", "3", "2", "1"))),
        "passed_over": draw(st.sampled_from(("+".join(STONE_METHODS), None))),
    }
    return Mutant("G03", columns, draw(findings("masonry")), panels)


@st.composite
def steel(draw: st.DrawFn) -> Mutant:
    """Draw coated iron or steel with panels, mostly with complete evidence."""
    columns = {
        "substrate": draw(st.sampled_from(("riveted_steel", "wrought_iron", "cast_iron"))),
        "substrate_condition": draw(st.sampled_from(("sound", "slightly_weathered", "corroding"))),
        "significance": draw(st.sampled_from(SIGNIFICANCES)),
        "access": draw(st.sampled_from(ACCESSES)),
    }
    panels = {
        "method": draw(st.sampled_from(METAL_METHODS)),
        "damaged": draw(st.sampled_from(("0", "0", "0", "1"))),
        "count": draw(st.sampled_from(("3", "2"))),
        "passed_over": draw(st.sampled_from(("+".join(GENTLE_ON_METAL), None))),
    }
    base = draw(st.sampled_from(("G17", "G21")))
    return Mutant(base, columns, draw(findings("metal")), panels)


@st.composite
def housekeeping(draw: st.DrawFn) -> Mutant:
    """Draw a handful of droppings on stone, for which no trial may be asked."""
    columns = {
        "substrate": draw(st.sampled_from(STONES)),
        "significance": draw(st.sampled_from(SIGNIFICANCES)),
    }
    panels = {"damaged": draw(st.sampled_from(("0", "0", "2", "10")))}
    return Mutant("G11", columns, draw(findings("masonry", most=2)), panels)


@st.composite
def any_guidance(draw: st.DrawFn) -> Mutant:
    """Draw any guidance case with a few answers changed."""
    base = Mutant(draw(st.sampled_from(sorted(guidance()))))
    return base.but(findings=draw(findings(base.kind)))


@st.composite
def at_rest(draw: st.DrawFn) -> Mutant:
    """Draw grey stone on which nothing asks for action, with at most one answer changed."""
    columns = {
        "substrate": draw(st.sampled_from(STONES)),
        "significance": draw(st.sampled_from(SIGNIFICANCES)),
    }
    return Mutant("G01", columns, draw(findings("masonry", most=1)))


def near_clean() -> st.SearchStrategy[Mutant]:
    """Give the clean guidance cases, each with at most two answers changed."""
    return st.sampled_from(CLEAN_CASES).flatmap(
        lambda code: findings(Mutant(code).kind, most=2).map(
            lambda altered: Mutant(code, findings=altered)
        )
    )


def mutants() -> st.SearchStrategy[Mutant]:
    """Give cases of every sort."""
    return st.one_of(near_clean(), stone(), steel(), housekeeping(), at_rest(), any_guidance())
