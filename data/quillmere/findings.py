"""What an invented conservator found on the invented Quillmere Pumping Station, zone by zone."""

from __future__ import annotations

from datetime import date
from typing import Any

# Mean L*, a*, b* of clean dry stone and its spread from shot to shot: invented, after the ranges
# that the trade recalls (granite spreads by 3 to 8 units, limestone far less).
CLEAN_STONE: dict[str, dict[str, Any]] = {
    "grey granite": {
        "mean": (60.5, 0.4, 2.8), "cov": ((14.0, 0.3, 1.2), (0.3, 0.4, 0.2), (1.2, 0.2, 1.6)),
    },
    "pale granite": {
        "mean": (68.0, 1.2, 5.6), "cov": ((11.0, 0.4, 1.4), (0.4, 0.5, 0.3), (1.4, 0.3, 1.9)),
    },
    "polished granite": {
        "mean": (55.0, 0.3, 2.0), "cov": ((6.0, 0.1, 0.4), (0.1, 0.2, 0.1), (0.4, 0.1, 0.6)),
    },
    "limestone": {
        "mean": (78.4, 1.7, 11.8), "cov": ((3.2, 0.1, 0.6), (0.1, 0.2, 0.1), (0.6, 0.1, 1.1)),
    },
    "sandstone": {
        "mean": (64.5, 5.2, 18.9), "cov": ((5.0, 0.5, 1.4), (0.5, 0.7, 0.6), (1.4, 0.6, 2.4)),
    },
    "brick": {
        "mean": (45.8, 19.6, 22.4), "cov": ((8.0, 0.6, 1.0), (0.6, 3.0, 1.2), (1.0, 1.2, 3.4)),
    },
}  # fmt: skip


def stone(
    name: str,
    substrate: str,
    finish: str,
    *layers: tuple[str, float, float | None, str, str | None],
    condition: str = "sound",
    exposure: str = "rain_washed",
    access: str = "scaffold",
    significance: str = "medium",
    why: str = "Part of the original ashlar, of a kind found elsewhere on the house",
    **more: Any,
) -> dict[str, Any]:
    """One zone of stone or brick."""
    return {
        "name": name, "substrate": substrate, "finish": finish, "condition": condition,
        "exposure": exposure, "access": access, "significance": significance,
        "significance_reason": why, "layers": layers, **more,
    }  # fmt: skip


def iron(
    name: str,
    *layers: tuple[str, float, float | None, str, str | None],
    substrate: str = "riveted_steel",
    finish: str = "rolled",
    condition: str = "slightly_weathered",
    exposure: str = "exposed",
    access: str = "scaffold_enclosed",
    significance: str = "medium",
    why: str = "Original plate and rivets, of a kind found all over the tower",
    **more: Any,
) -> dict[str, Any]:
    """One zone of iron or steel."""
    return stone(
        name, substrate, finish, *layers, condition=condition, exposure=exposure, access=access,
        significance=significance, why=why, **more,
    )  # fmt: skip


NOT = "not_valued"
GREY, PALE, OOLITE = "grey granite, bed A", "pale granite, bed B", "oolitic limestone, top bed"
TANK, LEG_A, LEG_B = (
    "red lead 1889, alkyd 1961",
    "red lead 1889, alkyd 1961, front legs",
    ("red lead 1889, bitumen 1934"),
)

ZONES: dict[str, dict[str, Any]] = {
    "N01": stone(
        "Rock-faced granite plinth, left", "granite", "rock_faced",
        ("general_soiling", 60, 0.1, NOT, None),
        exposure="splash_zone", access="ground", biotite_pct=9, bed_or_system=GREY,
    ),
    "N02": stone(
        "Rock-faced granite plinth, right, under a downpipe", "granite", "rock_faced",
        ("algae", 40, 0.3, NOT, None),
        condition="slightly_weathered", exposure="runoff", access="ground", biotite_pct=9,
        bed_or_system=GREY,
    ),
    "N03": stone(
        "Polished granite shafts of the great door", "granite_polished", "polished",
        ("film", 80, 0.02, NOT, None),
        exposure="splash_zone", access="ground", significance="high", biotite_pct=4,
        why="The polish is the finish of 1887 and was meant to be read",
        bed_or_system="polished granite, bed C",
    ),
    "N04": stone(
        "Granite ashlar field, left", "granite", "tooled",
        ("general_soiling", 20, 0.05, NOT, None), biotite_pct=9, bed_or_system=GREY,
    ),
    "N05": stone(
        "Granite ashlar field, right", "granite", "tooled",
        ("general_soiling", 65, 0.05, NOT, None), biotite_pct=8, bed_or_system=GREY,
    ),
    "N06": stone(
        "Reveals and soffit of the great door", "granite", "tooled",
        ("black_gypsum_crust", 55, 0.1, NOT, None),
        condition="slightly_weathered", exposure="sheltered", biotite_pct=9, bed_or_system=GREY,
    ),
    "N07": stone(
        "Pale granite voussoirs of the great door", "granite", "tooled",
        ("iron_stain", 20, 0, NOT, None),
        exposure="runoff", significance="high", biotite_pct=3, bed_or_system=PALE,
        why="The arch carries the date and the change of stone",
        next_access=date(2027, 4, 12), note="Cramps sound hollow; one voussoir stands 2 mm proud",
    ),
    "N08": stone(
        "Sandstone string course", "sandstone_clay_calc", "tooled",
        ("black_gypsum_crust", 60, 2, NOT, None),
        condition="scaling", exposure="sheltered",
        note="Contour scales bridged by crust; hollow over 60 %",
    ),
    "N09": stone(
        "Limestone cornice, left half", "limestone", "tooled",
        ("black_gypsum_crust", 45, 3, NOT, None),
        condition="slightly_weathered", exposure="sheltered", significance="high",
        why="The only carved dentils that keep their arrises", bed_or_system=OOLITE,
    ),
    "N10": stone(
        "Limestone cornice, right half", "limestone", "tooled",
        ("black_gypsum_crust", 35, 2, NOT, None),
        condition="slightly_weathered", exposure="sheltered", significance="high",
        why="The only carved dentils that keep their arrises", bed_or_system=OOLITE,
    ),
    "N11": stone(
        "Inscribed datestone above the door", "limestone", "honed",
        ("lichen", 50, 1, "rare", "two slow-growing species on the county list: lichen survey"),
        significance="high", why="The inscription is the document of the house",
    ),
    "N12": stone(
        "Granite parapet", "granite", "tooled",
        ("lichen", 45, 0.5, NOT, "common species: lichen survey"),
        exposure="exposed_top", access="rope", biotite_pct=9, bed_or_system=GREY,
    ),
    "N13": stone(
        "Pale granite sills, left windows", "granite", "tooled",
        ("guano", 8, 6, NOT, None),
        exposure="sheltered", access="ladder", biotite_pct=3, bed_or_system=PALE,
    ),
    "N14": stone(
        "Pale granite sills, right windows", "granite", "tooled",
        ("guano", 9, 8, NOT, None),
        exposure="sheltered", access="ladder", biotite_pct=3, bed_or_system=PALE,
    ),
    "N15": stone(
        "Red spray paint on the plinth beside the door", "granite", "rock_faced",
        ("graffiti", 70, 0.05, NOT, "sprayed last winter"),
        access="ground", biotite_pct=14, bed_or_system="dark granite, bed D",
    ),
    "N16": stone(
        "Limestone door jambs with scratched names", "limestone", "honed",
        ("general_soiling", 20, 0.1, NOT, None),
        ("graffiti", 10, None, "significant", "names of the pump crew, 1916 to 1919"),
        exposure="sheltered", access="ground", significance="high",
        why="The names are the only trace of the crew",
    ),
    "N17": stone(
        "Limestone panel under a copper bracket", "limestone", "honed",
        ("copper_stain", 35, 0, NOT, None), exposure="runoff",
    ),
    "N18": stone(
        "Sandstone hood moulds", "sandstone_siliceous", "fine_tooled",
        ("film", 90, 0.1, "significant", "even iron-rich patina, seen in section"),
        significance="high", why="Even patina over crisp tooling",
    ),
    "E01": stone(
        "Brick chimney base, lower", "brick", "fired",
        ("efflorescence", 50, 0.3, NOT, None), exposure="splash_zone", access="ground",
        why="Engineering brick of 1887, of a kind found elsewhere on the chimney",
    ),
    "E02": stone(
        "Brick chimney base, upper, limewashed", "brick", "fired",
        ("previous_coating", 80, 0.6, "significant", "limewash since 1890: paint history"),
        significance="high", why="The limewash is the finish shown in the opening photograph",
    ),
    "E03": stone(
        "Brick band at the damp course", "brick", "fired",
        ("subflorescence", 40, 1, NOT, None), condition="friable", access="ground",
        exposure="splash_zone",
        why="Engineering brick of 1887, of a kind found elsewhere on the chimney",
    ),
    "E04": stone(
        "Granite flank below a leaking gutter", "granite", "tooled",
        ("biofilm", 60, 0.4, NOT, None),
        condition="slightly_weathered", exposure="runoff", biotite_pct=8, bed_or_system=GREY,
    ),
    "E05": stone(
        "Granite flank, upper band", "granite", "tooled",
        ("black_fungi", 70, 0.2, NOT, None), biotite_pct=8, bed_or_system=GREY,
    ),
    "E06": stone(
        "Sandstone quoins", "sandstone_siliceous", "tooled",
        ("general_soiling", 75, 0.1, NOT, None),
        why="Crisp tooling that abrasives would blur", significance="high",
    ),
    "E07": stone(
        "Limestone window surrounds", "limestone", "tooled",
        ("salt_crust", 25, 0.5, NOT, None), condition="slightly_weathered", exposure="sheltered",
        why="Worked to one template, of a kind found at every window",
    ),
    "E08": stone(
        "Lime run below a joint", "granite", "tooled",
        ("encrustation", 85, 4, NOT, None), exposure="runoff", biotite_pct=8, bed_or_system=GREY,
    ),
    "E09": iron(
        "Cast-iron porch columns, left pair", ("previous_coating", 90, 0.5, NOT, "sampled"),
        substrate="cast_iron", finish="cast", access="ground",
        why="Patterns cast for the porch, four alike",
    ),
    "E10": iron(
        "Cast-iron porch columns, right pair",
        ("lead_paint", 100, 0.4, "protective", "sound red lead, adhesion 3.4 MPa"),
        substrate="cast_iron", finish="cast", access="ground",
        why="Patterns cast for the porch, four alike",
    ),
    "E11": iron(
        "Cast-iron porch gutter and brackets",
        ("lead_paint", 60, 0.4, NOT, "sampled"), ("rust", 40, 0.5, NOT, None),
        substrate="cast_iron", finish="cast", access="ladder",
        why="Foundry stock of 1889, of a kind found all round the porch",
    ),
    "E12": stone(
        "Pale granite flank panel, browned", "granite", "tooled",
        ("iron_stain", 90, 4, "original_surface", "biotite altered 3 to 5 mm deep: thin section"),
        condition="slightly_weathered", significance="high", biotite_pct=6, bed_or_system=PALE,
        why="Large unbroken field of the pale stone",
    ),
    "E13": stone(
        "Rock-faced granite flank, low", "granite", "rock_faced",
        ("general_soiling", 55, 0.1, NOT, None), access="ground", biotite_pct=8,
        bed_or_system=GREY,
    ),
    "E14": stone(
        "Limestone sill under the eaves", "limestone", "tooled",
        ("guano", 40, 25, NOT, None), condition="slightly_weathered", exposure="sheltered",
        why="Plain sill, of a kind found at every window",
    ),
    "E15": stone(
        "Polished granite date panel", "granite_polished", "polished",
        ("general_soiling", 85, 0.05, NOT, None),
        access="ladder", significance="high", biotite_pct=4,
        why="Incised date on the finest polish of the house",
        bed_or_system="polished granite, bed C",
    ),
    "E16": stone(
        "Spray paint at the foot of the chimney", "brick", "fired",
        ("graffiti", 75, 0.05, NOT, "sprayed this spring"), access="ground",
        why="Engineering brick of 1887, of a kind found elsewhere on the chimney",
    ),
    "T01": iron(
        "Tank shell, upper plates", ("lead_paint", 70, 0.4, NOT, "sequence sampled and filed"),
        ("rust", 30, 0.3, NOT, None), condition="corroding", bed_or_system=TANK,
    ),
    "T02": iron(
        "Tank shell, middle plates", ("lead_paint", 75, 0.4, NOT, "sequence sampled and filed"),
        ("rust", 20, 0.3, NOT, None), condition="corroding", bed_or_system=TANK,
    ),
    "T03": iron(
        "Tank bottom ring and rivet field", ("lead_paint", 60, 0.4, NOT, "sampled"),
        ("pack_rust", 25, 3, NOT, None), condition="corroding", exposure="runoff",
        bed_or_system="red lead 1889, alkyd 1961, bottom ring", next_access=date(2029, 5, 1),
    ),
    "T04": iron(
        "Main girder web",
        ("lead_paint", 100, 0.3, "protective", "adhesion 3.1 MPa, rust 0.3 % of area"),
        access="rope",
    ),
    "T05": iron(
        "Main girder lower flange and lattice", ("lead_paint", 45, 0.3, NOT, "sampled"),
        ("pack_rust", 40, 6, NOT, None), condition="corroding", access="rope",
        next_access=date(2027, 4, 12),
    ),
    "T06": iron(
        "Leg outer face, north-east", ("lead_paint", 80, 0.1, NOT, "sequence sampled and filed"),
        access="platform", bed_or_system=LEG_A,
    ),
    "T07": iron(
        "Leg outer face, north-west", ("lead_paint", 70, 0.5, NOT, "sampled"),
        ("rust", 15, 0.3, NOT, None), access="platform", bed_or_system=LEG_B,
    ),
    "T08": iron(
        "Leg outer face, south-east",
        ("lead_paint", 100, 0.3, "protective", "adhesion 2.9 MPa, no rust"), access="platform",
    ),
    "T09": iron(
        "Leg outer face, south-west", ("previous_coating", 95, 0.2, NOT, "aluminium paint, 1998"),
        ("mill_scale", 90, 0.05, "protective", "whole where the paint is chipped"),
        access="platform", condition="sound",
    ),
    "T10": iron(
        "Ladder and walkway rail", ("previous_coating", 60, 0.4, NOT, None), access="rope",
        significance="low", why="Renewed in part in 1961",
    ),
    "T11": iron(
        "Maker's plate on the tank",
        ("previous_coating", 95, 0.5, "significant", "first scheme of 1889 in section"),
        substrate="cast_iron", finish="cast", condition="sound", significance="high",
        why="Names the works and the year",
    ),
    "T12": iron(
        "Wrought-iron bracing rods",
        ("rust", 30, 0.1, "protective", "coherent grey oxide with hammer marks"),
        substrate="wrought_iron", finish="forged", access="platform", significance="high",
        why="Forged by hand; the hammer marks can be read",
    ),
    "T13": iron(
        "Repair plate of this summer", ("flash_rust", 80, 0.02, NOT, None), access="platform",
        significance="low", why="New plate", condition="sound", bed_or_system="bare plate, 2026",
        note="Flash rust through what is left of the shop primer",
    ),
    "T14": iron(
        "Tank roof walkway", ("guano", 25, 10, NOT, None), access="ladder",
        significance="low", why="Sheet renewed in 1998", condition="sound",
    ),
    "C01": iron(
        "Inside of the north-east leg", ("lead_paint", 50, 0.3, NOT, "seen by borescope"),
        ("rust", 45, 0.5, NOT, None), condition="corroding", exposure="closed_section",
        access="confined", note="Water stands 0.2 m deep; hand hole 300 by 400 mm",
    ),
    "C02": iron(
        "Inside of the north-west leg",
        ("lead_paint", None, None, NOT, "no early scheme is drawn for the insides"),
        condition="not_assessed", exposure="closed_section", access="confined",
        note="Hand hole painted shut; drawn as painted inside",
    ),
    "C03": iron(
        "Inside of the south-east leg", ("lead_paint", 20, 0.3, NOT, "seen by borescope"),
        ("pack_rust", 60, 5, NOT, None), condition="corroding", exposure="closed_section",
        access="confined", next_access=date(2027, 4, 12), note="Water stands 0.6 m deep",
    ),
    "C04": iron(
        "Inside of the south-west leg",
        ("lead_paint", 100, 0.3, "protective", "whole as far as the borescope sees"),
        condition="sound", exposure="closed_section", access="confined", note="Dry; seal whole",
    ),
}  # fmt: skip

# What layers of value are made of, by zone and place from the outside.
MADE_OF = {
    "N11-L1": "lichen", "N16-L2": "incised", "N18-L1": "iron_rich_patina", "E02-L1": "limewash",
    "E10-L1": "lead_paint", "E12-L1": "altered_stone", "T04-L1": "lead_paint",
    "T08-L1": "lead_paint", "T09-L2": "mill_scale", "T11-L1": "lead_paint",
    "T12-L1": "iron_oxide", "C04-L1": "lead_paint",
}  # fmt: skip

GO = {"controls": "yes", "consent": "in_principle", "agreed_appearance": "as_reference"}
RECOAT = {
    "coating_state": "failing", "coating_order": "yes", "decay": "slow", "decay_cause": "soiling",
}  # fmt: skip
STEEL_GO = RECOAT | GO | {"containment": "yes", "consent": "granted"}
CRUST = {"decay": "slow", "decay_cause": "soiling", "detail_hidden": "yes"}


def scheduled(owner: str, due: date, note: str) -> dict[str, Any]:
    """A cure that is owned and dated."""
    return {"finding": "scheduled", "owner": owner, "due": due, "note": note}


def unanswered(why: str) -> dict[str, Any]:
    """No answer, and why."""
    return {"not_recorded_because": why}


NETTING = scheduled("estate manager", date(2027, 2, 26), "Netting ordered with the sill repairs")

FINDINGS: dict[str, dict[str, Any]] = {
    "N01": {"agreed_appearance": "as_today"},
    "N02": {"cause_moisture": "active", "decay": "slow", "decay_cause": "other"},
    "N03": {"detail_hidden": "yes", "agreed_appearance": "as_reference"},
    "N04": {"agreed_appearance": "as_today"},
    "N05": {"agreed_appearance": "as_today"},
    "N06": CRUST | {"agreed_appearance": "as_reference", "consent": "applied"},
    "N07": {"cause_iron": "active", "stone_jacking": "yes", "other_reason": "repair",
            "stain_disfigures": "yes"},
    "N08": {"decay": "active", "decay_cause": "soiling", "detail_hidden": "yes",
            "falling_material": "yes"},
    "N09": GO | {"decay": "active", "decay_cause": "soiling", "detail_hidden": "yes"},
    "N10": GO | CRUST,
    "N11": {"detail_hidden": "yes"},
    "N12": {"decay_cause": unanswered("no rope day left; to be looked at with the parapet repair")},
    "N13": GO | {"cause_birds": NETTING, "other_reason": "health", "consent": "not_needed"},
    "N14": GO | {"cause_birds": NETTING, "other_reason": "health", "consent": "not_needed"},
    "N15": {"agreed_appearance": "as_reference", "frost_possible": None},
    "N16": {"agreed_appearance": "as_today"},
    "N17": {"cause_other": {"finding": "cured", "note": "The copper bracket, now drained"},
            "stain_disfigures": "no", "agreed_appearance": "as_today"},
    "N18": {"agreed_appearance": "as_today"},
    "E01": {"cause_moisture": "active", "cause_salts": "active", "joints": "open",
            "decay": "slow", "decay_cause": "soiling"},
    "E02": {"coating_state": "sound"},
    "E03": {"cause_moisture": "active", "cause_salts": "active", "decay": "active",
            "decay_cause": "soiling"},
    "E04": {"cause_moisture": "active"},
    "E05": {"detail_hidden": "no"},
    "E06": {"agreed_appearance": "as_today"},
    "E07": {"cause_salts": scheduled("highway depot", date(2027, 3, 1),
                                     "Salt store moves from the east wall"),
            "decay": "slow", "decay_cause": "soiling", "agreed_appearance": "as_reference"},
    "E08": {"cause_moisture": "cured"},
    "E09": RECOAT | {"lead": None},
    "E10": {"lead": None},
    "E11": RECOAT | {"lead": None, "lead_shedding": "yes", "decay": "active"},
    "E12": {"agreed_appearance": "as_today", "stain_disfigures": "no", "owner_wish": "yes"},
    "E13": {"agreed_appearance": "as_today"},
    "E14": {"cause_birds": "active", "decay": "slow", "decay_cause": "soiling",
            "other_reason": "health"},
    "E15": GO | {"detail_hidden": "yes"},
    "E16": {"agreed_appearance": "as_reference"},
    "T01": STEEL_GO | {"decay": "active"},
    "T02": STEEL_GO,
    "T03": STEEL_GO | {"decay": "active"},
    "T05": RECOAT | {"decay": "active", "stone_jacking": "yes", "engineer_limit": unanswered(
        "ultrasonic grid booked for the closure in April")},
    "T06": STEEL_GO,
    "T07": STEEL_GO,
    "T09": {"lead": None, "coating_state": "sound"},
    "T10": RECOAT | {"lead": unanswered("the probe does not sit on a round rail; chip due")},
    "T11": {"coating_state": "sound"},
    "T12": {"coating_state": "failing"},
    "T13": RECOAT | GO | {"lead": "no", "consent": "not_needed"},
    "T14": GO | {"lead": "no", "cause_birds": NETTING, "other_reason": "health",
                 "consent": "not_needed"},
    "C01": RECOAT | {
        "decay": "active", "interior_seen": "yes", "closed_plan": "no",
        "cause_moisture": scheduled("asset engineer", date(2027, 4, 12), "Drain holes at the foot"),
        "engineer_limit": unanswered("plate can't be reached with the probe"),
        "remote_access": unanswered("mock-up of the opening not yet built"),
    },
    "C02": {
        "interior_seen": "no", "decay": unanswered("inside not seen"),
        "coating_state": unanswered("inside not seen"),
        "engineer_limit": unanswered("plate can't be reached with the probe"),
        "closed_plan": "no", "cause_moisture": unanswered("inside not seen"),
        "decay_cause": unanswered("inside not seen"), "lead": unanswered("inside not seen"),
    },
    "C03": RECOAT | {
        "decay": "active", "interior_seen": "yes", "closed_plan": "no", "stone_jacking": "yes",
        "cause_moisture": scheduled("asset engineer", date(2027, 4, 12), "Drain holes at the foot"),
        "engineer_limit": unanswered("plate can't be reached with the probe"),
    },
    "C04": {"interior_seen": "yes", "closed_plan": "no"},
}  # fmt: skip

COLOURS: dict[str, dict[str, Any]] = {
    "N01": {"stone": "grey granite", "n": 20, "shift": (-9.0, 0.2, 1.0)},
    "N02": {"stone": "grey granite", "n": 20, "shift": (-14.0, -4.5, 6.0), "wet": 6},
    "N03": {"stone": "polished granite", "n": 16, "shift": (-12.0, 0.8, 3.5)},
    "N04": {"stone": "grey granite", "n": 24, "shift": (-7.5, 0.2, 0.8)},
    "N05": {"stone": "grey granite", "n": 24, "shift": (-7.0, 0.2, 0.9)},
    "N06": {"stone": "grey granite", "n": 24, "shift": (-33.0, -0.2, -1.6), "patchy": 0.8},
    "N07": {"stone": "pale granite", "n": 18, "shift": (-11.0, 6.5, 12.0), "patchy": 1.4},
    "N08": {"stone": "sandstone", "n": 12, "shift": (-31.0, -4.0, -13.0)},
    "N09": {"stone": "limestone", "n": 15, "shift": (-40.0, -1.2, -8.6), "patchy": 1.6},
    "N10": {"stone": "limestone", "n": 15, "shift": (-36.0, -1.0, -7.9), "patchy": 1.6},
    "N11": {"stone": "limestone", "n": 10, "shift": (-9.0, -2.0, 6.0)},
    "N12": {"not_measured": "rope access only; meter not taken on the rope"},
    "N13": {"stone": "pale granite", "n": 10, "shift": (12.0, -0.6, 3.0)},
    "N14": {"stone": "pale granite", "n": 10, "shift": (13.0, -0.5, 2.5)},
    "N15": {"stone": "grey granite", "n": 14, "shift": (-16.0, 38.0, 22.0), "patchy": 1.2},
    "N16": {"stone": "limestone", "n": 12, "shift": (-8.0, 0.1, -0.8)},
    "N17": {"stone": "limestone", "n": 12, "shift": (-12.0, -9.0, 2.0), "patchy": 1.5},
    "N18": {"not_measured": "patina on every stone: no clean reference exists"},
    "E01": {"stone": "brick", "n": 14, "shift": (11.0, -7.0, -8.0), "patchy": 1.5},
    "E03": {"not_measured": "the surface comes off on the meter's foot"},
    "E04": {"stone": "grey granite", "n": 18, "shift": (-17.0, -2.5, 4.5), "wet": 14},
    "E05": {"stone": "grey granite", "n": 18, "shift": (-19.0, 0.0, -0.5), "patchy": 1.3},
    "E06": {"stone": "sandstone", "n": 16, "shift": (-8.0, -0.8, -3.0)},
    "E07": {"stone": "limestone", "n": 12, "shift": (6.0, -0.9, -5.0)},
    "E08": {"stone": "grey granite", "n": 10, "shift": (14.0, 0.3, 3.0)},
    "E12": {"stone": "pale granite", "n": 24, "shift": (-8.0, 4.0, 9.0)},
    "E13": {"stone": "grey granite", "n": 20, "shift": (-6.5, 0.2, 0.9)},
    "E14": {"stone": "limestone", "n": 10, "shift": (-6.0, 0.5, 4.0), "patchy": 2.0},
    "E15": {"stone": "polished granite", "n": 15, "shift": (-15.0, 0.6, 2.4)},
    "E16": {"stone": "brick", "n": 12, "shift": (-14.0, 6.0, -16.0), "patchy": 1.2},
}


def masonry_panel(
    zone: str, soiling: str, method: str, setting: str, done: date, read: date, **more: Any
) -> dict[str, Any]:
    """What the panels of one masonry series share."""
    return {
        "zone": zone, "soiling": soiling, "method": method, "setting": setting, "done_on": done,
        "read_on": read, "control_kept": "yes", "x50_fields": 10, "late_effects": "none", **more,
    }  # fmt: skip


def steel_panel(zone: str, method: str, setting: str, **more: Any) -> dict[str, Any]:
    """What the panels of one steel series share."""
    shared = masonry_panel(zone, "lead_paint", method, setting, date(2026, 7, 6), date(2026, 8, 24))
    return shared | {
        "grade_reached": "yes", "required_adhesion_mpa": 4, "required_profile_low_um": 40,
        "required_profile_high_um": 75, **more,
    }  # fmt: skip


GRIT = (
    "6 bar at the nozzle, fine steel grit G50, 50 HRC, 5 kg/min, stand-off 300 mm, 60° to the "
    "plate, to Sa 2 1/2, full containment"
)
SCANNED = (
    "2.9 J/cm² peak, 100 ns, 20 kHz, spot 0.8 mm, 4 m/s, hatch 0.2 mm, dry, square on, "
    "{passes} passes, power and spot measured at the wall, to St 3, extraction at source"
)

PANELS: dict[str, dict[str, Any]] = {
    "N09-mist": {
        "count": 6, "residual": (12, 15, 16, 13, 14, 12),
        "yellowing": (1.2, 1.9, 1.6, 1.4, 1.1, 1.7), "damaged": (0, 0, 1, 0, 0, 0),
        "kind": "grains",
        "record": masonry_panel(
            "N09", "black_gypsum_crust", "nebulised_water",
            "Mist at 3 bar, 1 L/min a head, cold, 4 min on and 12 min off, 40 min a day for "
            "5 days, soft brush",
            date(2025, 8, 4), date(2026, 9, 7), winter_included="yes",
            setting_quantity="time_per_day", setting_unit="min a day",
            cleaning_low=35, cleaning_high=45, damage_low=120, x50_fields=25,
            note="No loss of tooling at any time tried up to 120 min a day",
        ),
    },
    "N06-powder": {
        "count": 2, "residual": (8, 6), "yellowing": (0.9, 1.1), "damaged": (1, 2),
        "kind": "grains",
        "record": masonry_panel(
            "N06", "black_gypsum_crust", "micro_abrasive_dry",
            "2.5 bar at the nozzle, calcite powder 50 µm, 45°, 100 mm",
            date(2026, 3, 16), date(2026, 9, 7), winter_included="no", x50_fields_weakest=10,
            damaged_component="biotite",
            setting_quantity="pressure", setting_unit="bar",
            cleaning_low=2.3, cleaning_high=2.6,
            damage_low=2.4, damage_high=2.8, note="Flakes of dark mica plucked; panel bright",
        ),
    },
    "N06-pulse": {
        "count": 6, "residual": (5, 4, 6, 5, 4, 6), "yellowing": (1.6, 2.1, 1.4, 1.8, 1.5, 1.9),
        "record": masonry_panel(
            "N06", "black_gypsum_crust", "laser_ns_1064",
            "8 ns, 10 Hz, 0.6 J/cm² peak at the wall, spot 4 mm, 60 pulses a spot, dry, square on",
            date(2026, 5, 11), date(2026, 9, 7), winter_included="no", x50_fields_weakest=10,
            setting_quantity="peak_fluence", setting_unit="J/cm²",
            cleaning_low=0.55, cleaning_high=0.65, damage_low=0.95,
            damage_high=1.5, note="Crust off, tooling crisp; spots from 0.95 on melt dark mica",
        ),
    },
    "N13-lift": {
        "count": 1, "residual": (4,), "yellowing": (0.2,),
        "record": masonry_panel(
            "N13", "guano", "dry_brush_vacuum",
            "Damped, lifted by hand with a plastic spatula, one pass",
            date(2026, 7, 20), date(2026, 9, 8), winter_included="no",
            setting_quantity="passes", setting_unit="passes",
            cleaning_low=1, cleaning_high=1, damage_low=10, note="No mark on the stone",
        ),
    },
    "N15-pulse": {
        "count": 2, "residual": (10, 12), "yellowing": (1.0, 1.4), "damaged": (9, 10),
        "kind": "melted",
        "record": masonry_panel(
            "N15", "graffiti", "laser_ns_1064",
            "1.5 J/cm² peak, 10 ns, 10 Hz, spot 4 mm, dry, 8 pulses a spot, square on, energy and "
            "spot measured at the wall",
            date(2026, 5, 11), date(2026, 9, 7), winter_included="no", x50_fields_weakest=10,
            damaged_component="biotite",
            setting_quantity="peak_fluence", setting_unit="J/cm²",
            cleaning_low=1.4,
            cleaning_high=1.6, damage_low=0.45, damage_high=0.55,
            note="Dark mica melted before the red cleared",
        ),
    },
    "E15-wash": {
        "count": 6, "residual": (5, 5, 8, 6, 5, 7),
        "yellowing": (-0.4, -0.2, -0.5, -0.3, -0.4, -0.2),
        "record": masonry_panel(
            "E15", "general_soiling", "low_pressure_water",
            "9 bar at the nozzle, fan 40°, 250 mm from the wall, 6 L/min, cold, two passes, "
            "non-ionic detergent without phosphate",
            date(2025, 8, 11), date(2026, 9, 7), winter_included="yes",
            setting_quantity="pressure", setting_unit="bar",
            cleaning_low=8, cleaning_high=10, damage_low=28, x50_fields=25,
            x50_fields_weakest=25, note="Gloss at 60° within 2 units",
        ),
    },
    "E16-gel": {
        "count": 4, "residual": (12, 15, 13, 14), "yellowing": (0.8, 0.6, 0.7, 0.5),
        "record": masonry_panel(
            "E16", "graffiti", "solvent_gel_stripper",
            "Neutral gel as supplied, pH 7, under film, 2 h at 18 °C, two coats, rinsed with "
            "5 L/m²",
            date(2026, 6, 1), date(2026, 9, 7), winter_included="no",
            setting_quantity="dwell", setting_unit="h",
            cleaning_low=1.8, cleaning_high=2.2, damage_low=8, note="Faint ghost in the pores",
        ),
    },
    "T01-grit": {
        "count": 4, "residual": (0, 0, 0, 0),
        "record": steel_panel(
            "T01", "dry_grit_blast", GRIT, also_treated="rust",
        ),
    },
    "T03-grit": {
        "count": 2, "residual": (4, 6),
        "record": steel_panel(
            "T03", "dry_grit_blast", GRIT,
            note="Rust stays between plates",
        ),
    },
    "T06-pulse": {
        "count": 4, "residual": (4, 6, 5, 4),
        "record": steel_panel(
            "T06", "laser_ns_1064", SCANNED.format(passes=20),
            required_profile_low_um=25, required_profile_high_um=60,
            setting_quantity="peak_fluence", setting_unit="J/cm²",
            cleaning_low=2.8, cleaning_high=3.0, damage_low=9, damage_high=12,
            note="Mill scale stays; coating maker agrees to the profile",
        ),
    },
    "T07-pulse": {
        "count": 3, "residual": (6, 9, None),
        "unread": {3: "behind the gate that was closed for nesting"},
        "record": steel_panel(
            "T07", "laser_ns_1064", SCANNED.format(passes=30), also_treated="rust",
            required_profile_low_um=25, required_profile_high_um=60,
            note="Bitumen smears",
        ),
    },
    "T13-tool": {
        "count": 2, "residual": (3, 4),
        "record": steel_panel(
            "T13", "power_tools_shrouded", "Shrouded rotary tool to bare-metal grade",
            soiling="flash_rust", required_profile_low_um=25, required_profile_high_um=60,
        ),
    },
}  # fmt: skip

# Gentler methods that the team left untried, each with its reason.
NOT_TRIED = {
    "N06": "nebulised_water: days of water would run into the timber lobby behind the door; "
    "poultice_chelating: it would not hold on the soffit; "
    "wet_abrasive_lowp: water and slurry would run into the lobby",
    "E15": "dry_brush_vacuum: grit under a dry brush scratches the polish",
    "T01": "hand_tools: they leave rust in the pits and no profile for the coating ordered",
    "T02": "hand_tools: they leave rust in the pits and no profile for the coating ordered",
    "T06": "solvent_gel_stripper: sludge can't be held on the platform; "
    "laser_ultrashort: none can be hired for work outdoors",
    "T13": "hand_tools: they do not reach the bare-metal grade that the coating maker requires",
}

DOLLY, PATCH, TAPE, ULTRA, CHIP = (
    "pull-off, 20 mm dolly", "extraction patch, chloride", "replica tape",
    "ultrasonic, through paint", "full-depth chip, laboratory",
)  # fmt: skip
# Coatings of different history on zones whose chips went to the laboratory, and what it can tell.
COATINGS = {"E02": 1, "T09": 1, "T13": 1, "T14": 1}
CHIP_LIMIT_PCT = 0.005

TESTS: list[tuple[str, str | None, str, tuple[float | str, ...], float | None, str]] = [
    ("E09", None, "lead_xrf_mg_cm2", (0.6, 0.8, 0.7), 0.2, "XRF through all layers"),
    ("E10", None, "lead_xrf_mg_cm2", (3.1, 2.8, 3.3), 0.3, "XRF through all layers"),
    ("E10", None, "adhesion_mpa", (3.4, 3.1, 3.6), 0.4, DOLLY),
    ("E11", None, "lead_xrf_mg_cm2", (2.2, 2.6), 0.3, "XRF through all layers"),
    ("E02", None, "lead_lab_pct", (0.0, 0.0), None, CHIP),
    ("T09", None, "lead_lab_pct", (0.06, 0.04), None, CHIP),
    ("T13", None, "lead_lab_pct", (0.0,), None, CHIP),
    ("T14", None, "lead_lab_pct", (0.0, 0.0), None, CHIP),
    ("E07", None, "nitrate_pct", (0.12, 0.18, 0.15), 0.03, "drilled dust, 0 to 10 mm"),
    ("E01", None, "sulphate_pct", (1.7, 1.4, 1.9), 0.2, "drilled dust, 0 to 10 mm"),
    ("N08", None, "tap_hollow_pct", (62,), 8, "tap map on a 100 mm grid"),
    ("E03", None, "tape_lift_mg", (48, 61, 55), 7, "three pulls, weighed"),
    ("N09", None, "roughness_sa_um", (210, 188, 240), 25, "replica, three places"),
    ("N04", None, "water_uptake_kg_m2_h05",
     ("pipe does not seal on the tooled face",), None, "pipe"),
    ("T03", None, "plate_loss_pct", (8.2,), 0.6, ULTRA),
    ("T03", None, "plate_loss_rate_pct_a", (0.35,), 0.12, "surveys of 2016 and 2026"),
    ("T03", None, "plate_loss_limit_pct", (10.0,), None, "engineer's letter"),
    ("T01", None, "plate_loss_pct", (3.1,), 0.5, ULTRA),
    ("T04", None, "adhesion_mpa", (3.1, 2.9, 3.4), 0.4, DOLLY),
    ("T08", None, "adhesion_mpa", (2.9, 2.7, 3.0), 0.4, DOLLY),
    ("C03", None, "plate_loss_pct",
     ("no face within reach of the probe from the hand hole",), None, ULTRA),
    ("C04", None, "humidity_pct", (48, 46, 51), 3, "logger through the hand hole, 30 days"),
    ("T01", "T01-grit-1", "chloride_ug_cm2", (4.0, 5.5, 4.5), None, PATCH),
    ("T01", "T01-grit-2", "chloride_ug_cm2", (3.5, 5.0, 4.0), None, PATCH),
    ("T01", "T01-grit-1", "adhesion_mpa", (6.8, 7.2, 6.4), 0.5, DOLLY),
    ("T01", "T01-grit-2", "adhesion_mpa", (7.0, 6.6, 7.3), 0.5, DOLLY),
    ("T01", "T01-grit-1", "profile_um", (58, 62, 55), 5, TAPE),
    ("T01", "T01-grit-2", "profile_um", (60, 57, 64), 5, TAPE),
    ("T01", "T01-grit-3", "chloride_ug_cm2", (4.5, 3.5, 5.0), None, PATCH),
    ("T01", "T01-grit-4", "chloride_ug_cm2", (4.0, 4.5, 5.5), None, PATCH),
    ("T01", "T01-grit-3", "adhesion_mpa", (6.9, 7.1, 6.6), 0.5, DOLLY),
    ("T01", "T01-grit-4", "adhesion_mpa", (7.3, 6.7, 7.0), 0.5, DOLLY),
    ("T01", "T01-grit-3", "profile_um", (57, 61, 59), 5, TAPE),
    ("T01", "T01-grit-4", "profile_um", (63, 56, 60), 5, TAPE),
    ("T03", "T03-grit-1", "chloride_ug_cm2", (9.0,), None, PATCH),
    ("T03", "T03-grit-2", "chloride_ug_cm2", (22.0, 31.0, 27.0), None, PATCH),
    ("T03", "T03-grit-1", "adhesion_mpa", (6.1, 6.5, 5.9), 0.5, DOLLY),
    ("T03", "T03-grit-2", "adhesion_mpa", (5.8, 6.2, 6.0), 0.5, DOLLY),
    ("T03", "T03-grit-1", "profile_um", (61, 66, 58), 5, TAPE),
    ("T03", "T03-grit-2", "profile_um", (63, 59, 60), 5, TAPE),
    ("T06", "T06-pulse-1", "chloride_ug_cm2", (2.5, 3.0, 3.5), None, PATCH),
    ("T06", "T06-pulse-2", "chloride_ug_cm2", (3.0, 2.0, 3.0), None, PATCH),
    ("T06", "T06-pulse-1", "adhesion_mpa", (7.4, 6.9, 7.1), 0.5, DOLLY),
    ("T06", "T06-pulse-2", "adhesion_mpa", (6.7, 7.0, 7.2), 0.5, DOLLY),
    ("T06", "T06-pulse-1", "profile_um", (31, 34, 29), 4, TAPE),
    ("T06", "T06-pulse-2", "profile_um", (33, 30, 36), 4, TAPE),
    ("T06", "T06-pulse-3", "chloride_ug_cm2", (2.0, 3.5, 2.5), None, PATCH),
    ("T06", "T06-pulse-4", "chloride_ug_cm2", (3.0, 2.5, 2.0), None, PATCH),
    ("T06", None, "stress_limit_mpa", (80.0,), None, "signed by the engineer on 1 July"),
    ("T06", "T06-pulse-3", "adhesion_mpa", (7.0, 7.3, 6.8), 0.5, DOLLY),
    ("T06", "T06-pulse-4", "adhesion_mpa", (7.2, 6.6, 7.0), 0.5, DOLLY),
    ("T06", "T06-pulse-3", "profile_um", (32, 35, 30), 4, TAPE),
    ("T06", "T06-pulse-4", "profile_um", (29, 33, 34), 4, TAPE),
    ("T07", "T07-pulse-1", "chloride_ug_cm2", (3.0, 4.0, 3.0), None, PATCH),
    ("T07", "T07-pulse-1", "adhesion_mpa", (6.2, 5.8, 6.4), 0.5, DOLLY),
    ("T07", "T07-pulse-1", "profile_um", (30, 28, 33), 4, TAPE),
    ("T13", "T13-tool-1", "chloride_ug_cm2", (1.5, 2.0, 1.0), None, PATCH),
    ("T13", "T13-tool-2", "chloride_ug_cm2", (2.0, 1.5, 1.5), None, PATCH),
    ("T13", "T13-tool-1", "adhesion_mpa", (8.1, 7.7, 8.4), 0.5, DOLLY),
    ("T13", "T13-tool-2", "adhesion_mpa", (7.9, 8.2, 8.0), 0.5, DOLLY),
    ("T13", "T13-tool-1", "profile_um", (38, 42, 35), 4, TAPE),
    ("T13", "T13-tool-2", "profile_um", (40, 37, 41), 4, TAPE),
]  # fmt: skip
